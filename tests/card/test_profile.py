"""Print profiles: measured values out of CGATS files as different programs write them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from strandgauge.card.definition import load_card
from strandgauge.card.model import CardDefinition
from strandgauge.card.profile import apply_profile, read_profile, xyz_of_spectra
from strandgauge.errors import BadProfileError

CHART = """\
[card]
name = "chart"
illuminant = "D65"
paper = [95, 0, 0]
[[marker]]
id = 1
dictionary = "DICT_4X4_50"
box = [-20, 0, 10, 10]
[[grid]]
origin = [0, 0]
pitch = 10
size = 8
columns = 3
labs = [[88, 0, 0], [56, 0, 0], [16, 0, 0], [52, 40, 20], [54, -30, 10], [45, 5, -35]]
"""
NAMES = ("A1", "A2", "A3", "B1", "B2", "B3")
LABS = (
    (87.1, 0.4, 1.9),
    (55.2, -0.3, 0.8),
    (18.4, 0.2, -0.4),
    (50.8, 38.1, 21.4),
    (55.0, -28.3, 11.2),
    (44.0, 6.2, -33.1),
)
OBSERVER = "CIE 1931 2 Degree Standard Observer"


@pytest.fixture
def chart(tmp_path: Path) -> CardDefinition:
    path = tmp_path / "chart.toml"
    path.write_text(CHART)
    return load_card(path)


def white_of(illuminant: str) -> np.ndarray:
    """Return the chromaticity (2,) of a CIE illuminant by colour-science."""
    import colour

    return colour.CCS_ILLUMINANTS[OBSERVER][illuminant]


def cgats(
    header: str = 'ILLUMINANT "D65"\n',
    columns: str = "SAMPLE_ID LAB_L LAB_A LAB_B",
    rows: list[str] | None = None,
    names: tuple[str, ...] = NAMES,
) -> str:
    """Return a CGATS file of the chart, its rows given or made of the measured CIELAB."""
    if rows is None:
        rows = [f"{name} {lab[0]} {lab[1]} {lab[2]}" for name, lab in zip(names, LABS, strict=True)]
    lines = ["CGATS.17", 'ORIGINATOR "an instrument"', *header.splitlines()]
    lines += [f"NUMBER_OF_FIELDS {len(columns.split())}", "BEGIN_DATA_FORMAT", columns, "END_DATA_FORMAT"]
    return "\n".join([*lines, f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA", *rows, "END_DATA", ""])


def write(folder: Path, content: str | bytes) -> Path:
    path = folder / "print.txt"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def measured(folder: Path, chart: CardDefinition, content: str | bytes) -> np.ndarray:
    return apply_profile(chart, read_profile(write(folder, content))).patch_labs


def refusal(folder: Path, chart: CardDefinition, content: str | bytes) -> BadProfileError:
    with pytest.raises(BadProfileError) as caught:
        measured(folder, chart, content)
    return caught.value


# --- how files are written ------------------------------------------------------------------------------

PLAIN = cgats()
TABBED = "\n".join(
    line.replace(" ", "\t") if line.startswith((*NAMES, "SAMPLE_ID")) else line for line in PLAIN.splitlines()
)
WAYS = {
    "plain": PLAIN,
    "tabs": TABBED,
    "CRLF": PLAIN.replace("\n", "\r\n"),
    "CR": PLAIN.replace("\n", "\r"),
    "byte order mark": b"\xef\xbb\xbf" + PLAIN.encode(),
    "UTF-16": PLAIN.encode("utf-16"),
    "Latin-1": PLAIN.replace("an instrument", "ein Gerät").encode("latin-1"),
    "decimal commas": "\n".join(
        line.replace(".", ",") if line.startswith(NAMES) else line for line in PLAIN.splitlines()
    ),
    "small letters": PLAIN.lower(),
    "comments": PLAIN.replace("BEGIN_DATA\n", "# measured twice\n\nBEGIN_DATA\n# A0 1 2 3\n"),
    "quoted ids": PLAIN.replace("\nA1 ", '\n"A1" ').replace("\nB3 ", '\n"B3" '),
    "zeros in ids": cgats(names=("A01", "A02", "A03", "B01", "B02", "B03")),
    "ids in SAMPLE_NAME": cgats(
        columns="SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B",
        rows=[
            f'{i + 1} "{n}" {x[0]} {x[1]} {x[2]}' for i, (n, x) in enumerate(zip(NAMES, LABS, strict=True))
        ],
    ),
    "names with blanks between tabs": cgats(
        columns="LAB_B\tLAB_A\tLAB_L\tSAMPLE_NAME\tSAMPLE_ID",
        rows=[f"{x[2]}\t{x[1]}\t{x[0]}\tsome name\t{n}" for n, x in zip(NAMES, LABS, strict=True)],
    ),
    "rows over two lines": cgats(
        rows=[f"{n} {x[0]}\n {x[1]} {x[2]}" for n, x in zip(NAMES, LABS, strict=True)]
    ),
    "other columns": cgats(
        columns="SAMPLE_ID RGB_R LAB_L LAB_A LAB_B MEAN_DE",
        rows=[f"{n} 12 {x[0]} {x[1]} {x[2]} 0.1" for n, x in zip(NAMES, LABS, strict=True)],
    ),
    "two tables": cgats(rows=[f"{n} {x[0]} {x[1]} {x[2]}" for n, x in zip(NAMES[:4], LABS[:4], strict=True)])
    + cgats(rows=[f"{n} {x[0]} {x[1]} {x[2]}" for n, x in zip(NAMES[4:], LABS[4:], strict=True)]),
    "measured twice": cgats(
        rows=[f"{n} {x[0] + d} {x[1]} {x[2]}" for d in (-0.5, 0.5) for n, x in zip(NAMES, LABS, strict=True)]
    ),
    "a device's table before": cgats(columns="SAMPLE_ID RGB_R", rows=["A1 3"]) + PLAIN,
}


@pytest.mark.parametrize("content", WAYS.values(), ids=WAYS.keys())
def test_every_way_of_writing_gives_the_same(
    tmp_path: Path, chart: CardDefinition, content: str | bytes
) -> None:
    assert measured(tmp_path, chart, content) == pytest.approx(np.array(LABS), abs=1e-9)


def test_the_card_remembers_its_profile_and_takes_the_paper(tmp_path: Path, chart: CardDefinition) -> None:
    content = PLAIN.replace("END_DATA\n", "Paper 93.0 0.5 -3.0\nEND_DATA\n")
    profile = read_profile(write(tmp_path, content))
    card = apply_profile(chart, profile)
    assert card.profile_name == "print.txt"
    assert card.paper == (93.0, 0.5, -3.0)
    assert [patch.box for patch in card.patches] == [patch.box for patch in chart.patches]


# --- what the values mean -------------------------------------------------------------------------------


def for_d65(labs: np.ndarray, illuminant: str) -> np.ndarray:
    """Return CIELAB for D65 by colour-science's own chain, Bradford."""
    import colour

    white, d65 = (colour.xy_to_XYZ(white_of(name)) for name in (illuminant, "D65"))
    xyz = colour.Lab_to_XYZ(labs, white_of(illuminant))
    return colour.XYZ_to_Lab(
        xyz @ colour.adaptation.matrix_chromatic_adaptation_VonKries(white, d65, "Bradford").T
    )


