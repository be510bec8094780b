"""Where each unknown stands in the vector of unknowns, and which of them each observation feels.

Unknowns, in order: block levels (dB), log detector exponents, log multipliers of each stock's law and of its
dielectric part, the logs of connector loss and of jumper loss, the extra loss of each piece's joints (dB), the log
departure of each cable at each frequency, the losses of known attenuators (dB), the sizes of shaped faults, a bad
contact in the jumper (dB), a bend that all detectors share (log), what lines of another impedance take beyond their
matched loss (dB), the log factor by which a piece differs from its stock, whether it is a thin or a thick 75-ohm line
marked as another, and how much steeper than new the wear of each stock is. A *cell* is one path at one frequency;
a *strand* is one piece at one frequency.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from functools import cached_property
from math import log10

import numpy as np
from numpy.typing import NDArray

from linewright.core.arrays import Floats, distinct, median
from linewright.core.frozen import dataclass
from linewright.core.nouns.bench import BenchSheet, Piece
from linewright.core.nouns.line import AttenuationLaw
from linewright.inference.bench.faults import PieceFault, echoes_of, excesses, faults_of
from linewright.inference.bench.insertion import (
    RIVALS,
    excess_of,
    is_other,
    rival_excess_db,
    rival_excess_of,
    rival_log,
    rival_read,
)
from linewright.inference.bench.observations import Block, Path
from linewright.inference.priors import UNKNOWN_LAW, Priors

# Where each unknown stands in the vector of unknowns, and which of them each observation feels

Ints = NDArray[np.int64]

Cell = tuple[Path, float, bool]

MOST_ECHO = 1.5
"""How much more than a fault of the size that readings show may echo."""
JOINT_HZ = 30e6
"""Where the loss of a bad joint is stated."""


@dataclass(frozen=True, slots=True)
class Strands:
    """Pieces at frequencies: conductor and dielectric loss in dB when new, and whose they are."""

    piece: Ints
    stock: Ints
    frequency_hz: Floats
    conductor_db: Floats
    dielectric_db: Floats


@dataclass(frozen=True, slots=True)
class Cells:
    """Paths at frequencies: which strands lie in them, how many connectors, the jumper they replace, attenuators.

    ``fixed`` names each: its path, its frequency, and whether its loss is told directly rather than by a reference.
    """

    strands: Floats
    connector_db: Floats
    jumper_db: Floats
    attenuators: Floats
    fixed: list[Cell]


@dataclass(frozen=True)
class Layout:
    """The whole arrangement. ``n`` observations, sorted by block; ``size`` unknowns."""

    sheet: BenchSheet
    blocks: list[Block]
    strands: Strands
    cells: Cells
    y_db: Floats
    width_db: Floats
    upper_db: Floats
    unsure_db: Floats
    bottom: NDArray[np.bool_]
    count: Floats
    block: Ints
    cell: Ints
    starts: Ints
    stocks: list[str]
    attenuators: list[str]
    strand_of: dict[tuple[str, float], int]
    faults: tuple[PieceFault, ...] = ()
    echoes_db: Floats = field(default_factory=lambda: np.zeros(0))
    contact_db: Floats = field(default_factory=lambda: np.zeros(0))
    suspects: dict[int, int] = field(default_factory=dict)
    """Which pieces read as a rival does, a line of another impedance, whatever they are marked; and which rival."""
    unruly: float = 0.0
    """How much further a worn cable leaves its law: spread added per unit of log growth, over the usual spread."""

    @cached_property
    def n(self) -> int:
        """Number of observations."""
        return len(self.y_db)

    @cached_property
    def direct(self) -> NDArray[np.bool_]:
        """Whether each block tells losses by itself, as a test from one end does."""
        return np.array([b.direct for b in self.blocks], dtype=bool)

    @cached_property
    def level(self) -> slice:
        """Block levels."""
        return slice(0, len(self.blocks))

    @cached_property
    def exponent(self) -> slice:
        """Log exponents."""
        return slice(len(self.blocks), 2 * len(self.blocks))

    @cached_property
    def growth(self) -> slice:
        """Log multipliers of the stocks' laws."""
        start = 2 * len(self.blocks)
        return slice(start, start + len(self.stocks))

    @cached_property
    def wet(self) -> slice:
        """Extra log multipliers of the stocks' dielectric parts."""
        return slice(self.growth.stop, self.growth.stop + len(self.stocks))

    @cached_property
    def connector(self) -> int:
        """Log of connector loss against its usual value."""
        return int(self.wet.stop)

    @cached_property
    def jumper(self) -> int:
        """Log of jumper loss against its usual value."""
        return self.connector + 1

    @cached_property
    def joint(self) -> slice:
        """Extra loss of each piece's joints at 30 MHz, dB: alike on all bands for every piece, then growing with √f."""
        return slice(self.jumper + 1, self.jumper + 1 + 2 * len(self.sheet.pieces))

    @cached_property
    def departure(self) -> slice:
        """Log departures of the strands."""
        return slice(self.joint.stop, self.joint.stop + len(self.strands.piece))

    @cached_property
    def pad(self) -> slice:
        """Losses of the attenuators."""
        return slice(self.departure.stop, self.departure.stop + len(self.attenuators))

    @cached_property
    def fault(self) -> slice:
        """Sizes of the faults that have a shape of their own."""
        return slice(self.pad.stop, self.pad.stop + len(self.faults))

    @cached_property
    def bad_jumper(self) -> int:
        """Extra loss of a bad contact in the jumper, dB."""
        return int(self.fault.stop)

    @cached_property
    def bend(self) -> int:
        """Log exponent that all detectors share."""
        return self.bad_jumper + 1

    @cached_property
    def echoing(self) -> Ints:
        """The strands that echo: of another impedance, or with a fault that reflects. The bench shows more or less.

        Those that would echo as a rival stand behind them; a strand may be in both.
        """
        other = np.array([is_other(self.sheet.pieces[int(p)]) for p in self.strands.piece], dtype=bool)
        return np.concatenate([np.flatnonzero(other | (self.echoes_db > 0.0)), self.rippling]).astype(np.int64)

    @cached_property
    def rippling(self) -> Ints:
        """The strands of pieces that read as a rival does."""
        return np.flatnonzero(np.isin(self.strands.piece, list(self.suspects)) & self.read).astype(np.int64)

    @cached_property
    def echoed(self) -> Floats:
        """Which of those strands lie in each cell, (cells, echoing); none in one whose loss is told directly."""
        direct = np.array([told for _, _, told in self.cells.fixed], dtype=bool)
        return np.asarray(np.where(direct[:, None], 0.0, self.cells.strands[:, self.echoing]))

    @cached_property
    def reflectors(self) -> Floats:
        """By how much each unknown, per unit, makes each of those strands echo, (size, echoing).

        A gap in the conductor of its piece, where one is likely, or else a bad contact, per its loss; for those that
        would echo as a rival, that it is one.
        """
        out, at = np.zeros((self.size, len(self.echoing))), self.strands.piece[self.echoing]
        contact, own = self.contact_db[self.echoing], len(at) - len(self.rippling)
        for k, fault in enumerate(self.faults):
            if fault.shape.cause == "open conductor":
                out[self.fault.start + k] = np.where((at == fault.piece) & (contact == 0.0), 1.0, 0.0)
        bad = np.flatnonzero(contact)
        out[self.joint.start + at[bad], bad] = 1.0 / contact[bad]
        out[:, own:] = 0.0
        for rival in range(len(RIVALS)):
            out[self.mismarked.start + rival * len(self.sheet.pieces) + at[own:], np.arange(own, len(at))] = 1.0
        return np.where(self.always > 0.0, 0.0, out)

    @cached_property
    def always(self) -> Floats:
        """Which of those strands echo whatever is the matter, 1 or 0: those of another impedance."""
        return np.array([float(is_other(self.sheet.pieces[int(p)])) for p in self.strands.piece[self.echoing]])

    def echo_share(self, x: Floats) -> Floats:
        """Return how much of its excess each of those strands shows for unknowns ``x`` (c, size): no fault, no echo."""
        return np.asarray(self.always + (x @ self.reflectors).clip(0.0, MOST_ECHO))

    @cached_property
    def excess(self) -> slice:
        """What each of those strands takes beyond its matched loss, dB; of a fault, at its likely size."""
        return slice(self.bend + 1, self.bend + 1 + len(self.echoing))

    @cached_property
    def own(self) -> slice:
        """Log factor by which each piece differs from its stock: its length is not what was said, or its wear."""
        return slice(self.excess.stop, self.excess.stop + len(self.sheet.pieces))

    @cached_property
    def mismarked(self) -> slice:
        """How far each piece is a rival of another impedance, all pieces for each rival: 1 if it is one marked so."""
        return slice(self.own.stop, self.own.stop + len(RIVALS) * len(self.sheet.pieces))

    @cached_property
    def tilt(self) -> slice:
        """By how much the log of each stock's wear grows over a decade of frequency, per unit of that log."""
        return slice(self.mismarked.stop, self.mismarked.stop + len(self.stocks))

    @cached_property
    def size(self) -> int:
        """Number of unknowns."""
        return int(self.tilt.stop)

    @cached_property
    def decades(self) -> Floats:
        """How many decades of frequency each strand lies above 30 MHz."""
        return np.asarray(np.log10(self.strands.frequency_hz / JOINT_HZ))

    @cached_property
    def marked_db(self) -> Floats:
        """What each piece of 50 ohm in a cell takes beyond its matched loss as each rival, dB, (cells, rivals)."""
        s, pieces, found = self.strands, self.sheet.pieces, []
        direct = np.array([told for _, _, told in self.cells.fixed], dtype=bool)
        for rival in RIVALS:
            more = [
                0.0 if (piece := pieces[int(p)]).line is None or is_other(piece) else rival_excess_db(piece, rival, f)
                for p, f in zip(s.piece, s.frequency_hz, strict=True)
            ]
            found.append(np.where(direct[:, None], 0.0, (self.cells.strands * np.array(more)) @ self.piece_of))
        return np.concatenate(found, axis=1)

    @cached_property
    def marked_log(self) -> Floats:
        """What the log of each piece's loss gains as each rival, which has a law of its own, (strands, rivals)."""
        s, columns = self.strands, []
        for rival in RIVALS:
            each = [
                rival_log(p, rival, s.frequency_hz[s.piece == i])
                if p.line is not None and np.any(s.piece == i)
                else 0.0
                for i, p in enumerate(self.sheet.pieces)
            ]
            columns.append(self.piece_of * np.array(each))
        return np.concatenate(columns, axis=1)

    @cached_property
    def piece_of(self) -> Floats:
        """Which piece each strand is of, (strands, pieces), 1 or 0."""
        return np.eye(len(self.sheet.pieces))[self.strands.piece]

    @cached_property
    def fault_db(self) -> Floats:
        """What each fault adds to each strand, dB per unit, (faults, strands)."""
        return np.array([f.strand_db for f in self.faults]).reshape(len(self.faults), len(self.strands.piece))

    @cached_property
    def jumper_out(self) -> Floats:
        """Whether each cell has the jumper taken out, 1 or 0."""
        replaced = self.sheet.reference.in_place == "replaced"
        return np.array([1.0 if path and not direct and replaced else 0.0 for path, _, direct in self.cells.fixed])

    @cached_property
    def root(self) -> Floats:
        """The square root of each strand's frequency over 30 MHz: how a joint of that kind grows."""
        return np.asarray(np.sqrt(self.strands.frequency_hz / JOINT_HZ))

    @cached_property
    def read(self) -> NDArray[np.bool_]:
        """Whether each strand lies in some path that was read."""
        return np.asarray((self.cells.strands > 0).any(axis=0))

    @cached_property
    def doubt(self) -> Floats:
        """Spread of the log by which each strand's type is less well known at its frequency than it usually is."""
        laws = [law_of(piece) for piece in self.sheet.pieces]
        sides = [laws[int(p)].beyond(f) for p, f in zip(self.strands.piece, self.strands.frequency_hz, strict=True)]
        return np.array([np.hypot(below, above) / np.sqrt(2.0) for below, above in sides], dtype=np.float64)

    @cached_property
    def stock_of(self) -> Floats:
        """Which stock each strand is of, (strands, stocks), 1 or 0."""
        return np.eye(len(self.stocks))[self.strands.stock]

    @cached_property
    def steady(self) -> Floats:
        """How each cell's loss moves with each unknown where that is always the same, (cells, size); 0 elsewhere."""
        piece_of, through = self.piece_of, self.cells.strands
        out = np.zeros((len(through), self.size))
        out[:, self.joint] = np.concatenate([through @ piece_of, (through * self.root) @ piece_of], axis=1)
        out[:, self.pad] = self.cells.attenuators
        out[:, self.fault] = through @ self.fault_db.T
        out[:, self.bad_jumper] = -self.jumper_out
        out[:, self.mismarked] = self.marked_db
        return out

    @cached_property
    def reference(self) -> NDArray[np.bool_]:
        """Whether each observation is one of the reference, (n)."""
        return np.array([not path for path, _, _ in self.cells.fixed], dtype=bool)[self.cell]

    @cached_property
    def kin(self) -> NDArray[np.bool_]:
        """Which stocks lie in the path of each observation, (n, stocks)."""
        return np.asarray(self.cells.strands @ self.stock_of > 0)[self.cell]

    def slice_of(self, block: int) -> slice:
        """Return where a block's observations stand."""
        return slice(int(self.starts[block]), int(self.starts[block + 1]))


