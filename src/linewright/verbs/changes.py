"""Changes to a station in plain words: ``line 2 = RG-213/U``, ``part "arrestor" loss = 0.3 dB``, ``drop part 3``.

A change is ``[RUN: ][add|drop ]WHAT[ N][ PROPERTY][ = VALUE]``. Lines, pieces and parts are counted from the radio.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from linewright.catalogue.connectors import connector
from linewright.core.errors import InputError, SheetError, UnknownNameError
from linewright.core.formulas.noise import noise_figure_db
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.station import (
    Antenna,
    ConnectorPart,
    Curve,
    LinePart,
    LossPart,
    Part,
    Preamplifier,
    PreamplifierPart,
    Receiver,
    Run,
    Sky,
    SplitterPart,
    Station,
    SweepPart,
    TransformerPart,
    TunerPart,
)
from linewright.files import fields, station_fields, station_run
from linewright.files.fields import line_reader, nearest, one_of
from linewright.files.rules import OWN_LIMITS, written_licence, written_limits
from linewright.files.station import SITES
from linewright.files.station_antenna import antenna_of, loss_ohms, written_antenna
from linewright.files.station_chain import KINDS, SPLITTERS, ChainNames, named_by_type, parts_of, told_apart
from linewright.files.station_run import check_covered
from linewright.files.toml_reader import parse_toml

if TYPE_CHECKING:
    from linewright.core.nouns.sweep import Sweep

# Changes to the chain of a run: another line, another length, a part less or more

Chain = tuple[Part, ...]
PartSetter = Callable[[Any, Any, str, ChainNames], Part]
KIND: Mapping[str, type | tuple[type, ...]] = {
    "line": LinePart, "piece": LinePart, "connector": ConnectorPart, "tuner": TunerPart,
    "transformer": TransformerPart, "splitter": SplitterPart, "touchstone": SweepPart,
    "part": (
        LinePart, ConnectorPart, LossPart, SweepPart, TunerPart, TransformerPart, SplitterPart, PreamplifierPart,
    ),
}  # fmt: skip
PART_WORDS = frozenset(KIND)
ENTRY_KEYS = (
    *KINDS, "length", "name", "temperature", "cut", "pairs", "loss", "swr", "voltage", "power", "turned",
    "q inductor", "q capacitor", "match", "kind", "gain", "noise figure", "noise temperature",
)  # fmt: skip


def parts_known(chain: Chain) -> str:
    """Return the parts of a chain by number and name, in words."""
    return ", ".join(f"part {i} ({part.name})" for i, part in enumerate(chain, start=1)) or "no parts"


def change_part(chain: Chain, what: Sequence[str], value: Any, known: ChainNames) -> Chain | None:
    """Return the chain with one part changed; None if it has no such part."""
    place, rest = _place(chain, what)
    if place is None:
        return None
    new = _entry(value) if not rest else None
    became = parts_of(new, known, "the change") if new else (_set(chain[place], " ".join(rest), value, known),)
    return (*chain[:place], *became, *chain[place + 1 :])


def add_part(chain: Chain, what: Sequence[str], value: Any, known: ChainNames) -> Chain | None:
    """Return the chain with a part put in, so that it has the number given; at the antenna's end if none is."""
    content = _entry(value)
    if content is None:
        cure = say("Write add part 3 = line RG-213/U, length 3 m.")
        raise InputError("added part", say("must be an entry of a chain; got {value}", value=repr(value)), cure=cure)
    number = what[1] if len(what) > 1 else str(len(chain) + 1)
    if not number.isascii() or not number.isdigit() or not 1 <= int(number) <= len(chain) + 1:
        return None
    place = int(number) - 1
    return (*chain[:place], *parts_of(content, known, "the change"), *chain[place:])


def drop_part(chain: Chain, what: Sequence[str], value: Any, known: ChainNames) -> Chain | None:
    """Return the chain without a part; None if it has no such part."""
    place, rest = _place(chain, what)
    return None if place is None or rest else (*chain[:place], *chain[place + 1 :])


