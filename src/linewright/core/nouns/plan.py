"""What a plan answers: per run and frequency, where the power goes, what is received, what is borne, who keeps away."""

from __future__ import annotations

from dataclasses import asdict, field
from typing import Any, Literal

from linewright.core.frozen import dataclass
from linewright.core.nouns.bench_result import Key, Working
from linewright.core.nouns.exposure import DensityFinding, ExposureFinding, LicenceFinding, SumFinding

# What a plan answers: per run and frequency, where the power goes, what is received, what is borne, who keeps away


@dataclass(frozen=True, slots=True)
class PartFinding:
    """What one part of a run does at one frequency. Intervals are 95 %.

    ``loss_db`` is in place, standing waves included; ``matched_loss_db`` is with a match behind it. ``power_in_w`` is
    what enters the part while the transmitter gives its full power; behind a splitter, what enters it in one branch.
    ``heat_w`` is the average heat, all branches together; ``heat_w_per_m`` that at the hottest place of a line.
    Voltages are peak, the greatest along a line. Loads that a rating is held against (``peak_voltage_v``,
    ``heat_w_per_m``) are the upper end of their 95 % interval. Margins are rating over load (below 1: over the rating),
    None where nobody states a rating. ``power_rating_w`` is the mean power into a match at the temperature stated,
    as published where none is; ``load_w`` is the mean power into a match that would heat the part as it is heated.
    ``voltage_rating_by`` and ``power_rating_by`` say in words where a rating comes from and what was assumed,
    ``voltage_rating_grade`` and ``power_rating_grade`` how it is known: read, from memory, typical of a class, stated
    by the person; empty where there is none.
    ``swr_in`` is seen into the part, in a line's own impedance, else in 50 ohms. Lengths are the line's, None for other
    parts. ``velocity_swept`` says that the velocity factor is the piece's own, from its sweep, not its type's.
    """

    name: str
    kind: str
    loss_db: float
    loss_db_low: float
    loss_db_high: float
    matched_loss_db: float
    power_in_w: float
    power_out_w: float
    heat_w: float
    heat_w_per_m: float | None = None
    peak_voltage_v: float = 0.0
    voltage_rating_v: float | None = None
    voltage_margin: float | None = None
    voltage_rating_by: str = ""
    voltage_rating_grade: str = ""
    power_rating_w: float | None = None
    load_w: float = 0.0
    heat_margin: float | None = None
    power_rating_by: str = ""
    power_rating_grade: str = ""
    swr_in: float | None = None
    length_m: float | None = None
    electrical_length_deg: float | None = None
    velocity_factor: float | None = None
    velocity_swept: bool = False
    cut_m: tuple[float, ...] = ()
    basis: str = ""

    def beyond(self, grade: Literal["known", "memory"]) -> tuple[Literal["voltage", "heat"], ...]:
        """Return which ratings are exceeded: of those that are known, or of those from memory, which prove nothing."""
        ratings: tuple[tuple[Literal["voltage", "heat"], float | None, str], ...] = (
            ("voltage", self.voltage_margin, self.voltage_rating_grade),
            ("heat", self.heat_margin, self.power_rating_grade),
        )
        over = ((what, by) for what, margin, by in ratings if margin is not None and margin < 1.0)
        return tuple(what for what, by in over if (by == "memory") == (grade == "memory"))


ReceptionState = Literal["heard", "no loss", "amplified", "hidden", "little"]
"""Where a loss of signal-to-noise comes from: it can be heard; nothing loses; a preamplifier makes up for it; noise
from outside is louder than all that the station adds; or there is simply little loss."""


@dataclass(frozen=True, slots=True)
class NoiseSource:
    """One part of the receiving chain, where it stands on the way from the antenna to the receiver.

    ``gain_db`` is below zero for a loss. ``temperature_kelvin`` is the part's own temperature, None for what amplifies.
    ``noise_temperature_kelvin`` is what it adds at its own input, ``noise_kelvin`` what that counts for at the
    antenna's terminals: these add up to the noise temperature of the chain.
    """

    name: str
    gain_db: float
    temperature_kelvin: float | None
    noise_temperature_kelvin: float
    noise_kelvin: float


