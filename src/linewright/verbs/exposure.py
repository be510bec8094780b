"""Exposure alone: of a station's runs, or without a station from power, frequency, and gain or lengths."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from linewright.core.errors import InputError
from linewright.core.formatting import digits
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.exposure import Over
from linewright.core.nouns.line import LineType
from linewright.core.nouns.plan import Plan
from linewright.core.nouns.rules import Rules
from linewright.core.nouns.station import Antenna, Exposure, Run, Station
from linewright.verbs.plan import plan_station, read

NAME = say("This antenna")
MATCHED = ((0.0, 1.0),)


@dataclass(frozen=True, slots=True)
class People:
    """How near people come to an antenna, the height of a neighbour's window, and whose limits are asked for.

    None, and no limits, where nobody says more than the station.
    """

    people_m: float | None = None
    window_m: float | None = None
    limits: tuple[str, ...] = ()


NOBODY = People()
NO_RULES = Rules()


def exposure_at(
    station: Station | Path | str,
    *,
    run: str | None = None,
    near: People = NOBODY,
    rules: Rules = NO_RULES,
    own: Sequence[LineType] = (),
    progress: Callable[[float, str], None] | None = None,
) -> Plan:
    """Return how far to keep away from a station's antennas, and what is used up of each limit where people are.

    Parameters
    ----------
    station : Station or Path or str
        The station, or the TOML file it stands in.
    run : str, optional
        The only run to look at; without it several runs are also added up.
    near : People
        How near people come to every antenna, the height of a neighbour's window, whose limits are asked for; else as
        each run states them.
    rules : Rules, optional
        One's own limits and licence, besides those the station names.
    own : sequence of LineType
        The person's own line types, for a station that is still to be read.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done, while a bench sheet is judged.

    Returns
    -------
    Plan
        For each run and frequency, each limit with its distance in metres, and what is used up where people are.

    Raises
    ------
    InputError
        If the station breaks a rule, or has no such run.

    References
    ----------
    Limits: ICNIRP 2020, Health Physics 118:483-524; ICNIRP 2010 below 10 MHz; 47 CFR 1.1310. Far field: OET Bulletin
    65, equations 3 to 6 (numbers from memory). Near wires: the method of moments, ``docs/near-field-equations.md``.

    >>> from linewright.verbs.examples import demo_file
    >>> plan = exposure_at(demo_file("harbour-ridge-station.toml"), run="repeater link")
    >>> first = plan.budgets[0].bands[0].exposure[0]
    >>> first.limit, first.who, 0.5 < first.distance_m < 3.0
    ('ICNIRP 2020', 'public', True)
    """
    known = read(station, own)
    runs = tuple(replace(r, exposure=_asked(r.exposure, near, rules.names)) for r in known.runs)
    both = Rules((*known.rules.exposure, *rules.exposure), (*known.rules.licence, *rules.licence))
    return plan_station(replace(known, runs=runs, rules=both), run=run, progress=progress)


def _asked(stated: Exposure, near: People, names: Sequence[str]) -> Exposure:
    return replace(
        stated,
        people_m=stated.people_m if near.people_m is None else near.people_m,
        window_m=stated.window_m if near.window_m is None else near.window_m,
        standards=tuple(dict.fromkeys((*(near.limits or stated.standards), *names))),
    )


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
        The limits asked for, the ground reflection, the size of the antenna, where people and windows are.

    Returns
    -------
    Plan
        One run of that name, with each limit's distance in metres at each frequency.

    Raises
    ------
    InputError
        If a number is out of range.

    References
    ----------
    Far field in the main lobe, ``S = g EIRP / (4 π d²)``: OET Bulletin 65, equations 3 to 6 (numbers from memory).

    >>> plan = exposure_of(100.0, 12.0, [14.2e6, 144e6])
    >>> [(e.who, e.distance_m, e.in_near_field) for e in plan.budgets[0].bands[0].exposure][3:]
    [('occupational', None, True)]
    >>> [(e.who, round(e.distance_m, 1), e.in_near_field) for e in plan.budgets[0].bands[1].exposure][3:]
    [('occupational', 5.7, False)]
    """
    frequencies = tuple(sorted(set(frequencies_hz)))
    run = Run(NAME, frequencies, power_w, (), Antenna(swr=MATCHED), gain_dbi, duty, mode_factor)
    return exposure_of_antenna(replace(run, exposure=exposure or Exposure()))


