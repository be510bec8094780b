"""What is private to one block: reading noise, drift, mismatch, the scale's step, the card."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from linewright.core.arrays import Floats, distinct
from linewright.core.formulas.mismatch import mismatch_uncertainty_db
from linewright.core.frozen import dataclass
from linewright.core.nouns.line import LineType
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S, reflection_from_swr
from linewright.inference.bench.design import Ints, Layout, connectors_in
from linewright.inference.bench.insertion import is_other, reflection_of
from linewright.inference.priors import HIGH_HZ, UNKNOWN_VELOCITY, UNKNOWN_VELOCITY_SPREAD, Priors

PLUGS_HZ = 432e6
"""Where the reflection of plugs is stated; above it nobody uses those that are no 50 ohm."""


@dataclass(frozen=True, slots=True)
class Alike:
    """Blocks of one size, worked on at once: which they are, (b), and where their observations stand, (b, n)."""

    blocks: Ints
    rows: Ints


@dataclass(frozen=True)
class Weights:
    """Inverse covariances of the blocks' own noise, (blocks, n, n) for each size, and the sum of log determinants."""

    alike: Sequence[Alike]
    stacks: Sequence[Floats]
    logdet: float

    def of(self, m: Floats) -> Floats:
        """Return the inverse covariance times ``m``, shape (..., n, any)."""
        out = np.empty_like(m)
        for same, inverse in zip(self.alike, self.stacks, strict=True):
            out[..., same.rows, :] = inverse @ m[..., same.rows, :]
        return out

    def entries(self, one: Ints, other: Ints) -> Floats:
        """Return the entries of the inverse covariance at pairs of observations of one block each."""
        stack, place = (np.empty(sum(same.rows.size for same in self.alike), dtype=np.int64) for _ in range(2))
        for k, same in enumerate(self.alike):
            stack[same.rows], place[same.rows] = k, np.arange(same.rows.size).reshape(same.rows.shape)
        out = np.empty(len(one))
        for k, (same, inverse) in enumerate(zip(self.alike, self.stacks, strict=True)):
            mine = stack[one] == k
            block, row = np.divmod(place[one[mine]], same.rows.shape[1])
            out[mine] = inverse[block, row, place[other[mine]] % same.rows.shape[1]]
        return out


@dataclass(frozen=True)
class Parts:
    """The two parts of the blocks' covariance: what the common noise scale multiplies, and what it does not."""

    alike: Sequence[Alike]
    stacks: Sequence[tuple[Floats, Floats]]

    def weights(self, scale: float, extra: Floats | None = None) -> Weights:
        """Return the weights at one noise scale, with extra variance on observations if wanted."""
        inverses, logdet = [], 0.0
        for same, (scaled, fixed) in zip(self.alike, self.stacks, strict=True):
            v = scale**2 * scaled + fixed
            if extra is not None:
                at = np.arange(v.shape[1])
                v[:, at, at] += extra[same.rows]
            inverses.append(np.linalg.inv(v).astype(np.float64))
            logdet += float(np.linalg.slogdet(v)[1].sum())
        return Weights(self.alike, inverses, logdet)

    @cached_property
    def scaled(self) -> list[Floats]:
        """What the noise scale multiplies, for each block."""
        return _each(self.alike, [scaled for scaled, _ in self.stacks])

    @cached_property
    def fixed(self) -> list[Floats]:
        """What it does not, for each block."""
        return _each(self.alike, [fixed for _, fixed in self.stacks])

    def variance(self, scale: float = 1.0) -> Floats:
        """Return the variance of each observation's own noise."""
        out = np.zeros(sum(same.rows.size for same in self.alike))
        for same, (scaled, fixed) in zip(self.alike, self.stacks, strict=True):
            at = np.arange(scaled.shape[1])
            out[same.rows] = fixed[:, at, at] + scale**2 * scaled[:, at, at]
        return out


def _each(alike: Sequence[Alike], stacks: Sequence[Floats]) -> list[Floats]:
    """Return the blocks of all sizes one by one, in their order."""
    found = {
        int(b): m for same, stack in zip(alike, stacks, strict=True) for b, m in zip(same.blocks, stack, strict=True)
    }
    return [found[b] for b in sorted(found)]


