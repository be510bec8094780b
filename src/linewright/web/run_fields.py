"""The controls of a run's drawing: a field for every key of a station file, and how it is written and read there.

A key is named by its path, ``receiver.noise_figure``. What is typed becomes what a station file would hold; whether it
obeys the rules, the file's own readers say.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, MutableMapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from linewright.catalogue import line_types
from linewright.catalogue.bands import bands
from linewright.catalogue.connectors import connectors
from linewright.catalogue.exposure_limits import factors
from linewright.core.errors import InputError
from linewright.core.messages import mark, say
from linewright.core.nouns.station import NOISE_SITES, PLACES
from linewright.files.station_antenna import KINDS as ANTENNA_KINDS
from linewright.web.field_units import parts_of
from linewright.web.language import spelled, unspelled

Kind = Literal["text", "number", "whole", "choice", "check", "curve", "ramp", "list", "file"]
"""``curve``: one value, or values by frequency; ``ramp``: pairs of figures; ``list``: several, with commas between."""
Options = tuple[tuple[str, str], ...]
BARE = re.compile(r"[+-]?\d*[.,]?\d+")
NAME = "f."
"""What the name of a field begins with in a form."""


@dataclass(frozen=True, slots=True)
class Field:
    """One control: the key it writes, what it is called, how it is typed.

    ``unit`` is added to a bare number; ``slide`` are the least, the most and the step of a slider; ``words`` are those
    that mean something in it, written and read in the reader's language.
    """

    key: str
    label: str
    kind: Kind = "text"
    unit: str = ""
    options: Options = ()
    slide: tuple[float, float, float] | None = None
    hint: str = ""
    folded: bool = False
    words: tuple[str, ...] = ()

    @property
    def path(self) -> tuple[str, ...]:
        """Its position in its table."""
        return tuple(self.key.split("."))

    @property
    def name(self) -> str:
        """What it is called in a form."""
        return NAME + self.key


@dataclass(frozen=True, slots=True)
class HeldField:
    """A field with what it holds, and what is wrong with it."""

    field: Field
    value: str
    wrong: str = ""


# What a field writes in its table, and what it shows of it


def value_at(table: Mapping[str, Any], path: Sequence[str]) -> Any:
    """Return what stands at a path of a table; None where nothing does.

    >>> value_at({"receiver": {"noise_figure": "4 dB"}}, ("receiver", "noise_figure"))
    '4 dB'
    """
    found: Any = table
    for key in path:
        if not isinstance(found, Mapping) or key not in found:
            return None
        found = found[key]
    return found


def put_at(table: MutableMapping[str, Any], path: Sequence[str], value: Any) -> None:
    """Set what stands at a path of a table; None takes it away, and a table that is then empty with it.

    >>> run = {"receiver": {"noise_figure": "4 dB"}}
    >>> put_at(run, ("receiver", "noise_figure"), None)
    >>> run
    {}
    """
    first, *rest = path
    if not rest:
        if value is None:
            table.pop(first, None)
        else:
            table[first] = value
        return
    inner = dict(table[first]) if isinstance(table.get(first), Mapping) else {}
    put_at(inner, rest, value)
    if inner:
        table[first] = inner
    else:
        table.pop(first, None)


def shown(field: Field, value: Any) -> str:
    """Return a value of a station file as its field shows it.

    >>> shown(Field("swr", "", "curve"), [["14.2 MHz", 1.6], ["50.1 MHz", 1.3]])
    '14.2 MHz: 1.6; 50.1 MHz: 1.3'
    """
    return spelled(_as_held(field, value), field.words)


def _as_held(field: Field, value: Any) -> str:
    if value is None:
        return ""
    if field.kind == "check":
        return "on" if value else ""
    if field.kind in ("curve", "ramp") and isinstance(value, list):
        return "; ".join(f"{_text(at)}: {_text(what)}" for at, what in value)
    if field.key == "antenna.elements" and isinstance(value, list):
        return "; ".join(f"{at} {long}" for at, long in value)
    if isinstance(value, list):
        return ", ".join(map(_text, value))
    return _text(value)


def _text(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def read(field: Field, typed: str) -> Any:
    """Return what a field holds as a station file has it; None for an empty one.

    >>> read(Field("length", "", unit="m"), "12,5"), read(Field("pairs", "", "whole"), "2")
    ('12.5 m', 2)
    >>> read(Field("swr", "", "curve"), "14.2 MHz: 1.6; 50.1: 1.3")
    [['14.2 MHz', 1.6], ['50.1 MHz', 1.3]]
    """
    text = unspelled(" ".join(typed.split()), field.words)
    if field.kind == "check":
        return True if text else None
    if not text:
        return None
    if field.kind == "whole":
        return int(text) if text.isascii() and text.isdigit() else text
    if field.kind == "list":
        parts = parts_of(text) if field.unit or field.words else [p.strip() for p in text.split(",") if p.strip()]
        return [_of_list(field, part) for part in parts]
    if field.kind in ("curve", "ramp") and ":" in text:
        return [_pair(field, part) for part in text.split(";") if part.strip()]
    return _single(field, text)


def _of_list(field: Field, text: str) -> str:
    return f"{text.replace(',', '.')} {field.unit}" if field.unit and BARE.fullmatch(text) else text


def _single(field: Field, text: str) -> Any:
    if BARE.fullmatch(text):
        plain = text.replace(",", ".")
        if field.unit:
            return f"{plain} {field.unit}"
        if field.kind in ("number", "curve", "ramp"):
            return float(plain)
    return text


def _pair(field: Field, text: str) -> list[Any]:
    at, sign, what = text.partition(":")
    at, what = at.strip(), what.strip()
    if not sign:
        raise InputError(field.label, say("must be pairs with a colon between; got {value}", value=repr(text.strip())))
    if field.kind == "ramp":
        return [float(at.replace(",", ".")) if BARE.fullmatch(at) else at, _single(field, what)]
    return [f"{at.replace(',', '.')} MHz" if BARE.fullmatch(at) else at, _single(field, what)]


def held(fields: Sequence[Field], table: Mapping[str, Any], typed: Mapping[str, str]) -> tuple[HeldField, ...]:
    """Return fields with what they hold: as typed, else as the table has it."""
    return tuple(HeldField(f, typed.get(f.name, shown(f, value_at(table, f.path)))) for f in fields)


def written(fields: Sequence[Field], table: MutableMapping[str, Any], typed: Mapping[str, str]) -> tuple[str, ...]:
    """Write what was typed into a table, and return the first keys that changed.

    Raises
    ------
    InputError
        If something typed is no value at all.
    """
    changed = []
    for f in fields:
        sent = f.name in typed
        if not (sent or (f.kind == "check" and "checks" in typed)):
            continue
        value = read(f, typed.get(f.name, ""))
        if shown(f, value) != shown(f, value_at(table, f.path)):
            put_at(table, f.path, value)
            changed.append(f.path[0])
    return tuple(dict.fromkeys(changed))


# The fields of what stands around a chain

LIMIT_WORDS = (
    mark("electric field"), mark("magnetic field"), mark("power density"), mark("averaging"), mark("for public"),
    mark("for occupational"),
)  # fmt: skip
LICENCE_WORDS = (mark("power"),)
"""What limits of one's own and a licence are written with, in a station file as they stand here."""
NOTHING: Options = (("", mark("as it stands")),)
FREQUENCIES = Field("frequencies", mark("Frequencies"), "list", "MHz", hint=mark("14.2, 50.1, or with a unit"))
RADIO = (
    Field("power", mark("Power"), unit="W", slide=(1.0, 400.0, 1.0)),
    Field("mode", mark("Mode"), "choice"),
    Field("duty", mark("On the air"), hint=mark("Share of any time: 40 %")),
    Field("over.on", mark("Longest over"), unit="min", folded=True),
    Field("over.off", mark("Shortest pause"), unit="min", hint=mark("In place of a share"), folded=True),
    Field("fold_back", mark("Folds back"), "ramp",
          hint=mark("SWR and share of power: 1.5: 100 %; 3: 50 %"), folded=True),
    Field("receiver.noise_figure", mark("Receiver's noise figure"), unit="dB"),
    Field("receiver.noise_temperature", mark("Or its noise temperature"), unit="K", folded=True),
    Field("preamplifier.gain", mark("Preamplifier's gain"), unit="dB", folded=True,
          hint=mark("In a line that also transmits it must be bypassed on transmit.")),
    Field("preamplifier.noise_figure", mark("Preamplifier's noise figure"), unit="dB", folded=True),
    Field("preamplifier.noise_temperature", mark("Or its noise temperature"), unit="K", folded=True),
    Field("preamplifier.at", mark("Where the preamplifier stands"), "choice", folded=True),
    Field("temperature", mark("Temperature of lines and air"), unit="°C", folded=True),
    Field("radio", mark("A radio that is kept"), "choice", folded=True,
          hint=mark("Its own values apply where a field above is empty.")),
)  # fmt: skip
ANTENNA = (
    Field("antenna.swr", mark("SWR"), "curve", slide=(1.0, 6.0, 0.05),
          hint=mark("One figure, or by frequency: 14.2: 1.6; 50.1: 1.3")),
    Field("gain", mark("Gain"), unit="dBi", hint=mark("11 dBi or 8.85 dBd")),
    Field("antenna.impedance", mark("Or its impedance"), "curve", hint=mark("38-12j, or by frequency"), folded=True),
    Field("antenna.touchstone", mark("Or a sweep of it"), "file", hint=mark("A one-port Touchstone file"), folded=True),
    Field("sky.elevation", mark("It looks up at"), unit="deg", folded=True),
    Field("sky.ground", mark("Share of what it hears that is ground"), hint=mark("10 %"), folded=True),
    Field("sky_temperature", mark("Or what it hears"), unit="K", folded=True),
    Field("exposure.antenna_size", mark("Its largest size"), unit="m", folded=True),
)  # fmt: skip
SHAPE = (
    Field("antenna.kind", mark("Kind"), "choice"),
    Field("antenna.length", mark("Length"), unit="m"),
    Field("antenna.height", mark("Height"), unit="m"),
    Field("antenna.end_height", mark("Height of its ends"), unit="m"),
    Field("antenna.feed", mark("Fed at"), hint=mark("Share of its length: 33 %")),
    Field("antenna.counterpoise", mark("Counterpoise"), unit="m"),
    Field("antenna.base", mark("Height of its base"), unit="m"),
    Field("antenna.radials", mark("Radials"), "whole"),
    Field("antenna.radial_length", mark("Length of a radial"), unit="m"),
    Field("antenna.top", mark("Each of two top wires"), unit="m"),
    Field("antenna.coil", mark("Coil above the base"), unit="m"),
    Field("antenna.diameter", mark("Diameter"), unit="m"),
    Field("antenna.elements", mark("Elements"), hint=mark("Place on the boom, length: 0 m 10.4 m; 3.8 m 9.96 m")),
    Field("antenna.driven", mark("Which element is fed"), "whole"),
    Field("antenna.wire", mark("Thickness of its wire"), unit="mm"),
    Field("antenna.loss", mark("Loss in series"), unit="ohm"),
)
OF_KIND: Mapping[str, tuple[str, ...]] = {
    "": ("kind",),
    "dipole": ("kind", "length", "height", "feed", "wire", "loss"),
    "doublet": ("kind", "length", "height", "feed", "wire", "loss"),
    "inverted v": ("kind", "length", "height", "end_height", "feed", "wire", "loss"),
    "end-fed": ("kind", "length", "height", "counterpoise", "end_height", "wire", "loss"),
    "vertical": ("kind", "length", "base", "radials", "radial_length", "top", "coil", "wire", "loss"),
    "loop": ("kind", "diameter", "height", "wire", "loss"),
    "beam": ("kind", "elements", "height", "driven", "wire", "loss"),
}
NAMED_ANTENNA = Field("antenna", mark("An antenna that is kept"), "choice")
LIMITS = (
    Field("exposure.limits", mark("Limits of exposure"), "list"),
    Field("exposure.ground_factor", mark("What the ground may add"), "number",
          hint=mark("1 for none, 2.56, 4 for all of it in phase")),
    Field("exposure.people", mark("How near people come"), unit="m"),
    Field("exposure.window", mark("Height of a neighbour's window"), unit="m"),
)  # fmt: skip
WISHES = (
    Field("choose.limit", mark("The whole run may lose"), "curve", "dB", slide=(0.2, 6.0, 0.1)),
    Field("choose.sure", mark("Probability that it keeps to that"), hint=mark("90 %; 50 % is the likely case")),
    Field("choose.tail", mark("Flexible tail at the antenna"), unit="m"),
    Field("choose.budget", mark("Budget"), "number"),
    Field("choose.replace", mark("Parts it replaces"), "list", folded=True, hint=mark("Else the longest line")),
    Field("choose.impedance", mark("Impedance"), unit="ohm", folded=True, hint=mark("Or: any"), words=(mark("any"),)),
    Field("choose.max_diameter", mark("Diameter, at most"), unit="mm", folded=True),
    Field("choose.max_mass", mark("Mass, at most"), unit="g/m", folded=True),
    Field("choose.bend_radius", mark("Tightest bend, its radius"), unit="mm", folded=True),
    Field("choose.voltage_margin", mark("Voltage rating over load"), "number", folded=True),
    Field("choose.heat_margin", mark("Power rating over load"), "number", folded=True),
    Field("choose.connector", mark("Connectors of new joints"), "choice", folded=True),
    Field("choose.shorter", mark("A shorter route to compare"), unit="m", folded=True),
    Field("choose.moved", mark("Line left if the radio moves"), unit="m", folded=True),
    Field("choose.preamplifier.gain", mark("Gain of a preamplifier on sale"), unit="dB", folded=True),
    Field("choose.preamplifier.noise_figure", mark("Its noise figure"), unit="dB", folded=True),
    Field("choose.outdoors", mark("It lies in sun and rain"), "check", folded=True),
)
ROUTE = (
    Field("route", mark("How far it has to reach"), unit="m"),
    Field("weight", mark("How much its decibels count"), "number", hint=mark("2 counts double"), folded=True),
)
OF_RUN = (Field("name", mark("Name of the run")),)
OF_STATION = (
    Field("station.name", mark("Name of the station")),
    Field("station.noise", mark("Noise of the site"), "choice"),
    Field("station.limits", mark("Limits where a run names none"), "list"),
    Field("station.own_limits", mark("Limits of your own"),
          hint=mark("electric field 28 V/m, averaging 6 min, for public; a power of f: 87/f V/m, f in MHz"),
          words=LIMIT_WORDS),
    Field("station.licence", mark("What your licence allows"), "list",
          hint=mark("400 W power, or 100 W EIRP; on one band: 60 m: 15 W EIRP"), words=LICENCE_WORDS),
    Field("rules", mark("Or both from a file"), "file", hint=mark("A rules file, TOML"), folded=True),
    Field("lines", mark("Line types of your own"), "file", hint=mark("A file of types, TOML or CSV"), folded=True),
)  # fmt: skip

