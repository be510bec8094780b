"""What is found about people near an antenna: how far a limit reaches, and what is left of it at a place."""

from __future__ import annotations

from typing import Literal

from linewright.core.formulas.near_field import Point
from linewright.core.frozen import dataclass

Method = Literal["far field", "near field", "none"]
Verdict = Literal["within", "over", "cannot tell"]
Span = tuple[float, float, float, float]
"""A row of a zone: its edges on the upright axis, where on the level axis the zone begins and ends; metres."""


@dataclass(frozen=True, slots=True)
class Over:
    """The longest over and the shortest pause between two, in seconds."""

    on_s: float
    off_s: float


@dataclass(frozen=True, slots=True)
class ExposureFinding:
    """How far one limit reaches.

    Attributes
    ----------
    distance_m : float or None
        With the power that is believed to reach the antenna, and no more loss in it than is stated. By the near field:
        from the nearest wire; by the far field: from the antenna, in its main lobe. None where no figure can be given;
        ``needs`` says what would give one.
    distance_m_low : float or None
        The same with the losses that a short antenna commonly has; None where they are stated or hardly matter.
    distance_m_high : float or None
        With the upper end of the power's 95 % interval; by the near field with 10 % for the model, rounded up.
    ground_distance_m, window_distance_m : float or None
        By the near field, level from the feed: 0.1 to 2 m above ground, and at the height of a window; 0 where the
        limit is reached nowhere there.
    in_near_field : bool
        Whether the distance lies, or by the far-field formula would lie, within λ/2π, or where the lobe of the antenna
        is not formed yet: there the formula gives too far rather than too near.
    quantity, limit_value, unit
        Which of the limit's quantities reaches farthest.
    share : float
        Average over peak power in the worst averaging time; 1 where the limit is not averaged.
    averaging_s : float
        0 where the limit is not averaged.
    exempt_distance_m : float or None
        Of the public's limits of 47 CFR 1.1310: from which distance to people 1.1307(b)(3)(i)(C) exempts the source,
        never within λ/2π; None where the gain is not known, and of all other limits.
    """

    limit: str
    who: str
    distance_m: float | None
    distance_m_high: float | None
    in_near_field: bool
    quantity: str
    limit_value: float
    unit: str
    source: str
    needs: str = ""
    method: Method = "far field"
    distance_m_low: float | None = None
    ground_distance_m: float | None = None
    window_distance_m: float | None = None
    share: float = 1.0
    averaging_s: float = 0.0
    exempt_distance_m: float | None = None


@dataclass(frozen=True, slots=True)
class DensityFinding:
    """What is used up of one limit at a distance from an antenna.

    ``fraction`` is the quotient that adds up over transmitters: of densities, or of squared fields; of fields where the
    limit is not averaged. Near a wire the distance is level, from below the feed, and the worst place from there
    outwards counts. ``fraction_high`` is that at the upper end of the power's interval, near a wire with 10 % more
    field for the model; ``max_power_w``, the most
    power of the transmitter that keeps the limit, and ``max_over_s``, the longest over in each averaging time (None:
    without end), go with it. ``exempt_erp_w`` is the power that 47 CFR 1.1307(b)(3)(i)(C) exempts at this distance,
    None where it says nothing. ``e_v_per_m``, ``h_a_per_m`` and ``s_w_per_m2`` are the rms fields and the power density
    there while the transmitter is on, at the power that is believed; near a wire there is no power density.
    """

    limit: str
    who: str
    distance_m: float
    fraction: float | None
    fraction_high: float | None
    max_power_w: float | None
    max_over_s: float | None
    averaging_s: float
    needs: str = ""
    exempt_erp_w: float | None = None
    exempt: bool | None = None
    e_v_per_m: float | None = None
    h_a_per_m: float | None = None
    s_w_per_m2: float | None = None


@dataclass(frozen=True, slots=True)
class SumFinding:
    """What several runs on the air at once use up of one limit, each at its worst frequency; above 1 it is not kept."""

    limit: str
    who: str
    fraction: float | None
    runs: tuple[str, ...]
    needs: str = ""


@dataclass(frozen=True, slots=True)
class LicenceFinding:
    """What a licence allows on a band, and what the run has: peak envelope power, with its 95 % interval."""

    quantity: str
    limit_w: float
    value_w: float | None
    value_w_low: float | None
    value_w_high: float | None
    verdict: Verdict
    source: str
    needs: str = ""


@dataclass(frozen=True, slots=True)
class Zone:
    """Where a level is reached, as rows of spans; the wires' ends; and where they are fed.

    ``above`` is at any height, ``people`` at 0.1 to 2 m, both seen from above (x level, y upright); ``side`` is at any
    y, seen from the side (x level, z upright).
    """

    above: tuple[Span, ...]
    people: tuple[Span, ...]
    side: tuple[Span, ...]
    wires_m: tuple[tuple[Point, Point], ...]
    feed_m: Point
