"""The verdict on each piece, and what it may serve for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.evidence.findings import catalogue_db
from linewright.evidence.layout import JOINT_HZ, Floats, law_of
from linewright.evidence.posterior import Posterior
from linewright.evidence.sites import JOINT
from linewright.evidence.thresholds import BAD, HARDLY, IMPOSSIBLE, SECOND_LOOK, SURE, WORN
from linewright.model.belief import Belief
from linewright.model.bench import Piece
from linewright.model.result import PieceFinding, UseFinding, Verdict
from linewright.units.writing import frequency, interval

LIKELY_JOINT = 0.5
HF_HZ = 30e6
HF_ASKED_HZ = 28.5e6


@dataclass(frozen=True, slots=True)
class Judged:
    """Draws of a piece's loss at the frequencies it is judged at, (draws, frequencies)."""

    piece: Piece
    usable: bool
    frequencies_hz: list[float]
    loss_db: Floats
    ratio: Floats | None


def judged(post: Posterior, piece: Piece, strands: Floats) -> Judged:
    """Collect the draws a verdict is read from. ``strands`` come from ``strand_draws``."""
    lay = post.lay
    mine = [i for i in np.argsort(lay.strands.frequency_hz) if lay.sheet.pieces[int(lay.strands.piece[i])] is piece]
    f = [float(lay.strands.frequency_hz[i]) for i in mine]
    loss = strands[:, mine]
    usable = bool((lay.cells.strands[lay.cell][:, mine] > 0).any())
    if piece.line is None or not mine:
        return Judged(piece, usable, f, loss, None)
    new = np.array([catalogue_db(piece, g, post.priors) for g in f])
    return Judged(piece, usable, f, loss, np.exp(np.mean(np.log(loss / new), axis=1)))


def piece_finding(post: Posterior, piece: Piece, strands: Floats, belief: Belief) -> PieceFinding:
    """Return the verdict on one piece."""
    seen = judged(post, piece, strands)
    law = law_of(piece)
    k1 = float(np.median((law.k0_db_per_m + law.k1_db_per_m) * belief.growth))
    k2 = float(np.median(law.k2_db_per_m * belief.growth * belief.wet))
    verdict, why = _verdict(seen)
    why = f"{why} {_joint(post, piece)}".strip() if seen.usable else why
    low, middle, high = (
        (None, None, None) if seen.ratio is None else (float(v) for v in np.quantile(seen.ratio, [0.025, 0.5, 0.975]))
    )
    return PieceFinding(
        piece.tag, piece.length_m, k1, k2, middle, low, high, verdict, _uses(post, seen, belief, verdict), why
    )


def _verdict(seen: Judged) -> tuple[Verdict, str]:
    if not seen.frequencies_hz:
        return "cannot tell", "No reading of it is on the sheet; one pair of readings would start the matter."
    if not seen.usable:
        return "cannot tell", "No meter gave a usable reading of it; the losses shown are what its type is known for."
    if seen.ratio is None:
        return "cannot tell", (
            f"Its type is unknown, so no multiple of a specification can be formed; it loses {_worst(seen)}."
            " Its diameter and printing, or its velocity factor, would tell the type."
        )
    return _against_type(seen, seen.ratio)


def _against_type(seen: Judged, ratio: Floats) -> tuple[Verdict, str]:
    low, middle, high = (float(v) for v in np.quantile(ratio, [0.025, 0.5, 0.975]))
    kind = seen.piece.line.designator if seen.piece.line else ""
    times = f"{middle:.2f} times what {kind} should lose ({low:.2f} to {high:.2f}); {_worst(seen)}"
    if float(np.mean(ratio < IMPOSSIBLE)) > SURE:
        return "cannot tell", (
            f"It reads {times}: better than its type allows. Check the length, the type, and that the reference"
            " jumper was whole; a figure far better than specified is as suspect as one far worse."
        )
    if float(np.mean(ratio > BAD)) > SURE:
        return "bad", f"It loses {times}."
    if float(np.mean(ratio > WORN)) > SURE:
        return "worn", f"It loses {times}."
    if float(np.mean(ratio > SECOND_LOOK)) < HARDLY:
        return "good", f"It loses {times}."
    return "cannot tell", f"It loses {times}: the readings leave both good and worn open. See what to measure next."


