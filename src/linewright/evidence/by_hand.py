"""What a careful person gets by hand: the ratio of two readings in dB, with an uncertainty as the GUM has it."""

from __future__ import annotations

from math import sqrt

import numpy as np

from linewright.evidence.layout import jumper_connectors_db, jumper_db
from linewright.evidence.observations import Block, Observation
from linewright.evidence.priors import Priors
from linewright.model.bench import BenchSheet
from linewright.model.result import ByHand
from linewright.physics.mismatch import mismatch_uncertainty_db
from linewright.physics.uncertainty import combine
from linewright.units.decibels import reflection_from_swr


def _mean(seen: list[Observation]) -> tuple[float, float]:
    """Return the mean level of a path's readings and its variance: repeatability over n, resolution once."""
    n = np.array([len(o.rows) for o in seen], dtype=float)
    levels = np.array([o.level_db for o in seen])
    mean = float(np.average(levels, weights=n))
    resolution = max(o.width_db for o in seen) ** 2 / 12.0
    return mean, resolution


def _repeatability(seen: list[Observation], priors: Priors) -> float:
    """Return the variance of a mean: from the scatter where there are repeats, and never below the usual."""
    levels = np.repeat([o.level_db for o in seen], [len(o.rows) for o in seen])
    usual = priors.noise_db**2 + priors.drift_db**2
    scatter = float(np.var(levels, ddof=1)) if len(levels) > 1 else 0.0
    return max(scatter, usual) / len(levels)


def _mismatch_db(sheet: BenchSheet, block: Block, priors: Priors) -> float:
    source = reflection_from_swr(sheet.source.swr or priors.source_swr)
    meter = reflection_from_swr(block.meter.swr or priors.meter_swr)
    return float(mismatch_uncertainty_db(source, meter))


def by_hand(sheet: BenchSheet, block: Block, tag: str, priors: Priors) -> ByHand | None:
    """Return the plain figure for one piece in one block; None where there is no ratio to form.

    ``10 lg(P_reference / P_piece)`` plus the jumper the piece replaced, its connectors included. The standard
    uncertainty combines resolution and repeatability of both readings, mismatch of both connections and the jumper, all
    of sensitivity 1 (JCGM 100:2008, 5.1.2, eq. 10). It takes the detector as linear, as a person does.
    """
    here = [o for o in block.observations if o.path == (tag,) and not o.bottom]
    if block.direct and here:
        loss, spread = -here[0].level_db, here[0].width_db / sqrt(12.0)
        return ByHand(block.meter.name, loss, spread) if spread < loss else None
    base = [o for o in block.references if not o.bottom]
    if not here or not base:
        return None
    (top, resolution_top), (low, resolution_low) = _mean(base), _mean(here)
    replaced = sheet.reference.in_place == "replaced"
    jumper = jumper_db(sheet, block.frequency_hz) if replaced else 0.0
    plugs = jumper_connectors_db(sheet, block.frequency_hz, priors) if replaced else 0.0
    mismatch = _mismatch_db(sheet, block, priors)
    card = priors.card_db if block.meter.scale == "card" else 0.0
    spread = combine([
        (sqrt(resolution_top), 1.0), (sqrt(resolution_low), 1.0),
        (sqrt(_repeatability(base, priors)), 1.0), (sqrt(_repeatability(here, priors)), 1.0),
        (mismatch, 1.0), (mismatch, 1.0), (card, 1.0), (card, 1.0), (jumper, priors.jumper_spread),
        (plugs, priors.connector_spread),
    ])  # fmt: skip
    return ByHand(block.meter.name, top - low + jumper + plugs, spread)
