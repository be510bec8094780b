"""Where a piece's extra loss comes from."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class GrowthFinding:
    """Which part of a piece's loss grew beyond new: probabilities that sum to 1, and what a person would check.

    ``p_conductor`` is for the part that grows with √f (conductors, braid, corrosion), ``p_dielectric`` for the part
    that grows with f (dielectric, moisture), ``p_joint`` for plugs and joints, ``p_none`` for no growth worth a name.
    ``*_db`` is each part's median excess over new, at ``frequency_hz``, the highest frequency measured.
    """

    piece: str
    frequency_hz: float | None
    p_conductor: float
    p_dielectric: float
    p_joint: float
    p_none: float
    conductor_db: float
    dielectric_db: float
    joint_db: float
    sentence: str
    check: str

    def to_dict(self) -> dict[str, Any]:
        """Return the finding as plain data."""
        return asdict(self)
