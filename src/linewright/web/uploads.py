"""Sweeps that were handed in: held in memory by the address of their content until newer ones need the room.

So the address of a page says which sweeps it is about, a length can be changed without handing them in again, and
nothing is written to the disk that the person did not ask to keep.
"""

from __future__ import annotations

import hashlib
import threading
from dataclasses import dataclass, field

from fastapi import Request

from linewright.errors import InputError
from linewright.model.sweep import Sweep
from linewright.model.through import Seen

MOST_POINTS = 2_000_000
"""Points held at once, about 130 MB of two-ports."""


@dataclass(frozen=True, slots=True)
class Held:
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
    """What was handed in to one start of the app, oldest first."""

    _held: dict[str, Held] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def take(self, name: str, content: bytes, option_line: str | None = None) -> Held:
        """Read a file and hold it.

        Raises
        ------
        InputError
            If it cannot be read.
        """
        key = hashlib.sha256(b"\0".join((name.encode(), (option_line or "").encode(), content))).hexdigest()[:24]
        found = Held(key, name, _read(name, content, option_line), content)
        with self._lock:
            self._held.pop(key, None)
            self._held[key] = found
            while len(self._held) > 1 and sum(h.points for h in self._held.values()) > MOST_POINTS:
                del self._held[next(iter(self._held))]
        return found

    def get(self, key: str) -> Held:
        """Return what is held under an address; raise InputError if it is held no longer."""
        found = self._held.get(key)
        if found is None:
            raise InputError("sweep", "is not held any longer", cure="Choose its file again, under Sweeps.")
        return found


def _read(name: str, content: bytes, option_line: str | None) -> Sweep | Seen:
    from linewright.formats.curve import read_curve_text
    from linewright.formats.texts import decoded
    from linewright.formats.touchstone import read_touchstone_text

    if name.lower().endswith(".csv"):
        return read_curve_text(decoded(content, "curve", name), name)
    return read_touchstone_text(content, name, option_line=option_line)


def uploads_of(request: Request) -> Uploads:
    """Return what was handed in to this app."""
    state = request.app.state
    if not hasattr(state, "uploads"):
        state.uploads = Uploads()
    found: Uploads = state.uploads
    return found