@pytest.mark.parametrize(
    ("header", "illuminant"),
    [
        ("", "D50"),
        ('ILLUMINANT "D50"\nOBSERVER "2"', "D50"),
        ('ILLUMINATION_NAME "A"\nOBSERVER_ANGLE 2', "A"),
        ('WEIGHTING_FUNCTION "ILLUMINANT, D55"\nWEIGHTING_FUNCTION "OBSERVER, 2 degree"', "D55"),
        (
            'MEASUREMENT_SOURCE "Condition=M1 Illumination=D50 ObserverAngle=2degree WhiteBase=Abs"',
            "D50",
        ),
        ('MEASUREMENT_SOURCE\t"Illumination=C\tObserverAngle=2°"', "C"),
    ],
)
def test_values_are_adapted_from_the_light_the_header_states(
    tmp_path: Path, chart: CardDefinition, header: str, illuminant: str
) -> None:
    expected = for_d65(np.array(LABS), illuminant)
    assert measured(tmp_path, chart, cgats(header)) == pytest.approx(expected, abs=1e-6)


def test_without_an_illuminant_d50_is_assumed(tmp_path: Path, chart: CardDefinition) -> None:
    assumed = measured(tmp_path, chart, cgats(""))
    assert np.array_equal(assumed, measured(tmp_path, chart, cgats('ILLUMINANT "D50"')))
    assert not np.allclose(assumed, LABS)


