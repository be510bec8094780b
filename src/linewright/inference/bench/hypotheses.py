"""Explanations: what may be the matter with a reading, an insertion, a cable at one frequency, a meter, a stock.

Each is on or off; when on it adds one variance along one direction, in the readings or in the unknowns.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property

import numpy as np

from linewright.core.arrays import Floats, distinct, log_normal_cdf
from linewright.core.frozen import dataclass
from linewright.inference.bench.design import Ints, Layout
from linewright.inference.bench.insertion import RIVALS, is_other
from linewright.inference.bench.noise import Weights
from linewright.inference.priors import Priors

MISREAD, WILD, INSERTION, SHARED, SEAT, STEP = range(6)
BREAK, BENT, AGED, WET, STEEP, OTHER, JOINT, CONTACT, FAULT, BAD_JUMPER, SHARED_BEND, LENGTH, MISMARKED = range(6, 19)
"""The kinds of explanation, in the order they stand in. The first six live among the readings."""


ONE_SIDED = (SEAT, JOINT, CONTACT, FAULT, BAD_JUMPER)
"""Kinds whose effect has the sign of its mean, for what is broken takes power and gives none."""

NEVER = 1e-12
"""Chance that a test from one end, which has no detector to calibrate, is bent."""


@dataclass(frozen=True, slots=True)
class Camp:
    """Explanations of which one part may be true or else the other.

    The misreadings of one path, on one meter or on all; or the bad insertions of one block. ``related`` are all
    explanations that touch the same readings.
    """

    members: tuple[int, ...]
    related: tuple[int, ...]


@dataclass(frozen=True)
class Sites:
    """All explanations of a bench, kind by kind.

    ``target`` is the reading, group, strand, block, stock or joint an explanation speaks of. ``members`` are the
    observations of each explanation that lives among the readings; each of the others is one of the unknowns,
    ``unknown``. ``variance`` and ``mean`` are of the added effect; where ``side`` is not 0 it has that sign, as a bad
    contact only ever takes power; ``logit`` is the prior, per roughness.
    """

    lay: Layout
    kind: Ints
    target: Ints
    members: list[Ints]
    unknown: Ints
    variance: Floats
    mean: Floats
    side: Floats
    logit: tuple[Floats, Floats]
    camps: tuple[Camp, ...]

    @cached_property
    def count(self) -> int:
        """Number of explanations."""
        return len(self.kind)

    @cached_property
    def n_data(self) -> int:
        """Number of explanations that live among the readings."""
        return len(self.members)

    @cached_property
    def misread(self) -> dict[int, int]:
        """Which explanation is the misreading of each observation that has one."""
        return {int(self.target[s]): int(s) for s in np.flatnonzero(self.kind == MISREAD)}

    @cached_property
    def inside(self) -> Floats:
        """The log of what the sign of each effect leaves of its normal prior; 0 where it may have either."""
        return np.where(self.side == 0.0, 0.0, log_normal_cdf(self.side * self.mean / np.sqrt(self.variance)))

    @cached_property
    def column(self) -> Ints:
        """Which direction each explanation has: several kinds have the same, a misreading and a wild one for one."""
        return self._distinct[0]

    @cached_property
    def groups(self) -> list[Ints]:
        """The observations of each direction among the readings; those among the unknowns come behind them."""
        return self._distinct[1]

    @cached_property
    def moved(self) -> Ints:
        """The unknown of each direction among the unknowns."""
        return distinct(self.unknown)

    @cached_property
    def _distinct(self) -> tuple[Ints, list[Ints]]:
        met: dict[bytes, int] = {}
        at = [met.setdefault(m.tobytes(), len(met)) for m in self.members]
        groups = [np.frombuffer(m, dtype=np.int64) for m in met]
        return np.concatenate(
            [np.array(at, dtype=np.int64), len(met) + np.searchsorted(self.moved, self.unknown)]
        ), groups

    def directions(self, which: Sequence[int]) -> Floats:
        """Return the data-space directions of some data explanations, (n, len)."""
        out = np.zeros((self.lay.n, len(which)))
        for j, s in enumerate(which):
            out[self.members[s], j] = 1.0
        return out

    def summed(self, v: Floats) -> Floats:
        """Return the sums of ``v`` (..., n) over the readings of each direction among them, (..., groups)."""
        if not self.groups:
            return np.zeros((*v.shape[:-1], 0))
        out: Floats = np.add.reduceat(v[..., self._strung[0]], self._strung[1], axis=-1)
        return out

    def marks(self, which: Ints) -> Floats:
        """Return some of the directions among the readings, (n, len)."""
        out = np.zeros((self.lay.n, len(which)))
        for j, g in enumerate(which.tolist()):
            out[self.groups[g], j] = 1.0
        return out

    def own(self, weights: Weights) -> Floats:
        """Return what the readings' own noise gives each direction among them, ``mᵀWm``, (groups)."""
        one, other, first, some = self._paired
        out = np.zeros(len(self.groups))
        if len(first):
            out[some] = np.add.reduceat(weights.entries(one, other), first)
        return out

    def ends(self, v: Ints) -> tuple[Ints, Ints]:
        """Return the least and the greatest of ``v`` (n) over the readings of each direction among them, (groups)."""
        if not self.groups:
            return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
        strung, starts = self._strung
        return np.minimum.reduceat(v[strung], starts), np.maximum.reduceat(v[strung], starts)

    @cached_property
    def _paired(self) -> tuple[Ints, Ints, Ints, Ints]:
        """Pairs of readings of one group in one block, where those of each group start, and which groups have some."""
        block, pairs = self.lay.block, []
        for g, members in enumerate(self.groups):
            one, other = np.repeat(members, len(members)), np.tile(members, len(members))
            same = block[one] == block[other]
            pairs.append(np.stack([one[same], other[same], np.full(int(same.sum()), g)]))
        one, other, group = np.concatenate([np.zeros((3, 0), dtype=np.int64), *pairs], axis=1)
        first = np.flatnonzero(np.diff(group, prepend=-1))
        return one, other, first, group[first]

    @cached_property
    def _strung(self) -> tuple[Ints, Ints]:
        """The members of all groups strung together, and where each group starts."""
        ends = np.cumsum([len(m) for m in self.groups])
        return np.concatenate(self.groups), np.concatenate([[0], ends[:-1]])