def law_of(piece: Piece) -> AttenuationLaw:
    """Return the law a piece is claimed to follow, or the wide guess for an unknown one."""
    return piece.line.law if piece.line is not None else UNKNOWN_LAW


def _strands(sheet: BenchSheet) -> tuple[Strands, list[str]]:
    """Return a strand for every piece at every frequency it was read at, alone or joined."""
    stocks = list(dict.fromkeys(p.stock_name for p in sheet.pieces))
    read_at: dict[str, set[float]] = {p.tag: set() for p in sheet.pieces}
    for path, f in {(r.path, r.frequency_hz) for r in sheet.readings}:
        for tag in path:
            read_at.get(tag, set()).add(f)
    rows = []
    for i, piece in enumerate(sheet.pieces):
        frequencies = sorted(read_at[piece.tag])
        conductor, dielectric = law_of(piece).parts_db_per_m(np.array(frequencies))
        stock = stocks.index(piece.stock_name)
        rows += [
            (i, stock, f, piece.length_m * c, piece.length_m * d)
            for f, c, d in zip(frequencies, conductor, dielectric, strict=True)
        ]
    table = np.array(rows, dtype=float).reshape(len(rows), 5)
    piece_, stock_ = table[:, 0].astype(np.int64), table[:, 1].astype(np.int64)
    return Strands(piece_, stock_, table[:, 2], np.maximum(table[:, 3], 1e-9), table[:, 4]), stocks


