"""Which charts there are of a thing, and each of them: a bench sheet, a station, sweeps, a piece of the ledger.

Every verb returns charts, the main one first; ``chosen`` picks one by its kind, and ``Chart.draw`` lays it out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from linewright.core.errors import InputError, UnknownNameError
from linewright.core.frozen import dataclass
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say, written
from linewright.core.nouns.line import LineType

if TYPE_CHECKING:
    from linewright.core.nouns.bench import BenchSheet
    from linewright.core.nouns.bench_result import BenchResult
    from linewright.core.nouns.choice import Prices
    from linewright.core.nouns.plan import Budget
    from linewright.core.nouns.station import Station
    from linewright.core.nouns.sweep import SweepReport
    from linewright.present.charts.theme import Spec
    from linewright.store.ledger import Ledger

# Which charts there are of a thing, and each of them: a bench sheet, a station, sweeps, a piece of the ledger

Progress = Callable[[float, str], None]

USUAL_HZ = 144.3e6
"""Where a piece that was never tested is looked at."""
OF_A_RUN = {
    "flow": mark("Power from radio to antenna, part by part."),
    "reception": mark("What the run takes from reception."),
    "exposure": mark("How far to keep away, by band and limit."),
}
ZONE = mark("The zone to keep clear around the antenna, from above and from the side.")
OF_CHOICE = {
    "trade-off": mark("Price against loss of what may be bought."),
    "longest-run": mark("How long each line may be on each band."),
}


class ChartLayout(Protocol):
    """A function that lays out a chart: takes ``width_px``, ``palette`` and ``manner``; returns a specification."""

    def __call__(self, **look: Any) -> Spec:
        """Return the specification."""
        ...


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart that can be drawn: its kind, what it shows in a sentence, and how it is laid out."""

    kind: str
    about: str
    draw: ChartLayout


@dataclass(frozen=True, slots=True)
class ChartWish:
    """What is asked of a station's charts: the run, prices for what may be bought, the person's own line types."""

    run: str | None = None
    prices: Prices | None = None
    own: Sequence[LineType] = ()


def chosen(charts: Sequence[Chart], kind: str | None = None) -> Chart:
    """Return the chart of a kind, or the main one.

    Raises
    ------
    UnknownNameError
        If there is none of that kind; the message lists what there is.
    """
    if not charts:
        raise InputError("chart", say("needs something that was read or found; there is nothing to draw"))
    found = charts[0] if kind is None else next((c for c in charts if c.kind == kind.strip().lower()), None)
    if found is None:
        rule = say("must be one that there is of this; got {value}", value=repr(kind))
        raise UnknownNameError("kind", rule, cure=say("There is {known}.", known=", ".join(c.kind for c in charts)))
    return found


def charts_of_file(
    path: Path | str, wanted: ChartWish | None = None, *, progress: Progress | None = None
) -> list[Chart]:
    """Return the charts of a TOML file: a station if it holds runs, else a bench sheet.

    Parameters
    ----------
    path : Path or str
        The file; files it names are looked for beside it.
    wanted : Wanted, optional
        Which run, which prices, own line types.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done.

    Returns
    -------
    list of Chart
        Each with its kind, its words and how to draw it; ``render`` makes bytes of ``draw()``.

    Raises
    ------
    InputError
        If the file breaks a rule.

    >>> from linewright.verbs.examples import demo_file
    >>> [chart.kind for chart in charts_of_file(demo_file("harbour-ridge-2025.toml"))]
    ['loss', 'doubts', 'pull']
    """
    from linewright.files.sheet import read_bench_sheet
    from linewright.files.station import read_station
    from linewright.files.tables import SourceText, read_text
    from linewright.verbs.prove import prove_cable

    path, wanted = Path(path), wanted or ChartWish()
    tables = SourceText(str(path), read_text(path, "chart")).parsed()
    if "run" in tables or "station" in tables:
        return charts_of_station(read_station(path, wanted.own), wanted, progress=progress)
    sheet = read_bench_sheet(path, wanted.own)
    return charts_of_bench(sheet, prove_cable(sheet, progress=progress))


def charts_of_bench(sheet: BenchSheet, result: BenchResult) -> list[Chart]:
    """Return the charts of a bench sheet and what it says."""
    from linewright.present.charts.doubts import doubts_chart
    from linewright.present.charts.loss import loss_chart
    from linewright.present.charts.pull import pull_chart
    from linewright.present.charts.trust import trust_chart

    doubts = Chart("doubts", say("Readings to doubt, beside what was expected."), partial(doubts_chart, result, sheet))
    trust = Chart("trust", say("Which meter to believe on which band."), partial(trust_chart, result, sheet))
    of_losses = [
        Chart("loss", say("Loss of every piece against frequency."), partial(loss_chart, result, sheet)),
        Chart("pull", say("What the type claims, the readings alone, and both."), partial(pull_chart, result, sheet)),
    ]
    lossy, metered = bool(result.losses), bool(result.meters)
    return [*of_losses[:lossy], *([trust] if metered else []), doubts, *of_losses[1 : 1 + lossy]]


