"""The plain figure a careful person works out from one reading, and the mean of several."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

from linewright.evidence.one_end.nuisance import impedance_of
from linewright.evidence.one_end.targets import reflection_of
from linewright.model.one_end import OneEndReading, OneEndTest
from linewright.physics.one_end import loss_from_reflection_db, loss_from_resonance_db


def plain_db(reading: OneEndReading, test: OneEndTest) -> float | None:
    """Return the plain formula's loss, dB; None where the reading gives a limit only, or no figure at all.

    An antenna is taken to reflect everything, so its figure is an upper bound.
    """
    if reading.bound != "is" or not isfinite(reading.value):
        return None
    if reading.quantity == "resistance_ohm":
        found = float(loss_from_resonance_db(reading.value, impedance_of(test)))
        return found if isfinite(found) else None
    seen = reflection_of(reading.quantity, reading.value, test.reference_ohm)
    end = far_reflection(reading, test)
    return float(loss_from_reflection_db(seen, end)) if seen > 0.0 and end > 0.0 else None


def far_reflection(reading: OneEndReading, test: OneEndTest) -> float:
    """Return what the far end reflects by the plain formula: a load as read directly, or as known; else everything."""
    if reading.far_end != "load":
        return 1.0
    if reading.direct is not None:
        return reflection_of(reading.quantity, reading.direct, test.reference_ohm)
    return reflection_of("swr", reading.load_swr or 1.0, test.reference_ohm)


def mean_db(readings: Sequence[OneEndReading], test: OneEndTest) -> float | None:
    """Return the mean of the plain figures of one frequency; peaks of an antenna only where there is nothing else."""
    sure = [r for r in readings if r.far_end != "antenna" or r.method == "resonance"] or readings
    found = [x for x in (plain_db(r, test) for r in sure) if x is not None]
    return sum(found) / len(found) if found else None