def connectors_in(sheet: BenchSheet, path: Path) -> int:
    """Return how many connectors a path holds: those of its pieces and one more for every joint."""
    own = {p.tag: p.connectors for p in sheet.pieces}
    return sum(own.get(tag, 0) for tag in path) + max(0, len(path) - 1)


def _cells(sheet: BenchSheet, fixed: list[Cell], strand_of: dict[tuple[str, float], int], priors: Priors) -> Cells:
    strands = np.zeros((len(fixed), len(strand_of)))
    pads = np.zeros((len(fixed), len(sheet.attenuators)))
    where = {a.tag: i for i, a in enumerate(sheet.attenuators)}
    connectors, jumpers = np.zeros(len(fixed)), np.zeros(len(fixed))
    for i, (path, f, direct) in enumerate(fixed):
        for tag in path:
            if tag in where:
                pads[i, where[tag]] += 1.0
            else:
                strands[i, strand_of[tag, f]] += 1.0
        replaced = bool(path) and not direct and sheet.reference.in_place == "replaced"
        plugs = connectors_in(sheet, path) - (jumper_connectors(sheet) if replaced else 0)
        connectors[i] = plugs * priors.connector_db_per_sqrt_mhz * np.sqrt(f / 1e6)
        jumpers[i] = jumper_db(sheet, f) if replaced else 0.0
    return Cells(strands, connectors, jumpers, pads, fixed)


