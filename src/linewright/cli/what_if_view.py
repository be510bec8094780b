"""What a change does, on a terminal: before and after, band by band."""

from __future__ import annotations

from linewright.cli.cells import WIDEST, cut
from linewright.cli.layout import bold, items, page, section
from linewright.cli.plan_words import MOST_BANDS
from linewright.cli.table import Table
from linewright.cli.workings_view import workings_view
from linewright.model.plan import BandFinding
from linewright.model.result import Working
from linewright.model.what_if import Difference, WhatIf
from linewright.report.plan_words import arrival, changed, watts
from linewright.units.said import together
from linewright.units.writing import frequency, plain, signed


def what_if_view(found: WhatIf, *, explain: bool = False) -> str:
    """Return what changes do to a station, for a terminal."""
    return page(
        [
            [bold(cut(f"{found.after.station}, changed", WIDEST))],
            items(found.changes),
            items(_sentences(found)),
            section("Before and after", _table(found)),
            section("Margins that become narrow", items(_narrow(found))),
            section("Remarks", items([*found.remarks, *_left_out(found)])),
            section("Cautions", items(found.after.cautions)),
            workings_view(_workings(found)) if explain else [],
        ]
    )


def _workings(found: WhatIf) -> list[Working]:
    """Return how the changes are worked out, and the figures of the runs that change as they are afterwards."""
    runs = {d.run for d in found.differences}
    return [*found.workings, *(w for budget in found.after.budgets if budget.run in runs for w in budget.workings)]


def _sentences(found: WhatIf) -> list[str]:
    return [f"{d.run} at {frequency(d.frequency_hz)}: {_said(d)}" for d in _shown(found)]


def _shown(found: WhatIf) -> list[Difference]:
    """Return the differences, or of very many those that change most."""
    of = found.differences
    gravest = sorted(range(len(of)), key=lambda i: -abs(of[i].delivered_db or 0.0))[:MOST_BANDS]
    return [of[i] for i in sorted(gravest)]


def _left_out(found: WhatIf) -> list[str]:
    count = len(found.differences)
    more = f"Of {count} differences the {MOST_BANDS} largest are shown; --json has them all."
    return [more] if count > MOST_BANDS else []


def _said(d: Difference) -> str:
    return together([arrival(d.after) if d.after else "", changed(d)])


def _table(found: WhatIf) -> list[str]:
    heads = ("", "loss", "then", "at the antenna", "then", "change", "signal-to-noise")
    table = Table(heads, "rddrrdd")
    runs = dict.fromkeys(d.run for d in found.differences)
    for run in runs:
        if len(found.after.budgets) > 1:
            table.part(run)
        for d in _shown(found):
            if d.run == run:
                table.add(*_row(d))
    return table.lines()


def _row(d: Difference) -> tuple[str, ...]:
    return (
        frequency(d.frequency_hz),
        _loss(d.before),
        _loss(d.after),
        _power(d.before),
        _power(d.after),
        "" if d.delivered_db is None else f"{signed(d.delivered_db, 2)} dB",
        "" if d.signal_to_noise_db is None else f"{signed(d.signal_to_noise_db, 2)} dB",
    )


def _loss(x: BandFinding | None) -> str:
    return "" if x is None else f"{plain(x.total_loss_db, 2)} dB"


def _power(x: BandFinding | None) -> str:
    return "" if x is None else watts(x)[0]


def _narrow(found: WhatIf) -> list[str]:
    """Return the margins that fall under one."""
    said = []
    for d in found.differences:
        for what in ("voltage", "heat"):
            was, now = (None if x is None else getattr(x, f"{what}_margin") for x in (d.before, d.after))
            if now is not None and now < 1.0 and (was is None or was >= 1.0):
                said.append(f"{d.run} at {frequency(d.frequency_hz)}: {what} over a rating, margin {now:.2f}.")
    return said