# The fields of a part, by the key that says its kind

_NAME = Field("name", mark("Called"))
_WARM = Field("temperature", mark("Its own temperature"), unit="°C", folded=True)
_RATED = (
    Field("voltage", mark("Bears, rms"), "curve", "V", folded=True),
    Field("power", mark("Bears into a match"), "curve", "W", folded=True),
)
_CUT = Field("cut", mark("Lengths nearest to"), hint=mark("half wave, or 90 deg"), folded=True)
_LOSS = Field(
    "loss", mark("Loss"), "curve", "dB", slide=(0.0, 3.0, 0.05), hint=mark("Or by frequency: 50: 0.1 dB; 144: 0.2 dB")
)
PARTS: Mapping[str, tuple[Field, ...]] = {
    "line": (
        Field("length", mark("Length"), unit="m", slide=(0.5, 60.0, 0.1)), Field("line", mark("Type"), "choice"), _NAME,
        _CUT, _WARM,
    ),
    "piece": (Field("piece", mark("Piece"), "choice"), _NAME, _CUT, _WARM),
    "connector": (
        Field("pairs", mark("Mated pairs"), "whole", slide=(1.0, 8.0, 1.0)),
        Field("connector", mark("Family"), "choice"), _NAME, _WARM,
    ),
    "part": (_LOSS, Field("part", mark("Called")), Field("swr", mark("SWR"), "number", folded=True), *_RATED, _WARM),
    "tuner": (
        Field("tuner", mark("Called")), Field("q_inductor", mark("Q of its coil"), "number"),
        Field("q_capacitor", mark("Q of its capacitor"), "number"),
        Field("match", mark("Makes the radio see"), unit="ohm", folded=True), *_RATED, _WARM,
    ),
    "transformer": (
        Field("transformer", mark("Ratio, antenna side to radio side"), hint=mark("4:1")), _LOSS, _NAME, *_RATED, _WARM,
    ),
    "splitter": (
        Field("splitter", mark("Branches"), "whole"), Field("kind", mark("Kind"), "choice"), _LOSS, _NAME, *_RATED,
        _WARM,
    ),
    "preamplifier": (
        Field("gain", mark("Gain"), unit="dB"), Field("noise_figure", mark("Noise figure"), unit="dB"),
        Field("preamplifier", mark("Called")),
        Field("noise_temperature", mark("Or its noise temperature"), unit="K", folded=True),
        replace(_LOSS, label=mark("Loss while bypassed"), folded=True), *_RATED, _WARM,
    ),
    "touchstone": (
        Field("touchstone", mark("Its sweep"), "file", hint=mark("A two-port Touchstone file")), _NAME,
        Field("turned", mark("Port 2 toward the radio"), "check"), *_RATED, _WARM,
    ),
}  # fmt: skip
SHARED_PART = tuple(replace(f, key="name") if f.key == "part" else f for f in PARTS["part"])
"""The fields of a part that is stated once and stands in several runs."""
USUAL: Mapping[str, Mapping[str, Any]] = {
    "arrestor": {"part": mark("arrestor"), "loss": "0.1 dB"},
    "filter": {"part": mark("filter"), "loss": "0.5 dB"},
    "relay": {"part": mark("relay"), "loss": "0.1 dB"},
    "other": {"part": mark("part"), "loss": "0.2 dB"},
    "transformer": {"transformer": "1:1", "name": mark("choke balun"), "loss": "0.2 dB"},
    "tuner": {"tuner": mark("tuner"), "q_inductor": 150, "q_capacitor": 1000},
    "splitter": {"splitter": 2, "loss": "0.2 dB"},
    "preamplifier": {"preamplifier": mark("preamplifier"), "gain": "20 dB", "noise_figure": "1 dB"},
}
"""What is put in before anybody says more (common practice, no source); the page says that it is assumed."""
USUAL_WORDS: Mapping[str, str] = {
    "arrestor": mark("Arrestor"), "filter": mark("Filter"), "relay": mark("Relay or switch"),
    "transformer": mark("Balun or transformer"), "tuner": mark("Tuner"), "splitter": mark("Splitter"),
    "preamplifier": mark("Preamplifier"), "other": mark("Another part, by its loss"),
}  # fmt: skip
ICONS: Mapping[str, str] = {
    "line": "new", "piece": "piece", "connector": "conn", "part": "part", "tuner": "part", "transformer": "part",
    "splitter": "part", "preamplifier": "part", "touchstone": "part",
}  # fmt: skip


