"""What is believed of a piece: draws of its attenuation law, of its connectors and of its joints."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linewright.core.arrays import Floats
from linewright.core.formulas.faults import series_capacitance_db, shunt_capacitance_db
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.bench_result import Cause
from linewright.core.nouns.line import AttenuationLaw

CATALOGUE = say("catalogue")
"""What a belief rests on before anything was measured."""

SAME_BAND = 0.03
"""Frequencies nearer to each other than this share depart from the law alike."""
LEAST_DB = 1e-3
"""No line with connectors loses less."""


@dataclass(frozen=True, slots=True)
class FaultShape:
    """How a fault's loss goes with frequency, dB per unit of its size.

    ``value`` is a capacitance in farad for a broken conductor or a wet plug (the unit is that capacitance), a frequency
    in hertz for water (1 dB there, growing with f) and for a braid that takes one band (1 dB there, nothing elsewhere).
    """

    cause: Cause
    value: float
    z0_ohm: float = 50.0

    def db(self, frequency_hz: ArrayLike) -> Floats:
        """Return the loss at frequencies, dB per unit.

        >>> FaultShape("water", 100e6).db([50e6, 200e6])
        array([0.5, 2. ])
        """
        f = np.asarray(frequency_hz, dtype=np.float64)
        if self.cause == "open conductor":
            return series_capacitance_db(self.value, f, self.z0_ohm)
        if self.cause == "wet connector":
            return shunt_capacitance_db(self.value, f, self.z0_ohm)
        if self.cause == "water":
            return np.asarray(f / self.value)
        return np.asarray(np.abs(f / self.value - 1.0) < SAME_BAND, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """Draws of one piece's loss, all of shape (draws,), so that figures made of them keep their correlation.

    ``L (conductor(f) G + dielectric(f) G H) D + connectors √f + joints + faults``, with f in MHz.

    Attributes
    ----------
    piece : Piece
        Whose loss it is.
    law : AttenuationLaw
        The law of the piece's type when new; what G and H multiply.
    growth, wet : ndarray
        G, the multiplier of the whole law, and H, the further multiplier of its dielectric part.
    departure : ndarray
        D, the multiplier by which a single frequency departs from the law.
    measured : tuple of (float, ndarray)
        Frequencies in hertz that were measured, with draws of D there: what is known best is known best there.
    doubt : ndarray or None
        Standard normal draws, alike at all frequencies not measured: by so many of the law's own further standard
        deviations (``AttenuationLaw.beyond``) D is more or less there. None where there are none.
    connector_db_per_sqrt_mhz : ndarray
        All connectors of the piece together.
    joint_db, joint_db_per_sqrt_mhz : ndarray
        What bad joints lose beyond sound connectors: alike on all bands, and growing with √f.
    faults : tuple of (FaultShape, ndarray)
        Faults with a shape of their own, with draws of their size.
    basis : str
        What it rests on, in words: "catalogue", "bench readings of spring.toml".
    """

    piece: Piece
    law: AttenuationLaw
    growth: Floats
    wet: Floats
    departure: Floats
    connector_db_per_sqrt_mhz: Floats
    joint_db: Floats
    joint_db_per_sqrt_mhz: Floats
    basis: str = CATALOGUE
    measured: tuple[tuple[float, Floats], ...] = ()
    doubt: Floats | None = None
    faults: tuple[tuple[FaultShape, Floats], ...] = ()

    @property
    def draws(self) -> int:
        """How many draws it holds."""
        return len(self.growth)

    def parts_db(self, frequency_hz: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """Return draws of the conductor part, the dielectric part and the ends, dB, shaped (*frequency, draws)."""
        f = np.asarray(frequency_hz, dtype=np.float64)[..., None]
        conductor, dielectric = self.law.parts_db_per_m(f)
        grown = self.piece.length_m * self.growth * self.departure_at(f)
        root = np.sqrt(f / 1e6)
        ends = (self.connector_db_per_sqrt_mhz + self.joint_db_per_sqrt_mhz) * root + self.joint_db
        for shape, size in self.faults:
            ends = ends + shape.db(f) * size
        return grown * conductor, grown * self.wet * dielectric, ends

    def departure_at(self, frequency_hz: Floats) -> Floats:
        """Return draws of D at frequencies shaped (*frequency, 1): of the same band as one measured, those of it."""
        usual = self.departure
        if self.doubt is not None:
            below, above = self.law.beyond(frequency_hz)
            usual = usual * np.exp(np.where(self.doubt > 0, above, below) * self.doubt)
        if not self.measured:
            return usual
        out = np.broadcast_to(usual, (*frequency_hz.shape[:-1], self.draws)).copy()
        for hertz, draws in self.measured:
            out[np.abs(frequency_hz[..., 0] / hertz - 1.0) < SAME_BAND] = draws
        return out

    def taken(self, rows: NDArray[np.int_]) -> Belief:
        """Return a belief of some of the draws, in the order of ``rows``."""
        return replace(
            self,
            growth=self.growth[rows],
            wet=self.wet[rows],
            departure=self.departure[rows],
            connector_db_per_sqrt_mhz=self.connector_db_per_sqrt_mhz[rows],
            joint_db=self.joint_db[rows],
            joint_db_per_sqrt_mhz=self.joint_db_per_sqrt_mhz[rows],
            measured=tuple((f, draws[rows]) for f, draws in self.measured),
            doubt=None if self.doubt is None else self.doubt[rows],
            faults=tuple((shape, draws[rows]) for shape, draws in self.faults),
        )

    def state(self) -> Floats:
        """Return the draws as numbers that may be moved freely, (state, draws): multipliers as logarithms, dB as dB."""
        departures = [self.departure, *(draws for _, draws in self.measured)]
        ends = [self.connector_db_per_sqrt_mhz, self.joint_db, self.joint_db_per_sqrt_mhz]
        return np.stack([*ends, *(np.log(x) for x in (self.growth, self.wet, *departures))])

    def at_state(self, state: Floats) -> Belief:
        """Return the same belief with other draws, given as ``state`` gives them; no end gains."""
        connectors, joint, root = np.maximum(state[:3], 0.0)
        growth, wet, departure, *measured = np.exp(state[3:])
        return replace(
            self,
            growth=growth,
            wet=wet,
            departure=departure,
            connector_db_per_sqrt_mhz=connectors,
            joint_db=joint,
            joint_db_per_sqrt_mhz=root,
            measured=tuple((f, draws) for (f, _), draws in zip(self.measured, measured, strict=True)),
        )

    def line_db(self, frequency_hz: ArrayLike) -> Floats:
        """Return draws of the loss of the line alone, dB, shaped (*frequency, draws)."""
        conductor, dielectric, _ = self.parts_db(frequency_hz)
        return np.asarray(np.maximum(conductor + dielectric, LEAST_DB))

    def ends_db(self, frequency_hz: ArrayLike) -> Floats:
        """Return draws of what connectors and joints lose, dB, shaped (*frequency, draws)."""
        return self.parts_db(frequency_hz)[2]

    def loss_db(self, frequency_hz: ArrayLike) -> Floats:
        """Return draws of the whole loss, dB, shaped (*frequency, draws)."""
        return np.asarray(np.maximum(sum(self.parts_db(frequency_hz)), LEAST_DB))


@dataclass(frozen=True, slots=True, eq=False)
class MeterDoubt:
    """What a session does not know of its meters, and what that does to a loss: alike in all sessions of a meter.

    Attributes
    ----------
    meters : tuple of (str, float)
        Each detector that was read, a meter and a frequency in hertz.
    slopes : ndarray, shape (f, m)
        By how much ln loss on each band goes with the log exponent of each.
    covariance : ndarray, shape (m, m)
        How well the session knows these exponents.
    """

    meters: tuple[tuple[str, float], ...]
    slopes: Floats
    covariance: Floats

    @property
    def of_loss(self) -> Floats:
        """The covariance of ln loss that comes from the meters, (f, f)."""
        return np.asarray(self.slopes @ self.covariance @ self.slopes.T)


@dataclass(frozen=True, slots=True, eq=False)
class Beside:
    """What a session says of another piece than the one in question.

    Attributes
    ----------
    tag, length_m : str, float
        Which, and how long it was.
    frequencies_hz, log_loss, covariance : ndarray, shapes (f), (f) and (f, f)
        Where it looked, and mean and covariance of ln loss (dB) there.
    """

    tag: str
    length_m: float
    frequencies_hz: Floats
    log_loss: Floats
    covariance: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Elsewhere:
    """What another test says of pieces that lay beside one: a session without that one, or a sweep.

    ``name`` tells tests apart; ``source`` is "bench" or "sweep"; ``meters`` are as in a test of the piece itself.
    """

    name: str
    year: float
    source: str
    frequencies_hz: Floats
    meters: tuple[int, ...]
    beside: tuple[Beside, ...]


@dataclass(frozen=True, slots=True, eq=False)
class OneTest:
    """What one test says of a piece.

    Attributes
    ----------
    year : float
        When, in years.
    frequencies_hz : ndarray, shape (f,)
        Where it looked; at least one.
    belief : Belief
        What it lets one believe, the catalogue included.
    before : Belief, optional
        What was believed before it, where the belief holds that too; None for a test that speaks alone.
    log_loss : pair of ndarray, shapes (f) and (f, f), optional
        Mean and covariance of what it says of ln loss beyond what was believed of the piece before; None for a test
        that speaks alone.
    length_m, connectors : float, int
        The piece as it was in the test; 0 for as it is now, -1 for as many as now.
    meters : tuple of int
        How many meters read it at each frequency.
    beside : tuple of Beside
        What the same session says of other pieces, those of its own stock left out.
    elsewhere : tuple of Elsewhere
        What other tests up to that day say of those pieces.
    doubt : MeterDoubt, optional
        How much of that covariance comes from the session's meters; None for a test that speaks alone.
    """

    year: float
    frequencies_hz: Floats
    belief: Belief
    before: Belief | None = None
    log_loss: tuple[Floats, Floats] | None = None
    length_m: float = 0.0
    connectors: int = -1
    meters: tuple[int, ...] = ()
    beside: tuple[Beside, ...] = ()
    elsewhere: tuple[Elsewhere, ...] = ()
    doubt: MeterDoubt | None = None
