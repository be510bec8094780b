"""A connector in poor order: it reflects more than connectors and adapters in order do, or stands in series."""

from __future__ import annotations

import numpy as np

from linewright.core.arrays import Complexes, Floats
from linewright.core.formatting import digits, metres, percent, plain
from linewright.core.messages import say
from linewright.core.nouns.sweep import Fault, Sweep
from linewright.core.quantities import TWO_PI
from linewright.inference.sweep.echoes import NOTHING, EchoFit, columns
from linewright.inference.sweep.faults import LEAST_SURE, MODEL_CELLS, MOST_SURE, blind_s, in_series
from linewright.inference.sweep.health import filler
from linewright.inference.sweep.line_end import LineScale, SeenPair, look

ORDINARY_S, ORDINARY = 0.085e-9, 0.05
"""Connectors and adapters in order reflect as a spot of so many seconds at most (UHF plugs most), and so much of a wave
by resistance in series. By simulated connectors: some centimetres of 34 to 56 ohm."""
CONNECTOR_HZ, ALIKE_HZ = 500e6, 100e6
"""Up to the first a connector is a spot, up to the second next to nothing but what it has in series."""
LEFT_OVER = 0.02
"""What a calibration leaves (34 dB): on a narrow sweep it counts for more of a spot."""
BY_EXCESS = 2.5
"""By which power of the excess the doubt falls; chosen here."""
FAR_SHARE = 0.4
"""A resistance at the near end would show there at once: where less than this share of it does, it stands beyond."""
FEWEST = 8
LEAST_SERIES = 0.02
"""A resistance at the far end that reflects less than this (2 ohm in a line of 50, 0.18 dB) is not told of a constant
loss: a calibration that drifted makes as much.
"""
SURE_OHM = 0.12
"""An impedance less sure than this, relative, hides what resistance in series at the far end reflects."""
MATCHED, MISMATCHED = 0.05, 0.25
"""Of a line that reflects more in what it is swept with, resistance in series cannot be told from the line itself; and
of one that reflects more than the second, no connector: three adapters of 50 ohm in order reflect as much on a line of
93 as a crushed plug does."""
FOREIGN = 9.0
"""By so much more, for each unit that a line reflects, connectors in order stand out of it: their own impedance is that
of the analyser. By simulated lines of 60 to 93 ohm with adapters."""
AS_NEAR = 1.5
"""A connector in poor order reflects so much more than the one at the other end: what both do is how the line is made
up, or what is not known of its impedance."""
LEAST_HZ, LEAST_CELLS = 200e6, 10.0
"""Up to the first a connector in poor order reflects no more than a cheap calibration leaves; on a line of fewer cells
than the second one end is not told from the other."""


def poor_far_end(
    sweep: Sweep, seen: SeenPair, scale: LineScale, constant_db: float, ohm: tuple[float, float]
) -> list[Fault]:
    """Return the connector at the far end, as port 2 sees it, where it reflects more than those in order do.

    A loss alike at all frequencies speaks for resistance in series, here as anywhere. An impedance that is ``unsure``,
    a relative standard uncertainty, may be off by two of them, and reflects half of that.
    """
    z0, unsure = ohm
    back, mismatch = sweep.s[:, 1, 1], float(np.hypot(seen.mismatch, unsure))
    if mismatch > MISMATCHED or filler(sweep)[1, 1] or seen.fit.end_delay_s is None:
        return []
    if seen.fit.end_delay_s < LEAST_CELLS * seen.fit.cell_s or sweep.frequency_hz[-1] < LEAST_HZ:
        return []
    other = look(sweep.frequency_hz, back, seen.end, seen.fit.rate, None)
    series = in_series(constant_db, z0) if seen.mismatch < MATCHED else 0.0
    size, sure = poor_connector(other.fit, series, mismatch, AS_NEAR * _spot(seen.fit)[0])
    if sure < LEAST_SURE:
        return []
    at = seen.fit.end_delay_s * scale.m_per_s
    u = np.hypot(MODEL_CELLS * seen.fit.cell_s * scale.m_per_s, scale.relative_u * at)
    reach = blind_s(other.fit) * scale.m_per_s
    why = say(
        "The connector at the far end, or the line within {reach} of it, reflects more than connectors and adapters in"
        " order do: up to {share} below {f} MHz. A loose, crushed or corroded connector.",
        reach=metres(float(reach), 2), share=percent(size), f=digits(min(CONNECTOR_HZ, sweep.frequency_hz[-1]) / 1e6),
    )  # fmt: skip
    return [Fault(at, max(0.0, float(at - 1.96 * u - reach)), float(at + 1.96 * u), "bad joint", size, sure, why)]


