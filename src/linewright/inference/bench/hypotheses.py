"""Explanations: what may be the matter with a reading, an insertion, a cable at one frequency, a meter, a stock.

Each is on or off; when on it adds one variance along one direction, in the readings or in the unknowns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from linewright.core.arrays import Floats
from linewright.inference.bench.design import Ints, Layout
from linewright.inference.priors import Priors

MISREAD, INSERTION, BREAK, BENT, AGED, WET, JOINT = range(7)
"""The kinds of explanation, in the order they stand in. The first two live among the readings."""


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
    ``unknown``. ``variance`` and ``mean`` are of the added effect; ``logit`` is the prior, per roughness.
    """

    lay: Layout
    kind: Ints
    target: Ints
    members: list[Ints]
    unknown: Ints
    variance: Floats
    mean: Floats
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
    def marks(self) -> Floats:
        """The directions of all explanations that live among the readings, (n, n_data): large on a large bench."""
        return self.directions(range(self.n_data))

    def directions(self, which: Sequence[int]) -> Floats:
        """Return the data-space directions of some data explanations, (n, len)."""
        out = np.zeros((self.lay.n, len(which)))
        for j, s in enumerate(which):
            out[self.members[s], j] = 1.0
        return out

    def summed(self, v: Floats) -> Floats:
        """Return the sums of ``v`` (..., n) over the readings of each explanation that lives there, (..., n_data)."""
        if not self.members:
            return np.zeros((*v.shape[:-1], 0))
        out: Floats = np.add.reduceat(v[..., self._strung[0]], self._strung[1], axis=-1)
        return out

    @cached_property
    def _strung(self) -> tuple[Ints, Ints]:
        """The members of all groups strung together, and where each group starts."""
        ends = np.cumsum([len(m) for m in self.members])
        return np.concatenate(self.members), np.concatenate([[0], ends[:-1]])


def _insertions(lay: Layout) -> list[Ints]:
    """Return the groups of observations of one path in one block, where there is more than one."""
    key = lay.block * (lay.cell.max(initial=0) + 1) + lay.cell
    groups = [np.flatnonzero(key == k) for k in np.unique(key)]
    return [g for g in groups if len(g) > 1]


def _camps(lay: Layout, firm: Ints, groups: list[Ints]) -> tuple[Camp, ...]:
    """List the camps: per path and block, per path over all its blocks, and per block."""
    site_of = {int(obs): s for s, obs in enumerate(firm)}
    n_data = len(firm) + len(groups)
    insertion_of = {int(obs): len(firm) + g for g, members in enumerate(groups) for obs in members}
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


def sites_of(lay: Layout, priors: Priors) -> Sites:
    """List every explanation a bench allows."""
    firm = np.flatnonzero(~lay.bottom)
    groups = _insertions(lay)
    nb, ns = len(lay.blocks), len(lay.strands.piece)
    known = np.array(
        [any(p.stock_name == s and p.line is not None for p in lay.sheet.pieces) for s in lay.stocks], dtype=bool
    )
    stocks = np.flatnonzero(known)
    out_of_band = np.array([not b.in_band for b in lay.blocks], dtype=bool)
    lone = {int(g) for group in groups for g in group}
    single = np.array([int(i) not in lone and lay.cells.fixed[lay.cell[i]][0] != () for i in firm], dtype=bool)
    misread = priors.misread_p * 0.5 ** (lay.count[firm] - 1.0) + np.where(single, priors.insertion_p, 0.0)
    bent = np.where(out_of_band, priors.bent_out_p, priors.bent_in_p)
    bent[lay.direct] = NEVER
    nj = 2 * len(lay.sheet.pieces)
    sizes = [len(firm), len(groups), ns, nb, len(stocks), len(stocks), nj]
    sizes_of_effect = [
        priors.misread_db, priors.insertion_db, priors.break_log, priors.bent_log,
        priors.aged_spread, priors.wet_spread, priors.joint_spread_db,
    ]  # fmt: skip

    def prior(break_p: float) -> Floats:
        return _log_odds(
            np.concatenate([
                misread, np.full(sizes[1], priors.insertion_p), np.full(sizes[2], break_p), bent,
                np.full(sizes[4], priors.aged_p), np.full(sizes[5], priors.wet_p),
                np.full(nj, priors.joint_p),
            ])
        )  # fmt: skip

    return Sites(
        lay=lay,
        kind=np.repeat(np.arange(JOINT + 1), sizes),
        target=np.concatenate([firm, *(np.arange(n) for n in sizes[1:4]), stocks, stocks, np.arange(nj)]).astype(int),
        members=[np.array([i]) for i in firm] + groups,
        unknown=np.concatenate([
            lay.departure.start + np.arange(ns), lay.exponent.start + np.arange(nb),
            lay.growth.start + stocks, lay.wet.start + stocks, lay.joint.start + np.arange(nj),
        ]).astype(np.int64),
        variance=np.repeat(np.array(sizes_of_effect) ** 2, sizes),
        mean=np.repeat([0.0, 0.0, 0.0, 0.0, priors.aged_shift, 0.0, priors.joint_db], sizes),
        logit=(prior(priors.break_p), prior(priors.rough_break_p)),
        camps=_camps(lay, firm, groups),
    )  # fmt: skip
