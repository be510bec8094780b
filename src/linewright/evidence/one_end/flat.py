"""What near-end readings say by themselves, frequency by frequency: for whoever combines them with other evidence."""

from __future__ import annotations

from math import sqrt

import numpy as np

from linewright.evidence.one_end.draws import Floats
from linewright.evidence.one_end.likelihood import FrequencyLikelihood, Site, sites_of
from linewright.evidence.one_end.priors import DEFAULT, OneEndPriors
from linewright.model.one_end import OneEndTest
from linewright.units.constants import DB_PER_NEPER

FLOOR = 1e-12
KNEE_DB = 0.1
"""Well above this a loss is as likely to be half as twice; well below, all are alike likely."""


def frequency_likelihoods(test: OneEndTest, priors: OneEndPriors = DEFAULT) -> list[FrequencyLikelihood]:
    """Return the likelihood of the line's one-way matched loss at each frequency, rising.

    Readings are taken as read: that one may be misread is for whoever combines them. What the instrument adds is alike
    at all frequencies, which likelihoods one by one cannot say. Mean and standard deviation are those under a prior
    that favours no size of loss, ``1/(A + 0.1 dB)``: a flat one would give weight to losses no line in service has,
    wherever a reading is faint.

    >>> from linewright.model.one_end import OneEndReading
    >>> readings = (OneEndReading(1, "open", 144e6, "swr", 7.1), OneEndReading(2, "short", 144e6, "swr", 6.8))
    >>> (only,) = frequency_likelihoods(OneEndTest(readings))
    >>> 1.1 < only.mean_db < 1.5, 0.05 < only.sd_db < 0.3
    (True, True)
    """
    return [_one(site) for site in sites_of(test, priors)]


def _one(site: Site) -> FrequencyLikelihood:
    likelihood = site.of([s.fit for s in site.seen]).mean(axis=0)
    mean, sd = moments(site.grid_db, likelihood * site.weight_db / (site.grid_db + KNEE_DB))
    sd = max(sd, _least_sd_db(site))
    top = float(likelihood.max()) or 1.0
    log = np.log(np.maximum(likelihood / top, FLOOR))
    return FrequencyLikelihood(
        site.frequency_hz, site.grid_db, log, mean, sd, tuple(s.reading.row for s in site.seen),
        all(s.target.one_sided or s.reading.far_end == "antenna" for s in site.seen),
    )  # fmt: skip


def _least_sd_db(site: Site) -> float:
    """Return what the noise of the readings alone leaves of the loss, dB: no draw may claim to know it better."""
    noise = min(s.target.noise / max(abs(s.target.middle), s.target.noise) for s in site.seen)
    return 0.5 * DB_PER_NEPER * noise / sqrt(len(site.seen))


def moments(grid_db: Floats, weight: Floats) -> tuple[float, float]:
    """Return mean and standard deviation of weighted losses; those of the whole grid where nothing weighs."""
    total = float(weight.sum())
    share = weight / total if total > 0 else np.full(len(grid_db), 1.0 / len(grid_db))
    mean = float(share @ grid_db)
    return mean, max(float(share @ (grid_db - mean) ** 2), 0.0) ** 0.5
