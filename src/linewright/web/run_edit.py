"""A station edited as it is drawn: which table a part of a run stands in, and what each edit makes of the tables."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, MutableMapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any

from linewright.core.errors import InputError, UnknownNameError
from linewright.core.messages import say
from linewright.core.nouns.choice import Stretch
from linewright.files.station_gear import ANTENNA_END, RADIO
from linewright.verbs.shelf_apply import laid
from linewright.web import run_fields as fields

Table = dict[str, Any]
AS_IT_LIES = ""
"""The plan that is no plan: the run as it is kept."""


@dataclass(slots=True)
class Draft:
    """A station's tables, with the plans beside its runs and what of them was assumed and not said.

    Attributes
    ----------
    key : str
        The station, as addresses name it.
    name : str
        The station, as people do.
    tables : dict
        Its file, as plain data.
    plans : dict
        By run: plans, each a name under ``plan`` and a whole run table under ``run``.
    assumed : dict
        By run: keys that stand there because something has to, until a person says otherwise.
    version : int
        The version it is kept at; 0 where the address holds it.
    gear : mapping
        The names of the radios and antennas that are kept.
    evidence : int
        The last change of anything that it rests on.
    files : pairs
        The files it names: in an address by name and text, in a ledger by name and hash.
    """

    key: str
    name: str
    tables: Table
    plans: dict[str, list[Table]] = field(default_factory=dict)
    assumed: dict[str, list[str]] = field(default_factory=dict)
    version: int = 0
    gear: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    evidence: int = 0
    files: tuple[tuple[str, str], ...] = ()

    @property
    def body(self) -> Table:
        """What a ledger keeps of it, its files left out."""
        told: Table = {"station": self.tables, "plans": self.plans or None, "assumed": self.assumed or None}
        return {k: v for k, v in told.items() if v is not None}

    def run_at(self, name: str) -> int:
        """Return which run bears a name.

        Raises
        ------
        UnknownNameError
            If none does.
        """
        wanted = plain(name)
        for i, run in enumerate(self.tables.get("run", ())):
            if plain(run.get("name", "")) == wanted:
                return i
        known = ", ".join(str(r.get("name")) for r in self.tables.get("run", ()))
        raise UnknownNameError(
            "run",
            say("must be a run of {whole}; got {value}", whole=self.name, value=repr(name[:60])),
            cure=say("Known are {known}.", known=known),
        )

    def plans_of(self, run: str) -> list[Table]:
        """Return the plans of a run."""
        return next((found for name, found in self.plans.items() if plain(name) == plain(run)), [])

    def planned(self, run: str, plan: str) -> Table:
        """Return the station's tables with a plan in the place of its run."""
        if plan == AS_IT_LIES:
            return self.tables
        at = self.run_at(run)
        found = next((p["run"] for p in self.plans_of(run) if plain(p["plan"]) == plain(plan)), None)
        if found is None:
            raise UnknownNameError(
                "plan",
                say("must be a plan of {whole}; got {value}", whole=run, value=repr(plan[:60])),
                cure=say("Look at the run anew."),
            )
        runs = list(self.tables["run"])
        runs[at] = {**deepcopy(found), "name": runs[at]["name"]}
        return {**self.tables, "run": runs}

    def with_tables(self, tables: Table, run: str, plan: str) -> None:
        """Take over tables that were edited; of a planned run the plan changes, not the run."""
        if plan == AS_IT_LIES:
            self.tables = tables
            return
        at = self.run_at(run)
        name = self.tables["run"][at]["name"]
        edited = tables["run"][at]
        for p in self.plans_of(run):
            if plain(p["plan"]) == plain(plan):
                p["run"] = {**edited, "name": name}
        self.tables = {**tables, "run": [*self.tables["run"]]}


def plain(text: Any) -> str:
    """Return a name as names are compared."""
    return " ".join(str(text).split()).lower()


# Where the parts of a run stand: in its own chain, or in a part that several runs share


@dataclass(frozen=True, slots=True)
class Stands:
    """Where one part of a run stands: ``chain`` and ``index`` in it; ``shared`` names the part several runs share.

    ``entry`` is the table that says what it is; ``top`` is which entry of the run's own chain it comes from.
    """

    chain: list[Any]
    index: int
    entry: MutableMapping[str, Any]
    top: int
    shared: str = ""
    users: tuple[str, ...] = ()


