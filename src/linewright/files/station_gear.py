"""Radios, antennas and the site of a station file: stated once, and named by the runs that use them.

::

    [station]
    limits = ["ICNIRP 2020"]              # what exposure is held against, where a run does not say

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
from linewright.files import fields
from linewright.files.tables import Table

RADIO = ("power", "mode", "duty", "fold_back", "receiver")
"""What a radio says in place of a run."""
ANTENNA_END = ("swr", "impedance", "touchstone")
ANTENNA = (*ANTENNA_END, "gain", "size")

Gear = Mapping[str, Mapping[str, Any]]


def equip(whole: Table, runs: Sequence[Table]) -> None:
    """Give every run what its radio, its antenna and its site say, in place; what is wrong is noted at its row."""
    radios, antennas = _gear(whole, "radio", RADIO), _gear(whole, "antenna", ANTENNA)
    head = whole.content.get("station")
    limits = head.get("limits") if isinstance(head, Mapping) else None
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


def _gear(whole: Table, kind: str, known: Sequence[str]) -> Gear:
    """Return the ``[[radio]]`` or ``[[antenna]]`` tables by name."""
    found: dict[str, Mapping[str, Any]] = {}
    for table in whole.tables(kind):
        name = table.take("name", fields.text)
        content = {k: table.take(k, lambda value, _: value) for k in known if k in table.content}
        table.take("note", fields.text, None)
        table.close()
        if name in found:
            rule = f"must be different for each; {name!r} stands twice"
            table.fail(InputError(f"{table.label} name", rule), "name")
        elif name:
            found[name] = content
    return found


def _named(run: Table, kind: str, known: Gear) -> Mapping[str, Any] | None:
    if kind not in run.content:
        return None
    name: str | None = run.take(kind, fields.text)
    if name is None:
        return None
    if name in known:
        return known[name]
    cure = fields.nearest(name, known) or f"Add a [[{kind}]] table of that name."
    rule = f"must be named by a [[{kind}]] table; got {name!r}"
    run.fail(UnknownNameError(f"{run.label} {kind}", rule, cure=cure), kind)
    return None
