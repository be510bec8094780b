"""A ``[[run]]`` table to a run."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, get_args

from linewright.catalogue.bands import band
from linewright.catalogue.exposure_limits import Factor, ground_factor, mode_factor
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.formatting import frequency
from linewright.core.messages import mark, say
from linewright.core.nouns.exposure import Over
from linewright.core.nouns.station import (
    Antenna,
    ConnectorPart,
    Curve,
    Exposure,
    LinePart,
    LossPart,
    Part,
    Place,
    Preamplifier,
    PreamplifierPart,
    Receiver,
    Run,
    Sky,
    SplitterPart,
    SweepPart,
    TransformerPart,
)
from linewright.files import fields, station_fields
from linewright.files.curve import inline
from linewright.files.prices import wishes_of
from linewright.files.rules import duration
from linewright.files.station_antenna import shape
from linewright.files.station_chain import ChainNames, Parts, chain, noise_of, swept
from linewright.files.tables import TomlTable

# Whether what a run is made of speaks of its frequencies: nothing is carried beyond what was stated or swept

MOST_DB = 400.0
"""No run loses more: a length or a frequency is wrong."""
NEAR = 0.05
"""An antenna's SWR or impedance holds within this share of a stated frequency: between bands it is anything."""


def uncovered(run: Run) -> Iterator[tuple[str, InputError]]:
    """Yield what is missing: the key of the run ("chain" or "antenna"), and the error."""
    for part in run.chain:
        for f in run.frequencies_hz:
            rule = _part_rule(part, f)
            if rule:
                yield "chain", InputError(f"{part.name} of run {run.name!r}", rule, cure=say("Plan inside it."))
    for f in run.frequencies_hz:
        lost_db = sum(_line_db(part, f) for part in run.chain)
        if lost_db > MOST_DB:
            rule = say(
                "would lose {lost_db} dB at {frequency}: no run does",
                lost_db=format(lost_db, ".0f"),
                frequency=frequency(f),
            )
            yield (
                "chain",
                InputError(f"chain of run {run.name!r}", rule, cure=say("Check its lengths and the frequency.")),
            )
    for f in run.frequencies_hz:
        rule = _antenna_rule(run.antenna, f)
        if rule:
            cure = say("Add a point for this band, or take the frequency out.")
            yield "antenna", InputError(f"antenna of run {run.name!r}", rule, cure=cure)


def check_covered(runs: Sequence[Run]) -> None:
    """Refuse a run that cannot be planned on one of its frequencies."""
    for run in runs:
        for _, error in uncovered(run):
            raise error


def _part_rule(part: Part, f: float) -> str:
    if isinstance(part, SweepPart):
        reach = part.sweep.frequency_hz
        if not part.sweep.covers(f):
            return _outside(f, float(reach[0]), float(reach[-1]), SWEPT)
    if isinstance(part, (LossPart, TransformerPart, SplitterPart, PreamplifierPart)):
        rule = _curve_rule(part.loss_db, f)
        if rule:
            return rule
    if isinstance(part, (LinePart, ConnectorPart)):
        return ""
    ratings = ((RATED_VOLTAGE, part.ratings.voltage_v), (RATED_POWER, part.ratings.power_w))
    rules = (_curve_rule(curve, f, how) for how, curve in ratings if curve is not None)
    return next(filter(None, rules), "")


def _line_db(part: Part, f: float) -> float:
    """Return what a line should lose, matched; nothing for other parts and unknown types."""
    if not isinstance(part, LinePart) or part.piece.line is None:
        return 0.0
    return part.piece.length_m * float(part.piece.line.law.db_per_m(f))


SWEPT = mark("is swept from {low} to {high} only; {frequency} lies outside")
STATED = mark("is stated from {low} to {high} only; {frequency} lies outside")
RATED_VOLTAGE = mark("is rated by voltage from {low} to {high} only; {frequency} lies outside")
RATED_POWER = mark("is rated by power from {low} to {high} only; {frequency} lies outside")