def standing(tables: Table, run: Mapping[str, Any]) -> list[Stands]:
    """Return where each part of a run stands, in the order they are planned."""
    own = run.get("chain", [])
    return [s for i in range(len(own)) for s in _stands(tables, own, i, i, "", 0)]


def _stands(tables: Table, chain: list[Any], i: int, top: int, shared: str, deep: int) -> Iterator[Stands]:
    entry = chain[i]
    name = plain(entry.get("part", "")) if "loss" not in entry else ""
    part = next((p for p in tables.get("part", ()) if name and plain(p.get("name", "")) == name), None)
    if part is None or deep > 20:
        yield Stands(chain, i, entry, top, shared, _users(tables, shared))
    elif "chain" in part:
        for k in range(len(part["chain"])):
            yield from _stands(tables, part["chain"], k, top, str(part["name"]), deep + 1)
    else:
        yield Stands(chain, i, part, top, shared or str(part["name"]), _users(tables, str(part["name"])))


def _users(tables: Table, shared: str) -> tuple[str, ...]:
    """Return the runs that a shared part stands in."""
    if not shared:
        return ()
    return tuple(
        str(r.get("name"))
        for r in tables.get("run", ())
        if any("loss" not in e and plain(e.get("part", "")) == plain(shared) for e in r.get("chain", ()))
    )


# Edits: each takes the tables, the run's own table, and what was told, and changes them in place


@dataclass(slots=True)
class Edit:
    """One edit: what it is, where, and the fields that were typed. ``said`` is what it did, in words."""

    do: str
    tables: Table
    run: Table
    told: Mapping[str, str]
    number: int = 0
    gap: int | None = None
    scope: str = ""
    said: str = ""
    opens: str = ""
    touched: tuple[str, ...] = ()
    plan: str = ""


def apply_edit(edit: Edit) -> None:
    """Make an edit in its tables.

    Raises
    ------
    InputError
        If it cannot be made; what the rules of a station file say of the outcome, its reader tells.
    """
    known = EDITS.get(edit.do)
    if known is None:
        raise InputError(
            "do", say("must be one of {known}; got {value}", known=", ".join(EDITS), value=repr(edit.do[:40]))
        )
    known(edit)


def _part(edit: Edit) -> Stands:
    found = standing(edit.tables, edit.run)
    if not 0 < edit.number <= len(found):
        raise InputError(
            "part",
            say("must be one of 1 to {count}; got {value}", count=len(found), value=edit.number),
            cure=say("Look at the run anew."),
        )
    return found[edit.number - 1]


def _set(edit: Edit) -> None:
    """Write the fields of what is opened."""
    if edit.number:
        at = _part(edit)
        which = fields.SHARED_PART if "name" in at.entry and at.entry.get("loss") and "part" not in at.entry else None
        edit.touched = (f"part{edit.number}",) if fields.written(which or _of_entry(at), at.entry, edit.told) else ()
    else:
        scopes = {
            "radio": (fields.FREQUENCIES, *fields.RADIO),
            "antenna": (*fields.ANTENNA, *fields.SHAPE),
            "limits": (*fields.LIMITS, *fields.WISHES, *fields.ROUTE),
            "run": fields.OF_RUN,
        }
        if edit.scope == "site":
            edit.touched = fields.written(fields.OF_STATION, edit.tables, edit.told)
        elif edit.scope in scopes:
            if edit.scope == "antenna":
                _which_antenna(edit)
            edit.touched = fields.written(scopes[edit.scope], edit.run, edit.told)
        else:
            raise InputError("open", say("has nothing to set; got {value}", value=repr(edit.scope[:40])))


