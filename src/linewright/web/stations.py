"""The station that an address names, and its plans: read once, judged once, cached for the next change.

An address holds a station as ``harbour-ridge`` (the invented one that comes along) or as ``~`` and packed text: the
station's file with the files it names, so that back, bookmark and sharing work and nothing is kept on the server; or
as ``=`` and the name of a station the ledger keeps.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field, replace
from functools import lru_cache
from importlib.resources import files as package_files
from typing import Any

from linewright.core.errors import InputError
from linewright.core.messages import mark, say
from linewright.core.nouns.line import LineType
from linewright.core.nouns.plan import Plan, WhatIf
from linewright.core.nouns.station import Station
from linewright.files.station import read_station_text
from linewright.files.toml import toml_text
from linewright.files.toml_reader import parse_toml
from linewright.store.ledger import Ledger
from linewright.verbs.beliefs import Beliefs
from linewright.verbs.changes import StationChange, changed, read_change
from linewright.verbs.plan import DRAWS, planned, the_run
from linewright.verbs.shelf_edits import StationGround, drawn_body, edit_station, ground_of, station_on
from linewright.verbs.shelf_filing import STATION_GEAR
from linewright.verbs.shelf_items import all_kept
from linewright.verbs.shelf_open import By
from linewright.verbs.what_if import what_if
from linewright.web.run_edit import Draft

INVENTED = "harbour-ridge"
PACKED, KEPT = "~", "="
MOST_TEXT, MOST_PACKED = 400_000, 40_000
"""Signs of a station with its files, and of the address that holds them."""
MOST_PLANS = 128
MOST_READ = 48
"""Stations read with other tables that are held for the next change."""
Names = tuple[tuple[str, str], ...]
SPOILT = mark("holds no station that can be unpacked")


@dataclass(slots=True)
class HeldStation:
    """A station an address holds, with what is believed of its pieces, and the plans made of it lately."""

    key: str
    station: Station
    beliefs: Beliefs
    _plans: dict[tuple[str, tuple[str, ...], bool], Plan] = field(default_factory=dict)
    _whole: list[Plan] = field(default_factory=list)

    def plan(self, run: str, changes: tuple[str, ...] = (), *, worked: bool = True) -> Plan:
        """Return the plan of one run with changes made; kept, so that what stands beside a change costs nothing.

        ``worked`` is whether it says how each figure was worked out.
        """
        asked = (the_run(self.station, run).name, changes, worked)
        if asked not in self._plans:
            found = self._planned(*asked)
            while len(self._plans) >= MOST_PLANS:
                self._plans.pop(next(iter(self._plans)), None)
            self._plans[asked] = found
        return self._plans[asked]

    def whole(self) -> Plan:
        """Return the plan of every run as it stands, made once."""
        if not self._whole:
            self._whole.append(planned(self.station, None, self.fresh()))
        return self._whole[0]

    def changed(self, changes: Sequence[str], run: str) -> Station:
        """Return the station with changes made to a run."""
        return changed(self.station, [checked(text) for text in changes], run)

    def _planned(self, run: str, changes: tuple[str, ...], worked: bool) -> Plan:
        return planned(self.changed(changes, run), run, self.fresh(), worked=worked)

    def fresh(self) -> Beliefs:
        """Return the beliefs, sharing what was judged; what one plan says of the evidence no other repeats."""
        return replace(self.beliefs, remarks=dict(self.beliefs.remarks))


def invented() -> tuple[str, dict[str, str]]:
    """Return the text of the invented station, and the files it names."""
    folder = package_files("linewright.verbs") / "demo_data"
    names = (f"{INVENTED}.toml", f"{INVENTED}.csv")
    texts = {name: (folder / name).read_text(encoding="utf-8") for name in names}
    return (folder / f"{INVENTED}-station.toml").read_text(encoding="utf-8"), texts


def invented_prices() -> str:
    """Return the invented prices that come along, as CSV; no shop asks them."""
    folder = package_files("linewright.verbs") / "demo_data"
    return (folder / f"{INVENTED}-prices.csv").read_text(encoding="utf-8")


def packed(text: str, files: Mapping[str, str], beside: Mapping[str, Any] | None = None) -> str:
    """Return a station as a part of an address; ``beside`` is what no station file holds: plans, what was assumed.

    Raises
    ------
    InputError
        If it is more than an address holds.

    >>> unpacked(packed("[[run]]", {"a.csv": "1"}))
    ('[[run]]', {'a.csv': '1'})
    """
    told = [text, dict(files), *([dict(beside)] if beside else [])]
    plain = json.dumps(told, ensure_ascii=True, separators=(",", ":")).encode()
    out = PACKED + base64.urlsafe_b64encode(zlib.compress(plain, 9)).decode().rstrip("=")
    if len(plain) > MOST_TEXT or len(out) > MOST_PACKED:
        cure = say("Leave out the sweeps, or plan it with the command linewright plan.")
        raise InputError("station", say("is more than the address of a page can hold"), cure=cure)
    return out


def unpacked(key: str) -> tuple[str, dict[str, str]]:
    """Return the station's text and files that a part of an address holds."""
    text, files, _ = _opened(key)
    return text, files


