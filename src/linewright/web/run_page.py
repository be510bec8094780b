"""The page of one run: what an address asks, planned, and everything its template shows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from linewright.core.errors import InputError
from linewright.core.formatting import frequency, plain
from linewright.core.nouns.plan import BandFinding, Budget, Plan
from linewright.core.nouns.station import LinePart
from linewright.present.compose.plan_words import arrival, changed, watts
from linewright.verbs.plan import the_run
from linewright.verbs.what_if import differences
from linewright.web.drawing import Bar, RunDrawing, bar, draw
from linewright.web.run_state import Group, RunState, address, changes_of, filled, groups_of, sifted, sorted_values
from linewright.web.run_tables import RunTables, run_tables
from linewright.web.stations import HeldStation
from linewright.web.workings import Explained, explained, word

# Plans kept side by side: the run as it stands, as it is changed now, and every plan that was kept

NOTHING_DB = 0.05
"""A loss of signal-to-noise below this is not worth writing."""


@dataclass(frozen=True, slots=True)
class Cell:
    """What one plan does at one frequency, in words, the interval drawn, and the address that opens it."""

    arrives: str
    reach: str
    bar: Bar
    loss: str
    heard: str
    how: str


@dataclass(frozen=True, slots=True)
class Side:
    """One plan: what is changed in it, what arrives on each band, and where one goes on from it or drops it."""

    title: str
    changes: tuple[str, ...]
    cells: tuple[tuple[str, Cell | None], ...]
    go: str = ""
    drop: str = ""


@dataclass(frozen=True, slots=True)
class _Tried:
    """A plan to stand beside others: its changes, and the state of the page that opens its figures."""

    title: str
    changes: tuple[str, ...]
    opened: RunState
    go: str = ""
    drop: str = ""


def sides(state: RunState, groups: Sequence[Group], found: HeldStation) -> tuple[Side, ...]:
    """Return the plans to stand side by side; none while there is nothing to compare."""
    if not state.values and not state.kept:
        return ()
    now = state.values if state.values not in state.kept else ()
    kept = (*state.kept, now) if now else state.kept
    plans = [_Tried("As it stands", (), replace(state, values=(), kept=kept), address(state, values=()))]
    for i, one in enumerate(state.kept, start=1):
        changes, _ = sifted(found.station, state.run, changes_of(groups, filled(groups, dict(one))))
        there = replace(state, values=sorted_values(dict(one)))
        rest = tuple(k for k in state.kept if k != one)
        opened = replace(there, kept=kept)
        plans.append(_Tried(f"Kept {i}", changes, opened, address(there), address(state, kept=rest)))
    if now:
        changes, _ = sifted(found.station, state.run, changes_of(groups, dict(now)))
        plans.append(_Tried("Now", changes, state))
    return _sides(found, state.run, plans)


def _sides(held: HeldStation, run: str, plans: Sequence[_Tried]) -> tuple[Side, ...]:
    found = []
    for tried in plans:
        try:
            found.append((tried, {x.frequency_hz: x for x in held.plan(run, tried.changes).budgets[0].bands}))
        except InputError:
            continue
    hertz = sorted({f for _, bands in found for f in bands})
    most = max((x.power_w for _, bands in found for x in bands.values()), default=1.0)
    return tuple(
        Side(
            tried.title, tried.changes,
            tuple((frequency(f), _cell(bands[f], most, tried.opened) if f in bands else None) for f in hertz),
            tried.go, tried.drop,
        )
        for tried, bands in found
    )  # fmt: skip


def _cell(x: BandFinding, most: float, opened: RunState) -> Cell:
    arrives, reach = watts(x)
    drawn = bar(x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high, most)
    lost = x.reception.reception_loss_db if x.reception else 0.0
    heard = f"{plain(lost, 1)} dB" if lost >= NOTHING_DB else ""
    how = f"{address(opened, how=word('power', x.frequency_hz))}#worked"
    return Cell(arrives, reach, drawn, f"{plain(x.total_loss_db, 2)} dB", heard, how)


# The page of one run: what an address asks, planned, and everything its template shows

Values = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class TriedChange:
    """What one change of a part would give, and the address that makes it."""

    words: str
    gives: str
    address: str


@dataclass(frozen=True, slots=True)
class PartView:
    """The part that is looked at: what it does on each band, and what changing it would give."""

    number: int
    name: str
    basis: str
    rows: tuple[tuple[str, ...], ...]
    remedies: tuple[TriedChange, ...]
    close: str


@dataclass(frozen=True, slots=True)
class RunPage:
    """All that the page of a run shows. ``values`` is what every field holds, by name."""

    station: str
    run: str
    back: str
    choose: str
    state: RunState
    kept_texts: tuple[str, ...]
    verdict: str
    weakest: str
    over: tuple[str, ...]
    change: str
    changes: tuple[str, ...]
    problems: tuple[str, ...]
    drawn: RunDrawing
    part_addresses: tuple[str, ...]
    part: PartView | None
    how: Explained | None
    how_close: str
    tables: RunTables
    zone: str
    """The address of the drawing of the zone to keep clear; empty where the antenna's lengths are not known."""
    sides: tuple[Side, ...]
    keep: str
    clear: str
    groups: tuple[Group, ...]
    values: dict[str, str]
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]


