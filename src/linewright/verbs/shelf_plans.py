"""Plans beside the runs of a kept station: listed, kept, compared with what lies, laid in the run's place, dropped."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from copy import deepcopy
from typing import Any

from linewright.core.errors import InputError, UnknownNameError
from linewright.core.messages import say
from linewright.core.nouns.plan import Budget
from linewright.core.nouns.shelf import Kept, KeptPlan, KeptPlans
from linewright.core.nouns.station import Station
from linewright.store.ledger import Ledger
from linewright.verbs.beliefs import Beliefs
from linewright.verbs.plan import DRAWS, planned
from linewright.verbs.shelf_edits import StationGround, drawn_body, edit_station, ground_of, station_on
from linewright.verbs.shelf_items import NOW
from linewright.verbs.shelf_open import By
from linewright.verbs.shelf_stations import stations, the_station
from linewright.verbs.what_if import differences

Progress = Callable[[float, str], None]
Table = dict[str, Any]
MOST_NAME = 60
"""Signs of a plan's name."""


def kept_plans(
    ledger: Ledger, run: str | None = None, *, station: str | None = None, progress: Progress | None = None
) -> KeptPlans:
    """Return the plans that are kept beside runs, each with what it would do against the run as it lies.

    Parameters
    ----------
    run : str, optional
        The only run whose plans are wanted.
    station : str, optional
        Its station; without run and station, all of them.

    Returns
    -------
    KeptPlans
        Of each plan the fields in which it differs from its run, and a difference a frequency.

    Raises
    ------
    UnknownNameError
        If there is no such station or run.
    InputError
        If a plan breaks a rule, for a piece is gone say.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     _ = keep_plan(ledger, "portable mast", "low power", {"power": "2 W"})
    ...     (plan,) = kept_plans(ledger).plans
    ...     plan.plan, plan.fields, round(plan.differences[0].delivered_db, 1)
    ('low power', {'power': '2 W'}, -10.0)
    """
    alone = run is not None or station is not None
    names = [the_station(ledger, station, run=run)] if alone else [i.key for i in stations(ledger)]
    found: list[KeptPlan] = []
    for name in names:
        body = drawn_body(ledger, name)[0].body
        if body.get("plans"):
            found += _of_station(ground_of(ledger, name), name, body, run, progress)
        elif run is not None:
            _run_at(body["station"], run, name)
    return KeptPlans(tuple(found))


def _of_station(
    ground: StationGround, name: str, body: Mapping[str, Any], run: str | None, progress: Progress | None
) -> list[KeptPlan]:
    tables, found = body["station"], list[KeptPlan]()
    for own, plans in body["plans"].items():
        if run is not None and _plain(own) != _plain(run):
            continue
        at = _run_at(tables, own, name)
        lies = tables["run"][at]
        before = _budget(station_on(ground, tables), lies["name"], progress)
        for plan in plans:
            after = _budget(station_on(ground, _with(tables, at, plan["run"])), lies["name"], progress)
            told = tuple(differences(before, after))
            found.append(KeptPlan(name, str(lies["name"]), str(plan["plan"]), _fields(lies, plan["run"]), told))
    return found


def _budget(station: Station, run: str, progress: Progress | None) -> Budget:
    (budget,) = planned(station, run, Beliefs(station, DRAWS, progress), worked=False).budgets
    return budget


def _fields(lies: Mapping[str, Any], plan: Mapping[str, Any]) -> Table:
    """Return what a plan says otherwise than its run; None for what it leaves out."""
    return {k: plan.get(k) for k in {**lies, **plan} if k != "name" and plan.get(k) != lies.get(k)}


def keep_plan(  # noqa: PLR0913 - which run, under which name, and what is other in it
    ledger: Ledger, run: str, plan: str, told: Mapping[str, Any] | None = None, *, station: str | None = None,
    expect: int | None = None, by: By = NOW,
) -> Kept:  # fmt: skip
    """Keep a run, with some fields changed, as a plan beside it; the run stays as it lies.

    Parameters
    ----------
    run : str
        The run's name.
    plan : str
        What the plan is to be called.
    told : mapping, optional
        Fields and what they become in the plan, as they stand in a file; a field of None is taken away.

    Returns
    -------
    Kept
        The station as it stands.

    Raises
    ------
    UnknownNameError
        If there is no such run.
    InputError
        If there is a plan of this name, or what is planned breaks a rule.
    ConflictError
        If the station stands at another version than ``expect``.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     keep_plan(ledger, "portable mast", "low power", {"power": "2 W"}).item.kind
    'station'
    """
    called = " ".join(plan.split())
    if not 0 < len(called) <= MOST_NAME:
        raise InputError(
            "plan",
            say("must have a name of 1 to {most_name} signs; got {value}", most_name=MOST_NAME, value=len(called)),
        )
    name = the_station(ledger, station, run=run)
    ground = ground_of(ledger, name)

    def edit(body: Table) -> Table:
        at = _run_at(body["station"], run, name)
        own = body["station"]["run"][at]
        plans = _plans(body, own["name"])
        if any(_plain(p["plan"]) == _plain(called) for p in plans):
            raise InputError(
                "plan",
                say("must be new; {own} has a plan {called}", own=own["name"], called=repr(called)),
                cure=say("Give it another name."),
            )
        table = {k: v for k, v in {**deepcopy(own), **(told or {}), "name": own["name"]}.items() if v is not None}
        station_on(ground, _with(body["station"], at, table))
        return _planned(body, own["name"], [*plans, {"plan": called, "run": table}])

    return edit_station(ledger, name, edit, expect=expect, by=by)


