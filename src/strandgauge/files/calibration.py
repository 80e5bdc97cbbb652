"""Finds the calibration files: the user's own, or those that ship with the package; and reads them.

Constants of the trade live in TOML under ``calibration/``; in an installed package that folder is
``strandgauge/_calibration``. A user replaces a file by naming another on the command line. A file that
cannot be used is refused with its name and the line that is wrong.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from strandgauge.errors import BadCalibrationError
from strandgauge.files.toml import TomlFile, read_toml

Key = str | int


@cache
def calibration_folder() -> Path:
    """Return the folder of the calibration files that ship with the package."""
    installed = Path(__file__).parents[1] / "_calibration"
    return installed if installed.is_dir() else Path(__file__).parents[3] / "calibration"


def calibration_file(*parts: str) -> Path:
    """Return the path of one shipped calibration file, such as ``("cards", "strand-a6.toml")``."""
    return calibration_folder().joinpath(*parts)


@dataclass(frozen=True, slots=True)
class CalibrationTable:
    """The content of one calibration file that remembers the line of every key.

    Keys are given as a path: ``("level", 3, "lab")`` is the key ``lab`` of the fourth ``[[level]]``.
    """

    file: TomlFile

    def error(self, message: str, *key: Key) -> BadCalibrationError:
        """Return (not raise) the error that names this file and the line of ``key`` or of its table."""
        return BadCalibrationError(message, where=self.file.where(*key))

    def get(self, *key: Key) -> object:
        """Return the value at ``key``, or None where there is none."""
        value: object = self.file.data
        for part in key:
            if isinstance(part, int):
                if not isinstance(value, list) or part >= len(value):
                    return None
                value = value[part]
            else:
                if not isinstance(value, dict) or part not in value:
                    return None
                value = value[part]
        return value

    def rows(self, name: str) -> int:
        """Return how many ``[[name]]`` tables there are.

        Raises
        ------
        BadCalibrationError : ``name`` is there but is not a list of tables.
        """
        value = self.get(name)
        if value is None:
            return 0
        if not isinstance(value, list) or not all(isinstance(row, dict) for row in value):
            raise self.error(f"'{name}' must be written as [[{name}]] tables", name)
        return len(value)

    def text(self, *key: Key, default: str | None = None) -> str:
        """Return the text at ``key``.

        Raises
        ------
        BadCalibrationError : it is missing (and has no default), empty or not text.
        """
        value = self.get(*key)
        if value is None and default is not None:
            return default
        if not isinstance(value, str) or not value.strip():
            raise self.error(f"'{key[-1]}' must be some text", *key)
        return value

    def number(
        self, *key: Key, low: float = -math.inf, high: float = math.inf, default: float | None = None
    ) -> float:
        """Return the number at ``key``, which must lie within ``low`` and ``high``.

        Raises
        ------
        BadCalibrationError : it is missing (and has no default), not a finite number, or out of range.
        """
        value = self.get(*key)
        if value is None and default is not None:
            return default
        return self._number(value, low, high, *key)

    def numbers(
        self,
        *key: Key,
        count: int | None = None,
        low: float = -math.inf,
        high: float = math.inf,
    ) -> tuple[float, ...]:
        """Return the list of numbers at ``key``: ``count`` of them where told, each within the range.

        Raises
        ------
        BadCalibrationError : it is missing, of another length, or a value is no number or out of range.
        """
        value = self.get(*key)
        if not isinstance(value, list) or (count is not None and len(value) != count):
            many = "a list of numbers" if count is None else f"{count} numbers in brackets"
            raise self.error(f"'{key[-1]}' must be {many}", *key)
        return tuple(self._number(item, low, high, *key) for item in value)

    def _number(self, value: object, low: float, high: float, *key: Key) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise self.error(f"'{key[-1]}' must be a number", *key)
        if not low <= value <= high:
            raise self.error(f"'{key[-1]}' is {value:g}, outside {low:g} to {high:g}", *key)
        return float(value)


def read_calibration(path: Path, schema: str) -> CalibrationTable:
    """Read a TOML calibration file and check that it is of the ``schema`` asked for.

    Raises
    ------
    BadCalibrationError : the file is missing, not text, not TOML, or of another schema.
    """
    table = CalibrationTable(read_toml(path, BadCalibrationError, "calibration", name=str(path)))
    if table.get("schema") != schema:
        raise table.error(f'the file must say schema = "{schema}"', "schema")
    return table
