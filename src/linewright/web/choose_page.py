"""The page that chooses a line for a run: the answer of the verb, and the addresses that lead on from it."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from linewright.choice.workings import losses_worked, prices_worked
from linewright.core.errors import InputError, gathered
from linewright.core.formatting import frequency
from linewright.core.nouns.bench_result import Key, Working
from linewright.core.nouns.choice import Choice, Option, Prices, Stretch, Wishes
from linewright.core.nouns.station import LinePart, Run, Station
from linewright.files import fields, station_fields
from linewright.files import prices as choice
from linewright.files.prices import read_prices_text
from linewright.present.compose import choice as compose
from linewright.verbs.choose import PreparedChoice
from linewright.web.run_state import BARE, RunState, address, sorted_values
from linewright.web.stations import HeldStation
from linewright.web.workings import Opens, OpenTable, open_table, opens

# What the page that chooses a line is asked: the limits and prices of its form, and the answer of the verb

HEADING = "line,price,currency,connector_price,outdoors,note"
MOST_PRICES = 20_000
"""Signs of prices that an address holds."""
MOST_KNOWN = 16
JUDGING = ("limit", "sure", "budget", "voltage_margin", "heat_margin")
"""Fields that judge a choice: another figure there has nothing walked again."""
Reader = Callable[[Any, str], Any]


@dataclass(frozen=True, slots=True)
class Limit:
    """One field of the form: what it is called, the wish it sets, how it is read, what a bare number stands for."""

    name: str
    label: str
    wish: str
    read: Reader
    unit: str = ""
    hint: str = ""
    scale: float = 1.0
    """The wish in SI, times this, is the figure in the field's unit."""


def _parts(value: str, name: str) -> tuple[str, ...]:
    """Return the names of parts, which stand with semicolons between them."""
    return tuple(fields.text(part, name) for part in value.split(";") if part.strip())


def _preamplifier(value: str, name: str) -> tuple[float, float]:
    """Return a gain and a noise figure, which stand with a semicolon between them."""
    gain, sign, figure = value.partition(";")
    if not sign:
        raise InputError(name, f"needs a gain and a noise figure; got {value!r}", cure='Write it as "20 dB; 0.8 dB".')
    return station_fields.amplifier_db(in_unit(gain, "dB"), name), station_fields.noise_figure(
        in_unit(figure, "dB"), name
    )


def in_unit(text: str, unit: str) -> str:
    """Return a text, a bare number in the unit it stands for."""
    text = text.strip()
    return f"{text.replace(',', '.')} {unit}" if BARE.fullmatch(text) else text


LIMITS = (
    Limit("limit", "The whole run may lose", "limit_db", choice.limit, "dB", "The same on every frequency."),
    Limit("sure", "Probability that it keeps to that", "sure", station_fields.share, "", "0.5 is the likely case."),
    Limit("tail", "Flexible tail at the antenna", "tail_m", fields.length, "m", "None if 0."),
    Limit("budget", "Budget", "budget", choice.money, "", "In the currency of the prices."),
)
MORE_LIMITS = (
    Limit(
        "replace", "Parts it replaces", "replace", _parts, "", "By name, a semicolon between; else the longest line."
    ),
    Limit(
        "impedance", "Impedance", "impedance_ohm", choice.impedance, "ohm", "As the line replaced if empty; or: any."
    ),
    Limit("max_diameter", "Diameter, at most", "most_diameter_m", fields.length, "mm", "What fits the entry.", 1e3),
    Limit("max_mass", "Mass, at most", "most_kg_per_m", choice.mass_kg_per_m, "g/m", "What the mast bears.", 1e3),
    Limit("bend_radius", "Tightest bend, its radius", "bend_radius_m", fields.length, "mm", "", 1e3),
    Limit("voltage_margin", "Voltage rating over load", "voltage_margin", choice.margin, "", "2 is twice the load."),
    Limit("heat_margin", "Power rating over load", "heat_margin", choice.margin),
    Limit("connector", "Connectors of new joints", "connector", choice.family),
    Limit("shorter", "A shorter route to compare", "shorter_m", fields.length, "m", "Else two thirds of it."),
    Limit("moved", "Line left if the radio moves", "moved_m", fields.length, "m"),
    Limit(
        "preamplifier", "Preamplifier on sale", "preamplifier", _preamplifier, "", "Gain; noise figure: 20 dB; 1 dB."
    ),
)
EVERY = (*LIMITS, *MORE_LIMITS)
OUTDOORS = "outdoors"


