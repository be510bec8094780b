"""Questions that need no station: a decibel, a length of line, dimensions, a type of one's own, sheets, labels."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from linewright.catalogue import line_types
from linewright.catalogue.cautions import CALIBRATING, cautions
from linewright.core.errors import InputError
from linewright.core.machine import file_name
from linewright.core.messages import say
from linewright.core.nouns.shelf import MeterKnown
from linewright.core.quantities import frequency_hz, length_m
from linewright.files.blank_sheet import bands_listed, template_csv
from linewright.files.fields import swr, written_number
from linewright.files.sheet import read_reading_plan_text
from linewright.files.toml import toml_text
from linewright.present.blank_sheet import sheet_pages
from linewright.present.compose.line import impedance_document, loss_document
from linewright.present.compose.meaning import meant
from linewright.present.document import Cautions, Document, Points, Section, plain
from linewright.present.labels import LABEL_SHEETS, OWN_SIZE_MM, WantedLabels, label_pages, label_sheet
from linewright.present.localize import in_manner
from linewright.store.ledger import Ledger
from linewright.verbs.blank_sheet import blank_of
from linewright.verbs.label import label_pieces
from linewright.verbs.line_page import from_dimensions
from linewright.verbs.loss import line_loss
from linewright.verbs.meaning import written_meaning
from linewright.verbs.meters import calibrate_meter, show_meter
from linewright.verbs.shelf import add, all_kept, kept
from linewright.verbs.shelf_nouns import known_gear, own_lines_of
from linewright.verbs.shelf_open import today
from linewright.web.apart import typeset
from linewright.web.language import spoken, taste_of
from linewright.web.ledgers import by, ledger_of
from linewright.web.rendering import page

router = APIRouter(include_in_schema=False)
Given = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class QuestionField:
    """A field of a question: its name, its label, an example; a bare number takes ``unit``, ``known`` are offered.

    Where it ``begins``, a row does: what stands in it belongs together.
    """

    name: str
    label: str
    hint: str = ""
    unit: str = ""
    value: str = ""
    known: tuple[str, ...] = ()
    begins: bool = False


@dataclass(frozen=True, slots=True)
class AskPage:
    """A question with what was typed, its answer, or what is wrong with it, by field."""

    title: str
    about: str
    fields: tuple[QuestionField, ...]
    typed: Given
    button: str
    method: str
    answer: Any
    faults: tuple[tuple[str, str], ...]
    also: tuple[tuple[str, str], ...] = ()


def with_unit(text: str, unit: str) -> str:
    """Return a quantity; a bare number takes the field's unit.

    >>> with_unit("3", "dB"), with_unit("14,2", "MHz"), with_unit("7 m", "ft"), with_unit("100 W to 25 W", "dB")
    ('3 dB', '14,2 MHz', '7 m', '100 W to 25 W')
    """
    text = text.strip()
    return f"{text} {unit}" if unit and re.fullmatch(r"[+-]?\d+(?:[.,]\d+)?", text) else text


def _asked(request: Request, shown: AskPage, answer: Callable[[Given], Document] | None = None) -> tuple[AskPage, int]:
    """Return the page of a question with its answer, or with what is wrong, at its field."""
    typed = {f.name: request.query_params.get(f.name, f.value)[:400] for f in shown.fields}
    shown = _replaced(shown, typed=typed)
    if answer is None or not request.query_params:
        return shown, 200
    given = {f.name: with_unit(typed[f.name], f.unit) for f in shown.fields if typed[f.name].strip()}
    try:
        found = plain(in_manner(answer(given), spoken()))
    except InputError as cause:
        return _replaced(shown, faults=faults_of(cause, [f.name for f in shown.fields])), 422
    return _replaced(shown, answer=found), 200


def _replaced(shown: AskPage, **new: Any) -> AskPage:
    from dataclasses import replace

    return replace(shown, **new)


def faults_of(cause: InputError, names: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Return each problem with the field it stands at; "" for the whole form."""
    found: Sequence[Any] = getattr(cause, "problems", ()) or (cause,)
    told = []
    for one in found:
        argument = str(getattr(one, "argument", "")).lower().replace("-", "_").split()
        told.append((next((n for n in names if n in argument), ""), str(one)))
    return tuple(told)