def _joint(post: Posterior, piece: Piece) -> str:
    """Say so when part of the loss sits in a joint of the piece rather than in its cable."""
    at, sites = post.lay.sheet.pieces.index(piece), post.sites
    mine = (sites.kind == JOINT) & (sites.target % len(post.lay.sheet.pieces) == at)
    if not mine.any() or float(post.chance[mine].max()) < LIKELY_JOINT:
        return ""
    both = post.draws[:, post.lay.joint].reshape(len(post.draws), 2, -1)[:, :, at].sum(axis=1)
    low, middle, high = (float(v) for v in np.quantile(both, [0.025, 0.5, 0.975]))
    return (
        f"Part of it seems to sit in a plug or joint: about {interval(middle, low, high)} at {frequency(JOINT_HZ)}."
        " Check the solder and the crimp before blaming the cable."
    )


def _worst(seen: Judged) -> str:
    low, middle, high = (float(v) for v in np.quantile(seen.loss_db[:, -1], [0.025, 0.5, 0.975]))
    return f"{interval(middle, low, high)} at {frequency(seen.frequencies_hz[-1])}"


def _uses(post: Posterior, seen: Judged, belief: Belief, verdict: Verdict) -> tuple[UseFinding, ...]:
    limits = post.lay.sheet.limits
    if not seen.frequencies_hz:
        names = ("home station", "portable", "HF only", "receive only", "scrap")
        return tuple(UseFinding(n, None, "It was not measured.") for n in names)
    hf = [i for i, f in enumerate(seen.frequencies_hz) if f <= HF_HZ]
    hf_loss = seen.loss_db[:, hf] if hf else belief.loss_db(HF_ASKED_HZ)[:, None]
    hf_at = [seen.frequencies_hz[i] for i in hf] or [HF_ASKED_HZ]
    home = _under("home station", limits.home_db, seen.loss_db, seen.frequencies_hz)
    if verdict == "bad":
        home = UseFinding("home station", False, f"More than {BAD} times its type's loss is no home-station cable.")
    uses = [
        home,
        _under("portable", limits.portable_db, seen.loss_db, seen.frequencies_hz),
        _under("HF only", limits.home_db, hf_loss, hf_at, "" if hf else " (predicted, not measured there)"),
        _under("receive only", limits.receive_db, seen.loss_db, seen.frequencies_hz),
    ]
    served = {
        "portable": _bands_under(limits.portable_db, seen),
        "receive only": _bands_under(limits.receive_db, seen),
    }
    return (*uses, _scrap(uses, served))


def _under(use: str, limit_db: float, loss: Floats, at: list[float], tail: str = "") -> UseFinding:
    """Judge one use: the loss must stay under its limit at every frequency."""
    chance = np.mean(loss <= limit_db, axis=0)
    over = [frequency(f) for f, p in zip(at, chance, strict=True) if p < HARDLY]
    unsure = [frequency(f) for f, p in zip(at, chance, strict=True) if HARDLY <= p <= SURE]
    under = [frequency(f) for f, p in zip(at, chance, strict=True) if p > SURE]
    limit = f"{limit_db:g} dB"
    if over:
        rest = f"; under it on {_join(under)}" if under else ""
        return UseFinding(use, False, f"Over {limit} on {_join(over)}{rest}{tail}.")
    if unsure or float(np.mean((loss <= limit_db).all(axis=1))) <= SURE:
        rest = f"; under it on {_join(under)}" if under and unsure else ""
        return UseFinding(use, None, f"Its interval spans {limit} on {_join(unsure or under)}{rest}{tail}.")
    return UseFinding(use, True, f"Under {limit} on {_join(under)}{tail}.")


def _bands_under(limit_db: float, seen: Judged) -> list[str]:
    """Return the bands on which a limit is surely kept."""
    kept = np.mean(seen.loss_db <= limit_db, axis=0) > SURE
    return [frequency(f) for f, k in zip(seen.frequencies_hz, kept, strict=True) if k]


def _join(names: list[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _scrap(uses: list[UseFinding], served: dict[str, list[str]]) -> UseFinding:
    """Judge whether nothing is left to do with a piece: no use as a whole, and none on any single band."""
    serves = [u.use for u in uses if u.ok]
    if serves:
        return UseFinding("scrap", False, f"It still serves: {_join(serves)}.")
    some = [f"{use} on {_join(bands)}" for use, bands in served.items() if bands]
    if some:
        return UseFinding("scrap", False, f"At this length it still serves {some[0]}; a shorter length serves more.")
    if all(u.ok is False for u in uses):
        return UseFinding("scrap", True, "It serves for none of the uses above, on no band, at this length.")
    return UseFinding("scrap", None, "Some uses above are still open.")
