"""Tables of a station's report: the power on its way, bands, ratings, lengths to cut."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from linewright.model.plan import BandFinding, Budget, PartFinding, Plan
from linewright.report import figures
from linewright.report.document import Block, Column, Drawing, Mark, Panel, Part, Points, Row, Table
from linewright.report.plan_words import arrival, watts
from linewright.units.said import EITHER, listed, say, together
from linewright.units.writing import digits, frequency, interval, length, per_metre, percent, plain, quantity, swr

SURE_DB = 0.005
"""An interval narrower than this is not worth showing."""
NARROW_SWR = 0.1
LEAST_W = 0.05


def band_title(plan: Plan, budget: Budget, x: BandFinding) -> str:
    """Return what to call a band: its frequency, with its run where there are several."""
    if len(plan.budgets) == 1:
        return frequency(x.frequency_hz)
    return say("{run}, {frequency}", run=budget.run, frequency=frequency(x.frequency_hz))


def each(plan: Plan, row: Callable[[PartFinding], Row], kept: Callable[[PartFinding], bool]) -> tuple[Part, ...]:
    """Return a part for every run and band that has rows."""
    found = [
        Part(band_title(plan, budget, x), tuple(row(p) for p in x.parts if kept(p)))
        for budget in plan.budgets
        for x in budget.bands
    ]
    return tuple(p for p in found if p.rows)


def flows(plan: Plan) -> Iterator[Block]:
    """Yield the power on its way from radio to antenna: drawn run by run, then part by part."""
    columns = (
        Column(say("part"), "wide"), Column(say("enters"), "figure"), Column(say("leaves"), "figure"),
        Column(say("loss (95 %)"), "figure"), Column(say("behind a match"), "figure"), Column(say("heat"), "figure"),
    )  # fmt: skip
    parts = each(plan, _flow, lambda p: True)
    if not parts:
        return
    panels = tuple(Panel(partial(figures.flow, b), _drawn(b)) for b in plan.budgets if any(x.parts for x in b.bands))
    caption = say("A band a frequency from radio (left) to antenna (right), as wide as the power still on its way.")
    yield Drawing(caption, panels, Table(say("Power on its way, part by part"), columns, parts), columns=1)
    yield Points("", tuple(_grounds(plan)))


def _drawn(budget: Budget) -> str:
    """Return what a drawing of a run shows, for a person who cannot see it."""
    said = [
        say("{frequency}: {arrival}", frequency=frequency(x.frequency_hz), arrival=arrival(x)) for x in budget.bands
    ]
    return say("Power from radio to antenna, {run}. {bands}", run=budget.run, bands=together(said))


def _flow(p: PartFinding) -> Row:
    sure = p.loss_db_high - p.loss_db_low < SURE_DB
    loss = quantity(plain(p.loss_db, 2), "dB") if sure else interval(p.loss_db, p.loss_db_low, p.loss_db_high)
    cells = (_watts(p.power_in_w), _watts(p.power_out_w), loss, quantity(plain(p.matched_loss_db, 2), "dB"))
    return Row((p.name, *cells, _heat(p)))


def _watts(value: float) -> str:
    return quantity(digits(value, 3), "W")


def _heat(p: PartFinding) -> str:
    if p.heat_w < LEAST_W:
        return ""
    heat = quantity(plain(p.heat_w, 1), "W")
    if p.heat_w_per_m is None or p.heat_w_per_m < LEAST_W:
        return heat
    return together([heat, per_metre(p.heat_w_per_m, 1, "W")], ", ")


def _grounds(plan: Plan) -> Iterator[str]:
    """Say what the losses of lines rest on: names, by what they rest on."""
    found: dict[str, dict[str, None]] = {}
    for budget in plan.budgets:
        for x in budget.bands:
            for p in x.parts:
                if p.basis:
                    found.setdefault(p.basis, {})[p.name] = None
    for basis, names in found.items():
        yield say("From the {basis}: {names}.", basis=basis, names=together(list(names), ", "))


def bands(plan: Plan) -> Table:
    """Return losses, watts and SWR of every run and band."""
    columns = (
        Column(say("frequency"), "right"), Column(say("matched"), "figure"), Column(say("by SWR"), "figure"),
        Column(say("total (95 %)"), "figure"), Column(say("arrives (95 %)"), "figure"), Column(say("share"), "right"),
        Column(say("SWR at the radio (95 %)"), "figure"), Column(say("SWR at the antenna"), "figure"),
    )  # fmt: skip
    parts = tuple(Part(b.run, tuple(map(_band, b.bands))) for b in plan.budgets if b.bands)
    return Table(say("Losses, power at the antenna and standing waves"), columns, parts)


def _band(x: BandFinding) -> Row:
    return Row((
        frequency(x.frequency_hz),
        quantity(plain(x.matched_loss_db, 2), "dB"),
        quantity(plain(x.mismatch_loss_db, 2), "dB"),
        interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high),
        together(watts(x)),
        percent(x.power_at_antenna_w / x.power_w) if x.power_w > 0 else "",
        _seen(x),
        swr(x.swr_at_antenna),
    ))  # fmt: skip


def _seen(x: BandFinding) -> str:
    low, high = x.swr_at_radio_low, x.swr_at_radio_high
    if high - low < NARROW_SWR:
        return swr(x.swr_at_radio)
    return say("{value} ({low} to {high})", value=swr(x.swr_at_radio), low=swr(low), high=swr(high))


def ratings(plan: Plan) -> Table:
    """Return what every part bears of voltage and heat, beside its rating; what is beyond it is marked."""
    columns = (
        Column(say("part"), "wide"), Column(say("peak voltage"), "figure"), Column(say("rated"), "figure"),
        Column(say("margin"), "figure"), Column(say("enters"), "figure"), Column(say("power rating"), "figure"),
        Column(say("margin"), "figure"),
    )  # fmt: skip
    notes = (
        say("A margin is rating over load, the load at the upper end of its interval: below 1 is over the rating."
            " Where no rating stands, nobody states one: that is no promise."),
    )  # fmt: skip
    parts = each(plan, _rating, lambda p: p.peak_voltage_v > 0)
    return Table(say("Loads and ratings of each part"), columns, parts, notes if parts else ())


def _rating(p: PartFinding) -> Row:
    over = [m for m in (p.voltage_margin, p.heat_margin) if m is not None and m < 1.0]
    sign: Mark = "over" if over else ""
    voltage = quantity(plain(p.peak_voltage_v, 0), "V")
    rated = (_rated(p.voltage_rating_v, "V"), _margin(p.voltage_margin))
    return Row((p.name, voltage, *rated, _watts(p.power_in_w), _rated(p.power_rating_w, "W"), _margin(p.heat_margin)),
               sign)  # fmt: skip


def _rated(value: float | None, unit: str) -> str:
    return say("not stated") if value is None else quantity(plain(value, 0), unit)


def _margin(value: float | None) -> str:
    if value is None:
        return ""
    if value < 1.0:
        return say("{margin}: OVER", margin=plain(value, 2))
    return say("{margin} times", margin=plain(value, 1 if value < 100 else 0))


def cuts(plan: Plan) -> Table:
    """Return the lengths asked for, beside the length as it is."""
    columns = (
        Column(say("part"), "wide"), Column(say("as it is"), "figure"), Column(say("electrical"), "figure"),
        Column(say("cut to")),
    )  # fmt: skip
    notes = (say("By the velocity factor of the type; measure before the last cut."),)
    parts = each(plan, _cut, lambda p: bool(p.cut_m))
    return Table(say("Lengths of lines to be cut"), columns, parts, notes if parts else ())


def _cut(p: PartFinding) -> Row:
    lengths = listed([_metres(cut_m) for cut_m in p.cut_m], EITHER)
    return Row((p.name, _metres(p.length_m or 0.0), say("{angle}°", angle=plain(p.electrical_length_deg or 0.0, 0)),
                lengths))  # fmt: skip


def _metres(length_m: float) -> str:
    return length(length_m, 3)
