"""What the address of a run's page holds, and the addresses that lead on from it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal
from urllib.parse import parse_qsl, urlencode

from starlette.datastructures import QueryParams

from linewright.catalogue import line_types
from linewright.catalogue.exposure_limits import factors
from linewright.core.errors import InputError
from linewright.core.formatting import frequency
from linewright.core.nouns.station import Curve, LinePart, LossPart, PreamplifierPart, Run, Station
from linewright.files.station_antenna import antenna_text
from linewright.files.station_run import STANDARDS
from linewright.verbs.changes import changed

# What the address of a run's page holds, and the addresses that lead on from it

ABOUT = ("station", "run", "kept", "at", "how")
MOST_KEPT = 6


@dataclass(frozen=True, slots=True)
class RunState:
    """A run's page: the station, the run, the fields as they stand, the plans kept, the part and figure opened.

    ``values`` and each of ``kept`` hold the fields that say something else than the station, as (name, value).
    """

    station: str
    run: str
    values: tuple[tuple[str, str], ...] = ()
    kept: tuple[tuple[tuple[str, str], ...], ...] = ()
    at: int = 0
    how: str = ""


def state_of(asked: QueryParams) -> RunState:
    """Return what an address holds; what is in it that is no state at all is passed over."""
    kept = tuple(dict.fromkeys(tuple(sorted(parse_qsl(text)[:40])) for text in asked.getlist("kept")))
    at = asked.get("at", "")
    values = {name: value for name, value in asked.items() if name not in ABOUT}
    return RunState(
        asked.get("station", ""), asked.get("run", ""), tuple(values.items()), tuple(k for k in kept if k)[:MOST_KEPT],
        int(at) if at.isascii() and at.isdigit() and len(at) < 4 else 0, asked.get("how", ""),
    )  # fmt: skip


def address(state: RunState, **new: Any) -> str:
    """Return the address of a state, or of one that differs from it in some fields."""
    s = replace(state, **new)
    pairs = [("station", s.station), ("run", s.run), *s.values]
    pairs += [("kept", urlencode(kept)) for kept in s.kept]
    pairs += [("at", str(s.at))] if s.at else []
    pairs += [("how", s.how)] if s.how else []
    return f"/runs/run?{urlencode(pairs)}"


def sorted_values(values: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """Return fields as a state holds them, in one order."""
    return tuple(sorted(values.items()))


# What of a run can be changed on its page: the fields of the form, and the changes that filled fields stand for

Kind = Literal["text", "choice", "check"]
BARE = re.compile(r"[+-]?\d*[.,]?\d+")
PREAMPLIFIER = "gain 20 dB, noise figure 1 dB"
BYPASS = "In a line that also transmits it must be bypassed on transmit."
"""What is offered where a run has none (common practice, no source)."""
NOISE = "A noise figure, 4 dB, or a noise temperature, 35 K."
HEARS = "A noise temperature; without one, the noise of the site and the sky."
LOOKS = "As in: elevation 30 deg, ground 10 %."
PLACES = {"": "none", "antenna": "at the antenna", "radio": "at the radio"}
MOST_DRAG = 2.5
"""A length is dragged up to so many times what it is."""


@dataclass(frozen=True, slots=True)
class Control:
    """One field: what it is called, what it holds now, and the words of the change it makes.

    ``base`` is what the station has; ``unit`` is added to a bare number.
    """

    name: str
    label: str
    kind: Kind
    base: str
    what: str
    unit: str = ""
    options: tuple[tuple[str, str], ...] = ()
    drag: tuple[float, float, float] | None = None
    """Least, most and step of a slider."""
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Fields that belong together: those of one part, or of what stands around the chain."""

    title: str
    controls: tuple[Control, ...]


def groups_of(station: Station, run: Run) -> tuple[Group, ...]:
    """Return the fields of a run, those around its chain first."""
    parts = (_part(station, run, i) for i in range(len(run.chain)))
    people = Group("Fields and people", tuple(_of_fields(run)))
    return (Group("Radio and antenna", tuple(_around(run))), *parts, people)