def run_page(state: RunState, found: HeldStation) -> RunPage:
    """Return the page of a run of a station.

    Raises
    ------
    InputError
        If the run is not there; a field that cannot be read is told on the page instead.
    """
    run = the_run(found.station, state.run)
    groups = groups_of(found.station, run)
    given = dict(state.values)
    values = filled(groups, given)
    state = replace(state, run=run.name, values=sorted_values(values))
    changes, wrong = sifted(found.station, run.name, changes_of(groups, values))
    plan, base = found.plan(run.name, changes), found.plan(run.name)
    budget, before = plan.budgets[0], base.budgets[0]
    parts = [p.name for p in budget.bands[0].parts]
    kept = sides(state, groups, found)
    return RunPage(
        station=plan.station, run=run.name, back=f"/runs?{_station(state)}", choose=_choose(state), state=state,
        kept_texts=tuple(urlencode(k) for k in state.kept), verdict=verdict(budget),
        weakest=_worst(budget).weakest, over=tuple(_over(budget)),
        change=_change(before, budget) if changes else "", changes=changes,
        problems=tuple(str(p) for error in wrong for p in (getattr(error, "problems", ()) or (error,))),
        drawn=draw(budget.bands, before.bands if changes else ()),
        part_addresses=tuple(address(state, at=i, how="") for i in range(1, len(parts) + 1)),
        part=_part(state, found, budget, groups), how=explained(state.how, budget.workings),
        how_close=address(state, how=""), tables=run_tables(state, plan),
        zone=_zone(state, found, changes), sides=kept,
        keep=address(state, kept=(*state.kept, state.values)) if changes and state.values not in state.kept else "",
        clear=address(state, values=()) if values else "", groups=groups,
        values=_held(groups, values), remarks=_remarks(plan), cautions=plan.cautions,
    )  # fmt: skip


def _zone(state: RunState, found: HeldStation, changes: Sequence[str]) -> str:
    run = the_run(found.changed(changes, state.run), state.run)
    if run.antenna.shape is None:
        return ""
    return f"/runs/zone?{urlencode([('station', state.station), ('run', state.run), *state.values])}"


def verdict(budget: Budget) -> str:
    """Return the answer first: of several frequencies the one where least arrives."""
    worst = _worst(budget)
    if len(budget.bands) == 1:
        return f"At {frequency(worst.frequency_hz)}, {arrival(worst)}"
    return f"Least arrives at {frequency(worst.frequency_hz)}: {arrival(worst)}"


def _worst(budget: Budget) -> BandFinding:
    return max(budget.bands, key=lambda x: x.total_loss_db)