def in_series_beyond(seen: SeenPair, scale: LineScale, constant_db: float, z0: float) -> list[Fault]:
    """Return the resistance at the far end that the loss speaks for, where neither line nor near end reflects so."""
    series = in_series(constant_db, z0)
    if series < LEAST_SERIES or seen.fit.end_delay_s is None or seen.mismatch > MATCHED:
        return []
    if not beyond_near(seen.fit, series):
        return []
    at = seen.fit.end_delay_s * scale.m_per_s
    u = np.hypot(MODEL_CELLS * seen.fit.cell_s * scale.m_per_s, scale.relative_u * at)
    ohm = 2.0 * z0 * series / (1.0 - series)
    why = say(
        "A loss is there at all frequencies alike, as about {resistance} ohm in series make it, and nothing before the"
        " far end reflects as much: a corroded or loose connector there, or the calibration is off.",
        resistance=plain(ohm, 0),
    )  # fmt: skip
    low = max(0.0, float(at - 1.96 * u - blind_s(seen.fit) * scale.m_per_s))
    return [Fault(at, low, float(at + 1.96 * u), "bad joint", series, LEAST_SURE, why, series_ohm=ohm)]


def poor_connector(
    fit: EchoFit, series: float = 0.0, mismatch: float = 0.0, other_s: float = 0.0
) -> tuple[float, float]:
    """Return how much the connector at the near end of a fit reflects at most, and how sure it is in poor order.

    A short section of another impedance reflects in proportion to frequency; ``series`` is what a resistance reflects
    that a loss alike at all frequencies speaks for, ``mismatch`` what the line itself reflects in the sweep's
    impedance, ``other_s`` what a connector in order may reflect by what stands at the other end, in seconds.
    """
    slope, size, top = _spot(fit)
    usual_s = max(ORDINARY_S * (1.0 + FOREIGN * max(mismatch - MATCHED, 0.0)) + LEFT_OVER / top, other_s)
    excess = float(np.hypot(slope / usual_s, series / ORDINARY))
    sure = 1.0 - (1.0 - LEAST_SURE) * max(excess, 1e-3) ** -BY_EXCESS
    return size, float(np.clip(sure, 0.0, MOST_SURE))


def _spot(fit: EchoFit) -> tuple[float, float, float]:
    """Return what the near end of a fit reflects beside what it does alike: seconds, the most, up to which 2 pi f."""
    f, local = _near_end(fit, CONNECTOR_HZ)
    # What it reflects alike is the line's own step as often as not.
    omega, size = TWO_PI * f, np.abs(local - _alike(fit))
    slope = float(np.sum(omega * size) / max(float(np.sum(omega**2)), NOTHING))
    return slope, min(1.0, float(np.quantile(size, 0.95))), float(omega[-1])


def beyond_near(fit: EchoFit, series: float) -> bool:
    """Return whether a resistance in series, which reflects so much, does not stand at the near end of a fit."""
    return abs(_alike(fit)) < FAR_SHARE * series


def _alike(fit: EchoFit) -> float:
    """Return what the near end reflects alike at the lowest frequencies: what stands in series there."""
    return float(np.mean(_near_end(fit, ALIKE_HZ)[1].real))


def _near_end(fit: EchoFit, most_hz: float) -> tuple[Floats, Complexes]:
    """Return what the near end by itself reflects up to a frequency, or over the lowest few points at least."""
    part, share = next((part, share) for part, share in fit.parts if part.kind == "near")
    f = fit.frequency_hz
    low = f <= max(most_hz, float(f[min(len(f) - 1, FEWEST)]))
    return f[low], np.asarray((columns(part, f / f[-1], fit.rate.exponent(f)) @ share)[low])
