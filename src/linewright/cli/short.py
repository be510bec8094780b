"""Long answers made short: the verdict, what is odd, what to do next, in twelve lines that one look takes in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, Literal

from linewright.core.formatting import chance, frequency, interval, metres, plain, quantity
from linewright.core.messages import mark, say, together, written
from linewright.core.nouns.bench_result import BenchResult, PieceFinding, ReadingFinding
from linewright.core.nouns.plan import (
    BandFinding,
    Budget,
    ExposurePlan,
    Plan,
    Reception,
    ReceptionFinding,
    WhatIf,
)
from linewright.present.compose.bench_words import DOUBT, path_cell
from linewright.present.compose.exposure_words import distance, farthest
from linewright.present.compose.plan import what_if_sentences
from linewright.present.compose.plan_words import watts
from linewright.present.document import Block, Cautions, Document, Paragraph, Points, Section, Verdict
from linewright.present.localize import mapped
from linewright.present.writers.terminal import Grid as Table
from linewright.present.writers.terminal import bold, cut, items, manner, page, room, wrapped

if TYPE_CHECKING:
    from linewright.core.nouns.shelf import PieceHistory, Reminder

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
    mind = [say("Read the {count} cautions: leave out --short.", count=cautions)] if cautions > 1 else []
    tail = [line for words in asides for line in _two(words)] + items(mind)
    free = MOST_LINES - 1 - len(tail)
    rows: list[str] = []
    for at, block in enumerate(blocks):
        last = at == len(blocks) - 1
        if len(rows) + len(block) > free - (not last):
            rows += items([say("And {count} more: leave out --short.", count=len(blocks) - at)])
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
        table.add(p.piece, say(p.verdict), _times(p), _at_the_top(result, p))
    return short(result.title, _rows(table), [*_odd(result.readings), *_next(result)], len(result.cautions))


def _times(p: PieceFinding) -> str:
    if p.ratio is None or p.ratio_low is None or p.ratio_high is None:
        return ""
    return say("{times} times its type", times=interval(p.ratio, p.ratio_low, p.ratio_high, ""))


def _at_the_top(result: BenchResult, p: PieceFinding) -> str:
    mine = [x for x in result.losses if x.piece == p.piece]
    if not mine:
        return ""
    x = max(mine, key=lambda found: found.frequency_hz)
    loss = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return say("{loss} at {frequency}", loss=loss, frequency=frequency(x.frequency_hz))


def _odd(readings: Sequence[ReadingFinding]) -> Iterator[str]:
    odd = sorted((r for r in readings if r.p_wrong > DOUBT), key=lambda r: -r.p_wrong)
    if odd:
        r = odd[0]
        first = say(
            "Odd reading: row {row}, {meter} at {frequency} through {path}, {chance} wrong.",
            row=r.row, meter=r.meter, frequency=frequency(r.frequency_hz), path=path_cell(r), chance=chance(r.p_wrong),
        )  # fmt: skip
        yield together([first, _more(len(odd) - 1)])
    elif any(r.checked for r in readings):
        yield say("No reading stands out from the rest.")
    elif readings:
        yield say("No reading could be checked: none has others to compare it with.")


def _next(result: BenchResult) -> Iterator[str]:
    if result.next:
        yield say("Next: {action}", action=result.next[0].action)
    else:
        yield say("Next: no reading would add much.")


def _more(count: int) -> str:
    return say("And {count} more.", count=count) if count > 0 else ""


# A plan, and what changes do to it


def short_plan(plan: Plan) -> str:
    """Return what reaches the antenna of each run on the band that loses most, what is over a rating, what is open."""
    table = Table(("", "", "", "", ""), "lrddl")
    for budget, x in _gravest(plan):
        most = max(x.parts, key=lambda p: p.loss_db, default=None)
        power = quantity(plain(x.power_w, 0 if x.power_w >= 10 else 1), "W")
        given = say("{arrives} of {power}", arrives=watts(x)[0], power=power)
        loss = interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high)
        table.add(
            budget.run, frequency(x.frequency_hz), given, loss, say("mostly {part}", part=most.name) if most else ""
        )
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
            first = say(lead, part=p.name, run=run, frequency=frequency(at), what=say(what))
            yield together([first, _more(len(over) - 1)])
            return
    yield say("No part exceeds a known rating.")


_GRADES: tuple[tuple[Literal["known", "memory"], str], ...] = (
    ("known", mark("Over its rating: {part} in {run} at {frequency}, {what}.")),
    ("memory", mark("Over a rating from memory, which proves nothing: {part} in {run} at {frequency}, {what}.")),
)
OVER = (mark("voltage"), mark("heat"))
"""What a part may be driven over, as ``PartFinding.beyond`` names it."""


def _open(plan: Plan) -> Iterator[str]:
    """Say which part to measure first: the one whose loss leaves most open."""
    parts = [(p.loss_db_high - p.loss_db_low, b.run, x.frequency_hz, p) for b, x in _gravest(plan) for p in x.parts]
    width, run, at, p = max(parts, key=lambda found: found[0], default=(0.0, "", 0.0, None))
    if p is None or width < OPEN_DB:
        yield say("Next: try a change with --with; every part is known well enough for that.")
    else:
        yield say(
            "Next: measure {part}: {low} to {high} dB at {frequency} is the widest uncertainty, in {run}.",
            part=p.name, low=plain(p.loss_db_low, 1), high=plain(p.loss_db_high, 1), frequency=frequency(at), run=run,
        )  # fmt: skip


def short_what_if(found: WhatIf) -> str:
    """Return what changes, run by run."""
    title = say("{station}, changed", station=found.after.station)
    return short(title, _sentences([*found.changes, *what_if_sentences(found)]), (), len(found.after.cautions))


def short_reception(reception: Reception) -> str:
    """Return what each run takes from reception on the band where it takes most, and the remedy that gives most."""
    plan = reception.plan
    table = Table(("", "", say("signal-to-noise lost"), say("left with the best remedy")), "lrdl")
    for budget in plan.budgets:
        heard = [(x.frequency_hz, x.reception) for x in budget.bands if x.reception is not None]
        if not heard:
            table.add(budget.run, "", say("nothing is known"), "")
            continue
        at, r = max(heard, key=lambda found: found[1].reception_loss_db)
        lost = interval(r.reception_loss_db, r.reception_loss_db_low, r.reception_loss_db_high)
        table.add(budget.run, frequency(at), lost, _remedy(r))
    return short(say("Reception at {station}", station=plan.station), _rows(table), (), len(plan.cautions))


def _remedy(r: ReceptionFinding) -> str:
    """Return the remedy that gives most, where what is lost can be heard at all."""
    if r.state != "heard":
        return say("not to be heard")
    if not r.remedies:
        return ""
    best = min(r.remedies, key=lambda remedy: remedy.reception_loss_db)
    what = written(best.what, manner()).partition(",")[0].partition(" (")[0]
    return say("{loss} dB: {what}", loss=plain(best.reception_loss_db, 1), what=what)


def short_exposure(exposure: ExposurePlan) -> str:
    """Return how far to keep away from each antenna, on the frequency that reaches farthest."""
    plan = exposure.plan
    table = Table(("", say("the public"), "", say("occupational"), ""), "lrlrl")
    for budget in plan.budgets:
        cells = [cell for who in ("public", "occupational") for cell in _farthest(budget, who)]
        table.add(budget.run, *cells)
    over = [d for b in plan.budgets for x in b.bands for d in x.density if (d.fraction_high or 0.0) > 1.0]
    said = [say("Over a limit: {count} of the figures at the distance asked about.", count=len(over))] if over else []
    unknown = any(e.distance_m is None for b in plan.budgets for x in b.bands for e in x.exposure)
    needs = [say("No figure: the long answer says what it would need.")] if unknown else []
    local = say("Estimates: local rules and licensed practice decide.")
    return short(
        say("Exposure at {station}", station=plan.station), _rows(table), [*said, *needs, local], len(plan.cautions)
    )


def _farthest(budget: Budget, who: str) -> tuple[str, str]:
    found = [(x.frequency_hz, e) for x in budget.bands for e in x.exposure if e.who == who]
    if not found:
        return say("not asked"), ""
    worst = farthest(e for _, e in found)
    at = next(hertz for hertz, e in found if e is worst)
    return distance(worst), say("{limit} at {frequency}", limit=worst.limit, frequency=frequency(at))


# A piece on the shelf


def short_piece(known: PieceHistory) -> str:
    """Return what is believed of a piece, whether it changes, and when to test it again."""
    from linewright.present.compose.shelf import drift_rate

    p = known.piece
    table = Table(("", "", ""), "ddd")
    for x in p.losses:
        times = "" if x.ratio is None or x.ratio_low is None or x.ratio_high is None else (
            say("{times} times new", times=interval(x.ratio, x.ratio_low, x.ratio_high, "")))  # fmt: skip
        table.add(frequency(x.frequency_hz), interval(x.loss_db, x.loss_db_low, x.loss_db_high), times)
    d = known.drift
    drift = [d.why] if d else [known.disagreement] if known.disagreement else []
    if d and d.percent_per_year_low > 0.0:
        drift.append(drift_rate(d))
    again = known.reminder
    when = [] if again is None else [_again(again)]
    line = p.line or say("unknown type")
    title = say("{piece}, {length} of {line}", piece=p.tag, length=metres(p.length_m), line=line)
    return short(title, _rows(table), [*drift, *when], len(known.cautions))


def _again(r: Reminder) -> str:
    if r.urgency == "due":
        return say("Next: test it again now.")
    return say("Next: test it again by {day}.", day=r.due_on)


# Any document


def short_document(document: Document) -> str:
    """Return the sentences that a document begins with and those of its sections without tables, and no table."""
    told = mapped(document, partial(written, manner=manner()))
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
