"""Print profiles: what an instrument measured on a print, in place of the card's nominal colours.

A profile is a CGATS.17 text file with one row for each patch. Measured spectra are preferred, since they give
the colours for D65 without a detour; then CIELAB or XYZ, adapted to D65 from the light they are stated for.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from strandgauge.card.cgats import Keyword, Row, Table, number, read_tables
from strandgauge.card.model import CardDefinition
from strandgauge.colour.cielab import Lab
from strandgauge.colour.illuminant import (
    ILLUMINANTS,
    adapt_to_d65,
    colour_library,
    lab_under,
    white_point,
)
from strandgauge.errors import BadProfileError

LAB_COLUMNS = ("LAB_L", "LAB_A", "LAB_B")
XYZ_COLUMNS = ("XYZ_X", "XYZ_Y", "XYZ_Z")
NAME_COLUMNS = ("SAMPLE_ID", "SAMPLEID", "SAMPLE_NAME", "SAMPLENAME", "SAMPLE_LOC", "SAMPLE", "PATCH_ID")
SPECTRAL_COLUMN = re.compile(r"(?:SPECTRAL|SPEC|NM|R)?_?(?:NM)?_?([3-8]\d\d)(?:\.0+)?(?:_?NM)?")
DEFAULT_ILLUMINANT = "D50"
STRANGE_DELTA_E = 30.0
"""Median distance from the nominal colours beyond which the file must belong to something else."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One measured place."""

    names: tuple[tuple[str, str], ...]
    """Everything the row calls it, each with its column: its id, its name."""
    lab: Lab
    """For D65 and the 2 degree observer."""
    line: int


@dataclass(frozen=True, slots=True)
class Profile:
    """The measured colours of one print."""

    name: str
    samples: tuple[Sample, ...]
    illuminant: str
    """Illuminant of the values used; D65 for spectra."""
    condition: str | None
    """Measurement condition M0 to M3 of ISO 13655, when the file states it."""
    notes: tuple[str, ...]
    """What the user should know about how the file was taken."""
    first_line: int
    """Line on which the first table's columns are named."""


def read_profile(path: Path) -> Profile:
    """Read a CGATS file of measured colours.

    Parameters
    ----------
    path : the file. Columns used are SAMPLE_ID or SAMPLE_NAME, and spectra (such as SPECTRAL_NM400), or
        LAB_L, LAB_A and LAB_B, or XYZ_X, XYZ_Y and XYZ_Z on a scale to 1 or to 100.

    Raises
    ------
    BadProfileError
        The file cannot be read, lacks such columns, or holds an impossible value; ``where`` names the line.
    """
    path = Path(path)
    tables = read_tables(path)
    usable = [table for table in tables if _kind(table) and _name_columns(table)]
    if not usable:
        raise BadProfileError(
            "no table has both sample ids (SAMPLE_ID or SAMPLE_NAME) and colours (LAB_L, LAB_A, LAB_B, or "
            "XYZ_X, XYZ_Y, XYZ_Z, or spectra).",
            where=f"{path.name}:{tables[0].line}",
        )
    samples: list[Sample] = []
    notes: list[str] = []
    for table in (usable := _of_one_condition(usable)):
        samples += _TableReader(table, path.name, notes).samples()
    first = usable[0]
    if not samples:
        raise BadProfileError("the table has no rows.", where=f"{path.name}:{first.line}")
    stated = _illuminant(first, path.name) or DEFAULT_ILLUMINANT
    return Profile(
        name=path.name,
        samples=tuple(samples),
        illuminant="D65" if _kind(first) == "spectra" else stated,
        condition=_condition(first.keywords),
        notes=tuple(dict.fromkeys(notes)),
        first_line=first.line,
    )