def _around(run: Run) -> Iterator[Control]:
    top = 4 * run.power_w
    yield Control("power", "Power", "text", f"{run.power_w:g}", "power", "W", drag=(run.power_w / 20, top, top / 400))
    yield Control("frequencies", "Frequencies", "text", ", ".join(map(frequency, run.frequencies_hz)), "frequencies")
    base = _single(run.antenna.swr)
    hint = "" if base else "As the station states it, until a figure stands here."
    yield Control("swr", "SWR at the antenna", "text", base, "antenna swr", drag=(1.0, 6.0, 0.05), hint=hint)
    gain = "" if run.gain_dbi is None else f"{run.gain_dbi:g}"
    yield Control("gain", "Gain", "text", gain, "gain", "dBi")
    receiver = "" if run.receiver is None else f"{run.receiver.noise_figure_db:g} dB"
    yield Control("receiver", "Receiver's noise", "text", receiver, "receiver", "dB", hint=NOISE)
    hears = "" if run.sky_temperature_kelvin is None else f"{run.sky_temperature_kelvin:g}"
    yield Control("hears", "What the antenna hears", "text", hears, "sky temperature", "K", hint=HEARS)
    looks = (
        "" if run.sky is None else f"elevation {run.sky.elevation_deg:g} deg, ground {100 * run.sky.ground_share:g} %"
    )
    yield Control("looks", "Or where it looks", "text", looks, "sky", hint=LOOKS)
    held = run.preamplifier.at if run.preamplifier else ""
    kind = "Preamplifier" if run.preamplifier else f"Preamplifier ({PREAMPLIFIER})"
    yield Control("preamplifier", kind, "choice", held, "preamplifier", options=tuple(PLACES.items()), hint=BYPASS)


def _of_fields(run: Run) -> Iterator[Control]:
    """Yield what exposure hangs on: the antenna's lengths, mode and duty, people and windows, whose limits."""
    exposure = run.exposure
    held = antenna_text(run.antenna)
    hint = "Kind, lengths and height in one line: vertical, length 10 m, top 5 m, loss 10 ohm"
    yield Control("shape", "Antenna by its lengths", "text", held, "antenna", hint=hint)
    yield Control("duty", "On the air", "text", f"{100 * run.duty:g}", "duty", "%")
    modes = (("", "as it stands"), *((f.name, f.name) for f in factors("mode")))
    yield Control("mode", "Mode", "choice", "", "mode", options=modes)
    for name, label, what, value in (
        ("people", "How near people come", "people", exposure.people_m),
        ("window", "Height of a neighbour's window", "window", exposure.window_m),
    ):
        yield Control(name, label, "text", "" if value is None else f"{value:g}", what, "m")
    sets = [(name,) for name in STANDARDS]
    several = {one: ", ".join(one) for one in (exposure.standards, *sets)}
    options = tuple((_listed(names), words) for names, words in several.items())
    yield Control("limits", "Limits", "choice", _listed(exposure.standards), "limits", options=options)
    own = "Beside them: electric field 28 V/m, averaging 6 min"
    yield Control("own", "Limits of your own", "text", "", "own limits", hint=own)
    yield Control("licence", "Your licence allows", "text", "", "licence", hint="15 W EIRP, 100 W ERP or 400 W power")


def _listed(names: Sequence[str]) -> str:
    """Return names as a change takes a list of them."""
    return json.dumps(list(names))


