"""What is not known of a run, as draws that all its parts share: beliefs of its lines, phases of reflections."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple, TypeVar
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from linewright.catalogue.belief import catalogue_belief
from linewright.core.arrays import Complexes, Floats, median, quantile
from linewright.core.errors import InputError
from linewright.core.formatting import frequency
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.station import LinePart, Run
from linewright.core.quantities import TWO_PI

if TYPE_CHECKING:
    from linewright.core.nouns.sweep import Sweep

# What is not known of a run, as draws that all its parts share: beliefs of its lines, phases of reflections


SEED = 20_260_311
DRAWS = 1000
"""A plan and a choice take so many, the same ones: what both say of a run is one figure."""
LEAST_DRAWS = 40
"""Fewer draws have no 95 % interval."""


@dataclass(frozen=True, slots=True)
class Draws:
    """Draws of a run: ``beliefs`` by the part's place in the chain, each of ``count`` draws.

    Lines of one type that nobody measured share their draws: what is doubtful there is the published table.
    """

    count: int
    beliefs: Mapping[int, Belief]

    def phases_rad(self, place: int) -> Floats:
        """Return phases spread evenly over the circle, in an order of their own for each place in the chain."""
        order = np.random.default_rng([SEED, place + 1]).permutation(self.count)
        return np.asarray(TWO_PI * (order + 0.5) / self.count)


def draws_of(run: Run, beliefs: Mapping[str, Belief], count: int) -> Draws:
    """Return the draws of a run: the belief of each measured piece by its tag, the catalogue's for every other line."""
    if count < LEAST_DRAWS:
        raise InputError("draws", f"must be at least {LEAST_DRAWS}; got {count}", cure="1000 is usual.")
    lines = {i: part for i, part in enumerate(run.chain) if isinstance(part, LinePart)}
    return Draws(count, {i: _belief(part, beliefs, count) for i, part in lines.items()})


def _belief(part: LinePart, beliefs: Mapping[str, Belief], count: int) -> Belief:
    if part.measured and part.piece.tag in beliefs:
        return _resampled(beliefs[part.piece.tag], count)
    line = part.piece.line
    seed = crc32(line.designator.encode()) if line else 0
    return catalogue_belief(part.piece, count, seed=seed)


def _resampled(belief: Belief, count: int) -> Belief:
    """Return as many draws as wanted, evenly out of those there are; beliefs of one sheet stay in step."""
    if belief.draws == count:
        return belief
    at = np.arange(count) * belief.draws // count if count < belief.draws else np.arange(count) % belief.draws
    return belief.taken(at)


# Draws summed up: a middle and a 95 % interval, frequency first

ENDS = (0.025, 0.975)


class IntervalByBand(NamedTuple):
    """A middle and the ends of the 95 % interval, each of shape (f,). The middle lies within."""

    middle: Floats
    low: Floats
    high: Floats


def lean_db(matched_db: Floats) -> Floats:
    """Return by how much the mean over the last axis of a matched loss lies over its median."""
    return np.asarray(matched_db.mean(axis=-1) - median(matched_db, axis=-1))


def mean_spread(draws: Floats) -> IntervalByBand:
    """Return the mean over the last axis with its interval."""
    return spread(draws, draws.mean(axis=-1))


def median_spread(draws: Floats) -> IntervalByBand:
    """Return the median over the last axis with its interval, for what has a long tail."""
    return spread(draws, median(draws, axis=-1))


def upper(draws: Floats) -> Floats:
    """Return the upper end of the 95 % interval over the last axis."""
    return np.asarray(spread(draws, draws[..., 0]).high)


def spread(draws: Floats, middle: Floats) -> IntervalByBand:
    """Return a middle with the interval of draws over the last axis; the middle lies within."""
    if draws.shape[-1] == 1:
        return IntervalByBand(middle, middle, middle)
    low, high = quantile(draws, ENDS, axis=-1)
    return IntervalByBand(middle, np.minimum(low, middle), np.maximum(high, middle))


# What a person states at some frequencies, at those of a run; nothing is carried on beyond what was stated

Value = TypeVar("Value", float, complex)

REACH = 1e-6
"""Frequencies closer than a part in a million are the same."""


def curve_at(what: str, curve: Sequence[tuple[float, Value]], frequency_hz: Floats) -> NDArray[np.complex128]:
    """Return a curve between its points by straight lines; a single point holds for all frequencies.

    Raises
    ------
    InputError
        If a frequency lies outside several points.

    >>> curve_at("swr", ((14.0e6, 1.2), (14.4e6, 1.6)), np.array([14.1e6])).real.round(6)
    array([1.3])
    """
    hertz, value = np.array([f for f, _ in curve]), np.array([v for _, v in curve], np.complex128)
    if len(value) == 1:
        return np.full(frequency_hz.shape, value[0])
    _within(what, "the figures given", (float(hertz[0]), float(hertz[-1])), frequency_hz)
    return np.asarray(np.interp(frequency_hz, hertz, value))


def sweep_at(what: str, sweep: Sweep, frequency_hz: Floats, ports: int) -> Complexes:
    """Return the scattering parameters of a sweep at other frequencies, shape (f, ports, ports).

    Reflections go along straight lines in the complex plane, which pass through zero unharmed. Transmissions go by
    magnitude and unwrapped phase: a length of line turns the phase evenly and keeps the magnitude, where a straight
    line would cut the corner and show loss that is not there. At the sweep's own frequencies both are exact.

    Raises
    ------
    InputError
        If the sweep has another number of ports, or a frequency lies outside it.
    """
    if sweep.ports != ports:
        raise InputError(what, f"must be a sweep of {ports} port{'s' * (ports > 1)}; {sweep.name} has {sweep.ports}")
    _within(what, sweep.name, (float(sweep.frequency_hz[0]), float(sweep.frequency_hz[-1])), frequency_hz)
    out = np.empty((len(frequency_hz), ports, ports), np.complex128)
    for i in range(ports):
        for j in range(ports):
            s = sweep.s[:, i, j]
            out[:, i, j] = _straight(frequency_hz, sweep, s) if i == j else _turned(frequency_hz, sweep, s)
    return out


def _straight(f: Floats, sweep: Sweep, s: Complexes) -> Complexes:
    return np.asarray(np.interp(f, sweep.frequency_hz, s))


def _turned(f: Floats, sweep: Sweep, s: Complexes) -> Complexes:
    size = np.interp(f, sweep.frequency_hz, np.abs(s))
    turn = np.interp(f, sweep.frequency_hz, np.unwrap(np.angle(s)))
    return np.asarray(size * np.exp(1j * turn))


def _within(what: str, whose: str, ends: tuple[float, float], frequency_hz: Floats) -> None:
    low, high = ends[0] * (1 - REACH), ends[1] * (1 + REACH)
    outside = frequency_hz[(frequency_hz < low) | (frequency_hz > high)]
    if len(outside):
        raise InputError(
            what,
            f"must reach over the frequencies of the run; {frequency(float(outside[0]))} lies outside {whose},"
            f" {frequency(ends[0])} to {frequency(ends[1])}",
            cure="Nothing is guessed beyond it: sweep wider, or take the frequency out of the run.",
        )
