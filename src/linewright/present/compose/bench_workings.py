"""How each figure was worked out, so that anyone can check it with a pencil."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.core.arrays import Floats, quantile
from linewright.core.formatting import digits, frequency, interval, metres, per_metre, plain, quantity
from linewright.core.messages import say, say_many, together
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench_result import ByHand, Key, LossFinding, MeterFinding, Working
from linewright.inference.bench.design import jumper_connectors_db, jumper_db, law_of
from linewright.inference.bench.findings import connectors_db
from linewright.inference.bench.observations import Block
from linewright.inference.bench.posterior import Posterior

ENGINE = say("The bench engine of this project; see docs/how-the-bench-works.md.")
GUM = say("JCGM 100:2008, 5.1.2, equation 10, all sensitivities 1.")
LOSS = say("length · (conductor part · G + dielectric part · G · H) · departure + connectors + joints")
LENGTH, CONDUCTOR, DIELECTRIC = say("length"), say("conductor part when new"), say("dielectric part when new")
GROWTH, WET = say("G, multiplier of the law"), say("H, further multiplier of the dielectric part")
DEPARTURE, JOINTS = say("departure from the law at this frequency"), say("extra loss in its joints, and of its faults")
CATALOGUE = say("length · (k0 + k1 √f + k2 f) + connectors, f in MHz")
CONNECTORS, TABLES = say("connectors"), say("spread of published tables")
BY_HAND = say("10 lg(P reference / P piece) + jumper replaced; u = root of the sum of squares")
REFERENCES, JUMPER = say("reference readings"), say("jumper")
THROUGH = say("readings through the piece")
UNCERTAINTY = say("standard uncertainty: scale step, repeatability, mismatch, jumper")
UNCERTAINTY_NEAR = say("standard uncertainty: scale step, directivity, matches, impedance step")
NEAR_END = say("mean and spread of the loss under which the readings at the near end are likely, nothing else known")
EXPONENT = say("shown dB = level - exponent · loss of the path")
EXPONENTS = (
    ("1", say("reads true ratios")), (say("above 1"), say("stretches them")), (say("below 1"), say("shrinks them")),
)  # fmt: skip
NEXT = say(", ")
"""Between figures in a row; a language with a decimal comma needs another mark."""


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
            said.append(_catalogue(post, x, x.catalogue_db))
        said += [_hand(post, b, x) for b in blocks if b.frequency_hz == x.frequency_hz and _has(b, x)]
    return (*said, *(_exponent(m) for m in meters if m.exponent is not None))


def _has(block: Block, x: LossFinding) -> bool:
    return any(h.meter == block.meter.name for h in x.by_hand)


def _numbers(draws: Sequence[Floats]) -> list[str]:
    """Return the median of each with its interval."""
    ends = quantile(np.stack(draws), [0.025, 0.5, 0.975], axis=1).T
    return [
        say("{value} ({low} to {high})", value=plain(middle, 3), low=plain(low, 3), high=plain(high, 3))
        for low, middle, high in ends.tolist()
    ]


def _at(piece: str, frequency_hz: float) -> dict[str, str]:
    return {"piece": piece, "frequency": frequency(frequency_hz)}


def _loss(post: Posterior, x: LossFinding, belief: Belief) -> Working:
    piece = belief.piece
    conductor, dielectric = (float(v) for v in law_of(piece).parts_db_per_m(x.frequency_hz))
    at = post.lay.strand_of[x.piece, x.frequency_hz]
    root = np.sqrt(x.frequency_hz / 1e6)
    departure = np.exp(post.losses.departure[:, at])
    growth, wet, own, connectors, joints = _numbers(
        [
            belief.growth,
            belief.wet,
            departure,
            belief.connector_db_per_sqrt_mhz * root,
            belief.ends_db(x.frequency_hz) - belief.connector_db_per_sqrt_mhz * root,
        ]
    )
    loss = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return Working(
        say("loss of {piece} at {frequency}: {loss}", **_at(x.piece, x.frequency_hz), loss=loss),
        LOSS,
        (
            (LENGTH, metres(piece.length_m)),
            (CONDUCTOR, per_metre(conductor, 5)),
            (DIELECTRIC, per_metre(dielectric, 5)),
            (GROWTH, growth),
            (WET, wet),
            (DEPARTURE, own),
            (say_many("{count} connector", "{count} connectors", piece.connectors), quantity(connectors, "dB")),
            (JOINTS, quantity(joints, "dB")),
        ),
        ENGINE,
        ("loss", x.piece, x.frequency_hz),
    )


def _catalogue(post: Posterior, x: LossFinding, new_db: float) -> Working:
    piece = post.lay.sheet.piece(x.piece)
    law = law_of(piece)
    plugs = connectors_db(piece, x.frequency_hz, post.priors)
    kind = piece.line.designator if piece.line else say("its type")
    loss = quantity(plain(new_db, 3), "dB")
    terms = zip((law.k0_db_per_m, law.k1_db_per_m, law.k2_db_per_m), (6, 6, 8), strict=True)
    return Working(
        say("what {piece} should lose at {frequency}: {loss}", **_at(x.piece, x.frequency_hz), loss=loss),
        CATALOGUE,
        (
            (LENGTH, metres(piece.length_m)),
            ("k0, k1, k2", together([per_metre(k, places) for k, places in terms], NEXT)),
            (CONDUCTOR, per_metre(float(law.parts_db_per_m(x.frequency_hz)[0]), 5)),
            (DIELECTRIC, per_metre(float(law.parts_db_per_m(x.frequency_hz)[1]), 5)),
            (CONNECTORS, quantity(plain(plugs, 4), "dB")),
            (TABLES, quantity(plain(100 * law.spread, 0), "%")),
        ),
        say("The catalogue's fit to the published points of {line}.", line=kind),
        ("should lose", x.piece, x.frequency_hz),
    )


def _hand(post: Posterior, block: Block, x: LossFinding) -> Working:
    hand = next(h for h in x.by_hand if h.meter == block.meter.name)

    def levels(path: tuple[str, ...]) -> str:
        rows = [r for o in block.observations if o.path == path and not o.bottom for r in o.rows]
        return together([digits(post.lay.sheet.readings[r].reading) for r in sorted(rows)], NEXT)

    if block.direct:
        return _from_one_end(x, hand)
    jumper = _jumper(post, x.frequency_hz)
    return Working(
        say(
            "by hand on the {meter}, {piece} at {frequency}: {loss} ± {uncertainty} dB",
            meter=block.meter.name,
            **_at(x.piece, x.frequency_hz),
            **_plus_minus(hand),
        ),
        BY_HAND,
        (
            (REFERENCES, levels(())),
            (THROUGH, levels((x.piece,))),
            (JUMPER, jumper),
            (UNCERTAINTY, quantity(plain(hand.loss_db_u, 3), "dB")),
        ),
        GUM,
        _hand_key(x, hand),
    )


def _hand_key(x: LossFinding, hand: ByHand) -> Key:
    return "by hand", x.piece, x.frequency_hz, hand.meter


def _plus_minus(hand: ByHand) -> dict[str, str]:
    return {"loss": plain(hand.loss_db, 2), "uncertainty": plain(hand.loss_db_u, 2)}


def _from_one_end(x: LossFinding, hand: ByHand) -> Working:
    return Working(
        say(
            "from one end, {method}, {piece} at {frequency}: {loss} ± {uncertainty} dB",
            method=say(hand.meter),
            **_at(x.piece, x.frequency_hz),
            **_plus_minus(hand),
        ),
        NEAR_END,
        ((UNCERTAINTY_NEAR, quantity(plain(hand.loss_db_u, 3), "dB")),),
        ENGINE,
        _hand_key(x, hand),
    )


def _jumper(post: Posterior, frequency_hz: float) -> str:
    sheet = post.lay.sheet
    if sheet.reference.in_place == "stays":
        return say("stays in line: nothing to add")
    plugs = jumper_connectors_db(sheet, frequency_hz, post.priors)
    return say(
        "{line} of line, {connectors} of connectors",
        line=quantity(plain(jumper_db(sheet, frequency_hz), 3), "dB"),
        connectors=quantity(plain(plugs, 3), "dB"),
    )


def _exponent(m: MeterFinding) -> Working:
    ends = (m.exponent, m.exponent_low, m.exponent_high)
    exponent, low, high = (plain(v, 2) for v in ends if v is not None)
    return Working(
        say(
            "exponent of the {meter} at {frequency}: {exponent} ({low} to {high})",
            meter=m.meter,
            frequency=frequency(m.frequency_hz),
            exponent=exponent,
            low=low,
            high=high,
        ),
        EXPONENT,
        EXPONENTS,
        ENGINE,
        ("exponent", m.meter, m.frequency_hz),
    )
