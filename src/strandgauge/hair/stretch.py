"""The stretch test of wet hair: what the stylist says of it."""

from __future__ import annotations

from typing import Literal, get_args

Stretch = Literal["springs back", "slow", "gummy"]
"""The stylist's own answer to the stretch test of a wet strand; ``gummy`` always means stop."""
STRETCH_ANSWERS: tuple[Stretch, ...] = get_args(Stretch)