def _place(chain: Chain, what: Sequence[str]) -> tuple[int | None, Sequence[str]]:
    """Return where in the chain the part stands that the words name, and the words that are left over."""
    kind = what[0].lower()
    of_kind = [
        i for i, p in enumerate(chain)
        if isinstance(p, KIND[kind]) and (kind != "piece" or (isinstance(p, LinePart) and p.measured))
    ]  # fmt: skip
    word = what[1] if len(what) > 1 else ""
    if word.isascii() and word.isdigit():
        return (of_kind[int(word) - 1] if 1 <= int(word) <= len(of_kind) else None), what[2:]
    named = [i for i in of_kind if chain[i].name.lower() == word.lower()]
    if len(named) == 1:
        return named[0], what[2:]
    return (of_kind[0] if len(of_kind) == 1 else None), what[1:]


def _entry(value: Any) -> dict[str, Any] | None:
    """Return a value as an entry of a chain: a table, or its keys in plain words; None if it is neither.

    >>> _entry("line RG-213/U, length 3 m"), _entry("RG-213/U")
    ({'line': 'RG-213/U', 'length': '3 m'}, None)
    """
    if isinstance(value, dict):
        return value
    found: dict[str, Any] = {}
    for clause in str(value).split(", "):
        key = next((k for k in ENTRY_KEYS if re.match(rf"{k}\s", clause.lower())), None)
        if key is None:
            return None
        text = clause[len(key) :].strip()
        found[key.replace(" ", "_")] = int(text) if text.isascii() and text.isdigit() else text
    return found if found.keys() & KINDS.keys() else None


def _set(part: Part, key: str, value: Any, known: ChainNames) -> Part:
    setters = SETTERS[type(part)]
    if key.lower() not in setters:
        names = ", ".join(k for k in setters if k) or "nothing that can be changed"
        raise UnknownNameError(
            "change", say("must name a property of {name}; got {value}", name=part.name, value=repr(key)),
            cure=say("It has {names}.", names=names),
        )  # fmt: skip
    return setters[key.lower()](part, value, f"{part.name} {key}".strip(), known)


def _line_type(part: LinePart, value: Any, name: str, known: ChainNames) -> Part:
    """Return a new line in place of one: as long, with as many connectors; or another piece on hand by its tag."""
    if isinstance(value, str) and value in known.pieces:
        return replace(part, name=value, piece=known.pieces[value], measured=True)
    line = known.line(value, name)
    called = named_by_type(line, part.piece.length_m)
    new = Piece(called, part.piece.length_m, line, part.piece.connectors)
    return replace(part, name=called, piece=new, measured=False)


def _length(part: LinePart, value: Any, name: str, known: ChainNames) -> Part:
    length_m = fields.length(value, name)
    line = part.piece.line
    fresh = line is not None and part.name == named_by_type(line, part.piece.length_m)
    called = named_by_type(line, length_m) if fresh and line else part.name
    return replace(part, name=called, piece=replace(part.piece, length_m=length_m))


def _plain_part(attribute: str, read: Callable[[Any, str], Any]) -> PartSetter:
    def setter(part: Any, value: Any, name: str, known: ChainNames) -> Part:
        changed: Part = replace(part, **{attribute: read(value, name)})
        return changed

    return setter


def _rating(attribute: str, read: Callable[[Any, str], Curve]) -> PartSetter:
    def setter(part: Any, value: Any, name: str, known: ChainNames) -> Part:
        ratings = replace(part.ratings, **{attribute: read(value, name), "source": "the change"})
        changed: Part = replace(part, ratings=ratings)
        return changed

    return setter


def _noise_kelvin(value: Any, name: str) -> float:
    """Return the noise figure of a written noise temperature, dB."""
    return float(noise_figure_db(station_fields.kelvin(value, name)))


def _connectors(part: LinePart, value: Any, name: str, known: ChainNames) -> Part:
    return replace(part, piece=replace(part.piece, connectors=fields.whole(value, name)))


def _family(part: ConnectorPart, value: Any, name: str, known: ChainNames) -> Part:
    family = connector(fields.text(value, name)).name
    return replace(part, family=family, name=part.name.replace(part.family, family))


