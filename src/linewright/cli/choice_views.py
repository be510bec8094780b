"""The terminal view of a choice: the verdict, the trade-off, how long each line may be, what else may be done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from linewright.cli.text import Table, bold, clean, items, page, paragraph, section, workings_view, wrapped
from linewright.core.formatting import frequency, interval, metres
from linewright.core.nouns.choice import Beaten, Choice, Fed, LongestRun, Option, Remedy, Shared
from linewright.present.compose import choice_words as words

# The terminal view of a choice: the verdict, the trade-off, how long each line may be, what else may be done

SHOWN = 8
"""Of the choices that others beat, so many are explained."""


def choose_view(choice: Choice, *, explain: bool = False) -> str:
    """Return a choice for a terminal, no line wider than 100 columns."""
    return page([
        wrapped(words.choice_verdict(choice)),
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


def _title(choice: Choice) -> str:
    return f"{words.title(choice)} (dB, means over the bands; heard: lost on reception)"


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
        table.add(
            *words.sections(o), price, step, f"{o.loss_db:.2f}", f"{o.loss_db_90:.2f}", heard, words.likely(o.p_meets)
        )
    return table.lines()


def _bands(choice: Choice) -> list[str]:
    best = choice.cheapest or (choice.trade_off[-1] if choice.trade_off else choice.as_it_is)
    table = Table((best.name, "loss (95 %)", "limit", "meets", "at the antenna"), "lddrd")
    for b in best.bands:
        loss = interval(b.loss_db, b.loss_db_low, b.loss_db_high)
        watts = f"{b.power_at_antenna_w:.1f} W of {choice.power_w:g} W"
        table.add(frequency(b.frequency_hz), loss, f"{b.limit_db:g} dB", words.likely(b.p_meets), watts)
    return table.lines()


def _checks(choice: Choice) -> list[str]:
    best = choice.cheapest or (choice.trade_off[-1] if choice.trade_off else choice.as_it_is)
    return items(words.check(c) for c in best.checks)


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
    return items(words.remedy(r, currency) for r in remedies)


def _beaten(beaten: Sequence[Beaten]) -> list[str]:
    said = [words.beaten(b) for b in beaten[:SHOWN]]
    more = len(beaten) - SHOWN
    return items([*said, *([f"And {more} more, each beaten alike."] if more > 0 else [])])


# The terminal view of a sharing-out: who gets what and why, what is left, what to buy, what to measure


def share_view(shared: Shared, *, explain: bool = False) -> str:
    """Return a sharing-out for a terminal, no line wider than 100 columns."""
    return page([
        wrapped(words.sharing_verdict(shared)),
        section("Who gets what", _runs(shared.fed)),
        section("Losses (95 %)", _losses(shared.fed)),
        section("Left over", paragraph(", ".join(shared.left_over))) if shared.left_over else [],
        section("Where the cautious plan, by 90th-percentile losses, differs", _runs(shared.cautious)),
        section("Worth measuring first", items(w.why for w in shared.worth)),
        section("Remarks", items(shared.remarks)),
        section("Cautions", items(shared.cautions)),
        workings_view(shared.workings) if explain else [],
    ])  # fmt: skip


def _runs(runs: Sequence[Fed]) -> list[str]:
    lines: list[str] = []
    for run in runs:
        head = clean(f"{run.run}, {metres(run.route_m)}:")
        said = wrapped(f"{head} {words.lies(run)} {run.why}", first="  ", rest="    ")
        lines += [said[0].replace(head, bold(head), 1), *said[1:]]
    return lines


def _losses(runs: Sequence[Fed]) -> list[str]:
    table = Table(("", "", "loss (95 %)", "90th percentile"), "lrdd")
    for run in runs:
        for i, x in enumerate(run.losses):
            loss = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
            table.add("" if i else run.run, frequency(x.frequency_hz), loss, f"{x.loss_db_90:.2f} dB")
    return table.lines()
