"""The table of ``linewright loss``."""

from __future__ import annotations

from linewright.cli.layout import bold, items, page, section
from linewright.cli.table import Table
from linewright.cli.workings_view import workings_view
from linewright.model.loss import LossTable
from linewright.units.writing import frequency, interval, metres, percent, places_for, plain


def loss_view(table: LossTable, *, explain: bool = False) -> str:
    """Return what a length of line loses, for a terminal."""
    parts = [
        [bold(f"{metres(table.length_m)} of {table.line.designator}")],
        _rows(table),
        _remarks(table),
        section("Cautions", items(table.cautions)),
    ]
    if explain:
        parts.append(workings_view(table.workings))
    return page(parts)


def _rows(table: LossTable) -> list[str]:
    out = Table(("", "loss (95 %)", "arrives", "in conductors", "in dielectric", ""), "rdrddl")
    for row in table.rows:
        places = max(2, places_for(row.loss_db_low, row.loss_db_high))
        out.add(
            frequency(row.frequency_hz),
            interval(row.loss_db, row.loss_db_low, row.loss_db_high),
            percent(row.delivered_fraction),
            f"{plain(row.conductor_db, places)} dB",
            f"{plain(row.dielectric_db, places)} dB",
            "extrapolated" if row.extrapolated else "",
        )
    return out.lines()


def _remarks(table: LossTable) -> list[str]:
    return items(table.remarks)