def _insertions(lay: Layout) -> list[Ints]:
    """Return the groups of observations of one path in one block, where there is more than one."""
    key = lay.block * (lay.cell.max(initial=0) + 1) + lay.cell
    groups = [np.flatnonzero(key == k) for k in distinct(key)]
    return [g for g in groups if len(g) > 1]


def _shared(lay: Layout) -> list[Ints]:
    """Return the groups of observations of one path on one band, where two meters or more read it."""
    groups = [np.flatnonzero((lay.cell == c) & ~lay.bottom) for c in range(len(lay.cells.fixed))]
    return [g for g in groups if len(distinct(lay.block[g])) > 1]


def _read_on(lay: Layout) -> list[Ints]:
    """Return the observations of each path that was read on and on over bands, in the order they were read."""
    rows = sorted((r, i) for i, o in enumerate(o for b in lay.blocks for o in b.observations) for r in o.rows)
    groups: list[list[int]] = []
    last: tuple[object, ...] | None = None
    for r, i in rows:
        reading = lay.sheet.readings[r]
        if last != (reading.path, reading.meter):
            groups.append([])
        last = (reading.path, reading.meter)
        groups[-1].append(i)
    found = [
        distinct(np.array([i for i in g if not lay.bottom[i] and not lay.direct[lay.block[i]]], dtype=int))
        for g in groups
    ]
    return [g for g in found if len(g) > 1 and len(distinct(lay.block[g])) > 1]


