"""The parts of a strand that are told apart."""

from __future__ import annotations

from typing import Literal

ZoneName = Literal["overall", "root", "mids", "ends"]
