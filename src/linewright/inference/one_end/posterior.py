"""Frequencies joined through the law: what all readings say of the loss at each, and of the law itself."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.core.nouns.line import AttenuationLaw
from linewright.core.nouns.one_end import OneEndTest
from linewright.core.quantities import DB_PER_NEPER
from linewright.inference.one_end.likelihood import LEAST_DB, MOST_DB, FrequencyLikelihood, Places, Site, sites_of
from linewright.inference.one_end.priors import DEFAULT, OneEndPriors
from linewright.inference.priors import DEFAULT as STOCK
from linewright.inference.priors import UNKNOWN_LAW, Priors

# Laws a line may follow, as a grid: what its type, age and length let one believe before the first reading

GROWTH = np.arange(-3.6, 2.6, 0.0125)
WET = np.array([-0.9, -0.5, -0.25, -0.12, 0.0, 0.12, 0.25, 0.5, 0.9, 1.4])
LEVEL_STEP = 0.02
SHARES = np.linspace(-2.0, 2.0, 9)


@dataclass(frozen=True, slots=True)
class Laws:
    """Laws ``conductor · c(f) + dielectric · d(f)``, c and d the parts of ``base`` over ``length_m`` with connectors.

    ``conductor``, ``dielectric`` and ``log_prior`` are (laws,).
    """

    base: AttenuationLaw
    length_m: float
    connector_db: float
    conductor: Floats
    dielectric: Floats
    log_prior: Floats

    def loss_db(self, frequency_hz: float) -> Floats:
        """Return the loss of every law at one frequency, dB, (laws,)."""
        conductor, dielectric = self.new_db(frequency_hz)
        return np.asarray(np.clip(self.conductor * conductor + self.dielectric * dielectric, LEAST_DB, MOST_DB))

    def new_db(self, frequency_hz: float) -> tuple[float, float]:
        """Return what the base law loses in conductors (and connectors) and in the dielectric, dB."""
        conductor, dielectric = (self.length_m * float(v) for v in self.base.parts_db_per_m(frequency_hz))
        return conductor + self.connector_db * (frequency_hz / 1e6) ** 0.5, dielectric

    def service(self, frequencies_hz: list[float], service_db: float) -> Floats:
        """Return the log prior of being in service, whatever the type: nobody keeps a line that loses too much."""
        most = np.max([self.loss_db(f) for f in frequencies_hz], axis=0)
        return np.asarray(-0.5 * (most / service_db) ** 2)

    def kept(self, which: Places) -> Laws:
        """Return some of the laws."""
        return Laws(
            self.base, self.length_m, self.connector_db, self.conductor[which], self.dielectric[which],
            self.log_prior[which],
        )  # fmt: skip


def laws_of(test: OneEndTest, frequencies_hz: list[float], priors: OneEndPriors) -> Laws:
    """Return the laws a line may follow, with their prior."""
    if test.line is not None and test.length_m is not None:
        below, above = test.line.law.beyond(np.array(frequencies_hz))
        beyond = float(np.sqrt(np.mean(0.5 * (below**2 + above**2))))
        return _of_type(test, test.line.law, test.length_m, priors, beyond)
    return _of_any(test, frequencies_hz, priors)


def _normal(x: Floats, mean: float, spread: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((x - mean) / spread) ** 2) / spread)


def _of_type(
    test: OneEndTest, law: AttenuationLaw, length_m: float, priors: OneEndPriors, beyond: float, s: Priors = STOCK
) -> Laws:
    """Return a type's law: a lump of good stocks, most aged, some wet; and, seldom, another line altogether."""
    good = float(np.hypot(np.hypot(law.spread, beyond), s.good_spread))
    growth = (1.0 - s.aged_p) * _normal(GROWTH, s.good_shift, good) + s.aged_p * _normal(
        GROWTH, s.good_shift + s.aged_shift, float(np.hypot(good, s.aged_spread))
    )
    growth = (1.0 - priors.stranger_p) * growth + priors.stranger_p * _normal(GROWTH, 0.0, priors.stranger_spread)
    # A line that is open or shorted on its way is cut to a share of its length, any share alike likely.
    growth = (1.0 - priors.broken_p) * growth + priors.broken_p * np.where(
        GROWTH < 0.0, np.sqrt(2.0 * np.pi) * np.exp(GROWTH), 0.0
    )
    wet = (1.0 - s.wet_p) * _normal(WET, 0.0, s.good_wet_spread) + s.wet_p * _normal(
        WET, 0.0, float(np.hypot(s.good_wet_spread, s.wet_spread))
    )
    g, h = np.meshgrid(GROWTH, WET, indexing="ij")
    log = np.log(growth)[:, None] + np.log(wet * np.gradient(WET))[None, :]
    plugs = test.connectors * s.connector_db_per_sqrt_mhz
    return Laws(law, length_m, plugs, np.exp(g).ravel(), np.exp(g + h).ravel(), log.ravel())


