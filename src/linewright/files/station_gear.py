"""Radios, antennas and the site of a station file: stated once, and named by the runs that use them.

::

    [station]
    limits = ["ICNIRP 2020"]              # what exposure is held against, where a run does not say
    own_limits = "electric field 28 V/m, averaging 6 min"
    licence = ["60 m: 15 W EIRP", "400 W power"]

    [[radio]]
    name = "desk rig"
    power = "50 W"
    receiver = {noise_figure = "4 dB"}

    [[antenna]]
    name = "two-metre yagi"
    swr = 1.4
    gain = "11 dBd"
    size = "4.2 m"

    [[run]]
    radio = "desk rig"
    antenna = "two-metre yagi"

What a run says itself goes before what its radio and its antenna say.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from linewright.core.errors import InputError, UnknownNameError
from linewright.core.messages import say
from linewright.files import fields
from linewright.files.rules import OWN_LIMITS
from linewright.files.tables import TomlTable

RADIO = ("power", "mode", "duty", "fold_back", "receiver")
"""What a radio says in place of a run."""
ANTENNA_END = ("swr", "impedance", "touchstone")
ANTENNA = (*ANTENNA_END, "gain", "size")

Gear = Mapping[str, Mapping[str, Any]]


def equip(whole: TomlTable, runs: Sequence[TomlTable]) -> None:
    """Give every run what its radio, its antenna and its site say, in place; what is wrong is noted at its row."""
    radios, antennas = _gear(whole, "radio", RADIO), _gear(whole, "antenna", ANTENNA)
    head = whole.content.get("station")
    limits = _limits(head) if isinstance(head, Mapping) else None
    for run in runs:
        content = dict(run.content)
        radio = _named(run, "radio", radios)
        content.pop("radio", None)
        content = {**(radio or {}), **content}
        antenna: Mapping[str, Any] = {}
        if isinstance(content.get("antenna"), str):
            antenna = _named(run, "antenna", antennas) or {"swr": 1.0}  # nothing more is said of one nobody knows
            content["antenna"] = {k: antenna[k] for k in ANTENNA_END if k in antenna}
            content = ({"gain": antenna["gain"]} if "gain" in antenna else {}) | content
        exposure = content.get("exposure", {})
        usual = {"antenna_size": antenna.get("size"), "limits": limits}
        usual = {k: v for k, v in usual.items() if v is not None}
        if usual and isinstance(exposure, Mapping):
            content["exposure"] = {**usual, **exposure}
        run.content = content


def _limits(head: Mapping[str, Any]) -> Any:
    """Return what exposure is held against where a run does not say: of a station that states its own, those too."""
    limits = head.get("limits")
    if limits is None or "own_limits" not in head:
        return limits
    named = limits if isinstance(limits, list) else [limits]
    return [*named, *([] if OWN_LIMITS in named else [OWN_LIMITS])]


def _gear(whole: TomlTable, kind: str, known: Sequence[str]) -> Gear:
    """Return the ``[[radio]]`` or ``[[antenna]]`` tables by name."""
    found: dict[str, Mapping[str, Any]] = {}
    for table in whole.tables(kind):
        name = table.take("name", fields.text)
        content = {k: table.take(k, lambda value, _: value) for k in known if k in table.content}
        table.take("note", fields.text, None)
        table.close()
        if name in found:
            rule = say("must be different for each; {name} stands twice", name=repr(name))
            table.fail(InputError(f"{table.label} name", rule), "name")
        elif name:
            found[name] = content
    return found


def _named(run: TomlTable, kind: str, known: Gear) -> Mapping[str, Any] | None:
    if kind not in run.content:
        return None
    name: str | None = run.take(kind, fields.text)
    if name is None:
        return None
    if name in known:
        return known[name]
    cure = fields.nearest(name, known) or say("Add a [[{kind}]] table of that name.", kind=kind)
    rule = say("must be named by a [[{kind}]] table; got {value}", kind=kind, value=repr(name))
    run.fail(UnknownNameError(f"{run.label} {kind}", rule, cure=cure), kind)
    return None
