"""The model of a piece over the years: what a test tells, how a piece changes, and what each costs beforehand.

The loss of a piece at frequency f in test i, as a logarithm:

    ln L_i(f) = ln( l_i (c(f) e^g + d(f) e^(g+h)) e^δ(f) + C √f e^k + j0 + j1 √f )

with g, h the log multipliers of its law and of its dielectric part, k that of its connectors, j0 and j1 what bad joints
lose, δ what one band departs from the law, and l_i the length it had in that test. In test i, g, h and j0 stand at
their first value, plus a random walk (g alone), plus ageing at a steady rate, plus a step.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import Beside, Elsewhere, MeterDoubt
from linewright.core.nouns.line import AttenuationLaw
from linewright.inference.priors import DEFAULT, Priors

Term = Literal["line", "dielectric", "joint", "repair"]
"""What changes: the line, its dielectric alone, a joint; or joints are made anew and the line is a little shorter."""

WALK = 0.01
"""Standard deviation of the walk of ln loss over a year; it grows with the root of the years."""
REMADE = 0.012
"""A test of another day repeats to about this share of the loss, connectors made off again (common practice)."""
SHARED = 0.5
"""Share of a test's variance that every other test of the same kind has in common with it: the same meters, the same
reflections, the same jumper. Chosen on made-up histories (``benchmarks/histories.py``, seeds 100 to 199)."""
SHARED_BANDS = 0.4
"""How alike that share is on different bands."""
UNEVEN = 0.03
"""A wide message is no Gaussian: this share of its variance on a band is taken as that band's own."""
AGES_P = 0.14
"""How likely a piece ages steadily at all (chosen on made-up histories, tuning seed 103)."""
DAYS = 3
"""From tests of so many days on that is likelier where the neighbours age: those of two do not tell it from a step."""
RATES = ((0.02, 0.012, 0.34), (0.05, 0.02, 0.33), (0.10, 0.03, 0.23), (0.17, 0.05, 0.10))
"""Rates of ln loss a year, each with a spread and a weight: an exponential of 5 % a year (common practice, no source)
in four normal pieces. The lump at no ageing is what ``AGES_P`` leaves."""
WET_RATES = ((0.10, 0.06, 0.6), (0.30, 0.12, 0.4))
"""The same for a dielectric alone."""
DIELECTRIC_AGES = 0.15
"""Share of ageing that is of the dielectric alone."""
STEP_A_YEAR, STEP_BETWEEN = 0.035, 0.015
"""How likely a step is: in a year, and between any two days besides (a guess of ours, no source)."""
STEPS: dict[Term, tuple[tuple[float, float, float], ...]] = {
    "line": ((0.45, 0.25, 0.40), (-0.3, 0.25, 0.08)),
    "dielectric": ((1.0, 0.6, 0.14), (2.0, 0.7, 0.06)),
    "joint": ((1.5, 1.2, 0.20),),
    "repair": ((-0.08, 0.07, 0.12),),
}
"""How far a step goes (ln; dB for a joint): mean, spread and weight. Up is likelier than down (a guess of ours)."""
MENDED_P = 0.1
"""How likely a bad joint is made anew between two tests, at the least: whoever reads one mends it (a guess of ours)."""
CREEPS = 0.5
"""Share of steps of a dielectric after which it goes on growing: water creeps on."""
OTHER_P = 0.012
"""How likely a test is of another piece (a guess of ours, no source)."""
OTHER_LOG, OTHER_FREEDOM = 0.7, 4.0
OTHER_BANDS = ((0.06, 0.4), (0.25, 0.6))
"""How far the loss of another piece lies from that of the type and length on the tag: ln, on all bands, and on each
besides, where it is of the same type but another length, or of another type; each with its weight. A Student
distribution of so many degrees of freedom (guesses of ours)."""
EXCHANGED_P, EXCHANGED_LOG = 0.5, 0.04
"""How likely that other piece is one that was on the bench that day, where there are any, and how far its loss lies
from that of its own other tests (ln; guesses of ours)."""
OTHER_STEPS_P = 0.1
"""How likely that other piece stepped between two of its tests, or aged so far (a guess of ours)."""
BETWEEN_LOG, BEYOND = 0.05, 0.2
"""How far the loss of such a piece on a band lies from a straight line between two others (ln), and the slope beyond
them from a half: a tag that is wrong is wrong in all tests of a day (guesses of ours)."""
ROUGH_P, ROUGH_LOG = 0.04, 0.12
"""How likely a test is much less good than it says, and by how much (ln, on all bands and half of it on each)."""

BLANK_P, BLANK_LOG = 0.01, 2.0
"""How likely one band of a test says nothing, as where a detector is asleep there, and how far off it is (ln)."""


