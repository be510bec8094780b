"""What to measure next: the reading that is expected to take most from the error of the losses in doubt."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from functools import partial
from itertools import product
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from linewright.core.arrays import Floats, median
from linewright.core.formatting import decimals_for, digits, frequency, plain, quantity
from linewright.core.formulas.mismatch import mismatch_uncertainty_db
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say
from linewright.core.nouns.belief import LEAST_DB, Belief
from linewright.core.nouns.bench import Meter, Piece
from linewright.core.nouns.bench_result import Lacking, LossFinding, NextReading
from linewright.core.quantities import reflection_from_swr
from linewright.inference.bench.design import Ints
from linewright.inference.bench.findings import BANDS_HZ
from linewright.inference.bench.hypotheses import SHARED
from linewright.inference.bench.observations import BESIDE, Block, Observation
from linewright.inference.bench.posterior import DRAWS, Posterior, shares
from linewright.inference.priors import HIGH_HZ

WORTH_NATS = 0.03
"""What narrows the loss that gains most by less is not worth a reading. Chosen on benches of known truth: taking what
narrows by half as much too made the error 7 % larger (se 4) on 107 benches that stopped short of three readings."""
MOST = 3
MOST_LOSSES = 40
MOST_PIECES = 6
"""Of how many pieces readings are weighed: those whose losses are most in doubt."""
WIDE = 0.25
"""A loss whose interval is wider than this share of it either way is in doubt."""
SETTLED = 0.1
"""What the error of a loss counts that is in no doubt, where others are."""
READABLE_HZ = (1.85e6, *BANDS_HZ)
UHF_HZ = 450e6
"""Beyond it nobody is sent who read nothing above ``HIGH_HZ``."""
PAD_DB = 3.0
FARTHEST = 10.0
"""A meter of no stated band is not proposed further than this factor from where it was read."""
STEPS = {"dBm": 0.0, "dB": 0.0, "volts": 0.5}
"""How the decibels of a scale's step grow as the power falls; on other scales with its inverse."""
READ_AGAIN = mark("Read the pair again: reference, {piece}, reference, at {frequency} on the {meter}.")
TAKE_REFERENCE = mark("Take a reference reading at {frequency} on the {meter}.")
READ_PAD = mark("Read through the attenuator {attenuator} at {frequency} on the {meter}.")
READ_ANY_PAD = mark("Read through an attenuator of known loss (about {loss}) at {frequency} on the {meter}.")
READ_BAND = mark("Read {piece} and the reference at {frequency} as well, on the {meter}.")
READ_ONE_END = mark("Read the SWR of {piece} at {frequency} as well, its far end open and then shorted.")
READ_ANOTHER = mark("Read another length: reference, {piece}, reference, at {frequency} on the {meter}.")


LACKING: tuple[Lacking, ...] = get_args(Lacking)
ATTENUATOR, SECOND_METER = LACKING


@dataclass(frozen=True, slots=True)
class ReadingCandidate:
    """A reading that could be taken: draws of what it would show beside its reference, dB, and its own variance, dB².

    ``action`` says what to do, which few of all candidates are ever asked.
    """

    kind: str
    action: Callable[[], str]
    meter: str | None
    frequency_hz: float | None
    path: str | None
    level_db: Floats
    own: float

    @property
    def needs(self) -> Lacking | None:
        """What it needs that is not on the sheet."""
        if self.kind == "pad" and self.path is None:
            return ATTENUATOR
        return SECOND_METER if self.kind == "meter" and self.meter is None else None


def next_readings(
    post: Posterior, blocks: list[Block], known: LossDraws, doubt: LossesInDoubt, lacking: Collection[Lacking] = ()
) -> tuple[NextReading, ...]:
    """Return up to ``MOST`` readings worth taking, best first, each given that those before it are taken.

    The best takes most from the sum of the standard deviations of the log losses, those in doubt before all. What a
    reading z leaves of the variance of a log loss l is ``var l - cov(l, z)²/var z``, over the draws of all rival
    explanations (Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, equation A.6). What needs gear
    that is ``lacking`` is not proposed. Where what is proposed needs gear, the last place is for what needs none.
    """
    if not len(doubt.strand):
        return ()
    every = [c for c in _candidates(post, blocks, known, doubt.pieces) if c.needs not in lacking]
    return tuple(_choose(post, every, doubt)) if every else ()