def held(wishes: Wishes, given: Mapping[str, str]) -> dict[str, str]:
    """Return what every field holds: as it was typed, else as the station states it."""
    found = {one.name: given.get(one.name, _stated(one, wishes)) for one in EVERY}
    lies_out = given.get(OUTDOORS) if "limit" in given else "yes" if wishes.outdoors else ""
    return found | {OUTDOORS: lies_out or ""}


def _stated(one: Limit, wishes: Wishes) -> str:
    value: Any = getattr(wishes, one.wish)
    if one.wish == "impedance_ohm" and wishes.any_impedance:
        return choice.ANY
    if value is None:
        return ""
    if one.wish == "limit_db":
        return f"{value[0][1]:g}" if len(value) == 1 else ""
    if isinstance(value, tuple):
        return "; ".join(part if isinstance(part, str) else f"{part:g} dB" for part in value)
    return value if isinstance(value, str) else f"{one.scale * value:g}"


def stepped_limit(wishes: Wishes) -> str:
    """Return a limit that is not the same everywhere, in words; empty where it is."""
    pairs = wishes.limit_db
    return ", ".join(f"{db:g} dB at {frequency(f)}" for f, db in pairs) if len(pairs) > 1 else ""


def wishes_in(texts: Mapping[str, str]) -> dict[str, Any]:
    """Return what is asked of the line, by the names of ``Wishes``.

    Raises
    ------
    InputError
        With every field that cannot be read.
    """
    asked: dict[str, Any] = {OUTDOORS: bool(texts.get(OUTDOORS)), "any_impedance": False}
    wrong: list[InputError] = []
    for one in EVERY:
        text = " ".join(texts.get(one.name, "").split())
        try:
            asked |= _asked(one, text)
        except InputError as error:
            wrong.append(error)
    if wrong:
        raise gathered(wrong)
    return asked


def _asked(one: Limit, text: str) -> dict[str, Any]:
    if not text:
        return {} if one.wish == "limit_db" else {one.wish: getattr(Wishes(), one.wish)}
    if one.unit:
        text = in_unit(text, one.unit)
    if one.name == "tail" and text.split()[0] in ("0", "0.0"):
        return {one.wish: 0.0}
    value: Any = float(text) if one.read is station_fields.share and BARE.fullmatch(text) else text
    found = one.read(value, one.label.lower())
    return found if isinstance(found, dict) else {one.wish: found}


def prices_of(text: str, station: Station) -> Prices:
    """Return the prices of a text; none where no row stands in it.

    Raises
    ------
    InputError
        If they are too long for an address, or cannot be read.
    """
    if len(text) > MOST_PRICES:
        cure = "Leave out what you would not take, or use the command linewright choose."
        raise InputError("prices", f"must be at most {MOST_PRICES} signs long; got {len(text)}", cure=cure)
    rows = [row for row in text.splitlines() if row.strip() and not row.lstrip().startswith("#")]
    return read_prices_text(text.replace("\r\n", "\n"), station.lines) if len(rows) > 1 else Prices()