def _ask(request: Request, shown: AskPage, answer: Callable[[Given], Document] | None = None) -> Response:
    told, status = _asked(request, shown, answer)
    return page(request, "ask.html", told, place="elsewhere", title=told.title, status=status)


# A decibel


@router.get("/decibel")
def decibel(request: Request) -> Response:
    """Show what a decibel means on the air."""
    fields = (
        QuestionField(
            "change", say("What"), say("3 dB, 100 W to 25 W, S9 to S7, 10 km to 20 km, 10 µV, or 100 W EIRP"), "dB"
        ),
        QuestionField("power", say("Power to compare with"), unit="W", value="100 W"),
        QuestionField("at", say("Frequency"), say("It says which level S9 has"), "MHz"),
        QuestionField("signal", say("A signal before it"), "S7, S9+20, -97 dBm"),
        QuestionField("distance", say("How far away, for an EIRP"), "10 km", "m"),
        QuestionField("gain", say("Gain of the antenna that receives it"), unit="dBi", value="0 dBi"),
    )
    shown = AskPage(
        say("A decibel"), say("What a change of power, a signal or an EIRP means on the air."), fields, {},
        say("Show it"), "get", None, (),
    )  # fmt: skip

    def answer(given: Given) -> Document:
        if "change" not in given:
            raise InputError("change", say("must be told"), cure=say('Write "3 dB" or "100 W to 25 W".'))
        return meant(written_meaning(given["change"], {k: v for k, v in given.items() if k != "change"}))

    return _ask(request, shown, answer)


# The loss of a length of line, what dimensions make of a line, and a type of one's own


@router.get("/lines/loss")
def loss(request: Request) -> Response:
    """Show what a length of line should lose."""
    with ledger_of(request).reads() as snapshot:
        own = own_lines_of(snapshot)
    known = tuple(sorted({*(kind.designator for kind in line_types()), *(kind.designator for kind in own)}))
    fields = (
        QuestionField("line", say("Type"), known=known),
        QuestionField("length", say("Length"), say("20, or 66 ft"), spoken().lengths),
        QuestionField("frequency", say("Frequencies"), say("14.2, 144.3 MHz"), "MHz", "14.2, 144.3, 432.1 MHz"),
    )
    shown = AskPage(
        say("Loss of a line"), say("What a length of line should lose by its type, with its interval."),
        fields, {}, say("Show it"), "get", None, (), (("/lines", say("All types")),),
    )  # fmt: skip

    def answer(given: Given) -> Document:
        missing = next((f for f in fields if f.name not in given), None)
        if missing is not None:
            raise InputError(missing.name, say("must be told"))
        hertz = _frequencies(given["frequency"])
        return loss_document(line_loss(given["line"], length_m(given["length"], "length"), hertz, own))

    return _ask(request, shown, answer)


def _frequencies(text: str) -> list[float]:
    """Return the frequencies of a list; the last unit holds for those without one."""
    parts = [part.strip() for part in re.split(r";|,\s+", text) if part.strip()]
    units = [found[0] for part in parts if (found := re.findall(r"[A-Za-z]+$", part))]
    return [frequency_hz(with_unit(part, units[-1] if units else "MHz"), "frequency") for part in parts]


