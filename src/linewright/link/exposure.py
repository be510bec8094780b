"""A transmitter's antenna as a source of field, held against limits: how far they reach, what is left at a distance.

By the near field where the antenna's lengths are known, at any distance; else by the far-field formula with its gain,
and no figure where that would point inside λ/2π. From there to 0.6 D²/λ the formula counts the whole gain although
the lobe is not formed yet, so that its figure is too far rather than too near (OET Bulletin 65, section 2 and equation
16, from memory; on the axis of an even aperture the density is ``4 (P/A) sin² x`` and the formula has ``4 (P/A) x²``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import ceil, inf, isfinite, sqrt
from typing import Final

import numpy as np

from linewright.catalogue.exposure_limits import Limit, exempt_erp_w
from linewright.core.errors import InputError
from linewright.core.formulas.exposure import (
    compliance_distance_m,
    electric_field_v_per_m,
    equivalent_density_w_per_m2,
    erp_w,
    formed_lobe_m,
    implied_size_m,
    longest_over_s,
    magnetic_field_a_per_m,
    on_air_share,
    power_density_w_per_m2,
    reactive_near_field_m,
)
from linewright.core.formulas.exposure import eirp_w as eirp_of
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say
from linewright.core.nouns.exposure import DensityFinding, ExposureFinding, Over, SumFinding
from linewright.core.nouns.station import Run
from linewright.core.nouns.wire_antenna import WireAntenna
from linewright.link.near_exposure import (
    HEIGHTS_M,
    Levels,
    fields_from,
    radiating_w,
    reach_at_height,
    reach_from_wire,
    reach_on_ground,
    solved,
    typical_loss_ohm,
)

MAX_FREQUENCIES: Final = 24
"""A near field takes a second or so; a run of more frequencies than anyone reads has none reckoned."""
LEAST_M: Final = 0.1
"""Nearer than this no distance is told: there coils, insulators and the feed decide, and a wire may burn."""
LEAST_FROM_FEED_M: Final = 0.3
"""Nearer to a feed the shape of its gap decides."""
MODEL_SHARE: Final = 1.1
"""Times a distance or a field by the near field: beside a wire 10 % of one are 10 % of the other, some 0.8 dB, and the
model is within 0.5 dB."""
FIRST_CHOICE_HZ: Final = 30e6
"""Above it the notes of ICNIRP 2020 ask for one of E, H and S in the far field (table 6, note 5a, as reproduced in a
textbook on bioelectromagnetics, page 316)."""
QUANTITIES: Final = {
    "e_v_per_m": (mark("electric field"), "V/m"),
    "h_a_per_m": (mark("magnetic field"), "A/m"),
    "s_w_per_m2": (mark("power density"), "W/m²"),
}
NEEDS_SHAPE: Final = say(
    "a near-field calculation from the antenna's kind, lengths and height, or a measurement of the field"
)
NEEDS_GAIN: Final = say("the antenna's gain; on HF its kind, lengths and height")
NEEDS_ROOM: Final = say("more distance: within 0.3 m of a feed no calculation holds, and wires burn")
NEEDS_MEASUREMENT: Final = say("a measurement: the limit reaches farther than 200 m")


@dataclass(frozen=True, slots=True)
class Emitter:
    """An antenna on the air.

    Attributes
    ----------
    power_w, power_high_w : float
        Peak envelope power into the antenna: as believed, and the upper end of its interval.
    gain_dbi, shape, loss_ohm
        What is known of the antenna; None where it is not.
    mode_factor : float
        Average over peak power while it is on.
    duty : float
        Share of any averaging time on the air, unless overs and pauses are known.
    window_m : float, optional
        Height of a neighbour's window.
    size_m : float, optional
        Largest dimension of the antenna; None where its gain has to tell.
    """

    frequency_hz: float
    power_w: float
    power_high_w: float
    gain_dbi: float | None = None
    shape: WireAntenna | None = None
    loss_ohm: float | None = None
    ground_factor: float = 2.56
    mode_factor: float = 1.0
    duty: float = 1.0
    over: Over | None = None
    window_m: float | None = None
    size_m: float | None = None


def emitter_of(run: Run, frequency_hz: float, power_w: float, power_high_w: float) -> Emitter:
    """Return the antenna of a run that is given these powers."""
    return Emitter(
        frequency_hz, power_w, power_high_w, run.gain_dbi, _shape(run, frequency_hz), run.antenna.loss_ohm,
        run.exposure.ground_factor, run.mode_factor, run.duty, run.over, run.exposure.window_m,
        run.exposure.antenna_size_m,
    )  # fmt: skip


def _shape(run: Run, frequency_hz: float) -> WireAntenna | None:
    """Return the shape of a run's antenna; None where it is not known or cannot be solved on this frequency."""
    shape = run.antenna.shape
    if shape is None or len(run.frequencies_hz) > MAX_FREQUENCIES:
        return None
    try:
        solved(shape, frequency_hz)
    except InputError:
        return None
    return shape


