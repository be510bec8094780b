"""What every explanation would gain a set of them: many sets at once, whatever their noise and roughness.

For a set with columns C of G, effects ~ N(m, D), the rest follows from small solves (see ``gram``): with
``K = (C_z + D⁻¹)⁻¹``, the conditional diagonal of G is ``diag(G) - diag(C K Cᵀ)`` and of w ``w - C K (w_z + D⁻¹ m)``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from linewright.evidence.gram import Gram
from linewright.evidence.layout import Floats, Ints
from linewright.evidence.sites import Sites

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


class Grams:
    """The benches of one linearisation, one for every setting of the hyperparameters."""

    def __init__(self, grams: Sequence[Gram], sites: Sites) -> None:
        self.each, self._sites = grams, sites
        self._diagonal = np.stack([g.diagonal for g in grams])
        self._w = np.stack([g.w for g in grams])
        self._logit = np.stack([g.logit for g in grams])
        self._evidence = np.array([g.evidence for g in grams])

    def __len__(self) -> int:
        return len(self.each)

    def gains(self, keys: Sequence[Key]) -> list[Gains]:
        """Return the evidence of sets and the gain of adding every other explanation to each."""
        sized: dict[int, list[int]] = defaultdict(list)
        for i, (_, chosen) in enumerate(keys):
            sized[len(chosen)].append(i)
        found: dict[int, Gains] = {}
        for places in sized.values():
            found.update(zip(places, self._alike([keys[i] for i in places]), strict=True))
        return [found[i] for i in range(len(keys))]

    def _alike(self, keys: Sequence[Key]) -> list[Gains]:
        """Return the gains around sets of one size."""
        at = np.array([hyper for hyper, _ in keys])
        z = np.array([chosen for _, chosen in keys], dtype=np.int64)
        logit, variance, mean = self._logit[at], self._sites.variance, self._sites.mean
        a, b, evidence = self._diagonal[at], self._w[at], self._evidence[at]
        held = np.zeros(z.shape)
        if z.size:
            columns = np.stack([self.each[hyper].columns(chosen) for hyper, chosen in keys])
            a, b, own = _given(columns, a, b, z, (mean[z], 1.0 / variance[z]))
            row = np.arange(len(keys))[:, None]
            evidence = evidence + own + logit[row, z].sum(axis=1)
            held = _gain(logit[row, z], a[row, z], b[row, z], variance[z], mean[z])
        gain = _gain(logit, a, b, variance, mean)
        if z.size:
            gain[row, z] = -np.inf
        a = np.maximum(a, 0.0)
        return [Gains(gain[i], a[i], b[i], float(evidence[i]), held[i]) for i in range(len(keys))]


def _given(
    columns: Floats, a: Floats, b: Floats, z: Ints, effects: tuple[Floats, Floats]
) -> tuple[Floats, Floats, Floats]:
    """Return the diagonal of G and w given each set, and what its effects add to the evidence.

    ``columns`` are (sets, count, members), ``effects`` the mean and precision of each member.
    """
    m, precision = effects
    row, inner = np.arange(len(z))[:, None], np.arange(z.shape[1])
    kernel = columns[row, z]
    kernel[:, inner, inner] += precision
    inverse = np.linalg.inv(kernel)
    pull = b[row, z] + m * precision
    found = (inverse @ pull[:, :, None])[:, :, 0]
    own: Floats = 0.5 * (
        ((pull * found) - m * m * precision + np.log(precision)).sum(axis=1) + np.linalg.slogdet(inverse)[1]
    )
    b = b - (columns @ found[:, :, None])[:, :, 0]
    a = a - ((columns @ inverse) * columns).sum(axis=2)
    spread = inverse[:, inner, inner]
    a[row, z], b[row, z] = 1.0 / spread - precision, found / spread - m * precision
    return a, b, own


def _gain(logit: Floats, a: Floats, b: Floats, d: Floats, mean: Floats) -> Floats:
    """Return the log evidence gained by an effect ~ N(mean, d) whose conditional entries of G and w are a and b."""
    a = np.maximum(a, 0.0)
    grown = 1.0 + d * a
    out: Floats = logit - 0.5 * np.log(grown) + 0.5 * (b * b * d + 2.0 * b * mean - a * mean * mean) / grown
    return out