def jumper_connectors(sheet: BenchSheet) -> int:
    """Return how many connectors the reference jumper has: two, if there is a jumper at all."""
    return 2 if sheet.reference.line is not None and sheet.reference.length_m > 0 else 0


def jumper_connectors_db(sheet: BenchSheet, frequency_hz: float, priors: Priors) -> float:
    """Return what the jumper's connectors usually lose, dB."""
    return float(jumper_connectors(sheet) * priors.connector_db_per_sqrt_mhz * np.sqrt(frequency_hz / 1e6))


def jumper_db(sheet: BenchSheet, frequency_hz: float) -> float:
    """Return the loss of the reference jumper when new, dB; zero when nobody said what it is."""
    line = sheet.reference.line
    return sheet.reference.length_m * float(line.law.db_per_m(frequency_hz)) if line is not None else 0.0


def lay_out(sheet: BenchSheet, blocks: list[Block], priors: Priors) -> Layout:
    """Arrange a sheet's living blocks as arrays."""
    strands, stocks = _strands(sheet)
    tags = [p.tag for p in sheet.pieces]
    strand_of = {
        (tags[int(p)], float(f)): i for i, (p, f) in enumerate(zip(strands.piece, strands.frequency_hz, strict=True))
    }
    flat = [(i, o, b) for i, b in enumerate(blocks) for o in b.observations]
    cells = [(tuple(sorted(o.path)), b.frequency_hz, b.direct) for _, o, b in flat]
    fixed = list(dict.fromkeys(cells))
    index = {key: i for i, key in enumerate(fixed)}
    sizes = [len(b.observations) for b in blocks]
    new_db = strands.conductor_db + strands.dielectric_db
    echoes_db, contact_db = echoes_of(sheet, blocks, strand_of, new_db, priors)
    over = excesses(blocks, {key: float(new_db[i]) for key, i in strand_of.items()})
    return Layout(
        sheet=sheet,
        blocks=blocks,
        strands=strands,
        cells=_cells(sheet, fixed, strand_of, priors),
        y_db=np.array([o.middle_db for _, o, _ in flat], dtype=float),
        width_db=np.array([o.width_db if not o.bottom else 0.0 for _, o, _ in flat], dtype=float),
        upper_db=np.array([o.upper_db for _, o, _ in flat], dtype=float),
        unsure_db=np.array([o.unsure_db for _, o, _ in flat], dtype=float),
        bottom=np.array([o.bottom for _, o, _ in flat], dtype=bool),
        count=np.array([len(o.rows) for _, o, _ in flat], dtype=float),
        block=np.array([i for i, _, _ in flat], dtype=np.int64),
        cell=np.array([index[c] for c in cells], dtype=np.int64),
        starts=np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
        stocks=stocks,
        attenuators=[a.tag for a in sheet.attenuators],
        strand_of=strand_of,
        faults=faults_of(sheet, blocks, strand_of, new_db, priors),
        echoes_db=echoes_db,
        contact_db=contact_db,
        suspects=_suspects(sheet, strand_of, new_db, over),
        unruly=priors.worn_departure / priors.departure,
    )