class LossesInDoubt:
    """What a reading should settle: the losses whose error counts most, and the pieces they are of.

    In doubt is a loss whose interval in ``found`` is wider than ``WIDE`` either way, or whose piece is ``undecided``.
    The others count ``SETTLED`` of that, or all alike where none is in doubt. ``strand`` says which losses, at most
    ``MOST_LOSSES``; ``logs`` are their log draws less the mean, (draws, n), and ``weight`` what each counts.
    """

    def __init__(
        self, post: Posterior, strands: Floats, found: Sequence[LossFinding], undecided: Collection[str]
    ) -> None:
        s, pieces = post.lay.strands, post.lay.sheet.pieces
        ends = {(x.piece, x.frequency_hz): (x.loss_db_low, x.loss_db, x.loss_db_high) for x in found}
        tags = [pieces[p].tag for p in s.piece.tolist()]
        self._ends = [ends[key] for key in zip(tags, s.frequency_hz.tolist(), strict=True)]
        in_doubt = np.array([
            high - low > 2.0 * WIDE * middle or tag in undecided
            for tag, (low, middle, high) in zip(tags, self._ends, strict=True)
        ])  # fmt: skip
        weight = np.where(in_doubt, 1.0, SETTLED) if in_doubt.any() else np.ones(len(in_doubt))
        logs = np.log(strands)
        logs -= logs.mean(axis=0)
        error = weight * logs.std(axis=0)
        self.strand: Ints = np.argsort(-error, kind="stable")[:MOST_LOSSES]
        self.logs, self.weight = logs[:, self.strand], weight[self.strand]
        of_piece = np.bincount(s.piece, error, len(pieces))
        self.pieces = [pieces[i] for i in np.argsort(-of_piece, kind="stable")[:MOST_PIECES].tolist()]

    def half_db(self, at: int) -> float:
        """Return half of the interval of one of these losses."""
        low, _, high = self._ends[int(self.strand[at])]
        return 0.5 * (high - low)


def _choose(post: Posterior, every: list[ReadingCandidate], doubt: LossesInDoubt) -> Iterator[NextReading]:
    """Yield the best reading, then the best given that one, as for Gaussians: each takes its part of the covariance."""
    shown = np.stack([c.level_db for c in every])
    shown = shown - shown.mean(axis=1, keepdims=True)
    cross = shown @ doubt.logs / (DRAWS - 1)
    variance = np.einsum("cd,cd->c", shown, shown) / (DRAWS - 1) + [c.own for c in every]
    before = np.einsum("di,di->i", doubt.logs, doubt.logs) / (DRAWS - 1)
    alone = np.sqrt(np.maximum(1.0 - cross**2 / np.maximum(variance[:, None] * before, 1e-24), 0.0))
    along = np.zeros((len(every), 0))
    barred = np.zeros(len(every), dtype=bool)
    at_hand, offered = np.array([c.needs is None for c in every]), False
    for place in range(MOST):
        if place == MOST - 1 and not offered:
            barred |= ~at_hand
        after = np.maximum(before - cross**2 / np.maximum(variance, 1e-12)[:, None], 0.0)
        saved = doubt.weight * (np.sqrt(before) - np.sqrt(after))
        total = np.where(barred, 0.0, saved.sum(axis=1))
        best = int(np.argmax(total))
        at = int(np.argmax(saved[best]))
        gain = 0.5 * float(np.log(max(before[at], 1e-12) / max(after[best, at], 1e-12)))
        if total[best] <= 0.0 or gain < WORTH_NATS:
            return
        c = every[best]
        why = _why(post, doubt, at, float(alone[best, at]))
        yield NextReading(c.action(), c.meter, c.frequency_hz, c.path, gain, why, c.needs)
        step = (shown @ shown[best] / (DRAWS - 1) - along @ along[best]) / np.sqrt(variance[best])
        before, cross = after[best], cross - np.outer(step, cross[best]) / np.sqrt(variance[best])
        variance, along = variance - step**2, np.column_stack([along, step])
        barred |= np.array([(o.kind, o.frequency_hz) == (c.kind, c.frequency_hz) for o in every])
        offered |= c.needs is None


def _why(post: Posterior, doubt: LossesInDoubt, at: int, share: float) -> str:
    """Say how far the loss that gains most should narrow by this reading alone."""
    lay, strand = post.lay, int(doubt.strand[at])
    old = doubt.half_db(at)
    places = decimals_for(old * share)
    return say(
        "It should narrow the loss of {piece} at {frequency} from ±{before} to about ±{after}.",
        piece=lay.sheet.pieces[int(lay.strands.piece[strand])].tag,
        frequency=frequency(float(lay.strands.frequency_hz[strand])),
        before=quantity(plain(old, places), "dB"),
        after=quantity(plain(old * share, places), "dB"),
    )