def far_from_m(emitter: Emitter) -> float:
    """Return where the lobe is formed: 0.6 D²/λ, D stated or implied by the gain, and never within λ/2π."""
    f, size = emitter.frequency_hz, emitter.size_m
    if size is None and emitter.gain_dbi is not None:
        size = float(implied_size_m(f, emitter.gain_dbi))
    return float(reactive_near_field_m(f) if size is None else formed_lobe_m(f, size))


def share_of_peak(emitter: Emitter, averaging_s: float) -> float:
    """Return average over peak power in the worst averaging time; 1 where every moment counts.

    >>> share_of_peak(Emitter(14e6, 100.0, 100.0, mode_factor=0.2, over=Over(180.0, 180.0)), 360.0)
    0.1
    """
    if averaging_s == 0.0:
        return 1.0
    on = emitter.duty if emitter.over is None else on_air_share(emitter.over.on_s, emitter.over.off_s, averaging_s)
    return on * emitter.mode_factor


def exposure_finding(emitter: Emitter, limit: Limit) -> ExposureFinding:
    """Return how far a limit reaches from an emitter."""
    found = _far(emitter, limit) if emitter.shape is None else _near(emitter, emitter.shape, limit)
    return replace(found, exempt_distance_m=_exempt_from_m(emitter, limit))


def _far(emitter: Emitter, limit: Limit) -> ExposureFinding:
    quantity, density = far_field_level(limit)
    share = share_of_peak(emitter, limit.averaging_s)
    edge_m = float(reactive_near_field_m(emitter.frequency_hz))
    known, needs, near = None, "", False
    if emitter.gain_dbi is None:
        needs = NEEDS_GAIN
    else:
        radiated = [eirp_of(p, emitter.gain_dbi) * share for p in (emitter.power_w, emitter.power_high_w)]
        known = [float(d) for d in compliance_distance_m(radiated, density, emitter.ground_factor)]
        near = known[0] < far_from_m(emitter)
        needs = NEEDS_SHAPE if known[0] < edge_m else ""
    distance, high = (None, None) if known is None or needs else (known[0], known[1])
    return _finding(limit, quantity, distance_m=distance, distance_m_high=high, in_near_field=near, needs=needs,
                    method="none" if needs else "far field", share=share)  # fmt: skip


def far_field_level(limit: Limit) -> tuple[str, float]:
    """Return the quantity that decides in a plane wave, and the power density at which it does, W/m².

    The strictest; but above 30 MHz ICNIRP 2020 asks for one of its three, and its power density is the one taken.

    >>> from linewright.catalogue.exposure_limits import limits_at
    >>> far_field_level(limits_at("ICNIRP 2020", "occupational", 144e6))
    ('s_w_per_m2', 10.0)
    """
    one_is_enough = limit.standard.startswith("ICNIRP 2020") and limit.frequency_hz > FIRST_CHOICE_HZ
    if one_is_enough and limit.s_w_per_m2 is not None:
        return "s_w_per_m2", float(limit.s_w_per_m2)
    held = {key: value for key in QUANTITIES if (value := getattr(limit, key)) is not None}
    density = {key: float(equivalent_density_w_per_m2(**{key: value})) for key, value in held.items()}
    strictest = min(density, key=lambda key: density[key])
    return strictest, density[strictest]


def levels_of(limit: Limit) -> Levels:
    """Return the fields a limit asks for, both to be kept near an antenna.

    A limit that has only a power density is taken as the fields of the plane wave that has it.
    """
    if limit.e_v_per_m is None and limit.h_a_per_m is None and limit.s_w_per_m2 is not None:
        s = limit.s_w_per_m2
        return Levels(float(electric_field_v_per_m(s)), float(magnetic_field_a_per_m(s)))
    e, h = (inf if x is None else x for x in (limit.e_v_per_m, limit.h_a_per_m))
    return Levels(e, h)