def _of_any(test: OneEndTest, frequencies_hz: list[float], priors: OneEndPriors, s: Priors = STOCK) -> Laws:
    """Return laws of any line: a level at the middle of the frequencies read, and a share that grows with f."""
    middle_hz = float(np.exp(np.mean(np.log(frequencies_hz))))
    length_m = priors.usual_length_m if test.length_m is None else test.length_m
    mean = np.log(length_m * float(UNKNOWN_LAW.db_per_m(middle_hz)))
    spread = s.unknown_spread if test.length_m is not None else float(np.hypot(s.unknown_spread, priors.length_spread))
    levels = np.arange(np.log(LEAST_DB), np.log(MOST_DB), LEVEL_STEP)
    base = AttenuationLaw(1.0, 1.0)
    share = priors.share * np.exp(priors.share_spread * SHARES)
    root, line = (float(v) for v in base.parts_db_per_m(middle_hz))
    k1 = np.exp(levels)[:, None] / (root + share * line)
    log = -0.5 * ((levels - mean) / spread) ** 2
    prior = log[:, None] - 0.5 * SHARES[None, :] ** 2
    return Laws(base, 1.0, 0.0, k1.ravel(), (k1 * share).ravel(), prior.ravel())


# Frequencies joined through the law: what all readings say of the loss at each, and of the law itself

NATS = 14.0
"""Laws so far below the likeliest are dropped."""
NOTHING = 1e-300


@dataclass(frozen=True, slots=True)
class LawPlace:
    """Where the laws meet one site: the points of its grid beside each law, and how far between them."""

    at: Places
    between: Floats

    def pick(self, rows: Floats) -> Floats:
        """Return values at the laws of rows over the grid: (rows, grid) to (rows, laws)."""
        return np.asarray(rows[:, self.at] * (1.0 - self.between) + rows[:, self.at + 1] * self.between)

    def put(self, weight: Floats, size: int) -> Floats:
        """Return weights of laws shared out over the grid: (rows, laws) to (rows, grid)."""
        share = np.zeros((len(self.at), size))
        rows = np.arange(len(self.at))
        share[rows, self.at] = 1.0 - self.between
        share[rows, self.at + 1] = self.between
        return np.asarray(weight @ share)


def place(grid_db: Floats, loss_db: Floats) -> LawPlace:
    """Find losses on a grid."""
    at = np.clip(np.searchsorted(grid_db, loss_db, side="right") - 1, 0, len(grid_db) - 2)
    return LawPlace(at, np.clip((loss_db - grid_db[at]) / (grid_db[at + 1] - grid_db[at]), 0.0, 1.0))


def ripple(site: Site, priors: OneEndPriors) -> Floats:
    """Return how a law's loss spreads over the grid at a single frequency, rows summing to 1, (grid, grid)."""
    a = site.grid_db
    spread = np.hypot(priors.ripple * a, priors.ripple_db)[:, None]
    kernel = np.exp(-0.5 * ((a[None, :] - a[:, None]) / spread) ** 2) * site.weight_db
    return np.asarray(kernel / kernel.sum(axis=1, keepdims=True))


@dataclass(frozen=True)
class OneEndPosterior:
    """All that is believed after the readings.

    ``weight`` (laws,) of the laws sums to 1. ``before`` holds, per site, what everything but its own readings says of
    the loss there, (worlds, grid), in any scale; ``after`` (grid,) is the whole answer, summing to 1.
    """

    test: OneEndTest
    priors: OneEndPriors
    sites: tuple[Site, ...]
    laws: Laws
    weight: Floats
    before: tuple[Floats, ...]
    after: tuple[Floats, ...]

    @property
    def laws_known(self) -> bool:
        """Return whether type and length are known, so that there is a loss it should have."""
        return self.test.line is not None and self.test.length_m is not None


