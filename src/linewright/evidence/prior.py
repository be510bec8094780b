"""The priors as one Gaussian over the unknowns, for an ordinary bench and for a rough one."""

from __future__ import annotations

from dataclasses import dataclass
from math import log10

import numpy as np

from linewright.evidence.layout import Floats, Layout
from linewright.evidence.priors import Priors

CERTAIN = 1e-3
"""Spread (dB or log) of a level or exponent that is none: a test from one end tells the loss itself."""
ANYTHING_DB = 100.0
"""Spread of a level nobody knows: flat for all purposes."""


@dataclass(frozen=True, slots=True)
class Prior:
    """Mean (size), and per roughness the covariance, its inverse (2, size, size) and its log determinant (2)."""

    mean: Floats
    covariance: Floats
    precision: Floats
    logdet: Floats


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
    covariance: Floats = np.outer(s, s) * (share * same + (1.0 - share) * np.eye(len(s)))
    return covariance


def prior_of(lay: Layout, priors: Priors) -> Prior:
    """Return the prior of every unknown, all explanations off."""
    mean, spread = np.zeros(lay.size), np.ones(lay.size)
    mean[lay.level], spread[lay.level] = _levels(lay, priors)
    for i, stock in enumerate(lay.stocks):
        line = next((p.line for p in lay.sheet.pieces if p.stock_name == stock), None)
        g, h = lay.growth.start + i, lay.wet.start + i
        if line is None:
            spread[g], spread[h] = priors.unknown_spread, priors.wet_spread
        else:
            mean[g] = priors.good_shift
            spread[g], spread[h] = np.hypot(line.law.spread, priors.good_spread), priors.good_wet_spread
    spread[lay.joint] = priors.joint_usual_db
    spread[lay.connector], spread[lay.jumper] = priors.connector_spread, priors.jumper_spread
    for i, pad in enumerate(lay.sheet.attenuators):
        mean[lay.pad.start + i], spread[lay.pad.start + i] = pad.loss_db, max(pad.tolerance_db, 1e-3) / 1.96
    covariances, precision, logdet = [], [], []
    for exponent, departure in ((1.0, 1.0), (priors.rough_exponent, priors.rough_departure)):
        spread[lay.departure] = priors.departure * departure
        covariance = np.diag(spread**2)
        covariance[lay.exponent, lay.exponent] = _exponents(lay, priors, exponent)
        inverse = np.diag(1.0 / spread**2)
        if lay.blocks:
            inverse[lay.exponent, lay.exponent] = np.linalg.inv(covariance[lay.exponent, lay.exponent])
        covariances.append(covariance)
        precision.append(inverse)
        logdet.append(np.linalg.slogdet(covariance)[1])
    return Prior(mean, np.array(covariances), np.array(precision), np.array(logdet))