class Noise:
    """How the readings of a bench scatter by themselves, given the losses of its paths."""

    def __init__(self, lay: Layout, priors: Priors) -> None:
        self._lay, self._priors = lay, priors
        flat = [(b, o) for b in lay.blocks for o in b.observations]
        source, high = lay.sheet.source.swr, [b.frequency_hz > HIGH_HZ for b, _ in flat]
        meters = [b.meter.swr for b, _ in flat]
        usual = [
            (priors.source_swr_high, priors.meter_swr_high) if h else (priors.source_swr, priors.meter_swr)
            for h in high
        ]
        self._source = np.array([reflection_from_swr(source or u) for u, _ in usual])
        self._meter = np.array([reflection_from_swr(m or u) for m, (_, u) in zip(meters, usual, strict=True)])
        self._learnt = np.array([source is None or m is None for m in meters])
        self._shown = np.array([reflection_from_swr(o.swr) if o.swr else np.nan for _, o in flat])
        cable = np.array([connectors_in(lay.sheet, o.path) > 0 for _, o in flat], dtype=bool)
        own = {p.tag: reflection_of(p) for p in lay.sheet.pieces if is_other(p)}
        line = np.array([max((abs(own.get(t, 0.0)) for t in o.path), default=0.0) for _, o in flat])
        plugs = priors.plug_reflection * np.array([min(b.frequency_hz / PLUGS_HZ, 1.0) for b, _ in flat])
        line = np.hypot(np.hypot(line, priors.line_reflection), plugs)
        self._turn, self._unsure = _turns(lay, priors)
        steps = np.where(cable, np.hypot(line * np.hypot(self._source, self._meter), plugs**2), 0.0)
        self._steps = mismatch_uncertainty_db(1.0, steps)
        self._time = np.array([o.time for _, o in flat])
        self._zero_db = np.array([o.zero_effect_db for _, o in flat]) * priors.zero_division
        self._card_db = np.array([priors.card_db if b.meter.scale == "card" else 0.0 for b in lay.blocks])
        self._alike = _alike(lay)
        self._scaled = [self._drifting(same) for same in self._alike]
        self._steady = [self._standing(same) for same in self._alike]

    def _drifting(self, same: Alike) -> Floats:
        """Return the part that the noise scale multiplies: noise of each reading, and drift as it adds up."""
        lay, priors = self._lay, self._priors
        time = self._time[same.rows]
        time = time - time.min(axis=1, keepdims=True) + 1.0
        out = priors.drift_db**2 * np.minimum(time[:, :, None], time[:, None, :])
        at = np.arange(out.shape[1])
        out[:, at, at] += priors.noise_db**2 / lay.count[same.rows]
        out[lay.direct[same.blocks]] = 0.0
        return np.asarray(out)

    def _standing(self, same: Alike) -> tuple[Floats, Floats, Floats, Floats]:
        """Return what stays whatever the losses are.

        The step, zero and card; how alike the mismatch of any two readings is; where they are of one path; where they
        are of a meter.
        """
        lay = self._lay
        by_meter = ~lay.direct[same.blocks]
        zero, card = self._zero_db[same.rows], self._card_db[same.blocks]
        cell = lay.cell[same.rows]
        shared = by_meter[:, None, None] * (cell[:, :, None] == cell[:, None, :])
        fixed = by_meter[:, None, None] * (zero[:, :, None] * zero[:, None, :]) + card[:, None, None] ** 2 * shared
        at = np.arange(fixed.shape[1])
        fixed[:, at, at] += lay.width_db[same.rows] ** 2 / 12.0
        apart = self._turn[same.rows][:, :, None] - self._turn[same.rows][:, None, :]
        unsure = self._unsure[same.rows][:, :, None] + self._unsure[same.rows][:, None, :]
        alike = np.where(shared, 1.0, by_meter[:, None, None] * np.cos(apart) * np.exp(-0.5 * unsure))
        return fixed, alike, shared.astype(float), by_meter.astype(float)

    def mismatch_db(self, cell_db: Floats) -> Floats:
        """Return the standard deviation of the mismatch error of each observation, dB, given its path's loss.

        ``8.686/√2 · |Γs| |Γm| · 10^(-A/10)``: U-shaped limits seen through a line of loss A, whose echo passes it twice
        (JCGM 101:2008, 9.4, on mismatch; an arcsine distribution has its half width over √2). The line's own steps of
        impedance add their part at either end. A reading's own SWR takes the meter's place. Where an SWR is not stated,
        the common scale on noise multiplies this too: how far gear is from a match is learnt with how far it scatters.
        """
        return np.asarray(np.hypot(self._echo_db(cell_db), self._steps))

    def _echo_db(self, cell_db: Floats) -> Floats:
        """Return the part of it that source and meter make."""
        seen = self._meter * 10.0 ** (-np.maximum(cell_db[self._lay.cell], 0.0) / 10.0)
        load = np.where(np.isnan(self._shown), seen, self._shown)
        return np.asarray(mismatch_uncertainty_db(self._source, load))

    def parts(self, cell_db: Floats, soft: Floats) -> Parts:
        """Return the blocks' covariance; ``soft`` is extra variance of readings at the bottom of a scale."""
        echo, stacks = self._echo_db(cell_db), []
        for same, scaled, (steady, alike, shared, relative) in zip(
            self._alike, self._scaled, self._steady, strict=True
        ):
            learnt, seen, steps = self._learnt[same.rows], echo[same.rows], self._steps[same.rows]
            mismatch = alike * (seen[:, :, None] * seen[:, None, :]) + shared * (steps[:, :, None] * steps[:, None, :])
            both = learnt[:, :, None] & learnt[:, None, :]
            fixed = steady + np.where(both, 0.0, mismatch)
            at = np.arange(fixed.shape[1])
            fixed[:, at, at] += relative[:, None] * soft[same.rows]
            stacks.append((scaled + np.where(both, mismatch, 0.0), fixed))
        return Parts(self._alike, stacks)