def charts_of_station(station: Station, wanted: ChartWish, *, progress: Progress | None = None) -> list[Chart]:
    """Return the charts of a run of a station, and of the sharing-out of its pieces where runs state a route.

    Where the station has several runs and none is named, the charts of a run say so when they are laid out.
    """
    from linewright.present.compose.figures import zone_of
    from linewright.verbs.plan import plan_station, the_run

    names = [run.name for run in station.runs]
    routed = any(one.wishes.route_m is not None for one in station.runs)
    sharing = [_sharing(station, wanted, progress)] if routed else []
    if wanted.run is None and len(names) > 1:
        return [*_of_no_run(names, wanted), *sharing]
    run = the_run(station, wanted.run or names[0])
    (budget,) = plan_station(station, run=run.name, own=wanted.own, progress=progress).budgets
    drawn = zone_of(run, budget, station.rules)
    zone = [] if drawn is None else [Chart("zone", say(ZONE), drawn)]
    choosing = _of_choice(station, run.name, wanted, progress) if wanted.prices else []
    return [*_of_budget(budget), *zone, *choosing, *sharing]


def _of_no_run(names: Sequence[str], wanted: ChartWish) -> list[Chart]:
    """Return the charts there are of a run, none of which can be laid out before one is named."""

    def draw(**_: Any) -> Spec:
        raise InputError("--run", say("must be named"), cure=say("There is {known}.", known=", ".join(names)))

    return [Chart(kind, say(about), draw) for kind, about in (OF_A_RUN | (OF_CHOICE if wanted.prices else {})).items()]


def _of_budget(budget: Budget) -> list[Chart]:
    from linewright.present.charts.exposure import exposure_chart
    from linewright.present.charts.flow import flow_chart
    from linewright.present.charts.reception import reception_chart

    layouts: dict[str, Callable[..., Spec]] = {"flow": flow_chart}
    if any(x.reception for x in budget.bands):
        layouts["reception"] = reception_chart
    if any(x.exposure for x in budget.bands):
        layouts["exposure"] = exposure_chart
    return [Chart(kind, say(OF_A_RUN[kind]), partial(layout, budget)) for kind, layout in layouts.items()]


def _of_choice(station: Station, run: str, wanted: ChartWish, progress: Progress | None) -> list[Chart]:
    from linewright.present.charts.longest_run import longest_run_chart
    from linewright.present.charts.trade_off import trade_off_chart
    from linewright.verbs.choose import choose_for

    assert wanted.prices is not None
    choice = choose_for(station, run, wanted.prices, own=wanted.own, progress=progress)
    layouts = {"trade-off": trade_off_chart, "longest-run": longest_run_chart}
    return [Chart(kind, say(OF_CHOICE[kind]), partial(layout, choice)) for kind, layout in layouts.items()]


def _sharing(station: Station, wanted: ChartWish, progress: Progress | None) -> Chart:
    """Return the chart of who gets which piece; sharing takes a while, so it is done when the chart is laid out."""
    from linewright.present.charts.assignment import assignment_chart
    from linewright.verbs.share import share_shelf

    def draw(**look: Any) -> Spec:
        shared = share_shelf(station, prices=wanted.prices, own=wanted.own, progress=progress)
        return assignment_chart(shared, {tag: piece.length_m for tag, piece in station.pieces.items()}, **look)

    return Chart("sharing", say("Who gets which piece."), draw)


def charts_of_sweep(report: SweepReport) -> list[Chart]:
    """Return the charts of what sweeps of a line say.

    Parameters
    ----------
    report : SweepReport
        What ``read_sweep`` returned.

    Returns
    -------
    list of Chart
        As of ``charts_of_file``.

    Raises
    ------
    InputError
        If the argument is no report.

    >>> from linewright.verbs.examples import demo_file
    >>> from linewright.verbs.sweep import read_sweep
    >>> [chart.kind for chart in charts_of_sweep(read_sweep([demo_file("drum.s2p")]))]
    ['profile', 'law']
    """
    from linewright.present.charts.law import law_chart
    from linewright.present.charts.profile import profile_chart

    found = report.finding
    along, law = say("What comes back along the line, and its faults."), say("Loss of the line against frequency.")
    of_along = Chart("profile", along, partial(profile_chart, report.along, found.name)) if report.along else None
    of_law = Chart("law", law, partial(law_chart, found)) if found.law is not None else None
    return [chart for chart in (of_along, of_law) if chart is not None]


