"""The page of one run: what an address asks, drawn, and everything its template shows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from typing import Any
from urllib.parse import urlencode

from linewright.core.errors import InputError
from linewright.core.formatting import capitalized, frequency, metres, plain, power, quantity, signed, swr
from linewright.core.messages import say, together
from linewright.core.nouns.plan import BandFinding, Budget, Plan
from linewright.present.compose.plan_words import arrival, changed, watts
from linewright.store.ledger import Ledger
from linewright.verbs.what_if import differences
from linewright.web import run_fields as fields
from linewright.web.drawing import Bar, DrawnBand, bar, drawn_band
from linewright.web.run_edit import Draft, Edit, apply_edit, assumed_words, standing
from linewright.web.run_edit import plain as named
from linewright.web.run_inspector import ENDS, Inspector, inspected
from linewright.web.run_state import VIEWS, RunState, address, pairs_of, untried
from linewright.web.run_tables import RunTables, run_tables
from linewright.web.stations import KEPT, Drawings, HeldStation
from linewright.web.workings import Explained, explained

NOTHING_DB = 0.05
"""A difference below this is not worth writing."""
MOST_DRAWN = 8
VIEW_WORDS = {
    "bands": say("Bands and plans"),
    "choose": say("Choose"),
    "share": say("Share"),
    "reception": say("Reception"),
    "exposure": say("Exposure"),
    "ratings": say("Ratings"),
    "through": say("SWR through"),
}


@dataclass(frozen=True, slots=True)
class PartEntry:
    """One part in the list that is the drawing: its icon, its name and what it is, and the address that opens it."""

    icon: str
    name: str
    detail: str
    address: str
    shared: str


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One plan: what it differs in, and what arrives and is heard with it on the band drawn."""

    key: str
    name: str
    differs: str
    address: str
    here: bool
    arrives: str = ""
    reach: str = ""
    bar: Bar | None = None
    lost: str = ""
    sent: str = ""
    heard: str = ""
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Steps:
    """What can be undone and done again: numbers of changes, and what they were."""

    back: int = 0
    back_words: str = ""
    again: int = 0
    again_words: str = ""


@dataclass(frozen=True, slots=True)
class RunPage:
    """All that the page of a run shows. ``hidden`` is what each of its forms sends: where one is."""

    station: str
    run: str
    back: str
    kept: bool
    state: RunState
    hidden: tuple[tuple[str, str], ...]
    verdict: str
    weakest: str
    over: tuple[str, ...]
    assumed: tuple[tuple[str, str], ...]
    change: str
    trying: bool
    problems: tuple[str, ...]
    band: DrawnBand
    bands: tuple[tuple[str, str, bool], ...]
    entries: tuple[PartEntry, ...]
    gaps: tuple[tuple[str, str], ...]
    ends: tuple[tuple[str, str, str], ...]
    radio: tuple[str, ...]
    antenna: tuple[str, ...]
    inspector: Inspector | None
    plans: tuple[PlanRow, ...]
    plan: str
    steps: Steps
    views: tuple[tuple[str, str, str], ...]
    small: tuple[tuple[DrawnBand, str, bool], ...]
    tables: RunTables
    how: Explained | None
    how_close: str
    zone: str
    through: tuple[str, str]
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]
    below: Any = None


@dataclass(frozen=True, slots=True)
class Drawn:
    """A run as an address has it: its tables as they stand and as they are tried, each with its plan."""

    draft: Draft
    tables: dict[str, Any]
    base: HeldStation
    before: Plan
    found: HeldStation
    plan: Plan
    tried: dict[str, Any]
    at: int
    problems: tuple[InputError, ...]
    trying: bool

    @property
    def run(self) -> dict[str, Any]:
        """The run's own table, as it is tried."""
        table: dict[str, Any] = self.tried["run"][self.at]
        return table

    @property
    def budget(self) -> Budget:
        """What the run does."""
        return self.plan.budgets[0]

    def band(self, hertz: str, *, base: bool = False) -> BandFinding:
        """Return the band an address asks for, else the one that loses most."""
        bands = (self.before if base else self.plan).budgets[0].bands
        return next((x for x in bands if f"{x.frequency_hz:.0f}" == hertz), max(bands, key=lambda x: x.total_loss_db))


