"""A bench linearised at a point: what every explanation would gain, and how explanations overlap.

With V the covariance of the readings (own noise and prior together), e their departure from the prior mean and C the
directions of the explanations, keep ``G = Cᵀ V⁻¹ C`` and ``w = Cᵀ V⁻¹ e``. The evidence of any set of explanations
follows from small solves in G and w (the matrix determinant lemma; e.g. Harville, Matrix Algebra From a Statistician's
Perspective, 1997, section 18.1).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.evidence.layout import Floats, Ints, Layout
from linewright.evidence.noise import Weights
from linewright.evidence.prior import Prior
from linewright.evidence.sites import Sites

DENSE = 1200
"""Up to this many explanations the whole of G is kept; beyond, its columns are worked out as they are asked for."""


@dataclass(frozen=True, slots=True)
class Point:
    """The linearisation: unknowns, residuals and Jacobian there."""

    x: Floats
    residual_db: Floats
    jacobian: Floats


class Gram:
    """G and w of one bench under one noise scale and roughness."""

    def __init__(self, lay: Layout, sites: Sites, prior: Prior, weights: Weights, point: Point, rough: int) -> None:
        self.logit = sites.logit[rough]
        self._sites, self._weights, self._lay = sites, weights, lay
        j = point.jacobian
        departure = point.residual_db + j @ (point.x - prior.mean)
        self._wj = weights.of(j)
        precision = prior.precision[rough] + j.T @ self._wj
        self._inverse = np.linalg.inv(precision)
        we = weights.of(departure[:, None])[:, 0]
        pull = self._wj.T @ departure
        self._back = self._wj @ self._inverse
        solved = we - self._back @ pull
        self.evidence = -0.5 * float(
            departure @ solved + weights.logdet + prior.logdet[rough] + np.linalg.slogdet(precision)[1]
        )
        self._j = j
        nd = sites.n_data
        self._order = np.concatenate([*sites.members, np.zeros(0, dtype=np.int64)]).astype(np.int64)
        self._offsets = _offsets(sites.members)
        self.w = np.concatenate([[solved[m].sum() for m in sites.members], j[:, sites.unknown].T @ solved])
        self._full: Floats | None = None
        self._columns: dict[int, Floats] = {}
        if sites.count <= DENSE:
            self._full = self._dense(nd)
            self.diagonal: Floats = np.diag(self._full).copy()
        else:
            self.diagonal = self._diagonal()

    def _dense(self, nd: int) -> Floats:
        c = np.concatenate([self._sites.directions(slice(0, nd)), self._j[:, self._sites.unknown]], axis=1)
        wc = self._weights.of(c)
        cross = self._wj.T @ c
        full: Floats = c.T @ wc - cross.T @ (self._inverse @ cross)
        return full

    def _diagonal(self) -> Floats:
        out = np.empty(self._sites.count)
        own = np.concatenate([np.diag(w) for w in self._weights.inverses]) if self._lay.n else np.zeros(0)
        shared = own - np.einsum("ij,ij->i", self._back, self._wj)
        for s, members in enumerate(self._sites.members):
            out[s] = shared[members[0]] if len(members) == 1 else self._apply(s)[members].sum()
        ju = self._j[:, self._sites.unknown]
        cross = self._wj.T @ ju
        out[self._sites.n_data :] = np.einsum("ij,ij->j", ju, self._wj[:, self._sites.unknown]) - np.einsum(
            "ij,ij->j", cross, self._inverse @ cross
        )
        return out

    def _apply(self, site: int) -> Floats:
        """Return V⁻¹ times one direction, (n)."""
        if site < self._sites.n_data:
            members = self._sites.members[site]
            block = int(self._lay.block[members[0]])
            rows = self._lay.slice_of(block)
            out: Floats = -self._back @ self._wj[members].sum(axis=0)
            out[rows] += self._weights.inverses[block][:, members - rows.start].sum(axis=1)
            return out
        u = int(self._sites.unknown[site - self._sites.n_data])
        result: Floats = self._wj[:, u] - self._back @ (self._wj.T @ self._j[:, u])
        return result

    def column(self, site: int) -> Floats:
        """Return one column of G, (count)."""
        if self._full is not None:
            kept: Floats = self._full[:, site]
            return kept
        if site not in self._columns:
            v = self._apply(site)
            top = np.add.reduceat(v[self._order], self._offsets) if len(self._offsets) else np.zeros(0)
            self._columns[site] = np.concatenate([top, self._j[:, self._sites.unknown].T @ v])
        held: Floats = self._columns[site]
        return held

    def columns(self, chosen: tuple[int, ...]) -> Floats:
        """Return some columns of G, (count, len)."""
        if self._full is not None:
            kept: Floats = self._full[:, list(chosen)]
            return kept
        return np.stack([self.column(s) for s in chosen], axis=1) if chosen else np.zeros((self._sites.count, 0))


def _offsets(members: list[Ints]) -> Ints:
    """Return where each group starts in the groups strung together."""
    if not members:
        return np.zeros(0, dtype=np.int64)
    return np.concatenate([[0], np.cumsum([len(m) for m in members])[:-1]]).astype(np.int64)