def apply_profile(card: CardDefinition, profile: Profile) -> CardDefinition:
    """Return the card with measured colours in place of its nominal ones.

    A patch measured several times gets the mean. Samples named 'paper' and 'ink', where the file has them,
    replace those of the card.

    Raises
    ------
    BadProfileError
        A patch of the card was not measured, or the colours are nothing like the card's.
    """
    named = _labs_by_name(card, profile.samples)
    labs = {patch.id: named.get(patch.id) or named.get(_key(patch.id)) for patch in card.patches}
    missing = [name for name, lab in labs.items() if lab is None]
    if missing:
        where = f"{profile.name}:{profile.first_line}"
        if len(missing) == len(labs):
            raise BadProfileError(f"no row carries the id of a patch of '{card.name}'.", where=where)
        told = ", ".join(f"'{name}'" for name in missing[:5])
        more = f" and {len(missing) - 5} more" if len(missing) > 5 else ""
        raise BadProfileError(f"there is no row for the patches {told}{more}.", where=where)
    measured = tuple(replace(patch, lab=labs[patch.id] or patch.lab) for patch in card.patches)
    profiled = replace(
        card,
        patches=measured,
        paper=named.get("paper", card.paper),
        ink=named.get("ink", card.ink),
        profile_name=profile.name,
    )
    away = float(np.median(np.linalg.norm(profiled.patch_labs - card.patch_labs, axis=1)))
    if away > STRANGE_DELTA_E:
        raise BadProfileError(
            f"the colours are nothing like those of '{card.name}': half of them lie more than {away:.0f} "
            "(Delta E*ab) from it.",
            where=f"{profile.name}:{profile.first_line}",
            remedy="Check that this card was measured, each patch under its own id.",
        )
    return profiled


def _key(name: str) -> str:
    """Return a sample's name as it is compared: small letters, no zeros before a number."""
    return re.sub(r"(?<!\d)0+(?=\d)", "", name.strip().lower())


def _labs_by_name(card: CardDefinition, samples: Sequence[Sample]) -> dict[str, Lab]:
    """Return the mean colour under each name, as written and as :func:`_key` compares it.

    Names are taken from the one column that holds the card's patch ids, since some files only count rows
    in SAMPLE_ID; paper and ink from any.
    """
    wanted = {_key(patch.id) for patch in card.patches}
    matching: dict[str, set[str]] = {}
    for column, name in (pair for sample in samples for pair in sample.names):
        matching.setdefault(column, set()).update({_key(name)} & wanted)
    naming = max(matching, key=lambda column: len(matching[column]))
    found: dict[str, list[Lab]] = {}
    for sample in samples:
        names = {name.strip() for column, name in sample.names if column == naming}
        keys = {_key(name) for column, name in sample.names if column == naming}
        keys |= {_key(name) for _, name in sample.names} & {"paper", "ink"}
        for name in names | keys:
            found.setdefault(name, []).append(sample.lab)
    return {name: _as_lab(np.mean(labs, axis=0)) for name, labs in found.items()}


def _as_lab(lab: NDArray[np.float64]) -> Lab:
    return float(lab[0]), float(lab[1]), float(lab[2])


# --- columns --------------------------------------------------------------------------------------------


def _kind(table: Table) -> str | None:
    """Return which columns of a table give its colours, the best first."""
    if len(_wavelengths(table)) >= 16:
        return "spectra"
    if set(LAB_COLUMNS) <= set(table.columns):
        return "lab"
    return "xyz" if set(XYZ_COLUMNS) <= set(table.columns) else None


def _wavelengths(table: Table) -> dict[int, int]:
    """Return the column of each wavelength, nm, rising."""
    found = {}
    for index, column in enumerate(table.columns):
        if match := SPECTRAL_COLUMN.fullmatch(column):
            found[int(match.group(1))] = index
    return dict(sorted(found.items()))


def _name_columns(table: Table) -> list[int]:
    return [table.columns.index(name) for name in NAME_COLUMNS if name in table.columns]


# --- the header -----------------------------------------------------------------------------------------


