"""What a careful person would work out with a pocket calculator.

Per meter: first reference over mean reading, in dB, plus the catalogue loss of the jumper it replaced; a root sum of
squares of reading resolution, scatter of repeats, mismatch from the SWRs on the sheet, and 3 % for the detector. Meters
are averaged by inverse variance. Written apart from the engine's own by-hand figure.
"""

from __future__ import annotations

import numpy as np

from lines import catalogue_db
from linewright.core.nouns.bench import BenchSheet, Meter, Reading


def _power_w(meter: Meter, value: float) -> float:
    """Return power up to a constant factor."""
    if meter.scale in ("dBm", "dB"):
        return float(10 ** (value / 10))
    if meter.scale == "volts":
        return value**2
    if meter.scale == "card":
        scale, watts = np.array(meter.card).T
        return float(np.interp(value**2, scale**2, watts))
    return value


def _resolution_db(meter: Meter, reading: Reading) -> float:
    """Return the standard uncertainty of one reading's last step, dB."""
    half = (meter.division or 0.0) / 2
    if reading.low is not None and reading.high is not None:
        half = (reading.high - reading.low) / 2
    low, mid = _power_w(meter, max(reading.reading - half, 0.0)), _power_w(meter, reading.reading)
    if meter.scale == "dBm":
        low = _power_w(meter, reading.reading - half)
    return float(10 * np.log10(mid / max(low, mid / 10)) / np.sqrt(3))


def _one_meter(sheet: BenchSheet, meter: Meter, tag: str, f: float) -> tuple[float, float] | None:
    mine = [r for r in sheet.readings if r.meter == meter.name and r.frequency_hz == f]
    ref = next((r for r in mine if r.path == ()), None)
    through = [r for r in mine if r.path == (tag,) and _power_w(meter, r.reading) > 0]
    if ref is None or not through or _power_w(meter, ref.reading) <= 0:
        return None
    at_db = np.array([10 * np.log10(_power_w(meter, r.reading)) for r in through])
    loss = 10 * np.log10(_power_w(meter, ref.reading)) - 10 * np.log10(np.mean(10 ** (at_db / 10)))
    s, m = ((w - 1) / (w + 1) for w in (sheet.source.swr or 1.5, meter.swr or 1.2))
    scatter = float(np.std(at_db, ddof=1) / np.sqrt(len(at_db))) if len(at_db) > 1 else 0.1
    parts = (
        _resolution_db(meter, ref),
        _resolution_db(meter, through[0]),
        scatter,
        8.686 / np.sqrt(2) * s * m,
        0.03 * loss,
    )
    return float(loss + _jumper_db(sheet, f)), float(np.sqrt(np.sum(np.square(parts))))


def _jumper_db(sheet: BenchSheet, f: float) -> float:
    ref = sheet.reference
    if ref.in_place == "stays" or ref.line is None:
        return 0.0
    return catalogue_db(ref.line, ref.length_m, 2, f)


def plain_losses(sheet: BenchSheet) -> dict[tuple[str, float], tuple[float, float]]:
    """Return loss and standard uncertainty, dB, of every piece that was read alone, by (tag, frequency)."""
    out = {}
    for tag in (p.tag for p in sheet.pieces):
        for f in {r.frequency_hz for r in sheet.readings}:
            found = [x for m in sheet.meters if (x := _one_meter(sheet, m, tag, f)) is not None]
            if found:
                loss, u = np.array(found).T
                weight = 1 / np.maximum(u, 0.01) ** 2
                out[tag, f] = (float(loss @ weight / weight.sum()), float(weight.sum() ** -0.5))
    return out
