"""What a careful person gets by hand: the ratio of two readings in dB, with an uncertainty as the GUM has it."""

from __future__ import annotations

from collections import defaultdict
from math import sqrt

from linewright.core.formulas.mismatch import mismatch_uncertainty_db
from linewright.core.formulas.uncertainty import combine
from linewright.core.frozen import dataclass
from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.bench_result import ByHand
from linewright.core.quantities import reflection_from_swr
from linewright.inference.bench.design import jumper_connectors_db, jumper_db
from linewright.inference.bench.observations import BESIDE, Block, Observation
from linewright.inference.priors import Priors


@dataclass(frozen=True, slots=True)
class _Level:
    """The mean level of a path's readings, dB, with its standard uncertainties from resolution and repeatability."""

    mean_db: float
    resolution_db: float
    repeatability_db: float


def _level(seen: list[Observation], priors: Priors) -> _Level:
    """Return the level of a path: resolution counts once, repeatability over the number of readings.

    Repeatability is the scatter where there are repeats, and never below the usual.
    """
    n = sum(len(o.rows) for o in seen)
    mean = sum(len(o.rows) * o.level_db for o in seen) / n
    scatter = sum(len(o.rows) * (o.level_db - mean) ** 2 for o in seen) / max(n - 1, 1)
    usual = priors.noise_db**2 + priors.drift_db**2
    return _Level(mean, max(o.width_db for o in seen) / sqrt(12.0), sqrt(max(scatter, usual) / n))


def _mismatch_db(sheet: BenchSheet, block: Block, priors: Priors) -> float:
    source = reflection_from_swr(sheet.source.swr or priors.source_swr)
    meter = reflection_from_swr(block.meter.swr or priors.meter_swr)
    return float(mismatch_uncertainty_db(source, meter))


def by_hand(sheet: BenchSheet, block: Block, priors: Priors) -> dict[str, ByHand]:
    """Return the plain figures for the pieces read alone in one block, by tag; those for which there is a ratio.

    ``10 lg(P_reference / P_piece)`` plus the jumper the piece replaced, its connectors included. The standard
    uncertainty combines resolution and repeatability of both readings, mismatch of both connections and the jumper, all
    of sensitivity 1 (JCGM 100:2008, 5.1.2, eq. 10). It takes the detector as linear, as a person does.
    """
    alone: dict[str, list[Observation]] = defaultdict(list)
    for o in block.observations:
        if len(o.path) == 1 and not o.bottom:
            alone[o.path[0]].append(o)
    if block.direct:
        return {} if block.meter.name == BESIDE else _told(block, alone)
    base = [o for o in block.references if not o.bottom]
    if not base or not alone:
        return {}
    top, mismatch = _level(base, priors), _mismatch_db(sheet, block, priors)
    replaced = sheet.reference.in_place == "replaced"
    jumper = jumper_db(sheet, block.frequency_hz) if replaced else 0.0
    plugs = jumper_connectors_db(sheet, block.frequency_hz, priors) if replaced else 0.0
    card = priors.card_db if block.meter.scale == "card" else 0.0
    found = {}
    for tag, seen in alone.items():
        low = _level(seen, priors)
        spread = combine([
            (top.resolution_db, 1.0), (low.resolution_db, 1.0), (top.repeatability_db, 1.0),
            (low.repeatability_db, 1.0), (mismatch, 1.0), (mismatch, 1.0), (card, 1.0), (card, 1.0),
            (jumper, priors.jumper_spread), (plugs, priors.connector_spread),
        ])  # fmt: skip
        found[tag] = ByHand(block.meter.name, top.mean_db - low.mean_db + jumper + plugs, spread)
    return found


def _told(block: Block, alone: dict[str, list[Observation]]) -> dict[str, ByHand]:
    """Return what a test from one end tells directly, where it is more than its own uncertainty."""
    figures = {
        tag: ByHand(block.meter.name, -seen[0].level_db, seen[0].width_db / sqrt(12.0)) for tag, seen in alone.items()
    }
    return {tag: told for tag, told in figures.items() if told.loss_db_u < told.loss_db}