def _suspects(
    sheet: BenchSheet,
    strand_of: dict[tuple[str, float], int],
    new_db: Floats,
    over: dict[tuple[str, float], list[float]],
) -> dict[int, int]:
    """Return the pieces of 50 ohm whose readings, taken at their word, fit a rival as well as the claim; and which."""
    found: dict[int, int] = {}
    for at, piece in enumerate(sheet.pieces):
        mine = sorted((f, i) for (tag, f), i in strand_of.items() if tag == piece.tag and (tag, f) in over)
        if piece.line is None or is_other(piece) or len(mine) < 2:
            continue
        new = new_db[[i for _, i in mine]]
        seen = new + np.array([float(median(over[piece.tag, f])) for f, _ in mine])
        rival = rival_read(piece, np.array([f for f, _ in mine]), new, seen)
        if rival is not None:
            found[at] = rival
    return found


# What the readings should be, given the unknowns; and how they move with each of them. Batches of unknowns at once

EVERY = slice(None)
REACH = 4.0
"""Logs are held within this: a factor of e⁴ either way is nobody's cable."""


@dataclass(frozen=True, slots=True)
class LossBatch:
    """Losses in dB for a batch of ``c`` unknown vectors.

    The cable of each strand (c, s) and the dielectric part of it; the log of its departure from its law, by what an
    unknown departure is multiplied there (``unrest``), by what an unknown tilt is (``steeper``) and what its log gains
    as the law's grows (``lift``); its joints' extra loss; connectors and jumper of each cell (c, k), the cell's whole
    loss against the reference, and the exponent of each observation's detector (c, n).
    """

    strand_db: Floats
    dielectric_db: Floats
    departure: Floats
    unrest: Floats
    steeper: Floats
    lift: Floats
    joint_db: Floats
    connector_db: Floats
    jumper_db: Floats
    cell_db: Floats
    exponent: Floats


