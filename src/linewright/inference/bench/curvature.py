"""How sharply readings hold the unknowns, worked out by the bands they were taken on.

All that a reading says of cables it says through the loss of its cell, and on one band all meters see the same cells.
So ``JᵀWJ`` is a sum over bands of small matrices: per block the weights of its readings are summed over those of each
cell, per band the blocks are added up, and only then the unknowns come in.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.core.arrays import Floats, distinct
from linewright.core.frozen import dataclass
from linewright.inference.bench.design import MOST_ECHO, Ints, Layout, LossBatch, Spread
from linewright.inference.bench.insertion import RIVALS
from linewright.inference.bench.noise import Weights


@dataclass(frozen=True, slots=True)
class BandBlocks:
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
            BandBlocks(
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

    def weighed(self, kernels: list[Floats], got: LossBatch) -> Floats:
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

    def felt(self, got: LossBatch, weighed: Floats) -> Floats:
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


FEW = 12
"""Unknowns that move no more features than this are gone through pair by pair; of the others all pairs are taken."""


class Pattern:
    """Which unknowns move which features, the only slopes that are kept: a cell moves with some twenty unknowns.

    Features are those of ``design.features``; behind them the ``loose`` unknowns, each a feature of its own. Slopes
    are (c, entries), one for each feature and unknown that moves it, those of an unknown together.
    """

    def __init__(self, lay: Layout, loose: Sequence[int] = ()) -> None:
        s, blocks, cells = lay.strands, np.arange(len(lay.blocks)), len(lay.cells.fixed)
        self.lay, self.loose, self.many = lay, np.array(loose, dtype=np.int64), cells + 2 * len(blocks) + len(loose)
        self._cell, self._strand = np.nonzero(lay.cells.strands)
        at, piece, stock = self._strand, s.piece[self._strand], s.stock[self._strand]
        self._through = lay.cells.strands[self._cell, at]
        own = [lay.mismarked.start + r * len(lay.sheet.pieces) + piece for r in range(len(RIVALS))]
        self._marked = [lay.marked_log[at, mine - lay.mismarked.start] for mine in own]
        self._plugged, self._jumped = np.flatnonzero(lay.cells.connector_db), np.flatnonzero(lay.cells.jumper_db)
        self._echoed = np.nonzero(lay.echoed)
        near, far = np.nonzero(lay.reflectors[:, self._echoed[1]])
        self._reflected = self._echoed[0][far], self._echoed[1][far], near
        steady, bent = np.nonzero(lay.steady), cells + len(blocks) + blocks
        self._steady = np.concatenate([lay.steady[steady], np.ones(2 * len(blocks)), ~lay.direct, np.ones(len(loose))])
        starts = (lay.departure.start + at, lay.tilt.start + stock, lay.growth.start + stock, lay.own.start + piece,
                  lay.wet.start + stock, *own)  # fmt: skip
        entries = [
            *((self._cell, unknown) for unknown in starts),
            (self._plugged, np.full(len(self._plugged), lay.connector)),
            (self._jumped, np.full(len(self._jumped), lay.jumper)),
            (self._echoed[0], lay.excess.start + self._echoed[1]),
            (self._reflected[0], near),
            steady,
            (cells + np.arange(2 * len(blocks)), lay.level.start + np.arange(2 * len(blocks))),
            (bent, np.full(len(blocks), lay.bend)),
            (self.many - len(loose) + np.arange(len(loose)), self.loose),
        ]
        feature, unknown = (np.concatenate(side).astype(np.int64) for side in zip(*entries, strict=True))
        self._order = np.lexsort((feature, unknown))
        key = (unknown * self.many + feature)[self._order]
        self._met = np.flatnonzero(np.diff(key, prepend=-1))
        self.unknown, self.feature = np.divmod(key[self._met], self.many)
        self._first = np.flatnonzero(np.diff(self.unknown, prepend=-1))
        self._by_feature = np.argsort(self.feature, kind="stable")
        self._each = np.flatnonzero(np.diff(self.feature[self._by_feature], prepend=-1))
        self._pair_up()

    def _pair_up(self) -> None:
        """Find the pairs of features that an unknown moves, by the place they add to, and the unknowns of many."""
        count = np.diff(np.append(self._first, len(self.unknown)))
        first, each = np.repeat(self._first, count), np.repeat(count, count)
        apart = np.zeros(self.lay.size, dtype=bool)
        apart[self.lay.exponent] = apart[self.lay.excess] = True
        pairs = (each <= FEW) & ~apart[self.unknown]
        few, self._rest = np.flatnonzero(pairs), np.flatnonzero(~pairs)
        self._wide = np.flatnonzero((each > FEW) & ~apart[self.unknown])
        self.wide = distinct(self.unknown[self._wide])
        left = np.repeat(few, each[few])
        before = np.repeat(np.cumsum(each[few]) - each[few], each[few])
        right = first[left] + np.arange(len(left)) - before
        half = self.feature[left] <= self.feature[right]
        left, right = left[half], right[half]
        place = self.feature[left] * self.many + self.feature[right]
        order = np.argsort(place, kind="stable")
        self._left, self._right, place = left[order], right[order], place[order]
        self._sums = np.flatnonzero(np.diff(place, prepend=-1))
        self._place = np.divmod(place[self._sums], self.many)
        self._excess = np.flatnonzero((self.unknown >= self.lay.excess.start) & (self.unknown < self.lay.excess.stop))

    def slopes(self, x: Floats, got: LossBatch) -> Floats:
        """Return how features move with unknowns at ``x`` (c, size), (c, entries)."""
        lay, at, (cell, echo, near) = self.lay, self._strand, self._reflected
        cable = self._through * got.strand_db[:, at]
        parts, share, excess = cable * got.lift[:, at], lay.echo_share(x), x[:, lay.excess]
        moves = (share - lay.always < MOST_ECHO) & (share > lay.always)
        found = [
            cable * got.unrest[:, at],
            cable * got.steeper[:, at],
            parts,
            parts,
            self._through * (got.dielectric_db * got.lift)[:, at],
            *(parts * marked for marked in self._marked),
            got.connector_db[:, self._plugged],
            -got.jumper_db[:, self._jumped],
            lay.echoed[self._echoed] * share[:, self._echoed[1]],
            lay.echoed[cell, echo] * lay.reflectors[near, echo] * np.where(moves, excess, 0.0)[:, echo],
            np.broadcast_to(self._steady, (len(x), len(self._steady))),
        ]
        out: Floats = np.add.reduceat(np.concatenate(found, axis=1)[:, self._order], self._met, axis=1)
        return out

    def felt(self, slopes: Floats, move: Floats) -> Floats:
        """Return by how much features move with unknowns ``move`` (c, size), (c, features)."""
        out = np.zeros((len(slopes), self.many))
        each = (slopes * move[:, self.unknown])[:, self._by_feature]
        out[:, self.feature[self._by_feature[self._each]]] = np.add.reduceat(each, self._each, axis=1)
        return out

    def back(self, slopes: Floats, pull: Floats) -> Floats:
        """Return how a pull at the features (c, features or the first of them) pulls at the unknowns, (c, size)."""
        out = np.zeros((len(slopes), self.lay.size))
        pull = np.concatenate([pull, np.zeros((len(pull), self.many - pull.shape[1]))], axis=1)
        out[:, self.unknown[self._first]] = np.add.reduceat(slopes * pull[:, self.feature], self._first, axis=1)
        return out

    def columns(self, slopes: Floats, which: Ints, first: int, count: int) -> Floats:
        """Return the slopes of ``count`` unknowns from ``first`` on, their entries ``which``, (c, features, count)."""
        out = np.zeros((len(slopes), self.many, count))
        out[:, self.feature[which], self.unknown[which] - first] = slopes[:, which]
        return out

    def dense(self, slopes: Floats) -> Floats:
        """Return all slopes, (c, features, size)."""
        return self.columns(slopes, np.arange(len(self.unknown)), 0, self.lay.size)

    def spread(self, slopes: Floats, covariance: Spread) -> Floats:
        """Return the covariance of the features that such a one of the unknowns makes, (c, features, features)."""
        out, lay = np.zeros((len(slopes), self.many, self.many)), self.lay
        each = (slopes * covariance.own[:, self.unknown])[:, self._left] * slopes[:, self._right]
        row, column = self._place
        out[:, row, column] = out[:, column, row] = np.add.reduceat(each, self._sums, axis=1)
        if len(self.wide):
            wide = np.zeros((len(slopes), self.many, len(self.wide)))
            at = np.searchsorted(self.wide, self.unknown[self._wide])
            wide[:, self.feature[self._wide], at] = slopes[:, self._wide]
            out += (wide * covariance.own[:, None, self.wide]) @ wide.transpose(0, 2, 1)
        (_, exponents), (_, excess) = covariance.blocks
        bent = slice(len(lay.cells.fixed) + len(lay.blocks), len(lay.cells.fixed) + 2 * len(lay.blocks))
        out[:, bent, bent] += exponents
        if len(self._excess):
            echo = self.columns(slopes, self._excess, lay.excess.start, len(lay.echoing))
            out += echo @ excess @ echo.transpose(0, 2, 1)
        return out

    def squares(self, slopes: Floats, matrices: Floats) -> Floats:
        """Return ``bᵀMb`` of every unknown's slopes b (entries), for each of some symmetric matrices, (any, size)."""
        out, unknown = np.zeros((len(matrices), self.lay.size)), self.unknown[self._left]
        left, right = self.feature[self._left], self.feature[self._right]
        each = matrices[:, left, right] * (slopes[self._left] * slopes[self._right] * np.where(left == right, 1.0, 2.0))
        for i, mine in enumerate(each):
            out[i] = np.bincount(unknown, mine, self.lay.size)
        others = distinct(self.unknown[self._rest])
        columns = np.zeros((self.many, len(others)))
        columns[self.feature[self._rest], np.searchsorted(others, self.unknown[self._rest])] = slopes[self._rest]
        out[:, others] = (columns * (matrices @ columns)).sum(axis=1)
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

    pattern: Pattern
    covariance: Spread
    effects: Floats
    slopes: Floats
    grown: Floats
    weights: Floats
    widened: Floats

    @classmethod
    def of(cls, pattern: Pattern, prior: tuple[Spread, Floats], slopes: Floats, weights: Floats) -> Leap:
        """Return it for a prior (covariances, c of them, and variances of the effects, (c, e)), B and K.

        Of loose unknowns only ``LOOSE`` of the prior's precision counts. Levels are as good as unknown before they
        are read, too. So wide a prior costs digits: such unknowns are features of their own, their prior is taken as
        narrow, and what that says too much is taken out of K.
        """
        lay = pattern.lay
        (covariance, effects), weights = (prior[0][range(len(weights))], prior[1]), weights.copy()
        level = np.arange(lay.level.start, lay.level.stop)
        at, wide = len(lay.cells.fixed) + level, covariance.own[:, level]
        narrow = np.minimum(wide, LEVEL_DB**2)
        covariance.own[:, level] = narrow
        weights[:, at, at] += 1.0 / wide - 1.0 / narrow
        if len(pattern.loose):
            weights = _beside(weights, pattern, covariance.own)
        many = pattern.many
        apart = weights[:, :, :many] @ pattern.spread(slopes, covariance)
        grown = np.concatenate([apart, weights[:, :, many:] * effects[:, None]], axis=2)
        widened = np.log(wide / narrow).sum(axis=1)
        return cls(pattern, covariance, effects, slopes, grown + np.eye(grown.shape[1]), weights, widened)

    def step(self, toward: Floats) -> Floats:
        """Return the step that a pull ``toward`` (c, size + e) asks for."""
        size, many = self.covariance.own.shape[1], self.pattern.many
        own = self.covariance.times(toward[:, :size, None])[:, :, 0]
        fresh = self.effects * toward[:, size:]
        felt = np.concatenate([self.pattern.felt(self.slopes, own), fresh], axis=1)
        back = np.linalg.solve(self.grown, self.weights @ felt[:, :, None])[:, :, 0]
        own -= self.covariance.times(self.pattern.back(self.slopes, back[:, :many])[:, :, None])[:, :, 0]
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
            Covariance(self.pattern, self.covariance[[i]], self.effects[i], self.slopes[i], kernel[i])
            for i in range(len(kernel))
        ]