def test_d50_on_published_values(tmp_path: Path, chart: CardDefinition) -> None:
    # The red primary of sRGB: CIELAB of its ICC profile (D50, Bradford) and of IEC 61966-2-1 itself (D65), as
    # widely tabulated by colour calculators; quoted from memory.
    content = cgats('ILLUMINANT "D50"').replace(
        f"{LABS[3][0]} {LABS[3][1]} {LABS[3][2]}", "54.29 80.81 69.89"
    )
    assert measured(tmp_path, chart, content)[3] == pytest.approx((53.24, 80.09, 67.20), abs=0.05)


@pytest.mark.parametrize("scale", [1.0, 100.0])
def test_tristimulus_values_on_either_scale(tmp_path: Path, chart: CardDefinition, scale: float) -> None:
    import colour

    xyz = colour.Lab_to_XYZ(np.array(LABS), white_of("D50")) * scale
    rows = [f"{n} {x[0]:.8f} {x[1]:.8f} {x[2]:.8f}" for n, x in zip(NAMES, xyz, strict=True)]
    content = cgats('ILLUMINANT "D50"', "SAMPLE_ID XYZ_X XYZ_Y XYZ_Z", rows)
    assert measured(tmp_path, chart, content) == pytest.approx(for_d65(np.array(LABS), "D50"), abs=1e-4)


def smooth_spectra() -> tuple[np.ndarray, np.ndarray]:
    """Return wavelengths at 1 nm and six smooth reflectances in the order of the chart."""
    nm = np.arange(380, 781)
    slope = 1 / (1 + np.exp(-(nm - 590) / 25.0))
    hump = np.exp(-(((nm - 530) / 50.0) ** 2))
    tail = 1 / (1 + np.exp((nm - 500) / 20.0))
    flat = np.ones(nm.shape)
    return nm, np.array(
        [0.72 * flat, 0.24 * flat, 0.026 * flat, 0.1 + 0.5 * slope, 0.1 + 0.2 * hump, 0.1 + 0.3 * tail]
    )


@pytest.mark.parametrize("name", ["SPECTRAL_NM{}", "SPECTRAL_{}", "nm{}", "SPECTRAL_NM_{}", "R_{}nm", "{}"])
@pytest.mark.parametrize(("step", "scale", "tolerance"), [(10, 1.0, 0.1), (20, 100.0, 0.5)])
def test_spectra_are_integrated(
    tmp_path: Path, chart: CardDefinition, name: str, step: int, scale: float, tolerance: float
) -> None:
    import colour

    nm, spectra = smooth_spectra()
    chosen = np.flatnonzero((nm - 380) % step == 0)
    chosen = chosen[nm[chosen] <= 740]
    columns = "SAMPLE_ID " + " ".join(name.format(nm[index]) for index in chosen)
    rows = [
        f"{n} " + " ".join(f"{value * scale:.6f}" for value in spectrum[chosen])
        for n, spectrum in zip(NAMES, spectra, strict=True)
    ]
    # The observer is of no account for spectra: they are integrated for ours.
    got = measured(tmp_path, chart, cgats('ILLUMINANT "D50"\nOBSERVER "10"', columns, rows))
    # The plain sum at 1 nm that CIE 15 defines the tristimulus values by.
    every_nm = colour.SpectralShape(380, 780, 1)
    observer = colour.MSDS_CMFS[OBSERVER].copy().align(every_nm).values
    weights = colour.SDS_ILLUMINANTS["D65"].copy().align(every_nm).values[:, None] * observer
    expected = colour.XYZ_to_Lab(spectra @ weights / weights[:, 1].sum(), white_of("D65"))
    assert np.linalg.norm(got - expected, axis=1).max() < tolerance


def test_spectra_are_preferred_to_values_for_another_light(tmp_path: Path, chart: CardDefinition) -> None:
    columns = "SAMPLE_ID LAB_L LAB_A LAB_B " + " ".join(f"NM{nm}" for nm in range(400, 710, 10))
    greys = (0.72, 0.24, 0.026, 0.2, 0.22, 0.15)
    rows = [f"{n} 50 20 20 " + " ".join([str(grey)] * 31) for n, grey in zip(NAMES, greys, strict=True)]
    labs = measured(tmp_path, chart, cgats("", columns, rows))
    assert np.abs(labs[:, 1:]).max() < 0.05
    # L* of Y = 0.24 is 116 x 0.24^(1/3) - 16 (CIE 15).
    assert labs[1, 0] == pytest.approx(116 * 0.24 ** (1 / 3) - 16, abs=0.02)


