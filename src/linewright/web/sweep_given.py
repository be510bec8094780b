"""What the forms of sweeps tell, turned into answers; what cannot be read is told, not raised."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from linewright.errors import InputError
from linewright.model.line import LineType
from linewright.model.sweep import Sweep
from linewright.web import asked
from linewright.web.controls import BARE
from linewright.web.seen_page import OneEndTold, SeenThrough, one_end_told, seen_through
from linewright.web.sweep_page import Told, told
from linewright.web.uploads import Held

ENDS = ("through", "open", "short", "load")
UNITS = {"length": "m", "at": "MHz", "loss": "dB"}
"""What a bare number in a field stands for; the field says so."""


def line_told(held: Sequence[Held], ends: Sequence[str], given: Mapping[str, str], own: Sequence[LineType]) -> Told:
    """Return what sweeps say of a line, with what was told beside them."""
    open_questions = [h.name for h, end in zip(held, ends, strict=True) if end not in ENDS]
    if not held or open_questions:
        rule = f"must be told for {', '.join(open_questions)}" if open_questions else "needs a sweep"
        raise InputError("far end", rule, cure="Choose what was there: open, short or load.")
    curves = [h.curve for h in held if isinstance(h.curve, Sweep)]
    wanted: dict[str, Any] = {name: given[name] or None for name in ("length", "velocity_factor", "line")}
    wanted["at"] = [part.strip() for part in given["at"].split(",") if part.strip()]
    return told(asked.report(curves, ends, wanted, own))


def seen_told(held: Held | None, given: Mapping[str, str], own: Sequence[LineType]) -> SeenThrough:
    """Return what stands behind a line: a curve that is held, or a reading among what was told."""
    wanted = {name: value or None for name, value in given.items()}
    if wanted.get("loss"):
        wanted |= {"line": None, "length": None}
    if held is None:
        return seen_through(asked.see(wanted, None, own))
    from linewright.evidence.through.seen import seen_sweep

    curve = seen_sweep(held.curve) if isinstance(held.curve, Sweep) else held.curve
    return seen_through(asked.see(wanted, curve, own))


def readings_of(given: Mapping[str, str], i: int) -> list[dict[str, str]]:
    """Return the readings of one line of the form, each in the column its unit asks for."""
    out = []
    for end in ("open", "short"):
        read = given[f"{end}{i}"]
        if read:
            column = "return_loss" if "db" in read.lower() else "resistance" if "ohm" in read.lower() else "swr"
            out.append({"frequency": given[f"at{i}"], "far_end": end, column: read})
    return out


def proved(rows: Sequence[Mapping[str, str]], given: Mapping[str, str], own: Sequence[LineType]) -> OneEndTold:
    """Return what readings at one end say."""
    wanted = {name: given[name] or None for name in ("line", "length")}
    return one_end_told(asked.prove(rows, wanted, own))


def tried(work: Callable[[], Any]) -> tuple[Any, tuple[str, ...]]:
    """Return what a verb answers, or what is wrong with what it was given."""
    try:
        return work(), ()
    except InputError as error:
        return None, tuple(said(error))


def said(error: InputError) -> list[str]:
    """Return every problem of an error, in words."""
    return [str(p) for p in getattr(error, "problems", ()) or (error,)]


def given_in(params: Mapping[str, str], names: Sequence[str]) -> dict[str, str]:
    """Return what was told in these fields, a bare number with its field's unit; empty where nothing was.

    >>> given_in({"length": " 30 ", "loss": "3 dB"}, ("length", "loss", "line"))
    {'length': '30 m', 'loss': '3 dB', 'line': ''}
    """
    return {name: _with_unit(name, " ".join(params.get(name, "").split())) for name in names}


def _with_unit(name: str, text: str) -> str:
    unit = UNITS.get(name.rstrip("123456789"))
    return f"{text} {unit}" if unit and BARE.fullmatch(text) else text


def far_end_of(held: Held) -> str:
    """Return what was at the far end, as far as ports and name tell."""
    if held.ports == 2:
        return "through"
    return next((end for end in ("open", "short", "load") if end in held.name.lower()), "")


def about(held: Held) -> str:
    """Return how much a sweep holds."""
    return f"{held.points} points, {held.ports} port{'s' if held.ports > 1 else ''}"


def type_names(own: Sequence[LineType]) -> tuple[str, ...]:
    """Return the names of line types, the person's own first."""
    from linewright.catalogue import line_types

    return tuple(dict.fromkeys(line.designator for line in (*own, *line_types())))
