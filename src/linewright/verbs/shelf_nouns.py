"""From what is kept, as people write it, to nouns: through the same strict readers that files go through."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from linewright.core.errors import InputError
from linewright.core.messages import say
from linewright.core.nouns.ledger import Body, Item, KeptReading, Kind
from linewright.files import fields
from linewright.files.sheet import NEEDED, OPTIONAL
from linewright.files.tables import decoded, no_formula
from linewright.files.toml import toml_text
from linewright.store import items
from linewright.store import items as blobs
from linewright.store import items as readings
from linewright.store.ledger import Snapshot

if TYPE_CHECKING:
    from linewright.core.nouns.bench import BenchSheet, Piece
    from linewright.core.nouns.line import LineType

PIECE_KEYS = ("tag", "line", "length", "connectors", "stock")
"""What a bench sheet says of a piece; the shelf says a little more."""
EXPOSURES = ("indoors", "outdoors", "buried", "portable")
HEADINGS = (*NEEDED, *OPTIONAL)
READINGS = "readings.csv"


def own_lines_of(snapshot: Snapshot) -> tuple[LineType, ...]:
    """Return the person's own line types that are kept."""
    bodies = [i.body for i in items.every(snapshot, "line", archived=False)]
    return lines_of(bodies) if bodies else ()


def known_gear(snapshot: Snapshot) -> dict[str, dict[str, Mapping[str, Any]]]:
    """Return the pieces, meters and attenuators that are kept, as tables of a bench sheet: by kind, then by name."""
    kinds: tuple[Kind, ...] = ("piece", "meter", "attenuator")
    found: dict[str, dict[str, Mapping[str, Any]]] = {}
    for kind in kinds:
        bodies = {i.key: i.body for i in items.every(snapshot, kind, archived=False)}
        found[kind] = {
            key: {k: v for k, v in body.items() if (k in PIECE_KEYS if kind == "piece" else k not in ("note", LOADS))}
            for key, body in bodies.items()
        }
    return found


def lines_of(bodies: Sequence[Body]) -> tuple[LineType, ...]:
    """Return line types from their bodies."""
    from linewright.files.own_lines import read_lines_text

    try:
        return read_lines_text(toml_text({"line": list(bodies)}), "lines.toml")
    except InputError as error:
        raise plain(error) from error


def line_body(line: LineType) -> dict[str, Any]:
    """Return a type as a person would write it: its own points, and how it is made."""
    from linewright.catalogue.own import make_in

    body: dict[str, Any] = {
        "name": line.designator,
        "impedance": f"{line.impedance_ohm!r} ohm",
        "velocity_factor": line.velocity_factor,
    }
    if line.points:
        body["points"] = [[f"{p.frequency_hz!r} Hz", f"{100 * p.attenuation_db_per_m!r} dB/100m"] for p in line.points]
    make = make_in(line)
    if make is None:
        return body | ({"steel_centre": True} if line.steel_centre else {})
    small = {
        "centre_diameter": make.centre_diameter_m, "cladding": make.cladding_m,
        "dielectric_diameter": make.dielectric_diameter_m, "spacing": make.spacing_m,
    }  # fmt: skip
    words = {"centre": make.centre, "strands": make.strands, "dielectric": make.dielectric, "screen": make.screen}
    return body | words | {key: f"{1e3 * size:.9g} mm" for key, size in small.items() if size is not None}


def pieces_of(bodies: Sequence[Body], own: Sequence[LineType] = ()) -> tuple[Piece, ...]:
    """Return pieces from their bodies."""
    known = [{k: b[k] for k in PIECE_KEYS if k in b} for b in bodies]
    return _read(toml_text({"meter": [{"name": "any"}], "piece": known}), {}, own).pieces if known else ()


def checked_piece(body: Body, own: Sequence[LineType]) -> tuple[str, Body]:
    """Return a piece's tag and its body once it obeys the rules: its type as the catalogue writes it."""
    more = {k: v for k, v in body.items() if k not in PIECE_KEYS}
    if "origin" in more:
        _origin(more.pop("origin"))
    for key, value in more.items():
        if key not in ("exposure", "since", "note", "formerly"):
            cure = fields.nearest(key, [*PIECE_KEYS, "exposure", "since", "note"])
            raise InputError(key, say("means nothing here"), cure=cure)
        for said in value if key == "formerly" and isinstance(value, list) else [value]:
            fields.text(said, key)
    if "exposure" in more:
        fields.one_of(more["exposure"], "exposure", EXPOSURES)
    if "since" in more:
        day(more["since"], "since")
    (piece,) = pieces_of([body], own)
    line = {"line": piece.line.designator} if piece.line else {}
    return piece.tag, dict(body) | {"tag": piece.tag} | line


