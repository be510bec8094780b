"""The terminal view of the shelf: pieces, one piece, its years, changes."""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import groupby
from typing import Any

from linewright.cli.text import Table, bold, items, page, paragraph, section, workings_view
from linewright.core.formatting import frequency, metres, places_for
from linewright.core.nouns.kept_sweeps import KeptSweep
from linewright.core.nouns.ledger import Change, Item
from linewright.core.nouns.shelf import (
    BandLoss,
    Kept,
    KeptRun,
    MeterKnown,
    PieceHistory,
    Reminder,
    Shelf,
    ShelfPiece,
)

# The terminal view of the shelf: pieces, one piece, its years, changes

CUT = 60


def shelf_view(shelf: Shelf) -> str:
    """Return the whole shelf."""
    if not shelf.pieces:
        return "The shelf is empty. Put a piece on it: linewright shelf add TAG --length 7.2m --line RG-58C/U"
    bands = shelf.pieces[0].losses or next((p.losses for p in shelf.pieces if p.losses), ())
    heads = ["piece", "type", "length", *(frequency(x.frequency_hz) for x in bands), "times", "tested"]
    table = Table(heads, "ll" + "d" * (len(bands) + 2) + "l")
    for p in shelf.pieces:
        losses = [_with_interval(x) for x in p.losses] or [""] * len(bands)
        table.add(p.tag, p.line or "unknown", metres(p.length_m), *losses, _ratio(p), (p.tested_on or "never")[:7])
    due = [f"{r.piece}: {r.why}" for r in shelf.reminders]
    title = "On the shelf: loss in dB, with its 95 % interval, and how many times that of a new one"
    return page([section(title, table.lines()), section("Test again", items(due)), _runs(shelf.runs)])


def runs_view(runs: Sequence[KeptRun]) -> str:
    """Return the runs of all kept stations."""
    if not runs:
        return "No station is kept. Keep one: linewright shelf import STATION.toml"
    return page([_runs(runs)])


def sweeps_view(sweeps: Sequence[KeptSweep]) -> str:
    """Return the sweeps that were found."""
    if not sweeps:
        return "No such sweep is kept. Keep one: linewright shelf file SWEEP.s2p --piece TAG"
    table = Table(["day", "piece", "far end", "from", "to", "points", "file", "hash"], "lllrrrll")
    for s in sweeps:
        ends = frequency(s.low_hz), frequency(s.high_hz)
        table.add(s.measured_on, s.piece, s.far_end, *ends, str(s.points), s.name, s.sha256[:12])
    return page([section("Sweeps", table.lines())])


def gear_view(gear: Sequence[Item]) -> str:
    """Return the gear that is kept."""
    if not gear:
        return "No gear is kept. A sheet or a station brings its own: linewright shelf import X.toml"
    table = Table(["", "name", "as it is written"], "llw")
    for i in gear:
        fields = {k: _short(v) for k, v in i.body.items() if k not in ("name", "tag")}
        table.add(i.kind, i.key, ", ".join(f"{k} {v}" for k, v in fields.items()))
    return page([section("Gear", table.lines())])


def _runs(runs: Sequence[KeptRun]) -> list[str]:
    table = Table(["run", "bands", "power", "from the radio to the antenna"], "lllw")
    for station, mine in groupby(runs, key=lambda r: r.station):
        table.part(station)
        for r in mine:
            table.add(r.run, in_one_unit(r.frequencies), r.power, ", ".join(r.parts))
    return section("Runs", table.lines()) if runs else []


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


def meters_view(meters: Sequence[MeterKnown]) -> str:
    """Return how meters read, band by band."""
    if not meters:
        return "There is no meter on the shelf yet. A bench sheet that is filed brings its own."
    unknown = "Nothing shows how it reads yet: read known attenuators with it, or a second meter beside it."
    parts = []
    for m in meters:
        rows = [f"{b.why} Since {b.since}, from {', '.join(b.sources)}." for b in m.bands]
        parts += [[bold(m.meter)], items(rows or [unknown])]
    return page(parts)


def _with_interval(x: BandLoss) -> str:
    places = places_for(x.loss_db_low, x.loss_db_high)
    return f"{x.loss_db:.{places}f} ({x.loss_db_low:.{places}f}-{x.loss_db_high:.{places}f})"


def _ratio(p: ShelfPiece) -> str:
    at = next((x for x in p.losses if x.ratio is not None), None)
    return "" if at is None else f"{at.ratio:.2f}"


def piece_view(known: PieceHistory, *, explain: bool = False) -> str:
    """Return all that is known of one piece."""
    return page([
        [bold(known.piece.tag)],
        section("What it is", items(_what(known.piece))),
        section("What is believed of it", [*paragraph(f"From: {known.piece.basis}."), *_losses(known.piece)]),
        section("What that rests on", _evidence(known)),
        section("Test again", items(_due(known.reminder))),
        section("Notes", items(_notes(known.notes))),
        section("To know", items(known.remarks)),
        section("Cautions", items(known.cautions)),
        workings_view(known.workings) if explain else [],
    ])  # fmt: skip


