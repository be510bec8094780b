"""Losses, ratios and predictions, read from the posterior's draws."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.evidence.by_hand import by_hand
from linewright.evidence.layout import JOINT_HZ, Floats, law_of
from linewright.evidence.mean import losses
from linewright.evidence.observations import Block
from linewright.evidence.posterior import SEED, Posterior
from linewright.evidence.priors import Priors
from linewright.evidence.quantiles import low_middle_high
from linewright.model.belief import LEAST_DB, Belief
from linewright.model.bench import Piece
from linewright.model.result import ByHand, LossFinding, Prediction
from linewright.units.decibels import delivered_fraction
from linewright.units.said import say

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
    """Return the draws that concern one piece."""
    lay, x = post.lay, post.draws
    stock = lay.stocks.index(piece.stock_name)
    rng = np.random.default_rng(SEED + 1)
    wide = post.priors.departure * np.where(post.rough > 0, post.priors.rough_departure, 1.0)
    joint = x[:, lay.joint].reshape(len(x), 2, len(lay.sheet.pieces))[:, :, lay.sheet.pieces.index(piece)]
    return Belief(
        piece=piece,
        law=law_of(piece),
        growth=np.exp(x[:, lay.growth.start + stock]),
        wet=np.exp(x[:, lay.wet.start + stock]),
        departure=np.exp(wide * rng.standard_normal(len(x))),
        connector_db_per_sqrt_mhz=np.exp(x[:, lay.connector]) * connectors_db(piece, 1e6, post.priors),
        joint_db=joint[:, 0],
        joint_db_per_sqrt_mhz=joint[:, 1] / np.sqrt(JOINT_HZ / 1e6),
        basis=say("readings of {sheet}", sheet=lay.sheet.title),
        measured=tuple(
            (f, np.exp(x[:, lay.departure.start + at]))
            for (tag, f), at in lay.strand_of.items()
            if tag == piece.tag and lay.read[at]
        ),
    )


def strand_draws(post: Posterior, draws: Floats) -> Floats:
    """Return draws of every strand's loss with the connectors of its piece, (draws, strands)."""
    lay = post.lay
    got = losses(lay, draws)
    pieces = lay.sheet.pieces
    plugs = np.array([
        connectors_db(pieces[int(p)], float(f), post.priors)
        for p, f in zip(lay.strands.piece, lay.strands.frequency_hz, strict=True)
    ])  # fmt: skip
    out: Floats = np.maximum(got.strand_db + got.joint_db + np.exp(draws[:, [lay.connector]]) * plugs, LEAST_DB)
    return out


def loss_findings(post: Posterior, blocks: list[Block], draws: Floats) -> tuple[LossFinding, ...]:
    """Return the loss of every piece at every frequency it was read at. ``draws`` come from ``strand_draws``."""
    lay = post.lay
    if not len(lay.strands.piece):
        return ()
    ends, alone = low_middle_high(draws), low_middle_high(strand_draws(post, post.alone))
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
        p_worse_1_1=float(np.mean(loss > 1.1 * new)) if known else None,
        p_worse_1_25=float(np.mean(loss > 1.25 * new)) if known else None,
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