def _curve_rule(curve: Curve, f: float, how: str = STATED) -> str:
    low, high = curve[0][0], curve[-1][0]
    return "" if len(curve) == 1 or low <= f <= high else _outside(f, low, high, how)


def _outside(f: float, low: float, high: float, how: str) -> str:
    return say(how, low=frequency(low), high=frequency(high), frequency=frequency(f))


def _antenna_rule(antenna: Antenna, f: float) -> str:
    if antenna.sweep is not None:
        reach = antenna.sweep.frequency_hz
        return "" if antenna.sweep.covers(f) else _outside(f, float(reach[0]), float(reach[-1]), SWEPT)
    stated = antenna.swr or antenna.impedance_ohm or ()
    at = [point[0] for point in stated]
    if len(at) == 1 and at[0] == 0.0:
        return ""
    if not at[0] <= f <= at[-1] and len(at) > 1:
        return _outside(f, at[0], at[-1], STATED)
    near = min(at, key=lambda g: abs(g - f))
    if abs(near - f) <= NEAR * near:
        return ""
    return say("says nothing of {frequency}: the nearest point is {near}", frequency=frequency(f), near=frequency(near))


# A ``[[run]]`` table to a run

STANDARDS = ("ICNIRP 2020", "47 CFR 1.1310", "ICNIRP 2020 local", "ICNIRP 2010")
PLACES: tuple[Place, ...] = get_args(Place)
MOST_FREQUENCIES = 5000


def run_of(table: TomlTable, known: ChainNames) -> Run | None:
    """Return a run; None after problems, which are noted."""
    name = table.take("name", fields.text)
    frequencies_hz = _frequencies(table, known)
    power_w = table.take("power", fields.source_power)
    duty, mean, over = _time_on_air(table)
    curve = table.take("fold_back", fold_back, ())
    parts = chain(table, known) if "chain" in table.content or "route" not in table.content else ()
    _each_piece_once(table, parts)
    antenna = _antenna(table, known, frequencies_hz)
    gain_dbi = table.take("gain", station_fields.gain_dbi, None)
    receiver, preamplifier = _receiver(table), _preamplifier(table)
    sky_kelvin, sky = table.take("sky_temperature", station_fields.kelvin, None), _sky(table)
    temperature = table.take("temperature", station_fields.celsius, None)
    exposure, wishes = _exposure(table, known), wishes_of(table)
    table.close()
    if table.bad or antenna is None:
        return None
    run = Run(
        name, frequencies_hz, power_w, parts, antenna, gain_dbi, duty, mean, curve, receiver, preamplifier,
        sky_kelvin, temperature, exposure, wishes, over, sky,
    )  # fmt: skip
    missing = list(uncovered(run))
    for key, error in missing:
        table.fail(error, key)
    return None if missing else run


def _frequencies(table: TomlTable, known: ChainNames) -> tuple[float, ...]:
    given = table.take("frequencies", station_fields.one_or_more(fields.frequency), ()) or ()
    named = table.take("bands", station_fields.texts, ()) or ()
    for name in named:
        try:
            one = band(name)
        except UnknownNameError as error:
            table.fail(UnknownNameError(f"{table.label} bands", error.rule, cure=error.cure), "bands")
            continue
        middle = (one.low_hz + one.high_hz) / 2.0
        given = (*given, middle)
        reach = f"{frequency(one.low_hz)} to {frequency(one.high_hz)}"
        said = f"{one.name} is planned at {frequency(middle)}, the middle of its widest allocation ({reach})."
        if said not in known.remarks:
            known.remarks.append(said)
    if not given and not table.bad:
        rule = say("must name at least one frequency or band")
        table.fail(InputError(f"{table.label} frequencies", rule, cure=say('Add frequencies = ["144.3 MHz"].')))
    if len(given) > MOST_FREQUENCIES:
        table.fail(
            InputError(
                f"{table.label} frequencies",
                say("must be at most {most}; got {value}", most=MOST_FREQUENCIES, value=len(given)),
            )
        )
    return tuple(sorted(set(given)))


