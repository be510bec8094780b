"""What a ledger keeps, as documents: the shelf, a piece and its years, meters, runs, plans, sweeps, gear, changes."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

from linewright.core.formatting import frequency, interval, metres, places_for, plain, quantity
from linewright.core.messages import mark, say, say_many, together
from linewright.core.nouns.kept_sweeps import KeptSweep
from linewright.core.nouns.ledger import Change, Item
from linewright.core.nouns.plan import Difference
from linewright.core.nouns.shelf import (
    BelievedLoss,
    Drift,
    Due,
    HistoryPoint,
    KeptPlan,
    KeptRun,
    MeterKnown,
    PieceHistory,
    Reminder,
    Shelf,
    ShelfPiece,
)
from linewright.present.compose.plan_words import arrival, changed
from linewright.present.compose.provenance import worked
from linewright.present.document import (
    Block,
    Cautions,
    Column,
    Document,
    Paragraph,
    Part,
    Row,
    Section,
    Table,
    points,
    section,
    sections,
    table,
)

KINDS = (
    mark("piece"), mark("stock"), mark("line"), mark("meter"), mark("sheet"), mark("sweep"), mark("station"),
    mark("note"), mark("attenuator"), mark("load"), mark("radio"), mark("antenna"), mark("reading"),
)  # fmt: skip
"""What a ledger holds, as its items name their kind."""
EXPOSURES = (mark("indoors"), mark("outdoors"), mark("buried"), mark("portable"))
FIELDS = {
    "tag": mark("tag"), "line": mark("type"), "length": mark("length"), "connectors": mark("connectors"),
    "stock": mark("stock"), "exposure": mark("lives"), "note": mark("note"), "since": mark("in use since"),
}  # fmt: skip
"""What the fields of a piece are called; a field with none stands under its key."""
NAMES = ("name", "tag")
CUT = 60
"""Signs of a field that a change shows."""


def _listed(title: str, found: Table, none: str) -> Document:
    """Return a table under its title, or what is said where it holds nothing."""
    return Document("piece", "", sections=sections(section(title, found) if found.parts else _bare(none)))


def _bare(words: str) -> Section:
    return section("", Paragraph(words))


def _rows(columns: Sequence[Column], rows: Sequence[tuple[str, ...]], caption: str = "") -> Table:
    """Return a table of one part; without rows it has none."""
    parts = (Part("", tuple(map(Row, rows))),) if rows else ()
    return Table(caption, tuple(columns), parts)


# The whole shelf


def shelf_document(shelf: Shelf, meters: Sequence[Item] = ()) -> Document:
    """Return the whole shelf; ``meters`` are those that are kept."""
    if not shelf.pieces:
        command = "linewright shelf add TAG --length 7.2m --line RG-58C/U"
        return Document("piece", "", sections=(
            _bare(say("The shelf is empty. To put a piece on it: {command}", command=command)),
        ))  # fmt: skip
    bands = shelf.pieces[0].losses or next((p.losses for p in shelf.pieces if p.losses), ())
    columns = (
        Column(say("piece")), Column(say("type")), Column(say("length"), "figure"),
        *(Column(frequency(x.frequency_hz), "figure") for x in bands), Column(say("times"), "figure"),
        Column(say("tested")),
    )  # fmt: skip
    rows = (
        (p.tag, p.line or say("unknown"), metres(p.length_m),
         *([_short_interval(x) for x in p.losses] or [""] * len(bands)),
         "" if p.ratio is None else plain(p.ratio, 2), p.tested_on[:7] if p.tested_on else say("never"))
        for p in shelf.pieces
    )  # fmt: skip
    told = say("To see how each reads: {command}", command="linewright shelf meters")
    return Document("piece", "", sections=sections(
        section(say("On the shelf: loss in dB with its 95 % interval, and as a multiple of a new piece's"),
                table(columns, rows)),
        section(say("Test again"), points(say("{piece}: {why}", piece=r.piece, why=r.why) for r in shelf.reminders)),
        section(say("Meters"), *((_meters(meters), points([told])) if meters else ())),
        section(say("Runs"), _runs(shelf.runs)),
    ))  # fmt: skip


def _short_interval(x: BelievedLoss) -> str:
    places = places_for(x.loss_db_low, x.loss_db_high)
    value, low, high = (plain(db, places) for db in (x.loss_db, x.loss_db_low, x.loss_db_high))
    return say("{value} ({low}-{high})", value=value, low=low, high=high)


def _meters(meters: Sequence[Item]) -> Table:
    columns = (Column(say("meter")), Column(say("scale")), Column(say("rated")))
    return _rows(
        columns, [(i.key, i.body.get("scale", "watts"), written_field(i.body.get("rated", ""))) for i in meters]
    )


def _runs(runs: Sequence[KeptRun]) -> Table:
    columns = (
        Column(say("run")), Column(say("bands")), Column(say("power")),
        Column(say("from the radio to the antenna"), "wide"),
    )  # fmt: skip
    return Table("", columns, tuple(
        Part(station, tuple(Row((r.run, in_one_unit(r.frequencies), r.power, ", ".join(r.parts))) for r in mine))
        for station, mine in groupby(runs, key=lambda r: r.station)
    ))  # fmt: skip


def in_one_unit(frequencies: Sequence[str]) -> str:
    """Return written frequencies in a row, their unit once where all have the same.

    >>> in_one_unit(["3.65 MHz", "7.1 MHz"]), in_one_unit(["475 kHz", "7.1 MHz"])
    ('3.65, 7.1 MHz', '475 kHz, 7.1 MHz')
    """
    units = {text.rpartition(" ")[2] for text in frequencies}
    if len(units) != 1:
        return ", ".join(frequencies)
    return ", ".join(t.rpartition(" ")[0] for t in frequencies) + f" {units.pop()}"


def runs_document(runs: Sequence[KeptRun]) -> Document:
    """Return the runs of all kept stations."""
    none = say(
        "There is no station in the ledger. To import one: {command}", command="linewright shelf import STATION.toml"
    )
    return _listed(say("Runs"), _runs(runs), none)


def due_document(due: Sequence[Due]) -> Document:
    """Return what to test first."""
    columns = (
        Column("", "right"), Column(say("piece")), Column(say("gains the plans"), "figure"), Column(say("by")),
        Column(say("why"), "wide"),
    )  # fmt: skip
    rows = [
        (str(n), d.piece, quantity(plain(d.gain_db, 1), "dB") if d.run else "-",
         say("now") if d.urgency == "due" else d.due_on, d.why)
        for n, d in enumerate(due, start=1)
    ]  # fmt: skip
    none = say("No piece needs a test now, and no plan would gain from one.")
    return _listed(say("What to test first"), _rows(columns, rows), none)


def plans_document(plans: Sequence[KeptPlan]) -> Document:
    """Return plans beside runs, each with what it says otherwise and what that would do."""
    command = "linewright shelf plan RUN NAME --set KEY=VALUE"
    none = say("No plan is saved beside a run. To save one: {command}", command=command)
    told = [section(say("{plan}, a plan of {run}", plan=p.plan, run=p.run), points(_of_plan(p))) for p in plans]
    return Document("station", "", sections=sections(*(told or [_bare(none)])))


def _of_plan(p: KeptPlan) -> Iterator[str]:
    for key, value in p.fields.items():
        yield (
            say("{name}: left out", name=key)
            if value is None
            else say("{name}: {value}", name=key, value=written_field(value))
        )
    yield from map(_would, p.differences)


def _would(d: Difference) -> str:
    told = changed(d) if d.after is None else together([arrival(d.after), changed(d)])
    return say("{frequency}: {told}", frequency=frequency(d.frequency_hz), told=told)


def sweeps_document(sweeps: Sequence[KeptSweep]) -> Document:
    """Return the sweeps that were found."""
    columns = (
        Column(say("day")), Column(say("piece")), Column(say("far end")), Column(say("from"), "right"),
        Column(say("to"), "right"), Column(say("points"), "right"), Column(say("file")), Column(say("hash")),
    )  # fmt: skip
    rows = [
        (s.measured_on, s.piece, say(s.far_end), frequency(s.low_hz), frequency(s.high_hz), str(s.points), s.name,
         s.sha256[:12])
        for s in sweeps
    ]  # fmt: skip
    command = "linewright shelf file SWEEP.s2p --piece TAG"
    none = say("There is no such sweep in the ledger. To file one: {command}", command=command)
    return _listed(say("Sweeps"), _rows(columns, rows), none)


def gear_document(gear: Sequence[Item]) -> Document:
    """Return the gear that is kept."""
    columns = (Column(""), Column(say("name")), Column(say("as it is written"), "wide"))
    rows = [
        (
            say(i.kind),
            i.key,
            ", ".join(f"{k} {written_field(v)}" for k, v in i.body.items() if k not in ("name", "tag")),
        )
        for i in gear
    ]
    command = "linewright shelf import X.toml"
    none = say("There is no gear in the ledger. File a sheet or a station that has some: {command}", command=command)
    return _listed(say("Gear"), _rows(columns, rows), none)


FORWARD = say("Each sheet is judged with what sessions of earlier days showed: sheets before that stay as they were.")
"""How far back goes what is known of a meter."""


def meters_document(meters: Sequence[MeterKnown], cautions: Sequence[str] = ()) -> Document:
    """Return how meters read, band by band, and what to mind where they were read just now."""
    if not meters:
        none = say("There is no meter on the shelf yet. Filing a bench sheet adds its meters.")
        return Document("meter", "", sections=(_bare(none),))
    return Document("meter", "", sections=sections(
        *(section(m.meter, points(_reads(m))) for m in meters),
        section("", *((Paragraph(FORWARD),) if any(m.bands for m in meters) else ())),
        section(say("Cautions"), Cautions(tuple(cautions)))
    ))  # fmt: skip


def _reads(m: MeterKnown) -> Iterator[str]:
    for b in m.bands:
        yield say("{why} Since {day}, from {sources}.", why=b.why, day=b.since, sources=together(b.sources, ", "))
    for bridge in m.bridges:
        yield say("{why} Since {day}.", why=bridge.why, day=bridge.since)
    if not (m.bands or m.bridges):
        yield say(
            "Nothing shows how it reads yet: measure known attenuators with it, or read a second meter beside it."
        )


# A piece: what is believed of it, its tests, its years


def piece_document(known: PieceHistory) -> Document:
    """Return all that is known of one piece."""
    p = known.piece
    return Document("piece", p.tag, sections=sections(
        section(say("What it is"), points(_what(p))),
        section(say("Best estimate"), Paragraph(_basis(known)), losses(p, known.day)),
        section(say("Looking ahead"), points(x.why for x in known.passes)),
        section(say("What that rests on"), *_alone(known), tests(known.points)),
        section(say("Test again"), Paragraph(due_words(known.reminder))),
        section(say("Notes"), notes(known.notes)),
        *_at_the_end(known),
    ))  # fmt: skip


def history_document(known: PieceHistory, most: int) -> Document:
    """Return one piece over the years, with its newest changes, so many at most."""
    tested: Block = tests(known.points) if known.points else Paragraph(say("It was never tested."))
    return Document("piece", say("{piece} over the years", piece=known.piece.tag), sections=sections(
        section(say("Each test alone"), *_alone(known), tested),
        section(say("Drift"), points(drift_words(known) if known.points else ())),
        section(say("Looking ahead"), points(x.why for x in known.passes)),
        section(say("Test again"), Paragraph(due_words(known.reminder))),
        section(say("Notes"), notes(known.notes)),
        section(say("What happened"), points(c.why for c in known.changes)),
        section(say("Changes"), changes(known.edits[:most])),
        *_at_the_end(known),
    ))  # fmt: skip


def _basis(known: PieceHistory) -> str:
    return say("For {day}, from: {basis}.", day=known.day, basis=known.piece.basis)


def _alone(known: PieceHistory) -> Iterator[Paragraph]:
    """Yield what a test alone is, where sheets are among them: a sheet outside the ledger knows less of its meters."""
    if any(x.evidence.kind == "sheet" for x in known.points):
        yield Paragraph(say("Each sheet by itself, its meters taken as sessions of earlier days showed them."))


def _at_the_end(known: PieceHistory) -> tuple[Section, ...]:
    return (
        section(say("To know"), points(known.remarks)),
        section(say("Cautions"), Cautions(known.cautions)),
        worked(known.workings),
    )


def _what(p: ShelfPiece) -> Iterator[str]:
    of = say("{length} of {line}", length=metres(p.length_m), line=p.line or say("unknown type"))
    connectors = say_many("{count} connector", "{count} connectors", p.connectors)
    stock = say("from {stock}", stock=p.stock) if p.stock else ""
    kept = say("kept {exposure}", exposure=say(p.exposure)) if p.exposure else ""
    yield together([together([of, connectors, stock, kept], ", "), "."], "")
    if p.archived:
        yield say("It is put away.")


def losses(piece: ShelfPiece, day: str) -> Table:
    """Return what is believed of the losses of a piece on a day."""
    columns = (
        Column(say("frequency"), "right"), Column(say("loss (95 %)"), "figure"),
        Column(say("times a new one (95 %)"), "figure"),
    )  # fmt: skip
    return _rows(columns, list(map(_loss, piece.losses)), say("Loss as believed on {day}", day=day))


def _loss(x: BelievedLoss) -> tuple[str, ...]:
    known = x.ratio is not None and x.ratio_low is not None and x.ratio_high is not None
    times = interval(x.ratio or 0.0, x.ratio_low or 0.0, x.ratio_high or 0.0, "") if known else ""
    return frequency(x.frequency_hz), interval(x.loss_db, x.loss_db_low, x.loss_db_high), times


def tests(found: Sequence[HistoryPoint]) -> Table:
    """Return each test in time order, with what it says alone: the figure of its sheet's own page."""
    columns = (
        Column(say("measured on")), Column(say("kind")), Column(say("evidence"), "wide"),
        Column(say("frequency"), "right"), Column(say("loss (95 %)"), "figure"),
    )  # fmt: skip
    return _rows(columns, list(map(_test, found)), say("Tests in time order, each alone"))


