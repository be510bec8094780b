"""Tables of a piece's report: losses, the ladder of its evidence, tests, notes, changes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from linewright.charts.ladder import Interval, Rung
from linewright.model.ledger import Change, Item
from linewright.model.shelf import BandLoss, HistoryPoint, ShelfPiece
from linewright.report.document import Column, Part, Row, Table
from linewright.units.said import mark, say, together
from linewright.units.writing import frequency, interval

EXPOSURES = (mark("indoors"), mark("outdoors"), mark("buried"), mark("portable"))
FIELDS = {
    "tag": mark("tag"), "line": mark("type"), "length": mark("length"), "connectors": mark("connectors"),
    "stock": mark("stock"), "exposure": mark("lives"), "note": mark("note"), "since": mark("in use since"),
}  # fmt: skip
"""What the fields of a piece are called; a field with none stands under its key."""
KINDS = {"sheet": mark("sheet"), "sweep": mark("sweep")}
CUT = 120
"""Signs of a field that a change shows."""


def _one(title: str, rows: Sequence[Row]) -> tuple[Part, ...]:
    return (Part(title, tuple(rows)),) if rows else ()


def losses(piece: ShelfPiece) -> Table:
    """Return what is believed of the losses of a piece."""
    columns = (
        Column(say("frequency"), "right"), Column(say("loss (95 %)"), "figure"),
        Column(say("times a new one (95 %)"), "figure"),
    )  # fmt: skip
    return Table(say("Loss as believed today"), columns, _one("", [_loss(x) for x in piece.losses]))


def _loss(x: BandLoss) -> Row:
    known = x.ratio is not None and x.ratio_low is not None and x.ratio_high is not None
    times = interval(x.ratio or 0.0, x.ratio_low or 0.0, x.ratio_high or 0.0, "") if known else ""
    return Row((frequency(x.frequency_hz), interval(x.loss_db, x.loss_db_low, x.loss_db_high), times))


def loss_at(x: BandLoss) -> str:
    """Return a loss with its band, for a person who cannot see the drawing."""
    believed = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return say("{loss} at {frequency}", loss=believed, frequency=frequency(x.frequency_hz))


def ladder(rungs: Sequence[Rung], frequency_hz: float) -> Table:
    """Return the evidence in time order, each step with what it says alone and what is believed after it."""
    columns = (
        Column(say("measured on")), Column(say("evidence"), "wide"), Column(say("alone (95 %)"), "figure"),
        Column(say("believed after it (95 %)"), "figure"),
    )  # fmt: skip
    caption = say("Ladder of evidence at {frequency}", frequency=frequency(frequency_hz))
    return Table(caption, columns, _one("", [_rung(r) for r in rungs]))


def _rung(r: Rung) -> Row:
    alone = "" if r.alone is None else _written(r.alone)
    return Row((r.on, r.what, alone, _written(r.believed)))


def _written(ends: Interval) -> str:
    low, middle, high = ends
    return interval(middle, low, high)


def tests(points: Sequence[HistoryPoint]) -> Table:
    """Return each test in time order, with what it says alone."""
    columns = (
        Column(say("measured on")), Column(say("kind")), Column(say("evidence"), "wide"),
        Column(say("frequency"), "right"), Column(say("loss (95 %)"), "figure"),
    )  # fmt: skip
    return Table(say("Tests in time order, each alone"), columns, _one("", [_test(x) for x in points]))


def _test(x: HistoryPoint) -> Row:
    e = x.evidence
    believed = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return Row((e.measured_on, say(KINDS[e.kind]), e.what, frequency(x.frequency_hz), believed))


def notes(found: Sequence[Item]) -> Table:
    """Return the notes on a piece."""
    rows = [Row((str(n.body["at"])[:10], " ".join(str(n.body["text"]).split()))) for n in found]
    return Table(say("Notes as written"), (Column(say("on")), Column(say("note"), "wide")), _one("", rows))


def changes(made: Sequence[Change]) -> Table:
    """Return what was changed of a piece, newest first."""
    columns = (Column(say("when")), Column(say("who")), Column(say("what"), "wide"))
    return Table(say("Changes, newest first"), columns, _one("", [_change(c) for c in made]))


def _change(c: Change) -> Row:
    return Row((c.at[:16].replace("T", " "), c.who, together([_told(c), c.note])))


def _told(c: Change) -> str:
    """Say what a change did."""
    if c.before is None:
        return say("added")
    if c.after is None:
        return say("withdrawn")
    if c.before["archived"] != c.after["archived"]:
        return say("archived") if c.after["archived"] else say("restored")
    return _differences(c.before["body"], c.after["body"])


def _differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    keys = [k for k in {**before, **after} if before.get(k) != after.get(k)]
    return together([_difference(k, before.get(k), after.get(k)) for k in keys], "; ")


def _difference(key: str, before: Any, after: Any) -> str:
    field = say(FIELDS[key]) if key in FIELDS else key
    return say("{field}: {before} → {after}", field=field, before=_short(before, key), after=_short(after, key))


def _short(value: Any, key: str) -> str:
    """Return a value as it was typed; where a piece lives is a word of ours."""
    if key == "exposure" and value in EXPOSURES:
        return say(value)
    text = "–" if value is None else value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= CUT else f"{text[:CUT]}…"
