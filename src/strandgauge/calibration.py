"""Finds the calibration files: the user's own, or those that ship with the package.

Constants of the trade live in TOML under ``calibration/``; in an installed package that folder is
``strandgauge/_calibration``. A user replaces a file by naming another on the command line.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path


@cache
def calibration_folder() -> Path:
    """Return the folder of the calibration files that ship with the package."""
    installed = Path(__file__).parent / "_calibration"
    return installed if installed.is_dir() else Path(__file__).parents[2] / "calibration"


def calibration_file(*parts: str) -> Path:
    """Return the path of one shipped calibration file, such as ``("cards", "strand-a6.toml")``."""
    return calibration_folder().joinpath(*parts)