RATINGS: Mapping[str, PartSetter] = {
    "voltage": _rating("voltage_v", station_fields.curve(station_fields.voltage)),
    "power": _rating("power_w", station_fields.curve(fields.source_power)),
    "temperature": _plain_part("temperature_celsius", station_fields.part_celsius),
}
LOSS = _plain_part("loss_db", station_fields.curve(fields.loss))
SETTERS: Mapping[type, Mapping[str, PartSetter]] = {
    LinePart: {
        "": _line_type, "type": _line_type, "length": _length, "connectors": _connectors,
        "temperature": _plain_part("temperature_celsius", station_fields.celsius),
        "cut": _plain_part("cut_deg", station_fields.cut_deg),
    },
    ConnectorPart: {
        "": _family, "pairs": _plain_part("pairs", station_fields.pairs),
        "temperature": _plain_part("temperature_celsius", station_fields.part_celsius),
    },
    LossPart: {"": LOSS, "loss": LOSS, "swr": _plain_part("swr", fields.swr), **RATINGS},
    SweepPart: {**RATINGS},
    TunerPart: {
        "q inductor": _plain_part("q_inductor", station_fields.quality),
        "q capacitor": _plain_part("q_capacitor", station_fields.quality),
        "match": _plain_part("match_ohm", station_fields.resistance), **RATINGS,
    },
    TransformerPart: {"": _plain_part("ratio", station_fields.ratio), "loss": LOSS, **RATINGS},
    SplitterPart: {
        "": _plain_part("ways", station_fields.ways), "loss": LOSS, **RATINGS,
        "kind": _plain_part("matched", lambda value, name: fields.one_of(value, name, SPLITTERS) == "matched"),
    },
    PreamplifierPart: {
        "gain": _plain_part("gain_db", station_fields.amplifier_db),
        "noise figure": _plain_part("noise_figure_db", station_fields.noise_figure),
        "noise temperature": _plain_part("noise_figure_db", _noise_kelvin), "loss": LOSS, **RATINGS,
    },
}  # fmt: skip

# Changes to what a run is driven with and ends in: power, frequencies, antenna, receiver, preamplifier

RunSetter = Callable[[Run, Any, str, ChainNames], Run]
PREAMPLIFIER_KEYS = ("gain", "noise figure", "noise temperature", "at")
PREAMPLIFIER = "gain 18 dB, noise figure 0.8 dB, at antenna"
SKY_KEYS = ("elevation", "ground")


def known_of(station: Station) -> ChainNames:
    """Return what a change may speak of: the station's pieces and line types, and sweep files where they lie."""
    return ChainNames(dict(station.pieces), line_reader(station.lines), _sweep)


def _sweep(name: str, ports: int) -> Sweep:
    from linewright.files.touchstone import read_touchstone

    found = read_touchstone(Path(name))
    if found.ports != ports:
        raise InputError(
            "touchstone file",
            say("must have {ports} ports; {name} has {found}", ports=ports, name=name, found=found.ports),
        )
    return found


def change_setting(run: Run, what: Sequence[str], value: Any, known: ChainNames) -> Run | None:
    """Return the run with a setting changed; None if there is no such setting."""
    key = " ".join(what).lower().replace("_", " ")
    return SETTINGS[key](run, value, key, known) if key in SETTINGS else None


def drop_setting(run: Run, what: Sequence[str]) -> Run | None:
    """Return the run without a setting it has; None if it has none such."""
    attribute = DROPPED.get(" ".join(what).lower())
    if attribute is None or not getattr(run, attribute):
        return None
    empty: Any = () if attribute == "fold_back" else None
    return replace(run, **{attribute: empty})


def _plain_run(attribute: str, read: Callable[[Any, str], Any]) -> RunSetter:
    def setter(run: Run, value: Any, name: str, known: ChainNames) -> Run:
        return replace(run, **{attribute: read(value, name)})

    return setter


