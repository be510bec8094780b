"""How each figure was worked out, so that anyone can check it with a pencil."""

from __future__ import annotations

import numpy as np

from linewright.evidence.findings import connectors_db
from linewright.evidence.layout import jumper_connectors_db, jumper_db, law_of
from linewright.evidence.observations import Block
from linewright.evidence.posterior import Posterior
from linewright.model.belief import Belief
from linewright.model.result import ByHand, LossFinding, MeterFinding, Working
from linewright.units.writing import frequency, interval

ENGINE = "The bench engine of this project; see docs/how-the-bench-works.md."
GUM = "JCGM 100:2008, 5.1.2, equation 10, all sensitivities 1."


def workings(
    post: Posterior,
    blocks: list[Block],
    found: tuple[LossFinding, ...],
    meters: tuple[MeterFinding, ...],
    beliefs: dict[str, Belief],
) -> tuple[Working, ...]:
    """Return the workings of losses, of the by-hand figures beside them, and of the meters' exponents."""
    said: list[Working] = []
    for x in found:
        said.append(_loss(post, x, beliefs[x.piece]))
        if x.catalogue_db is not None:
            said.append(_catalogue(post, x))
        said += [_hand(post, b, x) for b in blocks if b.frequency_hz == x.frequency_hz and _has(b, x)]
    return (*said, *(_exponent(m) for m in meters if m.exponent is not None))


def _has(block: Block, x: LossFinding) -> bool:
    return any(h.meter == block.meter.name for h in x.by_hand)


def _number(draws: np.ndarray, places: int = 3) -> str:
    low, middle, high = np.quantile(draws, [0.025, 0.5, 0.975])
    return f"{middle:.{places}f} ({low:.{places}f} to {high:.{places}f})"


def _loss(post: Posterior, x: LossFinding, belief: Belief) -> Working:
    piece = belief.piece
    conductor, dielectric = (float(v) for v in law_of(piece).parts_db_per_m(x.frequency_hz))
    at = post.lay.strand_of[x.piece, x.frequency_hz]
    root = np.sqrt(x.frequency_hz / 1e6)
    departure = np.exp(post.draws[:, post.lay.departure.start + at])
    return Working(
        f"loss of {x.piece} at {frequency(x.frequency_hz)}: {interval(x.loss_db, x.loss_db_low, x.loss_db_high)}",
        "length · (conductor part · G + dielectric part · G · H) · departure + connectors + joints",
        (
            ("length", f"{piece.length_m:.4g} m"),
            ("conductor part when new", f"{conductor:.5f} dB/m"),
            ("dielectric part when new", f"{dielectric:.5f} dB/m"),
            ("G, multiplier of the law", _number(belief.growth)),
            ("H, further multiplier of the dielectric part", _number(belief.wet)),
            ("departure from the law at this frequency", _number(departure)),
            (f"{piece.connectors} connectors", f"{_number(belief.connector_db_per_sqrt_mhz * root)} dB"),
            ("extra loss in its joints", f"{_number(belief.joint_db + belief.joint_db_per_sqrt_mhz * root)} dB"),
        ),
        ENGINE,
    )


def _catalogue(post: Posterior, x: LossFinding) -> Working:
    piece = post.lay.sheet.piece(x.piece)
    law = law_of(piece)
    plugs = connectors_db(piece, x.frequency_hz, post.priors)
    kind = piece.line.designator if piece.line else "cables in general"
    return Working(
        f"what {x.piece} should lose at {frequency(x.frequency_hz)}: {x.catalogue_db:.3f} dB",
        "length · (k0 + k1 √f + k2 f) + connectors, f in MHz",
        (
            ("length", f"{piece.length_m:.4g} m"),
            ("k0, k1, k2", f"{law.k0_db_per_m:.6f}, {law.k1_db_per_m:.6f}, {law.k2_db_per_m:.8f} dB/m"),
            ("connectors", f"{plugs:.4f} dB"),
            ("spread of published tables", f"{100 * law.spread:.0f} %"),
        ),
        f"The catalogue's fit to the published points of {kind}.",
    )


def _hand(post: Posterior, block: Block, x: LossFinding) -> Working:
    hand = next(h for h in x.by_hand if h.meter == block.meter.name)

    def levels(path: tuple[str, ...]) -> str:
        rows = [r for o in block.observations if o.path == path and not o.bottom for r in o.rows]
        return ", ".join(f"{post.lay.sheet.readings[r].reading:g}" for r in sorted(rows))

    if block.direct:
        return _from_one_end(x, hand)
    return Working(
        f"by hand on the {block.meter.name}, {x.piece} at {frequency(x.frequency_hz)}:"
        f" {hand.loss_db:.2f} ± {hand.loss_db_u:.2f} dB",
        "10 lg(P reference / P piece) + jumper replaced; u = root of the sum of squares",
        (
            ("reference readings", levels(())),
            (f"readings through {x.piece}", levels((x.piece,))),
            ("jumper", _jumper(post, x.frequency_hz)),
            ("standard uncertainty", f"{hand.loss_db_u:.3f} dB: scale step, repeatability, mismatch, jumper"),
        ),
        GUM,
    )


def _from_one_end(x: LossFinding, hand: ByHand) -> Working:
    return Working(
        f"from one end, {hand.meter}, {x.piece} at {frequency(x.frequency_hz)}:"
        f" {hand.loss_db:.2f} ± {hand.loss_db_u:.2f} dB",
        "mean and spread of the loss under which the readings at the near end are likely, nothing else known",
        (("standard uncertainty", f"{hand.loss_db_u:.3f} dB: scale step, directivity, matches, impedance step"),),
        ENGINE,
    )


def _jumper(post: Posterior, frequency_hz: float) -> str:
    sheet = post.lay.sheet
    if sheet.reference.in_place == "stays":
        return "stays in line: nothing to add"
    plugs = jumper_connectors_db(sheet, frequency_hz, post.priors)
    return f"{jumper_db(sheet, frequency_hz):.3f} dB of line, {plugs:.3f} dB of connectors"


def _exponent(m: MeterFinding) -> Working:
    return Working(
        f"exponent of the {m.meter} at {frequency(m.frequency_hz)}:"
        f" {m.exponent:.2f} ({m.exponent_low:.2f} to {m.exponent_high:.2f})",
        "shown dB = level - exponent · loss of the path",
        (("1", "reads true ratios"), ("above 1", "stretches them"), ("below 1", "shrinks them")),
        ENGINE,
    )