def problems_of(error: InputError) -> tuple[InputError, ...]:
    """Return every problem of an error."""
    return tuple(getattr(error, "problems", ()) or (error,))


def drawn_run(state: RunState, drawings: Drawings, ledger: Ledger) -> Drawn:
    """Return the run of an address, drawn; what is tried and cannot be is told in ``problems``.

    Raises
    ------
    InputError
        If there is no such station, run or plan.
    """
    draft = drawings.draft(ledger, state.station)
    tables = draft.planned(state.run, state.plan)
    at = draft.run_at(state.run)
    base = drawings.drawn(ledger, draft, tables)
    name = str(tables["run"][at]["name"])
    worked = bool(state.how)
    before = base.plan(name, worked=worked)
    problems: tuple[InputError, ...] = ()
    found, plan, tried, trying = base, before, tables, False
    if state.do:
        try:
            tried = deepcopy(tables)
            edit = edit_in(state, tried, at)
            apply_edit(edit)
            found = drawings.drawn(ledger, draft, tried)
            plan, trying = found.plan(str(tried["run"][at]["name"]), worked=worked), tried != tables
        except InputError as error:
            found, plan, tried, problems = base, before, tables, problems_of(error)
    return Drawn(draft, tables, base, before, found, plan, tried, at, problems, trying)


def edit_in(state: RunState, tables: dict[str, Any], at: int) -> Edit:
    """Return the edit an address or a form asks for."""
    return Edit(state.do, tables, tables["run"][at], dict(state.typed), state.number, state.gap, state.open)


def run_page(  # noqa: PLR0913 - what is shown hangs on all of it
    state: RunState, drawn: Drawn, drawings: Drawings, ledger: Ledger, steps: Steps, *, whole: bool, below: Any = None
) -> RunPage:
    """Return the page of a run of a station. ``whole`` asks for all of it at once, for a browser without scripts."""
    draft, budget = drawn.draft, drawn.budget
    name = str(draft.tables["run"][drawn.at]["name"])
    state = replace(state, run=name)
    x = drawn.band(state.band)
    was = drawn.band(f"{x.frequency_hz:.0f}", base=True) if drawn.trying else None
    was = was if was is not None and was.frequency_hz == x.frequency_hz else None
    calm = untried(state)
    beside = x if state.do in ("", "set") else drawn.band(f"{x.frequency_hz:.0f}", base=True)
    there = drawn.found if state.do in ("", "set") else drawn.base
    tables = drawn.tried if state.do in ("", "set") else drawn.tables
    inspector = inspected(
        state, draft, tables, tables["run"][drawn.at], there, budget, beside, drawn.problems, whole=whole
    )
    rows = tuple(_plans(calm, drawn, drawings, ledger, x)) if state.view == "bands" else _names(calm, draft)
    shown = sorted(sorted(budget.bands, key=lambda b: -b.total_loss_db)[:MOST_DRAWN], key=lambda b: b.frequency_hz)
    return RunPage(
        station=draft.name,
        run=name,
        back=f"/runs?{urlencode({'station': state.station})}",
        kept=state.station.startswith(KEPT),
        state=state,
        hidden=tuple(pairs_of(calm)),
        verdict=_verdict(x, len(budget.bands) > 1),
        weakest=capitalized(x.weakest),
        over=tuple(_over(budget)),
        assumed=tuple((words, address(calm, open=opens)) for opens, words in assumed_words(draft, drawn.run)),
        change=_change(drawn, x) if drawn.trying else "",
        trying=drawn.trying,
        problems=tuple(map(str, drawn.problems)) if inspector is None else (),
        band=drawn_band(x, was),
        bands=tuple(
            (frequency(b.frequency_hz), address(state, band=f"{b.frequency_hz:.0f}", how=""), b is x)
            for b in budget.bands
        ),
        entries=tuple(_entries(calm, drawn, x)),
        gaps=tuple(_gaps(calm, x)),
        ends=_ends(calm),
        radio=_radio(drawn.run, x),
        antenna=_antenna(drawn.run, x),
        inspector=inspector,
        plans=rows,
        plan=state.plan,
        steps=steps,
        views=tuple((view, VIEW_WORDS[view], address(calm, view=view, how="")) for view in VIEWS),
        small=tuple((drawn_band(b), address(state, band=f"{b.frequency_hz:.0f}", how=""), b is x) for b in shown)
        if state.view == "bands"
        else (),
        tables=run_tables(state, drawn.plan, x, _size(drawn)),
        how=explained(state.how, budget.workings),
        how_close=address(state, how=""),
        zone=_zone(state, drawn),
        through=_through(state, x),
        remarks=tuple(dict.fromkeys((*budget.all_remarks, *drawn.plan.remarks))),
        cautions=drawn.plan.cautions,
        below=below,
    )


