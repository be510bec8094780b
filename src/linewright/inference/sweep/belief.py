"""From a sweep to a belief: draws of a piece's loss that a plan or a bench can use."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.formatting import frequency, plain, signed
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say, together
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.sweep import Agreement, SweepFinding
from linewright.inference.bench.design import law_of
from linewright.inference.priors import DEFAULT, Priors

# From a sweep to a belief: draws of a piece's loss that a plan or a bench can use

SEED = 20_240_225
LEAST = 1e-6
"""No multiplier is smaller: a loss of nothing has no logarithm."""


def law_belief(finding: SweepFinding, piece: Piece, *, priors: Priors = DEFAULT, seed: int = SEED) -> Belief:
    """Return draws of a piece's loss as its sweep tells them, about the law of its type.

    The draws keep how k0, k1 and k2 hang together. Connectors cannot be told from line by one sweep: they get what
    connectors usually lose, the line the rest. A constant becomes loss in the joints. What the loss wanders about the
    law becomes the departure of a single frequency. Outside the sweep the belief is an extrapolation of its law.

    Parameters
    ----------
    finding : SweepFinding
        What a sweep of this very piece says.
    piece : Piece
        Its tag, length, type (None: a middling cable stands in) and connectors.
    priors : Priors
        What connectors and joints usually do.
    seed : int
        Of the draws.

    Returns
    -------
    Belief
        Draws of the law's parts, each of shape (draws,), in dB per metre at 1 MHz.

    Raises
    ------
    InputError
        If the finding has no law.

    References
    ----------
    ``loss = k0 + k1 √f + k2 f``, f in MHz: skin effect and loss tangent (D. M. Pozar, Microwave Engineering, 4th ed.,
    section 2.7, equations 2.85 and 1.125; places from memory).

    >>> from linewright.core.nouns.bench import Piece
    >>> from linewright.verbs.examples import demo_file
    >>> from linewright.verbs.sweep import read_sweep
    >>> finding = read_sweep([demo_file("drum.s2p")]).finding
    >>> belief = law_belief(finding, Piece("drum", 30.0, None, 2))
    >>> belief.growth.shape == belief.joint_db.shape
    True
    """
    if finding.law is None:
        raise InputError(
            "finding",
            say("must have a law of the loss; {name} has none", name=finding.name),
            cure=say("Sweep it again."),
        )
    rng, law = np.random.default_rng(seed), law_of(piece).two_terms()
    k0, k1, k2 = finding.law.draws.T
    plugs = _connectors(piece, k1, rng, priors)
    growth = np.maximum((k1 - plugs) / (piece.length_m * law.k1_db_per_m), LEAST)
    wet = np.maximum(k2, 0.0) / (piece.length_m * growth * law.k2_db_per_m) if law.k2_db_per_m > 0 else np.ones(len(k1))
    joints = k0 - piece.length_m * growth * law.k0_db_per_m
    return Belief(
        piece, law, growth, np.maximum(wet, LEAST), _departure(finding, rng), plugs, joints, np.zeros(len(k1)),
        say("sweep {sweep}", sweep=finding.name),
    )  # fmt: skip


def _connectors(piece: Piece, k1: Floats, rng: np.random.Generator, priors: Priors) -> Floats:
    """Return what all connectors lose at 1 MHz, dB: as usual, and at most half of what the sweep found."""
    usual = piece.connectors * priors.connector_db_per_sqrt_mhz
    drawn = usual * np.exp(priors.connector_spread * rng.standard_normal(len(k1)))
    return np.asarray(np.minimum(drawn, 0.5 * np.maximum(k1, 0.0)))


def _departure(finding: SweepFinding, rng: np.random.Generator) -> Floats:
    """Return the multiplier by which one frequency leaves the law: the wander as a share of a middling loss."""
    law = finding.law
    assert law is not None
    low, high = law.valid_hz
    f = np.sqrt(low * high) / 1e6 if low > 0 else high / 2e6
    middle = law.k1_db.value * np.sqrt(f) + law.k2_db.value * f
    share = min(law.departure_db / max(middle, LEAST), 0.3)
    return np.asarray(np.exp(share * rng.standard_normal(len(law.draws))))


# A sweep beside bench readings: one belief from both, or the likeliest cause of their contradiction


UNLIKELY = 0.01
RIVAL = 1.6
"""A cause less than this many nats behind (a fifth as likely) is named as well."""

LEAST_U = 0.01
"""No belief of a loss is surer than this, as a logarithm: 1 %."""


@dataclass(frozen=True, slots=True)
class _Cause:
    """One way two beliefs may differ: how its difference runs over frequency, in dB, and how large it may well be."""

    name: str
    shape: Floats
    sd_db: float
    weight: float
    words: str


def agree(bench: Belief, sweep: Belief, frequencies_hz: Sequence[float], *, seed: int = 0) -> Agreement:
    """Return what a bench belief and a sweep belief of one piece say together.

    The sweep is taken as measurements of the loss at the frequencies given, with the covariance of its draws. Each
    draw of the bench belief is moved by the gain that the covariances make (the ensemble form of Kalman's update:
    G. Evensen, Data Assimilation, 2009, chapter 4, from memory), so that figures made of the draws keep their
    correlation. If the two lie farther apart than chance allows, the causes met at a bench are held against the
    difference, and both covariances are widened before they are joined.

    Parameters
    ----------
    bench, sweep : Belief
        Of the same piece.
    frequencies_hz : sequence of float
        Where both were measured; at least one.

    Raises
    ------
    InputError
        If there is no frequency, or the pieces differ.
    """
    if not len(frequencies_hz):
        raise InputError(
            "frequencies_hz",
            say("must hold at least one frequency"),
            cure=say("Give frequencies at which both were measured."),
        )
    if bench.piece.tag != sweep.piece.tag:
        raise InputError(
            "sweep", say("must be of piece {tag}; it is of {other}", tag=bench.piece.tag, other=sweep.piece.tag)
        )
    f = np.asarray(frequencies_hz, dtype=np.float64)
    mine, other = bench.loss_db(f), sweep.loss_db(f)
    floor = np.diag((LEAST_U * other.mean(axis=1)) ** 2)
    c_bench, c_sweep = _covariance(mine) + floor, _covariance(other) + floor
    off = np.median(mine, axis=1) - np.median(other, axis=1)
    square = float(off @ np.linalg.solve(c_bench + c_sweep, off))
    p = _tail(square, len(f))
    contradicts = p < UNLIKELY
    widen = square / len(f) if contradicts else 1.0
    combined = _updated(bench, other.mean(axis=1), c_sweep, f, (widen, seed))
    combined = replace(combined, basis=together([bench.basis, sweep.basis], say(" and ")))
    cause, why = _likeliest(off, c_bench + c_sweep, f, np.median(other, axis=1)) if contradicts else ("", "")
    rows = tuple((float(x), float(d)) for x, d in zip(f, off, strict=True))
    return Agreement(combined, contradicts, p, cause, why, rows)


def _covariance(draws: Floats) -> Floats:
    return np.atleast_2d(np.cov(draws))


def _tail(square: float, degrees: int) -> float:
    from scipy.stats import chi2

    return float(chi2.sf(square, degrees))


def _updated(bench: Belief, seen: Floats, noise: Floats, f: Floats, how: tuple[float, int]) -> Belief:
    """Return the bench belief moved by the sweep; ``how`` holds the widening and the seed."""
    widen, seed = how
    rng = np.random.default_rng(seed)
    state = bench.state()
    state = state.mean(axis=1, keepdims=True) + np.sqrt(widen) * (state - state.mean(axis=1, keepdims=True))
    loss = bench.at_state(state).loss_db(f)
    steps, shown = state - state.mean(axis=1, keepdims=True), loss - loss.mean(axis=1, keepdims=True)
    n = bench.draws - 1
    gain = (steps @ shown.T / n) @ np.linalg.inv(shown @ shown.T / n + widen * noise)
    told = seen[:, None] + rng.multivariate_normal(np.zeros(len(f)), widen * noise, bench.draws).T
    return bench.at_state(state + gain @ (told - loss))


def _likeliest(off: Floats, covariance: Floats, f: Floats, loss: Floats) -> tuple[str, str]:
    """Return the cause under which the difference is likeliest, and its words; a near rival is named with it.

    Each cause adds its own shape to the covariance.
    """
    causes = _causes(off, f, loss)
    scores = np.array(
        [np.log(c.weight) + _gaussian(off, covariance + c.sd_db**2 * np.outer(c.shape, c.shape)) for c in causes]
    )
    first, second = (causes[int(i)] for i in np.argsort(-scores)[:2])
    near = np.sort(scores)[-1] - np.sort(scores)[-2] < RIVAL
    if not near:
        return first.name, first.words
    rival = say("Or nearly as likely ({cause}): {words}", cause=say(second.name), words=second.words)
    return first.name, together([first.words, rival])


def _causes(off: Floats, f: Floats, loss: Floats) -> list[_Cause]:
    more = say("the bench") if off.mean() > 0 else say("the sweep")
    share = float(np.median(off / loss))
    everywhere = say(
        "The two differ by about the same {difference} dB everywhere, and {more} shows more: an attenuator, a filter "
        "or a poor contact was between the sweep's calibration and the line, or in only one of the bench paths.",
        difference=plain(float(abs(np.median(off))), 2), more=more,
    )  # fmt: skip
    rising = say(
        "The difference grows with √f, and {more} shows more: an adapter or a short jumper was in one measurement "
        "and not in the other. Calibrate at the line's own connectors.",
        more=more,
    )
    ratio = say(
        "The two are in the same ratio everywhere, {ratio}: one of them is of another length or piece, or the line"
        " changed between the two.",
        ratio=plain(1 + share, 2),
    )
    found = [
        _Cause(mark("calibration plane"), np.ones(len(f)), 0.4, 1.0, everywhere),
        _Cause(mark("adapter left in"), np.sqrt(f / f.max()), 0.25, 1.0, rising),
        _Cause(mark("wrong length"), loss / loss.max(), 0.15 * float(loss.max()), 0.8, ratio),
    ]
    for i, hertz in enumerate(f if len(f) > 1 else ()):
        alone = say(
            "They differ only at {f}, by {difference} dB: there the meter does not read in proportion to power. Use "
            "the sweep for that band.",
            f=frequency(float(hertz)), difference=signed(float(off[i]), 2),
        )  # fmt: skip
        found.append(_Cause(mark("meter at one band"), np.eye(len(f))[i], 1.0, 0.6 / len(f), alone))
    return found


def _gaussian(off: Floats, covariance: Floats) -> float:
    _, size = np.linalg.slogdet(covariance)
    return float(-0.5 * off @ np.linalg.solve(covariance, off) - 0.5 * size)
