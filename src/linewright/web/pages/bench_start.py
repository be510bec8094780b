"""Beginning a bench session: which meters, which pieces, which bands; nothing is kept until all of it is right."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import combinations
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from linewright.core.errors import InputError
from linewright.core.formatting import as_typed, frequency, metres
from linewright.core.messages import say
from linewright.core.nouns.ledger import Body, Item, Kind
from linewright.core.nouns.shelf import SessionPlan
from linewright.core.quantities import frequency_hz
from linewright.files import fields
from linewright.store.ledger import Ledger
from linewright.verbs.shelf import all_kept, notes_of, own_lines, sheet_of_rows, start_session
from linewright.verbs.shelf_nouns import checked_attenuator, checked_meter, checked_piece
from linewright.verbs.shelf_open import today
from linewright.web.bench_rows import (
    ORDERS,
    SheetPlan,
    bands_of,
    insertions_of,
    listed,
    plan_in,
    plug_changes,
)
from linewright.web.field_units import STEP_UNIT, USUAL_HZ, band_of, frequencies_written, range_with_unit, with_unit
from linewright.web.ledgers import by, ledger_of
from linewright.web.pages.shelf_gear import card_of, designators
from linewright.web.rendering import page, wants_part

router = APIRouter(include_in_schema=False)
SHEET = "/bench/at/"
MOST_NEW = 6
"""Rows for new pieces on the form; half as many for new meters."""
FIRST_BANDS = ("20 m", "6 m", "2 m")
"""Bands that are ticked while nobody has chosen any."""
SHOWN_BANDS = ("80 m", "40 m", "20 m", "15 m", "10 m", "6 m", "2 m", "70 cm", "23 cm")
REACHES = ("1.8-60 MHz", "1.6-30 MHz", "50-54 MHz", "140-450 MHz")
"""Rated bands that are offered; any other is typed."""


@dataclass(frozen=True, slots=True)
class GearChoice:
    """Something to take to the bench: what it is called, what it is, whether it is taken."""

    key: str
    about: str
    taken: bool


@dataclass(frozen=True, slots=True)
class Counted:
    """What the chosen order costs: readings, insertions, plug changes, and those of the order band by band."""

    readings: int = 0
    insertions: int = 0
    changes: int = 0
    by_band: int = 0
    first: str = ""


@dataclass(frozen=True, slots=True)
class StartPage:
    """The form a session begins with; ``typed`` is what stands in it, ``wrong`` what is wrong, each by its field."""

    meters: tuple[GearChoice, ...]
    pieces: tuple[GearChoice, ...]
    pads: tuple[GearChoice, ...]
    bands: tuple[GearChoice, ...]
    lines: tuple[str, ...]
    typed: Mapping[str, str]
    counted: Counted
    orders: tuple[tuple[str, str], ...]
    scales: tuple[tuple[str, str, str], ...]
    today: str
    wrong: Mapping[str, str] = field(default_factory=dict)
    new_meters: tuple[int, ...] = tuple(range(MOST_NEW // 2))
    new_pieces: tuple[int, ...] = tuple(range(MOST_NEW))
    reaches: tuple[str, ...] = REACHES


@dataclass(slots=True)
class StartForm:
    """What a form tells, read field by field; ``wrong`` gathers what cannot be, by field."""

    form: FormData
    wrong: dict[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """Return what stands in a field, "" if nothing does."""
        return " ".join(str(self.form.get(name, "")).split())

    def all(self, name: str) -> tuple[str, ...]:
        """Return what is ticked under a name, each once."""
        return tuple(dict.fromkeys(str(v) for v in self.form.getlist(name)))

    def refuse(self, name: str, cause: InputError | str) -> None:
        """Say what is wrong with a field, unless something is said of it already."""
        self.wrong.setdefault(name, cause if isinstance(cause, str) else str(cause))


@router.get("/bench/new")
def new(
    request: Request,
    piece: Annotated[list[str], Query()] = [],  # noqa: B006
    meter: Annotated[list[str], Query()] = [],  # noqa: B006
) -> Response:
    """Show the form, filled with what the last session had; an address may name pieces and meters."""
    ledger = ledger_of(request)
    return _shown(request, _page(ledger, StartForm(_usual(ledger, piece, meter))))


@router.post("/bench/new")
async def begin(request: Request) -> Response:
    """Begin the session, or say at each field what is wrong with it."""
    async with request.form() as form:
        return await run_in_threadpool(_begin, request, form)


@router.post("/bench/new/count")
async def count(request: Request) -> Response:
    """Say what the chosen order costs; nothing is kept."""
    async with request.form() as form:
        found = await run_in_threadpool(_page, ledger_of(request), StartForm(form))
    return page(request, "bench_counted.html", found, place="bench", title=say("New bench session"))


def _begin(request: Request, form: FormData) -> Response:
    ledger, told = ledger_of(request), StartForm(form)
    wanted = _wanted(ledger, told)
    if not told.wrong:
        try:
            note = (wanted.plan.text(), wanted.plan.data())
            item = start_session(ledger, wanted.session, gear=wanted.gear, note=note, on=wanted.on, by=by(request))
        except InputError as cause:
            for problem in getattr(cause, "problems", ()) or (cause,):
                told.refuse(_field_of(problem), problem)
        else:
            request.app.state.live.nudge()
            return RedirectResponse(SHEET + quote(item.key), 303)
    return _shown(request, _page(ledger, told), 422)


def _shown(request: Request, found: StartPage, status: int = 200) -> Response:
    template = "bench_counted.html" if wants_part(request) else "bench_new.html"
    return page(request, template, found, place="bench", title=say("New bench session"), status=status)


# What a form says of a session, read field by field

WHERE = {
    "power": "power", "swr": "swr", "line": "reference_line", "length": "reference_length", "in_place": "in_place",
    "title": "title",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class WantedSession:
    """A session as its form has it: the plan of its sheet, new gear, what is read in which order, the day."""

    session: SessionPlan
    gear: tuple[tuple[Kind, Body], ...]
    plan: SheetPlan
    on: date | None


def _wanted(ledger: Ledger, told: StartForm) -> WantedSession:
    """Return what a form says; what is wrong with it is gathered."""
    meters, pieces = _new_meters(ledger, told), _new_pieces(ledger, told)
    pads = _pads(ledger, told)
    names = (*told.all("meter"), *(str(m["name"]) for m in meters))
    tags = (*told.all("piece"), *(str(p["tag"]) for p in pieces))
    if not names and not any(k.startswith("newmeter") for k in told.wrong):
        told.refuse("meters", say("Choose a meter, or add one."))
    if not tags and not any(k.startswith("newpiece") for k in told.wrong):
        told.refuse("pieces", say("Choose a piece, or write the tag and the length of a new one."))
    hertz = _hertz(told)
    reference = {
        "line": told.text("reference_line"), "length": with_unit(told.text("reference_length"), "m"),
        "in_place": told.text("in_place"),
    }  # fmt: skip
    source = {"power": with_unit(told.text("power"), "W"), "swr": told.text("swr")}
    _tried(told, source, reference)
    order = next((o for o in ORDERS if o == told.text("order")), ORDERS[0])
    joined = _joined(ledger, told, pieces)
    title = told.text("title") or _title(tags)
    session = SessionPlan(title, names, tags, _filled(source), _reference(reference), pads)
    gear: list[tuple[Kind, Body]] = [*(("meter", m) for m in meters), *(("piece", p) for p in pieces)]
    return WantedSession(
        session, tuple(gear), SheetPlan(tuple(str(frequency(f)) for f in hertz), joined, order), day_in(told)
    )


def _title(tags: Sequence[str]) -> str:
    """Return what a session is called unless somebody calls it something else: its pieces."""
    found = ", ".join(tags)
    return found if len(found) <= 60 else f"{tags[0]} … {tags[-1]}"[:60]


def _filled(table: Mapping[str, str]) -> dict[str, str]:
    return {k: v for k, v in table.items() if v}


def _reference(told: Mapping[str, str]) -> dict[str, str]:
    """Return the table of the reference jumper, none where nothing is said of it."""
    found = _filled(told)
    return found if found.keys() - {"in_place"} or found.get("in_place") == "stays" else {}


def _tried(told: StartForm, source: Mapping[str, str], reference: Mapping[str, str]) -> None:
    """Say what is wrong with carrier and jumper at their fields."""
    for name, value, read in (
        ("power", source["power"], fields.source_power),
        ("swr", source["swr"], fields.swr),
        ("reference_length", reference["length"], fields.length),
    ):
        if value:
            try:
                read(value, name.removeprefix("reference_"))
            except InputError as cause:
                told.refuse(name, cause)


def day_in(told: StartForm) -> date | None:
    """Return the day a form names, None for today."""
    written = told.text("on")
    if not written:
        return None
    try:
        found = date.fromisoformat(written)
    except ValueError:
        told.refuse("on", say("This is no day. Write it as 2026-04-02."))
        return None
    if found.isoformat() > today():
        told.refuse("on", say("This day has not come yet."))
    return found


def _hertz(told: StartForm) -> tuple[float, ...]:
    found = {frequency_hz(text) for text in told.all("band") if _is_frequency(text)}
    try:
        found |= set(frequencies_written(told.text("frequencies")))
    except InputError as cause:
        told.refuse("frequencies", cause)
    if not found:
        told.refuse("bands", say("Choose a band, or write a frequency."))
    return tuple(sorted(found))


def _is_frequency(text: str) -> bool:
    try:
        return bool(frequency_hz(text))
    except InputError:
        return False


def _new_meters(ledger: Ledger, told: StartForm) -> list[dict[str, Any]]:
    """Return the meters that three questions were answered of."""
    taken = {i.key for i in all_kept(ledger, "meter")}
    found = []
    for n in range(MOST_NEW // 2):
        at = f"newmeter{n}_"
        if not told.text(f"{at}use"):
            continue
        body = _meter_body(told, at) | {"name": told.text(f"{at}name") or _meter_name(taken)}
        if _checked(told, at, checked_meter, body, ("name", "scale", "division", "rated", "card"), ()):
            if body["name"] in taken:
                told.refuse(f"{at}name", say("The ledger has a meter of that name. Tick it above, or rename this one."))
            taken.add(str(body["name"]))
            found.append(body)
    return found


def _meter_name(taken: set[str]) -> str:
    number = 1
    while (name := str(say("meter {number}", number=str(number)))) in taken:
        number += 1
    return name


def _meter_body(told: StartForm, at: str) -> dict[str, Any]:
    scale = told.text(f"{at}scale") or "watts"
    body: dict[str, Any] = {"scale": scale}
    division = told.text(f"{at}division_own") or told.text(f"{at}division")
    rated = told.text(f"{at}rated_own") or told.text(f"{at}rated")
    if division:
        body["division"] = with_unit(division, STEP_UNIT.get(scale, ""))
    if rated:
        body["rated"] = range_with_unit(rated)
    try:
        if scale == "card":
            body["card"] = [[at_scale, with_unit(w, "W")] for at_scale, w in card_of(told.text(f"{at}card"))]
            if division:
                body["division"] = fields.written_number(division, "division")
    except InputError as cause:
        told.refuse(f"{at}{cause.argument}", cause)
    return body


def _new_pieces(ledger: Ledger, told: StartForm) -> list[dict[str, Any]]:
    """Return the new pieces of a form: a type left empty is that of the row above."""
    own, taken = own_lines(ledger), {i.key for i in all_kept(ledger, "piece")}
    found: list[dict[str, Any]] = []
    line = ""
    for n in range(MOST_NEW):
        at = f"newpiece{n}_"
        written = {k: told.text(f"{at}{k}") for k in ("tag", "line", "length")}
        if not (written["tag"] or written["length"]):
            continue
        line = written["line"] or line
        body: dict[str, Any] = _filled({**written, "line": line, "length": with_unit(written["length"], "m")})
        missing = {
            "tag": say("Write what hangs on it: a colour and a number will do."),
            "length": say("Write how long it is."),
        }
        for name, words in missing.items():
            if not written[name]:
                told.refuse(f"{at}{name}", words)
        if _checked(told, at, checked_piece, body, ("tag", "line", "length"), own):
            if body["tag"] in taken:
                told.refuse(f"{at}tag", say("The shelf has a piece of that tag. Tick it above, or tag this one anew."))
            taken.add(body["tag"])
            found.append(body)
    return _of_one_drum(found, told.text("on") or today()) if told.text("drum") else found


def _of_one_drum(found: list[dict[str, Any]], day: str) -> list[dict[str, Any]]:
    """Return new pieces, those of one type with a stock in common."""
    lines = [p.get("line", "") for p in found]
    return [
        p | {"stock": str(say("{line} of {day}", line=line, day=day))} if line and lines.count(line) > 1 else p
        for p, line in zip(found, lines, strict=True)
    ]


def _checked(
    told: StartForm, at: str, check: Any, body: Mapping[str, Any], names: Sequence[str], own: Sequence[Any]
) -> bool:
    """Return whether gear obeys the rules; what does not is said at its field."""
    if any(k.startswith(at) for k in told.wrong):
        return False
    try:
        check(body, own)
    except InputError as cause:
        for problem in getattr(cause, "problems", ()) or (cause,):
            argument = problem.argument.partition(",")[0].split()[-1]
            told.refuse(f"{at}{argument if argument in names else names[0]}", problem)
        return False
    return True


def _pads(ledger: Ledger, told: StartForm) -> tuple[dict[str, Any], ...]:
    """Return the attenuators taken: those of the ledger, and one written here."""
    kept = {i.key: i.body for i in all_kept(ledger, "attenuator")}
    found = [{k: v for k, v in kept[tag].items() if k != "note"} for tag in told.all("pad") if tag in kept]
    written = _filled({"tag": told.text("pad_tag"), "loss": with_unit(told.text("pad_loss"), "dB")})
    if written.get("loss"):
        body = {"tag": str(say("pad")), **written}
        if _checked(told, "pad_", checked_attenuator, body, ("tag", "loss"), ()):
            found.append(body)
    elif written:
        told.refuse("pad_loss", say("Write its loss."))
    return tuple(found)


def _joined(ledger: Ledger, told: StartForm, new: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """Return the joined paths: those written, and the pair that tells most where one is asked for."""
    written = listed(told.text("joined"))
    if not told.text("join"):
        return written
    kept = {i.key: i.body for i in all_kept(ledger, "piece")}
    bodies = [*(kept[t] for t in told.all("piece") if t in kept), *new]
    pairs = list(combinations(bodies, 2))
    if not pairs:
        return written
    stock = [p for p in pairs if p[0].get("stock") and p[0].get("stock") == p[1].get("stock")]
    line = [p for p in pairs if p[0].get("line") and p[0].get("line") == p[1].get("line")]
    best = max(stock or line or pairs, key=lambda p: sum(_metres(b) for b in p))
    return tuple(dict.fromkeys((*written, f"{best[0]['tag']}+{best[1]['tag']}")))


def _metres(body: Mapping[str, Any]) -> float:
    try:
        return fields.length(body["length"], "length")
    except InputError:
        return 0.0


def _field_of(problem: InputError) -> str:
    """Return the field that a rule of the whole sheet speaks of; the first column where it is none."""
    words = problem.argument.split()
    return next((WHERE[w] for w in reversed(words) if w in WHERE), "title")


# What the form shows


def _usual(ledger: Ledger, pieces: Sequence[str], meters: Sequence[str]) -> FormData:
    """Return the form as it is first shown: with the gear, the jumper and the bands of the last session."""
    kept = [i.key for i in all_kept(ledger, "meter")]
    last = max(all_kept(ledger, "sheet"), key=lambda i: (i.body["measured_on"], i.changed_at), default=None)
    told: list[tuple[str, str | UploadFile]] = [("piece", tag) for tag in pieces]
    if last is None:
        told += [("meter", key) for key in (meters or kept[:3])]
        told += [("band", str(frequency(USUAL_HZ[name]))) for name in FIRST_BANDS]
    else:
        tables = last.body["sheet"]
        used = [str(m.get("name")) for m in tables.get("meter", ())]
        told += [("meter", key) for key in (meters or [k for k in kept if k in used] or kept[:3])]
        told += [("band", text) for text in _bands_of(ledger, last)]
        told += [(k, str(v)) for k, v in tables.get("source", {}).items()]
        named = {"line": "reference_line", "length": "reference_length", "in_place": "in_place"}
        told += [(named[k], str(v)) for k, v in tables.get("reference", {}).items() if k in named]
    if not kept:
        told.append(("newmeter0_use", "1"))
    return FormData(told)


def _bands_of(ledger: Ledger, item: Item) -> list[str]:
    plan = plan_in([n.body for n in notes_of(ledger, "sheet", item.key)])
    found = [str(frequency(frequency_hz(text))) for text in plan.frequencies]
    if found:
        return found
    from linewright.verbs.shelf import readings_of

    read = {frequency_hz(r.cells["frequency"]) for r in readings_of(ledger, item.key) if r.cells}
    return [str(frequency(f)) for f in sorted(read)] or [str(frequency(USUAL_HZ[n])) for n in FIRST_BANDS]


def _page(ledger: Ledger, told: StartForm) -> StartPage:
    taken = {kind: set(told.all(kind)) for kind in ("meter", "piece", "pad")}
    typed = {k: str(v) for k, v in told.form.multi_items() if isinstance(v, str)}
    wrong = dict(told.wrong)
    pads = all_kept(ledger, "attenuator")
    return StartPage(
        tuple(GearChoice(i.key, meter_about(i), i.key in taken["meter"]) for i in all_kept(ledger, "meter")),
        tuple(GearChoice(i.key, piece_about(i), i.key in taken["piece"]) for i in all_kept(ledger, "piece")),
        tuple(GearChoice(i.key, as_typed(str(i.body.get("loss", ""))), i.key in taken["pad"]) for i in pads),
        tuple(_chips(told)),
        designators(),
        typed,
        _counted(ledger, told),
        order_words(),
        scale_words(),
        today(),
        wrong,
    )


def _chips(told: StartForm) -> Iterator[GearChoice]:
    """Yield the bands to choose from, and whatever else is chosen."""
    chosen = {frequency_hz(text) for text in told.all("band") if _is_frequency(text)}
    shown = {USUAL_HZ[name]: name for name in SHOWN_BANDS}
    for hertz in sorted({*shown, *chosen}):
        name = band_of(hertz) if hertz in chosen and hertz not in shown else shown.get(hertz, "")
        yield GearChoice(str(frequency(hertz)), name, hertz in chosen)


def order_words() -> tuple[tuple[str, str], ...]:
    """Return the orders of a bench with what they do."""
    return (
        ("fewest", say("Fewest plug changes: each piece goes in once, the reference first and last.")),
        ("middle", say("The reference in the middle as well: one insertion more, drift seen twice.")),
        ("bands", say("Band by band: many plug changes, each band within minutes.")),
    )


def scale_words() -> tuple[tuple[str, str, str], ...]:
    """Return the scales of meters: key, name, and the unit of the smallest step."""
    return (
        ("watts", say("watts"), "W"), ("milliwatts", say("milliwatts"), "mW"), ("dBm", "dBm", "dB"), ("dB", "dB", "dB"),
        ("volts", say("volts"), "V"), ("card", say("bare marks, with a card"), ""),
    )  # fmt: skip


def _counted(ledger: Ledger, told: StartForm) -> Counted:
    """Return what the order costs so far; nothing where too little is chosen to say."""
    trial = StartForm(told.form)
    wanted = _wanted(ledger, trial)
    if not (wanted.plan.frequencies and wanted.session.meters and wanted.session.pieces):
        return Counted()
    new = {str(b.get("name") or b.get("tag")): dict(b) for _, b in wanted.gear}
    meters = [new.get(n) or _body(ledger, "meter", n) for n in wanted.session.meters]
    pieces = [new.get(t) or _body(ledger, "piece", t) for t in wanted.session.pieces]
    keys = ("tag", "line", "length", "connectors", "stock")
    tables: dict[str, Any] = {
        "title": "any", "meter": [m for m in meters if m],
        "piece": [{k: p[k] for k in keys if k in p} for p in pieces if p],
        "attenuator": list(wanted.session.attenuators),
    }  # fmt: skip
    body = {"sheet": {k: v for k, v in tables.items() if v}, "files": [], "measured_on": today(), "title": "any"}
    item = Item("sheet", "any", body, 1, archived=False, changed_at="")
    try:
        sheet = sheet_of_rows(ledger, item, ())
    except InputError:
        return Counted()
    found = {}
    for order in ("bands", wanted.plan.order):
        plan = SheetPlan(wanted.plan.frequencies, wanted.plan.joined, order)
        found[order] = insertions_of(bands_of(sheet, plan, ()), order)
    chosen, banded = found[wanted.plan.order], found["bands"]
    steps = [s for i in chosen for s in i.steps]
    if not steps:
        return Counted()
    each = plug_changes(s for i in banded for s in i.steps)
    return Counted(len(steps), len(chosen), plug_changes(steps), each, chosen[0].label)


def _body(ledger: Ledger, kind: Kind, key: str) -> dict[str, Any]:
    return next((dict(i.body) for i in all_kept(ledger, kind) if i.key == key), {})


def piece_about(item: Item) -> str:
    """Return a piece in words: "7.2 m of RG-58C/U"."""
    far = metres(fields.length(str(item.body["length"]), "length"))
    return say("{length} of {line}", length=far, line=item.body.get("line") or say("unknown type"))


def meter_about(item: Item) -> str:
    """Return a meter in words: "watts, 0.2 W a division; 1.8 MHz to 60 MHz"."""
    body = item.body
    kind = str(body.get("scale", "watts"))
    scale = (
        say("bare marks, with a card")
        if kind == "card"
        else {k: words for k, words, _ in scale_words()}.get(kind, kind)
    )
    step = (
        say("{step} a division", step=as_typed(str(body["division"])))
        if "division" in body
        else say("division not said")
    )
    rated = as_typed(str(body["rated"]).replace(" to ", "–")) if "rated" in body else say("no rated band")
    return say("{scale}, {step}; {rated}", scale=scale, step=step, rated=rated)