def _told(keywords: Sequence[Keyword], pattern: str) -> tuple[str, int] | None:
    """Return the last header line that a pattern finds, as its first group and its line."""
    for keyword in reversed(keywords):
        if match := re.search(pattern, f"{keyword.name} {keyword.value}", re.IGNORECASE):
            return match.group(1), keyword.line
    return None


def _illuminant(table: Table, name: str) -> str | None:
    """Return the illuminant that the header states, None when it states none."""
    told = _told(
        table.keywords,
        r"^(?:WEIGHTING_FUNCTION\W+)?(?:ILLUMINANT|ILLUMINATION)(?:_NAME)?\W+(\w+)",
    ) or _told(table.keywords, r"^MEASUREMENT_SOURCE.*?(?:illumination|illuminant)\W+(\w+)")
    if told is None or told[0].lower() in ("none", "unknown", "undefined"):
        return None
    if told[0].upper() not in ILLUMINANTS:
        raise BadProfileError(
            f"unknown illuminant '{told[0]}'; known are {', '.join(ILLUMINANTS)}.", where=f"{name}:{told[1]}"
        )
    return told[0].upper()


def _observer(keywords: Sequence[Keyword]) -> tuple[str, int] | None:
    """Return the observer's angle that the header states, in degrees, with its line."""
    return _told(keywords, r"^(?:WEIGHTING_FUNCTION\W+)?OBSERVER(?:_ANGLE)?\W+(\d+)") or _told(
        keywords, r"^MEASUREMENT_SOURCE.*?observer(?:angle)?\W+(\d+)"
    )


def _condition(keywords: Sequence[Keyword]) -> str | None:
    told = _told(keywords, r"(?<![A-Z0-9])(M[0-3])(?![A-Z0-9])")
    return told[0].upper() if told else None


def _of_one_condition(tables: list[Table]) -> list[Table]:
    """Return the tables of one measurement condition, when a file holds several.

    M1 (D50 with its ultraviolet) first, being nearest to daylight on paper with brighteners (ISO 13655).
    """
    conditions = [_condition(table.keywords) for table in tables]
    for best in ("M1", "M0", "M2", "M3"):
        if best in conditions:
            return [table for table, condition in zip(tables, conditions, strict=True) if condition == best]
    return tables


# --- values ---------------------------------------------------------------------------------------------