def _near(emitter: Emitter, shape: WireAntenna, limit: Limit) -> ExposureFinding:
    f, levels = emitter.frequency_hz, levels_of(limit)
    share = share_of_peak(emitter, limit.averaging_s)
    least_loss, typical = losses(emitter, shape)
    believed = radiating_w(shape, f, emitter.power_w * share, least_loss)
    reach = reach_from_wire(shape, f, believed, levels)
    high = reach_from_wire(shape, f, radiating_w(shape, f, emitter.power_high_w * share, least_loss), levels)
    quantity = "e_v_per_m" if reach.electric else "h_a_per_m"
    quantity = quantity if getattr(limit, quantity) is not None else "s_w_per_m2"
    if reach.distance_m is None or high.distance_m is None:
        return _finding(limit, quantity, distance_m=None, distance_m_high=None, in_near_field=False,
                        needs=NEEDS_MEASUREMENT, method="none", share=share)  # fmt: skip
    low = None
    if typical is not None:
        low = reach_from_wire(shape, f, radiating_w(shape, f, emitter.power_w * share, typical), levels).distance_m
    ground = reach_on_ground(shape, f, believed, levels).distance_m
    window = emitter.window_m
    return _finding(
        limit, quantity, distance_m=max(LEAST_M, reach.distance_m), distance_m_high=_rounded_up(high.distance_m),
        distance_m_low=None if low is None else max(LEAST_M, low), ground_distance_m=ground,
        window_distance_m=None if window is None else reach_at_height(shape, f, believed, levels, window).distance_m,
        in_near_field=bool(reach.distance_m < reactive_near_field_m(f)), method="near field", share=share,
    )  # fmt: skip


def losses(emitter: Emitter, shape: WireAntenna) -> tuple[float, float | None]:
    """Return the loss to count on the safe side, ohm, and the typical one where that is asked for.

    What is stated holds alone. Where nothing is, only the wires' own loss is counted, which makes the strongest field;
    a short antenna is shown with typical losses beside that.
    """
    if emitter.loss_ohm is not None:
        return emitter.loss_ohm, None
    f = emitter.frequency_hz
    return 0.0, typical_loss_ohm(shape, f) if solved(shape, f).is_short else None


def _rounded_up(distance_m: float) -> float:
    return max(LEAST_M, ceil(distance_m * MODEL_SHARE * 10.0 - 1e-9) / 10.0)


def _finding(limit: Limit, quantity: str, **found: object) -> ExposureFinding:
    name, unit = QUANTITIES[quantity]
    return ExposureFinding(
        limit=limit.standard, who=limit.who, quantity=name, limit_value=float(getattr(limit, quantity)), unit=unit,
        source=limit.provenance.told, averaging_s=limit.averaging_s, **found,  # type: ignore[arg-type]
    )  # fmt: skip


def density_finding(emitter: Emitter, limit: Limit, distance_m: float, transmitter_w: float) -> DensityFinding:
    """Return what is used up of a limit at a distance.

    Parameters
    ----------
    distance_m : float
        By the near field: level from the feed, at the worst of all directions, 0.1 to 2 m above ground and at the
        window's height. By the far field: in the main lobe.
    transmitter_w : float
        Power of the transmitter, which the most power is told in.
    """
    share = share_of_peak(emitter, limit.averaging_s)
    fractions, needs = _fractions(emitter, limit, distance_m, share)
    exempt_w, exempt = _exempt(emitter, limit, distance_m)
    if fractions is None:
        return DensityFinding(limit.standard, limit.who, distance_m, None, None, None, None, limit.averaging_s, needs,
                              exempt_w, exempt)  # fmt: skip
    e, h, s = fields_at(emitter, distance_m)
    fraction, high = fractions
    in_power = high if limit.averaging_s else high**2
    over_s = longest_over_s(share_left(emitter, share, high), limit.averaging_s) if limit.averaging_s else inf
    return DensityFinding(
        limit.standard, limit.who, distance_m, fraction, high, transmitter_w / in_power if in_power else None,
        (over_s if isfinite(over_s) else None) if limit.averaging_s or high < 1.0 else 0.0, limit.averaging_s, "",
        exempt_w, exempt, e, h, s,
    )  # fmt: skip


def fields_at(emitter: Emitter, distance_m: float) -> tuple[float | None, float | None, float | None]:
    """Return E, H and power density at a distance while an emitter is on the air: rms, V/m, A/m and W/m².

    At the power that is believed. Near a wire there is no power density, and E and H may be those of two places; far
    from an antenna all three are those of its plane wave. All are None where neither can tell.
    """
    f = emitter.frequency_hz
    if emitter.shape is not None:
        if distance_m < LEAST_FROM_FEED_M:
            return None, None, None
        e, h = fields_from(emitter.shape, f, distance_m, _heights(emitter))
        root = np.sqrt(radiating_w(emitter.shape, f, emitter.power_w, losses(emitter, emitter.shape)[0]))
        return float(np.max(e * root)), float(np.max(h * root)), None
    if emitter.gain_dbi is None or distance_m < reactive_near_field_m(f):
        return None, None, None
    radiated = eirp_of(emitter.power_w, emitter.gain_dbi)
    s = float(power_density_w_per_m2(radiated, distance_m, emitter.ground_factor))
    return float(electric_field_v_per_m(s)), float(magnetic_field_a_per_m(s)), s