def charts_of_kept(
    ledger: Ledger,
    name: str | None,
    wanted: ChartWish | None = None,
    *,
    station: str | None = None,
    progress: Progress | None = None,
) -> list[Chart]:
    """Return the charts of the piece of this tag, else of the session, the station or the run of this name.

    Without a name they are those of the station that is kept; ``station`` says which, where several are.

    Parameters
    ----------
    name : str or None
        The tag or the name.
    wanted : Wanted, optional
        Which run, which prices, own line types.
    station : str, optional
        Which station, where several are kept.

    Returns
    -------
    list of Chart
        As of ``charts_of_file``.

    Raises
    ------
    UnknownNameError
        If nothing of the ledger answers to the name.
    InputError
        If several stations could be meant.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     [chart.kind for chart in charts_of_kept(ledger, "blue 7")]
    ['loss', 'ladder', 'years']
    """
    from linewright.store import items
    from linewright.verbs.shelf_sessions import prove_session, sheet_of
    from linewright.verbs.shelf_stations import kept_runs, station_of, the_station

    wanted = wanted or ChartWish()
    if name is None:
        name = the_station(ledger, station, run=wanted.run)
        return charts_of_station(station_of(ledger, name, whole=True, progress=progress), wanted, progress=progress)
    with ledger.reads() as snapshot:
        kept = {kind for kind in ("piece", "sheet", "station") if items.find(snapshot, kind, name) is not None}
    if "piece" in kept:
        return charts_of_piece(ledger, name)
    if "sheet" in kept:
        return charts_of_bench(sheet_of(ledger, name), prove_session(ledger, name, progress=progress))
    if "station" in kept:
        return charts_of_station(station_of(ledger, name, whole=True, progress=progress), wanted, progress=progress)
    if name.lower() in (run.run.lower() for run in kept_runs(ledger).runs):
        known = station_of(ledger, the_station(ledger, station, run=name), whole=True, progress=progress)
        return charts_of_station(known, replace(wanted, run=name), progress=progress)
    rule = say("must be a file, or a piece, session, station or run of the ledger; got {value}", value=repr(name))
    raise UnknownNameError("what to draw", rule, cure=say("The command linewright shelf list shows what is kept."))


def charts_of_piece(ledger: Ledger, tag: str) -> list[Chart]:
    """Return the charts of a piece of the ledger: what is believed of it, how that grew, and its years."""
    from linewright.present.charts.ladder import ladder_chart
    from linewright.present.charts.piece import piece_chart, years_chart
    from linewright.verbs.history import history_of, ladder_of
    from linewright.verbs.shelf_beliefs import belief_of_piece

    history = history_of(ledger, tag)
    at_hz = history.points[0].frequency_hz if history.points else USUAL_HZ
    noun, rungs = ladder_of(ledger, tag, at_hz)
    belief = belief_of_piece(ledger, tag).belief
    charts = [Chart("years", say("Its loss over the years."), partial(years_chart, history))]
    if rungs:
        grew = say("How the belief grew, test by test.")
        charts.insert(0, Chart("ladder", grew, partial(ladder_chart, noun.tag, rungs, at_hz)))
    if belief is not None:
        charts.insert(0, Chart("loss", say("Its loss against frequency."), partial(piece_chart, noun, belief)))
    return charts


# The document of a chart: which charts there are of a thing, the one asked for, and the table it is drawn from

PLACES = frozenset({"x", "x2", "y", "y2", "words"})
"""What a mark of the key or the frame has alone: where it stands on the paper, and its words."""


@dataclass(frozen=True, slots=True)
class Listing:
    """The charts there are of ``what``, and the kind and specification of the one asked for, if one was."""

    what: str
    charts: Sequence[Chart]
    kind: str | None = None
    specification: dict[str, Any] | None = None
    manner: Manner = ENGLISH

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/chart/1``."""
        known = [{"kind": c.kind, "about": written(c.about, self.manner)} for c in self.charts]
        table = None if self.specification is None else table_of(self.specification)
        return {
            "schema": "linewright/chart/1", "what": self.what, "charts": known, "kind": self.kind,
            "specification": self.specification, "table": table,
        }  # fmt: skip


def table_of(specification: dict[str, Any]) -> list[dict[str, Any]]:
    """Return every row of figures that a chart draws, each once, in the order they are drawn.

    >>> table_of({"layer": [{"data": {"values": [{"loss_db": 1.0}, {"loss_db": 1.0}, {"x": 0.0, "words": "key"}]}}]})
    [{'loss_db': 1.0}]
    """
    rows = {repr(sorted(row.items())): row for row in _rows(specification) if not row.keys() <= PLACES}
    return list(rows.values())


def _rows(part: Any) -> Iterator[dict[str, Any]]:
    if isinstance(part, list):
        for inner in part:
            yield from _rows(inner)
    elif isinstance(part, dict):
        data = part.get("data")
        values = data.get("values", []) if isinstance(data, dict) else []
        yield from (row for row in values if isinstance(row, dict))
        for name, inner in part.items():
            if name != "data":
                yield from _rows(inner)
