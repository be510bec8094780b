"""The scales a meter may have."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from linewright.units.said import mark

Scale = Literal["watts", "milliwatts", "dBm", "dB", "volts", "card", "loss"]
SCALE_WORDS = (mark("watts"), mark("milliwatts"), mark("volts"), mark("card"), mark("loss"))
"""The scales that are named by a word rather than by their unit."""
SCALE_UNIT: Mapping[Scale, str] = {
    "watts": "W",
    "milliwatts": "mW",
    "dBm": "dBm",
    "dB": "dB",
    "volts": "V",
    "card": "",
    "loss": "dB",
}
"""What stands behind a reading; a bare scale has no unit. On a scale of ``loss`` a test from one end is put down."""
