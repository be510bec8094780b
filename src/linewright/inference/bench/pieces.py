"""What a bench sheet says of each of its pieces, to be planned with or joined with what other days say."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import replace
from math import exp, log, sqrt
from typing import TYPE_CHECKING

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import Belief, MeterDoubt
from linewright.core.nouns.bench import BenchSheet, Meter, Piece, Reading
from linewright.core.nouns.one_end import Method, OneEndReading, OneEndTest
from linewright.inference.bench.design import Ints, expected_db, jumper_db, lay_out
from linewright.inference.bench.findings import belief_of, log_loss_slopes
from linewright.inference.bench.observations import BESIDE, Block, Path, blocks_of, typed_by_stock
from linewright.inference.bench.posterior import Posterior, infer, without_stock
from linewright.inference.bench.search import Progress
from linewright.inference.priors import DEFAULT, UNKNOWN_LAW, Priors

if TYPE_CHECKING:
    from linewright.inference.one_end.likelihood import FrequencyLikelihood

# Tests with one end in hand, put down as losses told directly, so that the bench engine hears them with the rest

LEAST_SD_DB, LEAST_LOG = 0.01, 0.005
"""No test from one end knows a loss better, in dB or as a share."""
LEAST_BEND = 1e-4
FAR_BELOW, FAR_ABOVE = 0.8, 1.0
"""How far from the matched loss an observation may lie, as a share of it."""
ALIKE: Mapping[Method, float] = {
    "open and short": 0.2, "known load": 0.2, "antenna left connected": 0.5, "resonance": 0.1,
}  # fmt: skip
"""How alike the errors of one method are at several frequencies: what an instrument adds, or an antenna takes, it does
at all of them. Weighed against simulated tests of known truth; readings are widened so that their mean is right."""


SWR_STEP, POOR_SWR = 0.1, 1.4
"""Step of an SWR that is written down, and the least that tells losses through the reference: what a better load sends
back drowns in the bridge's own."""


def with_one_end(sheet: BenchSheet, priors: Priors) -> BenchSheet:
    """Return the sheet with every method of every test from one end as readings on a scale of loss.

    A reading stands for an even spread of the mean and standard deviation it is matched to: the engine needs no more.
    Methods stay apart, so that one may be doubted and the others not. An SWR beside the power is such a test too, of a
    load that is known by what it shows through the reference.
    """
    told = [reading for test in sheet.one_end for reading in _told(test, priors)]
    told += [
        _more(replace(r, meter=BESIDE), jumper_db(sheet, r.frequency_hz) * (sheet.reference.in_place == "replaced"))
        for test in beside(sheet)
        for r in _told(test, priors)
    ]
    names = dict.fromkeys(reading.meter for reading in told)
    return replace(
        sheet,
        meters=(*sheet.meters, *(Meter(name, "loss") for name in names)),
        readings=(*sheet.readings, *told),
        one_end=(),
    )


def beside(sheet: BenchSheet) -> list[OneEndTest]:
    """Return what the SWR beside the power tells of each piece: the load as seen through the reference and through it.

    All meters are loads at one instrument.
    """
    seen: dict[tuple[Path, str, float], list[Reading]] = defaultdict(list)
    for r in sheet.readings:
        if r.swr is not None:
            seen[r.path, r.meter, r.frequency_hz].append(r)
    shown = {key: float(np.mean([r.swr for r in some if r.swr])) for key, some in seen.items()}
    found = []
    for piece in sheet.pieces:
        readings = [
            OneEndReading(seen[path, meter, f][0].row, "load", f, "swr", swr, SWR_STEP, direct=shown[(), meter, f])
            for (path, meter, f), swr in shown.items()
            if path == (piece.tag,) and shown.get(((), meter, f), 1.0) >= POOR_SWR
        ]
        if readings:
            found.append(
                OneEndTest(tuple(readings), line=piece.line, length_m=piece.length_m, connectors=piece.connectors,
                           tag=piece.tag)
            )  # fmt: skip
    return found


def _more(told: Reading, more_db: float) -> Reading:
    """Return a told loss with that of the jumper it was held against."""
    low, high = (told.reading if end is None else end for end in (told.low, told.high))
    return replace(told, reading=told.reading + more_db, low=low + more_db, high=high + more_db)


def _told(test: OneEndTest, priors: Priors) -> Iterator[Reading]:
    from linewright.inference.one_end.posterior import frequency_likelihoods

    for method in dict.fromkeys(r.method for r in test.readings):
        some = replace(test, readings=tuple(r for r in test.readings if r.method == method))
        found = frequency_likelihoods(some)
        shared = 1.0 + ALIKE[method] * (len(found) - 1)
        for said in found:
            mean, sd = _as_observation(said, *_prior_log(test, said.frequency_hz, priors))
            half = sqrt(3.0 * shared) * sd
            yield Reading(
                said.rows[0], method, said.frequency_hz, (test.tag,), said.mean_db, low=mean - half, high=mean + half
            )


