"""An antenna as the analyser shows it: each figure with what the analyser's own leak and step leave open.

The leak of a calibrated bridge adds the same small wave to every point, of a size and a phase nobody knows:
``Γ shown = Γ + D``. Draws of it, and of the step a scale was read to, carry the doubt into every figure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from linewright.core.arrays import Complexes, Floats
from linewright.core.errors import InputError
from linewright.core.formulas.mismatch import return_loss_db, swr_from_reflection
from linewright.core.formulas.sparameters import impedance_from_reflection
from linewright.core.messages import say
from linewright.core.nouns.antenna import WIDTHS, AntennaChange, AntennaSweep, SweptPoint, Width
from linewright.core.nouns.through import Estimate, Seen
from linewright.core.quantities import TWO_PI
from linewright.inference.load.curve import edges, features
from linewright.inference.load.see import estimate, estimates, spaced

DRAWS = 400
SEED = 20_260_418
MOST = 0.999


def at_analyser(seen: Seen, seed: int = SEED) -> AntennaSweep:
    """Return what one sweep shows of an antenna at the analyser.

    Parameters
    ----------
    seen : Seen
        A curve of three points or more.

    Raises
    ------
    InputError
        If it is a single reading, which has no shape.
    """
    if not seen.is_curve or seen.frequency_hz is None:
        raise InputError(
            "curve", say("must have three points or more to show an antenna"), cure=say("Sweep it over its band.")
        )
    seen = spaced(seen)
    f = np.asarray(seen.frequency_hz)
    rng = np.random.default_rng(seed)
    gamma = _drawn(seen, rng)
    size = np.minimum(np.abs(gamma), MOST)
    z: Complexes | None = None
    if seen.has_phase:
        z = np.asarray(impedance_from_reflection(gamma * (size / np.maximum(np.abs(gamma), 1e-12)), seen.reference_ohm))
    found = features(f, size, z, rng)
    even = np.ones(DRAWS)
    bottom = int(np.argmin(seen.magnitude))
    at = _resonant_row(f, found.resonance_hz, bottom)
    return AntennaSweep(
        seen.name, _points(f, size, z), estimate(found.best_swr, even), float(f[bottom]),
        _mostly(found.resonance_hz), _mostly(found.zero_reactance_hz),
        Estimate() if z is None else estimate(z.real[at], even), tuple(_widths(f, size, bottom)),
    )  # fmt: skip


def _drawn(seen: Seen, rng: np.random.Generator) -> Complexes:
    """Return draws of the reflection, shaped (f, draws): the step it was read to, and one leak for all points."""
    even = (rng.permutation(DRAWS) + 0.5) / DRAWS
    leak = 10.0 ** (-seen.directivity_db / 20.0) * np.sqrt(even) * np.exp(1j * TWO_PI * rng.random(DRAWS))
    shown = seen.magnitude[:, None]
    step = seen.low[:, None] + (seen.high - seen.low)[:, None] * rng.random((len(shown), DRAWS))
    turn = seen.reflection / np.maximum(seen.magnitude, 1e-12)
    return np.asarray(step * np.where(seen.magnitude > 0, turn, 1.0)[:, None] - leak[None, :])


def _points(f: Floats, size: Floats, z: Complexes | None) -> tuple[SweptPoint, ...]:
    even = np.ones(size.shape[1])
    swr = estimates(swr_from_reflection(size), np.broadcast_to(even, size.shape))
    loss = estimates(return_loss_db(np.maximum(size, 1e-6)), np.broadcast_to(even, size.shape))
    none = [Estimate()] * len(f)
    r, x = (none, none) if z is None else (estimates(p, np.broadcast_to(even, size.shape)) for p in (z.real, z.imag))
    return tuple(SweptPoint(float(at), *rest) for at, *rest in zip(f, swr, loss, r, x, strict=True))


def _resonant_row(f: Floats, resonance_hz: Floats, bottom: int) -> int:
    known = resonance_hz[np.isfinite(resonance_hz)]
    return bottom if not len(known) else int(np.argmin(np.abs(f - np.median(known))))


def _mostly(values: Floats) -> Estimate:
    """Return the estimate of something that most draws of the curve show, else nothing."""
    return estimate(values, np.ones_like(values)) if np.mean(np.isfinite(values)) > 0.95 else Estimate()


def _widths(f: Floats, size: Floats, bottom: int) -> Iterator[Width]:
    for limit in WIDTHS:
        low, high = edges(f, size, bottom, limit)
        yield Width(limit, _mostly(low), _mostly(high), _mostly(high - low))


# What changed from one sweep to another


def changes(sweeps: Sequence[AntennaSweep]) -> tuple[AntennaChange, ...]:
    """Return by how much each figure changed from the first sweep to every later one; their doubts add as squares."""
    first, *later = sweeps
    return tuple(c for other in later for c in _changed(first, other))


def _changed(one: AntennaSweep, other: AntennaSweep) -> Iterator[AntennaChange]:
    for place, before, after in (("analyser", _figures(one), _figures(other)), *_behind(one, other)):
        for figure, (a, b) in {k: (before[k], after[k]) for k in before}.items():
            change = difference(a, b)
            if change.value is None or change.low is None or change.high is None:
                continue
            told = not change.low <= 0.0 <= change.high
            yield AntennaChange(one.name, other.name, figure, place, a, b, change, told)


def _figures(x: AntennaSweep) -> dict[str, Estimate]:
    width = next(w.width_hz for w in x.widths if w.swr == 2.0)
    return {"resonance": x.resonance_hz, "best_swr": x.best_swr, "width": width}


def _behind(one: AntennaSweep, other: AntennaSweep) -> list[tuple[str, dict[str, Estimate], dict[str, Estimate]]]:
    if one.behind is None or other.behind is None:
        return []
    figures = [{"resonance": r.resonance_hz, "best_swr": r.best_swr, "width": r.bandwidth_hz}
               for r in (one.behind, other.behind)]  # fmt: skip
    return [("antenna", figures[0], figures[1])]


def difference(before: Estimate, after: Estimate) -> Estimate:
    """Return by how much a figure changed.

    >>> difference(Estimate(3.0, 2.7, 3.4), Estimate(4.0, 3.6, 4.3))
    Estimate(value=1.0, low=0.43..., high=1.42...)
    """
    ends = (before.value, before.low, before.high, after.value, after.low, after.high)
    if any(x is None or not np.isfinite(x) for x in ends):
        return Estimate()
    v0, low0, high0, v1, low1, high1 = (float(x) for x in ends if x is not None)
    down, up = np.hypot(v1 - low1, high0 - v0), np.hypot(high1 - v1, v0 - low0)
    return Estimate(v1 - v0, float(v1 - v0 - down), float(v1 - v0 + up))