@dataclass(frozen=True, slots=True, eq=False)
class PieceTest:
    """What one test says by itself of the loss of a piece: a Gaussian message without the catalogue.

    Attributes
    ----------
    year : float
        When, in years.
    frequencies_hz : ndarray, shape (f,)
        Where it looked; at least one.
    log_loss : ndarray, shape (f,)
        The mean of ln loss (dB) there.
    covariance : ndarray, shape (f, f)
        Its covariance.
    length_m : float
        How long the piece was.
    connectors : int
        How many it had.
    source : str
        Tests of one source share part of their errors.
    meters : tuple of int
        How many meters read it at each frequency; empty for one.
    beside : tuple
        What the same session says of other pieces, those of its own stock left out: they tell how its meters
        read that day (``sessions.py``), and whether tags were exchanged.
    elsewhere : tuple
        What other tests up to that day say of those pieces.
    doubt : MeterDoubt, optional
        How much of its covariance comes from the meters of its session, which other sessions have in common with it.
    """

    year: float
    frequencies_hz: Floats
    log_loss: Floats
    covariance: Floats
    length_m: float
    connectors: int = 2
    source: str = "bench"
    meters: tuple[int, ...] = ()
    beside: tuple[Beside, ...] = ()
    elsewhere: tuple[Elsewhere, ...] = ()
    doubt: MeterDoubt | None = None


@dataclass(frozen=True, slots=True)
class PieceClaim:
    """What the tag says of a piece: its law when new, whether that is known, its length and its connectors."""

    law: AttenuationLaw
    known: bool
    length_m: float
    connectors: int
    priors: Priors = DEFAULT


@dataclass(frozen=True, slots=True)
class Start:
    """How a piece may have stood at its first test: mean and spread of g, h, j0, j1, and its log weight."""

    mean: tuple[float, float, float, float]
    spread: tuple[float, float, float, float]
    log_weight: float


class Explanation(NamedTuple):
    """One explanation of all tests together. ``start`` is the number of a :class:`Start`.

    A search makes thousands, which is why it is a tuple.

    Attributes
    ----------
    rate, rate_of : tuple, Term
        Mean and spread of the rate a year, and of what; (0, 0) for none.
    step, step_of, step_after : tuple, Term, int
        Mean and spread of a step, of what, and after which test; -1 for none.
    other, rough : tuple of int
        Tests of another piece, and tests less good than they say.
    blank : tuple of int
        Observations that say nothing: one band of one test.
    meters : int
        Which of the problem's explanations of how the sessions read.
    """

    start: int
    log_weight: float
    rate: tuple[float, float] = (0.0, 0.0)
    rate_of: Term = "line"
    step: tuple[float, float] = (0.0, 0.0)
    step_of: Term = "line"
    step_after: int = -1
    other: tuple[int, ...] = ()
    rough: tuple[int, ...] = ()
    blank: tuple[int, ...] = ()
    meters: int = 0

    @property
    def kinds(self) -> tuple[str, ...]:
        """The codes of what it says happened; "steady" where nothing did."""
        found = []
        if self.step_after >= 0:
            found.append("step")
        elif self.rate[1] > 0:
            found.append("ageing")
        if self.other:
            found.append("other piece")
        return tuple(found) or ("steady",)


def starts_of(claim: PieceClaim) -> list[Start]:
    """Return how a piece may have stood at its first test: good or aged, dry or wet, with or without a bad joint.

    Age is as likely as on the bench, so that what a test says of a piece and what follows from it agree.
    """
    p = claim.priors
    if claim.known:
        good = float(np.hypot(claim.law.spread, p.good_spread))
        aged = float(np.hypot(good, p.aged_spread))
        laws = [(p.good_shift, good, 1 - p.bench_aged_p), (p.good_shift + p.aged_shift, aged, p.bench_aged_p)]
        wets = [(p.good_wet_spread, 1 - p.wet_p), (np.hypot(p.good_wet_spread, p.wet_spread), p.wet_p)]
    else:
        laws, wets = [(0.0, p.unknown_spread, 1.0)], [(p.wet_spread, 1.0)]
    usual, bad = p.joint_usual_db, float(np.hypot(p.joint_usual_db, 2 * p.joint_spread_db))
    joints = [
        ((0.0, 0.0), (usual, usual), 1 - 2 * p.joint_p),
        ((2 * p.joint_db, 0.0), (bad, usual), p.joint_p),
        ((0.0, p.joint_db), (usual, p.joint_spread_db), p.joint_p),
    ]
    return [
        Start((g, 0.0, *j), (gs, hs, *js), float(np.log(gw * hw * jw)))
        for g, gs, gw in laws
        for hs, hw in wets
        for j, js, jw in joints
    ]