def _part(station: Station, run: Run, i: int) -> Group:
    part, number = run.chain[i], i + 1
    found: list[Control] = []
    if isinstance(part, LinePart):
        nth = sum(isinstance(p, LinePart) for p in run.chain[:number])
        found += _of_line(station, part, number, f"line {nth}")
    elif isinstance(part, LossPart) and _single(part.loss_db):
        drag = (0.0, 3.0, 0.05)
        found.append(
            Control(f"loss{number}", "Loss", "text", _single(part.loss_db), f"part {number} loss", "dB", drag=drag)
        )
    elif isinstance(part, PreamplifierPart):
        gain, figure = f"{part.gain_db:g}", f"{part.noise_figure_db:g}"
        found.append(Control(f"gain{number}", "Gain", "text", gain, f"part {number} gain", "dB"))
        found.append(Control(f"noise{number}", "Noise figure", "text", figure, f"part {number} noise figure", "dB",
                             hint=BYPASS))  # fmt: skip
    found.append(Control(f"out{number}", "Leave it out", "check", "", f"part {number}"))
    return Group(f"{number}. {part.name}", tuple(found))


def _of_line(station: Station, part: LinePart, number: int, what: str) -> Iterator[Control]:
    held = part.name if part.measured and part.name in station.pieces else ""
    kind = held or (part.piece.line.designator if part.piece.line else "")
    pieces = tuple((tag, f"{tag} ({piece.length_m:g} m, on hand)") for tag, piece in station.pieces.items())
    own = tuple((line.designator, line.designator) for line in (*station.lines, *line_types()))
    known = {name for name, _ in (*pieces, *own)}
    first = () if kind in known else ((kind, kind or "not known"),)
    yield Control(f"type{number}", "Type, or a piece on hand", "choice", kind, what, options=(*first, *pieces, *own))
    long = part.piece.length_m
    drag = (max(0.1, round(long / 20, 1)), round(MOST_DRAG * long, 1), 0.1)
    yield Control(f"length{number}", "Length", "text", f"{long:g}", f"{what} length", "m", drag=drag)


def _single(curve: Curve | None) -> str:
    """Return the figure of a curve that is the same everywhere, as text; empty where there is none."""
    return f"{curve[0][1]:g}" if curve is not None and len(curve) == 1 else ""


def filled(groups: Sequence[Group], given: Mapping[str, str]) -> dict[str, str]:
    """Return the fields that say something else than the station does, by name."""
    out = {}
    for control in (c for group in groups for c in group.controls):
        said = " ".join(given.get(control.name, control.base).split())
        if said != control.base and (said or control.kind == "choice"):
            out[control.name] = said
    if " ".join(given.get("with", "").split()):
        out["with"] = " ".join(given["with"].split())
    return out


def changes_of(groups: Sequence[Group], values: Mapping[str, str]) -> tuple[str, ...]:
    """Return the changes that filled fields stand for, in plain words; parts that are left out come last.

    >>> part = Group("1. feeder", (Control("length1", "Length", "text", "20", "line 1 length", "m"),))
    >>> changes_of([part], {"length1": "12"})
    ('line 1 length = 12 m',)
    """
    found, dropped = [], []
    for control in (c for group in groups for c in group.controls):
        if control.name not in values:
            continue
        if control.kind == "check":
            dropped.append(f"drop {control.what}")
        else:
            found.append(_change(control, values[control.name]))
    more = [part.strip() for part in values.get("with", "").split(";") if part.strip()]
    return (*found, *more, *reversed(dropped))


def _change(control: Control, value: str) -> str:
    if control.what == "preamplifier":
        if not value:
            return "drop preamplifier"
        return f"preamplifier at = {value}" if control.base else f"preamplifier = {PREAMPLIFIER}, at {value}"
    if control.unit and BARE.fullmatch(value):
        return f"{control.what} = {value.replace(',', '.')} {control.unit}"
    return f"{control.what} = {value}"


def sifted(station: Station, run: str, changes: Sequence[str]) -> tuple[tuple[str, ...], tuple[InputError, ...]]:
    """Return the changes that can be made, and what is wrong with the others."""
    from linewright.web.stations import checked

    good: list[str] = []
    wrong: list[InputError] = []
    for text in changes:
        try:
            changed(station, [checked(one) for one in (*good, text)], run)
            good.append(text)
        except InputError as error:
            wrong.append(error)
    return tuple(good), tuple(wrong)
