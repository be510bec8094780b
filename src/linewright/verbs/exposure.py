"""Exposure from power, gain and frequency alone, without a station."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from linewright.core.formatting import digits
from linewright.core.messages import say
from linewright.core.nouns.plan import Plan
from linewright.core.nouns.station import Antenna, Exposure, Run, Station
from linewright.verbs.plan import plan_station

NAME = say("power at the antenna")


def exposure_of(
    power_w: float,
    gain_dbi: float,
    frequencies_hz: Sequence[float],
    *,
    duty: float = 1.0,
    mode_factor: float = 1.0,
    exposure: Exposure | None = None,
) -> Plan:
    """Return how far to keep away from an antenna that is given this power.

    Parameters
    ----------
    power_w : float
        Power at the antenna, watts, while the transmitter is on.
    gain_dbi : float
        Gain of the antenna over an isotropic radiator, dB.
    frequencies_hz : sequence of float
        Frequencies in hertz.
    duty, mode_factor : float
        Share of the averaging time on air, and average over peak power of the mode.
    exposure : Exposure, optional
        The limits asked for, the ground reflection, and the size of the antenna.

    Raises
    ------
    InputError
        If a number is out of range.

    >>> plan = exposure_of(100.0, 12.0, [14.2e6, 144e6])
    >>> [(e.who, e.distance_m, e.in_near_field) for e in plan.budgets[0].bands[0].exposure][3:]
    [('occupational', None, True)]
    >>> [(e.who, round(e.distance_m, 1), e.in_near_field) for e in plan.budgets[0].bands[1].exposure][3:]
    [('occupational', 5.7, False)]
    """
    matched = Antenna(swr=((0.0, 1.0),))
    run = Run(
        NAME, tuple(sorted(set(frequencies_hz))), power_w, (), matched, gain_dbi, duty, mode_factor,
        exposure=exposure or Exposure(),
    )  # fmt: skip
    return plan_station(Station(say("{power} W into {gain} dBi", power=digits(power_w), gain=digits(gain_dbi)), (run,)))


def exposure_as_written(given: Mapping[str, Any], called: str = "{}") -> Plan:
    """Return the same from figures as people write them.

    Parameters
    ----------
    given : mapping
        ``power``, ``gain``, ``at`` (several), ``duty``, ``mode`` and ``ground`` as texts, perhaps ``size``.
    called : str
        What an error calls a figure, ``{}`` its name: "--{}" for an option.

    Raises
    ------
    InputError
        If one cannot be read.
    """
    from linewright.files import fields, station_fields, station_run

    def name(figure: str) -> str:
        return called.format(figure)

    size = given.get("size")
    return exposure_of(
        fields.source_power(given["power"], name("power")),
        station_fields.gain_dbi(given["gain"], name("gain")),
        [fields.frequency(f, name("at")) for f in given["at"]],
        duty=station_fields.share(given["duty"], name("duty")),
        mode_factor=station_run.mode(given["mode"], name("mode")),
        exposure=Exposure(
            ground_factor=station_run.ground(given["ground"], name("ground")),
            antenna_size_m=fields.length(size, name("size")) if size else None,
        ),
    )