@dataclass(slots=True)
class Choices:
    """The latest choices of an app, so that a drawing or a closer look costs nothing."""

    _known: OrderedDict[tuple[Any, ...], tuple[HeldStation, Choice]] = field(default_factory=OrderedDict)
    _prepared: OrderedDict[tuple[Any, ...], tuple[HeldStation, PreparedChoice]] = field(default_factory=OrderedDict)

    def chosen(self, station: HeldStation, run: str, texts: Mapping[str, str], prices: str) -> Choice:
        """Return the choice for a run of a station, with what the form asks.

        Raises
        ------
        InputError
            If something asked cannot be read, or cannot be asked of this run.
        """
        key = (id(station), run, prices, *sorted(texts.items()))
        known = self._known.get(key)
        if known is None or known[0] is not station:
            known = self._known[key] = station, self._chosen(station, run, texts, prices)
            _shortened(self._known)
        return known[1]

    def _chosen(self, known: HeldStation, run: str, texts: Mapping[str, str], prices: str) -> Choice:
        from linewright.verbs.choose import chosen, prepared, wishing
        from linewright.verbs.plan import the_run

        wanted = wishing(known.station, run, wishes_in(texts))
        key = (id(known), run, prices, *sorted(pair for pair in texts.items() if pair[0] not in JUDGING))
        ready = self._prepared.get(key)
        if ready is None or ready[0] is not known:
            made = prepared(wanted, run, prices_of(prices, known.station), beliefs=known.fresh())
            ready = self._prepared[key] = known, made
            _shortened(self._prepared)
        return chosen(ready[1], the_run(wanted, run).wishes)


def _shortened(kept: OrderedDict[tuple[Any, ...], Any]) -> None:
    while len(kept) > MOST_KNOWN:
        kept.popitem(last=False)


# The page that chooses a line for a run: the answer of the verb, and the addresses that lead on from it

HERE = "/runs/choose"


@dataclass(frozen=True, slots=True)
class Row:
    """One choice: what it costs and loses, the address that opens it, and the one that tries it in the run."""

    number: str
    name: str
    tail: str
    price: str
    per_db: str
    loss: str
    loss_90: str
    heard: str
    meets: str
    kept: bool
    mark: str
    look: str
    go: str