def _origin(value: Any) -> None:
    """Refuse what is not said of a piece's origin: how it came to be, of which pieces, and on which day."""
    if (
        not isinstance(value, Mapping)
        or value.keys() != {"how", "pieces", "on"}
        or not isinstance(value["pieces"], list)
    ):
        raise InputError("origin", say("must say how, pieces and on; got {value}", value=repr(value)))
    for said in (value["how"], *value["pieces"]):
        fields.text(said, "origin")
    day(value["on"], "origin")


def checked_meter(body: Body, _own: Sequence[LineType]) -> tuple[str, Body]:
    """Return a meter's name and its body once it obeys the rules."""
    (meter,) = _read(toml_text({"meter": [{k: v for k, v in body.items() if k != LOADS}]}), {}, ()).meters
    rows = body.get(LOADS, [])
    if not isinstance(rows, list) or not all(isinstance(row, list) and len(row) == len(LOAD_ROW) for row in rows):
        raise InputError(
            LOADS, say("must be rows of {load_row}; got {value}", load_row=", ".join(LOAD_ROW), value=repr(rows))
        )
    for on, at, load, swr in rows:
        day(on, LOADS)
        fields.frequency(at, LOADS)
        load_ohm(load)
        fields.swr(swr, LOADS)
    return meter.name, dict(body) | {"name": meter.name}


LOADS = "swr_of_loads"
"""The field of a meter that holds what it showed of known loads."""
LOAD_ROW = ("day", "frequency", "load", "SWR")


def load_ohm(text: Any) -> complex:
    """Return the impedance of a written load, ohms."""
    from linewright.files import station_fields

    return station_fields.impedance(text, "load")


def checked_line(body: Body, _own: Sequence[LineType]) -> tuple[str, Body]:
    """Return a line type's name and its body once it obeys the rules."""
    (line,) = lines_of([body])
    return line.designator, dict(body) | {"name": line.designator}


def checked_attenuator(body: Body, _own: Sequence[LineType]) -> tuple[str, Body]:
    """Return an attenuator's tag and its body once it obeys the rules."""
    known = {k: v for k, v in body.items() if k != "note"}
    (pad,) = _read(toml_text({"meter": [{"name": "any"}], "attenuator": [known]}), {}, ()).attenuators
    return pad.tag, dict(body) | {"tag": pad.tag}


def checked_load(body: Body, _own: Sequence[LineType]) -> tuple[str, Body]:
    """Return a load's tag and its body once it obeys the rules: an impedance, or an SWR at 50 ohms."""
    from linewright.files import station_fields

    for key in body:
        if key not in ("tag", "impedance", "swr", "note"):
            raise InputError(key, say("means nothing here; known are tag, impedance, swr, note"))
    if ("impedance" in body) == ("swr" in body):
        raise InputError("load", say("must state its impedance or its SWR"), cure=say('Write impedance = "25 ohm".'))
    if "impedance" in body:
        station_fields.impedance(body["impedance"], "impedance")
    else:
        fields.swr(body["swr"], "swr")
    tag = fields.tag(body.get("tag"), "tag")
    return tag, dict(body) | {"tag": tag}


def checked_radio(body: Body, _own: Sequence[LineType]) -> tuple[str, Body]:
    """Return a radio's name and its body once it obeys the rules."""
    name = fields.text(body.get("name"), "name")
    power = {} if "power" in body else {"power": "1 W"}
    _usable({"radio": [dict(body)]}, {"radio": name, "antenna": {"swr": 1}} | power)
    return name, dict(body) | {"name": name}


def checked_antenna(body: Body, _own: Sequence[LineType]) -> tuple[str, Body]:
    """Return an antenna's name and its body once it obeys the rules."""
    name = fields.text(body.get("name"), "name")
    if "touchstone" in body:
        raise InputError(
            "touchstone", say("is kept with a station whose run names the antenna"), cure=say("Import the station.")
        )
    _usable({"antenna": [dict(body)]}, {"power": "1 W", "antenna": name})
    return name, dict(body) | {"name": name}