def losses(lay: Layout, x: Floats) -> LossBatch:
    """Return the losses of strands and cells for unknowns ``x`` of shape (c, size)."""
    s, k = lay.strands, lay.cells
    times = np.exp(x.clip(-REACH, REACH))
    law = times[:, lay.growth][:, s.stock] * times[:, lay.own][:, s.piece]
    law = law * np.exp((x[:, lay.mismarked] @ lay.marked_log.T).clip(-REACH, REACH))
    dielectric = law * times[:, lay.wet][:, s.stock] * s.dielectric_db
    strand = law * s.conductor_db + dielectric
    rise = np.log(np.maximum(strand / (s.conductor_db + s.dielectric_db), 1.0))
    unrest = np.sqrt(1.0 + (lay.unruly * rise) ** 2)
    tilt, steeper = x[:, lay.tilt][:, s.stock], rise * lay.decades
    departure = (x[:, lay.departure] * unrest + tilt * steeper).clip(-REACH, REACH)
    lift = 1.0 + x[:, lay.departure] * lay.unruly**2 * rise / unrest + np.where(rise > 0.0, tilt * lay.decades, 0.0)
    strand, dielectric = strand * np.exp(departure), dielectric * np.exp(departure)
    joint = x[:, lay.joint].reshape(len(x), 2, len(lay.sheet.pieces))[:, :, s.piece]
    joint = joint[:, 0] + joint[:, 1] * lay.root + x[:, lay.fault] @ lay.fault_db
    connector = times[:, lay.connector, None] * k.connector_db
    jumper = times[:, lay.jumper, None] * k.jumper_db
    cell = (strand + joint) @ k.strands.T + connector - jumper + x[:, lay.pad] @ k.attenuators.T
    cell = cell - x[:, [lay.bad_jumper]] * lay.jumper_out
    cell = cell + (x[:, lay.excess] * lay.echo_share(x)) @ lay.echoed.T
    cell = cell + x[:, lay.mismarked] @ lay.marked_db.T
    shared = np.where(lay.direct, 1.0, times[:, [lay.bend]])
    exponent = (times[:, lay.exponent] * shared)[:, lay.block]
    return LossBatch(strand, dielectric, departure, unrest, steeper, lift, joint, connector, jumper, cell, exponent)


def expected_db(lay: Layout, x: Floats, got: LossBatch | None = None) -> Floats:
    """Return what each observation should read, dB, shape (c, n)."""
    got = got or losses(lay, x)
    return x[:, lay.level][:, lay.block] - got.exponent * got.cell_db[:, lay.cell]


def cell_slopes(lay: Layout, x: Floats, got: LossBatch) -> Floats:
    """Return how the losses of the cells move with each unknown, shape (c, cells, size)."""
    through = lay.cells.strands
    law = np.repeat(lay.steady[None], len(x), axis=0)
    law[:, :, lay.departure] = through * (got.strand_db * got.unrest)[:, None, :]
    share = lay.echo_share(x)
    law[:, :, lay.excess] = lay.echoed * share[:, None, :]
    moves = (share - lay.always < MOST_ECHO) & (share > lay.always)
    law += (lay.echoed * np.where(moves, x[:, lay.excess], 0.0)[:, None, :]) @ lay.reflectors.T
    law[:, :, lay.tilt] = (through * (got.strand_db * got.steeper)[:, None, :]) @ lay.stock_of
    parts = through * (got.strand_db * got.lift)[:, None, :]
    law[:, :, lay.growth] = parts @ lay.stock_of
    law[:, :, lay.own] = parts @ lay.piece_of
    law[:, :, lay.mismarked] += parts @ lay.marked_log
    law[:, :, lay.wet] = (through * (got.dielectric_db * got.lift)[:, None, :]) @ lay.stock_of
    law[:, :, lay.connector] = got.connector_db
    law[:, :, lay.jumper] = -got.jumper_db
    return law


def slopes(lay: Layout, law: Floats, got: LossBatch, rows: Ints | slice = EVERY) -> Floats:
    """Return the Jacobian of ``expected_db``, (c, n, size), of some rows or all; ``law`` are the ``cell_slopes``."""
    cell, block, exponent = lay.cell[rows], lay.block[rows], got.exponent[:, rows]
    out: Floats = law[:, cell]
    out *= -exponent[:, :, None]
    at = np.arange(len(cell))
    out[:, at, block] = 1.0
    bent = -exponent * got.cell_db[:, cell]
    out[:, at, lay.exponent.start + block] = bent
    out[:, at, lay.bend] = np.where(lay.direct[block], 0.0, bent)
    return out


def feelings(lay: Layout, got: LossBatch, rows: Ints | slice = EVERY) -> Floats:
    """Return how readings move with what they feel, (c, n, features), of some rows or all.

    The features are the losses of all cells, then the levels and the exponents of all blocks.
    """
    cell, block, many = lay.cell[rows], lay.block[rows], len(lay.blocks)
    cells, at = got.cell_db.shape[1], np.arange(len(cell))
    out = np.zeros((len(got.cell_db), len(cell), cells + 2 * many))
    out[:, at, cell] = -got.exponent[:, rows]
    out[:, at, cells + block] = 1.0
    out[:, at, cells + many + block] = -got.exponent[:, rows] * got.cell_db[:, cell]
    return out