def fold_back(value: Any, name: str) -> Curve:
    """Return how a radio lowers its power: pairs of (SWR, share of power), the SWR rising, the share not."""
    example = say('Write [[1.5, "100 %"], [3, "50 %"]].')
    if not isinstance(value, list) or not value:
        raise InputError(name, say("must be a list of SWR and share; got {value}", value=repr(value)), cure=example)
    found: list[tuple[float, float]] = []
    for i, pair in enumerate(value, start=1):
        if not isinstance(pair, list) or len(pair) != 2:
            raise InputError(
                name,
                say("must be pairs of SWR and share; point {number} is {pair}", number=i, pair=repr(pair)),
                cure=example,
            )
        point = (
            fields.swr(pair[0], f"{name}, SWR of point {i}"),
            station_fields.share(pair[1], f"{name}, share of point {i}"),
        )
        if found and not (point[0] > found[-1][0] and point[1] <= found[-1][1]):
            raise InputError(
                name,
                say("must rise in SWR and fall in share; point {number} is {pair}", number=i, pair=repr(pair)),
                cure=example,
            )
        found.append(point)
    return tuple(found)


def mode(value: Any, name: str) -> float:
    """Return the average over the peak power of a mode."""
    return mode_named(value, name).factor


def _time_on_air(table: TomlTable) -> tuple[float, float, Over | None]:
    """Return the duty, the average over the peak power while on, and the overs and pauses.

    A mode with slots brings its overs and pauses, unless a duty or overs of one's own are stated.
    """
    duty = table.take("duty", station_fields.share, 1.0)
    named: Factor | None = table.take("mode", mode_named, None)
    entry = inline(table, "over")
    over: Over | None = None
    if entry is not None:
        on_s, off_s = entry.take("on", duration), entry.take("off", duration)
        entry.close()
        over = None if entry.bad else Over(on_s, off_s)
        if "duty" in table.content:
            cure = say("Leave out duty: each limit has the one of its own averaging time.")
            entry.fail(InputError(entry.label, say("stands beside duty"), cure=cure))
    elif named is not None and "duty" not in table.content:
        over = slots_of(named)
    return duty, 1.0 if named is None else named.factor, over


def slots_of(mode: Factor) -> Over | None:
    """Return the overs and pauses that a mode's slots lay down; None where it has none."""
    return None if mode.on_s is None or mode.off_s is None else Over(mode.on_s, mode.off_s)


def mode_named(value: Any, name: str) -> Factor:
    """Return a mode of the catalogue."""
    try:
        return mode_factor(fields.text(value, name))
    except UnknownNameError as error:
        raise UnknownNameError(name, error.rule, cure=error.cure) from error


def _each_piece_once(table: TomlTable, parts: Parts) -> None:
    tags = [p.piece.tag for p in parts if isinstance(p, LinePart) and p.measured]
    for tag in dict.fromkeys(t for t in tags if tags.count(t) > 1):
        rule = say("holds the piece {tag} twice", tag=repr(tag))
        table.fail(
            InputError(f"{table.label} chain", rule, cure=say("One piece lies in one place: take one out.")), "chain"
        )


