"""What a number or a text of a record may be; documents are checked by it when they are read back."""

from __future__ import annotations

from typing import Annotated

from annotated_types import Ge, Interval, MinLen

Text = Annotated[str, MinLen(1)]
Count = Annotated[int, Ge(0)]
NotNegative = Annotated[float, Ge(0)]
Share = Annotated[float, Interval(ge=0, le=1)]
HueAngle = Annotated[float, Interval(ge=0, le=360)]
"""CIELAB hue angle, degrees."""
Level = Annotated[float, Ge(1)]
"""Lift level on a ladder."""
