"""The verdict on each piece, and what it may serve for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from linewright.core.arrays import Floats, median
from linewright.core.formatting import digits, frequency, interval, plain, quantity
from linewright.core.frozen import dataclass
from linewright.core.messages import listed, say, together
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.bench_result import USES, CauseFinding, PieceFinding, UseFinding, Verdict
from linewright.inference.against_type import BAD, HARDLY, SECOND_LOOK, SURE, Multiple, against_type, lone_band
from linewright.inference.bench.causes import OF_A_PLACE, SAID, causes_of, doubted_claim
from linewright.inference.bench.chances import of_causes
from linewright.inference.bench.design import JOINT_HZ, law_of
from linewright.inference.bench.findings import catalogue_db, strand_draws
from linewright.inference.bench.hypotheses import JOINT, MISMARKED
from linewright.inference.bench.posterior import Posterior, low_middle_high

LIKELY_JOINT = 0.5
HF_HZ = 30e6
HF_ASKED_HZ = 28.5e6
TOO_GOOD = say(
    "Check the length, the type, and that the reference jumper was sound; a figure far better than specified is as "
    "suspect as one far worse."
)
OPEN_YET = say("See what to measure next.")


@dataclass(frozen=True, slots=True)
class JudgedLoss:
    """Draws of a piece's loss at the frequencies it is judged at, and of the log of its ratio to new; (draws, n)."""

    piece: Piece
    usable: bool
    frequencies_hz: list[float]
    loss_db: Floats
    log_ratio: Floats | None
    multiple: tuple[float, float, float] | None
    """Low, middle and high of the ratio."""


def judged(post: Posterior, piece: Piece, strands: Floats) -> JudgedLoss:
    """Collect the draws a verdict is read from. ``strands`` come from ``strand_draws``."""
    lay = post.lay
    mine = [i for i in np.argsort(lay.strands.frequency_hz) if lay.sheet.pieces[int(lay.strands.piece[i])] is piece]
    f = [float(lay.strands.frequency_hz[i]) for i in mine]
    loss = strands[:, mine]
    usable = bool(lay.read[mine].any())
    if piece.line is None or not mine:
        return JudgedLoss(piece, usable, f, loss, None, None)
    new = np.array([catalogue_db(piece, g, post.priors) for g in f])
    log_ratio = np.log(loss / new)
    low, middle, high = low_middle_high(np.exp(log_ratio.mean(axis=1))).tolist()
    return JudgedLoss(piece, usable, f, loss, log_ratio, (low, middle, high))


def piece_finding(post: Posterior, piece: Piece, strands: Floats, belief: Belief) -> PieceFinding:
    """Return the verdict on one piece."""
    seen = judged(post, piece, strands)
    law = law_of(piece)
    k1 = float(median((law.k0_db_per_m + law.k1_db_per_m) * belief.growth))
    k2 = float(median(law.k2_db_per_m * belief.growth * belief.wet))
    verdict, why = _verdict(seen)
    why = together([why, _joint(post, piece)]) if seen.usable else why
    causes, like = _causes(post, seen, belief, verdict)
    why = together([why, *_doubted(seen, causes, like)])
    low, middle, high = seen.multiple or (None, None, None)
    first = causes[0] if causes else None
    return PieceFinding(
        piece.tag, piece.length_m, k1, k2, middle, low, high, verdict, _uses(post, seen, belief, verdict), why,
        first.cause if first else None, first.p if first else None, tuple(causes[1:]),
    )  # fmt: skip


