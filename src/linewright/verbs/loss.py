"""What a length of line should lose, by the catalogue or a person's own types."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.catalogue import line_type, line_types
from linewright.catalogue.cautions import cautions_of
from linewright.catalogue.names import succession
from linewright.catalogue.tables import worded
from linewright.core.errors import InputError
from linewright.core.formatting import frequency, metres, plain, quantity
from linewright.core.messages import say, together
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.line import LineList, LineType, LossRow, LossTable
from linewright.core.quantities import delivered_fraction

STEEL_HZ = 100e6
"""Above it no clad centre's steel carries current that counts."""
FIELDS = (
    "S. A. Schelkunoff, Bell System Technical Journal 13(4), 1934, for round conductors in layers; strands, braid and"
    " dielectric as fitted to all types at once (docs/catalogue.md)."
)
LAW = "D. M. Pozar, Microwave Engineering, 4th ed., section 2.7: conductor loss grows with √f, dielectric loss with f."


def line_loss(
    line: str | LineType, length_m: float, frequencies_hz: Sequence[float], own: Sequence[LineType] = ()
) -> LossTable:
    """Return the loss of a length of line at some frequencies, connectors not included.

    Parameters
    ----------
    line : str or LineType
        A type, or its name.
    length_m : float
        Length in metres, above zero.
    frequencies_hz : sequence of float
        Frequencies in hertz, above zero.
    own : sequence of LineType
        The person's own types; they go before the catalogue's.

    Returns
    -------
    LossTable
        A row for each frequency: loss in dB with its 95 % interval, the share delivered, what conductors and dielectric
        take.

    Raises
    ------
    InputError
        If the name is unknown, or a number is not above zero.

    References
    ----------
    ``k0 + k1 √f + k2 f`` per metre: skin effect and loss tangent, D. M. Pozar, Microwave Engineering, 4th ed., section
    2.7. The points behind each type's law carry their own sources (``line_type(...).points``).

    >>> table = line_loss("RG-213/U", 30.0, [144e6])
    >>> 2.3 < table.rows[0].loss_db < 2.8
    True
    """
    kind = line if isinstance(line, LineType) else line_type(line, own)
    _above_zero("length_m", [length_m])
    _above_zero("frequencies_hz", frequencies_hz)
    rows = tuple(_row(kind, length_m, float(f)) for f in frequencies_hz)
    remarks = (*_succeeded(line, kind), *_remarks(kind, rows))
    worked = tuple(_working(kind, length_m, r) for r in rows)
    return LossTable(kind, float(length_m), rows, remarks, worked, cautions_of("loss"))


def list_lines(own: Sequence[LineType] = ()) -> LineList:
    """Return every line type at hand, a person's own first.

    Parameters
    ----------
    own : sequence of LineType
        The person's own line types; they go before the catalogue's.

    Returns
    -------
    LineList
        The types, and cautions.

    Raises
    ------
    InputError
        If ``own`` holds something else than line types.

    >>> [line.designator for line in list_lines().types][:2]
    ['RG-58/U', 'RG-58A/U']
    """
    return LineList((*own, *line_types()), cautions_of("lines"))


def _succeeded(line: str | LineType, kind: LineType) -> tuple[str, ...]:
    """Return that a written name is obsolete and what it leads to, if so."""
    found = succession(line) if isinstance(line, str) else None
    if found is None or found[0] != kind.designator:
        return ()
    return (say("{name} is out of use; {line} is {why}.", name=str(line), line=found[0], why=worded(found[1])),)


def _above_zero(name: str, values: Sequence[float]) -> None:
    for value in values:
        if not (np.isfinite(value) and value > 0):
            raise InputError(name, say("must be above zero and finite; got {value}", value=repr(value)))


def _row(kind: LineType, length_m: float, f: float) -> LossRow:
    conductor, dielectric = (length_m * float(part) for part in kind.law.parts_db_per_m(f))
    low, high = (length_m * float(end) for end in kind.law.interval_db_per_m(f))
    loss = conductor + dielectric
    return LossRow(
        f, loss, low, high, delivered_fraction(loss), conductor, dielectric, not kind.law.covers(f), _why(kind, f),
    )  # fmt: skip


def _why(kind: LineType, f: float) -> str:
    """Return why a frequency is less well known than the type usually is; empty if it is not."""
    if kind.law.covers(f):
        return ""
    low, high = kind.law.valid_hz
    if kind.steel_centre and f < STEEL_HZ:
        return say("The current reaches the steel there: how thick the copper is decides, and no sheet prints that.")
    if kind.law.curve is not None:
        return say("It is known less well there than its type usually is.")
    if f < low:
        return say("Below the published points, which end at {f}.", f=frequency(low))
    return say("Above the published points, which end at {f}.", f=frequency(high))


def _remarks(kind: LineType, rows: Sequence[LossRow]) -> tuple[str, ...]:
    wide = tuple(dict.fromkeys(
        say("{f} is doubtful. {why}", f=frequency(r.frequency_hz), why=r.why) for r in rows if r.why
    ))  # fmt: skip
    spread = say(
        "From 10 to 500 MHz tables of this type, and good pieces of it, lie about {spread} from this (one sigma).",
        spread=quantity(plain(100 * kind.law.spread, 0), "%"),
    )
    own = (kind.note,) if kind.note and all(p.provenance.grade == "person" for p in kind.points) else ()
    return (*wide, spread, *_unread(kind), *own, say("Connectors and mismatch come on top."))


def _unread(kind: LineType) -> tuple[str, ...]:
    """Return that no table of a type was read, if so: then its make speaks alone."""
    grades = {p.provenance.grade for p in kind.points if p.kind not in ("max", "set aside")}
    if grades & {"read", "person"} or kind.law.curve is None:
        return ()
    return (say("No table of {line} was read: its loss rests on how it is made. A measurement would settle it.",
                line=kind.designator),)  # fmt: skip


def _working(kind: LineType, length_m: float, row: LossRow) -> Working:
    law = kind.law
    sources = dict.fromkeys(p.provenance.told for p in kind.points if p.kind != "set aside")
    return Working(
        say("loss of {length} of {line} at {f}: {loss}",
            length=metres(length_m), line=kind.designator, f=frequency(row.frequency_hz), loss=_db(row.loss_db)),
        say("length · (k0 + k1 √f + k2 f), f in MHz; interval: loss · e^(±1.96 spread)") if law.curve is None
        else say("length · (conductor part + k2 f), f in MHz; the conductor part by the fields in its metals"),
        (
            ("k0, k1, k2", say("{k0}, {k1}, {k2} dB/m", k0=plain(law.k0_db_per_m, 6),
                               k1=plain(law.k1_db_per_m, 6), k2=plain(law.k2_db_per_m, 8))),
            (say("conductor part"), _db(row.conductor_db)),
            (say("dielectric part"), _db(row.dielectric_db)),
            (say("spread"), plain(law.spread, 3)),
            (say("fitted to"), together(sources, "; ") or say("no points")),
        ),
        LAW if law.curve is None else FIELDS, ("loss", row.frequency_hz),
    )  # fmt: skip


def _db(value: float) -> str:
    return quantity(plain(value, 3), "dB")
