"""A bench linearised at a point: what every explanation would gain, and how explanations overlap.

With V the covariance of the readings (own noise and prior together), e their departure from the prior mean and C the
directions of the explanations, keep ``G = Cᵀ V⁻¹ C`` and ``w = Cᵀ V⁻¹ e``. The evidence of any set of explanations
follows from small solves in G and w (the matrix determinant lemma; e.g. Harville, Matrix Algebra From a Statistician's
Perspective, 1997, section 18.1).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from linewright.core.arrays import Floats, distinct, log_normal_cdf
from linewright.core.frozen import dataclass
from linewright.inference.bench.design import Ints, Layout, Prior
from linewright.inference.bench.hypotheses import Sites
from linewright.inference.bench.noise import Weights

# A bench linearised at a point: what every explanation would gain, and how explanations overlap

DENSE = 1200
"""Up to this many explanations the whole of G is kept; beyond, its columns are worked out as they are asked for."""


@dataclass(frozen=True, slots=True)
class Point:
    """The linearisation at ``x``: what readings should be, how far off they are, how it moves; the cells' losses."""

    x: Floats
    expected_db: Floats
    residual_db: Floats
    jacobian: Floats
    cell_db: Floats


class Gram:
    """G and w of one bench under every setting of noise scale and roughness; the settings are the first axis.

    Setting ``2 k + r`` is noise scale ``k`` with roughness ``r``. Roughness changes the prior alone: what the readings
    weigh is worked out once a scale.
    """

    def __init__(self, lay: Layout, sites: Sites, prior: Prior, weights: Sequence[Weights], point: Point) -> None:
        self.sites = sites
        self.logit = np.stack([*sites.logit] * len(weights))
        dense, j = sites.count <= DENSE, point.jacobian
        departure = point.residual_db + j @ (point.x - prior.mean)
        marks = sites.marks if dense else np.zeros((lay.n, 0))
        right = np.concatenate([j, departure[:, None], marks], axis=1)
        weighed = np.stack([w.of(right) for w in weights])
        wj, we, wm = weighed[:, :, : lay.size], weighed[:, :, lay.size], weighed[:, :, lay.size + 1 :]
        precision = ((j.T @ wj)[:, None] + prior.precision).reshape(-1, lay.size, lay.size)
        inverse: Floats = np.linalg.inv(precision).astype(np.float64, copy=False)
        pull = np.repeat(departure @ wj, 2, axis=0)
        inner = (inverse @ pull[:, :, None]).reshape(len(weights), 2, lay.size)
        solved = (we[:, None] - inner @ wj.transpose(0, 2, 1)).reshape(2 * len(weights), lay.n)
        logdet = np.add.outer([w.logdet for w in weights], prior.logdet).ravel() + np.linalg.slogdet(precision)[1]
        self.evidence: Floats = -0.5 * (solved @ departure + logdet)
        self.w = np.concatenate([sites.summed(solved), solved @ j[:, sites.unknown]], axis=1)
        self._kept = _Whole(sites, j, wj, wm, inverse) if dense else _OnDemand(lay, sites, weights, j, wj, inverse)
        self.diagonal = self._kept.diagonal

    def __len__(self) -> int:
        return len(self.evidence)

    def columns(self, settings: Ints, sets: Ints) -> Floats:
        """Return columns of G, (sets, members, count): those of the members of each set, under its setting."""
        return self._kept.columns(settings, sets)


