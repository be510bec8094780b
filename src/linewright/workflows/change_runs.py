"""Changes to what a run is driven with and ends in: power, frequencies, antenna, receiver, preamplifier."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from linewright.errors import InputError
from linewright.formats import fields, station_fields, station_run
from linewright.formats.line_names import line_reader
from linewright.formats.station_known import Known
from linewright.model.station import Antenna, Preamplifier, Receiver, Run, Station
from linewright.model.sweep import Sweep

Setter = Callable[[Run, Any, str, Known], Run]
PREAMPLIFIER_KEYS = ("gain", "noise figure", "at")


def known_of(station: Station) -> Known:
    """Return what a change may speak of: the station's pieces and line types, and sweep files where they lie."""
    return Known(dict(station.pieces), line_reader(station.lines), _sweep)


def _sweep(name: str, ports: int) -> Sweep:
    from linewright.formats.touchstone import read_touchstone

    found = read_touchstone(Path(name))
    if found.ports != ports:
        raise InputError("touchstone file", f"must have {ports} ports; {name} has {found.ports}")
    return found


def change_setting(run: Run, what: Sequence[str], value: Any, known: Known) -> Run | None:
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


def _plain(attribute: str, read: Callable[[Any, str], Any]) -> Setter:
    def setter(run: Run, value: Any, name: str, known: Known) -> Run:
        return replace(run, **{attribute: read(value, name)})

    return setter


def _inner(attribute: str, key: str, read: Callable[[Any, str], Any]) -> Setter:
    """Return a setter of one figure of what the run has already."""

    def setter(run: Run, value: Any, name: str, known: Known) -> Run:
        held = getattr(run, attribute)
        if held is None:
            rule = f"cannot be changed: {run.name} has no {attribute}"
            raise InputError(name, rule, cure=f"Add it whole: add {attribute} = ...")
        return replace(run, **{attribute: replace(held, **{key: read(value, name)})})

    return setter


def _frequencies(run: Run, value: Any, name: str, known: Known) -> Run:
    texts = value.split(", ") if isinstance(value, str) else value
    read = station_fields.one_or_more(fields.frequency)
    return replace(run, frequencies_hz=tuple(sorted(set(read(texts, name)))))


def _antenna(key: str, read: Callable[[Any, str], Any]) -> Setter:
    def setter(run: Run, value: Any, name: str, known: Known) -> Run:
        return replace(run, antenna=Antenna(**{key: read(value, name)}))

    return setter


def _swept(run: Run, value: Any, name: str, known: Known) -> Run:
    return replace(run, antenna=Antenna(sweep=known.sweep(fields.text(value, name), 1)))


def _receiver(run: Run, value: Any, name: str, known: Known) -> Run:
    return replace(run, receiver=Receiver(station_fields.noise_figure(value, name)))


def _preamplifier(run: Run, value: Any, name: str, known: Known) -> Run:
    """Return the run with a preamplifier, from a table or "gain 18 dB, noise figure 0.8 dB, at antenna"."""
    content = value if isinstance(value, dict) else _clauses(value, name)
    at = fields.one_of(content.get("at", "antenna"), f"{name} at", station_run.PLACES)
    gain_db = station_fields.amplifier_db(content.get("gain"), f"{name} gain")
    figure = station_fields.noise_figure(content.get("noise_figure"), f"{name} noise figure")
    return replace(run, preamplifier=Preamplifier(gain_db, figure, at))


def _clauses(value: Any, name: str) -> dict[str, str]:
    found = {}
    for clause in str(value).split(", "):
        key = next((k for k in PREAMPLIFIER_KEYS if re.match(rf"{k}\s", clause.lower())), None)
        if key is None:
            cure = "Write gain 18 dB, noise figure 0.8 dB, at antenna."
            raise InputError(name, f"must give gain, noise figure and place; got {value!r}", cure=cure)
        found[key.replace(" ", "_")] = clause[len(key) :].strip()
    return found


SETTINGS: Mapping[str, Setter] = {
    "power": _plain("power_w", fields.source_power),
    "frequency": _frequencies,
    "frequencies": _frequencies,
    "duty": _plain("duty", station_fields.share),
    "mode": _plain("mode_factor", station_run.mode),
    "gain": _plain("gain_dbi", station_fields.gain_dbi),
    "temperature": _plain("temperature_celsius", station_fields.celsius),
    "sky temperature": _plain("sky_temperature_kelvin", station_fields.kelvin),
    "fold back": _plain("fold_back", station_run.fold_back),
    "antenna swr": _antenna("swr", station_fields.curve(fields.swr)),
    "antenna impedance": _antenna("impedance_ohm", station_run.impedances),
    "antenna touchstone": _swept,
    "receiver": _receiver,
    "receiver noise figure": _receiver,
    "preamplifier": _preamplifier,
    "preamplifier gain": _inner("preamplifier", "gain_db", station_fields.amplifier_db),
    "preamplifier noise figure": _inner("preamplifier", "noise_figure_db", station_fields.noise_figure),
    "preamplifier at": _inner("preamplifier", "at", lambda v, n: fields.one_of(v, n, station_run.PLACES)),
    "ground factor": _inner("exposure", "ground_factor", station_run.ground),
    "antenna size": _inner("exposure", "antenna_size_m", fields.length),
    "limits": _inner("exposure", "standards", station_run.standards),
}
DROPPED: Mapping[str, str] = {
    "preamplifier": "preamplifier", "receiver": "receiver", "gain": "gain_dbi", "fold back": "fold_back",
    "sky temperature": "sky_temperature_kelvin",
}  # fmt: skip