STRIP = 256
"""How many columns of a triangular matrix are taken at once."""


@dataclass(frozen=True, slots=True)
class Covariance:
    """The inverse of one curvature, ``C - C Bᵀ K B C``, kept by its parts: it is made whole where it is drawn from.

    C is the prior's covariance with the variances of the effects behind it, B the slopes of the features, and K
    (features + e, features + e) what the readings make of those.
    """

    pattern: Pattern
    prior: Spread
    effects: Floats
    slopes: Floats
    kernel: Floats

    def dense(self) -> Floats:
        """Return that of the unknowns, (size, size)."""
        across, told = self._across()
        out: Floats = self.prior.dense()[0] - told @ across.T
        return out

    def root(self) -> Floats:
        """Return its lower triangular root, (size, size); of a large one no more than the lower half is made."""
        across, told = self._across()
        out = self.prior.dense()[0]
        for k in range(0, len(out), STRIP):
            out[k:, k : k + STRIP] -= told[k:] @ across[k : k + STRIP].T
        return np.linalg.cholesky(out)

    def _across(self) -> tuple[Floats, Floats]:
        """Return ``C Bᵀ`` and ``C Bᵀ K``, (size, features)."""
        many = self.pattern.many
        across = self.prior.times(self.pattern.dense(self.slopes[None]).transpose(0, 2, 1))[0]
        return across, across @ self.kernel[:many, :many]

    def variances(self, places: Ints) -> Floats:
        """Return those of some unknowns that hang together with no other, and of effects behind them."""
        (size, many), found = (self.prior.own.shape[1], self.pattern.many), np.empty(len(places))
        own, fresh = places < size, places[places >= size] - size
        mine, rows = places[own], np.zeros((int(own.sum()), many))
        for k, unknown in enumerate(mine.tolist()):
            at = slice(*np.searchsorted(self.pattern.unknown, [unknown, unknown + 1]))
            rows[k, self.pattern.feature[at]] = self.slopes[at]
        variance = self.prior.own[0, mine]
        found[own] = variance - variance**2 * ((rows @ self.kernel[:many, :many]) * rows).sum(axis=1)
        found[~own] = self.effects[fresh] * (1.0 - self.effects[fresh] * self.kernel.diagonal()[many + fresh])
        return found


def _beside(weights: Floats, pattern: Pattern, variances: Floats) -> Floats:
    """Return K with loose unknowns as features of their own, before those of effects."""
    more, loose = len(pattern.loose), pattern.loose
    many = pattern.many - more
    at = np.concatenate([np.arange(many), np.arange(many + more, weights.shape[1] + more)])
    out = np.zeros((len(weights), weights.shape[1] + more, weights.shape[1] + more))
    out[:, at[:, None], at] = weights
    out[:, range(many, many + more), range(many, many + more)] = (LOOSE - 1.0) / variances[:, loose]
    return out