def _inner(attribute: str, key: str, read: Callable[[Any, str], Any]) -> RunSetter:
    """Return a setter of one figure of what the run has already."""

    def setter(run: Run, value: Any, name: str, known: ChainNames) -> Run:
        held = getattr(run, attribute)
        if held is None:
            rule = say("cannot be changed: {name} has no {attribute}", name=run.name, attribute=attribute)
            raise InputError(name, rule, cure=say("Add it whole: add {attribute} = ...", attribute=attribute))
        return replace(run, **{attribute: replace(held, **{key: read(value, name)})})

    return setter


def _frequencies(run: Run, value: Any, name: str, known: ChainNames) -> Run:
    texts = value.split(", ") if isinstance(value, str) else value
    read = station_fields.one_or_more(fields.frequency)
    return replace(run, frequencies_hz=tuple(sorted(set(read(texts, name)))))


def _duty(run: Run, value: Any, name: str, known: ChainNames) -> Run:
    return replace(run, duty=station_fields.share(value, name), over=None)


def _mode(run: Run, value: Any, name: str, known: ChainNames) -> Run:
    """Return the run in another mode; overs and pauses are those of its slots, or none."""
    mode = station_run.mode_named(value, name)
    return replace(run, mode_factor=mode.factor, over=station_run.slots_of(mode))


def _antenna(key: str, read: Callable[[Any, str], Any]) -> RunSetter:
    def setter(run: Run, value: Any, name: str, known: ChainNames) -> Run:
        return _ending_in(run, Antenna(**{key: read(value, name)}))

    return setter


def _swept(run: Run, value: Any, name: str, known: ChainNames) -> Run:
    return _ending_in(run, Antenna(sweep=known.sweep(fields.text(value, name), 1)))


def _ending_in(run: Run, antenna: Antenna) -> Run:
    """Return the run with another match at its end; the antenna keeps its shape."""
    return replace(run, antenna=replace(antenna, shape=run.antenna.shape, loss_ohm=run.antenna.loss_ohm))


def _shaped(run: Run, value: Any, name: str, known: ChainNames) -> Run:
    """Return the run with an antenna of another kind and lengths, from a table or in one line; its match stays."""
    if isinstance(value, Mapping):
        found = antenna_of(value, name, run.frequencies_hz)
    else:
        found = written_antenna(fields.text(value, name), name, run.frequencies_hz)
    return replace(run, antenna=replace(run.antenna, shape=found.shape, loss_ohm=found.loss_ohm))


def _receiver(run: Run, value: Any, name: str, known: ChainNames) -> Run:
    return replace(run, receiver=Receiver(_noise(value, name)))


def _noise(value: Any, name: str) -> float:
    """Return a noise figure in dB, from one or from a noise temperature: "4 dB", "35 K"."""
    kelvin = isinstance(value, str) and value.strip().lower().endswith("k")
    return _noise_kelvin(value, name) if kelvin else station_fields.noise_figure(value, name)


def _sky_temperature(run: Run, value: Any, name: str, known: ChainNames) -> Run:
    return replace(run, sky_temperature_kelvin=station_fields.kelvin(value, name), sky=None)


def _sky(run: Run, value: Any, name: str, known: ChainNames) -> Run:
    """Return the run with an antenna that looks elsewhere, from a table or "elevation 30 deg, ground 10 %"."""
    content = value if isinstance(value, dict) else _clauses(value, name, SKY_KEYS, "elevation 30 deg, ground 10 %")
    elevation_deg = station_fields.elevation_deg(content.get("elevation"), f"{name} elevation")
    ground = station_fields.part_of(content.get("ground"), f"{name} ground")
    return replace(run, sky=Sky(elevation_deg, ground), sky_temperature_kelvin=None)


def _preamplifier(run: Run, value: Any, name: str, known: ChainNames) -> Run:
    """Return the run with a preamplifier, from a table or "gain 18 dB, noise figure 0.8 dB, at antenna"."""
    content = value if isinstance(value, dict) else _clauses(value, name, PREAMPLIFIER_KEYS, PREAMPLIFIER)
    at = fields.one_of(content.get("at", "antenna"), f"{name} at", station_run.PLACES)
    gain_db = station_fields.amplifier_db(content.get("gain"), f"{name} gain")
    figure = _noise(content.get("noise_figure", content.get("noise_temperature")), f"{name} noise figure")
    return replace(run, preamplifier=Preamplifier(gain_db, figure, at))