def features(lay: Layout, law: Floats) -> Floats:
    """Return how the features move with each unknown, (c, features, size): ``feelings`` times them are ``slopes``."""
    (c, cells, size), many, each = law.shape, len(lay.blocks), np.arange(len(lay.blocks))
    out = np.zeros((c, cells + 2 * many, size))
    out[:, :cells] = law
    out[:, cells + each, lay.level.start + each] = out[:, cells + many + each, lay.exponent.start + each] = 1.0
    out[:, cells + many + each, lay.bend] = ~lay.direct
    return out


# The priors as one Gaussian over the unknowns, for an ordinary bench and for a rough one

CERTAIN = 1e-3
"""Spread (dB or log) of a level or exponent that is none: a test from one end tells the loss itself."""
NOTHING = 1e-3
"""Spread of a fault that is not there."""
ANYTHING_DB = 100.0
"""Spread of a level nobody knows: flat for all purposes."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Covariances of the unknowns, or their inverses: a diagonal (c, size), for most unknowns are independent.

    Only the exponents hang together (c, blocks, blocks), and what echoes take (c, echoing, echoing): each block stands
    where its slice of unknowns does, and the diagonal holds its own diagonal there too.
    """

    own: Floats
    blocks: tuple[tuple[slice, Floats], ...]

    def __getitem__(self, which: Sequence[int] | Ints) -> Spread:
        """Return copies of some of the covariances."""
        at = np.asarray(which, dtype=np.int64)
        return Spread(self.own[at], tuple((place, block[at]) for place, block in self.blocks))

    def times(self, v: Floats) -> Floats:
        """Return each covariance times ``v`` (c, size, any)."""
        out: Floats = self.own[:, :, None] * v
        for place, block in self.blocks:
            out[:, place] = block @ v[:, place]
        return out

    def vary(self, i: int, unknown: int, more: float) -> None:
        """Let one unknown of covariance ``i`` vary by ``more`` in variance."""
        self.own[i, unknown] += more
        for place, block in self.blocks:
            if place.start <= unknown < place.stop:
                block[i, unknown - place.start, unknown - place.start] += more

    def inverse(self) -> Spread:
        """Return the inverses."""
        own, blocks = 1.0 / self.own, []
        for place, block in self.blocks:
            inverse = np.linalg.inv(block).astype(np.float64, copy=False)
            own[:, place] = inverse.diagonal(axis1=1, axis2=2)
            blocks.append((place, inverse))
        return Spread(own, tuple(blocks))

    def dense(self) -> Floats:
        """Return them as matrices, (c, size, size)."""
        out = self.own[:, :, None] * np.eye(self.own.shape[1])
        for place, block in self.blocks:
            out[:, place, place] = block
        return out


@dataclass(frozen=True, slots=True)
class Prior:
    """Mean (size) and covariance of the unknowns, the latter for an ordinary bench and for a rough one."""

    mean: Floats
    covariance: Spread


def levelled_by_power(lay: Layout) -> list[int]:
    """Return the blocks whose level must come from the stated power: no reference reading that shows anything."""
    if not lay.sheet.source.power_w:
        return []
    return [
        i
        for i, b in enumerate(lay.blocks)
        if not any(not o.bottom for o in b.references) and b.meter.scale not in ("dB", "volts", "loss")
    ]


def _levels(lay: Layout, priors: Priors) -> tuple[Floats, Floats]:
    mean = np.array([np.mean([o.level_db if not o.bottom else o.upper_db for o in b.observations]) for b in lay.blocks])
    spread = np.full(len(lay.blocks), ANYTHING_DB)
    for i in levelled_by_power(lay):
        mean[i] = 10.0 * log10(lay.sheet.source.power_w or 1.0)
        spread[i] = priors.level_db * (1.0 if lay.blocks[i].in_band else 2.0)
    mean[lay.direct], spread[lay.direct] = 0.0, CERTAIN
    return mean, spread


