"""At which frequencies a sweep is asked for its loss: the amateur bands it covers, and those a person names."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.catalogue.bands import bands
from linewright.errors import InputError
from linewright.model.sweep import Sweep


def asked(sweep: Sweep, at_hz: Sequence[float]) -> list[tuple[str, float]]:
    """Return (band, frequency) pairs inside the sweep, rising: the middle of each band's covered part, and ``at_hz``.

    A frequency that is no number above zero is refused; one outside the sweep is left out (see ``outside``).
    """
    for f in at_hz:
        if not (np.isfinite(f) and f > 0):
            raise InputError("at_hz", f"must be above zero and finite; got {f:g}")
    low, high = float(sweep.frequency_hz[0]), float(sweep.frequency_hz[-1])
    found = [("", float(f)) for f in at_hz if sweep.covers(f)]
    for band in bands():
        start, stop = max(low, band.low_hz), min(high, band.high_hz)
        if start <= stop:
            found.append((band.name, (start + stop) / 2.0))
    return sorted(found, key=lambda pair: pair[1])


def outside(sweep: Sweep, at_hz: Sequence[float]) -> list[float]:
    """Return which of the frequencies asked for the sweep does not reach."""
    return [float(f) for f in at_hz if not sweep.covers(f)]
