"""Long answers made short: the verdict, what is odd, what to do next, in twelve lines that one look takes in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from typing import Literal

from linewright.cli.bench_view import DOUBT
from linewright.cli.plan_view import what_if_sentences
from linewright.cli.text import Table, bold, cut, items, page, room, wrapped
from linewright.core.formatting import chance, frequency, interval, metres, plain
from linewright.core.locale import Manner
from linewright.core.messages import written
from linewright.core.nouns.bench_result import BenchResult, PieceFinding, ReadingFinding
from linewright.core.nouns.plan import (
    BandFinding,
    Budget,
    ExposurePlan,
    PartFinding,
    Plan,
    Reception,
    ReceptionFinding,
    WhatIf,
)
from linewright.core.nouns.shelf import PieceHistory
from linewright.present.compose.exposure_words import distance, farthest
from linewright.present.compose.plan_words import watts
from linewright.present.document import Block, Cautions, Document, Paragraph, Points, Section, Verdict
from linewright.present.localize import mapped

MOST_LINES = 12
"""A short answer has no more lines: half of the smallest usual terminal, 24."""
GRAVITY = ("bad", "worn", "cannot tell", "good")
OPEN_DB = 0.5
"""An interval wider than this is worth a measurement before anything is changed; a sixth of the power either way
(common practice, no source)."""


def short(title: str, blocks: Sequence[Sequence[str]], asides: Sequence[str] = (), cautions: int = 0) -> str:
    """Return a title, as many blocks of lines as there is room for, and sentences to go with them.

    >>> print(short("Bench", [[f"  row {n}"] for n in range(20)], ["Next: rest."]).count(chr(10)) + 1)
    12
    """
    mind = [f"Read the {cautions} cautions: leave out --short."] if cautions > 1 else []
    tail = [line for words in asides for line in _two(words)] + items(mind)
    free = MOST_LINES - 1 - len(tail)
    rows: list[str] = []
    for at, block in enumerate(blocks):
        last = at == len(blocks) - 1
        if len(rows) + len(block) > free - (not last):
            rows += items([f"And {len(blocks) - at} more: leave out --short."])
            break
        rows += block
    return page([[bold(cut(title, room())), *rows, *tail]])


def _two(words: str) -> list[str]:
    """Return a sentence on two lines at most."""
    lines = wrapped(words, room(), first="  ", rest="    ")
    return lines if len(lines) < 3 else [lines[0], f"    {cut(' '.join(lines[1:]), room() - 4)}"]


def _rows(table: Table) -> list[list[str]]:
    return [[line] for line in table.lines()]


def _sentences(said: Iterable[str]) -> list[list[str]]:
    return [wrapped(words, room(), first="  ", rest="    ") for words in said]


# A bench


def short_bench(result: BenchResult) -> str:
    """Return the verdict on each piece, the oddest reading and what to measure next."""
    pieces = list(result.pieces)
    if len(pieces) > MOST_LINES // 2:
        pieces.sort(key=lambda p: GRAVITY.index(p.verdict))
    table = Table(("", "", "", ""), "lldl")
    for p in pieces:
        table.add(p.piece, p.verdict, _times(p), _at_the_top(result, p))
    return short(result.title, _rows(table), [*_odd(result.readings), *_next(result)], len(result.cautions))


def _times(p: PieceFinding) -> str:
    if p.ratio is None or p.ratio_low is None or p.ratio_high is None:
        return ""
    return f"{interval(p.ratio, p.ratio_low, p.ratio_high, '')} times its type"


def _at_the_top(result: BenchResult, p: PieceFinding) -> str:
    mine = [x for x in result.losses if x.piece == p.piece]
    if not mine:
        return ""
    x = max(mine, key=lambda found: found.frequency_hz)
    return f"{interval(x.loss_db, x.loss_db_low, x.loss_db_high)} at {frequency(x.frequency_hz)}"


def _odd(readings: Sequence[ReadingFinding]) -> Iterator[str]:
    odd = sorted((r for r in readings if r.p_wrong > DOUBT), key=lambda r: -r.p_wrong)
    if odd:
        r = odd[0]
        more = f" And {len(odd) - 1} more." if len(odd) > 1 else ""
        where = f"row {r.row}, {r.meter} at {frequency(r.frequency_hz)} through {r.path}"
        yield f"Odd reading: {where}, {chance(r.p_wrong)} wrong.{more}"
    elif any(r.checked for r in readings):
        yield "No reading stands out against the rest."
    elif readings:
        yield "No reading could be checked: none has others to be held against."


def _next(result: BenchResult) -> Iterator[str]:
    yield f"Next: {result.next[0].action}" if result.next else "Next: nothing that would tell much more."


# A plan, and what changes do to it


def short_plan(plan: Plan) -> str:
    """Return what reaches the antenna of each run on the band that loses most, what is over a rating, what is open."""
    table = Table(("", "", "", "", ""), "lrddl")
    for budget, x in _gravest(plan):
        most = max(x.parts, key=lambda p: p.loss_db, default=None)
        given = f"{watts(x)[0]} of {plain(x.power_w, 0 if x.power_w >= 10 else 1)} W"
        loss = interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high)
        table.add(budget.run, frequency(x.frequency_hz), given, loss, f"mostly {most.name}" if most else "")
    return short(plan.station, _rows(table), [*_over(plan), *_open(plan)], len(plan.cautions))


def _gravest(plan: Plan) -> list[tuple[Budget, BandFinding]]:
    return [(b, max(b.bands, key=lambda x: x.total_loss_db)) for b in plan.budgets if b.bands]


def _over(plan: Plan) -> Iterator[str]:
    """Say which part is driven over a rating that is known, else over one that somebody remembers."""
    parts = [(b.run, x.frequency_hz, p) for b in plan.budgets for x in b.bands for p in x.parts]
    for grade, lead in _GRADES:
        over = [(run, at, p, what) for run, at, p in parts for what in p.beyond(grade)]
        if over:
            run, at, p, what = over[0]
            more = f" And {len(over) - 1} more." if len(over) > 1 else ""
            yield f"{lead}: {p.name} in {run} at {frequency(at)}, {what}.{more}"
            return
    yield "No part is over a rating that is known."


_GRADES: tuple[tuple[Literal["known", "memory"], str], ...] = (
    ("known", "Over its rating"), ("memory", "Over a rating from memory, which proves nothing"),
)  # fmt: skip


def _open(plan: Plan) -> Iterator[str]:
    """Say which part to measure first: the one whose loss leaves most open."""
    parts = [(p.loss_db_high - p.loss_db_low, b.run, x.frequency_hz, p) for b, x in _gravest(plan) for p in x.parts]
    width, run, at, p = max(parts, key=lambda found: found[0], default=(0.0, "", 0.0, None))
    if p is None or width < OPEN_DB:
        yield "Next: try a change with --with; no part is known so badly that it should be measured first."
    else:
        yield f"Next: measure {p.name}: {_between(p)} at {frequency(at)} leaves most open, in {run}."


def _between(p: PartFinding) -> str:
    return f"{plain(p.loss_db_low, 1)} to {plain(p.loss_db_high, 1)} dB"


def short_what_if(found: WhatIf) -> str:
    """Return what changes, run by run."""
    return short(f"{found.after.station}, changed", _sentences([*found.changes, *what_if_sentences(found)]), (),
                 len(found.after.cautions))  # fmt: skip


def short_reception(reception: Reception, manner: Manner) -> str:
    """Return what each run takes from reception on the band where it takes most, and the remedy that gives most."""
    plan = reception.plan
    table = Table(("", "", "signal-to-noise lost", "left with the best remedy"), "lrdl")
    for budget in plan.budgets:
        heard = [(x.frequency_hz, x.reception) for x in budget.bands if x.reception is not None]
        if not heard:
            table.add(budget.run, "", "nothing is known", "")
            continue
        at, r = max(heard, key=lambda found: found[1].reception_loss_db)
        lost = interval(r.reception_loss_db, r.reception_loss_db_low, r.reception_loss_db_high)
        table.add(budget.run, written(frequency(at), manner), written(lost, manner), _remedy(r, manner))
    return short(f"Reception at {plan.station}", _rows(table), (), len(plan.cautions))


def _remedy(r: ReceptionFinding, manner: Manner) -> str:
    """Return the remedy that gives most, where what is lost can be heard at all."""
    if r.state != "heard":
        return "not to be heard"
    if not r.remedies:
        return ""
    best = min(r.remedies, key=lambda remedy: remedy.reception_loss_db)
    what = written(best.what, manner).partition(",")[0].partition(" (")[0]
    return f"{written(plain(best.reception_loss_db, 1), manner)} dB: {what}"


def short_exposure(exposure: ExposurePlan, manner: Manner) -> str:
    """Return how far to keep away from each antenna, on the frequency that reaches farthest."""
    plan = exposure.plan
    table = Table(("", "the public", "", "occupational", ""), "lrlrl")
    for budget in plan.budgets:
        cells = [cell for who in ("public", "occupational") for cell in _farthest(budget, who)]
        table.add(budget.run, *(written(cell, manner) for cell in cells))
    over = [d for b in plan.budgets for x in b.bands for d in x.density if (d.fraction_high or 0.0) > 1.0]
    said = [f"Over a limit: {len(over)} of those reckoned at the distance asked about."] if over else []
    unknown = any(e.distance_m is None for b in plan.budgets for x in b.bands for e in x.exposure)
    needs = ["No figure: what it would need stands in the long answer."] if unknown else []
    local = "Estimates: local rules and licensed practice decide."
    return short(f"Exposure at {plan.station}", _rows(table), [*said, *needs, local], len(plan.cautions))


def _farthest(budget: Budget, who: str) -> tuple[str, str]:
    found = [(x.frequency_hz, e) for x in budget.bands for e in x.exposure if e.who == who]
    if not found:
        return "not asked", ""
    worst = farthest(e for _, e in found)
    at = next(hertz for hertz, e in found if e is worst)
    return distance(worst), f"{worst.limit} at {frequency(at)}"


# A piece on the shelf


def short_piece(known: PieceHistory) -> str:
    """Return what is believed of a piece, whether it changes, and when to test it again."""
    p = known.piece
    table = Table(("", "", ""), "ddd")
    for x in p.losses:
        times = "" if x.ratio is None or x.ratio_low is None or x.ratio_high is None else (
            f"{interval(x.ratio, x.ratio_low, x.ratio_high, '')} times new")  # fmt: skip
        table.add(frequency(x.frequency_hz), interval(x.loss_db, x.loss_db_low, x.loss_db_high), times)
    drift = [known.drift.why] if known.drift else [known.disagreement] if known.disagreement else []
    again = known.reminder
    when = [f"Next: test it again {'now' if again.urgency == 'due' else f'by {again.due_on}'}."] if again else []
    return short(f"{p.tag}, {metres(p.length_m)} of {p.line or 'unknown type'}", _rows(table), [*drift, *when],
                 len(known.cautions))  # fmt: skip


# Any document


def short_document(document: Document, manner: Manner) -> str:
    """Return the sentences that a document begins with and those of its sections without tables, and no table."""
    told = mapped(document, partial(written, manner=manner))
    first, *others = told.sections or (Section("", ()),)
    rest = [s for s in others if all(isinstance(b, Paragraph | Verdict | Points) for b in s.blocks)]
    said = [*_said(first.blocks), *(words for s in rest for words in _titled(s))]
    cautions = sum(len(b.items) for s in told.sections for b in s.blocks if isinstance(b, Cautions))
    return short(told.title, _sentences(said), (), cautions)


def _titled(section: Section) -> Iterator[str]:
    """Yield the sentences of a section, the first behind the section's title."""
    for at, words in enumerate(_said(section.blocks)):
        yield f"{section.title}: {words}" if section.title and not at else words


def _said(blocks: Iterable[Block]) -> Iterator[str]:
    for block in blocks:
        match block:
            case Paragraph():
                yield block.text
            case Verdict():
                yield f"{block.lead} {block.text}"
            case Points():
                yield from block.items