def _prior_log(test: OneEndTest, frequency_hz: float, priors: Priors) -> tuple[float, float]:
    """Return mean and standard deviation of the log of the loss before any reading, as one normal density."""
    law = test.line.law if test.line else UNKNOWN_LAW
    new_db = (test.length_m or 1.0) * float(law.db_per_m(frequency_hz))
    new_db += test.connectors * priors.connector_db_per_sqrt_mhz * sqrt(frequency_hz / 1e6)
    if test.line is None:
        return log(new_db), priors.unknown_spread
    shift = priors.bench_aged_p * priors.aged_shift
    spread = priors.bench_aged_p * (priors.aged_spread**2 + priors.aged_shift**2) - shift**2
    below, above = law.beyond(frequency_hz)
    beyond = 0.5 * float(below**2 + above**2)
    return log(new_db) + shift, sqrt(spread + priors.good_spread**2 + law.spread**2 + beyond)


def _as_observation(said: FrequencyLikelihood, log_mean: float, log_sd: float) -> tuple[float, float]:
    """Return mean and standard deviation of the plain observation that does to the prior what the likelihood does.

    The likelihood may be a shelf with no end ("more than 8 dB"), which no observation is by itself. So the moments of
    prior times likelihood are matched in the logarithm of the loss, and the prior is taken out again (expectation
    propagation: T. P. Minka, 2001, section 3.2, from memory). The observation is the one with the same pull and the
    same bend at the matched loss; where it would lie far from there, the pull alone is kept. Where the likelihood is
    narrow, all this is its own mean and standard deviation.
    """
    grid = np.log(said.grid_db)
    width = np.gradient(grid)
    both = width * np.exp(-0.5 * ((grid - log_mean) / log_sd) ** 2 + said.log_likelihood)
    if not both.sum() > 0.0:
        return said.mean_db, max(said.sd_db, LEAST_SD_DB)
    share = both / both.sum()
    middle = float(share @ grid)
    variance = max(float(share @ (grid - middle) ** 2), LEAST_LOG**2)
    pull = (middle - log_mean) / log_sd**2
    bend = max(1.0 / variance - 1.0 / log_sd**2, LEAST_BEND)
    away = pull / bend
    if not -FAR_BELOW <= away <= FAR_ABOVE:
        away = FAR_ABOVE if away > 0 else -FAR_BELOW
        bend = pull / away
    loss_db = exp(middle)
    return loss_db * (1.0 + away), max(loss_db / sqrt(bend), LEAST_SD_DB)


# What a sheet says of its pieces


def posterior_of(sheet: BenchSheet, blocks: list[Block], priors: Priors, progress: Progress | None) -> Posterior:
    """Return what the blocks of a sheet that one end in hand has joined say of everything on it."""
    if sheet.known_exponents:
        priors = replace(priors, known_exponents=sheet.known_exponents)
    return infer(lay_out(sheet, [b for b in blocks if not b.dead], priors), priors, progress)


def beliefs_of(sheet: BenchSheet, *, progress: Progress | None = None, priors: Priors = DEFAULT) -> dict[str, Belief]:
    """Return what a bench sheet lets one believe of each of its pieces, by tag: draws, for whatever is made of them."""
    sheet, _ = typed_by_stock(with_one_end(sheet, priors))
    post = posterior_of(sheet, blocks_of(sheet), priors, progress)
    return {p.tag: belief_of(post, p) for p in sheet.pieces}


@dataclass(frozen=True, slots=True, eq=False)
class SheetMessages:
    """What a sheet says of each piece beyond what was believed of that piece before, to be joined with other days.

    Attributes
    ----------
    beliefs : dict
        The belief of each piece, by tag, the catalogue included.
    losses : dict
        Per tag the frequencies read (hertz), and mean and covariance of ln loss there with the prior of that piece's
        stock taken out. The priors of all else stay in: pieces of known type tell how a meter reads.
    doubts : dict
        Per tag how much of that covariance comes from the meters.
    exponents : tuple
        Per living meter and frequency: its name, hertz, draws of its log exponent without the catalogue, and the spread
        it had before any reading.
    bottoms : tuple of SeenBottom
        Of meters and frequencies with readings at the bottom of their scale.
    """

    beliefs: dict[str, Belief]
    losses: dict[str, tuple[Floats, Floats, Floats]]
    doubts: dict[str, MeterDoubt]
    exponents: tuple[tuple[str, float, Floats, float], ...]
    bottoms: tuple[SeenBottom, ...] = ()


