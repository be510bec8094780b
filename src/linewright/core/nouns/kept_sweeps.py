"""Sweeps that a ledger keeps, as a person finds them again."""

from __future__ import annotations

from typing import Any

from linewright.core.frozen import dataclass
from linewright.core.nouns.bench_result import document
from linewright.core.nouns.sweep import FarEnd


@dataclass(frozen=True, slots=True)
class KeptSweep:
    """One sweep: its place in the ledger, its piece, the day it was swept, its file and what that holds.

    ``sha256`` is the hash of the file as it was filed; ``archived`` says that the sweep was put away.
    """

    key: str
    piece: str
    far_end: FarEnd
    measured_on: str
    name: str
    sha256: str
    ports: int
    points: int
    low_hz: float
    high_hz: float
    archived: bool = False


@dataclass(frozen=True, slots=True)
class KeptSweeps:
    """Sweeps in the order of their days, newest first."""

    sweeps: tuple[KeptSweep, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/kept-sweeps/1``."""
        return document("linewright/kept-sweeps/1", self)
