"""What is shown below a run's drawing where it is asked for: choosing a line, and sharing out the shelf.

Types are ticked, prices stand in a small table; nothing is typed as a file. What is chosen is tried in the drawing or
laid in the runs, in one step that can be undone.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any
from urllib.parse import urlencode

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from linewright.catalogue import line_types
from linewright.choice.choose import span_of
from linewright.core.errors import CannotError, InputError, UnknownNameError
from linewright.core.formatting import digits, metres, plain, quantity
from linewright.core.messages import say
from linewright.core.nouns.bench_result import Key
from linewright.core.nouns.choice import Choice, Fed, Option, Prices, Shared
from linewright.core.nouns.station import LinePart, Run, Station
from linewright.core.quantities import length_m
from linewright.files.prices import EACH, MOVED, PREAMPLIFIER, money, read_prices_text
from linewright.present.charts.theme import Spec
from linewright.present.compose import choice as compose
from linewright.verbs.plan import the_run
from linewright.web.choose_page import (
    EVERY,
    LIMITS,
    MORE_LIMITS,
    OUTDOORS,
    LatestChoices,
    WishField,
    held,
    laying,
    longest_of,
    loss_of,
    prices_of,
    remedies_of,
    wishes_in,
)
from linewright.web.jobs import Tell, works_of
from linewright.web.pictures import PageChart, answered
from linewright.web.run_inspector import OFFERED
from linewright.web.run_page import Drawn
from linewright.web.run_state import ASKED, RunState, address, asked_of, pairs_of, untried
from linewright.web.run_tables import scale
from linewright.web.stations import INVENTED, invented_prices
from linewright.web.sweep_requests import said
from linewright.web.workings import Opens, OpenTable, open_table, opens

# What is on sale: types that are ticked, with prices where a person has them

TYPE, PRICE, JOINT, RATED, BESIDE, ROUTE = "t.", "p.", "c.", "o.", "e.", "r."
"""What the names of the fields of a type begin with, of something bought each, and of a run's route."""
HEADING = ("line", "price", "currency", "connector_price", "outdoors")
PRICED = (TYPE, PRICE, JOINT, RATED, BESIDE)


@dataclass(frozen=True, slots=True)
class OnSale:
    """One type in the small table: whether it is ticked, its price by the metre, and that of a connector.

    ``outdoors`` is "yes" or "no" where the seller says whether it bears sun and rain.
    """

    name: str
    ticked: bool
    price: str
    joint: str
    outdoors: str = ""


@dataclass(frozen=True, slots=True)
class Sale:
    """All that may be bought: the table, every other type there is, the currency, and what is bought each."""

    rows: tuple[OnSale, ...]
    others: tuple[str, ...]
    currency: str
    each: tuple[tuple[str, str, str], ...] = ()
    """Its name, what it is in words, its price."""

    @property
    def prices(self) -> str:
        """The rows that have a price, as a price list is read."""
        out = io.StringIO()
        write = csv.writer(out, lineterminator="\n")
        write.writerow(HEADING)
        for row in self.rows:
            if row.ticked and row.price:
                price = row.price.replace(",", ".")
                price = price if "/" in price or "each" in price else f"{price}/m"
                joint = row.joint.replace(",", ".") or "0"
                write.writerow((row.name, price, self.currency, joint, row.outdoors))
        for name, _, price in self.each:
            if price:
                whole = price.replace(",", ".")
                write.writerow((name, whole if "each" in whole else f"{whole} each", self.currency, "0", ""))
        return out.getvalue()

    @property
    def bare(self) -> tuple[str, ...]:
        """The types that are ticked and have no price."""
        return tuple(row.name for row in self.rows if row.ticked and not row.price)