def lay_plan(
    ledger: Ledger, run: str, plan: str, *, station: str | None = None, expect: int | None = None, by: By = NOW
) -> Kept:
    """Lay a plan in the place of its run, in one step that can be undone; the plan stays beside it.

    Parameters
    ----------
    run, plan : str
        The run and its plan.

    Returns
    -------
    Kept
        The station as it stands.

    Raises
    ------
    UnknownNameError
        If there is no such run, or it has no such plan.
    ConflictError
        If the station stands at another version than ``expect``.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     _ = keep_plan(ledger, "portable mast", "low power", {"power": "2 W"})
    ...     _ = lay_plan(ledger, "portable mast", "low power")
    ...     kept_plans(ledger).plans[0].fields  # it lies as planned now
    {}
    """
    name = the_station(ledger, station, run=run)

    def edit(body: Table) -> Table:
        at = _run_at(body["station"], run, name)
        own = body["station"]["run"][at]["name"]
        found = _the_plan(body, own, plan)
        assumed = {k: v for k, v in body.get("assumed", {}).items() if _plain(k) != _plain(own)}
        kept = {k: v for k, v in body.items() if k != "assumed"} | ({"assumed": assumed} if assumed else {})
        return {**kept, "station": _with(body["station"], at, found["run"])}

    return edit_station(ledger, name, edit, expect=expect, by=by)


def drop_plan(
    ledger: Ledger, run: str, plan: str, *, station: str | None = None, expect: int | None = None, by: By = NOW
) -> Kept:
    """Take a plan away from beside its run; undoing the change brings it back.

    Parameters
    ----------
    run, plan : str
        The run and its plan.

    Returns
    -------
    Kept
        The station as it stands.

    Raises
    ------
    UnknownNameError
        If there is no such run, or it has no such plan.
    ConflictError
        If the station stands at another version than ``expect``.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     _ = keep_plan(ledger, "portable mast", "low power", {"power": "2 W"})
    ...     _ = drop_plan(ledger, "portable mast", "low power")
    ...     kept_plans(ledger).plans
    ()
    """
    name = the_station(ledger, station, run=run)

    def edit(body: Table) -> Table:
        own = body["station"]["run"][_run_at(body["station"], run, name)]["name"]
        gone = _the_plan(body, own, plan)
        return _planned(body, own, [p for p in _plans(body, own) if p is not gone])

    return edit_station(ledger, name, edit, expect=expect, by=by)


def _plain(name: Any) -> str:
    return " ".join(str(name).split()).lower()


def _run_at(tables: Mapping[str, Any], run: str, station: str) -> int:
    runs = [str(r.get("name", "")) for r in tables.get("run", ())]
    at = next((i for i, own in enumerate(runs) if _plain(own) == _plain(run)), None)
    if at is None:
        rule = say("must be a run of {whole}; got {value}", whole=station, value=repr(run[:60]))
        raise UnknownNameError("run", rule, cure=say("Known are {known}.", known=", ".join(runs)))
    return at


def _with(tables: Mapping[str, Any], at: int, run: Mapping[str, Any]) -> Table:
    """Return a station's tables with another table in the place of a run, under the run's own name."""
    runs = list(tables["run"])
    runs[at] = {**deepcopy(dict(run)), "name": runs[at]["name"]}
    return {**tables, "run": runs}


def _plans(body: Mapping[str, Any], run: str) -> list[Table]:
    return next((list(found) for own, found in body.get("plans", {}).items() if _plain(own) == _plain(run)), [])


def _the_plan(body: Mapping[str, Any], run: str, plan: str) -> Table:
    plans = _plans(body, run)
    found = next((p for p in plans if _plain(p["plan"]) == _plain(plan)), None)
    if found is None:
        known = (
            say("Known are {known}.", known=", ".join(p["plan"] for p in plans)) if plans else say("It has none yet.")
        )
        raise UnknownNameError(
            "plan", say("must be a plan of {whole}; got {value}", whole=run, value=repr(plan[:60])), cure=known
        )
    return found


def _planned(body: Mapping[str, Any], run: str, plans: list[Table]) -> Table:
    """Return what is kept of a station with other plans beside a run."""
    others = {own: found for own, found in body.get("plans", {}).items() if _plain(own) != _plain(run)}
    told = {**others, **({run: plans} if plans else {})}
    return {**{k: v for k, v in body.items() if k != "plans"}, **({"plans": told} if told else {})}
