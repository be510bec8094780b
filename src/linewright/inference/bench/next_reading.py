"""What to measure next: the reading that is expected to say most about the losses."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from functools import partial
from typing import get_args

import numpy as np

from linewright.core.arrays import Floats, median
from linewright.core.formatting import decimals_for, digits, frequency, plain, quantity
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say
from linewright.core.nouns.belief import LEAST_DB, Belief
from linewright.core.nouns.bench import Meter, Piece
from linewright.core.nouns.bench_result import Lacking, NextReading
from linewright.inference.bench.design import Ints
from linewright.inference.bench.findings import BANDS_HZ
from linewright.inference.bench.observations import BESIDE, Block
from linewright.inference.bench.posterior import DRAWS, Posterior, low_middle_high

WORTH_NATS = 0.05
MOST = 3
MOST_LOSSES = 40
MOST_CANDIDATES = 240
PAD_DB = 3.0
STILL = 1e-12
"""Variance of a log loss below which it does not move: every draw of it stands at the least loss there is."""
MISMATCH_DB = 0.08
"""Usual mismatch error of a reading not taken yet."""
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
class Candidate:
    """A reading that could be taken: draws of what it would show, and its own variances in dB².

    ``action`` says what to do, which few of all candidates are ever asked. ``stuck`` stays the same when the reading is
    repeated (mismatch, the scale's step); ``fresh`` does not; ``taken`` is how many good readings of it there are.
    """

    kind: str
    action: Callable[[], str]
    meter: str | None
    frequency_hz: float | None
    path: str | None
    level_db: Floats
    stuck: float
    fresh: float
    taken: float = 0.0

    @property
    def needs(self) -> Lacking | None:
        """What it needs that is not on the sheet."""
        if self.kind == "pad" and self.path is None:
            return ATTENUATOR
        return SECOND_METER if self.kind == "meter" and self.meter is None else None


def next_readings(
    post: Posterior,
    blocks: list[Block],
    beliefs: dict[str, Belief],
    strands: Floats,
    doubt: dict[int, float],
    lacking: Collection[Lacking] = (),
) -> tuple[NextReading, ...]:
    """Return up to ``MOST`` readings worth taking, best first, each given that those before it are taken.

    The gain of a reading z about the log losses l is ``½ ln(var(z) / var(z | l))``, the mutual information of two
    Gaussians (Cover and Thomas, Elements of Information Theory, 2nd ed., section 8.5), from the posterior's covariance.
    ``doubt`` gives the chance that a reading (by its index on the sheet) is wrong; what needs gear that is ``lacking``
    is not proposed.
    """
    if not strands.shape[1]:
        return ()
    logs = np.log(strands)
    wide = np.argsort(-logs.std(axis=0), kind="stable")[:MOST_LOSSES]
    every = _candidates(post, blocks, _Losses(post, beliefs, strands), doubt)
    found = [c for c in every if c.needs not in lacking][:MOST_CANDIDATES]
    if not found:
        return ()
    covariance = np.cov(np.vstack([logs.T[wide], *(c.level_db for c in found)]))
    return tuple(_choose(post, found, covariance, wide, strands))


def _gains(covariance: Floats, n: int, found: list[Candidate]) -> tuple[Floats, Floats]:
    """Return the gain of every candidate and the variance each would show."""
    own, cross = covariance[:n, :n], covariance[:n, n:]
    ridge = own + 1e-9 * np.eye(n) * max(np.trace(own) / n, STILL)
    explained = np.einsum("ij,ij->j", cross, np.linalg.solve(ridge, cross))
    whole = np.maximum(np.diag(covariance)[n:], 1e-12)
    share = np.clip((explained / whole - n / DRAWS) / (1.0 - n / DRAWS), 0.0, 0.999)
    stuck, fresh = np.array([c.stuck for c in found]), np.array([c.fresh for c in found])
    taken = np.array([c.taken for c in found])

    def seen(variance: Floats) -> Floats:
        v = np.maximum(variance + stuck, 1e-12)
        shown: Floats = 1.0 / (1.0 / v + taken / fresh) + fresh
        return shown

    return 0.5 * np.log(seen(whole) / seen(whole * (1.0 - share))), seen(whole)


def _choose(
    post: Posterior, found: list[Candidate], covariance: Floats, wide: Ints, strands: Floats
) -> Iterator[NextReading]:
    n = len(wide)
    done: set[tuple[str, float | None]] = set()
    for _ in range(MOST):
        gain, shown = _gains(covariance, n, found)
        gain[[(c.kind, c.frequency_hz) in done for c in found]] = 0.0
        best = int(np.argmax(gain))
        if gain[best] < WORTH_NATS:
            return
        c = found[best]
        before = np.sqrt(np.diag(covariance)[:n])
        column = covariance[:, n + best]
        covariance = covariance - np.outer(column, column) / max(float(shown[best]), float(column[n + best]))
        after = np.sqrt(np.maximum(np.diag(covariance)[:n], 1e-12))
        yield NextReading(
            c.action(),
            c.meter,
            c.frequency_hz,
            c.path,
            float(gain[best]),
            _why(post, wide, strands, before, after),
            c.needs,
        )
        done.add((c.kind, c.frequency_hz))


def _why(post: Posterior, wide: Ints, strands: Floats, before: Floats, after: Floats) -> str:
    at = int(np.argmax(before / after))
    i = int(wide[at])
    lay = post.lay
    low, _, high = low_middle_high(strands[:, i]).tolist()
    old = 0.5 * (high - low)
    new = old * float(after[at] / before[at])
    places = decimals_for(new)
    piece = lay.sheet.pieces[int(lay.strands.piece[i])].tag
    return say(
        "It should narrow the loss of {piece} at {frequency} from ±{before} to about ±{after}.",
        piece=piece,
        frequency=frequency(float(lay.strands.frequency_hz[i])),
        before=quantity(plain(old, places), "dB"),
        after=quantity(plain(new, places), "dB"),
    )


def _fresh(post: Posterior) -> float:
    scale = post.priors.noise_scales[post.bank[0].scale]
    return float(2.0 * scale**2 * (post.priors.noise_db**2 + post.priors.drift_db**2))


def _width(block: Block | None, post: Posterior) -> float:
    widths = [o.width_db for o in block.observations if not o.bottom] if block else []
    every = [o.width_db for b in post.lay.blocks for o in b.observations if not o.bottom]
    return float(median(widths or every or [0.2]))


def _stuck(block: Block | None, post: Posterior) -> float:
    return 2.0 * (_width(block, post) ** 2 / 12.0 + MISMATCH_DB**2)


def _candidates(post: Posterior, blocks: list[Block], known: _Losses, doubt: dict[int, float]) -> Iterator[Candidate]:
    for i, block in enumerate(post.lay.blocks):
        if not block.direct:
            yield from _in_block(post, i, block, known, doubt)
    pieces = post.lay.sheet.pieces
    yield from _other_meters(post, blocks, pieces, known)
    yield from _other_bands(post, blocks, pieces, known)
    yield from _from_one_end(post, known)


class _Losses:
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


def _in_block(post: Posterior, i: int, block: Block, known: _Losses, doubt: dict[int, float]) -> Iterator[Candidate]:
    x, lay = post.draws, post.lay
    f, name = block.frequency_hz, block.meter.name
    exponent = np.exp(x[:, lay.exponent.start + i] + x[:, lay.bend])
    at = {"frequency": frequency(f), "meter": name}
    stuck, fresh = _stuck(block, post), _fresh(post)
    if not any(not o.bottom for o in block.references):
        action = partial(say, TAKE_REFERENCE, **at)
        yield Candidate("reference", action, name, f, "reference", x[:, i], stuck, fresh)
        return
    read = {o.path for o in block.observations}
    dark = read - {o.path for o in block.observations if not o.bottom}
    for piece in lay.sheet.pieces:
        if (piece.tag,) in dark:
            continue  # What shows nothing shows nothing again.
        good = sum(
            1.0 - doubt.get(r, 0.0)
            for o in block.observations
            if o.path == (piece.tag,) and not o.bottom
            for r in o.rows
        )
        words = READ_AGAIN if (piece.tag,) in read else READ_ANOTHER
        yield Candidate(
            "pair", partial(say, words, piece=piece.tag, **at), name, f, piece.tag,
            -exponent * known.taken(piece, f), stuck, fresh, good,
        )  # fmt: skip
    tag = lay.attenuators[0] if lay.attenuators else None
    if tag is None or not any(tag in p for p in read):
        action = (
            partial(say, READ_PAD, attenuator=tag, **at)
            if tag
            else partial(say, READ_ANY_PAD, loss=quantity(digits(PAD_DB), "dB"), **at)
        )
        loss = x[:, lay.pad.start] if tag else PAD_DB
        yield Candidate("pad", action, name, f, tag, -exponent * loss, stuck, fresh)


def _meters(post: Posterior) -> tuple[Meter, ...]:
    """Return the sheet's meters; a test from one end is none."""
    return tuple(m for m in post.lay.sheet.meters if m.scale != "loss")


def _other_meters(
    post: Posterior, blocks: list[Block], pieces: tuple[Piece, ...], known: _Losses
) -> Iterator[Candidate]:
    used = {(b.meter.name, b.frequency_hz) for b in blocks}
    meters = _meters(post)
    spares: list[Meter | None] = list(meters) if len(meters) > 1 else [None]
    stuck, fresh = _stuck(None, post), _fresh(post)
    for f in sorted({b.frequency_hz for b in blocks}):
        for meter in spares:
            if meter is not None and ((meter.name, f) in used or not meter.in_rated_band(f)):
                continue
            for piece in pieces:
                loss = known.taken(piece, f)
                bend = (post.priors.exponent_in * float(loss.mean())) ** 2
                yield Candidate(
                    "meter", partial(_on_other, piece, f, meter, bool(meters)),
                    meter.name if meter else None, f, piece.tag, -loss, stuck + bend, fresh,
                )  # fmt: skip


def _on_other(piece: Piece, f: float, meter: Meter | None, second: bool) -> str:
    parts = {"piece": piece.tag, "frequency": frequency(f)}
    if meter is not None:
        return say("Read {piece} and the reference at {frequency} on the {meter}.", meter=meter.name, **parts)
    if second:
        return say("Read {piece} and the reference at {frequency} on a second meter rated for it.", **parts)
    return say("Read {piece} and the reference at {frequency} on a meter rated for it.", **parts)


def _other_bands(
    post: Posterior, blocks: list[Block], pieces: tuple[Piece, ...], known: _Losses
) -> Iterator[Candidate]:
    stuck, fresh = _stuck(None, post), _fresh(post)
    for f in BANDS_HZ:
        if any(abs(b.frequency_hz / f - 1.0) < 0.08 for b in blocks):
            continue
        meter = next((m for m in _meters(post) if m.in_rated_band(f)), None)
        if meter is None:
            continue
        for piece in pieces:
            loss = known.at(piece, f)
            bend = (post.priors.exponent_in * float(loss.mean())) ** 2
            yield Candidate(
                "band", partial(say, READ_BAND, piece=piece.tag, frequency=frequency(f), meter=meter.name),
                meter.name, f, piece.tag, -loss, stuck + bend, fresh,
            )  # fmt: skip


def _from_one_end(post: Posterior, known: _Losses) -> Iterator[Candidate]:
    """Propose the test from one end on other bands, for pieces that had it: as good, in proportion, as it was."""
    told = [
        (tag, o.width_db / max(-o.middle_db, LEAST_DB))
        for b in post.lay.blocks
        if b.direct and b.meter.name != BESIDE
        for o in b.observations
        for tag in o.path
    ]
    read = {b.frequency_hz for b in post.lay.blocks if b.direct}
    for tag in dict.fromkeys(tag for tag, _ in told):
        relative = float(median([w for t, w in told if t == tag]))
        piece = post.lay.sheet.piece(tag)
        for f in BANDS_HZ:
            if any(abs(g / f - 1.0) < 0.08 for g in read):
                continue
            loss = known.at(piece, f)
            stuck = (relative * float(loss.mean())) ** 2 / 12.0
            yield Candidate(
                "one end", partial(say, READ_ONE_END, piece=tag, frequency=frequency(f)),
                None, f, tag, -loss, stuck, _fresh(post),
            )  # fmt: skip
