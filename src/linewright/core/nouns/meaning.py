"""What a change of so many decibels means on the air."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from linewright.core.frozen import dataclass
from linewright.core.nouns.bench_result import Working


@dataclass(frozen=True, slots=True)
class Signal:
    """A received signal as an S meter shows it; ``level_dbm`` is None where the band is not known.

    ``s_reading`` stays at 9 above S9, where ``over_db`` counts on; below S0 it is negative. ``voltage_v`` is rms across
    50 ohm.
    """

    s_reading: float
    over_db: float
    level_dbm: float | None
    reading: str
    voltage_v: float | None = None


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a change means: below zero it is a loss, above zero a gain.

    ``equivalent_power_w`` is the transmitter power that would have the same effect as the change at ``power_w``. The
    range ratios are the new range over the old one, under each law. ``text`` is one sentence to quote.
    """

    change_db: float
    power_ratio: float
    power_w: float
    equivalent_power_w: float
    s_units: float
    free_space_range_ratio: float
    plane_earth_range_ratio: float
    frequency_hz: float | None
    s9_dbm: float | None
    signal_before: Signal | None
    signal_after: Signal | None
    text: str
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/meaning/1``."""
        return {"schema": "linewright/meaning/1", **asdict(self)}


@dataclass(frozen=True, slots=True)
class Level:
    """What one received signal is: S reading, level and voltage at the receiver's input.

    Of the two ranges of S9 one is None where a frequency says which holds.
    """

    asked: str
    frequency_hz: float | None
    below_30_mhz: Signal | None
    from_30_mhz: Signal | None
    text: str
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/level/1``."""
        return {"schema": "linewright/level/1", **asdict(self)}


@dataclass(frozen=True, slots=True)
class Radiated:
    """What an EIRP is at a distance in free space; what an antenna there takes up, where a frequency is given."""

    eirp_w: float
    erp_w: float
    distance_m: float
    field_v_per_m: float
    density_w_per_m2: float
    frequency_hz: float | None
    path_loss_db: float | None
    gain_dbi: float
    received: Signal | None
    text: str
    remarks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    workings: tuple[Working, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/radiated/1``."""
        return {"schema": "linewright/radiated/1", **asdict(self)}