@router.get("/lines/dimensions")
def dimensions(request: Request) -> Response:
    """Show what a line's dimensions make of it."""
    fields = (
        QuestionField("centre_diameter", say("Over the centre conductor, or one wire"), "0.9 mm", "mm"),
        QuestionField("strands", say("Strands of the centre"), "1, 7, 19"),
        QuestionField("centre", say("Centre conductor"), "copper, tinned copper, clad steel"),
        QuestionField("cladding", say("Cladding"), say("thickness of copper on steel or aluminium"), "mm"),
        QuestionField("dielectric_diameter", say("Over the dielectric"), "2.95 mm", "mm"),
        QuestionField("spacing", say("Or between the middles of two wires"), "150 mm", "mm"),
        QuestionField("dielectric", say("Dielectric"), "PE, foam PE, PTFE, air"),
        QuestionField("screen", say("Screen"), "braid, two braids, foil and braid, corrugated, tube"),
        QuestionField("velocity_factor", say("Velocity factor"), "0.66"),
        QuestionField("impedance", say("Impedance, if it is told"), "50 ohm", "ohm"),
    )
    shown = AskPage(
        say("A line by its dimensions"), say("Impedance, capacitance, delay, and what it should lose."), fields, {},
        say("Show it"), "get", None, (), (("/lines/new", say("Keep it as a type of your own")),),
    )  # fmt: skip
    return _ask(request, shown, lambda given: impedance_document(from_dimensions(given)))


LOADS = (("25 ohm", ""), ("100 ohm", ""), ("50 ohm", ""), ("", ""))
"""Known loads to begin with: two on either side of 50 ohms, and one that should show next to nothing."""


def _calibration_page(name: str, typed: Given, faults: tuple[tuple[str, str], ...] = ()) -> AskPage:
    fields = (
        QuestionField("at", say("Frequency"), "144.3 MHz", "MHz"),
        *(field for n, (load, swr) in enumerate(LOADS, 1) for field in (
            QuestionField(f"load{n}", say("Load {n}", n=n), say("25 ohm, or the tag of a kept load"), "ohm", load,
                          (), True),
            QuestionField(f"swr{n}", say("SWR it shows there"), "2.1", "", swr))),
    )  # fmt: skip
    typed = {f.name: typed.get(f.name, f.value) for f in fields}
    about = say(
        "Loads on either side of 50 ohms, right at the meter's port, show how much its bridge leaks and how its "
        "scale stretches a reflection. The commands through and one-end use the directivity found, when you name "
        "this meter."
    )
    title = say("{name} against known loads", name=name)
    return AskPage(title, about, fields, typed, say("Keep it"), "post", None, faults)


@router.get("/shelf/calibrate/{name:path}")
def calibration(request: Request, name: str) -> Response:
    """Show how a meter of the ledger reads known loads, with an empty form for more."""
    ledger = ledger_of(request)
    known = show_meter(ledger, kept(ledger, "meter", name).key)
    return _calibrated(request, known, _calibration_page(known.meter, {}))


@router.post("/shelf/calibrate/{name:path}")
async def calibrate(request: Request, name: str) -> Response:
    """Keep what a meter showed of known loads on a band."""
    form = {field: str(value)[:400] for field, value in (await request.form()).items()}
    return await run_in_threadpool(_calibrate, request, name, form)


def _calibrate(request: Request, name: str, form: Given) -> Response:
    ledger = ledger_of(request)
    key = kept(ledger, "meter", name).key
    shown = _calibration_page(key, form)
    try:
        read = [
            (with_unit(form.get(f"load{n}", ""), "ohm"), _swr(form[f"swr{n}"], f"swr{n}"))
            for n in range(1, len(LOADS) + 1)
            if form.get(f"swr{n}", "").strip()
        ]
        if not read:
            raise InputError("swr1", say("is missing: what the meter shows for the load"))
        known = calibrate_meter(ledger, key, frequency_hz(with_unit(form.get("at", ""), "MHz")), read, by=by(request))
    except InputError as cause:
        faults = faults_of(cause, [f.name for f in shown.fields])
        told = _calibration_page(key, form, faults)
        return page(request, "ask.html", told, place="elsewhere", title=told.title, status=422)
    return _calibrated(request, known, _calibration_page(key, {"at": form.get("at", "")}))


def _swr(text: str, name: str) -> float:
    return swr(written_number(text.strip(), name), name)


