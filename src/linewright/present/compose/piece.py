"""A piece's report: what it loses today, how that came to be known, how it drifts, when to test it again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

from linewright.core.formatting import frequency, interval, metres
from linewright.core.frozen import dataclass
from linewright.core.messages import say, say_many, together
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.shelf import BelievedLoss, PieceHistory, Standing
from linewright.present.charts.ladder import Interval, LadderStep
from linewright.present.compose import figures
from linewright.present.compose.bench_words import LEADS
from linewright.present.compose.prove import MARKS
from linewright.present.compose.provenance import Made, made_again, repeat_section, workings_section
from linewright.present.compose.shelf import EXPOSURES, changes, drift_words, due_words, losses, notes, tests
from linewright.present.document import (
    Block,
    Cautions,
    Column,
    Document,
    Drawing,
    Facts,
    Panel,
    Paragraph,
    Part,
    Points,
    Row,
    Section,
    Table,
    Verdict,
    section,
    sections,
)

# The ladder of a piece's evidence


def _one(title: str, rows: Sequence[Row]) -> tuple[Part, ...]:
    return (Part(title, tuple(rows)),) if rows else ()


def loss_at(x: BelievedLoss) -> str:
    """Return a loss with its band, for a person who cannot see the drawing."""
    believed = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return say("{loss} at {frequency}", loss=believed, frequency=frequency(x.frequency_hz))


def ladder(rungs: Sequence[LadderStep], frequency_hz: float) -> Table:
    """Return the evidence in time order, each step with what it says alone and what is believed after it."""
    columns = (
        Column(say("measured on")), Column(say("evidence"), "wide"), Column(say("alone (95 %)"), "figure"),
        Column(say("believed after it (95 %)"), "figure"),
    )  # fmt: skip
    caption = say("Ladder of evidence at {frequency}", frequency=frequency(frequency_hz))
    return Table(caption, columns, _one("", [_rung(r) for r in rungs]))


def _rung(r: LadderStep) -> Row:
    alone = "" if r.alone is None else _written(r.alone)
    return Row((r.on, r.what, alone, _written(r.believed)))


def _written(ends: Interval) -> str:
    low, middle, high = ends
    return interval(middle, low, high)


# A piece's report: what it loses today, how that came to be known, how it drifts, when to test it again


@dataclass(frozen=True, slots=True, eq=False)
class PieceKnown:
    """All that a piece's report is made of: its history, the ladder of its evidence, and what is believed of it.

    ``standing`` is the verdict that its label bears as well; ``why`` gives its reason.
    """

    history: PieceHistory
    standing: Standing
    why: str
    rungs: tuple[LadderStep, ...]
    rungs_hz: float
    noun: Piece
    belief: Belief | None


def piece_report(known: PieceKnown, made: Made) -> Document:
    """Return the report of a piece on the shelf.

    Parameters
    ----------
    known : PieceKnown
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
            Section(say("Notes"), tuple(_filled(notes(history.notes)))),
            Section(say("Remarks"), (Points("", history.remarks),) if history.remarks else ()),
            made_again(made),
            section(say("Evidence in figures"), *_evidence(known), appendix=True),
            section(say("Changes"), changes(history.edits), appendix=True),
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


def _summary(known: PieceKnown) -> Iterator[Block]:
    yield _verdict(known)
    if known.history.reminder is not None:
        yield Paragraph(due_words(known.history.reminder))
    yield Paragraph(say("Intervals in brackets hold the true value with 95 % probability."))
    yield Cautions(known.history.cautions)


def _verdict(known: PieceKnown) -> Verdict:
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
        (say("lives"), say(p.exposure) if p.exposure in EXPOSURES else p.exposure),
        (say("tested"), say_many("{count} time", "{count} times", p.tests)),
        (say("last tested"), p.tested_on or say("never")),
        (say("judged from"), p.basis),
        (say("put away"), say("yes") if p.archived else ""),
    )
    return Facts(tuple(row for row in rows if row[1]))


def _losses(known: PieceKnown) -> Iterator[Block]:
    table = losses(known.history.piece, known.history.day)
    if known.belief is None:
        yield from _filled(table)
        return
    said = together([loss_at(x) for x in known.history.piece.losses], "; ")
    about = say("Loss of {piece} against frequency: {losses}.", piece=known.noun.tag, losses=said)
    caption = say("The estimate from all evidence together, beside what the type specifies.")
    yield Drawing(caption, (Panel(partial(figures.piece, known.noun, known.belief), about),), table, columns=1)


def _ladder(known: PieceKnown) -> Iterator[Block]:
    if known.rungs:
        draw = partial(figures.ladder, known.noun.tag, known.rungs, known.rungs_hz)
        about = say("The estimate for {piece} after each test, in time order.", piece=known.noun.tag)
        caption = say("What each test says alone, and the estimate after it.")
        yield Drawing(caption, (Panel(draw, about),), columns=1)


def _evidence(known: PieceKnown) -> Iterator[Block]:
    if known.rungs:
        yield ladder(known.rungs, known.rungs_hz)
    yield tests(known.history.points)


def _tests(history: PieceHistory) -> Iterator[Block]:
    if not history.points:
        yield Paragraph(say("It was never tested."))
        return
    about = say("The loss of {piece} over the years, each test alone.", piece=history.piece.tag)
    yield Drawing("", (Panel(partial(figures.years, history), about),), columns=1)
    yield from map(Paragraph, drift_words(history))
    if history.drift:
        yield from (Paragraph(p.why) for p in history.passes)


def _repeat(known: PieceKnown, made: Made) -> Section:
    method = (
        say(
            "Each sheet and each sweep is judged by itself; together they give one estimate for the day. Rival "
            "explanations of the changes between them are weighed by their evidence; the newest test has no "
            "privilege."),
        say("Drift is the rate at which the logarithm of the loss goes on, over all of these explanations."),
    )  # fmt: skip
    assumptions = (
        say("The loss of a piece wanders by about 1 % of itself in a year (common practice, no source)."),
        say(
            "With a connector refitted, on another bench, on another day, a test repeats to about 1.2 % (common "
            "practice, no source)."),
    )  # fmt: skip
    line = known.noun.line
    sources = [
        *(w.source for w in known.history.workings),
        *(p.provenance.source for p in (line.points if line else ())),
    ]
    return repeat_section(made, method, assumptions, sources)