def _which_antenna(edit: Edit) -> None:
    """Let the run name an antenna of the ledger or state its own; of SWR, impedance and sweep, the newest applies."""
    told = edit.told
    named = told.get(fields.NAMED_ANTENNA.name)
    if named:
        edit.run["antenna"], edit.touched = named, ("antenna",)
        return
    if isinstance(edit.run.get("antenna"), str):
        if named is None:
            return
        edit.run["antenna"] = {"swr": 1.5}
    old = edit.run.get("antenna", {})
    ways = ("swr", "impedance", "touchstone")
    new = [w for w in ways if told.get(f"f.antenna.{w}", "").strip() and w not in old]
    if new:
        edit.run["antenna"] = {k: v for k, v in old.items() if k not in ways}
    kind = told.get("f.antenna.kind", old.get("kind", ""))
    if kind != old.get("kind", ""):
        keep = {*ways, *fields.OF_KIND.get(kind, ())} if kind else set(ways)
        edit.run["antenna"] = {k: v for k, v in edit.run["antenna"].items() if k in keep}


def _of_entry(at: Stands) -> Sequence[fields.Field]:
    return fields.PARTS.get(fields.kind_of(at.entry), ())


def _swap(edit: Edit) -> None:
    """Put something else in the place of a part; a line stays as long as it was."""
    at = _part(edit)
    new = _entry_of(edit.told.get("to", ""), edit.told)
    old = at.entry
    if "line" in new and "length" not in new:
        new["length"] = edit.told.get("length") or old.get("length") or "10 m"
    if "name" in old and "line" in old and "line" in new and not str(old["name"]).startswith(str(old["line"])):
        new["name"] = old["name"]
    at.chain[at.index] = new
    edit.touched = ("chain",)


def _put(edit: Edit) -> None:
    """Put something into a gap."""
    if edit.gap is None:
        raise InputError("open", say("needs a gap to put it in"))
    entry = _entry_of(edit.told.get("to", ""), edit.told)
    chain = edit.run.setdefault("chain", [])
    found = standing(edit.tables, edit.run)
    if edit.gap > len(found):
        raise InputError("open", say("has no such gap; got {value}", value=edit.gap))
    while 0 < edit.gap < len(found) and found[edit.gap - 1].top == found[edit.gap].top:
        # Inside what several runs share: from now on this run has its own.
        _write_out(edit.tables, edit.run, found[edit.gap].top)
        found = standing(edit.tables, edit.run)
    at = found[edit.gap].top if edit.gap < len(found) else len(chain)
    chain.insert(at, entry)
    edit.opens = str(edit.gap + 1)
    edit.touched = ("chain",)


def _entry_of(to: str, told: Mapping[str, str]) -> Table:
    """Return a new entry of a chain: ``piece:blue 7``, ``line:RG-213/U``, ``connector:N``, ``usual:arrestor``."""
    kind, _, name = to.partition(":")
    if kind == "piece" and name:
        return {"piece": name}
    if kind == "line" and (name or told.get("f.line")):
        entry: Table = {"line": name or told["f.line"]}
        fields.written(fields.PARTS["line"], entry, {k: v for k, v in told.items() if k != "f.line"})
        return entry
    if kind == "connector" and name:
        entry = {"connector": name}
        fields.written(fields.PARTS["connector"], entry, {k: v for k, v in told.items() if k == "f.pairs"})
        return entry
    if kind == "usual" and name in fields.USUAL:
        return dict(fields.USUAL[name])
    if kind == "sweep" and told.get("f.touchstone"):
        return {"touchstone": told["f.touchstone"]}
    if kind == "shared" and name:
        return {"part": name}
    raise InputError(
        "to", say("must say what is put in; got {value}", value=repr(to[:60])), cure=say("Choose one of the list.")
    )


def _out(edit: Edit) -> None:
    """Take a part out; of what several runs share, this run then has its own."""
    at = _part(edit)
    while at.shared:
        _write_out(edit.tables, edit.run, at.top)
        at = _part(edit)
    del at.chain[at.index]
    edit.opens = ""
    edit.touched = ("chain",)


def _move(edit: Edit) -> None:
    """Move a part along the line, to before or behind its neighbour or into a gap."""
    _part(edit)
    told, here = edit.told.get("to", ""), edit.number - 1
    if told.startswith("gap") and told[3:].isdigit():
        to = int(told[3:]) if int(told[3:]) < edit.number else int(told[3:]) - 1
    else:
        to = here + (1 if told == "antenna" else -1)
    to = min(max(to, 0), len(standing(edit.tables, edit.run)) - 1)
    _spread(edit, max(to, here) + 1)
    chain = edit.run["chain"]
    chain.insert(to, chain.pop(here))
    edit.opens = str(to + 1)
    edit.touched = ("chain",)