def sale_of(asked: Mapping[str, str], key: str, station: Station, ohm: float) -> Sale:
    """Return what may be bought, as the form has it; at first a ladder of common types, without prices."""
    known = {t.designator: t for t in (*station.lines, *line_types())}
    usual = {n for n in OFFERED if abs(known[n].impedance_ohm - ohm) <= 0.1 * ohm} | {
        t.designator for t in station.lines
    }
    seen = "types" in asked
    priced = _invented() if key == INVENTED and not seen else {}
    names = [n for n in known if n in usual or {f"{TYPE}{n}"} & {*priced, *asked} or n == asked.get("more", "")]
    rows = tuple(
        OnSale(
            n,
            f"{TYPE}{n}" in (asked if seen else priced)
            or (n == asked.get("more") if seen else not priced and n in usual),
            *(asked.get(f"{of}{n}", priced.get(f"{of}{n}", "")).strip() for of in (PRICE, JOINT, RATED)),
        )
        for n in names
    )
    others = tuple(n for n in known if n not in names)
    words = {PREAMPLIFIER: say("A masthead preamplifier"), MOVED: say("To move the radio")}
    each = tuple((n, words[n], asked.get(f"{BESIDE}{n}", priced.get(f"{BESIDE}{n}", "")).strip()) for n in EACH)
    return Sale(rows, others, asked.get("money", priced.get("money", "")).strip(), each)


def priced_as(prices: Prices) -> dict[str, str]:
    """Return a price list as the fields of the small table hold it."""
    told = {"types": "1", "money": prices.currency}
    for offer in prices.offers:
        name, rated = offer.line.designator, {True: "yes", False: "no", None: ""}[offer.outdoors]
        told |= {f"{TYPE}{name}": "on", f"{PRICE}{name}": f"{offer.price_per_m:.6g}"}
        told |= {f"{JOINT}{name}": f"{offer.connector_price:.6g}"} if offer.connector_price else {}
        told |= {f"{RATED}{name}": rated} if rated else {}
    return told | {f"{BESIDE}{name}": f"{price:.6g}" for name, price in prices.each.items()}


def with_prices(state: RunState, prices: Prices) -> RunState:
    """Return a state whose table of prices is that of a price list; what else is asked stays."""
    kept = [(name, value) for name, value in state.typed if not _of_sale(name)]
    return replace(state, typed=(*kept, *((f"{ASKED}{name}", value) for name, value in priced_as(prices).items())))


def _of_sale(name: str) -> bool:
    bare = name.removeprefix(ASKED)
    return name.startswith(ASKED) and (bare.startswith(PRICED) or bare in ("types", "money", "more"))


def _invented() -> dict[str, str]:
    """Return the invented prices that come along, as the fields of the small table hold them."""
    return priced_as(read_prices_text(invented_prices()))


# Choosing


@dataclass(frozen=True, slots=True)
class Chosen:
    """One choice drawn on the scale of losses, and the edit that tries it or lays it."""

    name: str
    detail: str
    loss: Opens
    dot: float
    bar: float
    meets: str
    sound: bool | None
    price: str
    best: bool
    there: str
    lay: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class ChooseView:
    """The question as it stands, and the answer; ``found`` is False where something asked cannot be read."""

    said: str
    limits: tuple[WishField, ...]
    more: tuple[WishField, ...]
    held: dict[str, str]
    sale: Sale
    problems: tuple[str, ...]
    rows: tuple[Chosen, ...] = ()
    ticks: tuple[tuple[str, float], ...] = ()
    limit_at: float | None = None
    limit: str = ""
    notes: tuple[tuple[str, tuple[str, ...]], ...] = ()
    longest: OpenTable | None = None
    remedies: tuple[Opens, ...] = ()
    charts: Mapping[str, PageChart] = field(default_factory=dict)
    """The drawing of price against loss, "trade-off", and that of "longest-run", where there is something to draw."""


def _choosing(request: Request, state: RunState, drawn: Drawn) -> ChooseView:
    run, texts, sale = _asked_of_line(state, drawn)
    try:
        choice = _choice(request, drawn, run, texts, sale)
        wished = replace(run, wishes=replace(run.wishes, **wishes_in(texts)))
        return _chosen(state, choice, wished, span_of(wished), texts, sale)
    except InputError as error:
        return ChooseView("", LIMITS, MORE_LIMITS, texts, sale, tuple(said(error)))


def _asked_of_line(state: RunState, drawn: Drawn) -> tuple[Run, dict[str, str], Sale]:
    """Return the run, what is asked of its line as typed, and what may be bought."""
    run = the_run(drawn.base.station, str(drawn.tables["run"][drawn.at]["name"]))
    asked = asked_of(state)
    texts = held(run.wishes, {k: v for k, v in asked.items() if k in {one.name for one in EVERY} | {OUTDOORS}})
    return run, texts, sale_of(asked, state.station, drawn.base.station, _ohm(run))


