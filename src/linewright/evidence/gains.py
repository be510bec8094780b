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
    logit, variance, mean = gram.logit[at], gram.sites.variance, gram.sites.mean
    a, b, evidence = gram.diagonal[at], gram.w[at], gram.evidence[at]
    held = np.zeros(z.shape)
    if z.size:
        a, b, own = _given(gram.columns(at, z), a, b, z, (mean[z], 1.0 / variance[z]))
        row = np.arange(len(keys))[:, None]
        evidence = evidence + own + logit[row, z].sum(axis=1)
        held = _gain(logit[row, z], a[row, z], b[row, z], variance[z], mean[z])
    gain = _gain(logit, a, b, variance, mean)
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
