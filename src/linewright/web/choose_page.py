"""The page that chooses a line for a run: the answer of the verb, and the addresses that lead on from it."""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from linewright.choice.workings import losses_worked, prices_worked
from linewright.core.errors import InputError, gathered
from linewright.core.formatting import plain, quantity
from linewright.core.messages import mark, say
from linewright.core.nouns.bench_result import Key
from linewright.core.nouns.choice import Choice, Option, Prices, Wishes
from linewright.core.nouns.station import Run, Station
from linewright.files import fields, station_fields
from linewright.files import prices as choice
from linewright.files.prices import read_prices_text
from linewright.present.compose import choice as compose
from linewright.verbs.choose import PreparedChoice
from linewright.web.run_state import BARE
from linewright.web.stations import HeldStation
from linewright.web.workings import Opens, OpenTable, open_table, opens

# What the page that chooses a line is asked: the limits and prices of its form, and the answer of the verb

MOST_PRICES = 20_000
"""Signs of prices that an address holds."""
MOST_KNOWN = 16
JUDGING = ("limit", "sure", "budget", "voltage_margin", "heat_margin")
"""Fields that judge a choice: another figure there has nothing walked again."""
Reader = Callable[[Any, str], Any]


@dataclass(frozen=True, slots=True)
class WishField:
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
        raise InputError(
            name,
            say("needs a gain and a noise figure; got {value}", value=repr(value)),
            cure=say('Write it as "20 dB; 0.8 dB".'),
        )
    return station_fields.amplifier_db(in_unit(gain, "dB"), name), station_fields.noise_figure(
        in_unit(figure, "dB"), name
    )


def in_unit(text: str, unit: str) -> str:
    """Return a text, a bare number in the unit it stands for."""
    text = text.strip()
    return f"{text.replace(',', '.')} {unit}" if BARE.fullmatch(text) else text


LIMITS = (
    WishField(
        "limit", mark("The whole run may lose"), "limit_db", choice.limit, "dB", mark("The same on every frequency.")
    ),
    WishField(
        "sure",
        mark("Probability that it keeps to that"),
        "sure",
        station_fields.share,
        "",
        mark("0.5 is the likely case."),
    ),
    WishField("tail", mark("Flexible tail at the antenna"), "tail_m", fields.length, "m", mark("None if 0.")),
    WishField("budget", mark("Budget"), "budget", choice.money, "", mark("In the currency of the prices.")),
)
MORE_LIMITS = (
    WishField(
        "replace",
        mark("Parts it replaces"),
        "replace",
        _parts,
        "",
        mark("By name, a semicolon between; else the longest line."),
    ),
    WishField(
        "impedance",
        mark("Impedance"),
        "impedance_ohm",
        choice.impedance,
        "ohm",
        mark("As the line replaced if empty; or: any."),
    ),
    WishField(
        "max_diameter",
        mark("Diameter, at most"),
        "most_diameter_m",
        fields.length,
        "mm",
        mark("What fits the entry."),
        1e3,
    ),
    WishField(
        "max_mass",
        mark("Mass, at most"),
        "most_kg_per_m",
        choice.mass_kg_per_m,
        "g/m",
        mark("What the mast bears."),
        1e3,
    ),
    WishField("bend_radius", mark("Tightest bend, its radius"), "bend_radius_m", fields.length, "mm", "", 1e3),
    WishField(
        "voltage_margin",
        mark("Voltage rating over load"),
        "voltage_margin",
        choice.margin,
        "",
        mark("2 is twice the load."),
    ),
    WishField("heat_margin", mark("Power rating over load"), "heat_margin", choice.margin),
    WishField("connector", mark("Connectors of new joints"), "connector", choice.family),
    WishField(
        "shorter", mark("A shorter route to compare"), "shorter_m", fields.length, "m", mark("Else two thirds of it.")
    ),
    WishField("moved", mark("Line left if the radio moves"), "moved_m", fields.length, "m"),
    WishField(
        "preamplifier",
        mark("Preamplifier on sale"),
        "preamplifier",
        _preamplifier,
        "",
        mark("Gain; noise figure: 20 dB; 1 dB."),
    ),
)
EVERY = (*LIMITS, *MORE_LIMITS)
OUTDOORS = "outdoors"


