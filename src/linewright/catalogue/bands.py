"""Amateur bands as the ITU allocates them, widest over its regions. The local licence decides what may be used."""

from __future__ import annotations

from functools import cache

from linewright.catalogue.names import key
from linewright.catalogue.tables import rows
from linewright.core.errors import UnknownNameError
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.line import Grade, Provenance

LICENCE = "Allocations differ by region and country: the local licence decides."


@dataclass(frozen=True, slots=True)
class Band:
    """An amateur band: its name, its edges in hertz (widest over the ITU regions), the regions that have it."""

    name: str
    low_hz: float
    high_hz: float
    regions: tuple[int, ...]
    provenance: Provenance

    def holds(self, frequency_hz: float) -> bool:
        """Return whether a frequency lies in the band."""
        return self.low_hz <= frequency_hz <= self.high_hz


@cache
def bands() -> tuple[Band, ...]:
    """Return the bands, lowest first.

    >>> [b.name for b in bands() if b.holds(144.3e6)]
    ['2 m']
    """
    return tuple(
        Band(
            row["name"],
            float(row["low_hz"]),
            float(row["high_hz"]),
            tuple(int(r) for r in row["regions"].split()),
            _provenance(row["grade"], row["source"], row["note"]),
        )
        for row in rows("bands")
    )


def _provenance(grade: str, source: str, note: str) -> Provenance:
    known: Grade = "read" if grade == "read" else "memory"
    return Provenance(known, source, f"{note}. {LICENCE}" if note else LICENCE)


def band(name: str) -> Band:
    """Return a band by its name ("2 m", "70cm").

    Raises
    ------
    UnknownNameError
        If there is no such band; the message lists them.

    >>> band("70CM").low_hz
    420000000.0
    """
    for one in bands():
        if key(one.name) == key(str(name)):
            return one
    cure = say("Known bands: {value}.", value=", ".join(b.name for b in bands()))
    raise UnknownNameError("band", say("must be an amateur band; got {value}", value=repr(name)), cure=cure)