def _exponents(lay: Layout, priors: Priors, widen: float) -> Floats:
    """Return the covariance of the log exponents: each block its own, with a share common to a meter."""
    s = np.array([priors.exponent_in if b.in_band else priors.exponent_out for b in lay.blocks]) * widen
    s[lay.direct] = CERTAIN
    names = np.array([b.meter.name for b in lay.blocks])
    share = priors.exponent_shared
    same = names[:, None] == names[None, :]
    known = [priors.known_exponent(b.meter.name, b.frequency_hz) for b in lay.blocks]
    for i, earlier in enumerate(known):
        if earlier is not None:
            s[i], same[i, :], same[:, i] = earlier.log_sd, False, False
    covariance: Floats = np.outer(s, s) * (share * same + (1.0 - share) * np.eye(len(s)))
    covariance[range(len(s)), range(len(s))] = s**2
    return covariance


def _echoes(lay: Layout, priors: Priors) -> tuple[Floats, Floats]:
    """Return mean and covariance of what echoing pieces seem to take beyond their matched loss."""
    mean, covariance, s = np.zeros(len(lay.echoing)), np.eye(len(lay.echoing)), lay.strands
    of_piece = s.piece[lay.echoing]
    own = len(lay.echoing) - len(lay.rippling)
    for p in distinct(of_piece[:own]):
        at = np.flatnonzero(of_piece[:own] == p)
        mine = lay.echoing[at]
        new_db = s.conductor_db[mine] + s.dielectric_db[mine]
        piece = lay.sheet.pieces[int(p)]
        if is_other(piece):
            mean[at], covariance[np.ix_(at, at)] = excess_of(lay.sheet, piece, s.frequency_hz[mine], new_db, priors)
        else:
            covariance[np.ix_(at, at)] = np.zeros((len(at), len(at)))
    covariance[range(own), range(own)] += lay.echoes_db[lay.echoing[:own]] ** 2
    for p in distinct(lay.strands.piece[lay.rippling]):
        at = own + np.flatnonzero(lay.strands.piece[lay.rippling] == p)
        f = s.frequency_hz[lay.echoing[at]]
        covariance[np.ix_(at, at)] = rival_excess_of(lay.sheet, lay.sheet.pieces[int(p)], f, priors)[1]
    return mean, covariance


def prior_of(lay: Layout, priors: Priors) -> Prior:
    """Return the prior of every unknown, all explanations off."""
    mean, spread = np.zeros(lay.size), np.ones(lay.size)
    mean[lay.level], spread[lay.level] = _levels(lay, priors)
    for i, block in enumerate(lay.blocks):
        earlier = priors.known_exponent(block.meter.name, block.frequency_hz)
        usual = priors.exponent_shift_in if block.in_band else priors.exponent_shift_out
        mean[lay.exponent.start + i] = earlier.log_mean if earlier else 0.0 if block.direct else usual
    for i, stock in enumerate(lay.stocks):
        line = next((p.line for p in lay.sheet.pieces if p.stock_name == stock), None)
        g, h = lay.growth.start + i, lay.wet.start + i
        if line is None:
            spread[g], spread[h] = priors.unknown_spread, priors.wet_spread
        else:
            mean[g] = priors.good_shift
            spread[g], spread[h] = np.hypot(line.law.spread, priors.good_spread), priors.good_wet_spread
    spread[lay.joint] = priors.joint_usual_db
    spread[lay.own], spread[lay.mismarked] = priors.own_spread, NOTHING
    mean[lay.tilt], spread[lay.tilt] = priors.worn_tilt, max(priors.worn_tilt_spread, NOTHING)
    spread[lay.fault], spread[lay.bad_jumper], spread[lay.bend] = NOTHING, NOTHING, priors.bend_spread
    spread[lay.connector], spread[lay.jumper] = priors.connector_spread, priors.jumper_spread
    for i, pad in enumerate(lay.sheet.attenuators):
        mean[lay.pad.start + i], spread[lay.pad.start + i] = pad.loss_db, max(pad.tolerance_db, 1e-3) / 1.96
    echoes = _echoes(lay, priors)
    mean[lay.excess], spread[lay.excess] = echoes[0], 1.0
    own, exponents = np.stack([spread**2, spread**2]), []
    for rough, (exponent, departure) in enumerate(((1.0, 1.0), (priors.rough_exponent, priors.rough_departure))):
        own[rough, lay.departure] = np.hypot(priors.departure * departure, lay.doubt) ** 2
        exponents.append(_exponents(lay, priors, exponent))
        own[rough, lay.exponent] = exponents[rough].diagonal()
    own[:, lay.excess] = echoes[1].diagonal()
    together = (lay.exponent, np.array(exponents)), (lay.excess, np.stack([echoes[1], echoes[1]]))
    return Prior(mean, Spread(own, together))