@dataclass(frozen=True, slots=True)
class LookedAt:
    """One choice opened: band by band, against each limit, and how its figures were worked out."""

    name: str
    bands: OpenTable
    checks: tuple[tuple[str, bool | None], ...]
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """What the verb answers, as the page shows it."""

    verdict: str
    title: str
    money: str
    binding: tuple[str, ...]
    rows: tuple[Row, ...]
    unpriced: tuple[Row, ...]
    looked: LookedAt | None
    longest: OpenTable
    remedies: tuple[Opens, ...]
    measure: tuple[str, ...]
    barred: tuple[str, ...]
    beaten: tuple[str, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class ChoosePage:
    """The form as it stands and the answer to it; None where something asked cannot be read."""

    key: str
    run: str
    back: tuple[str, str]
    run_page: str
    limits: tuple[Limit, ...]
    more: tuple[Limit, ...]
    held: dict[str, str]
    stepped: str
    prices: str
    at: str
    close: str
    asked: str
    state: str
    problems: tuple[str, ...]
    found: Answer | None


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address of the page holds: the station's key, the run, and every field by its name."""

    station: str
    run: str
    fields: tuple[tuple[str, str], ...] = ()
    at: str = ""

    def address(self, at: str = "") -> str:
        """Return the address of this page, one choice opened."""
        pairs = [("station", self.station), ("run", self.run), *self.fields, *([("at", at)] if at else [])]
        return f"{HERE}?{urlencode(pairs)}"


def answer(asked: Asked, choice: Choice, run: Run, span: tuple[int, int]) -> Answer:
    """Return an answer as the page shows it; ``span`` is which parts of the run the new line replaces."""
    shown = _numbered(choice)
    priced, unpriced = compose.trade_off(choice), compose.options(choice.unpriced, choice.currency)
    cells = [row.cells for found in (priced, unpriced) for part in found.parts for row in part.rows]
    rows = {
        n: _row(n, o, c, choice, asked, _tried(asked, o, run, span))
        for (n, o), c in zip(shown.items(), cells, strict=True)
    }
    looked = _looked(shown[asked.at], choice) if asked.at in shown else None
    return Answer(
        compose.choice_verdict(choice), compose.trade_off_title(choice), choice.currency, choice.binding,
        tuple(row for n, row in rows.items() if not n.startswith("u")),
        tuple(row for n, row in rows.items() if n.startswith("u")), looked, _longest(choice), tuple(_remedies(choice)),
        tuple(m.why for m in choice.measure), compose.barred(choice).items, compose.beaten(choice.beaten).items,
        choice.cautions, choice.remarks, choice.workings,
    )  # fmt: skip


def _numbered(choice: Choice) -> dict[str, Option]:
    """Return the choices by the number that opens each: 0 as it is, as in the drawing, u1 without a price."""
    now = {"0": choice.as_it_is} if choice.as_it_is.stretches else {}
    sold = {str(i): o for i, o in enumerate(choice.trade_off, 1)}
    return now | sold | {f"u{i}": o for i, o in enumerate(choice.unpriced, 1)}


def _row(n: str, o: Option, cells: Sequence[str], choice: Choice, asked: Asked, go: str) -> Row:
    best = {one.name: mark for one, mark in ((choice.cautious, "cautious"), (choice.cheapest, "cheapest")) if one}
    line, tail, price, per_db, loss, loss_90, heard, meets = cells
    return Row(
        n if n.isdigit() and n != "0" else "", line, tail, price, per_db, loss, loss_90, heard, meets, o.meets,
        best.get(o.name, "") if n != "0" else "", asked.address("" if asked.at == n else n), go if n != "0" else "",
    )  # fmt: skip


def _looked(o: Option, choice: Choice) -> LookedAt:
    worked = tuple(losses_worked(o))
    keys: list[tuple[Key, ...]] = [((), ("loss", o.name, b.frequency_hz)) for b in o.bands]
    bands = open_table(compose.bands(o, choice.power_w), worked, keys)
    workings = (*prices_worked(o, choice.currency), *worked)
    return LookedAt(o.name, bands, tuple((compose.check(c), c.ok) for c in o.checks), workings)


def _longest(choice: Choice) -> OpenTable:
    keys: list[tuple[Key, ...]] = [((), (), (), ("longest", r.line, r.frequency_hz)) for r in choice.longest]
    return open_table(compose.longest(choice.longest), choice.workings, keys)


def _remedies(choice: Choice) -> Iterator[Opens]:
    for r in choice.remedies:
        yield opens(compose.remedy(r, choice.currency), choice.workings, ("remedy", r.kind))


def _tried(asked: Asked, option: Option, run: Run, span: tuple[int, int]) -> str:
    """Return the address of the run's page with a choice laid in it."""
    first, end = span
    places = [i for i in range(first, end) if isinstance(run.chain[i], LinePart)]
    values: dict[str, str] = {}
    added: list[str] = []
    for k, stretch in enumerate(option.stretches):
        if k < len(places):
            values |= _laid(stretch, run.chain[places[k]], places[k] + 1)
        else:
            added.append(f"add part {end + 1 + len(added)} = {_entry(stretch)}")
    values |= {f"out{i + 1}": "on" for i in range(first, end) if i not in places[: len(option.stretches)]}
    values |= {"with": "; ".join(added)} if added else {}
    return address(RunState(asked.station, asked.run, sorted_values(values)))


def _laid(stretch: Stretch, part: object, number: int) -> dict[str, str]:
    """Return the fields that put a section in the place of a line; a piece lies whole."""
    assert isinstance(part, LinePart)
    out = {f"type{number}": stretch.name}
    if not stretch.on_hand and abs(stretch.length_m - part.piece.length_m) > 1e-9:
        out[f"length{number}"] = f"{stretch.length_m:.6g}"
    return out


def _entry(stretch: Stretch) -> str:
    if stretch.on_hand:
        return f"piece {stretch.name}"
    return f"line {stretch.name}, length {stretch.length_m:.6g} m"
