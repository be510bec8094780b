"""The form of the page on exposure: its fields, and what they say as the verb takes it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from linewright.catalogue.exposure_limits import factors
from linewright.core.errors import InputError
from linewright.core.messages import listed, say
from linewright.core.nouns.rules import ExposureRule, LicenceRule, PowerQuantity, Rules, Who
from linewright.files import fields
from linewright.files.rules import FIELDS as QUANTITIES
from linewright.files.rules import OWN_LIMITS, averaging, power_law
from linewright.link.in_force import standards
from linewright.web.field_units import parts_of
from linewright.web.run_state import BARE

KINDS: Final = (
    ("dipole", say("dipole or doublet, level")), ("inverted v", say("inverted V")), ("end-fed", say("end-fed wire")),
    ("vertical", say("vertical")), ("loop", say("small loop")), ("beam", say("beam")),
    ("", say("something else: by its gain alone")),
)  # fmt: skip
USUAL_LIMITS: Final = ("ICNIRP 2020", "47 CFR 1.1310")
MOST_FREQUENCIES: Final = 8
"""A page that follows what is typed reckons no more of them."""


@dataclass(frozen=True, slots=True)
class FormField:
    """One field: its name, what it asks, the unit of a bare number, kinds of antenna it is for, a hint."""

    name: str
    label: str
    unit: str = ""
    kinds: tuple[str, ...] = ()
    hint: str = ""


LENGTHS: Final = (
    FormField("length", say("Length"), "m", ("dipole", "inverted v", "end-fed", "vertical"), say("Of the whole wire.")),
    FormField("height", say("Height"), "m", ("dipole", "inverted v", "end-fed", "loop", "beam"),
          say("Of its feed above ground; of a loop, of its centre.")),
    FormField("end_height", say("Height of its ends"), "m", ("inverted v", "end-fed"),
          say("Of an end-fed wire, of its far end.")),
    FormField("counterpoise", say("Counterpoise"), "m", ("end-fed",), say(
        "The wire that the feed works against, hanging down.")),
    FormField("feed", say("Fed at"), "%", ("dipole", "inverted v"), say(
        "As a share of the length; empty means the middle.")),
    FormField("base", say("Height of its base"), "m", ("vertical",), say("Empty means on the ground.")),
    FormField("radials", say("Radials"), "", ("vertical",), say("Under a raised base: 2 or more.")),
    FormField("radial_length", say("Length of a radial"), "m", ("vertical",)),
    FormField("top", say("Top wire, each of two"), "m", ("vertical",)),
    FormField("coil", say("Loading coil above the base"), "m", ("vertical",)),
    FormField("diameter", say("Diameter"), "m", ("loop",)),
    FormField("beam_elements", say("Elements"), "", ("beam",),
          say("Place on the boom and length: 0 m 10.4 m; 3.8 m 9.96 m")),
    FormField("driven", say("Which is driven"), "", ("beam",), say("1 is the first; empty means the second.")),
    FormField("wire", say("Thickness of wire or tube"), "mm", tuple(kind for kind, _ in KINDS if kind)),
    FormField("loss", say("Loss in series with the feed"), "ohm", tuple(kind for kind, _ in KINDS if kind),
          say("Tuner, coil, ground. For a short antenna it decides the result; if empty, you get a range.")),
)  # fmt: skip
PLACES: Final = (
    FormField(
        "distance", say("How near people come"), "m", hint=say("Level; says how much of each limit is used there.")
    ),
    FormField("window", say("Height of a neighbour's window"), "m"),
)
OWN: Final = (
    FormField("own_electric_field", say("Electric field"), "V/m", hint=say("28, or 300/f^0.7 with f in MHz.")),
    FormField("own_magnetic_field", say("Magnetic field"), "A/m"),
    FormField("own_power_density", say("Power density"), "W/m2"),
    FormField("own_averaging", say("Averaged over"), "min", hint=say("Or none.")),
)
UNITS: Final[Mapping[str, str]] = {f.name: f.unit for f in (*LENGTHS, *PLACES, *OWN)} | {
    "power": "W", "gain": "dBi", "size": "m", "over": "min", "pause": "min", "duty": "%", "licence": "W",
}  # fmt: skip
NAMES: Final = (
    *UNITS, "at", "mode", "kind", "ground", "licence_of", "own_who",
)  # fmt: skip
USUAL: Final[Mapping[str, str]] = {"mode": "carrier", "duty": "100 %", "ground": "EPA", "kind": "dipole"}
POWERS: Final[tuple[tuple[PowerQuantity, str], ...]] = (
    ("eirp", "EIRP"),
    ("erp", "ERP"),
    ("power", say("transmitter power")),
)


WORDS: Final[Mapping[str, str]] = {
    "SSB processed": say("SSB, processed"), "carrier": say("constant carrier"),
    "none": say("nothing: free space"), "EPA": say("EPA: 1.6 times the field"), "full": say("twice the field"),
}  # fmt: skip
"""Names of modes and grounds that are no words one would read."""


def modes() -> tuple[tuple[str, str], ...]:
    """Return the modes whose duty is known, each with what it is called."""
    return tuple((f.name, WORDS.get(f.name, f.name)) for f in factors("mode"))


def grounds() -> tuple[tuple[str, str], ...]:
    """Return what the ground may add to a density in the far field, each with what it is called."""
    return tuple((f.name, WORDS.get(f.name, f.name)) for f in factors("ground"))


def sets() -> tuple[str, ...]:
    """Return the sets of limits that can be ticked; those that hold besides come along."""
    return tuple(name for name in standards() if name != "ICNIRP 2010")


def given_in(params: Mapping[str, str]) -> dict[str, str]:
    """Return what the fields hold, a bare number with its field's unit.

    >>> given_in({"power": " 100 ", "at": "14.1, 21.2", "own_electric_field": "28"})["own_electric_field"]
    '28 V/m'
    """
    found = {name: " ".join(params.get(name, USUAL.get(name, "")).split()) for name in NAMES}
    return {name: f"{text} {UNITS[name]}" if UNITS.get(name) and BARE.fullmatch(text) else text
            for name, text in found.items()}  # fmt: skip


def frequencies(text: str) -> list[str]:
    """Return the frequencies of a field, a bare number in megahertz.

    >>> frequencies("3.65, 7.1 MHz"), frequencies("3,65; 7,1")
    (['3.65 MHz', '7.1 MHz'], ['3,65 MHz', '7,1 MHz'])
    """
    return [f"{part} MHz" if BARE.fullmatch(part) else part for part in parts_of(text)[:MOST_FREQUENCIES]]


def is_ready(given: Mapping[str, str]) -> bool:
    """Return whether enough stands in the form to ask."""
    antenna = given["kind"] and any(given[f.name] for f in LENGTHS if given["kind"] in f.kinds)
    return bool(given["power"] and given["at"] and (antenna or given["gain"]))


def asked(given: Mapping[str, str], limits: Sequence[str]) -> dict[str, Any]:
    """Return what the verb is asked: the antenna by the keys of a station file."""
    kind = given["kind"]
    # A form cannot have a field "elements": its own list of fields goes by that name.
    lengths = {f.name.removeprefix("beam_"): given[f.name] for f in LENGTHS if kind in f.kinds and given[f.name]}
    return {
        **{name: given[name] or None for name in ("power", "gain", "size", "distance", "window", "over", "pause")},
        "at": frequencies(given["at"]), "mode": given["mode"], "ground": given["ground"],
        "duty": given["duty"] or "100 %", "antenna": {"kind": kind, **lengths} if kind and lengths else None,
        "limits": list(limits),
    }  # fmt: skip


LABELS: Final[Mapping[str, str]] = {
    **{f.name.removeprefix("beam_"): f.label for f in (*LENGTHS, *PLACES, *OWN)},
    "power": say("Power at the antenna"), "at": say("Frequencies"), "duty": say("On the air"),
    "over": say("Longest over"), "pause": say("Shortest pause"), "gain": say("Gain"), "size": say("Largest size"),
    "licence": say("Your licence"),
}  # fmt: skip
_NAMED: Final = re.compile(
    rf"\b(?:{'|'.join(sorted((name.replace('_', '[ _]') for name in LABELS), key=len, reverse=True))})\b"
)


def by_label(error: InputError, given: Mapping[str, str]) -> InputError:
    """Return an error by what the form calls its fields; of empty ones without the cure, which is a file's line.

    >>> str(by_label(InputError("antenna length", "is missing", cure="Add a line length = ..."), {}))
    'Length is missing.'
    """
    names = [name.replace(" ", "_") for name in _NAMED.findall(error.argument)]
    if not names:
        return error
    typed = any(given.get(name) or given.get(f"beam_{name}") for name in names)
    return InputError(listed([LABELS[name] for name in names]), error.rule, cure=error.cure if typed else "")


def rules(given: Mapping[str, str], hertz: Sequence[float]) -> Rules:
    """Return one's own limits and licence as the form has them, for the frequencies that are asked about.

    Raises
    ------
    InputError
        If one cannot be read.
    """
    low, high = min(hertz), max(hertz)
    over = averaging(given["own_averaging"] or "6 min", "own averaging")
    own = []
    for key, (quantity, _, _) in QUANTITIES.items():
        if given[f"own_{key}"]:
            law = power_law(given[f"own_{key}"], f"own {key.replace('_', ' ')}", key)
            who: Who = "occupational" if given["own_who"] == "occupational" else "public"
            own.append(ExposureRule(OWN_LIMITS, who, low, high, quantity, *law[:2], over, law[2], "as entered"))
    licence = []
    if given["licence"]:
        of: PowerQuantity = next((key for key, _ in POWERS if key == given["licence_of"]), "eirp")
        licence.append(LicenceRule(low, high, of, fields.source_power(given["licence"], "licence"), "as entered"))
    return Rules(tuple(own), tuple(licence))