def _steps(lay: Layout, insertions: list[Ints]) -> list[Ints]:
    """Return the groups of observations that a step of the source moves alike: of all bands, from an insertion on.

    Only bands that were read before it as well count: of others the level is free. What was read alike before and after
    is one observation, and no step moved it.
    """
    found = []
    for k in range(1, len(insertions)):
        earlier = distinct(np.concatenate(insertions[:k]))
        later = distinct(np.concatenate(insertions[k:]))
        later = later[~np.isin(later, earlier) & np.isin(lay.block[later], lay.block[earlier])]
        if len(distinct(lay.block[later])) > 1:
            found.append(later)
    return found


def _camps(lay: Layout, firm: Ints, groups: list[Ints], n_data: int) -> tuple[Camp, ...]:
    """List the camps: per path and block, per path over all its blocks, and per block."""
    site_of = {int(obs): s for s, obs in enumerate(firm)}
    insertion_of = {int(obs): 2 * len(firm) + g for g, members in enumerate(groups) for obs in members}
    places = [np.flatnonzero((lay.cell == c) & ~lay.bottom) for c in range(len(lay.cells.fixed))]
    places += [np.array([m for m in g if int(m) in site_of]) for g in groups]
    camps: dict[tuple[int, ...], Camp] = {}
    for b in range(len(lay.blocks)):
        here = lay.slice_of(b)
        mine = [o for o in range(here.start, here.stop) if o in site_of]
        whole = tuple(dict.fromkeys(insertion_of.get(o, site_of[o]) for o in mine))
        if len(whole) > 2:
            camps[whole] = Camp(whole, (*whole, *(site_of[o] for o in mine)))
    for obs in places:
        misreads = tuple(site_of[int(o)] for o in obs)
        if len(misreads) < 2:
            continue
        strands = np.flatnonzero(lay.cells.strands[lay.cell[obs[0]]])
        insertions = {insertion_of[int(o)] for o in obs if int(o) in insertion_of}
        camps[misreads] = Camp(misreads, (*misreads, *insertions, *(n_data + int(s) for s in strands)))
    return tuple(camps.values())


def _log_odds(p: Floats) -> Floats:
    out: Floats = np.log(p) - np.log1p(-p)
    return out


@dataclass(frozen=True, slots=True)
class _Kind:
    """All explanations of one kind: what they speak of, where they live, how likely they are and how large."""

    kind: int
    target: Ints
    at: list[Ints] | Ints
    """The observations of each that lives among the readings; the unknown that each other one moves."""
    p: Floats | float
    mean: Floats | float
    spread: Floats | float


def _among_readings(lay: Layout, priors: Priors) -> list[_Kind]:
    firm, groups = np.flatnonzero(~lay.bottom), _insertions(lay)
    grouped = {int(i) for group in groups for i in group}
    single = np.array([int(i) not in grouped and lay.cells.fixed[lay.cell[i]][0] != () for i in firm], dtype=bool)
    repeated, read = 0.5 ** (lay.count[firm] - 1.0), ~lay.direct[lay.block[firm]]
    misread, each = (
        priors.misread_p * repeated + np.where(single, priors.insertion_p, 0.0),
        [np.array([i]) for i in firm],
    )
    shared, seats = _shared(lay), _read_on(lay)
    steps = _steps(lay, seats)
    return [
        _Kind(MISREAD, firm, each, misread, 0.0, priors.misread_db),
        _Kind(WILD, firm, each, np.where(read, priors.wild_p * repeated, NEVER), 0.0, priors.wild_db),
        _Kind(INSERTION, np.arange(len(groups)), groups, priors.insertion_p, 0.0, priors.insertion_db),
        _Kind(SHARED, np.arange(len(shared)), shared, priors.shared_p, 0.0, priors.shared_db),
        _Kind(SEAT, np.arange(len(seats)), seats, priors.seat_p, -priors.seat_db, priors.seat_spread_db),
        _Kind(STEP, np.arange(len(steps)), steps, priors.step_p, 0.0, priors.step_db),
    ]


