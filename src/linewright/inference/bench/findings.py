"""Losses, ratios and predictions, read from the posterior's draws."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.core.arrays import Floats, median
from linewright.core.formatting import chance, frequency, plain, quantity
from linewright.core.messages import mark, say, together
from linewright.core.nouns.belief import LEAST_DB, Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.bench_result import ByHand, Cause, GrowthFinding, LossFinding, Prediction
from linewright.core.quantities import delivered_fraction
from linewright.inference.bench.causes import OF_A_PLACE, chances, excesses_db, worst_hz
from linewright.inference.bench.chances import of_worse
from linewright.inference.bench.design import JOINT_HZ, Layout, law_of, losses
from linewright.inference.bench.observations import Block
from linewright.inference.bench.posterior import SEED, Posterior, low_middle_high
from linewright.inference.priors import Priors

# Losses, ratios and predictions, read from the posterior's draws

BANDS_HZ = (3.6e6, 7.1e6, 14.2e6, 21.2e6, 28.5e6, 50.1e6, 144.3e6, 432.1e6, 1296e6)
"""One frequency in each of the bands most used: where losses nobody measured are predicted."""


def connectors_db(piece: Piece, frequency_hz: float, priors: Priors) -> float:
    """Return what the connectors of a piece usually lose, dB."""
    return float(piece.connectors * priors.connector_db_per_sqrt_mhz * np.sqrt(frequency_hz / 1e6))


def catalogue_db(piece: Piece, frequency_hz: float, priors: Priors) -> float:
    """Return what a piece of its claimed (or guessed) type loses when new, connectors included, dB."""
    law = law_of(piece)
    return piece.length_m * float(law.db_per_m(frequency_hz)) + connectors_db(piece, frequency_hz, priors)


def belief_of(post: Posterior, piece: Piece) -> Belief:
    """Return the draws that concern one piece: copies, or whoever remembers them would hold the draws of all else."""
    lay, x = post.lay, post.draws
    stock = lay.stocks.index(piece.stock_name)
    rng = np.random.default_rng(SEED + 1)
    at_piece = lay.sheet.pieces.index(piece)
    mine = np.flatnonzero(lay.strands.piece == at_piece)[:1]
    marked = (x[:, lay.mismarked] @ lay.marked_log[mine].T).sum(axis=1)
    growth = np.exp(x[:, lay.growth.start + stock] + x[:, lay.own.start + at_piece] + marked)
    wide = post.priors.departure * np.where(post.rough > 0, post.priors.rough_departure, 1.0)
    wide = np.hypot(wide, wide * lay.unruly * np.log(np.maximum(growth, 1.0)))
    joint = x[:, lay.joint].reshape(len(x), 2, len(lay.sheet.pieces))[:, :, at_piece]
    return Belief(
        piece=piece,
        law=law_of(piece),
        growth=growth,
        wet=np.exp(x[:, lay.wet.start + stock]),
        departure=np.exp(wide * rng.standard_normal(len(x))),
        connector_db_per_sqrt_mhz=np.exp(x[:, lay.connector]) * connectors_db(piece, 1e6, post.priors),
        joint_db=joint[:, 0].copy(),
        joint_db_per_sqrt_mhz=joint[:, 1] / np.sqrt(JOINT_HZ / 1e6),
        basis=say("readings of {sheet}", sheet=lay.sheet.title),
        measured=tuple(
            (f, np.exp(post.losses.departure[:, at]))
            for (tag, f), at in lay.strand_of.items()
            if tag == piece.tag and lay.read[at]
        ),
        doubt=rng.standard_normal(len(x)),
        faults=tuple(
            (fault.shape, x[:, lay.fault.start + k].copy())
            for k, fault in enumerate(lay.faults)
            if lay.sheet.pieces[fault.piece] is piece and x[:, lay.fault.start + k].any()
        ),
    )


def strand_draws(post: Posterior, *, alone: bool = False) -> Floats:
    """Return draws of every strand's loss with the connectors of its piece, (draws, strands).

    With ``alone`` those that leave the catalogue out.
    """
    lay, draws, got = post.lay, post.alone if alone else post.draws, post.losses_alone if alone else post.losses
    pieces = lay.sheet.pieces
    plugs = np.array([
        connectors_db(pieces[int(p)], float(f), post.priors)
        for p, f in zip(lay.strands.piece, lay.strands.frequency_hz, strict=True)
    ])  # fmt: skip
    out: Floats = np.maximum(got.strand_db + got.joint_db + np.exp(draws[:, [lay.connector]]) * plugs, LEAST_DB)
    return out


def log_loss_slopes(lay: Layout, x: Floats, priors: Priors) -> tuple[Floats, Floats]:
    """Return ln loss of every strand with its connectors, for unknowns ``x`` (size), and how it moves with each."""
    got, pieces, s = losses(lay, x[None]), lay.sheet.pieces, lay.strands
    plugs = np.exp(x[lay.connector]) * np.array([
        connectors_db(pieces[int(p)], float(f), priors) for p, f in zip(s.piece, s.frequency_hz, strict=True)
    ])  # fmt: skip
    strand, dielectric, lift = got.strand_db[0], got.dielectric_db[0], got.lift[0]
    total = np.maximum(strand + got.joint_db[0] + plugs, LEAST_DB)
    out = np.zeros((len(total), lay.size))
    rows, many = np.arange(len(total)), len(pieces)
    out[rows, lay.growth.start + s.stock] = strand * lift / total
    out[rows, lay.own.start + s.piece] = strand * lift / total
    out[:, lay.mismarked] = (strand * lift / total)[:, None] * lay.marked_log
    out[rows, lay.wet.start + s.stock] = dielectric * lift / total
    out[rows, lay.departure.start + rows] = strand * got.unrest[0] / total
    out[rows, lay.tilt.start + s.stock] = strand * got.steeper[0] / total
    out[rows, lay.connector] = plugs / total
    out[rows, lay.joint.start + s.piece] = 1.0 / total
    out[rows, lay.joint.start + many + s.piece] = lay.root / total
    return np.log(total), out


def loss_findings(post: Posterior, blocks: list[Block], draws: Floats) -> tuple[LossFinding, ...]:
    """Return the loss of every piece at every frequency it was read at. ``draws`` come from ``strand_draws``."""
    lay = post.lay
    if not len(lay.strands.piece):
        return ()
    from linewright.inference.bench.by_hand import by_hand

    ends, alone = low_middle_high(draws), low_middle_high(strand_draws(post, alone=True))
    hands = [(b.frequency_hz, by_hand(lay.sheet, b, post.priors)) for b in blocks if not b.dead]
    order = np.lexsort((lay.strands.frequency_hz, lay.strands.piece))
    return tuple(_finding(post, hands, int(i), draws[:, i], ends[:, i], alone[:, i]) for i in order)


def _finding(
    post: Posterior,
    hands: Sequence[tuple[float, dict[str, ByHand]]],
    strand: int,
    loss: Floats,
    ends: Floats,
    alone: Floats,
) -> LossFinding:
    """Gather one finding. ``ends`` are quantiles of its loss, ``alone`` those of the readings by themselves."""
    strands, sheet = post.lay.strands, post.lay.sheet
    piece, f = sheet.pieces[int(strands.piece[strand])], float(strands.frequency_hz[strand])
    new = catalogue_db(piece, f, post.priors)
    low, middle, high = ends.tolist()
    known = piece.line is not None
    alone_low, alone_db, alone_high = alone.tolist()
    return LossFinding(
        piece=piece.tag,
        frequency_hz=f,
        loss_db=middle,
        loss_db_low=low,
        loss_db_high=high,
        delivered_fraction=delivered_fraction(middle),
        catalogue_db=new if known else None,
        ratio=middle / new if known else None,
        ratio_low=low / new if known else None,
        ratio_high=high / new if known else None,
        p_worse_1_1=of_worse(float(np.mean(loss > 1.1 * new))) if known else None,
        p_worse_1_25=of_worse(float(np.mean(loss > 1.25 * new))) if known else None,
        by_hand=tuple(found[piece.tag] for at, found in hands if at == f and piece.tag in found),
        without_catalogue_db=alone_db,
        without_catalogue_db_low=alone_low,
        without_catalogue_db_high=alone_high,
        catalogue_pull_db=middle - alone_db,
        extrapolated=piece.line is not None and not piece.line.law.covers(f),
    )


def predictions(post: Posterior, beliefs: dict[str, Belief]) -> tuple[Prediction, ...]:
    """Return the loss of every piece on the usual bands it was not read at."""
    lay = post.lay
    seen = {(int(p), float(f)) for p, f in zip(lay.strands.piece, lay.strands.frequency_hz, strict=True)}
    found: list[Prediction] = []
    for i, piece in enumerate(lay.sheet.pieces):
        free = [f for f in BANDS_HZ if not any(p == i and abs(g / f - 1.0) < 0.08 for p, g in seen)]
        ends = low_middle_high(beliefs[piece.tag].loss_db(free).T).T.tolist()
        found += [
            Prediction(piece.tag, f, middle, low, high) for f, (low, middle, high) in zip(free, ends, strict=True)
        ]
    return tuple(found)


# Where a piece's extra loss comes from: which part of a belief grew beyond new

NAMED, UNCHANGED = 0.70, 0.80
"""A part is named, with its chance, from the first; that nothing grew is said from the second."""
APART = 9.0
"""Bands closer together than this ratio do not tell the √f part from the f part reliably (``benchmarks/growth.py``)."""
GREW = {
    "conductor": mark(
        "In {piece} the √f part of the loss has grown: conductors and braid (about {excess} more than new at "
        "{frequency}, {chance})."
    ),
    "joint": mark(
        "In {piece} the loss has grown in a plug or joint, not in the cable (about {excess} more than new at "
        "{frequency}, {chance})."
    ),
    "none": mark("{piece} loses hardly more than a new one ({chance})."),
    "open conductor": mark(
        "{piece} loses most on low bands: its centre conductor is broken or nearly so (about {excess} more than new "
        "at {frequency}, {chance})."
    ),
    "wet connector": mark(
        "{piece} loses far more on high bands: a plug is wet or dirty inside (about {excess} more than new at "
        "{frequency}, {chance})."
    ),
}
NAMES = ("conductor", "dielectric", "joint", "none")
SHARES = (mark("conductor {chance}"), mark("dielectric {chance}"), mark("joint {chance}"), mark("none {chance}"))
CHECKS = {
    "conductor": say("Open one end and look for dark, dull or broken strands: corrosion there cannot be mended."),
    "joint": say("Check solder, crimp and centre pins of both plugs, remake the worse one, and measure again."),
    "none": say("Nothing to mend: it loses what its type should."),
    "open conductor": say(
        "Measure its centre conductor from pin to pin, flexing it near both plugs: look for a broken or unsoldered pin."
    ),
    "wet connector": say(
        "Open both plugs and look for water, corrosion and flux between pin and shell; dry or replace them."
    ),
}
UNKNOWN = say("Its type is unknown, so there is no telling what it lost when new.")
NARROW = say(
    "Measure it on two bands at least nine times apart in frequency: that separates loss growing with √f from loss "
    "growing with f."
)
OPEN = say(
    "Measure on a lower and a higher band, and move the plugs while you watch the meter: that shows a bad joint."
)


def growth_finding(belief: Belief, measured_hz: Sequence[float], claim_p: float = 1.0) -> GrowthFinding:
    """Say which part of a piece's loss grew beyond new.

    Parameters
    ----------
    belief : Belief
        What is believed of the piece.
    measured_hz : sequence of float
        The frequencies it was measured at, hertz.
    claim_p : float
        The chance that type, length and impedance are as said; where they are not, the excess may be no growth at all.

    Returns
    -------
    GrowthFinding
        With "cannot tell" in its sentence when the type is unknown, when no two measured bands lie nine times apart,
        or when no part reaches 70 %.
    """
    tag = belief.piece.tag
    if belief.piece.line is None or not measured_hz:
        return _open(belief, UNKNOWN if belief.piece.line is None else NARROW)
    at = worst_hz(belief, measured_hz)
    parts, (found, none) = excesses_db(belief, at), chances(belief, at)
    each: dict[str, float] = dict.fromkeys(NAMES, 0.0) | {"none": none}
    found = {c: p if c in OF_A_PLACE else p * claim_p for c, p in found.items()}
    for cause, p in found.items():
        each[PART_OF[cause]] += p
    conductor, dielectric, joint = (
        float(median(sum(x for cause, x in parts.items() if PART_OF[cause] == name))) for name in NAMES[:3]
    )
    apart = [c for c in ("open conductor", "wet connector") if found.get(c, 0.0) > NAMED]
    shares, middles = tuple(each.values()), [conductor, dielectric, joint, 0.0]
    ratio = max(measured_hz) / min(measured_hz)
    sentence, check = _said(tag, shares, middles, at, ratio, apart[0] if apart else None)
    return GrowthFinding(
        tag, float(at), each["conductor"], each["dielectric"], each["joint"], each["none"],
        conductor, dielectric, joint, sentence, check,
    )  # fmt: skip


PART_OF: dict[Cause, str] = {
    "braid": "conductor", "water": "dielectric", "resistive joint": "joint", "open conductor": "joint",
    "wet connector": "joint",
}  # fmt: skip
"""Which part of a piece each cause lies in."""


def _said(
    tag: str, chances: tuple[float, ...], middles: list[float], top: float, ratio: float, apart: str | None
) -> tuple[str, str]:
    best = int(np.argmax(chances))
    name, likely = NAMES[best], chances[best]
    if name == "none" and likely >= UNCHANGED:
        return say(GREW[name], piece=tag, chance=chance(likely)), CHECKS[name]
    if ratio < APART and apart is None:
        return say(
            "Cannot tell in which part of {piece} the loss has grown: the bands measured are too close together.",
                   piece=tag), NARROW  # fmt: skip
    if likely < NAMED and apart is None:
        shares = [say(part, chance=chance(p)) for part, p in zip(SHARES, chances, strict=True) if p >= 0.05]
        return say(
            "Cannot tell in which part of {piece} the loss has grown: {shares}.",
            piece=tag,
            shares=together(shares, ", "),
        ), OPEN
    name = apart or name
    excess = quantity(plain(middles[best], 1), "dB")
    grew = say(GREW[name], piece=tag, excess=excess, frequency=frequency(top), chance=chance(likely))
    return grew, CHECKS[name]


def _open(belief: Belief, why: str) -> GrowthFinding:
    return GrowthFinding(
        belief.piece.tag, None, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
        say("Cannot tell in which part of {piece} the loss has grown.", piece=belief.piece.tag), why,
    )  # fmt: skip
