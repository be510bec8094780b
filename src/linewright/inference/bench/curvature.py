"""How sharply readings hold the unknowns, worked out by the bands they were taken on.

All that a reading says of cables it says through the loss of its cell, and on one band all meters see the same cells.
So ``JᵀWJ`` is a sum over bands of small matrices: per block the weights of its readings are summed over those of each
cell, per band the blocks are added up, and only then the unknowns come in.
"""

from __future__ import annotations

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.inference.bench.design import Ints, Layout, Losses
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

    def pull(self, kernels: list[Floats], law: Floats, got: Losses, weighed: Floats) -> tuple[Floats, Floats]:
        """Return ``JᵀWJ`` (c, size, size) and ``JᵀWv`` (c, size, any).

        ``law`` are the slopes of the cells' losses (c, cells, size), ``got`` the losses there, ``weighed`` is Wv
        (c, n, any).
        """
        lay, (c, _, size) = self._lay, law.shape
        curved, toward = np.zeros((c, size, size)), np.zeros((c, size, weighed.shape[2]))
        if not self.each:
            return curved, toward
        sums = self._summed(weighed)
        first = lay.starts[:-1]
        for band, kernel in zip(self.each, kernels, strict=True):
            e, d = got.exponent[:, first[band.blocks]], got.cell_db[:, band.cells]
            across, many, k = (
                (e**2)[:, :, None] * (kernel @ d[:, None, :, None])[:, :, :, 0],
                len(band.blocks),
                len(d.T),
            )
            level, bent = np.arange(k, k + many), np.arange(k + many, k + 2 * many)
            alone = kernel.sum(axis=2)
            inner = np.zeros((c, k + 2 * many, k + 2 * many))
            inner[:, :k, :k] = ((e**2) @ kernel.reshape(many, k * k)).reshape(c, k, k)
            inner[:, level, :k] = -e[:, :, None] * alone
            inner[:, bent, :k] = across
            inner[:, :k, k:] = inner[:, k:, :k].transpose(0, 2, 1)
            inner[:, level, level] = alone.sum(axis=1)
            inner[:, level, bent] = inner[:, bent, level] = -e * (d @ alone.T)
            inner[:, bent, bent] = (across @ d[:, :, None])[:, :, 0]
            moved = np.zeros((c, k + 2 * many, size))
            moved[:, :k] = law[:, band.cells]
            moved[:, level, lay.level.start + band.blocks] = 1.0
            moved[:, bent, lay.exponent.start + band.blocks] = 1.0
            moved[:, bent, lay.bend] = ~lay.direct[band.blocks]
            seen = sums[:, band.pair]
            through = -e[:, :, None, None] * seen
            felt = [through.sum(axis=1), seen.sum(axis=2), (through * d[:, None, :, None]).sum(axis=2)]
            curved += moved.transpose(0, 2, 1) @ (inner @ moved)
            toward += moved.transpose(0, 2, 1) @ np.concatenate(felt, axis=1)
        return curved, toward