def _over(budget: Budget) -> Iterator[str]:
    """Yield what is over a rating, and where; a rating from memory proves nothing."""
    for x in budget.bands:
        for p in x.parts:
            margins = {"voltage": p.voltage_margin, "heat": p.heat_margin}
            for what in p.beyond("known"):
                yield f"At {frequency(x.frequency_hz)}: {what} over the rating of {p.name}, margin {margins[what]:.2f}."


def _change(before: Budget, after: Budget) -> str:
    """Return what the changes do, where they do most."""
    found = [d for d in differences(before, after) if d.delivered_db is not None]
    if not found:
        return ""
    most = max(found, key=lambda d: abs(d.delivered_db or 0.0))
    at = f"Most changes at {frequency(most.frequency_hz)}. " if len(found) > 1 else ""
    return f"{at}{changed(most)}"


def _station(state: RunState) -> str:
    return urlencode({"station": state.station})


def _choose(state: RunState) -> str:
    return f"/runs/choose?{urlencode({'station': state.station, 'run': state.run})}"


def _held(groups: Sequence[Group], values: dict[str, str]) -> dict[str, str]:
    return {c.name: values.get(c.name, c.base) for g in groups for c in g.controls} | {"with": values.get("with", "")}


def _remarks(plan: Plan) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*plan.budgets[0].all_remarks, *plan.remarks)))


def _part(state: RunState, found: HeldStation, budget: Budget, groups: Sequence[Group]) -> PartView | None:
    """Return the part looked at; its number counts the parts as they are planned."""
    i = state.at - 1
    if not 0 <= i < len(budget.bands[0].parts):
        return None
    shown = [(x, x.parts[i]) for x in budget.bands]
    rows = tuple(
        (
            frequency(x.frequency_hz), f"{p.loss_db:.2f} dB ({p.loss_db_low:.2f} to {p.loss_db_high:.2f})",
            f"{p.power_in_w:.3g} W", f"{p.power_out_w:.3g} W", f"{p.heat_w:.2g} W", f"{p.peak_voltage_v:.0f} V",
            address(state, how=f"part{state.at}@{x.frequency_hz:.0f}"), str(state.at),
        )
        for x, p in shown
    )  # fmt: skip
    name, basis = shown[0][1].name, shown[0][1].basis
    return PartView(state.at, name, basis, rows, tuple(_remedies(state, found, budget, groups)), address(state, at=0))


def _remedies(state: RunState, found: HeldStation, budget: Budget, groups: Sequence[Group]) -> list[TriedChange]:
    """Return what leaving a part out would give, or a line half as long, or one of the thickest type."""
    if any(name.startswith("out") or name == "with" for name, _ in state.values):
        return []  # Parts are then counted otherwise than in the form.
    part = the_run(found.station, state.run).chain[state.at - 1]
    tried = {"Without it": {f"out{state.at}": "on"}}
    if isinstance(part, LinePart):
        length = dict(state.values).get(f"length{state.at}", f"{part.piece.length_m:g}")
        if half := _half(length):
            tried = {"Half as long": {f"length{state.at}": half}} | tried
    out = []
    for words, change in tried.items():
        values = filled(groups, dict(state.values) | change)
        try:
            plan = found.plan(state.run, changes_of(groups, values))
        except InputError:
            continue
        gives = _gives(budget.bands, plan.budgets[0].bands)
        out.append(TriedChange(words, gives, address(state, values=sorted_values(values), at=state.at)))
    return out


def _half(length: str) -> str:
    try:
        return f"{float(length) / 2:.4g}"
    except ValueError:
        return ""


def _gives(now: Sequence[BandFinding], then: Sequence[BandFinding]) -> str:
    pairs = [(a, b) for a, b in zip(now, then, strict=False) if a.frequency_hz == b.frequency_hz]
    if not pairs:
        return ""
    a, b = max(pairs, key=lambda pair: abs(pair[0].total_loss_db - pair[1].total_loss_db))
    return f"{watts(b)[0]} instead of {watts(a)[0]} at {frequency(a.frequency_hz)}"