def _choice(request: Request, drawn: Drawn, run: Run, texts: Mapping[str, str], sale: Sale) -> Choice:
    choices: LatestChoices = request.app.state.choices
    return choices.chosen(drawn.base, run.name, texts, sale.prices, sale.bare)


def choice_chart(request: Request, state: RunState, drawn: Drawn, name: str) -> Response:
    """Return a drawing of the choices: price against loss, or how long each line may be on each band.

    Raises
    ------
    UnknownNameError
        If there is no such drawing.
    InputError
        If what is asked of the line cannot be read.
    """
    from linewright.present.charts.longest_run import longest_run_chart
    from linewright.present.charts.trade_off import trade_off_chart

    layouts: dict[str, Callable[..., Spec]] = {"trade-off": trade_off_chart, "longest-run": longest_run_chart}
    if name not in layouts:
        raise UnknownNameError(
            "chart", say("must be one of {known}; got {value}", known=", ".join(layouts), value=repr(name[:40]))
        )
    run, texts, sale = _asked_of_line(state, drawn)
    choice = _choice(request, drawn, run, texts, sale)
    return answered(request, partial(layouts[name], choice), f"{run.name} {name}")


def _drawings(state: RunState, choice: Choice) -> dict[str, PageChart]:
    asked = urlencode(pairs_of(replace(untried(state), open="", tab="", how="")))
    words = {}
    if choice.trade_off:
        words["trade-off"] = say("Price against loss of the choices worth making; the list has the same figures.")
    if choice.longest:
        words["longest-run"] = say("How long each line may be on each band; the table has the same figures.")
    return {name: PageChart(f"/runs/choose/chart/{name}?{asked}", about) for name, about in words.items()}


def _ohm(run: Run) -> float:
    lines = [p for p in run.chain if isinstance(p, LinePart) and p.piece.line]
    longest = max(lines, key=lambda p: p.piece.length_m, default=None)
    return longest.piece.line.impedance_ohm if longest and longest.piece.line else 50.0


def _chosen(
    state: RunState, choice: Choice, run: Run, span: tuple[int, int], texts: dict[str, str], sale: Sale
) -> ChooseView:
    options = [(choice.as_it_is, True)] if choice.as_it_is.stretches else []
    options += [(o, False) for o in (*choice.trade_off, *sorted(choice.unpriced, key=lambda o: -o.loss_db))]
    limit = run.wishes.limit_db[0][1] if len(run.wishes.limit_db) == 1 else None
    top = 1.1 * max([o.loss_db_90 for o, _ in options] + [limit or 0.0, 0.5])
    best = _best(choice)
    ticks = scale(top, 7)
    rows = tuple(_row(o, now, choice, state, run, span, top, best) for o, now in options)
    notes = (
        (say("What stands in the way"), () if best else choice.binding),
        (say("Worth measuring first"), tuple(m.why for m in choice.measure)),
        (say("Left out"), compose.barred(choice).items),
        (say("Beaten by another"), compose.beaten(choice.beaten).items),
        (say("Remarks"), choice.remarks),
    )
    return ChooseView(
        _verdict(choice, best, limit),
        LIMITS,
        MORE_LIMITS,
        texts,
        sale,
        (),
        rows,
        ticks,
        None if limit is None else round(100 * limit / top, 2),
        "" if limit is None else quantity(digits(limit), "dB"),
        tuple((title, items) for title, items in notes if items),
        longest_of(choice),
        tuple(remedies_of(choice)),
        _drawings(state, choice),
    )


def _best(choice: Choice) -> str:
    """Return the choice worth making: the cheapest that keeps the limits; without prices, the least line that does."""
    if choice.cheapest is not None and not (choice.unpriced and not choice.cheapest.price):
        return choice.cheapest.name
    sound = [o for o in choice.unpriced if o.meets]
    return max(sound, key=lambda o: o.loss_db).name if sound else choice.cheapest.name if choice.cheapest else ""


def _verdict(choice: Choice, best: str, limit: float | None) -> str:
    bare = next((o for o in choice.unpriced if o.name == best), None)
    if bare is None or limit is None:
        return compose.choice_verdict(choice)
    return say(
        "To lose no more than {limit} dB, {line} is enough: {loss} dB.",
        limit=f"{limit:g}",
        line=best,
        loss=plain(bare.loss_db, 2),
    )


