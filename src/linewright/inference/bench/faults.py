"""Faults with the shapes physics gives them: what a bad piece may lose beyond its type, in decibels over frequency.

Each is a rival direction of one piece: a broken conductor falls with frequency, a bad contact is flat, water grows with
f, a wet plug faster still, and a braid that resonates takes one band alone. Flat and root-like losses stand with the
joints of :mod:`linewright.inference.bench.design`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

import numpy as np

from linewright.core.arrays import Floats, median
from linewright.core.formulas.faults import series_capacitance_db, shunt_capacitance_db
from linewright.core.formulas.mismatch import mismatch_uncertainty_db
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import FaultShape
from linewright.core.nouns.bench import BenchSheet
from linewright.core.quantities import reflection_from_swr
from linewright.inference.bench.observations import Block
from linewright.inference.priors import HIGH_HZ, Priors

OPEN_F = tuple(8e-12 * 1.5**k for k in range(14))
"""Capacitances across a broken conductor that are tried, farad: 8 pF to 1.6 nF, each a fault of its own."""
WET_PLUG_F = (6e-12, 11e-12, 20e-12, 35e-12)
"""Capacitances of wet dirt across a plug that are tried, farad."""
OPEN_SPREAD, WET_PLUG_SPREAD, WATER_TIMES = 0.2, 0.3, 1.2
"""Spread of a capacitance between those tried, in its dB; what water adds, as a multiple of the new loss."""
LEAST_DB = 0.05
REFLECTS_DB, REFLECTS_TIMES, REFLECTS_POWER = 0.4, 1.7, 0.25
"""A piece may reflect that some meter reads so much above its type on its lowest band, and there so many times more
than on its highest, each as a share of its loss: wear is the same share of it. Between bands near each other less will
do: what is flat is a share that falls with √f, and half of that, as a logarithm, lies midway to wear."""
CONTACT_DB, CONTACT_FLAT = 14.0, 0.7
"""An excess below so much that keeps so large a share of itself to the next band is a resistance, no gap."""
ECHO_SWR = (1.6, 1.4)
"""Of source and meter above 100 MHz, where a fault's echo meets them: the scale on noise does not learn it."""
LEAST_EXCESS_DB, LEAST_EXCESS = 0.12, 0.15
"""A fault is tried where some meter reads at least so much above the type, in dB and as a share of its loss."""


@dataclass(frozen=True, slots=True)
class PieceFault:
    """One fault of one piece: its shape over the strands (dB per unit), and the prior of its size."""

    piece: int
    shape: FaultShape
    strand_db: Floats
    p: float
    mean: float
    spread: float


UNBOUNDED_DB = 30.0
"""How far below its scale a reading of nothing may lie: it bounds a loss from below alone, so every fault is tried."""


def excesses(blocks: list[Block], new_db: dict[tuple[str, float], float]) -> dict[tuple[str, float], list[float]]:
    """Return by how much meters read each piece above its type, dB, every reading taken at its word."""
    found: dict[tuple[str, float], list[float]] = defaultdict(list)
    for b in blocks:
        base = [o.level_db for o in b.references if not o.bottom]
        for o in b.observations:
            tags = [tag for tag in o.path if (tag, b.frequency_hz) in new_db]
            if not tags or not (base or b.direct):
                continue
            level = o.level_db if not o.bottom else o.upper_db - UNBOUNDED_DB
            over = (max(base) if base else 0.0) - level - sum(new_db[tag, b.frequency_hz] for tag in tags)
            for tag in tags:
                found[tag, b.frequency_hz].append(over)
    return found


def faults_of(
    sheet: BenchSheet, blocks: list[Block], strands: dict[tuple[str, float], int], new_db: Floats, priors: Priors
) -> tuple[PieceFault, ...]:
    """Return every fault worth a try: those of pieces that some meter reads well above their type."""
    over = excesses(blocks, {key: float(new_db[i]) for key, i in strands.items()})
    found: list[PieceFault] = []
    for at, piece in enumerate(sheet.pieces):
        mine = sorted((f, i) for (tag, f), i in strands.items() if tag == piece.tag and (tag, f) in over)
        if piece.line is None or not mine:
            continue
        seen = [_Seen(f, float(new_db[i]), max(over[piece.tag, f])) for f, i in mine]
        for shape, p, mean, spread in _tried(seen, piece.line.impedance_ohm, priors):
            over_strands = np.zeros(len(new_db))
            over_strands[[i for _, i in mine]] = shape.db([f for f, _ in mine])
            found.append(PieceFault(at, shape, over_strands, p, mean, spread))
    return tuple(found)