def held(wishes: Wishes, given: Mapping[str, str]) -> dict[str, str]:
    """Return what every field holds: as it was typed, else as the station states it."""
    found = {one.name: given.get(one.name, _stated(one, wishes)) for one in EVERY}
    lies_out = given.get(OUTDOORS) if "limit" in given else "yes" if wishes.outdoors else ""
    return found | {OUTDOORS: lies_out or ""}


def _stated(one: WishField, wishes: Wishes) -> str:
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


def _asked(one: WishField, text: str) -> dict[str, Any]:
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
        cure = say("Leave out what you would not take, or use the command linewright choose.")
        raise InputError(
            "prices",
            say("must be at most {most} signs long; got {value}", most=MOST_PRICES, value=len(text)),
            cure=cure,
        )
    rows = [row for row in text.splitlines() if row.strip() and not row.lstrip().startswith("#")]
    return read_prices_text(text.replace("\r\n", "\n"), station.lines) if len(rows) > 1 else Prices()


@dataclass(slots=True)
class LatestChoices:
    """The latest choices of an app, so that a drawing or a closer look costs nothing."""

    _known: OrderedDict[tuple[Any, ...], tuple[HeldStation, Choice]] = field(default_factory=OrderedDict)
    _prepared: OrderedDict[tuple[Any, ...], tuple[HeldStation, PreparedChoice]] = field(default_factory=OrderedDict)

    def chosen(
        self, station: HeldStation, run: str, texts: Mapping[str, str], prices: str, more: tuple[str, ...] = ()
    ) -> Choice:
        """Return the choice for a run of a station, with what the form asks; ``more`` are types without a price.

        Raises
        ------
        InputError
            If something asked cannot be read, or cannot be asked of this run.
        """
        key = (id(station.station), run, prices, more, *sorted(texts.items()))
        known = self._known.get(key)
        if known is None or known[0].station is not station.station:
            known = self._known[key] = station, self._chosen(station, run, texts, prices, more)
            _shortened(self._known)
        return known[1]

    def _chosen(
        self, known: HeldStation, run: str, texts: Mapping[str, str], prices: str, more: tuple[str, ...]
    ) -> Choice:
        from linewright.catalogue import line_type
        from linewright.verbs.choose import chosen, prepared, wishing
        from linewright.verbs.plan import the_run

        wanted = wishing(known.station, run, wishes_in(texts))
        key = (id(known.station), run, prices, more, *sorted(pair for pair in texts.items() if pair[0] not in JUDGING))
        ready = self._prepared.get(key)
        if ready is None or ready[0].station is not known.station:
            own = [line_type(name, known.station.lines) for name in more]
            made = prepared(wanted, run, prices_of(prices, known.station), own=own, beliefs=known.fresh())
            ready = self._prepared[key] = known, made
            _shortened(self._prepared)
        return chosen(ready[1], the_run(wanted, run).wishes)


def _shortened(kept: OrderedDict[tuple[Any, ...], Any]) -> None:
    while len(kept) > MOST_KNOWN:
        kept.popitem(last=False)


# What a choice stands for in the drawing, and its figures that open


def laying(option: Option, run: Run, span: tuple[int, int]) -> tuple[tuple[str, str], ...]:
    """Return what an edit of a run's drawing is told that lays a choice in the place of some parts."""
    stretches = [[s.name, round(s.length_m, 6), s.on_hand] for s in option.stretches]
    return ("to", f"{span[0]}:{span[1]}"), ("stretches", json.dumps(stretches)), ("joint", run.wishes.connector)


def loss_of(option: Option, currency: str) -> Opens:
    """Return the mean loss of a choice, opening to how each band and its price were worked out."""
    return Opens(quantity(plain(option.loss_db, 2), "dB"), (*prices_worked(option, currency), *losses_worked(option)))


def longest_of(choice: Choice) -> OpenTable:
    """Return how long each line may be on each band."""
    keys: list[list[Key]] = [[(), (), (), ("longest", r.line, r.frequency_hz)] for r in choice.longest]
    return open_table(compose.longest(choice.longest), choice.workings, keys)


def remedies_of(choice: Choice) -> Iterator[Opens]:
    """Yield what may be done instead of another line."""
    for r in choice.remedies:
        yield opens(compose.remedy(r, choice.currency), choice.workings, ("remedy", r.kind))