def _usable(gear: Body, run: Body) -> None:
    """Read a run made of some gear, so that the gear is held to the rules of a station file."""
    from linewright.files.station import read_station_text

    body = next(iter(gear.values()))[0]
    points = [body[k] for k in ("swr", "impedance") if isinstance(body.get(k), list)]
    at = [p[0] for p in points[0] if isinstance(p, list) and p] if points else ["14.2 MHz"]
    chain = [{"line": "RG-213/U", "length": "1 m"}]
    try:
        read_station_text(toml_text({**gear, "run": [{"name": "any", "frequencies": at, "chain": chain, **run}]}), {})
    except InputError as error:
        raise plain(error) from error


def checked_stock(body: Body, own: Sequence[LineType]) -> tuple[str, Body]:
    """Return a stock's name and its body once it obeys the rules."""
    for key, value in body.items():
        if key not in ("name", "line", "since", "note"):
            raise InputError(key, say("means nothing here; known are name, line, since, note"))
        fields.text(value, key)
    if "since" in body:
        day(body["since"], "since")
    if "line" in body:
        pieces_of([{"tag": "any", "length": "1 m", "line": body["line"]}], own)
    name = fields.text(body.get("name"), "name")
    return name, dict(body) | {"name": name}


def day(value: Any, name: str) -> str:
    """Return a day, "2026-04-02"."""
    from datetime import date

    try:
        return date.fromisoformat(value).isoformat()
    except (TypeError, ValueError) as cause:
        raise InputError(
            name, say("must be a day; got {value}", value=repr(value)), cure=say('Write it as "2026-04-02".')
        ) from cause


def sheet_texts(snapshot: Snapshot, item: Item, kept: Sequence[KeptReading]) -> tuple[str, dict[str, str]]:
    """Return a session as the texts of a bench sheet and the files it names."""
    tables = dict(item.body["sheet"])
    named = {tables.get("lines"), (tables.get("one_end") or {}).get("file")} if has_file(tables) else set()
    files = {
        f["name"]: decoded(blobs.content(snapshot, f["sha256"]), "file", f["name"])
        for f in item.body.get("files", ())
        if f["name"] in named
    }
    if kept:
        tables["readings"] = {"file": READINGS}
        files[READINGS] = csv_text(HEADINGS, [r.cells or {} for r in kept])
    return toml_text(tables), files


def has_file(tables: Mapping[str, Any]) -> bool:
    """Return whether a sheet names a file beside that of its readings."""
    return "lines" in tables or isinstance(tables.get("one_end"), Mapping)


def csv_text(headings: Sequence[str], rows: Sequence[Mapping[str, str]]) -> str:
    """Return rows as CSV, every cell in quotes, none of them a formula to a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows([no_formula(row.get(h, "")) for h in headings] for row in rows)
    return out.getvalue()


def cells_of(cells: Mapping[str, Any]) -> dict[str, str]:
    """Return the fields of a reading as typed: text, spaces squeezed, empty ones left out."""
    for key in cells:
        if key not in HEADINGS:
            raise InputError(key, say("means nothing here; known are {headings}", headings=", ".join(HEADINGS)))
    found = {k: " ".join(str(v).split()) for k, v in cells.items() if v is not None}
    return {k: v for k, v in found.items() if v}


def noun_of_sheet(text: str, files: Mapping[str, str], own: Sequence[LineType], numbers: Sequence[int]) -> BenchSheet:
    """Return the sheet of some texts; the row of a reading is its number in the session."""
    found = _read(text, files, own)
    return replace(found, readings=tuple(replace(r, row=n) for r, n in zip(found.readings, numbers, strict=True)))


def read_session(snapshot: Snapshot, item: Item) -> BenchSheet:
    """Return a session as a sheet."""
    kept = readings.of_sheet(snapshot, item.key)
    return noun_of_sheet(*sheet_texts(snapshot, item, kept), own_lines_of(snapshot), [r.number for r in kept])


def _read(text: str, files: Mapping[str, str], own: Sequence[LineType]) -> BenchSheet:
    from linewright.files.sheet import read_bench_sheet_text

    try:
        return read_bench_sheet_text(text, files, own)
    except InputError as error:
        raise plain(error) from error


def plain(error: InputError) -> InputError:
    """Return an error about a written thing without the place it had in a text that nobody wrote."""
    argument = re.sub(r"^(piece|meter|line|attenuator|radio|antenna) \d+:? ", "", error.argument)
    known = getattr(error, "problems", ())
    if known:
        return type(error)(argument, error.rule, cure=error.cure, problems=[plain(p) for p in known])  # type: ignore[call-arg]
    return type(error)(argument, error.rule, cure=error.cure)