class _Gear:
    """What a pair of readings scatters by that was not taken yet: its own variance, dB²."""

    def __init__(self, post: Posterior) -> None:
        self._sheet, self._priors = post.lay.sheet, post.priors
        scales = np.array([post.priors.noise_scales[c.scale] for c in post.bank])
        self._scale2 = float(post.weight @ scales**2)
        self.fresh = 2.0 * self._scale2 * (post.priors.noise_db**2 + post.priors.drift_db**2)
        """What a repeat does not share."""
        self.stands = _stands(post)
        self._known: dict[tuple[str | None, bool], tuple[float, float, float, float]] = {}
        self._steps: dict[str, list[float]] = {}
        for b in post.lay.blocks:
            self._steps.setdefault(b.meter.name, []).extend(o.width_db for o in b.references if not o.bottom)
        self._any = float(median([w for ws in self._steps.values() for w in ws] or [0.2]))

    def own(self, meter: Meter | None, f: float, loss_db: float, bend: float = 0.0) -> float:
        """Return the variance of a pair through a loss, on a meter whose log exponent is known to within ``bend``."""
        key = meter.name if meter else None, f > HIGH_HZ
        if key not in self._known:
            self._known[key] = self._scatter(meter, f)
        mismatch, step, grows, card = self._known[key]
        seen, farther = float(10.0 ** (-loss_db / 5.0)), float(10.0 ** (grows * min(loss_db, 30.0) / 5.0))
        return self.fresh + mismatch * (1.0 + seen) + step * (1.0 + farther) + card + (bend * loss_db) ** 2

    def _scatter(self, meter: Meter | None, f: float) -> tuple[float, float, float, float]:
        """Return the variances of mismatch and scale at a reference, how the scale's grows, and that of a card."""
        priors, high = self._priors, f > HIGH_HZ
        stated = self._sheet.source.swr, meter.swr if meter else None
        usual = (priors.source_swr_high, priors.meter_swr_high) if high else (priors.source_swr, priors.meter_swr)
        source, load = (reflection_from_swr(s or u) for s, u in zip(stated, usual, strict=True))
        mismatch = float(mismatch_uncertainty_db(source, load)) ** 2 * (1.0 if all(stated) else self._scale2)
        step = float(median(self._steps.get(meter.name) or [self._any])) if meter else self._any
        scale = meter.scale if meter else ""
        return mismatch, step**2 / 12.0, STEPS.get(scale, 1.0), 2.0 * priors.card_db**2 if scale == "card" else 0.0

    def bend(self, meter: Meter | None, f: float) -> float:
        """Return how well the log exponent of a meter is known on a band that it was not read on."""
        known = self._priors.known_exponent(meter.name, f) if meter else None
        if known is not None:
            return known.log_sd
        return self._priors.exponent_in if meter is None or meter.in_rated_band(f) else self._priors.exponent_out


def _candidates(
    post: Posterior, blocks: list[Block], known: LossDraws, pieces: list[Piece]
) -> Iterator[ReadingCandidate]:
    gear = _Gear(post)
    for i, block in enumerate(post.lay.blocks):
        if not block.direct:
            yield from _in_block(post, i, block, known, pieces, gear)
    yield from _other_meters(post, blocks, pieces, known, gear)
    yield from _other_bands(post, blocks, pieces, known, gear)
    yield from _from_one_end(post, known, pieces, gear)


def _stands(post: Posterior) -> NDArray[np.bool_]:
    """Return whether each observation would be read again as it was, for each draw, (draws, n).

    What misleads all meters alike is still there at a repeat. Any other doubt of a reading goes with the first repeat;
    what stood after n readings goes with the next in one of n² draws that hold it for wrong.
    """
    lay, sites = post.lay, post.sites
    stands = np.ones((len(post.bank), lay.n), dtype=bool)
    for of, config in zip(stands, post.bank, strict=True):
        for s in config.chosen:
            if s < sites.n_data and sites.kind[s] != SHARED:
                of[sites.members[s]] = False
    cell = lay.block * len(lay.cells.fixed) + lay.cell
    met = np.bincount(cell, lay.count)[cell]
    out: NDArray[np.bool_] = np.repeat(stands, shares(post.weight), axis=0)
    open_ = np.flatnonzero(~stands.all(axis=0))
    out[:, open_] |= np.arange(DRAWS)[:, None] % met[open_] ** 2 >= 1.0
    return out


