"""Which readings to doubt, and why: each is left out and predicted from the rest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linewright.evidence.layout import Floats, Layout
from linewright.evidence.left_out import Doubt, Expected, left_out, own_variance, predict
from linewright.evidence.observations import Block, Observation
from linewright.evidence.posterior import Posterior
from linewright.evidence.scales import shown
from linewright.evidence.sites import MISREAD
from linewright.model.bench import Meter, Reading
from linewright.model.result import ReadingFinding
from linewright.model.scale import SCALE_UNIT
from linewright.units.said import EITHER, listed, mark, say, together
from linewright.units.writing import frequency, plain, quantity

QUOTE_SIGMA = 2.5
"""A prediction is quoted against a reading when they are this many standard deviations apart."""
ASK = 0.2
"""Readings at least this likely to be wrong get their reasons worked out."""
Camp = tuple[str, dict[str, str], NDArray[np.bool_]]


def reading_findings(post: Posterior, blocks: list[Block]) -> tuple[ReadingFinding, ...]:
    """Return what the rest of the bench says of every reading, in the order of the sheet."""
    lay = post.lay
    found: dict[int, ReadingFinding] = {}
    for block in blocks:
        if block.dead:
            for o in block.observations:
                found |= {i: _of_dead_meter(lay.sheet.readings[i], block) for i in o.rows}
    flat = [(b, o) for b in lay.blocks for o in b.observations]
    doubts = _doubts(post)
    insides = own_variance(post)
    for i, (block, o) in enumerate(flat):
        expected = left_out(post, i, doubts[i], insides[i])
        why = _why(post, flat, i, doubts, expected)
        for r in o.rows:
            found[r] = _finding(post, (block, o), lay.sheet.readings[r], doubts[i], expected, why)
    return tuple(found[i] for i in range(len(lay.sheet.readings)))


def _doubts(post: Posterior) -> list[Doubt]:
    """Return ``P(wrong) = 1 - (1 - P(misread)) (1 - P(bad insertion))`` for every observation."""
    lay, sites = post.lay, post.sites
    misread, insertion = post.bottom_wrong * lay.bottom, np.zeros(lay.n)
    group: list[int | None] = [None] * lay.n
    for s, members in enumerate(sites.members):
        if sites.kind[s] == MISREAD:
            misread[members[0]] = post.chance[s]
        else:
            insertion[members] = post.chance[s]
            for m in members:
                group[int(m)] = s
    return [
        Doubt(float(1.0 - (1.0 - p) * (1.0 - q)), float(q), g)
        for p, q, g in zip(misread, insertion, group, strict=True)
    ]


def _of_dead_meter(reading: Reading, block: Block) -> ReadingFinding:
    why = say(
        "The {meter} is no witness at {frequency}: {reason}.",
        meter=block.name,
        frequency=frequency(block.frequency_hz),
        reason=block.dead,
    )
    return ReadingFinding(
        reading.row, reading.meter, reading.frequency_hz, reading.path_name, reading.reading,
        None, None, None, 0.5, False, why, block.meter.scale,
    )  # fmt: skip


def _span(meter: Meter, level_db: float, sd_db: float) -> str:
    middle, low, high = (shown(meter, level_db + k * 1.96 * sd_db) for k in (0, -1, 1))
    places = 0 if high >= 100 else max(0, min(3, int(np.ceil(1 - np.log10(max(high - low, 1e-3))))))
    parts = {"value": plain(middle, places), "low": plain(low, places), "high": plain(high, places)}
    unit = SCALE_UNIT[meter.scale]
    if not unit:
        return say("{value} on the scale ({low} to {high})", **parts)
    return say("{value} ({low} to {high})", **parts | {"value": quantity(parts["value"], unit)})


def _finding(
    post: Posterior, at: tuple[Block, Observation], reading: Reading, doubt: Doubt, expected: Expected, why: str
) -> ReadingFinding:
    reach, level = 1.96 * expected.sd_db, expected.level_db
    scale = [shown(at[0].meter, v) for v in (level, level - reach, level + reach)] if expected.checked else [None] * 3
    return ReadingFinding(
        reading.row, reading.meter, reading.frequency_hz, reading.path_name, reading.reading,
        scale[0], scale[1], scale[2], doubt.p_wrong, expected.checked, why, at[0].meter.scale,
    )  # fmt: skip


def _why(
    post: Posterior, flat: list[tuple[Block, Observation]], i: int, doubts: list[Doubt], expected: Expected
) -> str:
    block, o = flat[i]
    if not expected.checked:
        return say(
            "Cannot tell: nothing else on the bench says what this should be."
            " A repeat with the reference on either side, or a second meter, would tell."
        )
    if doubts[i].p_wrong < ASK:
        return ""
    span = _span(block.meter, expected.level_db, expected.sd_db)
    if o.bottom:
        return say("It shows nothing, where the rest of the bench expects {span}.", span=span)
    parts = [say("The rest of the bench expects {span}.", span=span)]
    parts += _witnesses(post, flat, i, doubts[i])
    group = doubts[i].group
    if group is not None and all(doubts[m].p_wrong > 0.5 for m in post.sites.members[group]):
        parts.append(_insertion(o))
    else:
        parts.append(_rivals(post, flat, i, doubts))
    return together(parts)


def _insertion(o: Observation) -> str:
    if not o.path:
        return say("All readings of the reference are off here: a bad insertion, such as a loose plug.")
    return say("All readings of {path} are off here: a bad insertion, such as a loose plug.", path="+".join(o.path))


def _rivals(post: Posterior, flat: list[tuple[Block, Observation]], i: int, doubts: list[Doubt]) -> str:
    """Return a sentence naming the other readings that may be the wrong ones instead."""
    if doubts[i].p_wrong > 0.9:
        return ""
    rows = [
        post.lay.sheet.readings[o.rows[0]].row
        for j, (b, o) in enumerate(flat)
        if j != i and b is flat[i][0] and ASK < doubts[j].p_wrong <= 0.9
    ]
    if not rows:
        return say("A repeat of it would settle the matter.")
    others = listed([say("row {row}", row=r) for r in rows[:3]], EITHER)
    return say("It may be {others} instead: a repeat of both would tell.", others=others)


def _witnesses(post: Posterior, flat: list[tuple[Block, Observation]], i: int, doubt: Doubt) -> list[str]:
    """Return what repeats, other lengths, other meters and other bands say, where they contradict the reading."""
    lay, meter = post.lay, flat[i][0].meter
    f = np.array([b.frequency_hz for b in lay.blocks])[lay.block]
    said = []
    barred = lay.bottom.copy()
    barred[post.sites.members[doubt.group] if doubt.group is not None and doubt.p_insertion > 0.5 else i] = True
    for pattern, names, camp in _camps(lay, flat, i, f):
        got = predict(post, i, np.flatnonzero(camp & ~barred), f)
        if got and got.checked and abs(lay.y_db[i] - got.level_db) > QUOTE_SIGMA * got.sd_db:
            said.append(say(pattern, span=_span(meter, got.level_db, got.sd_db), **names))
    return said


def _camps(lay: Layout, flat: list[tuple[Block, Observation]], i: int, f: Floats) -> list[Camp]:
    """Return who may witness, as a sentence to fill in, with the names in it and which observations are theirs."""
    same_block, same_path, here = lay.block == lay.block[i], lay.cell == lay.cell[i], f == f[i]
    lengths = same_block & ~same_path
    base = lengths & np.array([not o.path for _, o in flat]) if flat[i][1].path else lengths
    camps: list[Camp] = [
        (mark("Its repeats say {span}."), {}, same_block & same_path),
        (mark("Other lengths on this meter say {span}."), {}, lengths),
    ]
    others = sorted({b.name for b, _ in flat if b.frequency_hz == f[i]} - {flat[i][0].name})
    if len(others) == 1:
        camps.append((mark("The {meter} says {span}."), {"meter": others[0]}, (here & ~same_block) | base))
    elif others:
        rest = listed([say("the {meter}", meter=name) for name in others[1:]])
        names = {"meter": others[0], "others": rest}
        camps.append((mark("The {meter} and {others} say {span}."), names, (here & ~same_block) | base))
    if (~here).any():
        camps.append((mark("Other bands say {span}."), {}, ~here | base))
    return camps
