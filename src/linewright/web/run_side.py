"""Plans kept side by side: the run as it stands, as it is changed now, and every plan that was kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from linewright.errors import InputError
from linewright.model.plan import BandFinding
from linewright.report.plan_words import watts
from linewright.units.writing import frequency, plain
from linewright.web.controls import Group, changes_of, filled, sifted
from linewright.web.drawn import Bar, bar
from linewright.web.run_state import RunState, address, sorted_values
from linewright.web.stations import Held

NOTHING_DB = 0.05
"""A loss of signal-to-noise below this is not worth writing."""


@dataclass(frozen=True, slots=True)
class Cell:
    """What one plan does at one frequency, in words, and the interval drawn."""

    arrives: str
    reach: str
    bar: Bar
    loss: str
    heard: str


@dataclass(frozen=True, slots=True)
class Side:
    """One plan: what is changed in it, what arrives on each band, and where one goes on from it or drops it."""

    title: str
    changes: tuple[str, ...]
    cells: tuple[tuple[str, Cell | None], ...]
    go: str = ""
    drop: str = ""


def sides(state: RunState, groups: Sequence[Group], found: Held) -> tuple[Side, ...]:
    """Return the plans to stand side by side; none while there is nothing to compare."""
    if not state.values and not state.kept:
        return ()
    plans: list[tuple[str, tuple[str, ...], str, str]] = [("As it stands", (), address(state, values=()), "")]
    for i, kept in enumerate(state.kept, start=1):
        rest = tuple(k for k in state.kept if k != kept)
        changes, _ = sifted(found.station, state.run, changes_of(groups, filled(groups, dict(kept))))
        go = address(state, values=sorted_values(dict(kept)))
        plans.append((f"Kept {i}", changes, go, address(state, kept=rest)))
    if state.values and state.values not in state.kept:
        changes, _ = sifted(found.station, state.run, changes_of(groups, dict(state.values)))
        plans.append(("Now", changes, "", ""))
    return _sides(found, state.run, plans)


def _sides(held: Held, run: str, plans: Sequence[tuple[str, tuple[str, ...], str, str]]) -> tuple[Side, ...]:
    found = []
    for title, changes, go, drop in plans:
        try:
            found.append((title, changes, held.plan(run, changes).budgets[0].bands, go, drop))
        except InputError:
            continue
    hertz = sorted({x.frequency_hz for _, _, bands, _, _ in found for x in bands})
    most = max((x.power_w for _, _, bands, _, _ in found for x in bands), default=1.0)
    return tuple(
        Side(title, changes, tuple((frequency(f), _cell(_at(bands, f), most)) for f in hertz), go, drop)
        for title, changes, bands, go, drop in found
    )


def _at(bands: Sequence[BandFinding], f: float) -> BandFinding | None:
    return next((x for x in bands if x.frequency_hz == f), None)


def _cell(x: BandFinding | None, most: float) -> Cell | None:
    if x is None:
        return None
    arrives, reach = watts(x)
    drawn = bar(x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high, most)
    lost = x.reception.reception_loss_db if x.reception else 0.0
    heard = f"{plain(lost, 1)} dB" if lost >= NOTHING_DB else ""
    return Cell(arrives, reach, drawn, f"{plain(x.total_loss_db, 2)} dB", heard)
