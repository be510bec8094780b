"""Which readings to doubt, and why: each is left out and predicted from the rest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from linewright.core.formatting import digits, frequency, plain, quantity
from linewright.core.messages import EITHER, listed, mark, say, say_many, together
from linewright.core.nouns.bench import Meter, Reading
from linewright.core.nouns.bench_result import SCALE_UNIT, Cause, ReadingFinding
from linewright.inference.bench.chances import of_wrong
from linewright.inference.bench.design import Layout
from linewright.inference.bench.hypotheses import MISREAD, STEP, WILD
from linewright.inference.bench.leave_one_out import Expected, ReadingDoubt, left_out, look_ahead, own_variance, predict
from linewright.inference.bench.observations import Block, Observation, Path, shown
from linewright.inference.bench.posterior import Posterior
from linewright.inference.bench.slips import Slip, slip_of
from linewright.inference.priors import DEFAULT

QUOTE_SIGMA = 2.5
"""A prediction is quoted against a reading when they are this many standard deviations apart."""
ASK = 0.2
"""Readings at least this likely to be wrong get their reasons worked out."""
NAMED = 0.4
"""A slip at least this likely is named."""
Flat = list[tuple[Block, Observation]]


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
    witnessed = _witnessed(lay)
    of_row = {r: doubt for (_, o), doubt in zip(flat, doubts, strict=True) for r in o.rows}
    look_ahead(post, doubts)
    for i, (block, o) in enumerate(flat):
        expected = left_out(post, i, doubts[i], insides[i])
        expected = expected if witnessed[i] else replace(expected, known_db=np.inf)
        slip = slip_of(post, (block, o), expected, doubts[i], of_row) if doubts[i].p_wrong >= ASK else None
        why = _why(post, flat, i, doubts, expected, slip)
        for r in o.rows:
            known = _finding(post, (block, o), lay.sheet.readings[r], doubts[i], expected, why)
            found[r] = replace(known, cause=slip.cause, p=slip.p) if slip else known
    return tuple(found[i] for i in range(len(lay.sheet.readings)))


def _doubts(post: Posterior) -> list[ReadingDoubt]:
    """Return ``1 - (1 - P(misread)) (1 - P(bad insertion))`` for every observation, weighed to how often it is so."""
    lay, sites = post.lay, post.sites
    right, seated = 1.0 - post.bottom_wrong * lay.bottom, np.ones(lay.n)
    group: list[int | None] = [None] * lay.n
    for s, members in enumerate(sites.members):
        if sites.kind[s] in (MISREAD, WILD):
            right[members] *= 1.0 - post.chance[s]
            continue
        if sites.kind[s] == STEP:
            continue  # What was shown was so.
        seated[members] *= 1.0 - post.chance[s]
        for m in members.tolist():
            best = group[m]
            if best is None or post.chance[s] > post.chance[best]:
                group[m] = s
    return [
        ReadingDoubt(of_wrong(float(1.0 - p * q)), of_wrong(float(1.0 - q)), g)
        for p, q, g in zip(right, seated, group, strict=True)
    ]


def _of_dead_meter(reading: Reading, block: Block) -> ReadingFinding:
    why = say(
        "The {meter} cannot be used as a check at {frequency}: {reason}.",
        meter=block.name,
        frequency=frequency(block.frequency_hz),
        reason=block.dead,
    )
    return ReadingFinding(
        reading.row, reading.meter, reading.frequency_hz, reading.path_name, reading.reading,
        None, None, None, DEFAULT.misread_p, False, why, block.meter.scale,
    )  # fmt: skip


def _span(meter: Meter, level_db: float, sd_db: float) -> str:
    middle = shown(meter, level_db)
    low, high = sorted(shown(meter, level_db + k * 1.96 * sd_db) for k in (-1, 1))
    places = 0 if high >= 100 else max(0, min(3, int(np.ceil(1 - np.log10(max(high - low, 1e-3))))))
    parts = {"value": plain(middle, places), "low": plain(low, places), "high": plain(high, places)}
    unit = SCALE_UNIT[meter.scale]
    if not unit:
        return say("{value} on the scale ({low} to {high})", **parts)
    return say("{value} ({low} to {high})", **parts | {"value": quantity(parts["value"], unit)})


def _finding(
    post: Posterior, at: tuple[Block, Observation], reading: Reading, doubt: ReadingDoubt, expected: Expected, why: str
) -> ReadingFinding:
    reach, level = 1.96 * expected.sd_db, expected.level_db
    ends = sorted(shown(at[0].meter, level + way * reach) for way in (-1, 1))
    scale = [shown(at[0].meter, level), *ends] if expected.checked else [None] * 3
    return ReadingFinding(
        reading.row, reading.meter, reading.frequency_hz, reading.path_name, reading.reading,
        scale[0], scale[1], scale[2], doubt.p_wrong, expected.checked, why, at[0].meter.scale,
    )  # fmt: skip


def _why(post: Posterior, flat: Flat, i: int, doubts: list[ReadingDoubt], expected: Expected, slip: Slip | None) -> str:
    block, o = flat[i]
    span = _span(block.meter, expected.level_db, expected.sd_db)
    if not expected.checked:
        blind = say(
            "Cannot tell: nothing else on the bench says what this should be. To find out, read it again with the "
            "reference before and after, or use a second meter."
        )
        if doubts[i].p_wrong < ASK:
            return blind
        drops = _drops(post.lay, flat, i, doubts)
        if drops:
            blind = say(
                "Cannot tell: the rest of the bench does not settle what this should be. To find out, unplug it, "
                "plug it in and read again."
            )
        prior = say("The usual loss of such cable would make it {span}.", span=span)
        return together([blind, *drops, prior])
    if doubts[i].p_wrong < ASK:
        return ""
    if o.bottom:
        return say("It shows nothing; the rest of the bench expects {span}.", span=span)
    parts = [say("The rest of the bench expects {span}.", span=span)]
    parts += _witnesses(post, flat, i, doubts)
    if slip is not None and slip.cause in ("bad insertion", "all meters alike") and doubts[i].group is not None:
        return together([*parts, _insertion(o, slip)])
    named = _named(block.meter, slip) if slip is not None else ""
    return together([*parts, *([named] if named else []), _rivals(post, flat, i, doubts)])


SLIPS: dict[Cause, str] = {
    "range": mark("It fits {meant}, if the wrong range of the scale was read."),
    "decimal": mark("It fits {meant} with the decimal point moved."),
    "digits swapped": mark("It fits {meant} with two digits swapped."),
    "rows swapped": mark("It fits {meant}, the reading in row {row}: the two rows may be swapped."),
    "copied": mark("It is the same as row {row}: it may have been copied from there."),
    "wrong piece": mark("It is close to row {row}: another piece may have been in line."),
    "bad insertion": mark("It may be a loose plug: unplug, plug in and read again."),
}
"""What a slip may have been, by its code; the likeliest is said, as a possibility."""


def _named(meter: Meter, slip: Slip) -> str:
    """Return what a slip may have been; nothing for one without a shape, or less likely than not."""
    if slip.cause not in SLIPS or slip.p < NAMED:
        return ""
    unit = SCALE_UNIT[meter.scale]
    meant = digits(slip.meant) if slip.meant is not None else ""
    return say(SLIPS[slip.cause], meant=quantity(meant, unit) if unit else meant, row=slip.row or 0)


def _insertion(o: Observation, slip: Slip) -> str:
    path = "+".join(o.path)
    if slip.cause == "all meters alike":
        if not o.path:
            return say(
                "All meters are off by the same amount at the reference here: unplug it, plug it in and read again."
            )
        return say(
            "All meters are off by the same amount at {path} here: unplug it, plug it in and read again.", path=path
        )
    if not o.path:
        return say("All readings of the reference are off here: perhaps a bad insertion, such as a loose plug.")
    return say("All readings of {path} are off here: perhaps a bad insertion, such as a loose plug.", path=path)


def _rivals(post: Posterior, flat: Flat, i: int, doubts: list[ReadingDoubt]) -> str:
    """Return a sentence naming the other readings that may be the wrong ones instead."""
    if doubts[i].p_wrong > 0.9:
        return ""
    rows = [
        post.lay.sheet.readings[o.rows[0]].row
        for j, (b, o) in enumerate(flat)
        if j != i and b is flat[i][0] and ASK < doubts[j].p_wrong <= 0.9
    ]
    if not rows and len(flat[i][1].rows) > 1:
        return say("To find out, unplug it, plug it in and read again.")
    if not rows:
        return say("Read it again to settle it.")
    others = listed([say("row {row}", row=r) for r in rows[:3]], EITHER)
    return say("Or {others} may be wrong instead: read both again to find out.", others=others)


def _witnesses(post: Posterior, flat: Flat, i: int, doubts: list[ReadingDoubt]) -> list[str]:
    """Return what speaks for or against a reading: other readings as they stand, and what undoubted ones point to."""
    return [
        *_repeats(post.lay, flat, i),
        *_pointing(
            post, i, doubts, mark("Undoubted readings of other lengths on this meter point to {span}."), here=True
        ),
        *_drops(post.lay, flat, i, doubts),
        *_pointing(post, i, doubts, mark("Undoubted readings on other bands point to {span}."), here=False),
    ]


def _repeats(lay: Layout, flat: Flat, i: int) -> list[str]:
    again = np.flatnonzero((lay.block == lay.block[i]) & (lay.cell == lay.cell[i]))
    shown = [flat[j][1] for j in again if j != i]
    alike = len(flat[i][1].rows)
    same = [say("Looking again gave the same reading: {count} are alike.", count=str(alike))] if alike > 1 else []
    if not shown:
        return same
    count = sum(len(o.rows) for o in shown)
    return [
        *same,
        say_many("Its repeat shows {read}.", "Its repeats show {read}.", count, read=_read(flat[i][0].meter, shown)),
    ]


def _read(meter: Meter, shown: list[Observation], *, bare: bool = False) -> str:
    """Return what a meter showed, of several the lowest and the highest; a bare scale goes without its name."""
    low, high = (digits(choose(o.code for o in shown)) for choose in (min, max))
    value = low if low == high else say("{low} to {high}", low=low, high=high)
    unit = SCALE_UNIT[meter.scale]
    if unit:
        return quantity(value, unit)
    return value if bare else say("{value} on the scale", value=value)


def _pointing(post: Posterior, i: int, doubts: list[ReadingDoubt], pattern: str, *, here: bool) -> list[str]:
    """Return what other lengths ``here``, or other bands, make of a reading through the law, if they contradict it.

    Only undoubted readings witness: what is left of a doubted one is the prior and not what was read.
    """
    lay = post.lay
    f = np.array([b.frequency_hz for b in lay.blocks])[lay.block]
    explained = [s for s in post.bank[0].chosen if s < post.sites.n_data and post.sites.kind[s] != STEP]
    sound = ~lay.bottom & np.array([d.p_wrong < ASK for d in doubts])
    sound[[m for s in explained for m in post.sites.members[s]]] = False
    elsewhere = (lay.block == lay.block[i]) & (lay.cell != lay.cell[i])
    kin = lay.kin
    mine = kin[i] if kin[i].any() else kin[lay.slice_of(int(lay.block[i]))].any(axis=0)
    bears = (kin & mine).any(axis=1)
    witnesses = sound & bears & (elsewhere if here else f != f[i])
    if not witnesses.any():
        return []
    base = elsewhere & (lay.reference | lay.reference[i])
    got = predict(post, i, np.flatnonzero(witnesses | (sound & base)), f)
    if got is None or not got.checked or abs(lay.y_db[i] - got.level_db) <= QUOTE_SIGMA * got.sd_db:
        return []
    return [say(pattern, span=_span(lay.blocks[lay.block[i]].meter, got.level_db, got.sd_db))]


def _witnessed(lay: Layout) -> NDArray[np.bool_]:
    """Return on which observations another reading bears, beside the other half of their own pair.

    A repeat does, a known attenuator, and another length, band or meter of the same stock. What a type is known for is
    no reading.
    """
    kin, reference = lay.kin, lay.reference
    insertion = lay.block * len(lay.cells.fixed) + lay.cell
    repeated = np.bincount(insertion, lay.count)[insertion] > 1
    firm = np.flatnonzero(~lay.bottom)
    firm = firm[np.argsort(insertion[firm], kind="stable")]
    firm = firm[np.diff(insertion[firm], prepend=-1) != 0]
    others = kin[firm].sum(axis=0) - np.isin(insertion, insertion[firm])[:, None]
    padded = np.any(lay.cells.attenuators > 0, axis=1)[lay.cell]
    borne_out: NDArray[np.bool_] = np.any(kin & (others > 0), axis=1) | (padded & ~np.any(kin, axis=1))
    for b in range(len(lay.blocks)):
        mine = lay.slice_of(b)
        borne_out[mine] |= reference[mine] & np.any(borne_out[mine] & ~lay.bottom[mine])
    return np.asarray(repeated | borne_out)


def _drops(lay: Layout, flat: Flat, i: int, doubts: list[ReadingDoubt]) -> list[str]:
    """Return by how much each meter dropped from its reference to the same path, where two or more read it.

    Every figure is a meter's own readings, in decibels by its own scale; whether they agree is left to the reader.
    """
    block, o = flat[i]
    mates = [(b, [x for x in b.observations if not x.bottom]) for b in lay.blocks
             if b.frequency_hz == block.frequency_hz]  # fmt: skip
    path = o.path or _shared_path(flat, i, doubts)
    doubted = {id(x) for (_, x), d in zip(flat, doubts, strict=True) if d.p_wrong > 0.5}
    own: list[str] = []
    others: list[str] = []
    for b, seen in mates:
        after = [x for x in seen if sorted(x.path) == sorted(path)]
        if b is block:
            after = [o] if o.path else after
        before = [o] if b is block and not o.path else [x for x in seen if not x.path and id(x) not in doubted]
        if path and after and (b.direct or before):
            (own if b is block else others).append(_drop(b, before, after, own=b is block))
    if not (own and others):
        return []
    return [say("Drop from the reference to {path}: {drops}.", path="+".join(path), drops=listed([*own, *others]))]


def _shared_path(flat: Flat, i: int, doubts: list[ReadingDoubt]) -> Path:
    """Return the undoubted path read nearest to a reference that another meter read as well; none if there is none."""
    block, o = flat[i]
    elsewhere = [sorted(x.path) for b, x in flat if b is not block and b.frequency_hz == block.frequency_hz]
    mine = [(abs(x.time - o.time), x.path) for (b, x), d in zip(flat, doubts, strict=True)
            if b is block and x.path and not x.bottom and d.p_wrong <= 0.5]  # fmt: skip
    return min((m for m in mine if sorted(m[1]) in elsewhere), default=(0.0, ()))[1]


def _drop(block: Block, before: list[Observation], after: list[Observation], *, own: bool) -> str:
    """Return a meter's drop over a path; its reference is the one read nearest in time."""
    if block.direct:
        loss = quantity(digits(after[0].code, 3), "dB")
        return say("a loss of {loss} by {method} from one end", loss=loss, method=block.name)
    nearest = min(before, key=lambda x: min(abs(x.time - y.time) for y in after))
    low, high = (plain(nearest.level_db - choose(x.level_db for x in after), 2) for choose in (max, min))
    drop = quantity(low if low == high else say("{low} to {high}", low=low, high=high), "dB")
    parts = {"drop": drop, "after": _read(block.meter, after, bare=True), "before": _read(block.meter, [nearest])}
    if own:
        return say("{drop} on this meter ({after} against {before})", **parts)
    return say("{drop} on the {meter} ({after} against {before})", meter=block.name, **parts)