def _spread(edit: Edit, number: int) -> None:
    """Write out what lies before a part, so that parts and entries of the run's own chain are counted alike."""
    for _ in range(20):
        found = standing(edit.tables, edit.run)
        shared = next((s for s in found[:number] if s.shared and "chain" in _table(edit.tables, s)), None)
        if shared is None:
            return
        _write_out(edit.tables, edit.run, shared.top)


def _table(tables: Table, at: Stands) -> Mapping[str, Any]:
    return next((p for p in tables.get("part", ()) if plain(p.get("name", "")) == plain(at.shared)), {})


def _write_out(tables: Table, run: Table, top: int) -> None:
    """Write what a shared part stands for into a run's own chain."""
    entry = run["chain"][top]
    part = next((p for p in tables.get("part", ()) if plain(p.get("name", "")) == plain(entry.get("part", ""))), None)
    if part is None or "loss" in entry:
        return
    if "chain" in part:
        run["chain"][top : top + 1] = deepcopy(part["chain"])
    else:
        run["chain"][top] = {"part": part["name"], **{k: v for k, v in deepcopy(part).items() if k != "name"}}


def _lay(edit: Edit) -> None:
    """Lay what was chosen in the place of some parts, the first of them to the last."""
    try:
        first, end = (int(n) for n in edit.told.get("to", "").split(":"))
        stretches = [Stretch(str(n), float(m), None, bool(h)) for n, m, h in json.loads(edit.told.get("stretches", ""))]
    except (ValueError, TypeError) as cause:
        raise InputError("stretches", say("holds nothing that can be laid"), cure=say("Choose anew.")) from cause
    if not 0 <= first < end <= len(standing(edit.tables, edit.run)) or not stretches:
        raise InputError("to", say("must be parts of the run"), cure=say("Choose anew."))
    _spread(edit, end)
    edit.run["chain"][first:end] = list(laid(stretches, edit.told.get("joint", "N")))
    edit.opens, edit.touched = "", ("chain",)


def _own(edit: Edit) -> None:
    """Write out what several runs share, so that a change here changes this run alone."""
    _write_out(edit.tables, edit.run, _part(edit).top)
    edit.touched = ("chain",)


def _band(edit: Edit) -> None:
    """Put a band on the run, or take it off."""
    name, run = edit.told.get("to", ""), edit.run
    middle = dict(fields.band_options()).get(name, name)
    old = run.get("frequencies", [])
    listed = [old] if isinstance(old, str) else list(old)
    named = run.get("bands", [])
    named = [named] if isinstance(named, str) else list(named)
    if name in named:
        named.remove(name)
    elif middle in listed:
        listed.remove(middle)
    else:
        listed.append(middle)
    if not (listed or named):
        raise InputError(
            "frequencies", say("must stay on one band at least"), cure=say("Put another band on it first.")
        )
    for key, value in (("frequencies", listed), ("bands", named)):
        fields.put_at(run, (key,), value or None)
    if isinstance(edit.run.get("antenna"), dict):
        _reach(edit.run["antenna"], middle)
    edit.touched = ("frequencies",)


def _reach(antenna: Table, at: str) -> None:
    """Let what is stated of an antenna by frequency speak of a new one: as of the nearest stated one."""
    from linewright.core.quantities import frequency_hz

    for key in ("swr", "impedance"):
        points = antenna.get(key)
        if isinstance(points, list) and all(p[0] != at for p in points):
            wanted = frequency_hz(at, "frequency")
            near = min(points, key=lambda p: abs(frequency_hz(p[0], "frequency") - wanted))
            rows = [*points, [at, near[1]]]
            antenna[key] = sorted(rows, key=lambda p: frequency_hz(p[0], "frequency"))


EDITS: Mapping[str, Callable[[Edit], None]] = {
    "set": _set,
    "swap": _swap,
    "put": _put,
    "out": _out,
    "move": _move,
    "own": _own,
    "lay": _lay,
    "band": _band,
}


