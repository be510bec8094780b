"""Too flat to be true: a curve's movement against what plausible resonant antennas show through the same line.

The antennas are series resonant circuits, ``Z = R (1 + jQ (f/f0 - f0/f))``, drawn anew with fixed chance at each call:
Q even in its logarithm from 6 to 40, one in ten as broad as 3; resonance within the amateur band of the curve, or two
per cent beyond; R around 50 ohms with a spread of 0.35 in its logarithm (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.catalogue.bands import bands
from linewright.evidence.through.antenna import ANALYSER_SCALE, METER_SCALE
from linewright.model.belief import LEAST_DB
from linewright.model.through import Complexes, FlatWarning, Floats, LineBehind, Seen
from linewright.physics.mismatch import reflection_from_swr, swr_from_reflection
from linewright.units.constants import TWO_PI
from linewright.units.writing import frequency

ANTENNAS = 600
Q_FROM, Q_TO, Q_BROADEST, BROAD = 6.0, 40.0, 3.0, 0.1
RESISTANCE_OHM, RESISTANCE_SPREAD = 50.0, 0.35
BESIDE = 0.02
SURE, OPEN = 0.01, 0.10
"""Below the first a curve is called too flat; between the two nobody can tell."""
COMMON = 0.05
"""A loss explains a curve when so many of its antennas move no more."""
MOST_DB = 40.0
MOST_POINTS = 31
REFLECTS = 0.8
"""A curve this near to the line's ceiling all over has next to nothing at its far end."""
DUMMY_REFLECTS = 0.03
WIDEST = 0.6
"""The widest span tried, relative to its middle."""
ALTERNATIVES = (
    "a dummy load, or a terminated or wide-band antenna, would look the same",
    "a resistive or lossy antenna (a poor earth, a wet or corroded joint, a lossy balun or trap)",
    "a wrong calibration, or a meter out of its range",
)


@dataclass(frozen=True, slots=True)
class Plausible:
    """Draws of plausible antennas and of the bridge, shaped (antennas,)."""

    q: Floats
    resonance_hz: Floats
    resistance_ohm: Floats
    leak: Complexes
    leak_delay_s: Floats
    scale: Floats