def echoes_of(
    sheet: BenchSheet, blocks: list[Block], strands: dict[tuple[str, float], int], new_db: Floats, priors: Priors
) -> tuple[Floats, Floats]:
    """Return by how much the bench's own mismatch may move what a fault seems to take, per strand, dB; 0 for most.

    With it, per strand, the loss of the bad contact that moves it so much, dB; 0 where a gap in the conductor does. A
    gap that takes L dB heats nothing and sends back |S11| = sqrt(1 - 10^(-L/10)), a resistance in series or across
    1 - 10^(-L/20) (D. M. Pozar, *Microwave Engineering*, 4th ed., tables 4.1 and 4.2). That meets the source's
    reflection, and on its other side the meter's: 8.686/√2 |S11| |Γ|, taken alike for all meters. What grows with
    frequency is heat in the line and sends nothing back.
    """
    over = excesses(blocks, {key: float(new_db[i]) for key, i in strands.items()})
    out, contact_db = np.zeros(len(new_db)), np.zeros(len(new_db))
    for piece in sheet.pieces:
        mine = sorted((f, i) for (tag, f), i in strands.items() if tag == piece.tag and (tag, f) in over)
        found = np.array([max(float(median(over[piece.tag, f])), 0.0) for f, _ in mine])
        if len(mine) < 2 or found[0] < REFLECTS_DB:
            continue
        at, over_hz = [i for _, i in mine], [f for f, _ in mine]
        share = found / new_db[at]
        apart = (over_hz[-1] / over_hz[0]) ** REFLECTS_POWER
        if share[0] < min(REFLECTS_TIMES, apart) * share[-1]:
            continue
        if found[0] < CONTACT_DB and found[1] > CONTACT_FLAT * found[0]:
            contact_db[at], sent = found[0], 1.0 - 10.0 ** (-found[0] / 20.0)
        else:
            sent = np.sqrt(1.0 - 10.0 ** (-found / 10.0))
        out[at] = mismatch_uncertainty_db(np.array([_reflection(sheet, f, priors) for f in over_hz]), sent)
    return out, contact_db


def _reflection(sheet: BenchSheet, frequency_hz: float, priors: Priors) -> float:
    """Return what source and meter usually reflect at a frequency, taken together."""
    high = frequency_hz > HIGH_HZ
    usual = ECHO_SWR if high else (priors.source_swr, priors.meter_swr)
    source, meter = reflection_from_swr(sheet.source.swr or usual[0]), reflection_from_swr(usual[1])
    return float(np.hypot(source, meter))


@dataclass(frozen=True, slots=True)
class _Seen:
    """A piece on one band: its loss when new, and by how much the worst meter reads it above that, dB."""

    frequency_hz: float
    new_db: float
    over_db: float

    @property
    def much(self) -> bool:
        return self.over_db > max(LEAST_EXCESS_DB, LEAST_EXCESS * self.new_db)


def _tried(seen: list[_Seen], z0_ohm: float, priors: Priors) -> Iterator[tuple[FaultShape, float, float, float]]:
    """Give the shapes worth a try for one piece, its bands in order, with chance, mean and spread of their size."""
    low, top = seen[0], seen[-1]
    if low.much:
        for c in OPEN_F:
            if LEAST_DB < series_capacitance_db(c, low.frequency_hz, z0_ohm) < 1.6 * low.over_db + 0.5:
                yield FaultShape("open conductor", c, z0_ohm), priors.open_p / len(OPEN_F), 1.0, OPEN_SPREAD
    if top.much:
        size = WATER_TIMES * top.new_db
        yield FaultShape("water", top.frequency_hz), priors.water_p, size, size
        for c in WET_PLUG_F:
            if LEAST_DB < shunt_capacitance_db(c, top.frequency_hz, z0_ohm) < 2.0 * top.over_db + 0.5:
                yield FaultShape("wet connector", c, z0_ohm), priors.wet_plug_p / len(WET_PLUG_F), 1.0, WET_PLUG_SPREAD
    for band in seen:
        if band.much:
            yield FaultShape("braid", band.frequency_hz), priors.notch_p, priors.notch_db, priors.notch_spread_db