# A radio or an antenna that is kept under a name, and named by the runs that use it


def gear_of(run: Mapping[str, Any], kind: str) -> Table:
    """Return what a run says of its radio or its antenna, by the keys that are kept of one.

    >>> gear_of({"antenna": {"swr": 1.4, "kind": "dipole"}, "gain": "11 dBd"}, "antenna")
    {'swr': 1.4, 'gain': '11 dBd'}
    """
    if kind == "radio":
        return {k: run[k] for k in RADIO if k in run}
    own = run.get("antenna", {})
    told = {k: own[k] for k in ANTENNA_END if isinstance(own, Mapping) and k in own}
    size = fields.value_at(run, ("exposure", "antenna_size"))
    return told | {k: v for k, v in (("gain", run.get("gain")), ("size", size)) if v is not None}


def name_gear(run: Table, kind: str, name: str) -> None:
    """Let a run name a kept radio or antenna in place of what it said itself."""
    if kind == "radio":
        for key in RADIO:
            run.pop(key, None)
        run["radio"] = name
        return
    run["antenna"] = name
    run.pop("gain", None)
    fields.put_at(run, ("exposure", "antenna_size"), None)


# A run made from nothing: what has to stand there, and what was assumed


def new_run(name: str, band: str) -> tuple[Table, list[str]]:
    """Return a run for a band with what it needs to say something, and which of it was assumed.

    >>> run, assumed = new_run("beam", "2 m")
    >>> run["frequencies"], run["power"], [list(part) for part in run["chain"]]
    (['146 MHz'], '50 W', [['line', 'length'], ['connector', 'pairs']])
    """
    middle = dict(fields.band_options()).get(band)
    if middle is None:
        raise UnknownNameError(
            "band", say("must be one of the list; got {value}", value=repr(band[:40])), cure=say("Choose one.")
        )
    high = float(middle.split()[0]) >= 50.0
    chain = [{"line": "RG-213/U", "length": "20 m"}, {"connector": "N" if high else "UHF", "pairs": 2}]
    run = {
        "name": name,
        "frequencies": [middle],
        "power": "50 W" if high else "100 W",
        "mode": "FM" if high else "SSB",
        "chain": chain,
        "antenna": {"swr": 1.5},
    }
    return run, ["power", "mode", "chain", "antenna"]


def assumed_words(draft: Draft, run: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Return what of a run was assumed, in words, each with what opens it."""
    keys = next((k for name, k in draft.assumed.items() if plain(name) == plain(run.get("name", ""))), [])
    out: list[tuple[str, str]] = []
    if "power" in keys or "mode" in keys:
        out.append(("radio", say("{power} of {mode}", power=str(run.get("power", "")), mode=str(run.get("mode", "")))))
    if "chain" in keys:
        line = next((e for e in run.get("chain", ()) if "line" in e), None)
        if line is not None:
            out.append(("1", say("{length} of {line}", length=str(line["length"]), line=str(line["line"]))))
    if "antenna" in keys and isinstance(run.get("antenna"), dict) and "swr" in run["antenna"]:
        out.append(("antenna", say("an antenna of SWR {swr}", swr=str(run["antenna"]["swr"]))))
    return tuple(out)


def said_otherwise(draft: Draft, run: str, touched: Sequence[str]) -> None:
    """Strike what a person has now said from what was assumed."""
    for name, keys in draft.assumed.items():
        if plain(name) == plain(run):
            gone = {"chain" if key.startswith("part") else key for key in touched}
            gone |= {"power", "mode"} if gone & {"power", "mode"} else set()
            draft.assumed[name] = [k for k in keys if k not in gone]
    draft.assumed = {name: keys for name, keys in draft.assumed.items() if keys}


def fresh_name(taken: Sequence[str], wish: str) -> str:
    """Return a name that nothing else has.

    >>> fresh_name(["two metres"], "two metres")
    'two metres 2'
    """
    names, i = {plain(t) for t in taken}, 2
    found = wish
    while plain(found) in names:
        found, i = f"{wish} {i}", i + 1
    return found
