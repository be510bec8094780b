"""Turn the forms about sweeps into answers; input errors are returned, not raised."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fastapi import Request

from linewright.core.errors import InputError
from linewright.core.messages import say
from linewright.core.nouns.line import LineType
from linewright.core.nouns.sweep import Sweep
from linewright.core.nouns.through import Seen, ThroughResult
from linewright.files.fields import written_number
from linewright.store.ledger import Ledger
from linewright.web import requests as asked
from linewright.web.antenna_page import AntennaShown, antenna_shown
from linewright.web.apart import Apart
from linewright.web.field_units import parts_of
from linewright.web.run_state import BARE
from linewright.web.sweep_page import SweepShown, shown

# Sweeps that were handed in: held in memory by the address of their content until newer ones need the room

MOST_POINTS = 2_000_000
"""Points held at once, about 130 MB of two-ports."""
LARGE_BYTES = 1 << 20
"""From which size on a file is read in a process of its own: a tenth of a second of work."""


@dataclass(frozen=True, slots=True)
class HeldSweep:
    """One sweep or curve, by the name of its file."""

    key: str
    name: str
    curve: Sweep | Seen
    content: bytes

    @property
    def ports(self) -> int:
        """Ports of a sweep; one of a curve."""
        return self.curve.ports if isinstance(self.curve, Sweep) else 1

    @property
    def points(self) -> int:
        """Return how many frequencies it has."""
        f = self.curve.frequency_hz
        return 0 if f is None else len(f)


@dataclass(slots=True)
class Uploads:
    """What was handed in to one start of the app, oldest first; large files are read in a process of their own."""

    apart: bool = False
    _held: dict[str, HeldSweep] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def take(self, name: str, content: bytes, option_line: str | None = None) -> HeldSweep:
        """Read a file and hold it.

        Raises
        ------
        InputError
            If it cannot be read.
        CannotError
            If that takes more time or memory than it may.
        """
        key = hashlib.sha256(b"\0".join((name.encode(), (option_line or "").encode(), content))).hexdigest()[:24]
        if self.apart and len(content) > LARGE_BYTES:
            curve = Apart(_read, name, content, option_line).answer()
        else:
            curve = _read(name, content, option_line)
        found = HeldSweep(key, name, curve, content)
        with self._lock:
            self._held.pop(key, None)
            self._held[key] = found
            while len(self._held) > 1 and sum(h.points for h in self._held.values()) > MOST_POINTS:
                del self._held[next(iter(self._held))]
        return found

    def get(self, key: str) -> HeldSweep:
        """Return what is held under an address; raise InputError if it is held no longer."""
        found = self._held.get(key)
        if found is None:
            raise InputError("sweep", say("is not held any longer"), cure=say("Choose its file again, under Sweeps."))
        return found


def _read(name: str, content: bytes, option_line: str | None) -> Sweep | Seen:
    from linewright.files.curve import read_curve_text
    from linewright.files.tables import decoded
    from linewright.files.touchstone import read_touchstone_text

    if name.lower().endswith(".csv"):
        return read_curve_text(decoded(content, "curve", name), name)
    return read_touchstone_text(content, name, option_line=option_line)


def uploads_of(request: Request) -> Uploads:
    """Return what was handed in to this app."""
    state = request.app.state
    if not hasattr(state, "uploads"):
        state.uploads = Uploads(state.settings.apart)
    found: Uploads = state.uploads
    return found


# What the forms of sweeps tell, turned into answers; what cannot be read is told, not raised

ENDS = ("through", "open", "short", "load")
UNITS = {"length": "m", "at": "MHz", "loss": "dB", "directivity": "dB"}
"""The unit of a bare number in a field; the field shows it."""


def line_told(
    held: Sequence[HeldSweep], ends: Sequence[str], given: Mapping[str, str], own: Sequence[LineType]
) -> SweepShown:
    """Return what sweeps say of a line, with what was told beside them."""
    open_questions = [h.name for h, end in zip(held, ends, strict=True) if end not in ENDS]
    if not held or open_questions:
        rule = (
            say("must be told for {open_questions}", open_questions=", ".join(open_questions))
            if open_questions
            else say("needs a sweep")
        )
        raise InputError("far end", rule, cure=say("Choose what was there: open, short or load."))
    curves = [h.curve for h in held if isinstance(h.curve, Sweep)]
    wanted: dict[str, Any] = {name: given[name] or None for name in ("length", "velocity_factor", "line")}
    wanted["at"] = parts_of(given["at"])
    return shown(asked.report(curves, ends, wanted, own))


LINE_FIELDS = ("behind", "loss", "line", "length")
"""What tells the line before an antenna; ``behind`` names a piece or a run of the ledger, "piece:" or "run:" before it.
"""


def before_it(given: Mapping[str, str]) -> dict[str, str | None]:
    """Return the line that a form tells, by the field that goes before the others: piece or run, loss, type.

    >>> before_it({"behind": "piece:blue 7", "loss": "3 dB", "line": "", "length": "", "at": "7 MHz"})
    {'loss': None, 'line': None, 'length': None, 'at': '7 MHz', 'piece': 'blue 7'}
    """
    told: dict[str, str | None] = {name: value or None for name, value in given.items() if name != "behind"}
    kind, _, name = given.get("behind", "").partition(":")
    if name and kind in ("piece", "run"):
        return {**told, "loss": None, "line": None, "length": None, kind: name}
    return {**told, "line": None, "length": None} if told.get("loss") else told


def knows_line(given: Mapping[str, str]) -> bool:
    """Return whether a form tells a line."""
    return bool(given["behind"] or given["loss"] or (given["line"] and given["length"]))


def seen_result(given: Mapping[str, str], own: Sequence[LineType], ledger: Ledger) -> ThroughResult:
    """Return what stands behind a line, of a reading among what was told."""
    wanted: dict[str, Any] = dict(before_it(given))
    if wanted.get("step"):
        wanted["step"] = written_number(wanted["step"], "step")
    return asked.see({name: value or None for name, value in wanted.items()}, None, own, ledger)


def antenna_told(
    held: Sequence[HeldSweep], names: Sequence[str], given: Mapping[str, str], own: Sequence[LineType], ledger: Ledger
) -> AntennaShown:
    """Return what sweeps of one antenna say, behind a line where one is told."""
    from linewright.inference.load.seen import seen_sweep

    curves = [seen_sweep(h.curve) if isinstance(h.curve, Sweep) else h.curve for h in held]
    wanted = before_it(given)
    if wanted.get("line") and not wanted.get("length"):
        wanted["line"] = None
    return antenna_shown(
        asked.antenna(wanted, curves, [n or h.name for n, h in zip(names, held, strict=True)], own, ledger)
    )


def readings_of(given: Mapping[str, str], i: int) -> list[dict[str, str]]:
    """Return the readings of one line of the form, each in the column its unit asks for."""
    out = []
    for end in ("open", "short"):
        read = given[f"{end}{i}"]
        if read:
            column = "return_loss" if "db" in read.lower() else "resistance" if "ohm" in read.lower() else "swr"
            out.append({"frequency": given[f"at{i}"], "far_end": end, column: read})
    return out


def tried(work: Callable[[], Any]) -> tuple[Any, tuple[str, ...]]:
    """Return what a verb answers, or what is wrong with what it was given."""
    try:
        return work(), ()
    except InputError as error:
        return None, tuple(said(error))


def said(error: InputError) -> list[str]:
    """Return every problem of an error, in words."""
    return [str(p) for p in getattr(error, "problems", ()) or (error,)]


def given_in(params: Mapping[str, str], names: Sequence[str]) -> dict[str, str]:
    """Return the values of these fields, a bare number with its field's unit; empty where a field is empty.

    >>> given_in({"length": " 30 ", "loss": "3 dB"}, ("length", "loss", "line"))
    {'length': '30 m', 'loss': '3 dB', 'line': ''}
    """
    return {name: _with_unit(name, " ".join(params.get(name, "").split())) for name in names}


def _with_unit(name: str, text: str) -> str:
    unit = UNITS.get(name.rstrip("123456789"))
    return f"{text} {unit}" if unit and BARE.fullmatch(text) else text


def far_end_of(held: HeldSweep) -> str:
    """Return what was at the far end, as far as ports and name tell."""
    if held.ports == 2:
        return "through"
    return next((end for end in ("open", "short", "load") if end in held.name.lower()), "")


def about(held: HeldSweep) -> str:
    """Return how much a sweep holds."""
    return f"{held.points} points, {held.ports} port{'s' if held.ports > 1 else ''}"


def type_names(own: Sequence[LineType]) -> tuple[str, ...]:
    """Return the names of line types, the person's own first."""
    from linewright.catalogue import line_types

    return tuple(dict.fromkeys(line.designator for line in (*own, *line_types())))
