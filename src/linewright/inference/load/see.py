"""From a reading or a curve at the radio to the antenna behind the line."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from statistics import NormalDist

import numpy as np

from linewright.core.arrays import Complexes, Floats
from linewright.core.errors import InputError
from linewright.core.formatting import digits, metres
from linewright.core.formulas.deembedding import highest_swr, plain_far_reflection
from linewright.core.formulas.mismatch import return_loss_db, swr_from_reflection
from linewright.core.formulas.sparameters import reflection_from_impedance
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.belief import LEAST_DB, Belief
from linewright.core.nouns.through import CurvePoint, Estimate, LineBehind, Seen, ThroughResult
from linewright.inference.load.antenna import (
    HiddenAntenna,
    antenna_behind,
    antenna_impedance_ohm,
    bridge_of,
    referred_to_line,
)
from linewright.inference.load.curve import features
from linewright.inference.load.flatness import flat_warning

# The line between radio and antenna, from a stated loss or from a belief about a piece

BARE_SPREAD = 0.05
"""Relative standard deviation of a loss stated without an interval: what published tables differ by."""
DRAWS = 4000
SEED = 20_240_318


def behind_loss(loss_db: float, half_width_db: float | None = None, *, at_hz: float | None = None) -> LineBehind:
    """Return a line of a stated loss in dB, with the half width of its 95 % interval; without one, ten per cent.

    >>> line = behind_loss(3.0, 0.5)
    >>> np.quantile(line.loss_db(14e6), [0.025, 0.975]).round(2)
    array([2.5, 3.5])
    """
    if not (np.isfinite(loss_db) and loss_db >= 0):
        raise InputError(
            "loss_db",
            say("must be zero or more; got {value}", value=repr(loss_db)),
            cure=say("A passive line's loss is positive."),
        )
    if half_width_db is not None and not (np.isfinite(half_width_db) and half_width_db >= 0):
        raise InputError("half_width_db", say("must be zero or more; got {value}", value=repr(half_width_db)))
    normal = _even_normal(DRAWS)
    if half_width_db is None:
        draws = loss_db * np.exp(BARE_SPREAD * normal)
        said = say("a line of {loss} dB (taken as within 10 %)", loss=digits(loss_db))
    else:
        draws = loss_db + half_width_db / 1.959964 * normal
        said = say("a line of {loss} dB ± {half} dB", loss=digits(loss_db, 3), half=digits(half_width_db, 2))
    return LineBehind(said, stated_db=np.maximum(draws, LEAST_DB), at_hz=at_hz)


def behind_belief(belief: Belief, velocity_factor: float | None = None) -> LineBehind:
    """Return the line a belief is about; with a known type its phase is known too, by the velocity factor it showed."""
    piece = belief.piece
    kind = piece.line
    said = say("{length} of {line}, from the {basis}", length=metres(piece.length_m),
               line=kind.designator if kind else say("unknown type"), basis=belief.basis)  # fmt: skip
    if kind is None:
        return LineBehind(said, belief)
    return LineBehind(
        said, belief, impedance_ohm=kind.impedance_ohm, velocity_factor=velocity_factor or kind.velocity_factor,
        length_m=piece.length_m,
    )  # fmt: skip


def thinned(line: LineBehind, draws: int, rng: np.random.Generator) -> LineBehind:
    """Return the same line with so many draws, in an order of their own."""
    if line.stated_db is not None:
        return replace(line, stated_db=_picked(np.sort(line.stated_db), draws, rng))
    if line.belief is None:
        return line
    rows = np.resize(rng.permutation(line.belief.draws), draws)
    return replace(line, belief=line.belief.taken(rows))


def _picked(rising: Floats, draws: int, rng: np.random.Generator) -> Floats:
    """Return evenly spaced quantiles of sorted draws, shuffled."""
    at = (np.arange(draws) + 0.5) / draws * len(rising)
    return rng.permutation(rising[at.astype(int)])


def _even_normal(draws: int) -> Floats:
    normal = NormalDist()
    return np.array([normal.inv_cdf((i + 0.5) / draws) for i in range(draws)])


# Quantiles of weighted draws

LEVELS = (0.5, 0.025, 0.975)


def estimates(values: Floats, weight: Floats) -> list[Estimate]:
    """Return the median and 95 % interval of each row; not-a-number draws count for nothing.

    Parameters
    ----------
    values, weight : ndarray, shape (f, draws)

    >>> estimates(np.array([[1.0, 2.0, 3.0]]), np.array([[1.0, 1.0, 0.0]]))[0].high
    2.0
    """
    known = ~np.isnan(values)
    w = np.where(known, weight, 0.0)
    order = np.argsort(np.where(known, values, np.inf), axis=1)
    rising = np.take_along_axis(values, order, axis=1)
    heaped = np.cumsum(np.take_along_axis(w, order, axis=1), axis=1)
    return [_one(v, h) for v, h in zip(rising, heaped, strict=True)]


def estimate(values: Floats, weight: Floats) -> Estimate:
    """Return the median and 95 % interval of one row of draws."""
    return estimates(values[None], weight[None])[0]


def _one(rising: Floats, heaped: Floats) -> Estimate:
    if heaped[-1] <= 0:
        return Estimate()
    at = np.searchsorted(heaped, np.array(LEVELS) * heaped[-1])
    middle, low, high = (float(v) for v in rising[np.minimum(at, len(rising) - 1)])
    return Estimate(middle, low, high)


# From a reading or a curve at the radio to the antenna behind the line

SINGLE_DRAWS, CURVE_DRAWS = 4000, 320
MOST_POINTS = 101
NO_BOUND_DB = 60.0
"""A bound on the loss beyond this is none."""


@dataclass(frozen=True, slots=True)
class AntennaDraws:
    """Everything drawn for one answer; arrays are shaped (f, draws). ``row`` is the point the headline speaks of.

    ``known_db`` is what was known of the loss there before anything was seen, from all draws there are.
    """

    seen: Seen
    line: LineBehind
    f: Floats
    antenna: HiddenAntenna
    reflection: Floats
    impedance_ohm: Complexes | None
    row: int
    known_db: Estimate


Wording = Callable[[ThroughResult, Seen, LineBehind], ThroughResult]
"""Adds verdict, remarks and workings to an answer, from what was seen and the line as both were reckoned with."""


def through(
    seen: Seen, line: LineBehind, *, at_hz: float | None = None, seed: int = SEED, worded: Wording | None = None
) -> ThroughResult:
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
    worded : callable, optional
        Says the answer in words; without it there are figures alone.

    Raises
    ------
    InputError
        If a line of a known type is to be seen through at a frequency nobody stated.

    >>> from linewright.inference.load.see import behind_loss
    >>> from linewright.inference.load.seen import seen_swr
    >>> result = through(seen_swr(1.3), behind_loss(3.0, 0.5))
    >>> result.antenna_swr.low < result.plain_swr < result.antenna_swr.high
    True
    """
    rng = np.random.default_rng(seed)
    drawn = _drawn(seen, line, at_hz, rng)
    result = _gathered(drawn)
    if seen.is_curve:
        result = _with_curve(result, drawn, rng)
    return worded(result, drawn.seen, drawn.line) if worded else result


