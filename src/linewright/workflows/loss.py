"""What a length of line should lose, by the catalogue or a person's own types."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.catalogue import line_type, line_types
from linewright.errors import InputError
from linewright.model.line import LineType
from linewright.model.loss import LineList, LossRow, LossTable
from linewright.model.result import Working
from linewright.units.decibels import delivered_fraction
from linewright.units.writing import frequency

NORMAL_95 = 1.96
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

    Raises
    ------
    InputError
        If the name is unknown, or a number is not above zero.

    >>> table = line_loss("RG-213/U", 30.0, [144e6])
    >>> 2.3 < table.rows[0].loss_db < 2.8
    True
    """
    kind = line if isinstance(line, LineType) else line_type(line, own)
    _above_zero("length_m", [length_m])
    _above_zero("frequencies_hz", frequencies_hz)
    rows = tuple(_row(kind, length_m, float(f)) for f in frequencies_hz)
    return LossTable(
        kind, float(length_m), rows, _remarks(kind, rows), tuple(_working(kind, length_m, r) for r in rows)
    )


def list_lines(own: Sequence[LineType] = ()) -> LineList:
    """Return every line type at hand, a person's own first."""
    return LineList((*own, *line_types()))


def _above_zero(name: str, values: Sequence[float]) -> None:
    for value in values:
        if not (np.isfinite(value) and value > 0):
            raise InputError(name, f"must be above zero and finite; got {value!r}")


def _row(kind: LineType, length_m: float, f: float) -> LossRow:
    conductor, dielectric = (length_m * float(part) for part in kind.law.parts_db_per_m(f))
    loss = conductor + dielectric
    reach = float(np.exp(NORMAL_95 * kind.law.spread))
    return LossRow(
        f, loss, loss / reach, loss * reach, delivered_fraction(loss), conductor, dielectric,
        not kind.law.covers(f), _why(kind, f),
    )  # fmt: skip


def _why(kind: LineType, f: float) -> str:
    """Return in which way a frequency lies beyond what was published; empty if it does not."""
    low, high = kind.law.valid_hz
    if kind.law.covers(f):
        return ""
    if f < kind.law.sqrt_floor_hz:
        return f"Below {frequency(kind.law.sqrt_floor_hz)} its steel centre no longer follows the law; it loses more."
    side, end = ("Below", low) if f < low else ("Above", high)
    return f"{side} the published points, which end at {frequency(end)}."


def _remarks(kind: LineType, rows: Sequence[LossRow]) -> tuple[str, ...]:
    beyond = tuple(dict.fromkeys(f"{frequency(r.frequency_hz)} is an extrapolation. {r.why}" for r in rows if r.why))
    spread = f"Published tables of this type and its law differ by about {100 * kind.law.spread:.0f} % (one sigma)."
    own = (kind.note,) if kind.note and all(p.provenance.grade == "person" for p in kind.points) else ()
    return (*beyond, spread, *own, "Connectors and mismatch come on top.")


def _working(kind: LineType, length_m: float, row: LossRow) -> Working:
    law = kind.law
    sources = dict.fromkeys(f"{p.provenance.grade}: {p.provenance.source}" for p in kind.points)
    return Working(
        f"loss of {length_m:.4g} m of {kind.designator} at {frequency(row.frequency_hz)}: {row.loss_db:.3f} dB",
        "length · (k0 + k1 √f + k2 f), f in MHz; interval: loss · e^(±1.96 spread)",
        (
            ("k0, k1, k2", f"{law.k0_db_per_m:.6f}, {law.k1_db_per_m:.6f}, {law.k2_db_per_m:.8f} dB/m"),
            ("conductor part", f"{row.conductor_db:.3f} dB"),
            ("dielectric part", f"{row.dielectric_db:.3f} dB"),
            ("spread", f"{law.spread:.3f}"),
            ("fitted to", "; ".join(sources) or "no points"),
        ),
        LAW,
    )
