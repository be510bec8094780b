"""Parts of a plan that are asked for alone: reception, and exposure."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from linewright.model.plan import BandFinding, Budget, Plan

RECEPTION = ("external noise", "system noise", "loss of signal-to-noise")
EXPOSURE = ("EIRP", "distance", "power at the antenna")
"""How the figures of the workings begin that belong to either."""


@dataclass(frozen=True, slots=True)
class Reception:
    """What a plan says of reception."""

    plan: Plan

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/reception/1``."""
        return _document("reception", self.plan, RECEPTION, _heard)


@dataclass(frozen=True, slots=True)
class ExposurePlan:
    """What a plan says of exposure."""

    plan: Plan

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/exposure/1``."""
        return _document("exposure", self.plan, EXPOSURE, _radiated)


def _heard(x: BandFinding) -> dict[str, Any]:
    return {"total_loss_db": x.total_loss_db, "reception": asdict(x.reception) if x.reception else None}


def _radiated(x: BandFinding) -> dict[str, Any]:
    found = [asdict(e) for e in x.exposure]
    return {"power_at_antenna_w": x.power_at_antenna_w, "eirp_w": x.eirp_w, "exposure": found}


def _document(name: str, plan: Plan, figures: tuple[str, ...], of_band: Any) -> dict[str, Any]:
    def run(b: Budget) -> dict[str, Any]:
        return {
            "run": b.run,
            "bands": [{"frequency_hz": x.frequency_hz, **of_band(x)} for x in b.bands],
            "remarks": list(b.remarks),
            "workings": [asdict(w) for w in b.workings if w.figure.startswith(figures)],
        }

    return {
        "schema": f"linewright/{name}/1",
        "station": plan.station,
        "runs": [run(b) for b in plan.budgets],
        "cautions": list(plan.cautions),
        "remarks": list(plan.remarks),
    }