class _Whole:
    """G itself, (settings, count, count)."""

    def __init__(self, sites: Sites, j: Floats, wj: Floats, wm: Floats, inverse: Floats) -> None:
        c = np.concatenate([sites.marks, j[:, sites.unknown]], axis=1)
        wc = np.concatenate([wm, wj[:, :, sites.unknown]], axis=2)
        cross = wj.transpose(0, 2, 1) @ c
        self._full = np.repeat(c.T @ wc, 2, axis=0)
        for setting, middle in enumerate(inverse):
            self._full[setting] -= cross[setting // 2].T @ (middle @ cross[setting // 2])
        self.diagonal: Floats = self._full.diagonal(axis1=1, axis2=2).copy()

    def columns(self, settings: Ints, sets: Ints) -> Floats:
        columns: Floats = self._full[settings[:, None], sets]
        return columns


class _OnDemand:
    """Columns of G worked out when they are first asked for, as a large bench needs few of them."""

    def __init__(
        self, lay: Layout, sites: Sites, weights: Sequence[Weights], j: Floats, wj: Floats, inverse: Floats
    ) -> None:
        self._lay, self._sites, self._weights, self._j, self._wj = lay, sites, weights, j, wj
        self._back = [wj[setting // 2] @ middle for setting, middle in enumerate(inverse)]
        self._met: dict[tuple[int, int], Floats] = {}
        self.diagonal = np.stack([self._diagonal(setting, middle) for setting, middle in enumerate(inverse)])

    def _diagonal(self, setting: int, middle: Floats) -> Floats:
        sites, wj = self._sites, self._wj[setting // 2]
        out = np.empty(sites.count)
        own = np.concatenate([np.diag(w) for w in self._weights[setting // 2].inverses])
        shared = own - np.einsum("ij,ij->i", self._back[setting], wj)
        for s, members in enumerate(sites.members):
            out[s] = shared[members[0]] if len(members) == 1 else self._apply(setting, s)[members].sum()
        ju = self._j[:, sites.unknown]
        cross = wj.T @ ju
        out[sites.n_data :] = np.einsum("ij,ij->j", ju, wj[:, sites.unknown]) - np.einsum(
            "ij,ij->j", cross, middle @ cross
        )
        return out

    def _apply(self, setting: int, site: int) -> Floats:
        """Return V⁻¹ times one direction, (n)."""
        sites, wj, back = self._sites, self._wj[setting // 2], self._back[setting]
        if site < sites.n_data:
            members = sites.members[site]
            out: Floats = -back @ wj[members].sum(axis=0)
            for block in distinct(self._lay.block[members]).tolist():
                rows, mine = self._lay.slice_of(block), members[self._lay.block[members] == block]
                out[rows] += self._weights[setting // 2].inverses[block][:, mine - rows.start].sum(axis=1)
            return out
        u = int(sites.unknown[site - sites.n_data])
        result: Floats = wj[:, u] - back @ (wj.T @ self._j[:, u])
        return result

    def _column(self, setting: int, site: int) -> Floats:
        if (setting, site) not in self._met:
            v = self._apply(setting, site)
            self._met[setting, site] = np.concatenate([self._sites.summed(v), self._j[:, self._sites.unknown].T @ v])
        return self._met[setting, site]

    def columns(self, settings: Ints, sets: Ints) -> Floats:
        asked = zip(settings.tolist(), sets.tolist(), strict=True)
        return np.array([[self._column(setting, site) for site in some] for setting, some in asked])


# What every explanation would gain a set of them: many sets at once, whatever their noise and roughness

Chosen = tuple[int, ...]
Key = tuple[int, Chosen]
"""Which setting of the hyperparameters, and the set."""


@dataclass(frozen=True, slots=True)
class Gains:
    """What adding each explanation to a set would gain in nats, and the conditional entries it comes from.

    ``a`` and ``b`` are G's diagonal and w given the set; of a member, given the others of the set. ``held`` is what
    each member gained over the set without it, in the order of the set.
    """

    gain: Floats
    a: Floats
    b: Floats
    evidence: float
    held: Floats


def gains(gram: Gram, keys: Sequence[Key]) -> list[Gains]:
    """Return the evidence of sets and the gain of adding every other explanation to each."""
    sized: dict[int, list[int]] = defaultdict(list)
    for i, (_, chosen) in enumerate(keys):
        sized[len(chosen)].append(i)
    found: dict[int, Gains] = {}
    for places in sized.values():
        found.update(zip(places, _alike(gram, [keys[i] for i in places]), strict=True))
    return [found[i] for i in range(len(keys))]


def _alike(gram: Gram, keys: Sequence[Key]) -> list[Gains]:
    """Return the gains around sets of one size."""
    at = np.array([setting for setting, _ in keys])
    z = np.array([chosen for _, chosen in keys], dtype=np.int64)
    logit, variance, mean, side = gram.logit[at], gram.sites.variance, gram.sites.mean, gram.sites.side
    a, b, evidence, inside = gram.diagonal[at], gram.w[at], gram.evidence[at], gram.sites.inside
    held = np.zeros(z.shape)
    if z.size:
        a, b, own = _given(gram.columns(at, z), a, b, z, (mean[z], 1.0 / variance[z]))
        row = np.arange(len(keys))[:, None]
        held = _gain(logit[row, z], a[row, z], b[row, z], variance[z], mean[z])
        turned = _turned(a[row, z], b[row, z], variance[z], mean[z], side[z], inside[z])
        evidence = evidence + own + (logit[row, z] + turned).sum(axis=1)
        held += turned
    gain = _gain(logit, a, b, variance, mean)
    some = np.flatnonzero(side)
    gain[:, some] += _turned(a[:, some], b[:, some], variance[some], mean[some], side[some], inside[some])
    if z.size:
        gain[row, z] = -np.inf
    a = np.maximum(a, 0.0)
    return [Gains(*of_one) for of_one in zip(gain, a, b, evidence.tolist(), held, strict=True)]


def _given(
    columns: Floats, a: Floats, b: Floats, z: Ints, effects: tuple[Floats, Floats]
) -> tuple[Floats, Floats, Floats]:
    """Return the diagonal of G and w given each set, and what its effects add to the evidence.

    ``columns`` are (sets, members, count), ``effects`` the mean and precision of each member.
    """
    m, precision = effects
    row, inner = np.arange(len(z))[:, None], np.arange(z.shape[1])
    kernel = columns[row[:, :, None], inner[:, None], z[:, None]]
    kernel[:, inner, inner] += precision
    inverse = np.linalg.inv(kernel)
    pull = b[row, z] + m * precision
    found = (inverse @ pull[:, :, None])[:, :, 0]
    own: Floats = 0.5 * (
        ((pull * found) - m * m * precision + np.log(precision)).sum(axis=1) + np.linalg.slogdet(inverse)[1]
    )
    b = b - (found[:, None] @ columns)[:, 0]
    a = a - ((inverse @ columns) * columns).sum(axis=1)
    spread = inverse[:, inner, inner]
    a[row, z], b[row, z] = 1.0 / spread - precision, found / spread - m * precision
    return a, b, own


def _gain(logit: Floats, a: Floats, b: Floats, d: Floats, mean: Floats) -> Floats:
    """Return the log evidence gained by an effect ~ N(mean, d) whose conditional entries of G and w are a and b."""
    a = np.maximum(a, 0.0)
    grown = 1.0 + d * a
    out: Floats = logit - 0.5 * np.log(grown) + 0.5 * (b * b * d + 2.0 * b * mean - a * mean * mean) / grown
    return out


def one_sided(side: Floats, middle: Floats, spread: Floats, inside: Floats) -> Floats:
    """Return what an effect of one sign only gains, in nats, where N(middle, spread²) is found.

    Its prior, N(mean, variance), is cut off at 0 and made whole again, so the evidence is that of the whole normal
    distribution times Φ(middle / spread) / Φ(mean / √variance), with the signs turned where the effect is negative.
    ``inside`` is the log of the latter, ``Sites.inside``. 0 where ``side`` is 0.
    """
    found: Floats = log_normal_cdf(side * middle / spread) - inside
    return np.where(side == 0.0, 0.0, found)


def _turned(a: Floats, b: Floats, d: Floats, mean: Floats, side: Floats, inside: Floats) -> Floats:
    """Return what one-sided effects gain over normal ones, from the conditional entries of G and w."""
    grown = 1.0 + d * np.maximum(a, 0.0)
    return one_sided(side, (b * d + mean) / grown, np.sqrt(d / grown), inside)