def _opened(key: str) -> tuple[str, dict[str, str], dict[str, Any]]:
    body = key.removeprefix(PACKED)
    try:
        raw = base64.b64decode(body + "=" * (-len(body) % 4), altchars=b"-_", validate=True)
        opened = zlib.decompressobj()
        text, files, *more = json.loads(opened.decompress(raw, MOST_TEXT + 1))
        beside = dict(more[0]) if more else {}
        found = str(text), {str(name): str(content) for name, content in files.items()}, beside
        json.dumps(found, ensure_ascii=False).encode()
    except (ValueError, TypeError, AttributeError, zlib.error, RecursionError) as cause:
        raise InputError("station", say(SPOILT), cure=say("The address was cut: go back to Runs.")) from cause
    return found


@lru_cache(maxsize=16)
def held(key: str) -> HeldStation:
    """Return the station of an address, its evidence judged.

    Raises
    ------
    InputError
        If there is no such station, or its file breaks a rule.
    """
    return judged(key, read_station_text(*_texts(key)))


def _texts(key: str) -> tuple[str, dict[str, str]]:
    if key != INVENTED and not key.startswith(PACKED):
        raise InputError(
            "station",
            say("must be one that is known here; got {value}", value=repr(key[:40])),
            cure=say("Go back to Runs."),
        )
    return invented() if key == INVENTED else unpacked(key)


def judged(key: str, station: Station) -> HeldStation:
    """Return a station with its evidence judged."""
    beliefs = Beliefs(station, DRAWS)
    planned(station, None, beliefs)
    return HeldStation(key, station, beliefs)