def _row(  # noqa: PLR0913 - what is shown hangs on all of it
    o: Option, now: bool, choice: Choice, state: RunState, run: Run, span: tuple[int, int], top: float, best: str
) -> Chosen:
    line, tail = compose.stretches(o)
    lay = laying(o, run, span)
    there = "" if now else address(replace(untried(state), do="lay", open=""), typed=(*untried(state).typed, *lay))
    dot, end = 100 * o.loss_db / top, 100 * o.loss_db_90 / top
    price = "" if o.price is None or now else compose.money(o.price, choice.currency)
    meets = say("within") if o.p_meets > 0.995 else say("over") if o.p_meets < 0.005 else _chance(o.p_meets)
    return Chosen(
        say("as it lies") if now else line,
        "" if now else tail,
        loss_of(o, choice.currency),
        round(dot, 2),
        round(max(0.8, end - dot), 2),
        meets,
        o.meets,
        price,
        o.name == best and not now,
        there,
        dict(lay),
    )


def _chance(p: float) -> str:
    """Return a probability as people say it.

    >>> _chance(0.83), _chance(0.04)
    ('8 in 10', '4 in 100')
    """
    tenths = round(10 * p)
    if 1 <= tenths <= 9:
        return say("{n} in 10", n=tenths)
    return say("{n} in 100", n=min(99, max(1, round(100 * p))))


# Sharing out


@dataclass(frozen=True, slots=True)
class Stretched:
    """One section a run gets, drawn along its way: where it begins and how long it is in per cent, its power in it."""

    left: float
    width: float
    way: str
    bought: bool


@dataclass(frozen=True, slots=True)
class FedRow:
    """One run: how far it reaches, what feeds it and what that loses."""

    run: str
    name: str
    route: str
    drawn: tuple[Stretched, ...]
    mark: float
    lies: str
    why: str
    loss: Opens
    short: bool


@dataclass(frozen=True, slots=True)
class ShareView:
    """The question as it stands, and the answer to it."""

    said: str
    routes: tuple[tuple[str, str, str], ...]
    budget: str
    sale: Sale
    problems: tuple[str, ...]
    rows: tuple[FedRow, ...] = ()
    notes: tuple[tuple[str, tuple[str, ...]], ...] = ()
    can: bool = False
    losses: OpenTable | None = None


def _routes(station: Station, asked: Mapping[str, str]) -> tuple[tuple[str, str, str], ...]:
    """Return the runs, each with the name of its field and how far it reaches."""
    return tuple(
        (
            run.name,
            f"{ASKED}{ROUTE}{i}",
            asked.get(f"{ROUTE}{i}", "" if run.wishes.route_m is None else f"{run.wishes.route_m:g} m"),
        )
        for i, run in enumerate(station.runs)
    )


def _routed(station: Station, routes: Sequence[tuple[str, str, str]]) -> Station:
    runs = []
    for run, (name, _, typed) in zip(station.runs, routes, strict=True):
        text = typed.strip()
        try:
            bare = text.replace(",", ".").replace(".", "", 1).isdigit()
            far = length_m(f"{text.replace(',', '.')} m" if bare else text, "route") if text else None
        except InputError as error:
            raise InputError(say("route of {run}", run=name), error.rule, cure=error.cure) from error
        runs.append(replace(run, wishes=replace(run.wishes, route_m=far)))
    return replace(station, runs=tuple(runs))


def shared_out(request: Request, state: RunState, drawn: Drawn) -> Shared | RedirectResponse | None:
    """Return the sharing-out an address asks for; a page to wait on where it takes long, None where nothing is asked.

    Raises
    ------
    InputError, CannotError
        If it cannot be asked, or not be answered.
    """
    asked = asked_of(state)
    station = drawn.base.station
    routes = _routes(station, asked)
    if not any(text.strip() for _, _, text in routes):
        return None
    sale = sale_of(asked, state.station, station, 50.0)
    wanted = _routed(station, routes)
    budget = money(asked.get("budget", "").strip(), "budget") if asked.get("budget", "").strip() else 0.0
    sold = prices_of(sale.prices, station)

    def job(tell: Tell) -> Shared:
        from linewright.verbs.share import share_shelf

        offered: dict[str, Any] = {"prices": sold} if sold.offers else {}
        return share_shelf(wanted, budget=budget, progress=tell, **offered)

    back = address(replace(state, view="share"))
    name = f"share {drawn.draft.key} {drawn.draft.version} {drawn.draft.evidence} {urlencode(sorted(asked.items()))}"
    work = works_of(request).begin(name, say("Sharing out the shelf"), back, job)
    if not work.wait():
        return RedirectResponse(work.address, 303)
    found: Shared = work.answer()
    return found


