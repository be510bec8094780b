"""The page that shares out the pieces on hand among a station's runs, as its template shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from linewright.core.errors import InputError
from linewright.core.formatting import metres
from linewright.core.nouns.bench_result import Key, Working
from linewright.core.nouns.choice import Fed, Shared
from linewright.core.nouns.station import Station
from linewright.core.quantities import length_m
from linewright.present.compose import choice as compose
from linewright.web.rendering import PageChart, chart
from linewright.web.workings import OpenTable, open_table

HERE = "/runs/share"


@dataclass(frozen=True, slots=True)
class FedRun:
    """One run, and in words what feeds it and why that; ``hungry`` where nothing bridges its route."""

    name: str
    route: str
    lies: str
    why: str
    hungry: bool


@dataclass(frozen=True, slots=True)
class SharedOut:
    """The answer, as the page shows it."""

    verdict: str
    chart: PageChart
    fed: tuple[FedRun, ...]
    losses: OpenTable
    to_buy: tuple[str, ...]
    left_over: str
    cautious: tuple[FedRun, ...]
    worth: tuple[str, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class RouteField:
    """How far one run reaches, as it stands in the form."""

    run: str
    name: str
    held: str


@dataclass(frozen=True, slots=True)
class SharePage:
    """The form as it stands and the answer to it; None where it is not asked yet or cannot be read."""

    key: str
    station: str
    back: str
    routes: tuple[RouteField, ...]
    budget: str
    prices: str
    asked: str
    problems: tuple[str, ...]
    found: SharedOut | None


def routes_of(station: Station, given: Mapping[str, str]) -> tuple[RouteField, ...]:
    """Return the fields of the routes: as typed, else as the station states them."""
    return tuple(
        RouteField(run.name, f"route{i}", given.get(f"route{i}", _stated(run.wishes.route_m)))
        for i, run in enumerate(station.runs, 1)
    )


def _stated(route_m: float | None) -> str:
    return "" if route_m is None else f"{route_m:g} m"


def routed(station: Station, routes: Sequence[RouteField]) -> Station:
    """Return a station whose runs reach as far as the form says; one left empty keeps the pieces it has.

    Raises
    ------
    InputError
        If a route cannot be read.
    """
    runs = []
    for run, field in zip(station.runs, routes, strict=True):
        text = field.held.strip()
        try:
            far = length_m(f"{text} m" if text.replace(",", ".").replace(".", "", 1).isdigit() else text, "route")
        except InputError as error:
            if text:
                raise InputError(f"route of {run.name}", error.rule, cure=error.cure) from error
            far = None
        runs.append(replace(run, wishes=replace(run.wishes, route_m=far)))
    return replace(station, runs=tuple(runs))


def told(shared: Shared, lengths_m: Mapping[str, float]) -> SharedOut:
    """Return a sharing-out as its page shows it."""
    from linewright.present.charts.assignment import assignment_chart

    about = "Which piece goes to which run, as bars along each route; the words and the table below have it all."
    return SharedOut(
        compose.sharing_verdict(shared),
        chart(lambda width: assignment_chart(shared, lengths_m, width_px=width), about),
        tuple(map(_fed, shared.fed)), _losses(shared), compose.to_buy(shared).items, compose.left_over(shared),
        tuple(map(_fed, shared.cautious)), tuple(w.why for w in shared.worth),
        shared.cautions, shared.remarks, shared.workings,
    )  # fmt: skip


def _fed(run: Fed) -> FedRun:
    return FedRun(run.run, metres(run.route_m), compose.lies(run), run.why, run.short_m > 0)


def _losses(shared: Shared) -> OpenTable:
    keys: list[Key] = [("loss", run.run, x.frequency_hz) for run in shared.fed for x in run.losses]
    return open_table(compose.losses(shared), shared.workings, [((), (), key, key) for key in keys])