def _verdict(x: BandFinding, several: bool) -> str:
    return (
        say("At {frequency}, {arrival}", frequency=frequency(x.frequency_hz), arrival=arrival(x))
        if several
        else arrival(x)
    )


def verdict(budget: Budget) -> str:
    """Return the answer first: of several frequencies the one where least arrives."""
    worst = max(budget.bands, key=lambda x: x.total_loss_db)
    if len(budget.bands) == 1:
        return say("At {frequency}, {arrival}", frequency=frequency(worst.frequency_hz), arrival=arrival(worst))
    return say(
        "Least arrives at {frequency}: {arrival}", frequency=frequency(worst.frequency_hz), arrival=arrival(worst)
    )


def _over(budget: Budget) -> Iterator[str]:
    """Yield what is over a rating, and where; a rating from memory proves nothing."""
    for x in budget.bands:
        for p in x.parts:
            margins = {"voltage": p.voltage_margin, "heat": p.heat_margin}
            for what in p.beyond("known"):
                yield say(
                    "At {frequency}: {what} over the rating of {part}, margin {margin}.",
                    frequency=frequency(x.frequency_hz),
                    what=say("voltage") if what == "voltage" else say("heat"),
                    part=p.name,
                    margin=plain(margins[what] or 0.0, 2),
                )


def _change(drawn: Drawn, x: BandFinding) -> str:
    """Return what is tried does on the band that is drawn, else where it does most."""
    found = [d for d in differences(drawn.before.budgets[0], drawn.budget) if d.delivered_db is not None]
    here = [d for d in found if d.frequency_hz == x.frequency_hz] or found
    if not here:
        return say("Other bands are planned with it.")
    return changed(max(here, key=lambda d: abs(d.delivered_db or 0.0)))


# The list that is the drawing


def _entries(state: RunState, drawn: Drawn, x: BandFinding) -> Iterator[PartEntry]:
    places = standing(drawn.tried, drawn.run)
    for i, p in enumerate(x.parts, start=1):
        at = places[i - 1] if i <= len(places) else None
        entry: Mapping[str, Any] = at.entry if at else {}
        kind = fields.kind_of(entry) or "part"
        icon = "arr" if "arrest" in p.name.lower() else fields.ICONS[kind]
        name = entry_words(entry) if kind == "connector" and not entry.get("name") else p.name
        yield PartEntry(
            icon,
            name,
            _detail(kind, entry, drawn.found, p.length_m),
            address(state, open=str(i)),
            at.shared if at else "",
        )