@dataclass(slots=True)
class Drawings:
    """The stations an app shows, as they are kept and as they are tried: each read once and kept for the next change.

    What was measured is asked for again only once something else than a station has changed in the ledger.
    """

    _read: OrderedDict[tuple[Any, ...], HeldStation] = field(default_factory=OrderedDict)
    _grounds: OrderedDict[tuple[Any, ...], StationGround] = field(default_factory=OrderedDict)
    _packed: OrderedDict[str, Draft] = field(default_factory=OrderedDict)

    def held(self, ledger: Ledger, key: str) -> HeldStation:
        """Return the station an address names.

        Raises
        ------
        UnknownNameError
            If the ledger keeps no station of this name.
        """
        return self.drawn(ledger, draft := self.draft(ledger, key), draft.tables) if key.startswith(KEPT) else held(key)

    def draft(self, ledger: Ledger, key: str) -> Draft:
        """Return the tables of a station, to be edited."""
        if key.startswith(KEPT):
            item, evidence = drawn_body(ledger, key.removeprefix(KEPT))
            body = item.body
            head = body["station"].get("station", {})
            gear: dict[str, tuple[str, ...]] = {
                kind: tuple(i.key for i in all_kept(ledger, kind)) for kind in STATION_GEAR
            }
            names = tuple((f["name"], f["sha256"]) for f in body["files"])
            plans, assumed = dict(body.get("plans", {})), dict(body.get("assumed", {}))
            name = str(head.get("name", item.key))
            return deepcopy(Draft(key, name, body["station"], plans, assumed, item.version, gear, evidence, names))
        if key not in self._packed:
            text, files = _texts(key)
            beside = _opened(key)[2] if key.startswith(PACKED) else {}
            tables = parse_toml(text, "station")
            head = tables.get("station", {})
            name = str(head.get("name", "Station")) if isinstance(head, Mapping) else "Station"
            plans, assumed = dict(beside.get("plans", {})), dict(beside.get("assumed", {}))
            _remember(self._packed, key, Draft(key, name, tables, plans, assumed, files=tuple(sorted(files.items()))))
        return deepcopy(self._packed[key])

    def drawn(self, ledger: Ledger, draft: Draft, tables: Mapping[str, Any], files: Names = ()) -> HeldStation:
        """Return a station with the tables of a draft, or with others; ``files`` are those handed in with them.

        Raises
        ------
        InputError
            If they break a rule of station files.
        """
        told = json.dumps(tables, sort_keys=True, default=str)
        key = draft.key if draft.key.startswith(KEPT) else "", draft.evidence, draft.files, told, files
        if key not in self._read:
            _remember(self._read, key, self._drawn(ledger, draft, tables, dict(files)))
        self._read.move_to_end(key)
        found = self._read[key]
        return replace(found, key=draft.key) if found.key != draft.key else found

    def _drawn(
        self, ledger: Ledger, draft: Draft, tables: Mapping[str, Any], files: Mapping[str, str]
    ) -> HeldStation:  # fmt: skip
        if draft.key.startswith(KEPT):
            rests = draft.key, draft.evidence, draft.files
            if rests not in self._grounds:
                _remember(self._grounds, rests, ground_of(ledger, draft.key.removeprefix(KEPT)))
            station = station_on(self._grounds[rests], tables, files)
            return HeldStation(draft.key, station, Beliefs(station, DRAWS))
        station = read_station_text(toml_text(tables), {**dict(draft.files), **files})
        beliefs = Beliefs(station, DRAWS)
        alike = next((h for k, h in reversed(self._read.items()) if k[2] == draft.files and not k[4]), None)
        if alike is None and draft.key == INVENTED:
            alike = held(INVENTED)
        if alike is not None and alike.station.lines == station.lines:
            beliefs.share(alike.beliefs)
        return HeldStation(draft.key, station, beliefs)

    def kept(self, ledger: Ledger, draft: Draft, files: Mapping[str, str], by: By) -> str:
        """Write an edited draft where it belongs, and return the station's address from now on.

        A kept station is written into the ledger, one of an address into a new address.
        """
        if draft.key.startswith(KEPT):
            edit_station(
                ledger,
                draft.key.removeprefix(KEPT),
                lambda body: {"files": body["files"], **draft.body},
                files={n: c.encode() for n, c in files.items()} or None,
                expect=draft.version,
                by=by,
            )
            return draft.key
        beside = {k: v for k, v in draft.body.items() if k != "station"}
        return packed(toml_text(draft.tables), {**dict(draft.files), **files}, beside)


def _remember(kept: OrderedDict[Any, Any], key: Any, value: Any) -> None:
    """Hold something, and let go of what was not asked for the longest."""
    kept[key] = value
    while len(kept) > MOST_READ:
        kept.popitem(last=False)


def revision(ledger: Ledger) -> int:
    """Return the number of the last change in a ledger, 0 in an empty one."""
    from linewright.verbs.shelf import changes

    return max((change.id for change in changes(ledger, most=1).changes), default=0)


def checked(text: str) -> StationChange:
    """Return a written change; one that would read a file of this machine is refused."""
    change = read_change(text)
    if _names_file(change.what) or _names_file(change.value):
        cure = say("Name the sweep in the station's own file, and give both.")
        raise InputError("change", say("must not name a file here; got {value}", value=repr(text)), cure=cure)
    return change


def _names_file(value: Any) -> bool:
    if isinstance(value, str):
        return "touchstone" in value.lower()
    if isinstance(value, Mapping):
        return any(_names_file(part) for pair in value.items() for part in pair)
    return isinstance(value, (list, tuple)) and any(_names_file(part) for part in value)


def station_of(text: str, files: Mapping[str, str], own: Sequence[LineType] = ()) -> Station:
    """Return the station of a text with its files, or the invented one by its name."""
    if text == INVENTED and not own:
        return held(INVENTED).station
    return read_station_text(*(invented() if text == INVENTED else (text, files)), own)


def asked_what_if(
    text: str, files: Mapping[str, str], changes: Sequence[str], run: str | None, own: Sequence[LineType] = ()
) -> WhatIf:
    """Return what changes do to a station that is given as text."""
    for change in changes:
        checked(change)
    return what_if(station_of(text, files, own), changes, run=run, own=own)
