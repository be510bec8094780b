"""Plans kept side by side: the run as it stands, as it is changed now, and every plan that was kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from linewright.errors import InputError
from linewright.model.plan import BandFinding
from linewright.report.plan_words import watts
from linewright.units.writing import frequency, plain
from linewright.web.controls import Group, changes_of, filled, sifted
from linewright.web.drawn import Bar, bar
from linewright.web.explain import word
from linewright.web.run_state import RunState, address, sorted_values
from linewright.web.stations import Held

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


def sides(state: RunState, groups: Sequence[Group], found: Held) -> tuple[Side, ...]:
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


def _sides(held: Held, run: str, plans: Sequence[_Tried]) -> tuple[Side, ...]:
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
