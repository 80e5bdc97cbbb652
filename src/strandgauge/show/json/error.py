"""An error as a plain dictionary, ready for JSON; loads nothing else, since an error may be told at any time."""

from __future__ import annotations

from typing import Any

from strandgauge.errors import Told


def error_document(told: Told) -> dict[str, Any]:
    """Return an error as ``strandgauge.error/1``."""
    return {
        "schema": "strandgauge.error/1",
        "code": told.code,
        "message": told.message,
        "remedy": told.remedy,
        "where": told.where,
    }
