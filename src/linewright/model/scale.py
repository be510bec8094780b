"""The scales a meter may have."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

Scale = Literal["watts", "milliwatts", "dBm", "dB", "volts", "card", "loss"]
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