def _heights(emitter: Emitter) -> tuple[float, ...]:
    return (*HEIGHTS_M, *(() if emitter.window_m is None else (emitter.window_m,)))


def share_left(emitter: Emitter, share: float, fraction: float) -> float:
    """Return the share of an averaging time that may be on the air for a limit to be just kept."""
    return share / emitter.mode_factor / fraction if fraction else inf


def _fractions(
    emitter: Emitter, limit: Limit, distance_m: float, share: float
) -> tuple[tuple[float, float] | None, str]:
    levels = levels_of(limit)
    if emitter.shape is not None:
        if distance_m < LEAST_FROM_FEED_M:
            return None, NEEDS_ROOM
        f = emitter.frequency_hz
        e, h = fields_from(emitter.shape, f, distance_m, _heights(emitter))
        loss, _ = losses(emitter, emitter.shape)
        found = []
        for power, more in ((emitter.power_w, 1.0), (emitter.power_high_w, MODEL_SHARE)):
            root = more * np.sqrt(radiating_w(emitter.shape, f, power * share, loss))
            field = float(max(np.max(e * root) / levels.e_v_per_m, np.max(h * root) / levels.h_a_per_m))
            found.append(field**2 if limit.averaging_s else field)
        return (found[0], found[1]), ""
    if emitter.gain_dbi is None:
        return None, NEEDS_GAIN
    if distance_m < reactive_near_field_m(emitter.frequency_hz):
        return None, NEEDS_SHAPE
    _, allowed = far_field_level(limit)
    radiated = [eirp_of(p, emitter.gain_dbi) * share for p in (emitter.power_w, emitter.power_high_w)]
    found = [float(s) / allowed for s in power_density_w_per_m2(radiated, distance_m, emitter.ground_factor)]
    return ((found[0], found[1]) if limit.averaging_s else (sqrt(found[0]), sqrt(found[1]))), ""


def _exempt(emitter: Emitter, limit: Limit, distance_m: float) -> tuple[float | None, bool | None]:
    """Return what 47 CFR exempts at a distance, and whether the emitter is; None where the rule says nothing.

    The rule is of the public's table, and of the time-averaged power.
    """
    if limit.standard != "47 CFR 1.1310" or limit.who != "public":
        return None, None
    rule = exempt_erp_w(emitter.frequency_hz, distance_m)
    if not rule.applies or emitter.gain_dbi is None:
        return (rule.erp_w if rule.applies else None), None
    return rule.erp_w, bool(_average_erp_w(emitter, limit, emitter.gain_dbi) <= rule.erp_w)


def _exempt_from_m(emitter: Emitter, limit: Limit) -> float | None:
    """Return from which distance 47 CFR exempts an emitter: its table has a power that grows with the square."""
    if limit.standard != "47 CFR 1.1310" or limit.who != "public" or emitter.gain_dbi is None:
        return None
    rule = exempt_erp_w(emitter.frequency_hz, 1.0)
    return max(rule.least_distance_m, sqrt(_average_erp_w(emitter, limit, emitter.gain_dbi) / rule.erp_w))


def _average_erp_w(emitter: Emitter, limit: Limit, gain_dbi: float) -> float:
    return float(erp_w(eirp_of(emitter.power_high_w, gain_dbi) * share_of_peak(emitter, limit.averaging_s)))


def together(found: Sequence[tuple[str, Sequence[DensityFinding]]]) -> tuple[SumFinding, ...]:
    """Return what several runs use up at once: the sum of quotients, each run at the frequency that uses most.

    Fields over levels for ICNIRP 2010 (page 829, equations 4 and 5); squares of fields over squared levels, or
    densities, for ICNIRP 2020 and 47 CFR 1.1307(b)(3)(ii), both from memory.
    """
    kinds = dict.fromkeys((d.limit, d.who) for _, densities in found for d in densities)
    return tuple(_sum(found, *kind) for kind in kinds)


def _sum(found: Sequence[tuple[str, Sequence[DensityFinding]]], limit: str, who: str) -> SumFinding:
    total: float = 0.0
    runs, needs = [], ""
    for run, densities in found:
        own = [d for d in densities if (d.limit, d.who) == (limit, who)]
        if not own:
            continue
        runs.append(run)
        needs = needs or next((d.needs for d in own if d.fraction_high is None), "")
        total += max((d.fraction_high for d in own if d.fraction_high is not None), default=0.0)
    return SumFinding(limit, who, None if needs else total, tuple(runs), needs)
