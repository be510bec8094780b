"""How far to stay away from an antenna, by the limits a run asks for."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from linewright.catalogue.exposure_limits import Limit, covers, limits_at
from linewright.core.formulas.exposure import (
    compliance_distance_m,
    equivalent_density_w_per_m2,
    far_field_m,
    reactive_near_field_m,
)
from linewright.core.messages import mark, say
from linewright.core.nouns.plan import ExposureFinding
from linewright.core.nouns.station import Run

WHO = (mark("public"), mark("occupational"))
QUANTITIES = (
    (mark("electric field"), "e_v_per_m", "V/m"),
    (mark("magnetic field"), "h_a_per_m", "A/m"),
    (mark("power density"), "s_w_per_m2", "W/m²"),
)

NEEDS = say("a near-field calculation from the antenna's lengths and height, or a measurement of the field")
"""What would give a distance where the far-field formula gives none."""


def exposure_findings(run: Run, frequency_hz: float, radiated_w: Sequence[float]) -> tuple[ExposureFinding, ...]:
    """Return the distances for each standard and each group.

    Parameters
    ----------
    run : Run
        Whose limits, ground reflection, duty and mode hold. The power is averaged: duty times the mode's factor.
    frequency_hz : float
        Frequency, Hz.
    radiated_w : sequence of float
        EIRP as it is believed and at the upper end of its interval, W; empty where the gain is not known.

    Returns
    -------
    tuple of ExposureFinding
        Far field, main lobe. Where the formula puts a distance inside the near field it does not hold:
        there is no figure then, and ``needs`` says what would give one.
    """
    if not radiated_w:
        return ()
    average = [eirp_w * run.duty * run.mode_factor for eirp_w in radiated_w]
    edge = near_field_m(run, frequency_hz)
    return tuple(
        _finding(limit, average, run.exposure.ground_factor, edge)
        for standard in run.exposure.standards
        for who in WHO
        if (limit := _limit(standard, who, frequency_hz)) is not None
    )


@lru_cache(maxsize=1024)
def _limit(standard: str, who: str, frequency_hz: float) -> Limit | None:
    """Return the limit at a frequency; None where the standard has none. A sweep of what-ifs asks for it again."""
    return limits_at(standard, who, frequency_hz) if covers(standard, who, frequency_hz) else None


def near_field_m(run: Run, frequency_hz: float) -> float:
    """Return where the far field begins: 2 D²/λ where the antenna's size is known, and never within λ/2π."""
    size = run.exposure.antenna_size_m
    return float(reactive_near_field_m(frequency_hz) if size is None else far_field_m(frequency_hz, size))


def _finding(limit: Limit, average_w: Sequence[float], ground_factor: float, edge_m: float) -> ExposureFinding:
    quantity, value, unit = strictest(limit)
    distance, high = compliance_distance_m(average_w, limit.density_w_per_m2, ground_factor)
    near = bool(distance < edge_m)
    known = limit.provenance
    return ExposureFinding(
        limit=limit.standard,
        who=limit.who,
        distance_m=None if near else float(distance),
        distance_m_high=None if near else float(high),
        in_near_field=near,
        quantity=quantity,
        limit_value=value,
        unit=unit,
        source=known.told,
        needs=NEEDS if near else "",
    )


def strictest(limit: Limit) -> tuple[str, float, str]:
    """Return which of a standard's limits a plane wave reaches first: its quantity, value and unit.

    >>> strictest(limits_at("47 CFR 1.1310", "public", 144e6))
    ('power density', 2.0, 'W/m²')
    """
    known = [(name, value, unit, key) for name, key, unit in QUANTITIES if (value := getattr(limit, key)) is not None]
    name, value, unit, _ = min(known, key=lambda k: float(equivalent_density_w_per_m2(**{k[3]: k[1]})))
    return name, float(value), unit