def test_a_perfect_reflector_is_the_white_of_d65() -> None:
    nm = np.arange(380, 740, 10)
    xyz = xyz_of_spectra(nm, np.ones((1, len(nm))))
    # ASTM E308, Table 5: white of D65 for the 1931 observer, 95.047, 100, 108.883.
    assert xyz[0] == pytest.approx((0.95047, 1.0, 1.08883), abs=5e-4)


def test_of_several_measurement_conditions_m1_is_taken(tmp_path: Path, chart: CardDefinition) -> None:
    shifted = [f"{n} {x[0]} {x[1]} {x[2] + 3}" for n, x in zip(NAMES, LABS, strict=True)]
    other = cgats('ILLUMINANT "D65"\nMEASUREMENT_CONDITION "M0"', rows=shifted)
    wanted = cgats('ILLUMINANT "D65"\nMEASUREMENT_CONDITION "M1"')
    for content in (other + wanted, wanted + other):
        assert measured(tmp_path, chart, content) == pytest.approx(np.array(LABS))


# --- what is refused ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "wrong", "message", "line"),
    [
        ("B2 55.0 -28.3 11.2\n", "", "no row for the patches 'B2'", "SAMPLE_ID"),
        ("\nA", "\nX", "'A1', 'A2', 'A3'", "SAMPLE_ID"),
        ("SAMPLE_ID LAB_L", "SAMPLE_ID LAB_X", "no table has both", "SAMPLE_ID"),
        ("SAMPLE_ID LAB_L", "NUMBER LAB_L", "no table has both", "NUMBER"),
        ("B2 55.0", "B2 5x5", "'5x5', not a number", "B2"),
        ("B2 55.0", "B2 nan", "not a finite number", "B2"),
        ("B2 55.0", "B2 255.0", "cannot be", "B2"),
        ("B3 44.0 6.2 -33.1", "B3 44.0 6.2", "3 values for 4 columns", "B3"),
        ("B2 55.0 -28.3 11.2", "B2 55.0 -28.3 11.2 8", "5 values for 4 columns", "B2"),
        ("\nEND_DATA\n", "\n", "cut short: END_DATA", ""),
        ("END_DATA_FORMAT\n", "", "cut short: END_DATA_FORMAT", ""),
        ("BEGIN_DATA_FORMAT\n", "", "before any BEGIN_DATA_FORMAT", "BEGIN_DATA"),
        ('"D65"', '"D66"', "unknown illuminant 'D66'", "ILLUMINANT"),
        ('"D65"', '"D65"\nOBSERVER "10"', "10 degree observer", "OBSERVER"),
        ('"D65"', '"D65"\nMEASUREMENT_SOURCE "WhiteBase=Paper"', "relative to the paper", "MEASUREMENT"),
    ],
)
def test_a_bad_profile_names_its_line(
    tmp_path: Path, chart: CardDefinition, written: str, wrong: str, message: str, line: str
) -> None:
    assert written in PLAIN
    content = PLAIN.replace(written, wrong)
    error = refusal(tmp_path, chart, content)
    assert message in error.message
    assert error.where is not None
    name, number = error.where.split(":")
    assert name == "print.txt"
    named = [*content.splitlines(), ""][int(number) - 1]
    assert named.startswith(line), f"{named!r} was named"


def test_a_profile_of_something_else_is_refused(tmp_path: Path, chart: CardDefinition) -> None:
    foreign = cgats(names=("1", "2", "3", "4", "5", "6"))
    assert "no row carries the id" in refusal(tmp_path, chart, foreign).message
    mixed = cgats(names=("B3", "B2", "B1", "A3", "A2", "A1"))
    assert "nothing like" in refusal(tmp_path, chart, mixed).message


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "empty"),
        (b"a,b,c\n1,2,3\n", "not a CGATS file"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not a text file"),
        (PLAIN.encode("utf-16")[:301], "cut short"),
        (cgats(rows=[]).encode(), "no rows"),
    ],
)
def test_a_file_that_is_no_profile_is_refused(
    tmp_path: Path, chart: CardDefinition, content: bytes, message: str
) -> None:
    assert message in refusal(tmp_path, chart, content).message


@pytest.mark.usefixtures("worded")
def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    for path in (tmp_path / "none.txt", tmp_path):
        with pytest.raises(BadProfileError, match=r"no such|folder"):
            read_profile(path)
