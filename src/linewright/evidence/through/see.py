"""From a reading or a curve at the radio to the antenna behind the line."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from linewright.errors import InputError
from linewright.evidence.through.antenna import Antenna, antenna_behind, bridge_of
from linewright.evidence.through.behind import SEED, thinned
from linewright.evidence.through.curve import features
from linewright.evidence.through.deembedding import antenna_impedance_ohm, referred_to_line
from linewright.evidence.through.flatness import flat_warning
from linewright.evidence.through.weighted import estimate, estimates
from linewright.evidence.through.words import remarks, verdict
from linewright.evidence.through.workings import workings
from linewright.model.through import (
    Complexes,
    CurvePoint,
    Estimate,
    Floats,
    LineBehind,
    Seen,
    ThroughResult,
)
from linewright.physics.mismatch import return_loss_db, swr_from_reflection
from linewright.physics.sparameters import reflection_from_impedance
from linewright.physics.through import highest_swr, plain_far_reflection

SINGLE_DRAWS, CURVE_DRAWS = 4000, 320
MOST_POINTS = 101
NO_BOUND_DB = 60.0
"""A bound on the loss beyond this is none."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """Everything drawn for one answer; arrays are shaped (f, draws). ``row`` is the point the headline speaks of."""

    seen: Seen
    line: LineBehind
    f: Floats
    antenna: Antenna
    reflection: Floats
    impedance_ohm: Complexes | None
    row: int


def through(seen: Seen, line: LineBehind, *, at_hz: float | None = None, seed: int = SEED) -> ThroughResult:
    """Return what stands behind a line, as far as a reading or a curve at the radio can say.

    Parameters
    ----------
    seen : Seen
        What was seen at the radio.
    line : LineBehind
        What is believed of the line.
    at_hz : float, optional
        Which point of a curve the headline speaks of; without it, the one of the lowest SWR.
    seed : int
        The same seed gives the same answer.

    Raises
    ------
    InputError
        If a line of a known type is to be seen through at a frequency nobody stated.

    >>> from linewright.evidence.through.behind import behind_loss
    >>> from linewright.evidence.through.seen import seen_swr
    >>> result = through(seen_swr(1.3), behind_loss(3.0, 0.5))
    >>> result.antenna_swr.low < result.plain_swr < result.antenna_swr.high
    True
    """
    rng = np.random.default_rng(seed)
    drawn = _drawn(seen, line, at_hz, rng)
    result = _gathered(drawn)
    if seen.is_curve:
        result = _with_curve(result, drawn, rng)
    result = replace(result, verdict=verdict(result), remarks=remarks(result, drawn.seen, drawn.line))
    return replace(result, workings=workings(result, drawn.seen, drawn.line))


def _drawn(seen: Seen, line: LineBehind, at_hz: float | None, rng: np.random.Generator) -> Drawn:
    if seen.frequency_hz is None and line.belief is not None:
        raise InputError("frequency", "must be stated to see through a line of a known type", cure="Add --at 144MHz.")
    seen = _spaced(seen)
    line = _anchored(thinned(line, CURVE_DRAWS if seen.is_curve else SINGLE_DRAWS, rng), seen)
    f = np.array([line.at_hz or 1e6]) if seen.frequency_hz is None else seen.frequency_hz
    loss = np.atleast_2d(line.loss_db(f))
    on_line = referred_to_line(seen, line)
    antenna = antenna_behind(on_line, loss, bridge_of(on_line, line, loss, rng), rng)
    z = antenna_impedance_ohm(on_line, line, antenna, rng)
    g = antenna.reflection if z is None else np.minimum(np.abs(reflection_from_impedance(z)), 1.0)
    row = int(np.argmin(seen.magnitude)) if at_hz is None else int(np.argmin(np.abs(f - at_hz)))
    return Drawn(seen, line, f, antenna, np.asarray(g), z, row)


def _anchored(line: LineBehind, seen: Seen) -> LineBehind:
    """Take a loss stated for a curve, but for no frequency, to hold at its middle."""
    if line.stated_db is None or line.at_hz is not None or seen.frequency_hz is None:
        return line
    return replace(line, at_hz=float(seen.frequency_hz[0] + seen.frequency_hz[-1]) / 2)


def _spaced(seen: Seen) -> Seen:
    """Keep evenly spaced points of a long curve, and its lowest."""
    if len(seen.magnitude) <= MOST_POINTS:
        return seen
    rows = np.linspace(0, len(seen.magnitude) - 1, MOST_POINTS - 1).round().astype(int)
    return seen.taken(np.unique([*rows, int(np.argmin(seen.magnitude))]))


def _gathered(d: Drawn) -> ThroughResult:
    loss = d.antenna.loss_db[d.row]
    possible = d.antenna.possible.astype(float)
    prior = estimate(loss, np.ones_like(loss))
    g = _reflections(d, [d.row])[0]
    here = _points(d, [d.row])[0]
    return ThroughResult(
        verdict="",
        line=d.line.name,
        seen=d.seen.name,
        frequency_hz=None if d.seen.frequency_hz is None else float(d.f[d.row]),
        radio_swr=here.radio_swr,
        antenna_swr=here.antenna_swr,
        antenna_return_loss_db=here.antenna_return_loss_db,
        antenna_reflection=g,
        antenna_resistance_ohm=here.antenna_resistance_ohm,
        antenna_reactance_ohm=here.antenna_reactance_ohm,
        plain_reflection=float(plain_far_reflection(float(np.median(loss)), d.seen.magnitude[d.row])),
        plain_swr=here.plain_swr,
        loss_db=prior,
        updated_loss_db=Estimate() if d.antenna.contradicts else estimate(loss, possible),
        largest_loss_db=_largest_db(d.antenna.room * loss),
        loss_tightened=bool(possible.mean() < 0.95),
        contradiction=d.antenna.contradicts,
        highest_swr_at_radio=_highest(prior),
    )


def _with_curve(result: ThroughResult, d: Drawn, rng: np.random.Generator) -> ThroughResult:
    """Return the result with its curve, what the curve shows, and whether it is too flat."""
    flat = flat_warning(d.seen, d.line, rng)
    result = replace(result, curve=_points(d, range(len(d.f))), flat_warning=flat)
    if d.antenna.contradicts:
        return result
    found = features(d.f, d.reflection, d.impedance_ohm, rng)
    possible = d.antenna.possible.astype(float)
    return replace(
        result,
        best_swr=estimate(found.best_swr, possible),
        resonance_hz=_mostly(found.resonance_hz, possible),
        bandwidth_hz=_mostly(found.bandwidth_hz, possible),
        zero_reactance_hz=_mostly(found.zero_reactance_hz, possible),
    )


def _mostly(values: Floats, possible: Floats) -> Estimate:
    """Return the estimate of something that most draws of the curve show, else nothing."""
    shown = float(np.sum(possible * ~np.isnan(values)))
    return estimate(values, possible) if shown > 0.95 * float(possible.sum()) else Estimate()


def _largest_db(draws: Floats) -> float | None:
    high = float(np.sort(draws)[int(0.975 * len(draws))])
    return high if high < NO_BOUND_DB else None


def _highest(loss: Estimate) -> Estimate:
    value, low, high = (float(highest_swr(db)) for db in (loss.value, loss.high, loss.low) if db is not None)
    return Estimate(value, low, high)


def _reflections(d: Drawn, rows: Sequence[int]) -> list[Estimate]:
    """Return the antenna's |Γ| at some points; where the line is contradicted, from what the radio shows to all."""
    if d.antenna.contradicts:
        return [Estimate(None, float(d.seen.low[i]), 1.0) for i in rows]
    return estimates(d.reflection[rows], d.antenna.weight[rows])