def _calibrated(request: Request, known: MeterKnown, shown: AskPage) -> Response:
    said = tuple(b.why for b in known.bridges)
    blocks = (*((Points(say("How it reads an SWR"), said),) if said else ()), Cautions(cautions(*CALIBRATING)))
    found = Document("meter", shown.title, sections=(Section("", blocks),))
    shown = _replaced(shown, answer=plain(in_manner(found, spoken())))
    return page(request, "ask.html", shown, place="elsewhere", title=shown.title)


POINTS = 6
"""Rows for points of a data sheet."""


def _type_page(typed: Given, faults: tuple[tuple[str, str], ...] = ()) -> AskPage:
    fields = (
        QuestionField("name", say("Name"), say("what you call it: club drum")),
        QuestionField("impedance", say("Impedance"), "50 ohm", "ohm", "50 ohm"),
        QuestionField("velocity_factor", say("Velocity factor"), "0.66, 0.80, 0.85"),
        *(field for n in range(1, POINTS + 1) for field in (
            QuestionField(f"at{n}", say("Frequency {n}", n=n), "144 MHz", "MHz", "", (), True),
            QuestionField(f"loss{n}", say("Loss of 100 m there"), "9.5 dB", "dB"))),
    )  # fmt: skip
    typed = {f.name: typed.get(f.name, f.value) for f in fields}
    about = say(
        "Enter a type of your own by the points of its data sheet. It is added to the catalogue in this ledger."
    )
    return AskPage(say("A line type of your own"), about, fields, typed, say("Keep it"), "post", None, faults)


@router.get("/lines/new")
def new_type(request: Request) -> Response:
    """Show an empty form of a line type."""
    return page(request, "ask.html", _type_page({}), place="elsewhere", title=say("A line type of your own"))


@router.post("/lines/new")
async def keep_type(request: Request) -> Response:
    """Keep a line type of one's own."""
    form = {name: str(value)[:400] for name, value in (await request.form()).items()}
    shown = _type_page(form)
    told = {f.name: with_unit(form.get(f.name, ""), f.unit) for f in shown.fields}
    points = [[told[f"at{n}"], f"{told[f'loss{n}']}/100m"] for n in range(1, POINTS + 1) if told[f"at{n}"]]
    body = {
        "name": told["name"],
        "impedance": told["impedance"],
        "velocity_factor": told["velocity_factor"].replace(",", "."),
    }
    try:
        if not points:
            raise InputError("at1", say("is missing: a type needs at least one point"))
        velocity = {"velocity_factor": _number(body["velocity_factor"])} if body["velocity_factor"] else {}
        item = add(ledger_of(request), "line", {**body, **velocity, "points": points}, by=by(request))
    except InputError as cause:
        faults = faults_of(cause, [f.name for f in shown.fields])
        return page(request, "ask.html", _type_page(form, faults), place="elsewhere", title=shown.title, status=422)
    return RedirectResponse(f"/lines?{urlencode({'type': item.key})}", 303)


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


# Blank sheets and labels: what to tick, and the file


@dataclass(frozen=True, slots=True)
class TickPage:
    """What may be ticked, and what else is chosen, before a file is made."""

    kind: str
    title: str
    about: str
    groups: tuple[tuple[str, str, tuple[str, ...]], ...]
    sheets: tuple[str, ...]
    paper: str
    typed: Given


def _names(ledger: Ledger, kind: Any) -> tuple[str, ...]:
    return tuple(item.key for item in all_kept(ledger, kind))


@router.get("/sheets")
def sheets(request: Request) -> Response:
    """Show what a blank reading sheet is made of."""
    ledger = ledger_of(request)
    groups = (("meter", say("Meters"), _names(ledger, "meter")), ("piece", say("Pieces"), _names(ledger, "piece")))
    about = say("A sheet to fill in with a pencil, in reading order; or the same as CSV for a spreadsheet.")
    shown = TickPage("sheet", say("A blank sheet"), about, groups, (), taste_of(request.cookies).sheet, {})
    return page(request, "ticked.html", shown, place="elsewhere", title=shown.title)