def kind_of(entry: Mapping[str, Any]) -> str:
    """Return what kind of entry of a chain this is; empty where it is none."""
    return next((kind for kind in PARTS if kind in entry), "")


def with_options(fields: Sequence[Field], more: Mapping[str, Options]) -> tuple[Field, ...]:
    """Return fields with what can be chosen in them; ``more`` are choices of this station, by key."""
    return tuple(replace(f, options=more.get(f.key) or options_of(f.key)) if f.kind == "choice" else f for f in fields)


def options_of(key: str) -> Options:
    """Return what can be chosen for a key, wherever it stands."""
    if key == "line":
        return tuple((t.designator, t.designator) for t in line_types())
    if key in ("connector", "choose.connector"):
        first: Options = (("", say("as usual")),) if "." in key else ()
        return (*first, *((c.name, c.name) for c in connectors()))
    if key == "mode":
        return (("", say("a carrier, or FM")), *((f.name, say(f.name)) for f in factors("mode")))
    if key == "station.noise":
        return (("", say("not stated")), *((site, say(site)) for site in NOISE_SITES))
    if key == "preamplifier.at":
        return (("", say("not stated")), *((place, say(place)) for place in PLACES))
    if key == "antenna.kind":
        return (("", say("not stated")), *((kind, say(kind)) for kind in ANTENNA_KINDS))
    if key == "kind":
        return (("matched", say("matched")), ("tee", say("plain tee")))
    return ()


def band_options() -> Options:
    """Return the amateur bands, each with the frequency it is planned at where nobody says more."""
    return tuple((b.name, f"{(b.low_hz + b.high_hz) / 2e6:.6g} MHz") for b in bands())
