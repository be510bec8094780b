"""The table of ``linewright loss``."""

from __future__ import annotations

from linewright.cli.cells import wrapped
from linewright.cli.layout import Table, heading, joined
from linewright.cli.numbers import percent, with_interval
from linewright.cli.workings_view import workings_view
from linewright.model.loss import LossTable
from linewright.units.writing import frequency, metres


def loss_view(table: LossTable, *, explain: bool = False) -> str:
    """Return what a length of line loses, for a terminal."""
    parts = [[heading(f"{metres(table.length_m)} of {table.line.designator}")], _rows(table), _remarks(table)]
    if explain:
        parts.append(workings_view(table.workings))
    return joined(parts)


def _rows(table: LossTable) -> list[str]:
    out = Table(("", "loss (95 %)", "delivered", "conductors", "dielectric", ""), "lrrrrl")
    for row in table.rows:
        out.add(
            frequency(row.frequency_hz),
            with_interval(row.loss_db, row.loss_db_low, row.loss_db_high),
            percent(row.delivered_fraction),
            f"{row.conductor_db:.2f} dB",
            f"{row.dielectric_db:.2f} dB",
            "extrapolated" if row.extrapolated else "",
        )
    return out.lines()


def _remarks(table: LossTable) -> list[str]:
    return [line for remark in table.remarks for line in wrapped(remark, first="- ", rest="  ")]