class _TableReader:
    """Turns the rows of one table into samples for D65."""

    def __init__(self, table: Table, file_name: str, notes: list[str]) -> None:
        self.table = table
        self.file_name = file_name
        self.notes = notes

    def samples(self) -> Iterator[Sample]:
        """Yield the samples of the table."""
        if not self.table.rows:
            return
        self.check_white_base()
        labs = {"spectra": self.from_spectra, "lab": self.from_lab, "xyz": self.from_xyz}[
            _kind(self.table) or "lab"
        ]()
        columns = _name_columns(self.table)
        for row, lab in zip(self.table.rows, labs, strict=True):
            if not np.all(np.isfinite(lab)) or not -1.0 <= lab[0] <= 110.0 or np.abs(lab[1:]).max() > 150.0:
                self.refuse(row, f"the colour L*a*b* {', '.join(f'{value:.1f}' for value in lab)} cannot be")
            names = tuple((self.table.columns[column], row.cells[column]) for column in columns)
            yield Sample(names, _as_lab(lab), row.line)

    def refuse(self, row: Row, message: str) -> NoReturn:
        name = row.cells[_name_columns(self.table)[0]]
        raise BadProfileError(f"{message} (sample '{name}').", where=f"{self.file_name}:{row.line}")

    def values(self, columns: Sequence[int]) -> NDArray[np.float64]:
        """Return numbers of some columns, shape (rows, columns)."""
        read = np.empty((len(self.table.rows), len(columns)))
        for at, row in enumerate(self.table.rows):
            for to, column in enumerate(columns):
                try:
                    read[at, to] = number(row.cells[column])
                except ValueError:
                    self.refuse(row, f"{self.table.columns[column]} is '{row.cells[column]}', not a number")
                if not np.isfinite(read[at, to]):
                    self.refuse(row, f"{self.table.columns[column]} is not a finite number")
        return read

    def columns(self, names: Sequence[str]) -> list[int]:
        return [self.table.columns.index(name) for name in names]

    def from_lab(self) -> NDArray[np.float64]:
        """Return the CIELAB columns, adapted to D65."""
        return adapt_to_d65(self.values(self.columns(LAB_COLUMNS)), self.stated_illuminant())

    def from_xyz(self) -> NDArray[np.float64]:
        """Return the XYZ columns as CIELAB, adapted to D65."""
        illuminant = self.stated_illuminant()
        xyz = self.values(self.columns(XYZ_COLUMNS))
        xyz = xyz if xyz[:, 1].max() <= 1.5 else xyz / 100.0
        return adapt_to_d65(lab_under(xyz, white_point(illuminant)), illuminant)

    def from_spectra(self) -> NDArray[np.float64]:
        """Return CIELAB of the spectra under D65, integrated as ASTM E308 prescribes."""
        found = _wavelengths(self.table)
        nm = np.array(list(found))
        steps = np.unique(np.diff(nm))
        if len(steps) != 1 or steps[0] not in (5, 10, 20) or nm[0] > 400 or nm[-1] < 700:
            raise BadProfileError(
                "the spectra must cover 400 to 700 nm in even steps of 5, 10 or 20 nm.",
                where=f"{self.file_name}:{self.table.line}",
            )
        spectra = self.values(list(found.values()))
        spectra = spectra if spectra.max() <= 1.5 else spectra / 100.0
        return lab_under(xyz_of_spectra(nm, spectra), white_point("D65"))

    def stated_illuminant(self) -> str:
        """Return the illuminant of the values, after refusing an observer that cannot be turned into ours."""
        observer = _observer(self.table.keywords)
        if observer and observer[0] not in ("2", "1931"):
            raise BadProfileError(
                f"values for the {observer[0]} degree observer cannot be turned into those for 2 degrees.",
                where=f"{self.file_name}:{observer[1]}",
                remedy="Export spectra, or CIELAB for D50 or D65 and the 2 degree observer.",
            )
        illuminant = _illuminant(self.table, self.file_name)
        if illuminant is None:
            # ISO 13655: colorimetry of the graphic arts is computed for D50 and the 2 degree observer.
            self.notes.append("The profile names no illuminant; D50 and the 2 degree observer are assumed.")
        return illuminant or DEFAULT_ILLUMINANT

    def check_white_base(self) -> None:
        """Refuse values relative to the paper's white: the card's are absolute."""
        told = _told(self.table.keywords, r"white_?base\W+(pap\w*|substrate|media|relative)")
        if told:
            raise BadProfileError(
                "the values are relative to the paper's white.",
                where=f"{self.file_name}:{told[1]}",
                remedy="Measure or export again with an absolute white base.",
            )


def xyz_of_spectra(nm: NDArray[np.int_], spectra: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return XYZ (perfect white Y = 1) under D65 for the 2 degree observer.

    ASTM E308, with the weighting factors that colour-science computes for the interval at hand.

    Parameters
    ----------
    nm : wavelengths in even steps, shape (K,).
    spectra : reflectance factors, perfect white 1, shape (N, K).

    Returns
    -------
    array of shape (N, 3).
    """
    colour = colour_library()
    shape = colour.colorimetry.SPECTRAL_SHAPE_ASTME308
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    d65 = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)
    with warnings.catch_warnings():
        # It remarks on every spectrum that does not reach from 360 to 780 nm, as no instrument's does.
        warnings.simplefilter("ignore", colour.utilities.ColourRuntimeWarning)
        xyz = [
            colour.sd_to_XYZ(colour.SpectralDistribution(spectrum, nm), cmfs, d65, method="ASTM E308")
            for spectrum in spectra
        ]
    return np.array(xyz, dtype=np.float64) / 100.0
