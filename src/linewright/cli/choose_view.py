"""The terminal view of a choice: the verdict, the trade-off, how long each line may be, what else may be done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from linewright.cli.cells import wrapped
from linewright.cli.layout import items, page, section
from linewright.cli.table import Table
from linewright.cli.workings_view import workings_view
from linewright.model.choose import Beaten, Choice, LongestRun, Option, Remedy
from linewright.units.writing import frequencies, frequency, interval, metres

SHOWN = 8
"""Of the choices that others beat, so many are explained."""


def choose_view(choice: Choice, *, explain: bool = False) -> str:
    """Return a choice for a terminal, no line wider than 100 columns."""
    return page([
        wrapped(_verdict(choice)),
        section("What stands in the way", items(choice.binding)),
        section(_title(choice), _trade_off(choice)),
        section("Band by band", _bands(choice)),
        section("Limits", _checks(choice)),
        section("The longest run within the limit (95 %)", _longest(choice.longest)),
        section("Instead of another line", _remedies(choice.remedies, choice.currency)),
        section("Worth measuring first", items(m.why for m in choice.measure)),
        section("Left out", items(f"{b.name}: {b.why}." for b in choice.barred)),
        section("Beaten by another", _beaten(choice.beaten)),
        section("Without a price", _options(choice.unpriced, choice.currency)),
        section("Cautions", items(choice.cautions)),
        section("Remarks", items(choice.remarks)),
        workings_view(choice.workings) if explain else [],
    ])  # fmt: skip


def _verdict(choice: Choice) -> str:
    limits = sorted({b.limit_db for b in choice.as_it_is.bands})
    limit = f"{limits[0]:g} dB" if len(limits) == 1 else "the limits"
    at = frequencies([b.frequency_hz for b in choice.as_it_is.bands])
    if choice.cheapest is None:
        return f"Nothing keeps every limit within {limit} at {at}.{_now(choice)}"
    best = choice.cheapest
    said = f"Cheapest within {limit} at {at}: {best.name}, {_price(best, choice.currency)};"
    said += f" meets it with probability {_likely(best.p_meets)}."
    if choice.cautious is None:
        return f"{said} Nothing meets it with probability 0.9.{_now(choice)}"
    if choice.cautious.name != best.name:
        dear = _price(choice.cautious, choice.currency)
        said += f" To meet it with probability 0.9: {choice.cautious.name}, {dear}."
    return f"{said}{_now(choice)}"


def _now(choice: Choice) -> str:
    lost = f" The run as it is loses {choice.as_it_is.loss_db:.2f} dB"
    keeps = ", and keeps every limit" if choice.as_it_is.meets else ""
    many = " on average over its bands" if len(choice.as_it_is.bands) > 1 else ""
    return f"{lost}{many}{keeps}." if choice.as_it_is.stretches else ""


def _price(option: Option, currency: str) -> str:
    return "no price" if option.price is None else f"{option.price:.2f} {currency}".strip()


def _title(choice: Choice) -> str:
    tail = f", {metres(choice.tail_m)} of it the tail" if choice.tail_m else ""
    return f"The trade-off over {metres(choice.length_m)}{tail} (dB, means over the bands; heard: lost on reception)"


def _trade_off(choice: Choice) -> list[str]:
    per_db = {step.to_name: f"{step.price_per_db:.0f}" for step in choice.steps}
    now = (choice.as_it_is,) if choice.as_it_is.stretches else ()
    return _options((*now, *choice.trade_off), choice.currency, per_db)


def _options(options: Sequence[Option], currency: str, per_db: Mapping[str, str] | None = None) -> list[str]:
    money = currency or "price"
    table = Table(("line", "tail", money, "a dB", "loss", "90 %", "heard", "meets"), "lldrdddr")
    for o in options:
        heard = "" if o.reception_loss_db is None else f"{o.reception_loss_db:.2f}"
        price = "?" if o.price is None else f"{o.price:.2f}"
        step = (per_db or {}).get(o.name, "")
        table.add(*_sections(o), price, step, f"{o.loss_db:.2f}", f"{o.loss_db_90:.2f}", heard, _likely(o.p_meets))
    return table.lines()


def _sections(option: Option) -> tuple[str, str]:
    """Return the line and the tail of a choice in words; the run as it is has more parts than those."""
    said = [f"{s.name}, {metres(s.length_m)} on hand" if s.on_hand else s.name for s in option.stretches]
    if option.name == "as it is":
        return option.name, ""
    return said[0], said[1] if len(said) > 1 else ""


def _likely(p: float) -> str:
    """Write a probability out of 48 draws; nothing is certain."""
    return "> 0.98" if p > 0.99 else "< 0.02" if p < 0.01 else f"{p:.2f}"


def _bands(choice: Choice) -> list[str]:
    best = choice.cheapest or (choice.trade_off[-1] if choice.trade_off else choice.as_it_is)
    table = Table((best.name, "loss (95 %)", "limit", "meets", "at the antenna"), "lddrd")
    for b in best.bands:
        loss = interval(b.loss_db, b.loss_db_low, b.loss_db_high)
        watts = f"{b.power_at_antenna_w:.1f} W of {choice.power_w:g} W"
        table.add(frequency(b.frequency_hz), loss, f"{b.limit_db:g} dB", _likely(b.p_meets), watts)
    return table.lines()


def _checks(choice: Choice) -> list[str]:
    best = choice.cheapest or (choice.trade_off[-1] if choice.trade_off else choice.as_it_is)
    words = {True: "kept", False: "broken", None: "cannot tell"}
    return items(f"{c.limit}: {words[c.ok]}, {c.said}." for c in best.checks)


def _longest(runs: Sequence[LongestRun]) -> list[str]:
    table = Table(("", "", "limit", "longest", "95 %"), "lrddl")
    last = ""
    for r in runs:
        reach = f"{r.length_m_low:.1f} to {r.length_m_high:.1f} m"
        name = "" if r.line == last else r.line
        table.add(name, frequency(r.frequency_hz), f"{r.limit_db:g} dB", f"{r.length_m:.1f} m", reach)
        last = r.line
    return table.lines()


def _remedies(remedies: Sequence[Remedy], currency: str) -> list[str]:
    return items(_remedy(r, currency) for r in remedies)


def _remedy(r: Remedy, currency: str) -> str:
    heard = "" if r.reception_gain_db is None else f", {r.reception_gain_db:+.2f} dB heard"
    price = "" if r.price is None else f", {r.price:.2f} {currency}".rstrip()
    why = r.why.replace("a decibel", f"{currency} a decibel".strip())
    return f"{r.what[0].upper()}{r.what[1:]}{price}: {r.transmit_gain_db:+.2f} dB sent{heard}; {why}."


def _beaten(beaten: Sequence[Beaten]) -> list[str]:
    said = [f"{b.name} ({b.price:.2f}, {b.loss_db:.2f} dB): {b.by} {b.why}." for b in beaten[:SHOWN]]
    more = len(beaten) - SHOWN
    return items([*said, *([f"And {more} more, each beaten alike."] if more > 0 else [])])