def _clauses(value: Any, name: str, keys: Sequence[str], example: str) -> dict[str, str]:
    found = {}
    for clause in str(value).split(", "):
        key = next((k for k in keys if re.match(rf"{k}\s", clause.lower())), None)
        if key is None:
            rule = say("must give {keys}; got {value}", keys=", ".join(keys), value=repr(value))
            raise InputError(name, rule, cure=say("Write {example}.", example=example))
        found[key.replace(" ", "_")] = clause[len(key) :].strip()
    return found


SETTINGS: Mapping[str, RunSetter] = {
    "power": _plain_run("power_w", fields.source_power),
    "frequency": _frequencies,
    "frequencies": _frequencies,
    "duty": _duty,
    "mode": _mode,
    "gain": _plain_run("gain_dbi", station_fields.gain_dbi),
    "temperature": _plain_run("temperature_celsius", station_fields.celsius),
    "sky temperature": _sky_temperature,
    "sky": _sky,
    "fold back": _plain_run("fold_back", station_run.fold_back),
    "antenna": _shaped,
    "antenna swr": _antenna("swr", station_fields.curve(fields.swr)),
    "antenna impedance": _antenna("impedance_ohm", station_run.impedances),
    "antenna touchstone": _swept,
    "antenna loss": _inner("antenna", "loss_ohm", loss_ohms),
    "receiver": _receiver,
    "receiver noise figure": _receiver,
    "receiver noise temperature": _receiver,
    "preamplifier": _preamplifier,
    "preamplifier gain": _inner("preamplifier", "gain_db", station_fields.amplifier_db),
    "preamplifier noise figure": _inner("preamplifier", "noise_figure_db", station_fields.noise_figure),
    "preamplifier noise temperature": _inner("preamplifier", "noise_figure_db", _noise_kelvin),
    "preamplifier at": _inner("preamplifier", "at", lambda v, n: fields.one_of(v, n, station_run.PLACES)),
    "ground factor": _inner("exposure", "ground_factor", station_run.ground),
    "antenna size": _inner("exposure", "antenna_size_m", fields.length),
    "window": _inner("exposure", "window_m", fields.length),
    "people": _inner("exposure", "people_m", fields.length),
    "limits": _inner("exposure", "standards", station_run.standards),
}
DROPPED: Mapping[str, str] = {
    "preamplifier": "preamplifier", "receiver": "receiver", "gain": "gain_dbi", "fold back": "fold_back",
    "sky temperature": "sky_temperature_kelvin", "sky": "sky",
}  # fmt: skip

# Changes to a station in plain words: ``line 2 = RG-213/U``, ``part "arrestor" loss = 0.3 dB``, ``drop part 3``

Verb = Literal["set", "add", "drop"]
ARGUMENT = "change"
EXAMPLE = mark("Write line 2 = RG-213/U, or drop part 3.")
_FORM = re.compile(r"\s*(?:([^=]+?)\s*:\s+)?(?:(add|drop)\s+)?([^=]+?)\s*(?:=\s*(.+?))?\s*", re.DOTALL)
_WORD = re.compile(r"\"([^\"]*)\"|'([^']*)'|(\S+)")


@dataclass(frozen=True, slots=True)
class StationChange:
    """One change: its run (None: every run where it fits), the action, its target, and the new value."""

    text: str
    run: str | None
    verb: Verb
    what: tuple[str, ...]
    value: Any = None


def read_change(text: str) -> StationChange:
    """Return a written change.

    Raises
    ------
    InputError
        If it cannot be read as one.

    >>> change = read_change("two-metre beam: line 2 length = 12 m")
    >>> change.run, change.verb, change.what, change.value
    ('two-metre beam', 'set', ('line', '2', 'length'), '12 m')
    """
    match = _FORM.fullmatch(text)
    if match is None:
        raise InputError(ARGUMENT, say("must say what becomes what; got {value}", value=repr(text)), cure=say(EXAMPLE))
    run, verb, what, value = match.groups()
    if (value is None) != (verb == "drop"):
        rule = (
            say("must drop something and give it no value; got {value}", value=repr(text))
            if verb == "drop"
            else say("must give a new value; got {value}", value=repr(text))
        )
        raise InputError(ARGUMENT, rule, cure=say(EXAMPLE))
    words = tuple(a or b or c for a, b, c in _WORD.findall(what))
    said: Verb = "drop" if verb == "drop" else "add" if verb == "add" else "set"
    return StationChange(" ".join(text.split()), run, said, words, None if value is None else _value(value))


