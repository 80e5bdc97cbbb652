"""What the tests of the logbook share."""

from __future__ import annotations

from datetime import UTC, datetime

NOON = datetime(2024, 5, 14, 12, 0, tzinfo=UTC)
