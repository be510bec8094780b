"""Laws a line may follow, as a grid: what its type, age and length let one believe before the first reading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.evidence.one_end.draws import Floats, Places
from linewright.evidence.one_end.likelihood import LEAST_DB, MOST_DB
from linewright.evidence.one_end.priors import OneEndPriors
from linewright.evidence.priors import DEFAULT as STOCK
from linewright.evidence.priors import UNKNOWN_LAW, Priors
from linewright.model.line import AttenuationLaw
from linewright.model.one_end import OneEndTest

GROWTH = np.arange(-1.6, 2.6, 0.0125)
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
        return _of_type(test, test.line.law, test.length_m, priors)
    return _of_any(test, frequencies_hz, priors)


def _normal(x: Floats, mean: float, spread: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((x - mean) / spread) ** 2) / spread)


def _of_type(test: OneEndTest, law: AttenuationLaw, length_m: float, priors: OneEndPriors, s: Priors = STOCK) -> Laws:
    """Return a type's law: a lump of good stocks, most aged, some wet; and, seldom, another line altogether."""
    good = float(np.hypot(law.spread, s.good_spread))
    growth = (1.0 - s.aged_p) * _normal(GROWTH, s.good_shift, good) + s.aged_p * _normal(
        GROWTH, s.good_shift + s.aged_shift, float(np.hypot(good, s.aged_spread))
    )
    growth = (1.0 - priors.stranger_p) * growth + priors.stranger_p * _normal(GROWTH, 0.0, priors.stranger_spread)
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