class LossDraws:
    """Draws of any piece's loss at any frequency, those of measured strands looked up."""

    def __init__(self, post: Posterior, beliefs: dict[str, Belief], strands: Floats) -> None:
        lay, x = post.lay, post.draws
        self._of, self._beliefs, self._strands = lay.strand_of, beliefs, strands
        tags = [lay.sheet.pieces[int(p)].tag for p in lay.strands.piece[lay.echoing]]
        bands = lay.strands.frequency_hz[lay.echoing].tolist()
        echoes = x[:, lay.excess] * lay.echo_share(x)
        self._echoes: dict[tuple[str, float], Floats] = {}
        for k, key in enumerate(zip(tags, bands, strict=True)):
            self._echoes[key] = self._echoes.get(key, 0.0) + echoes[:, k]

    def at(self, piece: Piece, f: float) -> Floats:
        """Return draws of a loss, dB."""
        strand = self._of.get((piece.tag, f))
        if strand is None:
            return self._beliefs[piece.tag].loss_db(f)
        return self._strands[:, strand]

    def taken(self, piece: Piece, f: float) -> Floats:
        """Return draws of what a piece takes on the bench, dB: its loss, and its echoes where they are known."""
        return self.at(piece, f) + self._echoes.get((piece.tag, f), 0.0)

    def ripple(self, piece: Piece) -> float:
        """Return the mean square of what a piece's echoes take on the bands read, dB²: so they may on others."""
        mine = [float((echoes**2).mean()) for (tag, _), echoes in self._echoes.items() if tag == piece.tag]
        return float(np.mean(mine)) if mine else 0.0


def _in_block(
    post: Posterior, i: int, block: Block, known: LossDraws, pieces: list[Piece], gear: _Gear
) -> Iterator[ReadingCandidate]:
    x, lay, stands = post.draws, post.lay, gear.stands
    f, name = block.frequency_hz, block.meter.name
    exponent = np.exp(x[:, lay.exponent.start + i] + x[:, lay.bend])
    at = {"frequency": frequency(f), "meter": name}
    if not any(not o.bottom for o in block.references):
        action = partial(say, TAKE_REFERENCE, **at)
        yield ReadingCandidate("reference", action, name, f, "reference", x[:, i], gear.own(block.meter, f, 0.0))
        return
    rows = lay.slice_of(i)
    first = [rows.start + k for k, o in enumerate(block.observations) if not o.path and not o.bottom]
    read = {o.path for o in block.observations}
    dark = read - {o.path for o in block.observations if not o.bottom}
    for piece in pieces:
        if (piece.tag,) in dark:
            continue  # What shows nothing shows nothing again.
        mine = [rows.start + k for k, o in enumerate(block.observations) if o.path == (piece.tag,) and not o.bottom]
        loss = known.taken(piece, f)
        level, own = -exponent * loss, gear.own(block.meter, f, float(loss.mean()))
        if mine:
            held = stands[:, mine] * lay.count[mine], stands[:, first].sum(axis=1)
            level, own = _again(level, own, gear.fresh, held, lay.y_db[mine] - float(x[:, i].mean()))
        words = READ_AGAIN if (piece.tag,) in read else READ_ANOTHER
        yield ReadingCandidate("pair", partial(say, words, piece=piece.tag, **at), name, f, piece.tag, level, own)
    tag = lay.attenuators[0] if lay.attenuators else None
    if tag is None or not any(tag in p for p in read):
        action = (
            partial(say, READ_PAD, attenuator=tag, **at)
            if tag
            else partial(say, READ_ANY_PAD, loss=quantity(digits(PAD_DB), "dB"), **at)
        )
        loss = x[:, lay.pad.start] if tag else np.full(DRAWS, PAD_DB)
        own = gear.own(block.meter, f, float(loss.mean()))
        yield ReadingCandidate("pad", action, name, f, tag, -exponent * loss, own)