@dataclass(frozen=True, slots=True)
class SeenBottom:
    """What a session shows of the bottom of a meter's scale on a band; levels in dB on that scale.

    Attributes
    ----------
    meter, frequency_hz : str, float
        Which.
    asleep : tuple of (float, float)
        The levels at which it showed nothing, as the other readings tell them: mean and standard deviation.
    awake_db : float
        The lowest level it showed.
    usual_db : float
        The level from which a meter of this scale shows something, where nothing else is known.
    """

    meter: str
    frequency_hz: float
    asleep: tuple[tuple[float, float], ...]
    awake_db: float
    usual_db: float


def messages_of(sheet: BenchSheet, *, progress: Progress | None = None, priors: Priors = DEFAULT) -> SheetMessages:
    """Return what a sheet lets one believe of its pieces, and what it says of each beyond its prior."""
    sheet, _ = typed_by_stock(with_one_end(sheet, priors))
    post = posterior_of(sheet, blocks_of(sheet), priors, progress)
    return messages_in(post, {p.tag: belief_of(post, p) for p in sheet.pieces})


def messages_in(post: Posterior, beliefs: dict[str, Belief]) -> SheetMessages:
    """Return what a sheet that was judged says of its pieces; ``beliefs`` are those of this sheet alone."""
    lay, priors = post.lay, post.priors
    losses, doubts = {}, {}
    for i, piece in enumerate(lay.sheet.pieces):
        mine = np.flatnonzero((lay.strands.piece == i) & lay.read)
        if len(mine):
            mean, covariance, doubts[piece.tag] = _message(post, piece, mine)
            losses[piece.tag] = lay.strands.frequency_hz[mine], mean, covariance
    exponents = tuple(
        (b.meter.name, b.frequency_hz, post.alone[:, lay.exponent.start + i] + post.alone[:, lay.bend],
         priors.exponent_in if b.in_band else priors.exponent_out)
        for i, b in enumerate(lay.blocks)
        if not b.direct
    )  # fmt: skip
    return SheetMessages(beliefs, losses, doubts, exponents, tuple(_bottoms(post)))


def _bottoms(post: Posterior) -> Iterator[SeenBottom]:
    """Yield what the readings show of the bottoms of their scales, of blocks that have readings there."""
    lay = post.lay
    if not lay.bottom.any():
        return
    levels = expected_db(lay, post.draws)
    for i, b in enumerate(lay.blocks):
        rows = np.flatnonzero((lay.block == i) & lay.bottom)
        shown = [o.level_db for o in b.observations if not o.bottom]
        if len(rows) and shown:
            mean, sd = levels[:, rows].mean(axis=0), levels[:, rows].std(axis=0)
            asleep = tuple((float(m), float(s)) for m, s in zip(mean, sd, strict=True))
            yield SeenBottom(b.meter.name, b.frequency_hz, asleep, min(shown), float(lay.upper_db[rows].min()))


def _message(post: Posterior, piece: Piece, strands: Ints) -> tuple[Floats, Floats, MeterDoubt]:
    """Return mean and covariance of ln loss of a piece without the prior of its stock, over configurations.

    Besides: what of that covariance goes with the log exponents of the detectors.
    """
    lay = post.lay
    read = np.flatnonzero(~lay.direct)
    weights, means, covariances = [], [], []
    for weight, mode, freed, covariance in without_stock(post, lay.stocks.index(piece.stock_name)):
        log_loss, slope = log_loss_slopes(lay, mode, post.priors)
        bent = np.zeros((len(read), lay.size))
        bent[np.arange(len(read)), lay.exponent.start + read] = bent[:, lay.bend] = 1.0
        both = np.concatenate([slope[strands], bent])
        weights.append(weight)
        means.append(np.concatenate([log_loss[strands], bent @ mode]) + both @ (freed - mode))
        covariances.append(both @ covariance @ both.T)
    share, each = np.array(weights), np.array(means)
    middle = share @ each
    off = each - middle
    whole = np.einsum("c,cij->ij", share, np.array(covariances)) + np.einsum("c,ci,cj->ij", share, off, off)
    n = len(strands)
    slopes = np.linalg.lstsq(whole[n:, n:], whole[n:, :n], rcond=None)[0].T
    meters = tuple((lay.blocks[i].meter.name, lay.blocks[i].frequency_hz) for i in read.tolist())
    return middle[:n], whole[:n, :n], MeterDoubt(meters, slopes, whole[n:, n:])