@dataclass(frozen=True, slots=True)
class ReceptionRemedy:
    """What could be done for reception, what it needs, and the loss of signal-to-noise left with it."""

    kind: Literal["line", "route", "mast", "shack", "moved"]
    what: str
    reception_loss_db: float
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ReceptionFinding:
    """What the run does to reception: temperatures refer to the antenna's terminals.

    ``antenna_temperature_kelvin`` is what comes in, as reckoned or as stated; ``noise_temperature_kelvin`` and
    ``noise_figure_db`` are those of everything from the antenna's terminals on, ``system_noise_kelvin`` both together.
    ``g_over_t_db_per_kelvin`` is None where no gain is known. ``reception_loss_db`` is the loss of signal-to-noise
    against the same receiver and preamplifiers without any loss. ``remedies`` are those that win something;
    ``assumed`` says in sentences what was taken for granted.
    """

    external_noise_kelvin: float
    external_noise_kelvin_low: float
    external_noise_kelvin_high: float
    antenna_temperature_kelvin: float
    noise_temperature_kelvin: float
    noise_figure_db: float
    system_noise_kelvin: float
    g_over_t_db_per_kelvin: float | None
    reception_loss_db: float
    reception_loss_db_low: float
    reception_loss_db_high: float
    state: ReceptionState
    sources: tuple[NoiseSource, ...] = ()
    remedies: tuple[ReceptionRemedy, ...] = ()
    why: str = ""
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BandFinding:
    """One run at one frequency. Losses and powers are means in dB over what is not known; an SWR is its median.

    The losses of ``parts`` add up to ``total_loss_db``, their heat to ``heat_w``. ``power_w`` is what the radio gives,
    folded back where it does so. ``peak_voltage_part`` is where the highest voltage stands. ``swr_at_antenna`` is on
    the line that ends there, in 50 ohms where a transformer, tuner or splitter lies between. ``highest_swr_at_radio``
    is what any open or short in place of the antenna could show, tuners apart; None above 10,000 to 1.
    """

    frequency_hz: float
    matched_loss_db: float
    mismatch_loss_db: float
    total_loss_db: float
    total_loss_db_low: float
    total_loss_db_high: float
    power_w: float
    power_at_antenna_w: float
    power_at_antenna_w_low: float
    power_at_antenna_w_high: float
    swr_at_radio: float
    swr_at_radio_low: float
    swr_at_radio_high: float
    swr_at_antenna: float
    highest_swr_at_radio: float | None
    peak_voltage_v: float
    peak_voltage_part: str
    voltage_margin: float | None
    heat_w: float
    heat_margin: float | None
    parts: tuple[PartFinding, ...]
    eirp_w: float | None = None
    erp_w: float | None = None
    exposure: tuple[ExposureFinding, ...] = ()
    density: tuple[DensityFinding, ...] = ()
    licence: tuple[LicenceFinding, ...] = ()
    reception: ReceptionFinding | None = None
    weakest: str = ""


@dataclass(frozen=True, slots=True)
class Budget:
    """One run over its frequencies. ``terms`` say what exposure is reckoned with."""

    run: str
    bands: tuple[BandFinding, ...]
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)
    terms: tuple[str, ...] = ()

    @property
    def all_remarks(self) -> tuple[str, ...]:
        """Whatever is remarked on the run, the terms of exposure last."""
        return (*self.remarks, *self.terms)


@dataclass(frozen=True, slots=True)
class Plan:
    """What a station's runs do, run by run, and what they do together."""

    station: str
    budgets: tuple[Budget, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...] = ()
    together: tuple[SumFinding, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/plan/1``; a run's reception stands flat beside its losses."""
        return {
            "schema": "linewright/plan/1",
            "station": self.station,
            "runs": [
                {
                    "run": b.run,
                    "bands": [_band(x) for x in b.bands],
                    "remarks": list(b.all_remarks),
                    "workings": [asdict(w) for w in b.workings],
                }
                for b in self.budgets
            ],
            "together": [asdict(s) for s in self.together],
            "cautions": list(self.cautions),
            "remarks": list(self.remarks),
        }


def _band(x: BandFinding) -> dict[str, Any]:
    out = asdict(x)
    out.pop("reception")
    heard = x.reception
    out["system_noise_kelvin"] = heard.system_noise_kelvin if heard else None
    out["reception_loss_db"] = heard.reception_loss_db if heard else None
    if heard:
        out["reception"] = asdict(heard)
    return out


# Parts of a plan that are asked for alone: reception, and exposure

RECEPTION: tuple[Key, ...] = (
    ("external noise",), ("noise figure",), ("system noise",), ("G/T",), ("reception loss",),
)  # fmt: skip
EXPOSURE: tuple[Key, ...] = (("EIRP",), ("ERP",), ("distance",), ("antenna power",))
"""The workings that belong to either."""


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
        document = _document("exposure", self.plan, EXPOSURE, _radiated)
        return {**document, "together": [asdict(s) for s in self.plan.together]}


def belonging(budget: Budget, figures: tuple[Key, ...]) -> list[Working]:
    """Return the workings of some kinds of figure, band by band as they stand."""
    return [w for w in budget.workings if w.key[:1] in figures]


def _heard(x: BandFinding) -> dict[str, Any]:
    return {"total_loss_db": x.total_loss_db, "reception": asdict(x.reception) if x.reception else None}


def _radiated(x: BandFinding) -> dict[str, Any]:
    return {
        "power_at_antenna_w": x.power_at_antenna_w,
        "eirp_w": x.eirp_w,
        "erp_w": x.erp_w,
        "exposure": [asdict(e) for e in x.exposure],
        "density": [asdict(d) for d in x.density],
        "licence": [asdict(c) for c in x.licence],
    }


def _document(name: str, plan: Plan, figures: tuple[Key, ...], of_band: Any) -> dict[str, Any]:
    def run(b: Budget) -> dict[str, Any]:
        return {
            "run": b.run,
            "bands": [{"frequency_hz": x.frequency_hz, **of_band(x)} for x in b.bands],
            "remarks": list(b.all_remarks),
            "workings": [asdict(w) for w in belonging(b, figures)],
        }

    return {
        "schema": f"linewright/{name}/1",
        "station": plan.station,
        "runs": [run(b) for b in plan.budgets],
        "cautions": list(plan.cautions),
        "remarks": list(plan.remarks),
    }


# What a change to a station does: before and after, side by side


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
        "power_at_antenna_w_high", "swr_at_radio", "swr_at_antenna", "voltage_margin", "heat_margin", "eirp_w", "erp_w",
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
