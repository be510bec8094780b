"""How sharply readings hold the unknowns, worked out by the bands they were taken on.

All that a reading says of cables it says through the loss of its cell, and on one band all meters see the same cells.
So ``JᵀWJ`` is a sum over bands of small matrices: per block the weights of its readings are summed over those of each
cell, per band the blocks are added up, and only then the unknowns come in.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.inference.bench.design import Ints, Layout, Losses, Spread
from linewright.inference.bench.noise import Weights


@dataclass(frozen=True, slots=True)
class Band:
    """The blocks of one frequency, the cells they see, and where each block's sum over each cell stands, (b, k)."""

    blocks: Ints
    cells: Ints
    pair: Ints


class Bands:
    """The bands of a layout, with the sums over the readings of each cell in each block."""

    def __init__(self, lay: Layout) -> None:
        self._lay = lay
        key = lay.block * len(lay.cells.fixed) + lay.cell
        self._order = np.argsort(key, kind="stable")
        met = key[self._order]
        self._starts = np.flatnonzero(np.diff(met, prepend=-1))
        pairs = met[self._starts].tolist()
        where = {pair: at for at, pair in enumerate(pairs)}
        seen: dict[tuple[float, bool], list[int]] = {}
        for i, block in enumerate(lay.blocks):
            seen.setdefault((block.frequency_hz, block.direct), []).append(i)
        cells: dict[tuple[float, bool], list[int]] = {of: [] for of in seen}
        for cell, (_, frequency_hz, direct) in enumerate(lay.cells.fixed):
            cells[frequency_hz, direct].append(cell)
        none = len(pairs)
        self.each = [
            Band(
                np.array(blocks),
                np.array(cells[of]),
                np.array([[where.get(b * len(lay.cells.fixed) + k, none) for k in cells[of]] for b in blocks]),
            )
            for of, blocks in seen.items()
        ]
        self._place: Ints = np.empty(lay.n, dtype=np.int64)
        for band in self.each:
            for b in band.blocks.tolist():
                mine = lay.slice_of(b)
                self._place[mine] = np.searchsorted(band.cells, lay.cell[mine])
        self._most = max((len(band.cells) for band in self.each), default=0)

    def kernels(self, weights: Weights) -> list[Floats]:
        """Return per band the weights of its blocks summed over the readings of each cell, (b, k, k)."""
        whole = np.empty((len(self._lay.blocks), self._most, self._most))
        for same, inverse in zip(weights.alike, weights.stacks, strict=True):
            read = np.eye(self._most)[self._place[same.rows]]
            whole[same.blocks] = read.transpose(0, 2, 1) @ inverse @ read
        return [whole[band.blocks, : len(band.cells), : len(band.cells)] for band in self.each]

    def _summed(self, v: Floats) -> Floats:
        """Return the sums of ``v`` (c, n, any) over the readings of each cell in each block, and behind them 0."""
        found = np.add.reduceat(v[:, self._order], self._starts, axis=1)
        return np.concatenate([found, np.zeros_like(found[:, :1])], axis=1)

    def weighed(self, kernels: list[Floats], got: Losses) -> Floats:
        """Return ``FᵀWF``, (c, features, features), with F as ``feelings`` gives it at the losses ``got``."""
        cells, blocks = got.cell_db.shape[1], len(self._lay.blocks)
        out, first = np.zeros((len(got.cell_db), cells + 2 * blocks, cells + 2 * blocks)), self._lay.starts[:-1]
        for band, kernel in zip(self.each, kernels, strict=True):
            e, d, many = got.exponent[:, first[band.blocks]], got.cell_db[:, band.cells], len(band.blocks)
            across, k = (e**2)[:, :, None] * (kernel @ d[:, None, :, None])[:, :, :, 0], len(band.cells)
            level, bent, alone = np.arange(k, k + many), np.arange(k + many, k + 2 * many), kernel.sum(axis=2)
            inner = np.zeros((len(e), k + 2 * many, k + 2 * many))
            inner[:, :k, :k] = ((e**2) @ kernel.reshape(many, k * k)).reshape(len(e), k, k)
            inner[:, level, :k] = -e[:, :, None] * alone
            inner[:, bent, :k] = across
            inner[:, :k, k:] = inner[:, k:, :k].transpose(0, 2, 1)
            inner[:, level, level] = alone.sum(axis=1)
            inner[:, level, bent] = inner[:, bent, level] = -e * (d @ alone.T)
            inner[:, bent, bent] = (across @ d[:, :, None])[:, :, 0]
            at = np.concatenate([band.cells, cells + band.blocks, cells + blocks + band.blocks])
            out[:, at[:, None], at] = inner
        return out

    def felt(self, got: Losses, weighed: Floats) -> Floats:
        """Return ``FᵀWv``, (c, features, any), of ``Wv`` (c, n, any)."""
        cells, blocks = got.cell_db.shape[1], len(self._lay.blocks)
        out, first = np.zeros((len(weighed), cells + 2 * blocks, weighed.shape[2])), self._lay.starts[:-1]
        if not self.each:
            return out
        sums = self._summed(weighed)
        for band in self.each:
            seen = sums[:, band.pair]
            through = -got.exponent[:, first[band.blocks], None, None] * seen
            out[:, band.cells] = through.sum(axis=1)
            out[:, cells + band.blocks] = seen.sum(axis=2)
            out[:, cells + blocks + band.blocks] = (through * got.cell_db[:, None, band.cells, None]).sum(axis=2)
        return out


