"""The verdict on each piece, and what it may serve for."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.formatting import digits, frequency, interval, plain, quantity
from linewright.core.messages import listed, say, together
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.bench_result import USES, Cause, CauseFinding, PieceFinding, UseFinding, Verdict
from linewright.inference.against_type import BAD, HARDLY, SURE, Multiple, against_type
from linewright.inference.bench.causes import SAID, causes_of, doubted_claim
from linewright.inference.bench.design import JOINT_HZ, law_of
from linewright.inference.bench.findings import catalogue_db, strand_draws
from linewright.inference.bench.hypotheses import JOINT, MISMARKED
from linewright.inference.bench.posterior import Posterior, low_middle_high

LIKELY_JOINT = 0.5
OF_A_PLACE: tuple[Cause, ...] = ("open conductor", "resistive joint", "short", "wet connector")
"""Causes that sit in one place of a piece: where one is found, the claim of its cable is not doubted for it."""
HF_HZ = 30e6
HF_ASKED_HZ = 28.5e6
TOO_GOOD = say(
    "Check the length, the type, and that the reference jumper was whole; a figure far better than specified is as"
    " suspect as one far worse."
)
OPEN_YET = say("See what to measure next.")


@dataclass(frozen=True, slots=True)
class Judged:
    """Draws of a piece's loss at the frequencies it is judged at, (draws, frequencies)."""

    piece: Piece
    usable: bool
    frequencies_hz: list[float]
    loss_db: Floats
    ratio: Floats | None
    multiple: tuple[float, float, float] | None
    """Low, middle and high of the ratio."""


def judged(post: Posterior, piece: Piece, strands: Floats) -> Judged:
    """Collect the draws a verdict is read from. ``strands`` come from ``strand_draws``."""
    lay = post.lay
    mine = [i for i in np.argsort(lay.strands.frequency_hz) if lay.sheet.pieces[int(lay.strands.piece[i])] is piece]
    f = [float(lay.strands.frequency_hz[i]) for i in mine]
    loss = strands[:, mine]
    usable = bool(lay.read[mine].any())
    if piece.line is None or not mine:
        return Judged(piece, usable, f, loss, None, None)
    new = np.array([catalogue_db(piece, g, post.priors) for g in f])
    ratio = np.exp(np.log(loss / new).mean(axis=1))
    low, middle, high = low_middle_high(ratio).tolist()
    return Judged(piece, usable, f, loss, ratio, (low, middle, high))


def piece_finding(post: Posterior, piece: Piece, strands: Floats, belief: Belief) -> PieceFinding:
    """Return the verdict on one piece."""
    seen = judged(post, piece, strands)
    law = law_of(piece)
    k1 = float(np.median((law.k0_db_per_m + law.k1_db_per_m) * belief.growth))
    k2 = float(np.median(law.k2_db_per_m * belief.growth * belief.wet))
    verdict, why = _verdict(seen)
    why = together([why, _joint(post, piece)]) if seen.usable else why
    causes = _causes(post, seen, belief, verdict)
    why = together([why, *_doubted(seen, causes)])
    low, middle, high = seen.multiple or (None, None, None)
    first = causes[0] if causes else None
    return PieceFinding(
        piece.tag, piece.length_m, k1, k2, middle, low, high, verdict, _uses(post, seen, belief, verdict), why,
        first.cause if first else None, first.p if first else None, tuple(causes[1:]),
    )  # fmt: skip


def _causes(post: Posterior, seen: Judged, belief: Belief, verdict: Verdict) -> list[CauseFinding]:
    """Return the causes worth naming, the likeliest first; a claim that the verdict bears out is not doubted."""
    if not seen.usable or seen.ratio is None:
        return []
    claim: list[CauseFinding] = []
    if verdict != "good":
        lay, pieces = post.lay, post.lay.sheet.pieces
        mine = [i for i in np.argsort(lay.strands.frequency_hz) if pieces[int(lay.strands.piece[i])] is seen.piece]
        alone = np.log(strand_draws(post, post.alone)[:, mine])
        claim = doubted_claim(seen.piece, np.array(seen.frequencies_hz), alone, post.priors)
    claim += _marked_otherwise(post, seen.piece)
    own = causes_of(belief, seen.frequencies_hz)
    broken = sum(c.p for c in own if c.cause in OF_A_PLACE)
    claim = [replace(c, p=c.p * (1.0 - broken)) for c in claim]
    true_claim = 1.0 - sum(c.p for c in claim)
    own = [c if c.cause in OF_A_PLACE else replace(c, p=c.p * true_claim) for c in own]
    return sorted((c for c in (*claim, *own) if c.p >= SAID), key=lambda c: -c.p)


