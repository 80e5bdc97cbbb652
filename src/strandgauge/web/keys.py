"""The keys that let phones in: the one in the code, the digits to type, and the one that a phone keeps for a day."""

from __future__ import annotations

import json
import secrets
import time
from contextlib import suppress
from datetime import timedelta
from pathlib import Path

from strandgauge.files.write import write_whole

KEY_LASTS = timedelta(hours=14)
"""How long a phone that was let in stays in: a working day, also where the server is started anew meanwhile."""


def new_token() -> str:
    """Return what the code on the screen holds: 192 random bits."""
    return secrets.token_urlsafe(24)


def new_code() -> str:
    """Return eight random digits, to be typed where no camera reads the code."""
    return f"{secrets.randbelow(10**8):08d}"


def session_key(file: Path, *, anew: bool = False) -> str:
    """Return what a phone keeps; it is kept in a file that only its user may read, until it is a day old.

    Parameters
    ----------
    file : where it is kept, beside the logbook.
    anew : whether every phone has to be let in again.

    Raises
    ------
    CannotWriteError : it cannot be kept.
    """
    now = time.time()
    if not anew:
        with suppress(OSError, ValueError, KeyError, TypeError):
            kept = json.loads(file.read_text(encoding="ascii"))
            if 0.0 <= now - float(kept["made"]) < KEY_LASTS.total_seconds() and len(kept["key"]) >= 32:
                return str(kept["key"])
    key = secrets.token_urlsafe(32)
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    write_whole(file, json.dumps({"key": key, "made": now}).encode("ascii"))
    file.chmod(0o600)
    return key