def _what(p: ShelfPiece) -> list[str]:
    stock = f", from {p.stock}" if p.stock else ""
    kept = f", kept {p.exposure}" if p.exposure else ""
    away = ["It is put away."] if p.archived else []
    return [f"{metres(p.length_m)} of {p.line or 'unknown type'}, {p.connectors} connectors{stock}{kept}.", *away]


def _losses(p: ShelfPiece) -> list[str]:
    table = Table(["frequency", "loss, dB", "95 %", "times new", "95 %"], "ddldl")
    for x in p.losses:
        places = places_for(x.loss_db_low, x.loss_db_high)
        ratio = ("", "") if x.ratio is None else (f"{x.ratio:.2f}", f"{x.ratio_low:.2f} to {x.ratio_high:.2f}")
        loss = f"{x.loss_db:.{places}f}", f"{x.loss_db_low:.{places}f} to {x.loss_db_high:.{places}f}"
        table.add(frequency(x.frequency_hz), *loss, *ratio)
    return table.lines()


def _evidence(known: PieceHistory) -> list[str]:
    table = Table(["measured on", "", "what", "alone, dB", "95 %"], "llldl")
    for x in known.points:
        places = places_for(x.loss_db_low, x.loss_db_high)
        between = f"{x.loss_db_low:.{places}f} to {x.loss_db_high:.{places}f} at {frequency(x.frequency_hz)}"
        table.add(x.evidence.measured_on, x.evidence.kind, x.evidence.what, f"{x.loss_db:.{places}f}", between)
    return table.lines()


def _due(reminder: Reminder | None) -> list[str]:
    if reminder is None:
        return []
    when = "Now." if reminder.urgency == "due" else f"By {reminder.due_on}."
    return [f"{when} {reminder.why}"]


def _notes(notes: Sequence[Item]) -> list[str]:
    return [f"{n.body['at'][:10]}  {' '.join(n.body['text'].split())}" for n in notes]


def history_view(known: PieceHistory, most: int, *, explain: bool = False) -> str:
    """Return one piece over the years."""
    drift = known.drift
    alone = "One test tells no drift. Test it again, a season apart or more."
    said = drift.why if drift else known.disagreement or alone
    figures = (
        [f"{drift.percent_per_year:+.1f} % a year ({drift.percent_per_year_low:+.1f} to "
         f"{drift.percent_per_year_high:+.1f}); probability that it rises {drift.p_rising:.2f}."]
        if drift else []
    )  # fmt: skip
    return page([
        [bold(f"{known.piece.tag} over the years")],
        section("Each test alone", _evidence(known) or paragraph("It was never tested.")),
        section("Drift", items([said, *figures])) if known.points else [],
        section("Test again", items(_due(known.reminder))),
        section("Notes", items(_notes(known.notes))),
        section("What happened", items([c.why for c in known.changes])),
        section("Changes", _changes(known.edits[:most])),
        section("To know", items(known.remarks)),
        section("Cautions", items(known.cautions)),
        workings_view(known.workings) if explain else [],
    ])  # fmt: skip


def changes_view(changes: Sequence[Change]) -> str:
    """Return changes, newest first."""
    if not changes:
        return "Nothing was ever changed."
    return page([section("Changes, newest first", _changes(changes))])


def _changes(changes: Sequence[Change]) -> list[str]:
    table = Table(["no.", "when", "who", "what", ""], "rlllw")
    for c in changes:
        note = f" ({c.note})" if c.note else ""
        table.add(str(c.id), c.at[:16].replace("T", " "), c.who, f"{c.kind} {c.key}", f"{_told(c)}{note}")
    return table.lines()


def _told(c: Change) -> str:
    """Say what a change did."""
    if c.before is None:
        return "added"
    if c.after is None:
        return "withdrawn"
    if c.kind == "reading":
        return _differences(c.before, c.after)
    if c.before["archived"] != c.after["archived"]:
        return "archived" if c.after["archived"] else "restored"
    return _differences(c.before["body"], c.after["body"])


def _differences(before: Any, after: Any) -> str:
    keys = [k for k in {**before, **after} if before.get(k) != after.get(k)]
    return "; ".join(f"{k}: {_short(before.get(k))} → {_short(after.get(k))}" for k in keys)


def _short(value: Any) -> str:
    text = "nothing" if value is None else value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= CUT else f"{text[:CUT]}…"


def kept_view(kept: Sequence[Kept]) -> str:
    """Return what was written."""
    said = []
    for one in kept:
        item = one.item
        said.append(f"{item.kind} {item.key} is {'put away' if item.archived else 'kept'} (version {item.version}).")
        said += [f"With it: {i.kind} {i.key}." for i in one.with_it]
        said += one.remarks
    return "\n".join(line.strip() for line in items(said))
