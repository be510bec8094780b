"""What a person should know beside the figures: odd readings, and what was taken for granted."""

from __future__ import annotations

from linewright.core.formatting import frequency, plain, quantity
from linewright.core.messages import say, together
from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.bench_result import LossFinding
from linewright.inference.bench.design import jumper_db, levelled_by_power
from linewright.inference.bench.observations import Block, rising
from linewright.inference.bench.pieces import beside
from linewright.inference.bench.posterior import Posterior


def remarks(post: Posterior, blocks: list[Block], found: tuple[LossFinding, ...]) -> tuple[str, ...]:
    """Return the remarks on a bench, the gravest first."""
    return tuple(
        dict.fromkeys([
            *_rising(blocks), *_dead(blocks), *_references(post), *_negative(found),
            *_types(post, found), *_coverage(post), *_beside(post.lay.sheet),
        ])
    )  # fmt: skip


def _rising(blocks: list[Block]) -> list[str]:
    return [
        say(
            "The {meter} rises by {rise} at {frequency} when {path} is put in. A cable adds no power: look for a "
            "misread reading, a loose reference, a drifting source or a poor match.",
            meter=b.meter.name,
            rise=quantity(plain(up, 1), "dB"),
            frequency=frequency(b.frequency_hz),
            path="+".join(path),
        )
        for b in blocks
        for path, up in rising(b)
    ]


def _dead(blocks: list[Block]) -> list[str]:
    return [
        say("The {meter} is left out at {frequency}: {reason}.",
            meter=b.name, frequency=frequency(b.frequency_hz), reason=b.dead)
        for b in blocks
        if b.dead
    ]  # fmt: skip


def _references(post: Posterior) -> list[str]:
    lay = post.lay
    by_power = levelled_by_power(lay)
    said = []
    for i, b in enumerate(lay.blocks):
        if b.direct or any(not o.bottom for o in b.references):
            continue
        said.append(_no_reference(b, i in by_power))
    if all(b.direct for b in lay.blocks):
        return said
    sheet = lay.sheet
    if sheet.reference.in_place == "replaced" and (sheet.reference.line is None or not sheet.reference.length_m):
        said.append(say("The reference jumper is not described: its own loss is taken as zero."))
    elif any(jumper_db(sheet, b.frequency_hz) > 1.0 for b in lay.blocks):
        said.append(say("The reference jumper itself loses more than 1 dB on some band: use a shorter one."))
    return said


def _no_reference(block: Block, by_power: bool) -> str:
    at = {"meter": block.meter.name, "frequency": frequency(block.frequency_hz)}
    if by_power:
        return say(
            "No reference reading of the {meter} at {frequency}: the stated power is used instead, which is crude. "
            "Take a reference reading.",
            **at,
        )
    return say(
        "No reference reading of the {meter} at {frequency}: only differences between lengths count there."
        " Take a reference reading.",
        **at,
    )


def _negative(found: tuple[LossFinding, ...]) -> list[str]:
    return [
        say(
            "By hand, {piece} at {frequency} on the {meter} comes to {loss}, which no cable can have.",
            piece=x.piece,
            frequency=frequency(x.frequency_hz),
            meter=h.meter,
            loss=quantity(plain(h.loss_db, 1), "dB"),
        )
        for x in found
        for h in x.by_hand
        if h.loss_db < -2.0 * h.loss_db_u
    ]


def _types(post: Posterior, found: tuple[LossFinding, ...]) -> list[str]:
    said = [
        say(
            "The type of {piece} is unknown: its loss rests on the readings and on cables in general.",
            piece=p.tag,
        )
        for p in post.lay.sheet.pieces
        if p.line is None
    ]
    beyond = [
        say("{piece} at {frequency}", piece=x.piece, frequency=frequency(x.frequency_hz))
        for x in found
        if x.extrapolated
    ]
    if beyond:
        where = together(beyond, ", ")
        said.append(say("The catalogue is less certain of the type than usual for {where}.", where=where))
    return said


def _coverage(post: Posterior) -> list[str]:
    lay = post.lay
    said = []
    if len({b.frequency_hz for b in lay.blocks}) == 1 and lay.strands.piece.size:
        said.append(
            say(
                "One frequency only: the law cannot be checked, and losses on other bands follow the type's usual "
                "shape."
            )
        )
    if len({b.meter.name for b in lay.blocks if not b.direct}) == 1 and not lay.attenuators:
        said.append(
            say("One meter and no known attenuator: its detector is assumed to be linear; that was not measured.")
        )
    return said


FALLS = 0.3
"""A fall of SWR worth a word."""


def _beside(sheet: BenchSheet) -> list[str]:
    """Say what an SWR read beside the power tells: of a poor load how much is lost, of a good one nothing."""
    tests = beside(sheet)
    if not tests:
        through = [r.swr for r in sheet.readings if r.swr is not None and not r.path]
        if not through or not any(r.swr is not None and len(r.path) == 1 for r in sheet.readings):
            return []
        worst = plain(max(through), 1)
        return [say("The SWR readings say nothing about the loss: at {swr} the load is too good for that.", swr=worst)]
    said = []
    for test in tests:
        falls = max(test.readings, key=lambda r: (r.direct or 1.0) - r.value)
        if falls.direct is not None and falls.direct - falls.value >= FALLS:
            said.append(
                say(
                    "With {piece} in line the SWR at {frequency} falls from {before} to {after}: that is loss on the"
                    " way there and back, not a better match.",
                    piece=test.tag,
                    frequency=frequency(falls.frequency_hz),
                    before=plain(falls.direct, 1),
                    after=plain(falls.value, 1),
                )
            )
    return said
