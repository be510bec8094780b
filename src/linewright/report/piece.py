"""A piece's report: what it loses today, how that came to be known, how it drifts, when to test it again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

from linewright.charts.ladder import Rung
from linewright.model.belief import Belief
from linewright.model.bench import Piece
from linewright.model.label import Standing
from linewright.model.shelf import Drift, PieceHistory, Reminder
from linewright.report import figures
from linewright.report import piece_tables as tables
from linewright.report.bench import LEADS, MARKS
from linewright.report.document import (
    Block,
    Cautions,
    Document,
    Drawing,
    Facts,
    Panel,
    Paragraph,
    Points,
    Section,
    Table,
    Verdict,
    sections,
)
from linewright.report.made import Made, repeat_section, workings_section
from linewright.units.said import say, say_many, together
from linewright.units.writing import chance, metres, plain, quantity


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """All that a piece's report is made of: its history, the ladder of its evidence, and what is believed of it.

    ``standing`` is the verdict that its label bears as well; ``why`` gives its reason.
    """

    history: PieceHistory
    standing: Standing
    why: str
    rungs: tuple[Rung, ...]
    rungs_hz: float
    noun: Piece
    belief: Belief | None


def piece_report(known: Known, made: Made) -> Document:
    """Return the report of a piece on the shelf.

    Parameters
    ----------
    known : Known
        What is known of it.
    made : Made
        The date, what went in, the command.

    Returns
    -------
    Document
        A document that holds the figures of the history and of the ladder, and no others.
    """
    history = known.history
    return Document(
        kind="piece",
        title=history.piece.tag,
        subtitle=say("Report of a piece, {day}", day=made.day),
        day=made.day,
        maker=made.maker,
        sections=sections(
            Section(say("Summary"), tuple(_summary(known))),
            Section(say("What it is"), (_facts(history),)),
            Section(say("Loss against frequency"), tuple(_losses(known))),
            Section(say("How it came to be known"), tuple(_ladder(known))),
            Section(say("Each test alone, and drift"), tuple(_tests(history))),
            Section(say("Test again"), tuple(_again(history.reminder))),
            Section(say("Notes"), tuple(_filled(tables.notes(history.notes)))),
            Section(say("Changes"), tuple(_filled(tables.changes(history.changes)))),
            Section(say("Remarks"), (Points("", history.remarks),) if history.remarks else ()),
            workings_section(history.workings),
            _repeat(known, made),
        ),
        names=tuple(dict.fromkeys(_names(history))),
    )


def _names(history: PieceHistory) -> Iterator[str]:
    p = history.piece
    yield from (n for n in (p.tag, p.line, p.stock) if n)
    yield from (x.evidence.what for x in history.points)
    yield from (str(n.body["text"]) for n in history.notes)


def _filled(table: Table) -> Iterator[Block]:
    if table.parts:
        yield table


def _summary(known: Known) -> Iterator[Block]:
    yield _verdict(known)
    if known.history.reminder is not None:
        yield Paragraph(_due(known.history.reminder))
    yield Paragraph(say("Intervals in brackets hold the true value with 95 % probability."))
    yield Cautions(known.history.cautions)


def _verdict(known: Known) -> Verdict:
    tag, drift = known.history.piece.tag, known.history.drift
    reason = together([known.why, drift.why if drift else known.history.disagreement])
    if known.standing == "not measured":
        return Verdict(say("{piece} was never tested.", piece=tag), reason, "unknown")
    return Verdict(say(LEADS[known.standing], piece=tag), reason, MARKS[known.standing])


def _facts(history: PieceHistory) -> Facts:
    p = history.piece
    rows = (
        (say("type"), p.line or say("unknown")),
        (say("length"), metres(p.length_m)),
        (say("connectors"), str(p.connectors)),
        (say("stock"), p.stock or ""),
        (say("lives"), say(p.exposure) if p.exposure in tables.EXPOSURES else p.exposure),
        (say("tested"), say_many("{count} time", "{count} times", p.tests)),
        (say("last tested"), p.tested_on or say("never")),
        (say("judged from"), p.basis),
        (say("put away"), say("yes") if p.archived else ""),
    )
    return Facts(tuple(row for row in rows if row[1]))


def _losses(known: Known) -> Iterator[Block]:
    table = tables.losses(known.history.piece)
    if known.belief is None:
        yield from _filled(table)
        return
    said = together([tables.loss_at(x) for x in known.history.piece.losses], "; ")
    about = say("Loss of {piece} against frequency: {losses}.", piece=known.noun.tag, losses=said)
    caption = say("What all evidence together lets one believe, beside what the type specifies.")
    yield Drawing(caption, (Panel(partial(figures.piece, known.noun, known.belief), about),), table, columns=1)


def _ladder(known: Known) -> Iterator[Block]:
    if known.rungs:
        table = tables.ladder(known.rungs, known.rungs_hz)
        draw = partial(figures.ladder, known.noun.tag, known.rungs, known.rungs_hz)
        about = say("What was believed of {piece} after each test, in time order.", piece=known.noun.tag)
        caption = say("What each step of evidence says alone, and what is believed after it.")
        yield Drawing(caption, (Panel(draw, about),), table, columns=1)


def _tests(history: PieceHistory) -> Iterator[Block]:
    if not history.points:
        yield Paragraph(say("It was never tested."))
        return
    about = say("The loss of {piece} over the years, each test alone.", piece=history.piece.tag)
    caption = say("Each test alone over the years, with the drift where two tests or more tell one.")
    yield Drawing(caption, (Panel(partial(figures.years, history), about),), tables.tests(history.points), columns=1)
    drift = history.drift
    if drift is None:
        alone = say("One test tells no drift. Test it again, a season apart or more.")
        yield Paragraph(history.disagreement or alone)
        return
    yield Paragraph(together([drift.why, _drift(drift)]))


def _drift(d: Drift) -> str:
    ends = (d.percent_per_year_low, d.percent_per_year_high)
    rate, low, high = (quantity(plain(v, 1), "%") for v in (d.percent_per_year, *ends))
    return say("Drift a year: {rate} ({low} to {high}). Probability that the loss rises: {chance}.",
               rate=rate, low=low, high=high, chance=chance(d.p_rising))  # fmt: skip


def _again(reminder: Reminder | None) -> Iterator[Block]:
    if reminder is not None:
        yield Paragraph(_due(reminder))


def _due(r: Reminder) -> str:
    if r.urgency == "due":
        return say("It is due to be tested now. {why}", why=r.why)
    return say("Test it again by {day}. {why}", day=r.due_on, why=r.why)


def _repeat(known: Known, made: Made) -> Section:
    method = (
        say("Each sheet and each sweep is judged by itself. The newest test is taken as it is; each older one moves the"
            " belief by what it said beyond the belief it began with, made less sure by the years between."),
        say("Drift is a line through the logarithm of each test's loss over the years, weighted by how sure each is."),
    )  # fmt: skip
    assumptions = (
        say("The loss of a piece wanders by about 5 % of itself in a year (common practice, no source)."),
        say("A connector made off again, another bench, another day: a test repeats to about 2 % (common practice, no"
            " source)."),
    )  # fmt: skip
    line = known.noun.line
    sources = [
        *(w.source for w in known.history.workings),
        *(p.provenance.source for p in (line.points if line else ())),
    ]
    return repeat_section(made, method, assumptions, sources)