def _antenna(table: TomlTable, known: ChainNames, frequencies_hz: tuple[float, ...]) -> Antenna | None:
    entry = inline(table, "antenna")
    if entry is None:
        if "antenna" not in table.content:
            cure = say("Add antenna = {{swr = 1.5}}, {{impedance = ...}} or {{touchstone = ...}}.")
            table.fail(InputError(f"{table.label} antenna", say("is missing"), cure=cure))
        return None
    kinds = [kind for kind in ("swr", "impedance", "touchstone") if kind in entry.content]
    swr = entry.take("swr", station_fields.curve(fields.swr), None)
    impedance = entry.take("impedance", impedances, None)
    file = entry.take("touchstone", fields.text, None)
    form, loss_ohm = shape(entry, frequencies_hz)
    entry.close()
    if len(kinds) != 1 and not entry.bad:
        rule = say(
            "must be one of swr, impedance, touchstone; got {value}", value=" and ".join(kinds) or "none of them"
        )
        entry.fail(InputError(entry.label, rule))
    if entry.bad:
        return None
    if not file:
        return Antenna(swr, impedance, None, form, loss_ohm)
    sweep = swept(entry, file, 1, known)
    return None if sweep is None else Antenna(None, None, sweep, form, loss_ohm)


def impedances(value: Any, name: str) -> tuple[tuple[float, complex], ...]:
    """Return one impedance for all frequencies, or a list of [frequency, impedance]."""
    if isinstance(value, list):
        return station_fields.points(value, name, station_fields.impedance)
    return ((0.0, station_fields.impedance(value, name)),)


def _receiver(table: TomlTable) -> Receiver | None:
    entry = inline(table, "receiver")
    if entry is None:
        return None
    figure = noise_of(entry)
    entry.close()
    return None if entry.bad else Receiver(figure)


def _preamplifier(table: TomlTable) -> Preamplifier | None:
    entry = inline(table, "preamplifier")
    if entry is None:
        return None
    gain_db = entry.take("gain", station_fields.amplifier_db)
    figure = noise_of(entry)
    at: Place = entry.take("at", lambda value, name: fields.one_of(value, name, PLACES), PLACES[0])
    entry.close()
    return None if entry.bad else Preamplifier(gain_db, figure, at)


def _sky(table: TomlTable) -> Sky | None:
    """Return where the antenna looks; nothing after problems, which are noted."""
    entry = inline(table, "sky")
    if entry is None:
        return None
    elevation_deg = entry.take("elevation", station_fields.elevation_deg)
    ground = entry.take("ground", station_fields.part_of)
    entry.close()
    if "sky_temperature" in table.content:
        entry.fail(
            InputError(entry.label, say("stands beside sky_temperature"), cure=say("Give the one you trust more."))
        )
    return None if entry.bad else Sky(elevation_deg, ground)


def _exposure(table: TomlTable, known: ChainNames) -> Exposure:
    entry, usual = inline(table, "exposure"), Exposure()
    usual = replace(usual, standards=(*usual.standards, *known.own_limits))
    if entry is None:
        return usual

    def asked(value: Any, name: str) -> tuple[str, ...]:
        return standards(value, name, known.own_limits)

    limits = entry.take("limits", asked, usual.standards)
    factor = entry.take("ground_factor", ground, usual.ground_factor)
    size_m = entry.take("antenna_size", fields.length, None)
    window_m, people_m = entry.take("window", fields.length, None), entry.take("people", fields.length, None)
    entry.close()
    return usual if entry.bad else Exposure(limits, factor, size_m, window_m, people_m)


def standards(value: Any, name: str, own: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Return the standards whose limits are asked for, ``own`` among those that are known."""
    return tuple(fields.one_of(v, name, (*STANDARDS, *own)) for v in station_fields.texts(value, name))


def ground(value: Any, name: str) -> float:
    """Return by what the ground may multiply the power density: a number, or the name of one."""
    if isinstance(value, str):
        try:
            return ground_factor(value).factor
        except UnknownNameError as error:
            raise UnknownNameError(name, error.rule, cure=error.cure) from error
    found = fields.number(value, name)
    if not 1.0 <= found <= 4.0:
        cure = say("1 is no reflection, 2.56 the EPA's figure, 4 all of it in phase.")
        raise InputError(name, say("must lie between 1 and 4; got {value}", value=repr(value)), cure=cure)
    return found