def _detail(kind: str, entry: Mapping[str, Any], found: HeldStation, length_m: float | None) -> str:
    long = metres(length_m) if length_m else ""
    if kind == "piece":
        piece = found.station.pieces.get(str(entry["piece"]))
        return say(
            "{length} {kind}",
            length=long,
            kind=piece.line.designator if piece and piece.line else say("of no known type"),
        )
    if kind == "line":
        return say("{length} {kind}", length=long, kind=str(entry["line"])) if entry.get("name") else ""
    return {
        "connector": say("connectors"),
        "touchstone": say("by its sweep"),
        "tuner": say("tuner"),
        "transformer": str(entry.get("transformer", "")),
        "splitter": say("to {ways} branches", ways=str(entry.get("splitter", ""))),
        "preamplifier": str(entry.get("gain", "")),
    }.get(kind, "")


def _gaps(state: RunState, x: BandFinding) -> Iterator[tuple[str, str]]:
    names = [say("radio"), *(p.name for p in x.parts), say("antenna")]
    for i in range(len(x.parts) + 1):
        words = say("Put something in between {one} and {other}", one=names[i], other=names[i + 1])
        yield words, address(state, open=f"gap{i}")


def _ends(state: RunState) -> tuple[tuple[str, str, str], ...]:
    return tuple((key, say(title), address(state, open=key)) for key, (title, _, _) in ENDS.items())


def _radio(run: Mapping[str, Any], x: BandFinding) -> tuple[str, ...]:
    mode = str(run.get("mode", ""))
    gives = power(x.power_w, 4)
    return (say("{power} {mode}", power=gives, mode=mode) if mode else gives,)


def _antenna(run: Mapping[str, Any], x: BandFinding) -> tuple[str, ...]:
    gain = str(run.get("gain", ""))
    said = say("SWR {swr}", swr=swr(x.swr_at_antenna))
    name = str(run["antenna"]) if isinstance(run.get("antenna"), str) else ""
    return tuple(filter(None, (name, say("{swr}, {gain}", swr=said, gain=gain) if gain else said)))


def _zone(state: RunState, drawn: Drawn) -> str:
    run = next(r for r in drawn.found.station.runs if named(r.name) == named(drawn.run["name"]))
    if run.antenna.shape is None:
        return ""
    tried = state.open if state.do else ""  # a trial is of what is opened
    return f"/runs/zone?{urlencode(pairs_of(replace(state, open=tried, tab='', how='')))}"


def _size(drawn: Drawn) -> float | None:
    run = next(r for r in drawn.found.station.runs if named(r.name) == named(drawn.run["name"]))
    return run.exposure.antenna_size_m


def _through(state: RunState, x: BandFinding) -> tuple[str, str]:
    """Return how much of an antenna can be seen from the radio, and the address of the drawing of it."""
    most = say("more than 10,000") if x.highest_swr_at_radio is None else swr(x.highest_swr_at_radio)
    words = say(
        "Through {loss}, a meter at the radio can never show more than SWR {most}, whatever the antenna.",
        loss=quantity(plain(x.matched_loss_db, 1), "dB"),
        most=most,
    )
    kept = state.station.startswith(KEPT)
    pairs = [("behind", f"run:{state.run}")] if kept else [("loss", f"{plain(x.matched_loss_db, 2)} dB")]
    pairs += [("at", f"{x.frequency_hz / 1e6:.7g} MHz"), ("shack_swr", plain(x.swr_at_radio, 2))]
    return words, f"/sweeps/through?{urlencode(pairs)}"


# Plans side by side


def _names(state: RunState, draft: Draft) -> tuple[PlanRow, ...]:
    """Return the plans by name alone."""
    rows = [PlanRow("", say("as it lies"), "", address(state, plan=""), not state.plan)]
    for p in draft.plans_of(state.run):
        here, name = named(p["plan"]) == named(state.plan), str(p["plan"])
        rows.append(PlanRow(name, name, "", address(state, plan=name), here))
    return tuple(rows)


