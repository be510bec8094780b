"""The terminal view of the shelf: pieces, one piece, its years, changes."""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import groupby
from typing import Any

from linewright.cli.text import Table, bold, clean, items, page, paragraph, section, workings_view
from linewright.core.formatting import frequency, interval, metres, places_for, plain, quantity
from linewright.core.messages import mark, say, say_many, together
from linewright.core.nouns.kept_sweeps import KeptSweep
from linewright.core.nouns.ledger import Change, Item
from linewright.core.nouns.plan import Difference
from linewright.core.nouns.shelf import (
    BandLoss,
    Drift,
    Due,
    Kept,
    KeptPlan,
    KeptRun,
    MeterKnown,
    PieceHistory,
    Reminder,
    Shelf,
    ShelfPiece,
)
from linewright.present.compose.plan_words import arrival, changed

# The terminal view of the shelf: pieces, one piece, its years, changes

CUT = 60
KINDS = (
    mark("piece"), mark("stock"), mark("line"), mark("meter"), mark("sheet"), mark("sweep"), mark("station"),
    mark("note"), mark("attenuator"), mark("load"), mark("radio"), mark("antenna"), mark("reading"),
)  # fmt: skip
"""What a ledger holds, as its items name their kind."""


def shelf_view(shelf: Shelf, meters: Sequence[Item] = ()) -> str:
    """Return the whole shelf; ``meters`` are those that are kept."""
    if not shelf.pieces:
        return clean(
            say("The shelf is empty. To put a piece on it: {command}",
                command="linewright shelf add TAG --length 7.2m --line RG-58C/U")
        )  # fmt: skip
    bands = shelf.pieces[0].losses or next((p.losses for p in shelf.pieces if p.losses), ())
    heads = [
        say("piece"), say("type"), say("length"), *(frequency(x.frequency_hz) for x in bands), say("times"),
        say("tested"),
    ]  # fmt: skip
    table = Table(heads, "ll" + "d" * (len(bands) + 2) + "l")
    for p in shelf.pieces:
        losses = [_with_interval(x) for x in p.losses] or [""] * len(bands)
        tested = p.tested_on[:7] if p.tested_on else say("never")
        table.add(p.tag, p.line or say("unknown"), metres(p.length_m), *losses, _ratio(p), tested)
    due = [say("{piece}: {why}", piece=r.piece, why=r.why) for r in shelf.reminders]
    title = say("On the shelf: loss in dB with its 95 % interval, and as a multiple of a new piece's")
    return page([section(title, table.lines()), section(say("Test again"), items(due)), _meters(meters),
                 _runs(shelf.runs)])  # fmt: skip


def _meters(meters: Sequence[Item]) -> list[str]:
    if not meters:
        return []
    table = Table([say("meter"), say("scale"), say("rated")], "lll")
    for i in meters:
        table.add(i.key, i.body.get("scale", "watts"), _short(i.body.get("rated", "")))
    told = say("To see how each reads: {command}", command="linewright shelf meters")
    return section(say("Meters"), [*table.lines(), *items([told])])


def due_view(due: Sequence[Due]) -> str:
    """Return what to test first."""
    if not due:
        return clean(say("No piece needs a test now, and no plan would gain from one."))
    table = Table(["", say("piece"), say("gains the plans"), say("by"), say("why")], "rldlw")
    for n, d in enumerate(due, start=1):
        when = say("now") if d.urgency == "due" else d.due_on
        table.add(str(n), d.piece, quantity(plain(d.gain_db, 1), "dB") if d.run else "-", when, d.why)
    return page([section(say("What to test first"), table.lines())])


def runs_view(runs: Sequence[KeptRun]) -> str:
    """Return the runs of all kept stations."""
    if not runs:
        return clean(
            say(
                "There is no station in the ledger. To import one: {command}",
                command="linewright shelf import STATION.toml",
            )
        )
    return page([_runs(runs)])


def plans_view(plans: Sequence[KeptPlan]) -> str:
    """Return plans beside runs, each with what it says otherwise and what that would do."""
    if not plans:
        command = "linewright shelf plan RUN NAME --set KEY=VALUE"
        return clean(say("No plan is saved beside a run. To save one: {command}", command=command))
    return page([section(say("{plan}, a plan of {run}", plan=p.plan, run=p.run), items(_of_plan(p))) for p in plans])


def _of_plan(p: KeptPlan) -> list[str]:
    said = [
        say("{name}: {value}", name=key, value=_short(value))
        if value is not None
        else say("{name}: left out", name=key)
        for key, value in p.fields.items()
    ]
    return [*said, *(_would(d) for d in p.differences)]


def _would(d: Difference) -> str:
    told = changed(d) if d.after is None else together([arrival(d.after), changed(d)])
    return say("{frequency}: {told}", frequency=frequency(d.frequency_hz), told=told)