def _impedances(d: Drawn, rows: Sequence[int]) -> tuple[list[Estimate], list[Estimate]]:
    if d.impedance_ohm is None or d.antenna.contradicts:
        return [Estimate()] * len(rows), [Estimate()] * len(rows)
    z, weight = d.impedance_ohm[rows], d.antenna.weight[rows]
    return estimates(z.real, weight), estimates(z.imag, weight)


def _points(d: Drawn, rows: Sequence[int]) -> tuple[CurvePoint, ...]:
    middle_db, shown = np.median(d.antenna.loss_db[rows], axis=1), d.seen.magnitude[rows]
    ceiling, plain = highest_swr(middle_db), plain_far_reflection(middle_db, shown)
    swr = swr_from_reflection(np.minimum(shown, 1.0))
    g = _reflections(d, rows)
    every = zip(rows, _mapped(g, swr_from_reflection), _mapped(g, return_loss_db), *_impedances(d, rows), strict=True)
    return tuple(
        CurvePoint(
            float(d.f[i]), float(swr[k]), far, Estimate(loss.value, loss.high, loss.low), float(ceiling[k]),
            float(swr_from_reflection(plain[k])) if plain[k] < 1 else None, r, x,
        )
        for k, (i, far, loss, r, x) in enumerate(every)
    )  # fmt: skip


def _mapped(given: Sequence[Estimate], change: Callable[[Floats], Floats]) -> list[Estimate]:
    """Return estimates with a function applied to value and ends; what is None stays so."""
    ends = [(e.value, e.low, e.high) for e in given]
    done = change(np.array([[v or 0.0 for v in row] for row in ends])) + 0.0
    return [
        Estimate(*(None if v is None else float(w) for v, w in zip(row, new, strict=True)))
        for row, new in zip(ends, done, strict=True)
    ]