LEVEL_DB, LOOSE = 1.0, 0.01
"""Spread of a level's prior as it is worked with, and what is left of a prior's precision where it is loose."""


@dataclass(frozen=True, slots=True)
class Leap:
    """A Gaussian prior and what readings say, one step from a mode of both.

    With the prior's covariance C, the features' slopes B and their weights K, all that is asked of the curvature
    ``C⁻¹ + BᵀKB`` follows from ``1 + K B C Bᵀ``, which is as large as there are features (Woodbury's identity). The
    effects of explanations among the readings are unknowns and features at once, behind the others.
    """

    lay: Layout
    covariance: Spread
    effects: Floats
    moved: Floats
    across: Floats
    grown: Floats
    weights: Floats
    widened: Floats

    @classmethod
    def of(
        cls, lay: Layout, prior: tuple[Spread, Floats], moved: Floats, weights: Floats, loose: Sequence[int] = ()
    ) -> Leap:
        """Return it for a prior (covariances, c of them, and variances of the effects, (c, e)), B and K.

        Of ``loose`` unknowns only ``LOOSE`` of the prior's precision counts. Levels are as good as unknown before they
        are read, too. So wide a prior costs digits: such unknowns are features of their own, their prior is taken as
        narrow, and what that says too much is taken out of K.
        """
        (covariance, effects), weights = (prior[0][range(len(weights))], prior[1]), weights.copy()
        level = np.arange(lay.level.start, lay.level.stop)
        at, wide = level + moved.shape[1] - 2 * len(level), covariance.own[:, level]
        narrow = np.minimum(wide, LEVEL_DB**2)
        covariance.own[:, level] = narrow
        weights[:, at, at] += 1.0 / wide - 1.0 / narrow
        if len(loose):
            moved, weights = _beside(moved, weights, np.array(loose), covariance.own)
        across = covariance.times(moved.transpose(0, 2, 1))
        many = moved.shape[1]
        grown = np.concatenate([weights[:, :, :many] @ (moved @ across), weights[:, :, many:] * effects[:, None]], 2)
        widened = np.log(wide / narrow).sum(axis=1)
        return cls(lay, covariance, effects, moved, across, grown + np.eye(grown.shape[1]), weights, widened)

    def step(self, toward: Floats) -> Floats:
        """Return the step that a pull ``toward`` (c, size + e) asks for."""
        size, many = self.moved.shape[2], self.moved.shape[1]
        own = self.covariance.times(toward[:, :size, None])[:, :, 0]
        fresh = self.effects * toward[:, size:]
        felt = np.concatenate([(self.moved @ own[:, :, None])[:, :, 0], fresh], axis=1)
        back = np.linalg.solve(self.grown, self.weights @ felt[:, :, None])[:, :, 0]
        own -= (self.across @ back[:, :many, None])[:, :, 0]
        out: Floats = np.concatenate([own, fresh - self.effects * back[:, many:]], axis=1)
        return out

    def logdet(self) -> Floats:
        """Return by how much the log determinant of the curvature exceeds that of the prior's precision, (c)."""
        return np.asarray(np.linalg.slogdet(self.grown)[1] + self.widened, dtype=np.float64)

    def inverses(self) -> list[Covariance]:
        """Return the inverses of the curvature."""
        kernel = np.linalg.solve(self.grown, self.weights)
        kernel = 0.5 * (kernel + kernel.transpose(0, 2, 1))
        return [
            Covariance(self.covariance[[i]], self.effects[i], self.across[i], kernel[i]) for i in range(len(kernel))
        ]


@dataclass(frozen=True, slots=True)
class Covariance:
    """The inverse of one curvature, ``C - (A K Aᵀ)``, kept by its parts: whole it is asked for where it is drawn from.

    C is the prior's covariance with the variances of the effects behind it, A (size, many) is C times the slopes of the
    features, and K (many + e, many + e) what the readings make of those.
    """

    prior: Spread
    effects: Floats
    across: Floats
    kernel: Floats

    def dense(self) -> Floats:
        """Return that of the unknowns, (size, size)."""
        many = self.across.shape[1]
        out: Floats = self.prior.dense()[0] - self.across @ self.kernel[:many, :many] @ self.across.T
        return out

    def variances(self, places: Ints) -> Floats:
        """Return those of some unknowns, and of effects behind them."""
        (size, many), found = self.across.shape, np.empty(len(places))
        own, fresh = places < size, places[places >= size] - size
        rows = self.across[places[own]]
        found[own] = self.prior.own[0, places[own]] - ((rows @ self.kernel[:many, :many]) * rows).sum(axis=1)
        found[~own] = self.effects[fresh] * (1.0 - self.effects[fresh] * self.kernel.diagonal()[many + fresh])
        return found


def _beside(moved: Floats, weights: Floats, loose: Ints, variances: Floats) -> tuple[Floats, Floats]:
    """Return B and K with loose unknowns as features of their own, before those of effects."""
    (c, many, size), more = moved.shape, len(loose)
    own = np.zeros((c, more, size))
    own[:, np.arange(more), loose] = 1.0
    at = np.concatenate([np.arange(many), np.arange(many + more, weights.shape[1] + more)])
    out = np.zeros((c, weights.shape[1] + more, weights.shape[1] + more))
    out[:, at[:, None], at] = weights
    out[:, range(many, many + more), range(many, many + more)] = (LOOSE - 1.0) / variances[:, loose]
    return np.concatenate([moved, own], axis=1), out