def flat_warning(seen: Seen, line: LineBehind, rng: np.random.Generator) -> FlatWarning:
    """Say whether a curve is too flat for a resonant antenna behind the believed line.

    Parameters
    ----------
    seen : Seen
        A curve of three points or more.
    line : LineBehind
        With one or more draws of its loss.
    """
    seen = _spaced(seen)
    f = np.asarray(seen.frequency_hz)
    some = plausible(seen, rng)
    over, drawn = _over(some, f), _loss_of(line, f, ANTENNAS)
    moved = float(np.ptp(seen.magnitude))
    chance = _chance(_moves(over, seen, drawn), moved)
    middle_db = float(np.median(drawn[len(f) // 2]))
    least = _smallest_db(over, seen, np.median(drawn, axis=1, keepdims=True) / max(middle_db, LEAST_DB), moved)
    useful = _useful(some, seen, line)
    if _shows_all(seen, drawn):
        return FlatWarning(False, least, chance, _NOTHING_THERE, (), *useful)
    still = moved <= float(np.quantile(_dummy_moves(over, seen, drawn), 0.95)) + 1e-9
    flat = _is_flat(chance, still)
    why = _why(seen, flat, still, chance, least, middle_db) + ("" if flat is not None else f" {_wider(useful)}")
    return FlatWarning(flat, least, chance, why, _alternatives(seen) if flat is not False else (), *useful)


def _is_flat(chance: float, still: bool) -> bool | None:
    """Judge a curve; one that moves no more than a dummy load's, yet is common, tells nothing."""
    if chance < SURE:
        return True
    return False if chance >= OPEN and not still else None


_NOTHING_THERE = (
    "It is nearly as high all over as this line lets anything show: an antenna far from resonance, an open or shorted"
    " end, or none at all. Its flatness says nothing of the line."
)


def _why(seen: Seen, flat: bool | None, still: bool, chance: float, least: float | None, middle_db: float) -> str:
    swing = f"SWR {_swr(seen.magnitude.min())} to {_swr(seen.magnitude.max())}"
    share = f"{100 * chance:.0f} in 100" if chance >= 0.095 else f"{max(1000 * chance, 1):.0f} in 1000"
    said = f"It moves from {swing}; {share} of plausible resonant antennas behind {middle_db:.1f} dB move so little"
    if flat:
        return f"{said}." + ("" if least is None else f" A loss of {least:.1f} dB would explain it.")
    if flat is False:
        return f"{said}: nothing odd."
    return f"{said}" + (", and a dummy load no more: the sweep is too narrow to say." if still else ": not too few.")


def _wider(useful: tuple[float | None, float | None]) -> str:
    low, high = useful
    if low is None or high is None:
        return "Through this line no sweep would tell: measure at the antenna, or through a shorter line."
    return f"Sweep {frequency(round(low, -5))} to {frequency(round(high, -5))} or wider."


def _swr(reflection: float) -> str:
    return f"{float(swr_from_reflection(min(float(reflection), 1.0))):.2f}"


def _alternatives(seen: Seen) -> tuple[str, ...]:
    """Return what else would look so; a total reflection behind loss only where such a loss is to be thought of."""
    bound_db = float(-10.0 * np.log10(max(float(seen.magnitude.max()), 1e-4)))
    if bound_db < MOST_DB / 3:
        return (*ALTERNATIVES, f"nothing resonant at the far end at all, behind about {bound_db:.1f} dB")
    return ALTERNATIVES


def _shows_all(seen: Seen, drawn_db: Floats) -> bool:
    ceiling = 10.0 ** (-np.median(drawn_db, axis=1) / 10.0)
    return bool(np.all(seen.magnitude >= REFLECTS * ceiling))


def plausible(seen: Seen, rng: np.random.Generator) -> Plausible:
    """Return plausible antennas for a curve, and as many bridges."""
    f = np.asarray(seen.frequency_hz)
    low, high = _band_of(float(f[0] + f[-1]) / 2)
    broad = rng.random(ANTENNAS) < BROAD
    u = rng.random(ANTENNAS)
    q = np.where(broad, Q_BROADEST * (Q_FROM / Q_BROADEST) ** u, Q_FROM * (Q_TO / Q_FROM) ** u)
    leak = np.sqrt(rng.random(ANTENNAS)) * 10.0 ** (-seen.directivity_db / 20.0)
    return Plausible(
        q,
        rng.uniform(low * (1 - BESIDE), high * (1 + BESIDE), ANTENNAS),
        RESISTANCE_OHM * np.exp(RESISTANCE_SPREAD * rng.standard_normal(ANTENNAS)),
        leak * np.exp(1j * TWO_PI * rng.random(ANTENNAS)),
        rng.uniform(2e-8, 3e-7, ANTENNAS),
        np.exp((ANALYSER_SCALE if seen.has_phase else METER_SCALE) * rng.standard_normal(ANTENNAS)),
    )


def _band_of(middle_hz: float) -> tuple[float, float]:
    band = next((b for b in bands() if b.low_hz * (1 - BESIDE) <= middle_hz <= b.high_hz * (1 + BESIDE)), None)
    return (middle_hz, middle_hz) if band is None else (band.low_hz, band.high_hz)


@dataclass(frozen=True, slots=True)
class Spread:
    """Plausible antennas and bridges over some frequencies, (f, antennas): what each reflects itself, and its leak."""

    bare: Complexes
    leak: Complexes
    scale: Floats


def _over(some: Plausible, f: Floats) -> Spread:
    ratio = f[:, None] / some.resonance_hz
    z = some.resistance_ohm * (1.0 + 1j * some.q * (ratio - 1.0 / ratio))
    turned = np.exp(1j * TWO_PI * f[:, None] * some.leak_delay_s)
    return Spread(np.asarray((z - 50.0) / (z + 50.0)), np.asarray(some.leak * turned), some.scale)


def _moves(over: Spread, seen: Seen, loss_db: Floats) -> Floats:
    """Return by how much the magnitude moves over a span for each antenna; ``loss_db`` is shaped (f, antennas or 1)."""
    return _moved(over.bare, over, seen, loss_db)


def _dummy_moves(over: Spread, seen: Seen, loss_db: Floats) -> Floats:
    """Return by how much a dummy load's curve moves on each bridge: its leak against the little it reflects."""
    return _moved(DUMMY_REFLECTS, over, seen, loss_db)


def _moved(bare: Complexes | float, over: Spread, seen: Seen, loss_db: Floats) -> Floats:
    shown = np.abs(bare * (10.0 ** (-loss_db / 10.0) * over.scale) + over.leak)
    low, high = _as_read(seen, np.stack([shown.min(axis=0), shown.max(axis=0)]))
    return np.asarray(high - low)


def _as_read(seen: Seen, shown: Floats) -> Floats:
    """Return magnitudes as the scale shows them: an SWR scale rounds to its step."""
    if seen.swr_step <= 0:
        return shown
    swr = swr_from_reflection(np.minimum(shown, 0.99))
    return reflection_from_swr(np.maximum(np.round(swr / seen.swr_step) * seen.swr_step, 1.0))


def _chance(moves: Floats, moved: float) -> float:
    """Return the share of antennas that move no more; never nought, as they are counted."""
    return float((1 + np.sum(moves <= moved + 1e-9)) / (len(moves) + 1))


def _smallest_db(over: Spread, seen: Seen, shape: Floats, moved: float) -> float | None:
    """Return the least loss at the middle that makes such movement common; None where no loss does."""

    def explains(loss_db: float) -> bool:
        return bool(np.mean(_moves(over, seen, loss_db * shape) <= moved + 1e-9) >= COMMON)

    if explains(0.0):
        return 0.0
    low, high = 0.0, MOST_DB
    if not explains(high):
        return None
    for _ in range(9):
        middle = (low + high) / 2
        low, high = (low, middle) if explains(middle) else (middle, high)
    return high


def _useful(some: Plausible, seen: Seen, line: LineBehind) -> tuple[float | None, float | None]:
    """Return the narrowest span, around the curve's middle, on which a dummy load would be called too flat."""
    own = np.asarray(seen.frequency_hz)
    middle = float(own[0] + own[-1]) / 2

    def tells(span: float) -> bool:
        f = middle * np.linspace(1 - span / 2, 1 + span / 2, 15)
        over, loss = _over(some, f), np.median(line.loss_db(f), axis=1, keepdims=True)
        still = float(np.median(_dummy_moves(over, seen, loss)))
        return _chance(_moves(over, seen, loss), still) < SURE

    if not tells(WIDEST):
        return None, None
    low, high = 0.0, WIDEST
    for _ in range(7):
        span = (low + high) / 2
        low, high = (low, span) if tells(span) else (span, high)
    return middle * (1 - high / 2), middle * (1 + high / 2)


def _loss_of(line: LineBehind, f: Floats, draws: int) -> Floats:
    loss = line.loss_db(f)
    return loss[:, np.arange(draws) % loss.shape[1]]


def _spaced(seen: Seen) -> Seen:
    count = len(seen.magnitude)
    if count <= MOST_POINTS:
        return seen
    return seen.taken(np.unique(np.linspace(0, count - 1, MOST_POINTS).round().astype(int)))