@router.get("/sheets/file")
def sheet(  # noqa: PLR0913 - a person's choices
    request: Request,
    meter: Annotated[list[str] | None, Query(max_length=50)] = None,
    piece: Annotated[list[str] | None, Query(max_length=200)] = None,
    bands: Annotated[str, Query(max_length=400)] = "",
    repeats: int = 1,
    every: bool = False,
    form: str = "pdf",
) -> Response:
    """Hand out a blank sheet of kept meters and pieces."""
    ledger = ledger_of(request)
    with ledger.reads() as snapshot:
        own, gear = own_lines_of(snapshot), known_gear(snapshot)
    ticked = {"meter": meter or [], "piece": piece or []}
    chosen = {kind: [body for key, body in gear[kind].items() if key in keys] for kind, keys in ticked.items()}
    for kind, bodies in chosen.items():
        if not bodies:
            raise InputError(kind, say("must be ticked once at least"), cure=say("Go back and tick one."))
    pieces = [{k: v for k, v in body.items() if k in SHEET_KEYS} for body in chosen["piece"]]
    hertz = [f"{f / 1e6:.7g} MHz" for f in bands_listed(_list(bands))]
    text = toml_text({"title": "Blank sheet", "frequencies": hertz, "meter": chosen["meter"], "piece": pieces})
    blank = blank_of(*read_reading_plan_text(text, {}, own), rounds=repeats, every_meter=every)
    if form == "csv":
        return _file(template_csv(blank.steps, spoken()).encode(), "blank sheet", "csv")
    return _file(sheet_pages(blank, paper=taste_of(request.cookies).sheet, manner=spoken()), "blank sheet", "pdf")


SHEET_KEYS = ("tag", "line", "length", "connectors", "stock")


def _list(text: str) -> str:
    """Return a list of frequencies of which each has its unit: the last one holds for those without."""
    return ", ".join(f"{f / 1e6:.7g} MHz" for f in _frequencies(text))


@router.get("/labels")
def labels(request: Request) -> Response:
    """Show which pieces want labels, and on which sheet."""
    groups = (("tag", say("Pieces"), _names(ledger_of(request), "piece")),)
    about = say("One label for each piece, to tie on or stick on: verdict, loss by band, last test and next test.")
    shown = TickPage("label", say("Labels"), about, groups, tuple(LABEL_SHEETS), "", {})
    return page(request, "ticked.html", shown, place="elsewhere", title=shown.title)


@router.get("/labels/file")
def label_file(  # noqa: PLR0913 - a person's choices
    request: Request,
    tag: Annotated[list[str] | None, Query(max_length=200)] = None,
    sheet: Annotated[str, Query(max_length=80)] = "",
    first: Annotated[int, Query(ge=1, le=1000)] = 1,
    qr: bool = False,
    wrap: bool = False,
    bands: Annotated[str, Query(max_length=400)] = "",
) -> Response:
    """Hand out labels of pieces, of all where none is ticked."""
    hertz = bands_listed(_list(bands)) if bands.strip() else ()
    made = label_pieces(ledger_of(request), tag or None, bands_hz=hertz, on=date.fromisoformat(today()))
    on_sheet = label_sheet(sheet) if sheet else None
    wanted = WantedLabels(on_sheet, OWN_SIZE_MM, first if on_sheet else 1, wrap, qr, None, spoken())
    return _file(typeset(request.app.state.settings.apart, label_pages, made.labels, wanted), "labels", "pdf")


def _file(content: bytes, name: str, ending: str) -> Response:
    kinds = {"pdf": "application/pdf", "csv": "text/csv; charset=utf-8"}
    named = quote(file_name(name, f".{ending}"), safe="")
    return Response(
        content, media_type=kinds[ending], headers={"content-disposition": f"attachment; filename*=UTF-8''{named}"}
    )