def _value(text: str) -> Any:
    """Return a value as a station file would hold it: a number, a list, a table; else the text itself."""
    try:
        return parse_toml(f"value = {text}", "change")["value"]
    except SheetError:
        return text


def changed(station: Station, changes: Sequence[str | StationChange], run: str | None = None) -> Station:
    """Return a station with changes made, one after the other.

    Parameters
    ----------
    station : Station
        The station as it is.
    changes : sequence of str or Change
        What is changed. A change that names no run is made in every run it fits; it must fit one.
    run : str, optional
        The only run to be changed.

    Raises
    ------
    InputError
        If a change cannot be read, fits nothing, or leaves a run that cannot be planned.
    """
    for one in changes:
        station = _made(station, read_change(one) if isinstance(one, str) else one, run)
    check_covered(station.runs)
    return station


def _made(station: Station, change: StationChange, run: str | None) -> Station:
    if [w.lower() for w in change.what] == ["noise"] and change.verb == "set":
        return replace(station, noise=one_of(change.value, "noise", SITES))
    if change.verb == "set" and (ruled := _ruled(station, change)) is not None:
        return ruled
    named = change.run or run
    if named is not None and named not in {r.name for r in station.runs}:
        names = [r.name for r in station.runs]
        cure = nearest(named, names) or say("Known are {known}.", known=", ".join(names))
        raise UnknownNameError(
            "run", say("must be a run of {whole}; got {value}", whole=station.name, value=repr(named)), cure=cure
        )
    known = known_of(station)
    meant = [r for r in station.runs if named is None or r.name == named]
    made = {r.name: _in_run(r, change, known) for r in meant}
    if not any(made.values()):
        raise UnknownNameError(
            ARGUMENT, say("must speak of something in the run; {text} does not", text=repr(change.text)),
            cure=_cure(meant[0], change),
        )  # fmt: skip
    return replace(station, runs=tuple(made.get(r.name) or r for r in station.runs))


def _ruled(station: Station, change: StationChange) -> Station | None:
    """Return the station under another licence, or with limits of one's own beside the others; None for all else."""
    what = " ".join(change.what).lower()
    if what == "licence":
        return replace(station, rules=replace(station.rules, licence=(written_licence(change.value, what),)))
    if what != "own limits":
        return None
    own = written_limits(change.value, what)
    others = tuple(rule for rule in station.rules.exposure if rule.name != OWN_LIMITS)
    runs = tuple(
        replace(r, exposure=replace(r.exposure, standards=tuple(dict.fromkeys((*r.exposure.standards, OWN_LIMITS)))))
        for r in station.runs
    )
    return replace(station, runs=runs, rules=replace(station.rules, exposure=(*others, *own)))


def _in_run(run: Run, change: StationChange, known: ChainNames) -> Run | None:
    """Return the changed run; None if it has no such thing."""
    head = change.what[0].lower()
    if head in PART_WORDS:
        work = {"set": change_part, "add": add_part, "drop": drop_part}[change.verb]
        chain = work(run.chain, change.what, change.value, known)
        return None if chain is None else replace(run, chain=told_apart(chain))
    if change.verb == "drop":
        return drop_setting(run, change.what)
    return change_setting(run, change.what, change.value, known)


def _cure(run: Run, change: StationChange) -> str:
    if change.what[0].lower() in PART_WORDS:
        return say("{run} has {known}.", run=run.name, known=parts_known(run.chain))
    near = nearest(change.what[0].lower(), PART_WORDS) or nearest(" ".join(change.what), SETTINGS)
    return near or say("Known are line, piece, part and {known}.", known=", ".join(SETTINGS))