def _among_unknowns(lay: Layout, priors: Priors, break_p: float) -> list[_Kind]:
    strands, blocks, pieces = (np.arange(n) for n in (len(lay.strands.piece), len(lay.blocks), len(lay.sheet.pieces)))
    known = [any(p.stock_name == s and p.line is not None for p in lay.sheet.pieces) for s in lay.stocks]
    stocks, joints = np.flatnonzero(known), np.arange(2 * len(pieces))
    bent = np.array([priors.bent_in_p if b.in_band else priors.bent_out_p for b in lay.blocks])
    bent[lay.direct] = NEVER
    joint = np.repeat([priors.joint_p, priors.joint_root_p], len(pieces))
    fifty = [p.line is not None and not is_other(p) for p in lay.sheet.pieces]
    marked, rivals = np.where(fifty, priors.mismarked_p / len(RIVALS), NEVER), np.arange(len(RIVALS) * len(pieces))
    growth, wet, one = lay.growth.start + stocks, lay.wet.start + stocks, np.array([0])
    p, mean, spread = np.array([(f.p, f.mean, f.spread) for f in lay.faults]).reshape(len(lay.faults), 3).T
    return [
        _Kind(BREAK, strands, lay.departure.start + strands, break_p, 0.0, priors.break_log),
        _Kind(BENT, blocks, lay.exponent.start + blocks, bent, 0.0, priors.bent_log),
        _Kind(AGED, stocks, growth, priors.bench_aged_p, priors.aged_shift, priors.aged_spread),
        _Kind(WET, stocks, wet, priors.wet_p, 0.0, priors.wet_spread),
        _Kind(STEEP, stocks, wet, priors.steep_p, priors.steep_shift, priors.steep_spread),
        _Kind(OTHER, stocks, growth, priors.other_p, 0.0, priors.other_log),
        _Kind(JOINT, joints, lay.joint.start + joints, joint, priors.joint_db, priors.joint_spread_db),
        _Kind(CONTACT, pieces, lay.joint.start + pieces, priors.contact_p, priors.contact_db, priors.contact_spread_db),
        _Kind(FAULT, np.arange(len(p)), lay.fault.start + np.arange(len(p)), p, mean, spread),
        _Kind(BAD_JUMPER, one, one + lay.bad_jumper, priors.jumper_p, priors.jumper_db, priors.jumper_spread_db),
        _Kind(SHARED_BEND, one, one + lay.bend, priors.bend_p, 0.0, priors.bend_log),
        _Kind(
            MISMARKED, rivals, lay.mismarked.start + rivals, np.tile(marked, len(RIVALS)), 1.0, priors.mismarked_spread
        ),
        _Kind(LENGTH, pieces, lay.own.start + pieces, priors.own_p, 0.0, priors.own_log),
    ]


def sites_of(lay: Layout, priors: Priors) -> Sites:
    """List every explanation a bench allows."""
    readings, unknowns = _among_readings(lay, priors), _among_unknowns(lay, priors, priors.break_p)
    kinds = [*readings, *unknowns]

    def strung(values: Iterable[Floats | float]) -> Floats:
        return np.concatenate([np.broadcast_to(v, len(k.target)) for k, v in zip(kinds, values, strict=True)])

    rough = [*readings, *_among_unknowns(lay, priors, priors.rough_break_p)]
    members = [m for k in readings for m in k.at]
    kind, mean = strung(k.kind for k in kinds).astype(np.int64), strung(k.mean for k in kinds)
    return Sites(
        lay=lay,
        kind=kind,
        target=np.concatenate([k.target for k in kinds]).astype(np.int64),
        members=members,
        unknown=np.concatenate([k.at for k in unknowns]).astype(np.int64),
        variance=strung(k.spread for k in kinds) ** 2,
        mean=mean,
        side=np.where(np.isin(kind, ONE_SIDED), np.sign(mean), 0.0),
        logit=(_log_odds(strung(k.p for k in kinds)), _log_odds(strung(k.p for k in rough))),
        camps=_camps(lay, readings[0].target, _insertions(lay), len(members)),
    )
