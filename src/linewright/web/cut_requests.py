"""What the page of lengths is asked: lines of the shelf and sweeps that were handed in, and what is wanted of them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import Request
from starlette.datastructures import QueryParams

from linewright.core.errors import InputError
from linewright.core.messages import say
from linewright.core.nouns.cut import CutResult, ElectricalLine
from linewright.core.nouns.sweep import Sweep, SweepQuestion
from linewright.files import fields
from linewright.web import requests as asked
from linewright.web.field_units import parts_of
from linewright.web.ledgers import ledger_of
from linewright.web.sweep_requests import UNITS, HeldSweep, about, far_end_of, uploads_of

ASKED = ("want", "at", "band", "to", "of", "beyond", "load", "side_by_side", "sets_of")


@dataclass(frozen=True, slots=True)
class LineField:
    """One line by its sweeps that were handed in: its name, its files with their far ends, its length by tape."""

    name: str
    files: tuple[tuple[str, str, str, str], ...]
    """Key, name, far end, what it holds."""
    taped: str


def lines_in(request: Request, params: QueryParams) -> tuple[LineField, ...]:
    """Return the lines of the sweeps named; an open and a shorted sweep whose names agree otherwise are one line."""
    keys = params.getlist("file")[:40]
    held = [uploads_of(request).get(key) for key in keys]
    ends = [*params.getlist("end"), *([""] * len(held))][: len(held)]
    taped = [*params.getlist("taped"), *([""] * len(held))][: len(held)]
    groups: dict[str, list[tuple[HeldSweep, str, str]]] = {}
    for h, end, length in zip(held, ends, taped, strict=True):
        groups.setdefault(_bare(h), []).append((h, end or far_end_of(h), length))
    out = []
    for its in groups.values():
        files = tuple((h.key, h.name, end, about(h)) for h, end, _ in its)
        name = " + ".join(h.name for h, _, _ in its)
        out.append(LineField(name, files, next((t for _, _, t in its if t), "")))
    return tuple(out)


def _bare(held: HeldSweep) -> str:
    """Return what names the line of a file: a one-port's name without its far end."""
    if held.ports == 2:
        return held.key
    return re.sub(r"open|short(ed)?", "", held.name.lower())


def named(params: QueryParams, files: tuple[LineField, ...]) -> tuple[str, ...]:
    """Return the names of all lines."""
    return (*dict.fromkeys(p for p in params.getlist("piece") if p), *(f.name for f in files))


def cut_of(request: Request, params: QueryParams, given: Mapping[str, str]) -> CutResult:
    """Return the answer to what the page asks.

    Raises
    ------
    InputError
        If something cannot be read, or a line tells no phase.
    """
    from linewright.verbs.cut import kept_lines, plan_cut

    want = given["want"] or "compare"
    question = asked.cut_asked({
        "at": _hertz(given["at"]) if not given["band"] else [],
        "band": given["band"],
        "to": (given["to"] or "quarter wave") if want in ("line", "open", "short") else None,
        "stub": want if want in ("open", "short") else None,
        "beyond": given["beyond"] if want == "line" else None,
        "load": given["load"] if want == "line" else None,
        "side_by_side": fields.whole(int(given["side_by_side"]), "side by side") if _is_count(given) else 1,
        "sets_of": int(given["sets_of"] or 2) if want == "sets" else None,
    })  # fmt: skip
    tags = list(dict.fromkeys(p for p in params.getlist("piece") if p))
    lines = [*kept_lines(ledger_of(request), tags, question.at_hz)] if tags else []
    lines += [_swept(request, field, question.at_hz) for field in lines_in(request, params)]
    first = [x for x in lines if x.name == given["of"]]
    return plan_cut([*first, *(x for x in lines if x not in first)], question)


def _hertz(text: str) -> list[str]:
    """Return frequencies one by one, a bare number in megahertz.

    >>> _hertz("144.1, 145, 7100 kHz")
    ['144.1 MHz', '145 MHz', '7100 kHz']
    """
    return [f"{part} {UNITS['at']}" if re.fullmatch(r"[\d.,]+", part) else part for part in parts_of(text)]


def _is_count(given: Mapping[str, str]) -> bool:
    return given["side_by_side"].isdecimal() and 1 <= int(given["side_by_side"]) <= 16 and given["want"] == "line"


def _swept(request: Request, field: LineField, at_hz: tuple[float, ...]) -> ElectricalLine:
    from linewright.verbs.swept_line import swept_line

    held = [uploads_of(request).get(key) for key, *_ in field.files]
    sweeps = [h.curve for h in held if isinstance(h.curve, Sweep)]
    if len(sweeps) < len(held):
        raise InputError(
            "sweep", say("must be a Touchstone file; {name} is a curve of SWR, which tells no phase", name=field.name)
        )
    length = field.taped if not field.taped.replace(".", "").isdecimal() else f"{field.taped} {UNITS['length']}"
    known = SweepQuestion(length_m=fields.length(length, "length") if field.taped else None)
    return swept_line(sweeps, at_hz, [end for _, _, end, _ in field.files], name=field.name, asked=known)
