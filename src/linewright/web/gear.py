"""What a form says of a piece or a meter, as the body a ledger keeps."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from linewright.catalogue import line_types
from linewright.errors import InputError
from linewright.formats import fields
from linewright.model.ledger import Item

PIECE_FIELDS = ("tag", "line", "length", "connectors", "stock", "exposure", "since", "note")
METER_FIELDS = ("name", "scale", "division", "rated", "swr", "card")
SCALES = (
    ("watts", "watts"), ("milliwatts", "milliwatts"), ("dBm", "dBm"), ("dB", "dB"), ("volts", "volts"),
    ("card", "a bare scale, with a conversion card"),
)  # fmt: skip
EXPOSURES = (
    ("", "not said"), ("indoors", "indoors"), ("outdoors", "outdoors"), ("buried", "buried"), ("portable", "portable"),
)  # fmt: skip
POINT = "0 = 0 W; 25 = 0.8 W; 100 = 12.5 W"
Form = Mapping[str, str]


def designators() -> tuple[str, ...]:
    """Return the names of the catalogue's line types, to choose from."""
    return tuple(line.designator for line in line_types())


def piece_body(form: Form) -> dict[str, Any]:
    """Return a piece as its form has it; fields left empty are left out."""
    told: dict[str, Any] = {k: form[k].strip() for k in PIECE_FIELDS if form.get(k, "").strip()}
    if "connectors" in told:
        told["connectors"] = whole(told["connectors"], "connectors")
    return told


def meter_body(form: Form) -> dict[str, Any]:
    """Return a meter as its form has it.

    Raises
    ------
    InputError
        If its card cannot be read.
    """
    told: dict[str, Any] = {k: form[k].strip() for k in METER_FIELDS if form.get(k, "").strip()}
    if "card" in told:
        told["card"] = card_of(told["card"])
    if told.get("scale") == "card" and "division" in told:
        told["division"] = fields.written_number(told["division"], "division")
    return told


def whole(text: str, name: str) -> int:
    """Return a written whole number."""
    if not text.isdigit():
        raise InputError(name, f"must be a whole number; got {text!r}")
    return int(text)


def card_of(text: str) -> list[list[Any]]:
    """Return a conversion card as typed.

    >>> card_of("0 = 0 W; 25 = 0,8 W")
    [[0.0, '0 W'], [25.0, '0,8 W']]
    """
    points: list[list[Any]] = []
    for part in filter(None, (p.strip() for p in text.replace("\n", ";").split(";"))):
        scale, sign, power = part.partition("=")
        if not sign:
            raise InputError("card", f"must be points of scale and power; got {part!r}", cure=f"Write {POINT}.")
        points.append([fields.written_number(scale.strip(), "card"), power.strip()])
    return points


def card_text(card: Any) -> str:
    """Return a kept card as a person types it."""
    return "; ".join(f"{scale:g} = {power}" for scale, power in card or ())


def form_of(item: Item) -> dict[str, str]:
    """Return what a form shows of a kept piece or meter."""
    told = {k: str(v) for k, v in item.body.items() if k != "card"}
    return told | ({"card": card_text(item.body["card"])} if "card" in item.body else {})