def infer(test: OneEndTest, priors: OneEndPriors) -> OneEndPosterior:
    """Return what all readings of a test say together."""
    sites = sites_of(test, priors)
    at = [s.frequency_hz for s in sites]
    laws = laws_of(test, at, priors)
    laws = replace(laws, log_prior=laws.log_prior + laws.service(at, priors.service_db))
    kernels = [ripple(s, priors) for s in sites]
    spread = [s.likelihood @ k.T for s, k in zip(sites, kernels, strict=True)]
    laws = laws.kept(_near(sites, laws, spread))
    places = [place(s.grid_db, laws.loss_db(s.frequency_hz)) for s in sites]
    logs = [np.log(p.pick(x) + NOTHING) for p, x in zip(places, spread, strict=True)]
    whole = laws.log_prior + sum(logs)
    before = []
    for site, kernel, spot, log in zip(sites, kernels, places, logs, strict=True):
        others = whole - log
        before.append(spot.put(np.exp(others - others.max()), len(site.grid_db)) @ kernel)
    after = [_normed((b * s.likelihood).sum(axis=0)) for b, s in zip(before, sites, strict=True)]
    weight = _normed(np.exp(whole - whole.max()).sum(axis=0))
    return OneEndPosterior(test, priors, sites, laws, weight, tuple(before), tuple(after))


def _near(sites: tuple[Site, ...], laws: Laws, spread: list[Floats]) -> Places:
    """Return which laws are near enough to the likeliest to count, all worlds taken together."""
    log = laws.log_prior.copy()
    for site, x in zip(sites, spread, strict=True):
        spot = place(site.grid_db, laws.loss_db(site.frequency_hz))
        log += np.log(spot.pick(x.mean(axis=0, keepdims=True))[0] + NOTHING)
    return np.flatnonzero(log > log.max() - NATS)


def _normed(weight: Floats) -> Floats:
    return np.asarray(weight / weight.sum())


def quantiles(values: Floats, weight: Floats, levels: tuple[float, ...] = (0.025, 0.5, 0.975)) -> tuple[float, ...]:
    """Return quantiles of weighted values; each value stands at the middle of its weight.

    >>> quantiles(np.array([1.0, 2.0, 3.0]), np.array([0.25, 0.5, 0.25]), (0.5,))
    (2.0,)
    """
    order = np.argsort(values)
    v, w = values[order], weight[order]
    middle = np.cumsum(w) - 0.5 * w
    return tuple(float(x) for x in np.interp(levels, middle, v))


def grid_quantiles(grid_db: Floats, mass: Floats, levels: tuple[float, ...] = (0.025, 0.5, 0.975)) -> tuple[float, ...]:
    """Return quantiles of losses from their masses on a grid, by the trapezoidal rule."""
    edges = np.concatenate([[grid_db[0]], 0.5 * (grid_db[1:] + grid_db[:-1]), [grid_db[-1]]])
    return tuple(float(x) for x in np.interp(levels, np.concatenate([[0.0], np.cumsum(mass)]), edges))


# What near-end readings say by themselves, frequency by frequency: for whoever combines them with other evidence

FLOOR = 1e-12
KNEE_DB = 0.1
"""Well above this a loss is as likely to be half as twice; well below, all are alike likely."""


def frequency_likelihoods(test: OneEndTest, priors: OneEndPriors = DEFAULT) -> list[FrequencyLikelihood]:
    """Return the likelihood of the line's one-way matched loss at each frequency, rising.

    Readings are taken as read: that one may be misread is for whoever combines them. What the instrument adds is alike
    at all frequencies, which likelihoods one by one cannot say. Mean and standard deviation are those under a prior
    that favours no size of loss, ``1/(A + 0.1 dB)``: a flat one would give weight to losses no line in service has,
    wherever a reading is faint.

    >>> from linewright.core.nouns.one_end import OneEndReading
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