def _turns(lay: Layout, priors: Priors) -> tuple[Floats, Floats]:
    """Return by how many radians an echo turns on its way through each observation's path and back, and the variance.

    The echo between source and meter passes the path twice (JCGM 101:2008, 9.4, on mismatch). Of a line that
    is of another impedance, or reads like one, nothing is known: it echoes by itself.
    """
    reference, pieces = lay.sheet.reference, {p.tag: p for p in lay.sheet.pieces}
    jumper = _delay_s(reference.line, reference.length_m, priors)
    other = {p.tag for i, p in enumerate(lay.sheet.pieces) if is_other(p) or i in lay.suspects}
    turn, variance = np.zeros(lay.n), np.zeros(lay.n)
    for i, (hertz, o) in enumerate((b.frequency_hz, o) for b in lay.blocks for o in b.observations):
        own = [_delay_s(p.line, p.length_m, priors) for tag in o.path if (p := pieces.get(tag)) is not None]
        delays = [jumper, *own] if not o.path or reference.in_place == "stays" else own
        radians = 4.0 * np.pi * hertz
        turn[i] = radians * sum(s for s, _ in delays)
        variance[i] = radians**2 * sum((s * spread) ** 2 for s, spread in delays)
        if not other.isdisjoint(o.path):
            variance[i] = np.inf
    return turn, variance


def _delay_s(line: LineType | None, length_m: float, priors: Priors) -> tuple[float, float]:
    """Return how long a wave takes through a line, and the spread of that as a share."""
    velocity = line.velocity_factor if line is not None else UNKNOWN_VELOCITY
    spread = priors.delay_spread if line is not None else np.hypot(priors.delay_spread, UNKNOWN_VELOCITY_SPREAD)
    return length_m / (velocity * SPEED_OF_LIGHT_M_PER_S), float(spread)


def _alike(lay: Layout) -> list[Alike]:
    """Return the blocks by how many observations they hold."""
    sizes = np.diff(lay.starts)
    found = []
    for size in distinct(sizes):
        blocks = np.flatnonzero(sizes == size)
        found.append(Alike(blocks, lay.starts[blocks][:, None] + np.arange(size)))
    return found