def _causes(post: Posterior, seen: JudgedLoss, belief: Belief, verdict: Verdict) -> tuple[list[CauseFinding], str]:
    """Return the causes worth naming, the likeliest first; a claim that the verdict bears out is not doubted.

    And the type whose new cable reads as a worn one of its claim does, of a piece that loses so much more.
    """
    if not seen.usable or seen.log_ratio is None or seen.multiple is None:
        return [], ""
    claim: list[CauseFinding] = []
    like = ""
    if verdict != "good":
        lay, pieces = post.lay, post.lay.sheet.pieces
        mine = [i for i in np.argsort(lay.strands.frequency_hz) if pieces[int(lay.strands.piece[i])] is seen.piece]
        alone = np.log(strand_draws(post, alone=True)[:, mine])
        doubted = doubted_claim(seen.piece, np.array(seen.frequencies_hz), alone, post.priors)
        like = doubted.like if verdict in ("worn", "bad") and seen.multiple[1] >= SECOND_LOOK else ""
        claim = [replace(c, p=of_causes({c.cause: c.p})[c.cause]) for c in doubted.found]
    claim += _marked_otherwise(post, seen.piece)
    own = causes_of(belief, seen.frequencies_hz)
    broken = sum(c.p for c in own if c.cause in OF_A_PLACE)
    claim = [replace(c, p=c.p * (1.0 - broken)) for c in claim]
    true_claim = 1.0 - sum(c.p for c in claim)
    own = [c if c.cause in OF_A_PLACE else replace(c, p=c.p * true_claim) for c in own]
    placed = broken > LIKELY_JOINT or any(c.cause == "other impedance" for c in claim)
    return sorted((c for c in (*claim, *own) if c.p >= SAID), key=lambda c: -c.p), "" if placed else like


def _marked_otherwise(post: Posterior, piece: Piece) -> list[CauseFinding]:
    """Return how likely a piece marked as one of 50 ohm echoes as a 75-ohm line does."""
    sites, at = post.sites, post.lay.sheet.pieces.index(piece)
    mine = (sites.kind == MISMARKED) & (sites.target % len(post.lay.sheet.pieces) == at)
    chance = min(float(post.chance[mine].sum()), 1.0)
    return [CauseFinding("other impedance", chance)] if chance >= SAID else []


def _doubted(seen: JudgedLoss, causes: list[CauseFinding], like: str) -> list[str]:
    """Return what the piece may be instead of what is said of it; ``like`` is the type it reads like as new."""
    found = {c.cause: c for c in causes}
    if "other impedance" in found and found["other impedance"].p > LIKELY_JOINT:
        return [
            say(
                "It reflects like a line of 75 ohm, whatever its marking: check its diameter and printing. The loss "
                "given is its own, without the reflections."
            )
        ]
    other = (found["other type"].line or "") if "other type" in found else like
    if not other or seen.piece.line is None or seen.multiple is None:
        return []
    return [
        say(
            "It reads like {other}, or like {line} with {ratio} times its loss: check its diameter and printing, or "
            "its length with a tape.",
            other=other, line=seen.piece.line.designator, ratio=plain(seen.multiple[1], 1),
        )
    ]  # fmt: skip


def _verdict(seen: JudgedLoss) -> tuple[Verdict, str]:
    if not seen.frequencies_hz:
        return "cannot tell", say("The sheet has no reading of it; one pair of readings is enough to begin.")
    if not seen.usable:
        return "cannot tell", say("No meter gave a usable reading of it; the losses shown are those of its type.")
    low, middle, high = low_middle_high(seen.loss_db[:, -1]).tolist()
    loss, at = interval(middle, low, high), frequency(seen.frequencies_hz[-1])
    if seen.log_ratio is None or seen.multiple is None or seen.piece.line is None:
        return "cannot tell", say(
            "Its type is unknown, so its loss cannot be compared with a specification; it loses {loss} at "
            "{frequency}. Its diameter and printing, or its velocity factor, would show the type.",
            loss=loss,
            frequency=at,
        )
    ratio, lone = np.exp(seen.log_ratio.mean(axis=1)), lone_band(seen.log_ratio, seen.frequencies_hz)
    return against_type(
        Multiple(
            seen.piece.line.designator, *seen.multiple, lambda limit: float(np.mean(ratio > limit)), loss, at, lone
        ),
        too_good=TOO_GOOD,
        open_yet=OPEN_YET,
    )


def _joint(post: Posterior, piece: Piece) -> str:
    """Say so when part of the loss sits in a joint of the piece rather than in its cable."""
    at, sites = post.lay.sheet.pieces.index(piece), post.sites
    mine = (sites.kind == JOINT) & (sites.target % len(post.lay.sheet.pieces) == at)
    if not mine.any() or float(post.chance[mine].max()) < LIKELY_JOINT:
        return ""
    both = post.draws[:, post.lay.joint].reshape(len(post.draws), 2, -1)[:, :, at].sum(axis=1)
    low, middle, high = low_middle_high(both).tolist()
    return say(
        "Part of it seems to sit in a plug or joint: about {loss} at {frequency}. Check the solder and the crimp before"
        " blaming the cable.",
        loss=interval(middle, low, high),
        frequency=frequency(JOINT_HZ),
    )


