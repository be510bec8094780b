"""Which station an address speaks of, and its plans: read once, judged once, kept for the next change.

An address holds a station as ``harbour-ridge`` (the invented one that comes along) or as ``~`` and packed text: the
station's file with the files it names, so that back, bookmark and sharing work and nothing is kept on the server; or
as ``=`` and the name of a station the ledger keeps.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from importlib.resources import files as package_files
from typing import Any

from linewright.core.errors import InputError
from linewright.core.nouns.line import LineType
from linewright.core.nouns.plan import Plan, WhatIf
from linewright.core.nouns.station import Station
from linewright.files.station import read_station_text
from linewright.store.ledger import Ledger
from linewright.verbs.beliefs import Beliefs
from linewright.verbs.changes import Change, changed, read_change
from linewright.verbs.plan import DRAWS, planned, the_run
from linewright.verbs.what_if import what_if

INVENTED = "harbour-ridge"
PACKED, KEPT = "~", "="
MOST_TEXT, MOST_PACKED = 400_000, 40_000
"""Signs of a station with its files, and of the address that holds them."""
MOST_PLANS = 128
SPOILT = "holds no station that can be unpacked"


@dataclass(slots=True)
class HeldStation:
    """A station an address holds, with what is believed of its pieces, and the plans made of it lately."""

    key: str
    station: Station
    beliefs: Beliefs
    _plans: dict[tuple[str, tuple[str, ...]], Plan] = field(default_factory=dict)

    def plan(self, run: str, changes: tuple[str, ...] = ()) -> Plan:
        """Return the plan of one run with changes made; kept, so that what stands beside a change costs nothing."""
        asked = (the_run(self.station, run).name, changes)
        if asked not in self._plans:
            found = self._planned(*asked)
            while len(self._plans) >= MOST_PLANS:
                self._plans.pop(next(iter(self._plans)), None)
            self._plans[asked] = found
        return self._plans[asked]

    def whole(self) -> Plan:
        """Return the plan of every run as it stands."""
        return planned(self.station, None, self.fresh())

    def changed(self, changes: Sequence[str], run: str) -> Station:
        """Return the station with changes made to a run."""
        return changed(self.station, [checked(text) for text in changes], run)

    def _planned(self, run: str, changes: tuple[str, ...]) -> Plan:
        return planned(self.changed(changes, run), run, self.fresh())

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


def packed(text: str, files: Mapping[str, str]) -> str:
    """Return a station as a part of an address.

    Raises
    ------
    InputError
        If it is more than an address holds.

    >>> unpacked(packed("[[run]]", {"a.csv": "1"}))
    ('[[run]]', {'a.csv': '1'})
    """
    plain = json.dumps([text, dict(files)], ensure_ascii=True, separators=(",", ":")).encode()
    out = PACKED + base64.urlsafe_b64encode(zlib.compress(plain, 9)).decode().rstrip("=")
    if len(plain) > MOST_TEXT or len(out) > MOST_PACKED:
        cure = "Leave out the sweeps, or plan it with the command linewright plan."
        raise InputError("station", "is more than the address of a page can hold", cure=cure)
    return out


def unpacked(key: str) -> tuple[str, dict[str, str]]:
    """Return the station's text and files that a part of an address holds."""
    body = key.removeprefix(PACKED)
    try:
        raw = base64.b64decode(body + "=" * (-len(body) % 4), altchars=b"-_", validate=True)
        opened = zlib.decompressobj()
        text, files = json.loads(opened.decompress(raw, MOST_TEXT + 1))
        found = str(text), {str(name): str(content) for name, content in files.items()}
        json.dumps(found, ensure_ascii=False).encode()
    except (ValueError, TypeError, AttributeError, zlib.error, RecursionError) as cause:
        raise InputError("station", SPOILT, cure="The address was cut: go back to Runs.") from cause
    return found


@lru_cache(maxsize=16)
def held(key: str) -> HeldStation:
    """Return the station of an address, its evidence judged.

    Raises
    ------
    InputError
        If there is no such station, or its file breaks a rule.
    """
    if key != INVENTED and not key.startswith(PACKED):
        raise InputError("station", f"must be one that is known here; got {key[:40]!r}", cure="Go back to Runs.")
    return judged(key, read_station_text(*(invented() if key == INVENTED else unpacked(key))))


def judged(key: str, station: Station) -> HeldStation:
    """Return a station with its evidence judged."""
    beliefs = Beliefs(station, DRAWS)
    planned(station, None, beliefs)
    return HeldStation(key, station, beliefs)


@dataclass(slots=True)
class KeptStation:
    """The stations of a ledger, each read again only when something in the ledger has changed."""

    _found: dict[str, tuple[int, HeldStation]] = field(default_factory=dict)

    def held(self, ledger: Ledger, key: str) -> HeldStation:
        """Return the station an address names.

        Raises
        ------
        UnknownNameError
            If the ledger keeps no station of this name.
        """
        from linewright.verbs.shelf import station_of as kept_station

        version = revision(ledger)
        at, found = self._found.get(key, (-1, None))
        if found is None or at != version:
            found = judged(key, kept_station(ledger, key.removeprefix(KEPT)))
            self._found = {**self._found, key: (version, found)}
        return found


def revision(ledger: Ledger) -> int:
    """Return the number of the last change in a ledger, 0 in an empty one."""
    from linewright.verbs.shelf import changes

    return max((change.id for change in changes(ledger, most=1).changes), default=0)


def checked(text: str) -> Change:
    """Return a written change; one that would read a file of this machine is refused."""
    change = read_change(text)
    if _names_file(change.what) or _names_file(change.value):
        cure = "Name the sweep in the station's own file, and give both."
        raise InputError("change", f"must not name a file here; got {text!r}", cure=cure)
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