def _test(x: HistoryPoint) -> tuple[str, ...]:
    e = x.evidence
    believed = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return e.measured_on, say(e.kind), e.what, frequency(x.frequency_hz), believed


def drift_words(known: PieceHistory) -> Iterator[str]:
    """Yield whether the loss of a piece drifts, and how fast."""
    d: Drift | None = known.drift
    if d is None:
        yield known.disagreement or say("One test cannot show a drift. Test it again after a season or more.")
        return
    yield d.why
    yield drift_rate(d)


def drift_rate(d: Drift) -> str:
    """Return the rate of a drift with its interval; its ``why`` says the rest."""
    ends = interval(d.percent_per_year, d.percent_per_year_low, d.percent_per_year_high, "%")
    return say("{change} a year.", change=ends)


def due_words(reminder: Reminder | None) -> str:
    """Return when to test a piece again, and why; empty where nothing is said."""
    if reminder is None:
        return ""
    if reminder.urgency == "due":
        return say("It is due to be tested now. {why}", why=reminder.why)
    return say("Test it again by {day}. {why}", day=reminder.due_on, why=reminder.why)


def notes(found: Sequence[Item]) -> Table:
    """Return the notes on a piece."""
    rows = [(str(n.body["at"])[:10], " ".join(str(n.body["text"]).split())) for n in found]
    return _rows((Column(say("on")), Column(say("note"), "wide")), rows, say("Notes as written"))


