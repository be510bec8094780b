"""What is private to one block: reading noise, drift, mismatch, the scale's step, the card."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.evidence.layout import Floats, Layout, connectors_in
from linewright.evidence.priors import Priors
from linewright.physics.mismatch import mismatch_uncertainty_db
from linewright.units.decibels import reflection_from_swr


@dataclass(frozen=True, slots=True)
class Weights:
    """Inverse covariances of the blocks' own noise, and the sum of their log determinants."""

    inverses: list[Floats]
    logdet: float

    def of(self, m: Floats, lay: Layout) -> Floats:
        """Return the inverse covariance times ``m`` (first axis the observations)."""
        out = np.empty_like(m)
        for b, inverse in enumerate(self.inverses):
            rows = lay.slice_of(b)
            out[rows] = inverse @ m[rows]
        return out


def mismatch_db(lay: Layout, cell_db: Floats, priors: Priors) -> Floats:
    """Return the standard deviation of the mismatch error of each observation, dB, given its path's loss.

    ``8.686/√2 · |Γs| |Γm| · 10^(-A/10)``: U-shaped limits seen through a line of loss A, whose echo passes it twice
    (JCGM 101:2008, 9.4, on mismatch; an arcsine distribution has its half width over √2). The line's own steps of
    impedance add their part at either end. A reading's own SWR takes the meter's place.
    """
    source = reflection_from_swr(lay.sheet.source.swr or priors.source_swr)
    flat = [(b, o) for b in lay.blocks for o in b.observations]
    meter = np.array([reflection_from_swr(b.meter.swr or priors.meter_swr) for b, _ in flat])
    shown = np.array([reflection_from_swr(o.swr) if o.swr else np.nan for _, o in flat])
    cable = np.array([connectors_in(lay.sheet, o.path) > 0 for _, o in flat])
    seen = meter * 10.0 ** (-np.maximum(cell_db[lay.cell], 0.0) / 10.0)
    load = np.where(np.isnan(shown), seen, shown)
    steps = np.where(cable, priors.line_reflection * np.hypot(source, meter), 0.0)
    return np.asarray(np.hypot(mismatch_uncertainty_db(source, load), mismatch_uncertainty_db(1.0, steps)))


@dataclass(frozen=True, slots=True)
class Parts:
    """The two parts of each block's covariance: what the common noise scale multiplies, and what it does not."""

    scaled: list[Floats]
    fixed: list[Floats]

    def weights(self, scale: float, extra: Floats | None = None, lay: Layout | None = None) -> Weights:
        """Return the weights at one noise scale, with extra variance on observations if wanted."""
        inverses: list[Floats] = []
        logdet = 0.0
        for b, (s, f) in enumerate(zip(self.scaled, self.fixed, strict=True)):
            v = scale**2 * s + f
            if extra is not None and lay is not None:
                v = v + np.diag(extra[lay.slice_of(b)])
            inverses.append(np.linalg.inv(v).astype(np.float64))
            logdet += float(np.linalg.slogdet(v)[1])
        return Weights(inverses, logdet)


def noise_parts(lay: Layout, cell_db: Floats, soft: Floats, priors: Priors) -> Parts:
    """Return the covariance parts of every block; ``soft`` is extra variance of readings at the bottom of a scale."""
    mismatch = mismatch_db(lay, cell_db, priors)
    scaled, fixed = [], []
    for b, block in enumerate(lay.blocks):
        rows = lay.slice_of(b)
        seen = block.observations
        if block.direct:
            fixed.append(np.diag(lay.width_db[rows] ** 2 / 12.0))
            scaled.append(np.zeros_like(fixed[-1]))
            continue
        time = np.array([o.time for o in seen])
        time = time - time.min() + 1.0
        zero = np.array([o.zero_effect_db for o in seen]) * priors.zero_division
        same = lay.cell[rows][:, None] == lay.cell[rows][None, :]
        card = priors.card_db if block.meter.scale == "card" else 0.0
        scaled.append(
            np.diag(priors.noise_db**2 / lay.count[rows])
            + priors.drift_db**2 * np.minimum(time[:, None], time[None, :])
        )
        shared = np.outer(mismatch[rows], mismatch[rows]) + card**2
        fixed.append(same * shared + np.diag(lay.width_db[rows] ** 2 / 12.0 + soft[rows]) + np.outer(zero, zero))
    return Parts(scaled, fixed)
