"""Tables of a plan: bands, parts, ratings, lengths to cut."""

from __future__ import annotations

from collections.abc import Iterator

from linewright.cli.layout import items
from linewright.cli.plan_words import shown, title
from linewright.cli.table import Table
from linewright.model.plan import BandFinding, PartFinding, Plan
from linewright.report.plan_words import watts
from linewright.units.said import together
from linewright.units.writing import frequency, interval, plain

NARROW_SWR = 0.1
SURE_DB = 0.005
"""An interval narrower than this is not worth showing."""
AMPLE = 3.0
"""A margin above this needs no second look (common practice, no source)."""


def bands(plan: Plan) -> list[str]:
    """Return losses, watts and SWR of every run and band."""
    heads = ("", "matched", "by SWR", "total (95 %)", "arrives (95 %)", "radio", "antenna")
    table = Table(heads, "rdddddd")
    for budget in plan.budgets:
        if len(plan.budgets) > 1:
            table.part(budget.run)
        for x in shown(budget):
            table.add(*_band(x))
            table.under(_swing(x))
    return table.lines()


def _band(x: BandFinding) -> tuple[str, ...]:
    return (
        frequency(x.frequency_hz),
        f"{plain(x.matched_loss_db, 2)} dB",
        f"{plain(x.mismatch_loss_db, 2)} dB",
        interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high),
        together(watts(x)),
        _swr(x.swr_at_radio),
        _swr(x.swr_at_antenna),
    )


def _swing(x: BandFinding) -> str:
    low, high = x.swr_at_radio_low, x.swr_at_radio_high
    return "" if high - low < NARROW_SWR else f"SWR at the radio: {_swr(x.swr_at_radio)} ({_swr(low)} to {_swr(high)})."


def _swr(value: float) -> str:
    return f"{value:.2f}" if value < 10 else f"{value:.0f}"


def _each(plan: Plan) -> Iterator[tuple[str, BandFinding]]:
    """Yield every band of every run with its title."""
    for budget in plan.budgets:
        for x in shown(budget):
            yield title(plan, budget, x), x


def parts(plan: Plan) -> list[str]:
    """Return what every part loses, and how warm it grows; of several runs, on the band that loses most."""
    table = Table(("", "loss (95 %)", "behind a match", "heat"), "lddr")
    gravest = [max(b.bands, key=lambda x: x.total_loss_db) for b in plan.budgets if b.bands]
    several = len(plan.budgets) > 1 and any(len(b.bands) > 1 for b in plan.budgets)
    for name, x in _each(plan):
        if several and x not in gravest:
            continue
        if x.parts:
            table.part(name)
        for p in x.parts:
            table.add(p.name, _loss(p), f"{plain(p.matched_loss_db, 2)} dB", _heat(p))
    more = ["Of every run the band that loses most; --run NAME shows them all."] if several else []
    return [*table.lines(), *items([*_grounds(plan), *more])]


def _loss(p: PartFinding) -> str:
    if p.loss_db_high - p.loss_db_low < SURE_DB:
        return f"{plain(p.loss_db, 2)} dB"
    return interval(p.loss_db, p.loss_db_low, p.loss_db_high)


def _grounds(plan: Plan) -> Iterator[str]:
    """Say what the losses of lines rest on: names, by what they rest on."""
    found: dict[str, dict[str, None]] = {}
    for _, x in _each(plan):
        for p in x.parts:
            if p.basis:
                found.setdefault(p.basis, {})[p.name] = None
    for basis, names in found.items():
        yield f"From the {basis}: {', '.join(names)}."


def _heat(p: PartFinding) -> str:
    if p.heat_w < 0.05:
        return ""
    most = f", {p.heat_w_per_m:.1f} W/m" if p.heat_w_per_m is not None and p.heat_w_per_m >= 0.05 else ""
    return f"{plain(p.heat_w, 1)} W{most}"


def ratings(plan: Plan) -> list[str]:
    """Return the parts whose margins are worth a look; where every margin is ample, one sentence says so."""
    table = Table(("", "peak voltage", "rated", "margin", "power rating", "margin"), "lrrrrr")
    narrow = False
    for name, x in _each(plan):
        close = [p for p in x.parts if _least(p) < AMPLE]
        if close:
            table.part(name)
            narrow = True
        for p in close:
            table.add(
                p.name,
                f"{p.peak_voltage_v:.0f} V",
                _or_unknown(p.voltage_rating_v, "V"),
                _margin(p.voltage_margin),
                _or_unknown(p.power_rating_w, "W"),
                _margin(p.heat_margin),
            )
    rest = "Every other" if narrow else "Every"
    return [*table.lines(), *items([f"{rest} known margin is {AMPLE:.0f} times or more. {_unrated(plan)}"])]


def _unrated(plan: Plan) -> str:
    names = dict.fromkeys(
        p.name for _, x in _each(plan) for p in x.parts if p.voltage_margin is None and p.heat_margin is None
    )
    return f"Nobody states a rating for {', '.join(names)}." if names else ""


def _least(p: PartFinding) -> float:
    return min((m for m in (p.voltage_margin, p.heat_margin) if m is not None), default=AMPLE)


def _or_unknown(value: float | None, unit: str) -> str:
    return "not stated" if value is None else f"{value:.0f} {unit}"


def _margin(value: float | None) -> str:
    if value is None:
        return ""
    return f"{value:.1f} times" if value >= 1.0 else f"{value:.2f}: OVER"


def cuts(plan: Plan) -> list[str]:
    """Return the lengths asked for, beside the length as it is."""
    table = Table(("", "as it is", "electrical", "cut to"), "lrrl")
    for name, x in _each(plan):
        asked = [p for p in x.parts if p.cut_m]
        if asked:
            table.part(name)
        for p in asked:
            lengths = " or ".join(f"{cut_m:.3f} m" for cut_m in p.cut_m)
            table.add(p.name, f"{p.length_m or 0.0:.3f} m", f"{p.electrical_length_deg or 0.0:.0f}°", lengths)
    note = "By the velocity factor of the type; measure before the last cut."
    return [*table.lines(), *items([note])] if table.lines() else []