def _plans(state: RunState, drawn: Drawn, drawings: Drawings, ledger: Ledger, x: BandFinding) -> Iterator[PlanRow]:
    draft = drawn.draft
    lies = drawings.drawn(ledger, draft, draft.tables).plan(state.run, worked=bool(state.how)).budgets[0]
    base = draft.tables["run"][drawn.at]
    for row in _names(state, draft):
        plan = row.key
        try:
            tables = draft.planned(state.run, plan)
            held = drawings.drawn(ledger, draft, tables) if plan else None
            budget = held.plan(state.run, worked=bool(state.how)).budgets[0] if held else lies
        except InputError as error:
            yield replace(row, trouble=str(error))
            continue
        mine = _at(budget, x.frequency_hz)
        if mine is None:
            yield replace(row, trouble=say("It is not planned at {frequency}.", frequency=frequency(x.frequency_hz)))
            continue
        arrives, reach = watts(mine)
        before = _at(lies, x.frequency_hz) if plan else None
        drawn_bar = bar(
            mine.power_at_antenna_w, mine.power_at_antenna_w_low, mine.power_at_antenna_w_high, mine.power_w
        )
        sent, heard = _sent(before, mine, budget, lies)
        differs = differing(base, tables["run"][drawn.at]) if plan else say("what is there now")
        yield replace(
            row,
            differs=differs,
            arrives=arrives,
            reach=reach,
            bar=drawn_bar,
            lost=quantity(plain(mine.total_loss_db, 2), "dB"),
            sent=sent,
            heard=heard,
        )


def _at(budget: Budget, hertz: float) -> BandFinding | None:
    return next((b for b in budget.bands if b.frequency_hz == hertz), None)


def _sent(before: BandFinding | None, mine: BandFinding, budget: Budget, lies: Budget) -> tuple[str, str]:
    """Return by how many decibels more is sent and heard than as it lies."""
    if before is None:
        return "", ""
    found = next(d for d in differences(lies, budget) if d.frequency_hz == mine.frequency_hz)
    sent = say("{db} dB sent", db=signed(found.delivered_db or 0.0, 2))
    heard = found.signal_to_noise_db
    return sent, say("{db} dB heard", db=signed(heard, 1)) if heard is not None and abs(heard) >= NOTHING_DB else ""


def differing(old: Mapping[str, Any], new: Mapping[str, Any]) -> str:
    """Return what a run's table has that another has not, in words.

    >>> old = {"power": "50 W", "chain": [{"piece": "black 20"}, {"connector": "N"}]}
    >>> differing(old, {"power": "50 W", "chain": [{"line": "RG-8X type", "length": "20 m"}, {"connector": "N"}]})
    'RG-8X type, 20 m for black 20'
    """
    was, now = ([entry_words(e) for e in run.get("chain", ())] for run in (old, new))
    said: list[str] = []
    for kind, a, b, c, d in SequenceMatcher(None, was, now, autojunk=False).get_opcodes():
        gone, come = together(was[a:b], ", "), together(now[c:d], ", ")
        if kind == "replace":
            said.append(say("{new} for {old}", new=come, old=gone))
        elif kind == "delete":
            said.append(say("without {old}", old=gone))
        elif kind == "insert":
            said.append(say("with {new}", new=come))
    for key in dict.fromkeys((*old, *new)):
        if key not in ("chain", "name") and old.get(key) != new.get(key):
            said.append(say("{key} {value}", key=key.replace("_", " "), value=_value(new.get(key))))
    return together(said, "; ") if said else say("nothing different")


def _value(value: Any) -> str:
    if value is None:
        return say("taken away")
    if isinstance(value, Mapping):
        return ", ".join(f"{k.replace('_', ' ')} {_value(v)}" for k, v in value.items())
    pairs = isinstance(value, list) and bool(value) and isinstance(value[0], list)
    return fields.shown(fields.Field("", "", "curve" if pairs else "text"), value)


def entry_words(entry: Mapping[str, Any]) -> str:
    """Return an entry of a chain in words: by its name, else by what it is and how long."""
    if entry.get("name"):
        return str(entry["name"])
    first = str(next(iter(entry.values()), ""))
    if "connector" in entry:
        return say("{count} × {family}", count=str(entry.get("pairs", 1)), family=first)
    return f"{first}, {entry['length']}" if "length" in entry else first