# What was changed


def changes_document(made: Sequence[Change]) -> Document:
    """Return changes, newest first."""
    return _listed(say("Changes, newest first"), changes(made), say("Nothing has been changed yet."))


def changes(made: Sequence[Change]) -> Table:
    """Return changes, newest first."""
    columns = (
        Column(say("no."), "right"), Column(say("when")), Column(say("who")), Column(say("what")), Column("", "wide"),
    )  # fmt: skip
    return _rows(columns, list(map(_change, made)), say("Changes, newest first"))


def _change(c: Change) -> tuple[str, ...]:
    what = say("{what} ({note})", what=_told(c), note=c.note) if c.note else _told(c)
    return str(c.id), c.at[:16].replace("T", " "), c.who, together([say(c.kind), c.key]), what


def _told(c: Change) -> str:
    """Say what a change did."""
    if c.before is None:
        return say("added")
    if c.after is None:
        return say("withdrawn")
    if c.kind == "reading":
        return _differences(c.before, c.after)
    if c.before["archived"] != c.after["archived"]:
        return say("archived") if c.after["archived"] else say("restored")
    return _differences(c.before["body"], c.after["body"])


def _differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    keys = [k for k in {**before, **after} if before.get(k) != after.get(k)]
    return together([_difference(k, before.get(k), after.get(k)) for k in keys], "; ")


def _difference(key: str, before: Any, after: Any) -> str:
    field = say(FIELDS[key]) if key in FIELDS else key
    was, then = (say(v) if key == "exposure" and v in EXPOSURES else written_field(v) for v in (before, after))
    return say("{field}: {before} → {after}", field=field, before=was, after=then)


def written_field(value: Any) -> str:
    """Return a value as it was typed, cut where it is long."""
    if value is None:
        return say("nothing")
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= CUT else f"{text[:CUT]}…"