def _marked_otherwise(post: Posterior, piece: Piece) -> list[CauseFinding]:
    """Return how likely a piece marked as one of 50 ohm echoes as a 75-ohm line does."""
    sites, at = post.sites, post.lay.sheet.pieces.index(piece)
    chance = post.chance[(sites.kind == MISMARKED) & (sites.target == at)]
    return [CauseFinding("other impedance", float(chance[0]))] if len(chance) and chance[0] >= SAID else []


def _doubted(seen: Judged, causes: list[CauseFinding]) -> list[str]:
    """Return what the piece may be instead of what is said of it."""
    found = {c.cause: c for c in causes}
    if "other impedance" in found and found["other impedance"].p > LIKELY_JOINT:
        return [
            say(
                "It echoes as a line of 75 ohm does, whatever it is marked: its diameter and printing tell. The loss"
                " given is its own, without the echoes."
            )
        ]
    if "other type" not in found or seen.piece.line is None or seen.multiple is None:
        return []
    return [
        say(
            "It reads like {other}, or like {line} with {ratio} times its loss: its diameter and printing tell, or a"
            " tape if only its length is wrong.",
            other=found["other type"].line or "", line=seen.piece.line.designator, ratio=plain(seen.multiple[1], 1),
        )
    ]  # fmt: skip


def _verdict(seen: Judged) -> tuple[Verdict, str]:
    if not seen.frequencies_hz:
        return "cannot tell", say("No reading of it is on the sheet; one pair of readings would start the matter.")
    if not seen.usable:
        return "cannot tell", say(
            "No meter gave a usable reading of it; the losses shown are what its type is known for."
        )
    low, middle, high = low_middle_high(seen.loss_db[:, -1]).tolist()
    loss, at = interval(middle, low, high), frequency(seen.frequencies_hz[-1])
    if seen.ratio is None or seen.multiple is None or seen.piece.line is None:
        return "cannot tell", say(
            "Its type is unknown, so no multiple of a specification can be formed; it loses {loss} at {frequency}."
            " Its diameter and printing, or its velocity factor, would tell the type.",
            loss=loss,
            frequency=at,
        )
    ratio = seen.ratio
    return against_type(
        Multiple(seen.piece.line.designator, *seen.multiple, lambda limit: float(np.mean(ratio > limit)), loss, at),
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


def _uses(post: Posterior, seen: Judged, belief: Belief, verdict: Verdict) -> tuple[UseFinding, ...]:
    limits = post.lay.sheet.limits
    if not seen.frequencies_hz:
        return tuple(UseFinding(use, None, say("It was not measured.")) for use in USES)
    at = [frequency(f) for f in seen.frequencies_hz]
    home = _under("home station", limits.home_db, seen.loss_db, at)
    if verdict == "bad":
        home = UseFinding(
            "home station", False,
            say("More than {limit} times its type's loss is no home-station cable.", limit=digits(BAD)),
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


def _on_hf(seen: Judged, belief: Belief) -> tuple[Floats, list[str]]:
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


def _bands_under(limit_db: float, seen: Judged) -> list[str]:
    """Return the bands on which a limit is surely kept."""
    kept = np.mean(seen.loss_db <= limit_db, axis=0) > SURE
    return [frequency(f) for f, k in zip(seen.frequencies_hz, kept, strict=True) if k]


def _scrap(uses: list[UseFinding], served: dict[str, list[str]]) -> UseFinding:
    """Judge whether nothing is left to do with a piece: no use as a whole, and none on any single band."""
    serves = listed([say(u.use) for u in uses if u.ok])
    if serves:
        return UseFinding("scrap", False, say("It still serves: {uses}.", uses=serves))
    some = next((use for use, bands in served.items() if bands), None)
    if some:
        why = say("At this length it still serves {use} on {bands}; a shorter length serves more.",
                  use=say(some), bands=listed(served[some]))  # fmt: skip
        return UseFinding("scrap", False, why)
    if all(u.ok is False for u in uses):
        return UseFinding("scrap", True, say("It serves for none of the uses above, on no band, at this length."))
    return UseFinding("scrap", None, say("Some uses above are still open."))