def exposure_of_antenna(run: Run, rules: Rules = NO_RULES) -> Plan:
    """Return how far to keep away from the antenna of a run without a line: its power is that at the antenna.

    Parameters
    ----------
    run : Run
        Power in watts at the antenna, frequencies in hertz, and the antenna with its lengths in metres or its gain.
    rules : Rules
        One's own limits and licence.

    Returns
    -------
    Plan
        As of ``exposure_of``.

    Raises
    ------
    InputError
        If a frequency, a power or a length is out of range.

    References
    ----------
    As of ``exposure_at``.

    >>> from linewright.core.nouns.wire_antenna import Dipole
    >>> dipole = Antenna(swr=MATCHED, shape=Dipole(10.1, 10.0))
    >>> found = exposure_of_antenna(Run(NAME, (14.1e6,), 100.0, (), dipole)).budgets[0].bands[0].exposure[0]
    >>> round(found.distance_m, 1), found.method, found.ground_distance_m
    (1.3, 'near field', 0.0)
    """
    asked = replace(run, exposure=_asked(run.exposure, NOBODY, rules.names))
    title = say("{power} W into an antenna by its lengths", power=digits(run.power_w))
    if run.gain_dbi is not None:
        title = say("{power} W into {gain} dBi", power=digits(run.power_w), gain=digits(run.gain_dbi))
    return plan_station(Station(title, (asked,), rules=rules))


def exposure_as_written(given: Mapping[str, Any], called: str = "{}", rules: Rules = NO_RULES) -> Plan:
    """Return the same from figures as people write them, as ``run_as_written`` takes them.

    Raises
    ------
    InputError
        If one cannot be read.
    """
    return exposure_of_antenna(run_as_written(given, called), rules)


def run_as_written(given: Mapping[str, Any], called: str = "{}") -> Run:
    """Return a run without a line from figures as people write them.

    Parameters
    ----------
    given : mapping
        ``power``, ``gain`` or ``antenna`` or both, ``at`` (several), ``duty``, ``mode`` and ``ground`` as texts;
        perhaps ``size``, ``distance``, ``window``, ``over`` and ``pause``, and ``limits``, the sets asked for. The
        antenna is a text, or the keys of a station file.
    called : str
        What an error calls a figure, ``{}`` its name: "--{}" for an option.

    Raises
    ------
    InputError
        If one cannot be read.

    >>> given = {"power": "100 W", "at": ["14.1 MHz"], "duty": "100 %", "mode": "CW", "ground": "EPA"}
    >>> run_as_written({**given, "antenna": "beam, elements 0 m 10.4 m; 3.8 m 9.96 m, height 10 m"}).antenna.shape
    Beam(elements_m=((0.0, 10.4), (3.8, 9.96)), height_m=10.0, driven=2, wire_diameter_m=0.02)
    """
    from linewright.files import fields, station_fields, station_run
    from linewright.files.station_antenna import antenna_of, written_antenna

    def name(figure: str) -> str:
        return called.format(figure)

    def length(figure: str) -> float | None:
        return fields.length(given[figure], name(figure)) if given.get(figure) else None

    hertz = [fields.frequency(f, name("at")) for f in given["at"]]
    mode = station_run.mode_named(given["mode"], name("mode"))
    antenna = given.get("antenna")
    power_w = fields.source_power(given["power"], name("power"))
    gain_dbi = station_fields.gain_dbi(given["gain"], name("gain")) if given.get("gain") else None
    matched = Antenna(swr=MATCHED)
    if antenna:
        by_keys = antenna_of if isinstance(antenna, Mapping) else written_antenna
        matched = replace(by_keys(antenna, name("antenna"), tuple(hertz)), swr=MATCHED)
    limits = {"standards": station_run.standards(list(given["limits"]), name("limits"))} if given.get("limits") else {}
    return Run(
        NAME, tuple(sorted(set(hertz))), power_w, (), matched, gain_dbi,
        station_fields.share(given["duty"], name("duty")), mode.factor,
        over=_over(given, name) or station_run.slots_of(mode),
        exposure=Exposure(
            ground_factor=station_run.ground(given["ground"], name("ground")), antenna_size_m=length("size"),
            window_m=length("window"), people_m=length("distance"), **limits,
        ),
    )  # fmt: skip


def _over(given: Mapping[str, Any], name: Callable[[str], str]) -> Over | None:
    from linewright.files.rules import duration

    on, off = given.get("over"), given.get("pause")
    if not on and not off:
        return None
    if not on or not off:
        raise InputError(f"{name('over')} and {name('pause')}", say("must stand together"))
    return Over(duration(on, name("over")), duration(off, name("pause")))