def _again(
    level: Floats, own: float, fresh: float, held: tuple[Floats, Floats], seen_db: Floats
) -> tuple[Floats, float]:
    """Return what a pair that was read before would show, and its own variance.

    In a draw that holds both for good, the same again but for noise: mismatch and the scale's step are what they were.
    In one that holds either for wrong, what the loss of that draw says. ``held`` is how many good readings of each code
    there are, (draws, codes), and how many good references; ``seen_db`` what each code showed beside the reference.
    """
    total = held[0].sum(axis=1)
    stands = (total > 0.0) & (held[1] > 0.0)
    same = (held[0] @ seen_db) / np.maximum(total, 1.0)
    spread = np.where(stands, fresh * (1.0 + 1.0 / np.maximum(total, 1.0)), own)
    return np.where(stands, same, level), float(spread.mean())


def _meters(post: Posterior) -> tuple[Meter, ...]:
    """Return the sheet's meters; a test from one end is none."""
    return tuple(m for m in post.lay.sheet.meters if m.scale != "loss")


def _other_meters(
    post: Posterior, blocks: list[Block], pieces: list[Piece], known: LossDraws, gear: _Gear
) -> Iterator[ReadingCandidate]:
    used = {(b.meter.name, b.frequency_hz) for b in blocks}
    meters = _meters(post)
    spares: list[Meter | None] = list(meters) if len(meters) > 1 else [None]
    for f, meter, piece in product(sorted({b.frequency_hz for b in blocks}), spares, pieces):
        if meter is not None and ((meter.name, f) in used or not meter.in_rated_band(f)):
            continue
        loss = known.taken(piece, f)
        own = gear.own(meter, f, float(loss.mean()), gear.bend(meter, f))
        action = partial(_on_other, piece, f, meter, bool(meters))
        yield ReadingCandidate("meter", action, meter.name if meter else None, f, piece.tag, -loss, own)


def _on_other(piece: Piece, f: float, meter: Meter | None, second: bool) -> str:
    parts = {"piece": piece.tag, "frequency": frequency(f)}
    if meter is not None:
        return say("Read {piece} and the reference at {frequency} on the {meter}.", meter=meter.name, **parts)
    if second:
        return say("Read {piece} and the reference at {frequency} on a second meter rated for it.", **parts)
    return say("Read {piece} and the reference at {frequency} on a meter rated for it.", **parts)


def _other_bands(
    post: Posterior, blocks: list[Block], pieces: list[Piece], known: LossDraws, gear: _Gear
) -> Iterator[ReadingCandidate]:
    top = max((b.frequency_hz for b in blocks), default=0.0)
    for f in READABLE_HZ:
        if (f > UHF_HZ and top < HIGH_HZ) or any(abs(b.frequency_hz / f - 1.0) < 0.08 for b in blocks):
            continue
        meters = _for_band(post, f)
        if not meters:
            continue
        for piece in pieces:
            loss, ripple = known.at(piece, f), known.ripple(piece)
            for meter in meters:
                action = partial(say, READ_BAND, piece=piece.tag, frequency=frequency(f), meter=meter.name)
                own = ripple + gear.own(meter, f, float(loss.mean()), gear.bend(meter, f))
                yield ReadingCandidate("band", action, meter.name, f, piece.tag, -loss, own)


def _for_band(post: Posterior, f: float) -> list[Meter]:
    """Return the meters rated for a band; where none is, those of no stated band that were read not too far from it."""
    rated = [m for m in _meters(post) if m.in_rated_band(f)]
    near = {b.meter.name for b in post.lay.blocks if 1.0 / FARTHEST < b.frequency_hz / f < FARTHEST}
    return rated or [m for m in _meters(post) if m.rated_hz is None and m.name in near]


def _from_one_end(post: Posterior, known: LossDraws, pieces: list[Piece], gear: _Gear) -> Iterator[ReadingCandidate]:
    """Propose the test from one end on other bands, for pieces that had it: as good, in proportion, as it was."""
    told: list[tuple[str, Observation]] = [
        (tag, o)
        for b in post.lay.blocks
        if b.direct and b.meter.name != BESIDE
        for o in b.observations
        for tag in o.path
    ]
    read = {b.frequency_hz for b in post.lay.blocks if b.direct}
    for piece in pieces:
        shares_ = [o.width_db / max(-o.middle_db, LEAST_DB) for tag, o in told if tag == piece.tag]
        for f in READABLE_HZ if shares_ else ():
            if any(abs(g / f - 1.0) < 0.08 for g in read):
                continue
            loss = known.at(piece, f)
            own = (float(median(shares_)) * float(loss.mean())) ** 2 / 12.0 + gear.fresh
            action = partial(say, READ_ONE_END, piece=piece.tag, frequency=frequency(f))
            yield ReadingCandidate("one end", action, None, f, piece.tag, -loss, own)
