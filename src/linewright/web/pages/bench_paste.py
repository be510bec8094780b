"""A table of readings from a notebook or a spreadsheet, pasted or dropped: its columns matched, then kept whole."""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from linewright.core.errors import InputError
from linewright.core.formatting import frequency
from linewright.core.messages import say, say_many
from linewright.core.nouns.ledger import Item
from linewright.files.toml import toml_text
from linewright.store.ledger import Ledger
from linewright.verbs.shelf import add_reading, all_kept, file_sheet_files, imagined, kept, readings_of, sheet_of_rows
from linewright.verbs.shelf_nouns import HEADINGS, READINGS, csv_text
from linewright.verbs.shelf_open import today
from linewright.web.bench_rows import REFERENCE
from linewright.web.field_units import STEP_UNIT, frequency_written, with_unit
from linewright.web.ledgers import by, ledger_of
from linewright.web.pages.bench import SHEET
from linewright.web.pages.bench_start import StartForm, day_in, scale_words
from linewright.web.pages.shelf_gear import designators
from linewright.web.rendering import page, wants_part

router = APIRouter(include_in_schema=False)
MOST_ROWS, MOST_COLUMNS, SHOWN_ROWS = 2000, 60, 6
MOST_FAULTS, MOST_ALONE = 20, 300
SEPARATORS = ("\t", ";", ",")
KNOWN = {
    "meter": ("meter", "instrument", "messgerät", "gerät", "messer"),
    "frequency": ("frequency", "freq", "band", "mhz", "qrg", "frequenz"),
    "path": ("path", "through", "piece", "cable", "line", "insertion", "put in", "kabel", "stück", "leitung", "durch"),
    "reading": ("reading", "value", "power", "watt", "scale", "shows", "anzeige", "wert", "leistung", "ablesung"),
    "note": ("note", "remark", "comment", "bemerkung", "notiz"),
}
"""What a column is, by words in its heading, in the languages of the app."""
STRAIGHT = ("reference", "ref", "ref.", "jumper", "reference jumper", "referenz", "brücke", "0")
"""What people write where the reference is in line."""
LEAST_HZ = 1.8e6
"""A bare number below it in a heading counts something; it is no frequency."""
AT = "at"
"""A column of readings at the frequency in its heading."""
NUMBER_AT_END = re.compile(r"(.*?)[\s,/@]*((?:\d+(?:[.,]\d+)?)\s*(?:[kMG]?Hz|c?m)?)\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Head:
    """A column of the table: its heading, and what it is taken for."""

    number: int
    text: str
    role: str


@dataclass(frozen=True, slots=True)
class NewName:
    """A meter or a piece that the ledger does not know, and what was answered of it."""

    number: int
    name: str
    told: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class PastePage:
    """The table as it was pasted, what its columns are, what it lacks; ``count`` is how many readings it has."""

    session: str
    table: str
    heads: tuple[Head, ...]
    rows: tuple[tuple[str, ...], ...]
    more: int
    count: int
    words: str
    roles: tuple[tuple[str, str], ...]
    meters: tuple[NewName, ...]
    pieces: tuple[NewName, ...]
    known_meters: tuple[str, ...]
    lines: tuple[str, ...]
    scales: tuple[tuple[str, str, str], ...]
    typed: Mapping[str, str]
    needs_meter: bool
    today: str
    wrong: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[str, ...] = ()


@dataclass(slots=True)
class PastedTable:
    """A pasted table: its headings, its rows, and what is wrong with it, by row as a person counts.

    ``cells`` are its readings, ``of_row`` the row of each.
    """

    heads: tuple[Head, ...] = ()
    rows: list[list[str]] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    cells: list[dict[str, str]] = field(default_factory=list)
    of_row: list[int] = field(default_factory=list)


@router.get("/bench/paste")
def paste(request: Request, session: str = "") -> Response:
    """Show the empty page; with a session, what is pasted is added to it."""
    return _shown(request, StartForm(FormData({"session": session})), PastedTable())


@router.post("/bench/paste")
async def pasted(request: Request) -> Response:
    """Match the columns of a table, or keep its readings."""
    async with request.form() as form:
        return await run_in_threadpool(_pasted, request, form)


def _pasted(request: Request, form: FormData) -> Response:
    ledger, told = ledger_of(request), StartForm(form)
    found = table_of(str(form.get("table", "")), told)
    known = _known(ledger, told)
    _readings(found, known, told)
    if form.get("do") == "keep" and not found.faults:
        try:
            key = _kept(request, ledger, found, told)
        except InputError as cause:
            found.faults += [_at_row(p, found) for p in getattr(cause, "problems", ()) or (cause,)]
        else:
            if key:
                request.app.state.live.nudge()
                return RedirectResponse(SHEET + quote(key), 303)
    wrong = form.get("do") == "keep" and (found.faults or told.wrong)
    return _shown(request, told, found, 422 if wrong else 200)


def _shown(request: Request, told: StartForm, found: PastedTable, status: int = 200) -> Response:
    ledger = ledger_of(request)
    template = "bench_paste_part.html" if wants_part(request) else "bench_paste.html"
    known, session = _known(ledger, told), told.text("session")
    meters, pieces = _unknown(found, known) if not session else ([], [])
    shown = PastePage(
        session,
        str(told.form.get("table", "")),
        found.heads,
        tuple(tuple(row) for row in found.rows[:SHOWN_ROWS]),
        max(len(found.rows) - SHOWN_ROWS, 0),
        len(found.cells),
        say_many("{count} reading", "{count} readings", len(found.cells)),
        _roles(),
        tuple(NewName(i, name, _answers(told, "meter", i)) for i, name in enumerate(meters)),
        tuple(NewName(i, name, _answers(told, "piece", i)) for i, name in enumerate(pieces)),
        tuple(known["meter"].values()),
        designators(),
        scale_words(),
        {k: str(v) for k, v in told.form.multi_items() if isinstance(v, str)},
        bool(found.heads) and not _has_meter(found),
        today(),
        dict(told.wrong) if told.text("do") == "keep" else {},
        tuple(found.faults[:MOST_FAULTS]),
    )
    return page(request, template, shown, place="bench", title=say("Paste a table"), status=status)


def _roles() -> tuple[tuple[str, str], ...]:
    return (
        ("meter", say("the meter")), ("frequency", say("the band or frequency")), ("path", say("what is in line")),
        ("reading", say("the reading")), (AT, say("readings at the frequency in its heading")), ("note", say("a note")),
        ("", say("nothing of these")),
    )  # fmt: skip


# From text to a table, from a table to readings


def table_of(text: str, told: StartForm | None = None) -> PastedTable:
    r"""Return a pasted text as a table; the roles of its columns are as chosen, or else as the headings say.

    >>> found = table_of("Kabel;14,2 MHz;144,3 MHz\nRef;9,3;8,9\nblue 7;8,2;6,1\n")
    >>> [head.role for head in found.heads], found.rows[1]
    (['path', 'at', 'at'], ['blue 7', '8,2', '6,1'])
    """
    found = PastedTable()
    lines = [line for line in text.replace("\r", "\n").split("\n") if line.strip()]
    if not lines:
        return found
    if len(lines) > MOST_ROWS:
        found.faults.append(say("The table has more than {most} rows. Paste it in parts.", most=str(MOST_ROWS)))
        return found
    separator = max(SEPARATORS, key=lines[0].count)
    try:
        rows = [[c.strip() for c in row] for row in csv.reader(io.StringIO("\n".join(lines)), delimiter=separator)]
    except csv.Error:
        found.faults.append(say("A quote is opened and not closed."))
        return found
    wide = min(max(map(len, rows)), MOST_COLUMNS)
    rows = [(row + [""] * wide)[:wide] for row in rows]
    guessed = _guessed(rows[0])
    chosen = [told.form.get(f"column{i}") if told else None for i in range(wide)]
    kept_roles = told is not None and told.form.get("heads") == "\t".join(rows[0])
    roles = [str(c) if kept_roles and c is not None else g for c, g in zip(chosen, guessed, strict=True)]
    found.heads = tuple(Head(i, text, role) for i, (text, role) in enumerate(zip(rows[0], roles, strict=True)))
    found.rows = rows[1:]
    return found


def _guessed(heads: Sequence[str]) -> list[str]:
    """Return what each column is, by its heading; each thing once but for readings at a frequency."""
    found: list[str] = []
    for text in heads:
        low = text.lower()
        role = next((r for r, words in KNOWN.items() if any(w in low for w in words) and r not in found), "")
        found.append(AT if _heading(text) is not None else role)
    return found


def _heading(text: str) -> tuple[str, str] | None:
    """Return the meter and the frequency that a heading names: "desk meter 14.2" is both; None if it has none.

    >>> _heading("desk meter 14.2 MHz"), _heading("2 m"), _heading("power")
    (('desk meter', '14.2 MHz'), ('', '144.3 MHz'), None)
    >>> _heading("meter 1"), _heading("14,2")
    (None, ('', '14.2 MHz'))
    """
    found = NUMBER_AT_END.fullmatch(text)
    if found is None:
        return None
    try:
        hertz = frequency_written(found[2])
    except InputError:
        return None
    counts = hertz < LEAST_HZ and not found[2][-1:].isalpha()  # "meter 1" has no frequency
    return None if counts else (found[1].strip(" ,/@"), str(frequency(hertz)))


def _has_meter(found: PastedTable) -> bool:
    at = [h for h in found.heads if h.role == AT]
    named = any(h.role == "meter" for h in found.heads)
    return named or (bool(at) and all((_heading(h.text) or ("", ""))[0] for h in at))


def _readings(found: PastedTable, known: Mapping[str, Mapping[str, str]], told: StartForm) -> None:
    """Read the rows of a table as its columns say; what cannot be is gathered with its row."""
    roles = {h.role: h.number for h in found.heads if h.role != AT}
    wide = [h for h in found.heads if h.role == AT]
    if not found.heads:
        return
    for role, words in (
        ("path", say("Say which column tells what is in line.")),
        ("reading", say("Say which column has the readings.")),
        ("frequency", say("Say which column has the band or the frequency.")),
    ):
        if role not in roles and not (wide and role != "path"):
            found.faults.append(words)
    if found.faults:
        return
    usual = told.text("the_meter")
    if not usual and not _has_meter(found):
        told.refuse("the_meter", say("Say which meter it was."))
    for number, row in enumerate(found.rows, start=2):
        try:
            for cells in _of_row(row, roles, wide, usual):
                cells["meter"] = known["meter"].get(cells["meter"].lower(), cells["meter"])
                cells["path"] = _path(cells["path"], known["piece"])
                found.cells.append(cells)
                found.of_row.append(number)
        except InputError as cause:
            found.faults.append(say("Row {row}: {fault}", row=str(number), fault=str(cause)))


def _of_row(row: Sequence[str], roles: Mapping[str, int], wide: Sequence[Head], usual: str) -> Iterator[dict[str, str]]:
    """Yield the readings of one row."""
    told = {role: " ".join(row[at].split()) for role, at in roles.items() if role}
    places = [(_heading(h.text) or ("", ""), row[h.number]) for h in wide]
    if not wide:
        places = [(("", told.get("frequency", "")), told.get("reading", ""))]
    for (meter, at), reading in places:
        if not reading.strip():
            continue
        hertz = frequency_written(at or told.get("frequency", ""))
        cells = {
            "meter": meter or told.get("meter", "") or usual, "frequency": str(frequency(hertz)),
            "path": told.get("path", ""), "reading": " ".join(reading.split()), "note": told.get("note", ""),
        }  # fmt: skip
        if cells["reading"].startswith("<"):
            cells |= {"reading": "0", "low": "0", "high": cells["reading"][1:].strip()}
        yield {k: v for k, v in cells.items() if v or k in ("meter", "path")}


def _path(text: str, tags: Mapping[str, str]) -> str:
    """Return what is in line as a path: tags by the case of the ledger, joined ones with a plus sign."""
    if text.lower() in (*STRAIGHT, ""):
        return str(REFERENCE)
    parts = [" ".join(p.split()) for p in re.split(r"[+&]", text)]
    return "+".join(tags.get(p.lower(), p) for p in parts)


# What the ledger knows of the names in a table, and what has to be asked


def _known(ledger: Ledger, told: StartForm) -> dict[str, dict[str, str]]:
    """Return the names of meters and of what can be in line, by their small letters."""
    session = told.text("session")
    if session:
        tables = kept(ledger, "sheet", session).body["sheet"]
        meters = [str(m["name"]) for m in tables.get("meter", ())]
        tags = [str(p["tag"]) for kind in ("piece", "attenuator") for p in tables.get(kind, ())]
    else:
        meters = [i.key for i in all_kept(ledger, "meter")]
        tags = [i.key for kind in ("piece", "attenuator") for i in all_kept(ledger, kind)]
    return {"meter": {m.lower(): m for m in meters}, "piece": {t.lower(): t for t in tags}}


def _unknown(found: PastedTable, known: Mapping[str, Mapping[str, str]]) -> tuple[list[str], list[str]]:
    meters = dict.fromkeys(c["meter"] for c in found.cells if c["meter"])
    tags = dict.fromkeys(t for c in found.cells if c["path"] != REFERENCE for t in c["path"].split("+"))
    return (
        [m for m in meters if m.lower() not in known["meter"]],
        [t for t in tags if t.lower() not in known["piece"]],
    )


def _answers(told: StartForm, kind: str, number: int) -> dict[str, str]:
    return {k: told.text(f"new{kind}{number}_{k}") for k in ("scale", "division", "length", "line")}


def _kept(request: Request, ledger: Ledger, found: PastedTable, told: StartForm) -> str:
    """Keep all readings of a table or none; return the session, "" where something has to be answered first."""
    if not found.cells:
        raise InputError("table", say("holds no reading"), cure=say("Paste it with its headings."))
    session = told.text("session")
    if session:
        return _added(request, ledger, session, found)
    tables = _tables(ledger, found, told)
    day = day_in(told)
    if told.wrong:
        return ""
    text = toml_text({**tables, "readings": {"file": READINGS}})
    files = {"pasted.toml": text.encode(), READINGS: csv_text(HEADINGS, found.cells).encode()}
    return file_sheet_files(ledger, files, on=day, by=by(request)).item.key


def _added(request: Request, ledger: Ledger, session: str, found: PastedTable) -> str:
    item, rows = kept(ledger, "sheet", session), readings_of(ledger, session)
    try:
        sheet_of_rows(ledger, item, imagined(rows, [(0, cells) for cells in found.cells]))
    except InputError as cause:
        found.faults += [fault for n in range(len(found.cells)) if (fault := _fault(ledger, item, found, n))]
        if found.faults:
            return ""
        raise cause
    for n, cells in enumerate(found.cells):
        mark = hashlib.sha256(repr(sorted(cells.items())).encode()).hexdigest()[:12]
        alike = sum(c == cells for c in found.cells[:n])
        add_reading(ledger, session, cells, token=f"pasted:{mark}:{alike}", by=by(request))
    return session


def _fault(ledger: Ledger, item: Item, found: PastedTable, n: int) -> str:
    """Return what is wrong with one reading by itself, "" if nothing is; only the first are looked at."""
    if len(found.faults) >= MOST_FAULTS or n >= MOST_ALONE:
        return ""
    try:
        sheet_of_rows(ledger, item, imagined((), [(0, found.cells[n])]))
    except InputError as cause:
        return say("Row {row}: {fault}", row=str(found.of_row[n]), fault=str(cause))
    return ""


def _tables(ledger: Ledger, found: PastedTable, told: StartForm) -> dict[str, Any]:
    """Return the tables of the bench sheet that a pasted table makes; what is missing is said at its field."""
    known = _known(ledger, told)
    new_meters, new_tags = _unknown(found, known)
    meters = {c["meter"] for c in found.cells}
    tags = {t for c in found.cells if c["path"] != REFERENCE for t in c["path"].split("+")}
    kinds = {kind: [i for i in all_kept(ledger, kind) if i.key in tags] for kind in ("piece", "attenuator")}
    tables: dict[str, Any] = {
        "title": told.text("title") or str(say("From a notebook")),
        "meter": [dict(i.body) for i in all_kept(ledger, "meter") if i.key in meters],
        "piece": [_piece(i) for i in kinds["piece"]],
        "attenuator": [{k: v for k, v in i.body.items() if k != "note"} for i in kinds["attenuator"]],
    }
    for n, name in enumerate(new_meters):
        answers = _answers(told, "meter", n)
        scale = answers["scale"] or "watts"
        division = with_unit(answers["division"], STEP_UNIT.get(scale, ""))
        tables["meter"].append({"name": name, "scale": scale} | ({"division": division} if division else {}))
    for n, tag in enumerate(new_tags):
        answers = _answers(told, "piece", n)
        if not answers["length"]:
            told.refuse(f"newpiece{n}_length", say("Write how long it is."))
        body = {"tag": tag, "line": answers["line"], "length": with_unit(answers["length"], "m")}
        tables["piece"].append({k: v for k, v in body.items() if v})
    return {k: v for k, v in tables.items() if v}


def _piece(item: Item) -> dict[str, Any]:
    return {k: item.body[k] for k in ("tag", "line", "length", "connectors", "stock") if k in item.body}


def _at_row(problem: InputError, found: PastedTable) -> str:
    """Return what is wrong with the row a person counts, not that of the file made of it."""
    where = getattr(problem, "where", None)
    row = where.row if where is not None else None
    if row is None or not 2 <= row < len(found.of_row) + 2:
        return str(problem)
    plain = InputError(problem.argument, problem.rule, cure=problem.cure)
    return say("Row {row}: {fault}", row=str(found.of_row[row - 2]), fault=str(plain))
