"""Losses, ratios and predictions, read from the posterior's draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.evidence.by_hand import by_hand
from linewright.evidence.layout import JOINT_HZ, Floats, law_of
from linewright.evidence.mean import losses
from linewright.evidence.observations import Block
from linewright.evidence.posterior import SEED, Posterior
from linewright.model.bench import Piece
from linewright.model.result import LossFinding, Prediction
from linewright.units.decibels import delivered_fraction

BANDS_HZ = (3.6e6, 7.1e6, 14.2e6, 21.2e6, 28.5e6, 50.1e6, 144.3e6, 432.1e6, 1296e6)
"""One frequency in each of the bands most used: where losses nobody measured are predicted."""


LEAST_DB = 1e-3
"""No line with connectors loses less."""


@dataclass(frozen=True, slots=True)
class Belief:
    """Draws of one piece's law: log multipliers, connector factor; and its loss anywhere."""

    piece: Piece
    growth: Floats
    wet: Floats
    connector: Floats
    joint: Floats
    departure: Floats
    connector_db: float

    def joint_db(self, frequency_hz: float) -> Floats:
        """Return draws of what the piece's joints lose beyond sound connectors."""
        out: Floats = self.joint[:, 0] + self.joint[:, 1] * np.sqrt(frequency_hz / JOINT_HZ)
        return out

    def loss_db(self, frequency_hz: float) -> Floats:
        """Return draws of the loss with connectors at a frequency nobody measured."""
        conductor, dielectric = law_of(self.piece).parts_db_per_m(frequency_hz)
        wet = np.exp(self.growth + self.wet)
        cable = self.piece.length_m * (np.exp(self.growth) * float(conductor) + wet * float(dielectric))
        joint = self.joint_db(frequency_hz)
        out: Floats = (
            cable * np.exp(self.departure)
            + joint
            + np.exp(self.connector) * connectors_db(self.piece, frequency_hz, self.connector_db)
        )
        return np.maximum(out, LEAST_DB)


def connectors_db(piece: Piece, frequency_hz: float, per_sqrt_mhz: float) -> float:
    """Return what the connectors of a piece usually lose, dB."""
    return float(piece.connectors * per_sqrt_mhz * np.sqrt(frequency_hz / 1e6))


def catalogue_db(piece: Piece, frequency_hz: float, per_sqrt_mhz: float) -> float:
    """Return what a piece of its claimed (or guessed) type loses when new, connectors included, dB."""
    law = law_of(piece)
    return piece.length_m * float(law.db_per_m(frequency_hz)) + connectors_db(piece, frequency_hz, per_sqrt_mhz)


def belief_of(post: Posterior, piece: Piece) -> Belief:
    """Return the draws that concern one piece."""
    lay, x = post.lay, post.draws
    stock = lay.stocks.index(piece.stock_name)
    rng = np.random.default_rng(SEED + 1)
    wide = post.priors.departure * np.where(post.rough > 0, post.priors.rough_departure, 1.0)
    return Belief(
        piece,
        x[:, lay.growth.start + stock],
        x[:, lay.wet.start + stock],
        x[:, lay.connector],
        x[:, lay.joint].reshape(len(x), 2, len(lay.sheet.pieces))[:, :, lay.sheet.pieces.index(piece)],
        wide * rng.standard_normal(len(x)),
        post.priors.connector_db_per_sqrt_mhz,
    )


def strand_draws(post: Posterior, draws: Floats) -> Floats:
    """Return draws of every strand's loss with the connectors of its piece, (draws, strands)."""
    lay = post.lay
    got = losses(lay, draws)
    pieces = lay.sheet.pieces
    plugs = np.array([
        connectors_db(pieces[int(p)], float(f), post.priors.connector_db_per_sqrt_mhz)
        for p, f in zip(lay.strands.piece, lay.strands.frequency_hz, strict=True)
    ])  # fmt: skip
    out: Floats = np.maximum(got.strand_db + got.joint_db + np.exp(draws[:, [lay.connector]]) * plugs, LEAST_DB)
    return out


def loss_findings(post: Posterior, blocks: list[Block], draws: Floats) -> tuple[LossFinding, ...]:
    """Return the loss of every piece at every frequency it was read at. ``draws`` come from ``strand_draws``."""
    lay = post.lay
    alone = strand_draws(post, post.alone)
    order = np.lexsort((lay.strands.frequency_hz, lay.strands.piece))
    return tuple(_finding(post, blocks, int(i), draws[:, i], alone[:, i]) for i in order)


def _finding(post: Posterior, blocks: list[Block], strand: int, loss: Floats, alone: Floats) -> LossFinding:
    """Gather one finding. ``alone`` are draws of what the readings say by themselves."""
    strands, sheet = post.lay.strands, post.lay.sheet
    piece, f = sheet.pieces[int(strands.piece[strand])], float(strands.frequency_hz[strand])
    new = catalogue_db(piece, f, post.priors.connector_db_per_sqrt_mhz)
    low, middle, high = (float(v) for v in np.quantile(loss, [0.025, 0.5, 0.975]))
    hands = [by_hand(sheet, b, piece.tag, post.priors) for b in blocks if b.frequency_hz == f and not b.dead]
    known = piece.line is not None
    alone_low, alone_db, alone_high = (float(v) for v in np.quantile(alone, [0.025, 0.5, 0.975]))
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
        by_hand=tuple(h for h in hands if h is not None),
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
    found = []
    for i, piece in enumerate(lay.sheet.pieces):
        for f in BANDS_HZ:
            if any(p == i and abs(g / f - 1.0) < 0.08 for p, g in seen):
                continue
            low, middle, high = (float(v) for v in np.quantile(beliefs[piece.tag].loss_db(f), [0.025, 0.5, 0.975]))
            found.append(Prediction(piece.tag, f, middle, low, high))
    return tuple(found)