def _sharing(request: Request, state: RunState, drawn: Drawn) -> ShareView | RedirectResponse:
    asked = asked_of(state)
    routes = _routes(drawn.base.station, asked)
    sale = sale_of(asked, state.station, drawn.base.station, 50.0)
    problems: tuple[str, ...] = ()
    shared: Any = None
    try:
        shared = shared_out(request, state, drawn)
    except InputError as error:
        problems = tuple(said(error))
    except CannotError as error:
        problems = (str(error),)
    if isinstance(shared, RedirectResponse):
        return shared
    budget = asked.get("budget", "")
    if shared is None:
        words = say(
            "Enter how far each run reaches: the pieces of the shelf are then shared out so that the total loss is"
            " least."
        )
        return ShareView(words, routes, budget, sale, problems)
    lengths = {tag: p.length_m for tag, p in drawn.base.station.pieces.items()}
    far = max([f.route_m + max(0.0, f.spare_m) for f in shared.fed], default=1.0) or 1.0
    left = compose.left_over(shared)
    notes = (
        (say("To buy"), compose.to_buy(shared).items),
        (say("Left over"), (left,) if left else ()),
        (
            say("Where the cautious plan, by 90th-percentile losses, differs"),
            tuple(f"{f.run}: {compose.lies(f)}" for f in shared.cautious),
        ),
        (say("Worth measuring first"), tuple(w.why for w in shared.worth)),
        (say("Remarks"), shared.remarks),
    )
    return ShareView(
        compose.sharing_verdict(shared),
        routes,
        budget,
        sale,
        (),
        tuple(_fed(f, lengths, far, shared) for f in shared.fed),
        tuple((title, items) for title, items in notes if items),
        all(f.short_m <= 0 for f in shared.fed),
        _losses(shared),
    )


def _losses(shared: Shared) -> OpenTable:
    keys: list[list[Key]] = [
        [(), (), key, key] for f in shared.fed for x in f.losses for key in [("loss", f.run, x.frequency_hz)]
    ]
    return open_table(compose.losses(shared), shared.workings, keys)


def _fed(f: Fed, lengths: Mapping[str, float], far: float, shared: Shared) -> FedRow:
    worst = max(f.losses, key=lambda x: x.loss_db, default=None)
    whole = [(tag, lengths.get(tag, 0.0), False) for tag in f.pieces]
    whole += [(f.bought.line, f.bought.length_m, True)] if f.bought else []
    total = sum(m for _, m, _ in whole) or 1.0
    drawn, at = [], 0.0
    for _, m, bought in whole:
        a, b = (100.0 * 10 ** (-(worst.loss_db if worst else 0.0) * x / total / 10) for x in (at, at + m))
        drawn.append(
            Stretched(round(100 * at / far, 2), round(100 * m / far, 2), f"M0 0H100V{b:.1f}L0 {a:.1f}Z", bought)
        )
        at += m
    said_loss = (
        ""
        if worst is None
        else say(
            "{loss} dB ({low} to {high})",
            loss=plain(worst.loss_db, 2),
            low=plain(worst.loss_db_low, 2),
            high=plain(worst.loss_db_high, 2),
        )
    )
    loss = opens(said_loss, shared.workings, ("loss", f.run, worst.frequency_hz)) if worst else Opens("")
    return FedRow(
        f.run,
        f.run,
        metres(f.route_m),
        tuple(drawn),
        round(min(100.0, 100 * f.route_m / far), 2),
        compose.lies(f),
        f.why,
        loss,
        f.short_m > 0,
    )


def below_of(request: Request, state: RunState, drawn: Drawn) -> Any:
    """Return what the view of an address shows where it is more than the plan says.

    A page to wait on comes back where it takes long, None where the plan has it all.
    """
    if state.view == "choose":
        return _choosing(request, state, drawn)
    if state.view == "share":
        return _sharing(request, state, drawn)
    return None