def _uses(post: Posterior, seen: JudgedLoss, belief: Belief, verdict: Verdict) -> tuple[UseFinding, ...]:
    limits = post.lay.sheet.limits
    if not seen.frequencies_hz:
        return tuple(UseFinding(use, None, say("It was not measured.")) for use in USES)
    at = [frequency(f) for f in seen.frequencies_hz]
    home = _under("home station", limits.home_db, seen.loss_db, at)
    if verdict == "bad":
        home = UseFinding(
            "home station", False,
            say("A cable with more than {limit} times its type's loss is not for a home station.", limit=digits(BAD)),
        )  # fmt: skip
    uses = [
        home,
        _under("portable", limits.portable_db, seen.loss_db, at),
        _under("HF only", limits.home_db, *_on_hf(seen, belief)),
        _under("receive only", limits.receive_db, seen.loss_db, at),
    ]
    served = {
        "portable": _bands_under(limits.portable_db, seen),
        "receive only": _bands_under(limits.receive_db, seen),
    }
    return (*uses, _scrap(uses, served))


def _on_hf(seen: JudgedLoss, belief: Belief) -> tuple[Floats, list[str]]:
    """Return the loss where HF was measured, or as predicted there, and the names of the frequencies."""
    hf = [i for i, f in enumerate(seen.frequencies_hz) if f <= HF_HZ]
    if hf:
        return seen.loss_db[:, hf], [frequency(seen.frequencies_hz[i]) for i in hf]
    predicted = say("{frequency} (predicted, not measured there)", frequency=frequency(HF_ASKED_HZ))
    return belief.loss_db(HF_ASKED_HZ)[:, None], [predicted]


def _under(use: str, limit_db: float, loss: Floats, at: list[str]) -> UseFinding:
    """Judge one use: the loss must stay under its limit at every frequency, ``at`` as written."""
    chance = np.mean(loss <= limit_db, axis=0)
    over = [f for f, p in zip(at, chance, strict=True) if p < HARDLY]
    unsure = [f for f, p in zip(at, chance, strict=True) if HARDLY <= p <= SURE]
    under = [f for f, p in zip(at, chance, strict=True) if p > SURE]
    limit, rest = quantity(digits(limit_db), "dB"), listed(under)
    if over and under:
        why = say("Over {limit} on {bands}; under it on {rest}.", limit=limit, bands=listed(over), rest=rest)
        return UseFinding(use, False, why)
    if over:
        return UseFinding(use, False, say("Over {limit} on {bands}.", limit=limit, bands=listed(over)))
    if unsure and under:
        why = say("Its interval spans {limit} on {bands}; under it on {rest}.",
                  limit=limit, bands=listed(unsure), rest=rest)  # fmt: skip
        return UseFinding(use, None, why)
    if unsure or float(np.mean((loss <= limit_db).all(axis=1))) <= SURE:
        why = say("Its interval spans {limit} on {bands}.", limit=limit, bands=listed(unsure or under))
        return UseFinding(use, None, why)
    return UseFinding(use, True, say("Under {limit} on {bands}.", limit=limit, bands=rest))


def _bands_under(limit_db: float, seen: JudgedLoss) -> list[str]:
    """Return the bands on which a limit is surely kept."""
    kept = np.mean(seen.loss_db <= limit_db, axis=0) > SURE
    return [frequency(f) for f, k in zip(seen.frequencies_hz, kept, strict=True) if k]


def _scrap(uses: list[UseFinding], served: dict[str, list[str]]) -> UseFinding:
    """Judge whether nothing is left to do with a piece: no use as a whole, and none on any single band."""
    serves = listed([say(u.use) for u in uses if u.ok])
    if serves:
        return UseFinding("scrap", False, say("It will still do for: {uses}.", uses=serves))
    some = next((use for use, bands in served.items() if bands), None)
    if some:
        why = say("At this length it will still do for {use} on {bands}; a shorter length will do for more.",
                  use=say(some), bands=listed(served[some]))  # fmt: skip
        return UseFinding("scrap", False, why)
    if all(u.ok is False for u in uses):
        return UseFinding("scrap", True, say("At this length it will do for none of the uses above, on any band."))
    return UseFinding("scrap", None, say("Some uses above are still open."))