def _drawn(seen: Seen, line: LineBehind, at_hz: float | None, rng: np.random.Generator) -> AntennaDraws:
    if seen.frequency_hz is None and line.belief is not None:
        raise InputError(
            "frequency", say("must be stated to see through a line of a known type"), cure=say("Add --at 144MHz.")
        )
    seen = spaced(seen)
    whole = _anchored(line, seen)
    line = _anchored(thinned(line, CURVE_DRAWS if seen.is_curve else SINGLE_DRAWS, rng), seen)
    f = np.array([line.at_hz or 1e6]) if seen.frequency_hz is None else seen.frequency_hz
    loss = np.atleast_2d(line.loss_db(f))
    on_line = referred_to_line(seen, line)
    antenna = antenna_behind(on_line, loss, bridge_of(on_line, line, loss, rng), rng)
    z = antenna_impedance_ohm(on_line, line, antenna, rng)
    g = antenna.reflection if z is None else np.minimum(np.abs(reflection_from_impedance(z)), 1.0)
    row = int(np.argmin(seen.magnitude)) if at_hz is None else int(np.argmin(np.abs(f - at_hz)))
    low, middle, high = (float(q) for q in np.quantile(whole.loss_db(f[row]), [0.025, 0.5, 0.975]))
    return AntennaDraws(seen, line, f, antenna, np.asarray(g), z, row, Estimate(middle, low, high))


def _anchored(line: LineBehind, seen: Seen) -> LineBehind:
    """Take a loss stated for a curve, but for no frequency, to hold at its middle."""
    if line.stated_db is None or line.at_hz is not None or seen.frequency_hz is None:
        return line
    return replace(line, at_hz=float(seen.frequency_hz[0] + seen.frequency_hz[-1]) / 2)


def spaced(seen: Seen) -> Seen:
    """Return a curve with evenly spaced points of a long one, and its lowest."""
    if len(seen.magnitude) <= MOST_POINTS:
        return seen
    rows = np.linspace(0, len(seen.magnitude) - 1, MOST_POINTS - 1).round().astype(int)
    return seen.taken(np.unique([*rows, int(np.argmin(seen.magnitude))]))


def _updated(d: AntennaDraws, loss_db: Floats, possible: Floats) -> Estimate:
    """Return the loss that the reading leaves possible: as it was known where nothing of it is ruled out."""
    if d.antenna.contradicts:
        return Estimate()
    return d.known_db if possible.all() else estimate(loss_db, possible)


def _gathered(d: AntennaDraws) -> ThroughResult:
    loss = d.antenna.loss_db[d.row]
    possible = d.antenna.possible.astype(float)
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
        loss_db=d.known_db,
        updated_loss_db=_updated(d, loss, possible),
        largest_loss_db=_largest_db(d.antenna.room * loss),
        loss_tightened=bool(possible.mean() < 0.95),
        contradiction=d.antenna.contradicts,
        highest_swr_at_radio=_highest(d.known_db),
    )


def _with_curve(result: ThroughResult, d: AntennaDraws, rng: np.random.Generator) -> ThroughResult:
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


def _reflections(d: AntennaDraws, rows: Sequence[int]) -> list[Estimate]:
    """Return the antenna's |Γ| at some points; where the line is contradicted, from what the radio shows to all."""
    if d.antenna.contradicts:
        return [Estimate(None, float(d.seen.low[i]), 1.0) for i in rows]
    return estimates(d.reflection[rows], d.antenna.weight[rows])


def _impedances(d: AntennaDraws, rows: Sequence[int]) -> tuple[list[Estimate], list[Estimate]]:
    if d.impedance_ohm is None or d.antenna.contradicts:
        return [Estimate()] * len(rows), [Estimate()] * len(rows)
    z, weight = d.impedance_ohm[rows], d.antenna.weight[rows]
    return estimates(z.real, weight), estimates(z.imag, weight)


def _points(d: AntennaDraws, rows: Sequence[int]) -> tuple[CurvePoint, ...]:
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
