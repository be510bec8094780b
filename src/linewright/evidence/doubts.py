"""Which readings to doubt, and why: each is left out and predicted from the rest."""

from __future__ import annotations

import numpy as np

from linewright.evidence.left_out import Doubt, Expected, left_out, own_variance, predict
from linewright.evidence.observations import Block, Observation
from linewright.evidence.posterior import Posterior
from linewright.evidence.scales import shown
from linewright.evidence.sites import MISREAD
from linewright.model.bench import Meter, Reading
from linewright.model.result import ReadingFinding
from linewright.model.scale import SCALE_UNIT
from linewright.units.writing import frequency

QUOTE_SIGMA = 2.5
"""A prediction is quoted against a reading when they are this many standard deviations apart."""
ASK = 0.2
"""Readings at least this likely to be wrong get their reasons worked out."""


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
    why = f"The {block.meter.name} is no witness at {frequency(block.frequency_hz)}: {block.dead}."
    return ReadingFinding(
        reading.row, reading.meter, reading.frequency_hz, reading.path_name, reading.reading,
        None, None, None, 0.5, False, why, block.meter.scale,
    )  # fmt: skip


def _span(meter: Meter, level_db: float, sd_db: float) -> str:
    middle, low, high = (shown(meter, level_db + k * 1.96 * sd_db) for k in (0, -1, 1))
    unit = SCALE_UNIT[meter.scale] or "on the scale"
    places = 0 if high >= 100 else max(0, min(3, int(np.ceil(1 - np.log10(max(high - low, 1e-3))))))
    return f"{middle:.{places}f} {unit} ({low:.{places}f} to {high:.{places}f})"


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
        return (
            "Cannot tell: nothing else on the bench says what this should be."
            " A repeat with the reference on either side, or a second meter, would tell."
        )
    if doubts[i].p_wrong < ASK:
        return ""
    span = _span(block.meter, expected.level_db, expected.sd_db)
    if o.bottom:
        return f"It shows nothing, where the rest of the bench expects {span}."
    parts = [f"The rest of the bench expects {span}."]
    parts += _witnesses(post, flat, i, doubts[i])
    group = doubts[i].group
    if group is not None and all(doubts[m].p_wrong > 0.5 for m in post.sites.members[group]):
        parts.append(f"All readings of {_name(o)} are off here: a bad insertion, such as a loose plug.")
    else:
        parts += _rivals(post, flat, i, doubts)
    return " ".join(parts)


def _name(o: Observation) -> str:
    return "+".join(o.path) if o.path else "the reference"


def _rivals(post: Posterior, flat: list[tuple[Block, Observation]], i: int, doubts: list[Doubt]) -> list[str]:
    """Return a sentence naming the other readings that may be the wrong ones instead."""
    if doubts[i].p_wrong > 0.9:
        return []
    rows = [
        post.lay.sheet.readings[o.rows[0]].row
        for j, (b, o) in enumerate(flat)
        if j != i and b is flat[i][0] and ASK < doubts[j].p_wrong <= 0.9
    ]
    if not rows:
        return ["A repeat of it would settle the matter."]
    names = " or ".join(f"row {r}" for r in rows[:3])
    return [f"It may be {names} instead: a repeat of both would tell."]


def _witnesses(post: Posterior, flat: list[tuple[Block, Observation]], i: int, doubt: Doubt) -> list[str]:
    """Return what repeats, other lengths, other meters and other bands say, where they contradict the reading."""
    lay = post.lay
    same_block, same_path = lay.block == lay.block[i], lay.cell == lay.cell[i]
    f = np.array([b.frequency_hz for b in lay.blocks])[lay.block]
    base = same_block & np.array([not o.path for _, o in flat])
    here = f == f[i]
    others = sorted({b.meter.name for b, _ in flat if b.frequency_hz == f[i]} - {flat[i][0].meter.name})
    camps = {
        "Its repeats": same_block & same_path,
        "Other lengths on this meter": same_block & ~same_path,
        _list(others): (here & ~same_block) | (base & ~same_path if flat[i][1].path else same_block & ~same_path),
        "Other bands": ~here | (base & ~same_path if flat[i][1].path else same_block & ~same_path),
    }
    if not others:
        camps.pop(_list(others))
    if not (~here).any():
        camps.pop("Other bands")
    said = []
    barred = lay.bottom.copy()
    barred[post.sites.members[doubt.group] if doubt.group is not None and doubt.p_insertion > 0.5 else i] = True
    for who, camp in camps.items():
        got = predict(post, i, np.flatnonzero(camp & ~barred), f)
        if got and got.checked and abs(lay.y_db[i] - got.level_db) > QUOTE_SIGMA * got.sd_db:
            verb = "says" if who == _list(others) and len(others) == 1 else "say"
            said.append(f"{who} {verb} {_span(flat[i][0].meter, got.level_db, got.sd_db)}.")
    return said


def _list(names: list[str]) -> str:
    joined = " and ".join(f"the {n}" for n in names)
    return joined[:1].upper() + joined[1:]