def sweeps_view(sweeps: Sequence[KeptSweep]) -> str:
    """Return the sweeps that were found."""
    if not sweeps:
        command = "linewright shelf file SWEEP.s2p --piece TAG"
        return clean(say("There is no such sweep in the ledger. To file one: {command}", command=command))
    heads = [
        say("day"), say("piece"), say("far end"), say("from"), say("to"), say("points"), say("file"), say("hash"),
    ]  # fmt: skip
    table = Table(heads, "lllrrrll")
    for s in sweeps:
        ends = frequency(s.low_hz), frequency(s.high_hz)
        table.add(s.measured_on, s.piece, say(s.far_end), *ends, str(s.points), s.name, s.sha256[:12])
    return page([section(say("Sweeps"), table.lines())])


def gear_view(gear: Sequence[Item]) -> str:
    """Return the gear that is kept."""
    if not gear:
        command = "linewright shelf import X.toml"
        return clean(
            say("There is no gear in the ledger. File a sheet or a station that has some: {command}", command=command)
        )
    table = Table(["", say("name"), say("as it is written")], "llw")
    for i in gear:
        fields = {k: _short(v) for k, v in i.body.items() if k not in ("name", "tag")}
        table.add(say(i.kind), i.key, ", ".join(f"{k} {v}" for k, v in fields.items()))
    return page([section(say("Gear"), table.lines())])


def _runs(runs: Sequence[KeptRun]) -> list[str]:
    table = Table([say("run"), say("bands"), say("power"), say("from the radio to the antenna")], "lllw")
    for station, mine in groupby(runs, key=lambda r: r.station):
        table.part(station)
        for r in mine:
            table.add(r.run, in_one_unit(r.frequencies), r.power, ", ".join(r.parts))
    return section(say("Runs"), table.lines()) if runs else []


def in_one_unit(frequencies: Sequence[str]) -> str:
    """Return written frequencies in a row, their unit once where all have the same.

    >>> in_one_unit(["3.65 MHz", "7.1 MHz"]), in_one_unit(["475 kHz", "7.1 MHz"])
    ('3.65, 7.1 MHz', '475 kHz, 7.1 MHz')
    """
    units = {text.rpartition(" ")[2] for text in frequencies}
    return (
        ", ".join(frequencies)
        if len(units) > 1
        else ", ".join(t.rpartition(" ")[0] for t in frequencies) + (f" {units.pop()}" if units else "")
    )


def meters_view(meters: Sequence[MeterKnown], cautions: Sequence[str] = ()) -> str:
    """Return how meters read, band by band, and what to mind where they were read just now."""
    if not meters:
        return clean(say("There is no meter on the shelf yet. Filing a bench sheet adds its meters."))
    unknown = say(
        "Nothing shows how it reads yet: measure known attenuators with it, or read a second meter beside it."
    )
    parts = []
    for m in meters:
        rows = [
            say("{why} Since {day}, from {sources}.", why=b.why, day=b.since, sources=together(b.sources, ", "))
            for b in m.bands
        ]
        rows += [say("{why} Since {day}.", why=b.why, day=b.since) for b in m.bridges]
        parts += [[bold(clean(m.meter))], items(rows or [unknown])]
    return page([*parts, section(say("Cautions"), items(cautions))])


def _with_interval(x: BandLoss) -> str:
    places = places_for(x.loss_db_low, x.loss_db_high)
    value, low, high = (plain(db, places) for db in (x.loss_db, x.loss_db_low, x.loss_db_high))
    return say("{value} ({low}-{high})", value=value, low=low, high=high)


def _ratio(p: ShelfPiece) -> str:
    return "" if p.ratio is None else plain(p.ratio, 2)


def piece_view(known: PieceHistory, *, explain: bool = False) -> str:
    """Return all that is known of one piece."""
    return page([
        [bold(clean(known.piece.tag))],
        section(say("What it is"), items(_what(known.piece))),
        section(say("Best estimate"), _believed(known.piece)),
        section(say("Looking ahead"), items([p.why for p in known.passes])),
        section(say("What that rests on"), _evidence(known)),
        section(say("Test again"), items(_due(known.reminder))),
        section(say("Notes"), items(_notes(known.notes))),
        section(say("To know"), items(known.remarks)),
        section(say("Cautions"), items(known.cautions)),
        workings_view(known.workings) if explain else [],
    ])  # fmt: skip


def _what(p: ShelfPiece) -> list[str]:
    of = say("{length} of {line}", length=metres(p.length_m), line=p.line or say("unknown type"))
    connectors = say_many("{count} connector", "{count} connectors", p.connectors)
    stock = say("from {stock}", stock=p.stock) if p.stock else ""
    kept = say("kept {exposure}", exposure=say(p.exposure)) if p.exposure else ""
    what = together([together([of, connectors, stock, kept], ", "), "."], "")
    return [what, say("It is put away.")] if p.archived else [what]


