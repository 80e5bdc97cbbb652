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

import numpy as np
from numpy.typing import NDArray

from strandgauge.card.cgats import Keyword, Row, Table, number, read_tables
from strandgauge.card.model import CardDefinition
from strandgauge.colour.cielab import Lab, as_lab
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
    first_line: int
    """Line on which the first table's columns are named."""

    def error(self, message: str, remedy: str | None = None) -> BadProfileError:
        """Return (not raise) the error that names this file."""
        return BadProfileError(message, where=f"{self.name}:{self.first_line}", remedy=remedy)


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
    tables = read_tables(Path(path))
    usable = _of_one_condition([table for table in tables if _kind(table) and _name_columns(table)])
    if not usable:
        raise tables[0].error(
            "no table has both sample ids (SAMPLE_ID or SAMPLE_NAME) and colours (LAB_L, LAB_A, LAB_B, or "
            "XYZ_X, XYZ_Y, XYZ_Z, or spectra)."
        )
    samples = tuple(sample for table in usable if table.rows for sample in _samples(table))
    if not samples:
        raise usable[0].error("the table has no rows.")
    return Profile(usable[0].file, samples, usable[0].line)


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
        if len(missing) == len(labs):
            raise profile.error(f"no row carries the id of a patch of '{card.name}'.")
        told = ", ".join(f"'{name}'" for name in missing[:5])
        more = f" and {len(missing) - 5} more" if len(missing) > 5 else ""
        raise profile.error(f"there is no row for the patches {told}{more}.")
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
        raise profile.error(
            f"the colours are nothing like those of '{card.name}': half of them lie more than {away:.0f} "
            "(Delta E*ab) from it.",
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
    return {name: as_lab(np.mean(labs, axis=0)) for name, labs in found.items()}


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


def _condition(table: Table) -> str | None:
    """Return the measurement condition M0 to M3 of ISO 13655, when the header states it."""
    told = _told(table.keywords, r"(?<![A-Z0-9])(M[0-3])(?![A-Z0-9])")
    return told[0].upper() if told else None


def _stated_light(table: Table) -> str:
    """Return the illuminant of a table's values, after refusing an observer that cannot be turned into ours."""
    observer = _told(table.keywords, r"^(?:WEIGHTING_FUNCTION\W+)?OBSERVER(?:_ANGLE)?\W+(\d+)") or _told(
        table.keywords, r"^MEASUREMENT_SOURCE.*?observer(?:angle)?\W+(\d+)"
    )
    if observer and observer[0] not in ("2", "1931"):
        raise table.error(
            f"values for the {observer[0]} degree observer cannot be turned into those for 2 degrees.",
            observer[1],
            "Export spectra, or CIELAB for D50 or D65 and the 2 degree observer.",
        )
    light = _told(
        table.keywords, r"^(?:WEIGHTING_FUNCTION\W+)?(?:ILLUMINANT|ILLUMINATION)(?:_NAME)?\W+(\w+)"
    ) or _told(table.keywords, r"^MEASUREMENT_SOURCE.*?(?:illumination|illuminant)\W+(\w+)")
    if light is None or light[0].lower() in ("none", "unknown", "undefined"):
        # ISO 13655: colorimetry of the graphic arts is computed for D50 and the 2 degree observer.
        return DEFAULT_ILLUMINANT
    if light[0].upper() not in ILLUMINANTS:
        raise table.error(f"unknown illuminant '{light[0]}'; known are {', '.join(ILLUMINANTS)}.", light[1])
    return light[0].upper()


def _of_one_condition(tables: list[Table]) -> list[Table]:
    """Return the tables of one measurement condition, when a file holds several.

    M1 (D50 with its ultraviolet) first, being nearest to daylight on paper with brighteners (ISO 13655).
    """
    conditions = [_condition(table) for table in tables]
    for best in ("M1", "M0", "M2", "M3"):
        if best in conditions:
            return [table for table, condition in zip(tables, conditions, strict=True) if condition == best]
    return tables


# --- values ---------------------------------------------------------------------------------------------


def _samples(table: Table) -> Iterator[Sample]:
    """Yield the rows of one table as samples for D65."""
    if told := _told(table.keywords, r"white_?base\W+(pap\w*|substrate|media|relative)"):
        # The card's values are absolute.
        remedy = "Measure or export again with an absolute white base."
        raise table.error("the values are relative to the paper's white.", told[1], remedy)
    named = _name_columns(table)
    for row, lab in zip(table.rows, _labs(table), strict=True):
        if not np.all(np.isfinite(lab)) or not -1.0 <= lab[0] <= 110.0 or np.abs(lab[1:]).max() > 150.0:
            told_lab = ", ".join(f"{value:.1f}" for value in lab)
            raise _bad_row(table, row, f"the colour L*a*b* {told_lab} cannot be")
        yield Sample(tuple((table.columns[at], row.cells[at]) for at in named), as_lab(lab), row.line)


def _labs(table: Table) -> NDArray[np.float64]:
    """Return the colours of a table as CIELAB for D65, shape (rows, 3)."""
    kind = _kind(table)
    if kind == "spectra":
        found = _wavelengths(table)
        nm = np.array(list(found))
        steps = np.unique(np.diff(nm))
        if len(steps) != 1 or steps[0] not in (5, 10, 20) or nm[0] > 400 or nm[-1] < 700:
            raise table.error("the spectra must cover 400 to 700 nm in even steps of 5, 10 or 20 nm.")
        spectra = _values(table, list(found.values()))
        spectra = spectra if spectra.max() <= 1.5 else spectra / 100.0
        return lab_under(xyz_of_spectra(nm, spectra), white_point("D65"))
    light = _stated_light(table)
    columns = LAB_COLUMNS if kind == "lab" else XYZ_COLUMNS
    values = _values(table, [table.columns.index(name) for name in columns])
    if kind == "xyz":
        xyz = values if values[:, 1].max() <= 1.5 else values / 100.0
        values = lab_under(xyz, white_point(light))
    return adapt_to_d65(values, light)


def _values(table: Table, columns: Sequence[int]) -> NDArray[np.float64]:
    """Return numbers of some columns, shape (rows, columns)."""
    read = np.empty((len(table.rows), len(columns)))
    for at, row in enumerate(table.rows):
        for to, column in enumerate(columns):
            try:
                read[at, to] = number(row.cells[column])
            except ValueError:
                told = f"{table.columns[column]} is '{row.cells[column]}', not a number"
                raise _bad_row(table, row, told) from None
            if not np.isfinite(read[at, to]):
                raise _bad_row(table, row, f"{table.columns[column]} is not a finite number")
    return read


def _bad_row(table: Table, row: Row, message: str) -> BadProfileError:
    return table.error(f"{message} (sample '{row.cells[_name_columns(table)[0]]}').", row.line)


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
