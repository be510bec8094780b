"""What a change to a station does: before and after, side by side."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

from linewright.model.plan import BandFinding, Plan
from linewright.model.result import Working


@dataclass(frozen=True, slots=True)
class Difference:
    """What changes in one run at one frequency.

    ``before`` and ``after`` are None where only the other plan has this frequency; so are the figures made of both.
    ``delivered_db`` is the change of the power at the antenna (more is above zero) and ``delivered_ratio`` the same as
    a ratio of watts; ``total_loss_db`` is the change of the loss (less is below zero), ``signal_to_noise_db`` that of
    what is received (more is above zero).
    """

    run: str
    frequency_hz: float
    before: BandFinding | None
    after: BandFinding | None
    total_loss_db: float | None = None
    delivered_db: float | None = None
    delivered_ratio: float | None = None
    signal_to_noise_db: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the difference as plain data, with the figures of either plan that it is made of."""
        out = asdict(self)
        for side in ("before", "after"):
            band = getattr(self, side)
            out[side] = None if band is None else _figures(band)
        return out


def _figures(band: BandFinding) -> dict[str, Any]:
    names = (
        "total_loss_db", "total_loss_db_low", "total_loss_db_high", "power_at_antenna_w", "power_at_antenna_w_low",
        "power_at_antenna_w_high", "swr_at_radio", "swr_at_antenna", "voltage_margin", "heat_margin", "eirp_w",
    )  # fmt: skip
    heard = band.reception
    return {name: getattr(band, name) for name in names} | {
        "reception_loss_db": heard.reception_loss_db if heard else None
    }


@dataclass(frozen=True, slots=True)
class WhatIf:
    """A station before and after some changes."""

    changes: tuple[str, ...]
    differences: tuple[Difference, ...]
    before: Plan
    after: Plan
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/what-if/1``."""
        return {
            "schema": "linewright/what-if/1",
            "station": self.after.station,
            "changes": list(self.changes),
            "differences": [d.to_dict() for d in self.differences],
            "after": self.after.to_dict(),
            "cautions": list(self.after.cautions),
            "remarks": list(self.remarks),
            "workings": [asdict(w) for w in self.workings],
        }