def _believed(p: ShelfPiece) -> list[str]:
    return [*paragraph(say("From: {basis}.", basis=p.basis)), *_losses(p)]


def _losses(p: ShelfPiece) -> list[str]:
    table = Table([say("frequency"), say("loss, dB"), "95 %", say("times new"), "95 %"], "ddldl")
    for x in p.losses:
        places = places_for(x.loss_db_low, x.loss_db_high)
        known = x.ratio is not None and x.ratio_low is not None and x.ratio_high is not None
        ratio = (plain(x.ratio or 0.0, 2), _from_to(x.ratio_low or 0.0, x.ratio_high or 0.0, 2)) if known else ("", "")
        loss = plain(x.loss_db, places), _from_to(x.loss_db_low, x.loss_db_high, places)
        table.add(frequency(x.frequency_hz), *loss, *ratio)
    return table.lines()


def _from_to(low: float, high: float, places: int) -> str:
    return say("{low} to {high}", low=plain(low, places), high=plain(high, places))


def _evidence(known: PieceHistory) -> list[str]:
    table = Table([say("measured on"), "", say("what"), say("alone, dB"), "95 %"], "llldl")
    for x in known.points:
        places = places_for(x.loss_db_low, x.loss_db_high)
        ends = _from_to(x.loss_db_low, x.loss_db_high, places)
        between = say("{interval} at {frequency}", interval=ends, frequency=frequency(x.frequency_hz))
        e = x.evidence
        table.add(e.measured_on, say(e.kind), e.what, plain(x.loss_db, places), between)
    return table.lines()


def _due(reminder: Reminder | None) -> list[str]:
    if reminder is None:
        return []
    if reminder.urgency == "due":
        return [say("Now. {why}", why=reminder.why)]
    return [say("By {day}. {why}", day=reminder.due_on, why=reminder.why)]


def _notes(notes: Sequence[Item]) -> list[str]:
    return [f"{n.body['at'][:10]}  {' '.join(n.body['text'].split())}" for n in notes]


def history_view(known: PieceHistory, most: int, *, explain: bool = False) -> str:
    """Return one piece over the years."""
    drift = known.drift
    alone = say("One test cannot show a drift. Test it again after a season or more.")
    said = drift.why if drift else known.disagreement or alone
    figures = [drift_rate(drift)] if drift else []
    return page([
        [bold(clean(say("{piece} over the years", piece=known.piece.tag)))],
        section(say("Each test alone"), _evidence(known) or paragraph(say("It was never tested."))),
        section(say("Drift"), items([said, *figures])) if known.points else [],
        section(say("Looking ahead"), items([p.why for p in known.passes])),
        section(say("Test again"), items(_due(known.reminder))),
        section(say("Notes"), items(_notes(known.notes))),
        section(say("What happened"), items([c.why for c in known.changes])),
        section(say("Changes"), _changes(known.edits[:most])),
        section(say("To know"), items(known.remarks)),
        section(say("Cautions"), items(known.cautions)),
        workings_view(known.workings) if explain else [],
    ])  # fmt: skip


def drift_rate(d: Drift) -> str:
    """Return the rate of a drift with its interval; its ``why`` says the rest."""
    ends = interval(d.percent_per_year, d.percent_per_year_low, d.percent_per_year_high, "%")
    return say("{change} a year.", change=ends)


def changes_view(changes: Sequence[Change]) -> str:
    """Return changes, newest first."""
    if not changes:
        return clean(say("Nothing has been changed yet."))
    return page([section(say("Changes, newest first"), _changes(changes))])


def _changes(changes: Sequence[Change]) -> list[str]:
    table = Table([say("no."), say("when"), say("who"), say("what"), ""], "rlllw")
    for c in changes:
        what = say("{what} ({note})", what=_told(c), note=c.note) if c.note else _told(c)
        table.add(str(c.id), c.at[:16].replace("T", " "), c.who, together([say(c.kind), c.key]), what)
    return table.lines()


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


def _differences(before: Any, after: Any) -> str:
    keys = [k for k in {**before, **after} if before.get(k) != after.get(k)]
    return together(
        (say("{field}: {before} → {after}", field=k, before=_short(before.get(k)), after=_short(after.get(k)))
         for k in keys), "; ",
    )  # fmt: skip


def _short(value: Any) -> str:
    if value is None:
        return say("nothing")
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= CUT else f"{text[:CUT]}…"


def kept_view(kept: Sequence[Kept]) -> str:
    """Return what was written."""
    said = []
    for one in kept:
        item = one.item
        told = {"kind": say(item.kind), "key": item.key, "version": str(item.version)}
        said.append(
            say("Archived {kind} {key} (version {version}).", **told)
            if item.archived
            else say("Saved {kind} {key} (version {version}).", **told)
        )
        said += [say("Also: {kind} {key}.", kind=say(i.kind), key=i.key) for i in one.with_it]
        said += one.remarks
    return "\n".join(line.strip() for line in items(said))
