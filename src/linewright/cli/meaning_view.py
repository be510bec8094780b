"""The page of ``linewright meaning``."""

from __future__ import annotations

from linewright.cli.layout import bold, items, page, paragraph
from linewright.cli.table import Table
from linewright.cli.workings_view import workings_view
from linewright.model.meaning import Meaning, Signal
from linewright.units.writing import frequency, plain, signed


def meaning_view(found: Meaning, *, explain: bool = False) -> str:
    """Return what a change means, for a terminal."""
    which = " less" if found.change_db < 0 else " more" if found.change_db else ""
    parts = [
        [bold(f"{abs(found.change_db):.4g} dB{which}")],
        paragraph(found.text),
        _figures(found),
        items(found.remarks),
    ]
    if explain:
        parts.append(workings_view(found.workings))
    return page(parts)


def _figures(found: Meaning) -> list[str]:
    out = Table(("", "before", "after", "change"), "lrrr")
    ratio = found.power_ratio
    out.add("transmitter power", _watts(found.power_w), _watts(found.equivalent_power_w), _times(ratio))
    if found.signal_before and found.signal_after:
        before, after = found.signal_before, found.signal_after
        out.add("signal", before.reading, after.reading, f"{signed(found.s_units, 2)} S units")
        if before.level_dbm is not None:
            out.add("level", _level(before), _level(after), f"{signed(found.change_db, 1)} dB")
    else:
        out.add("signal", "", "", f"{signed(found.s_units, 2)} S units")
    out.add("range in free space", "", "", _times(found.free_space_range_ratio))
    out.add("range over plane earth", "", "", _times(found.plane_earth_range_ratio))
    if found.s9_dbm is not None and found.frequency_hz is not None:
        out.under(f"S9 is {plain(found.s9_dbm, 0)} dBm at {frequency(found.frequency_hz)}.")
    return out.lines()


def _watts(power_w: float) -> str:
    return f"{power_w:.3g} W"


def _times(ratio: float) -> str:
    return f"{ratio:.3g} times"


def _level(signal: Signal) -> str:
    return f"{plain(signal.level_dbm or 0.0, 1)} dBm"
