"""The terminal view of a sharing-out: who gets what and why, what is left, what to buy, what to measure."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.cli.cells import clean, wrapped
from linewright.cli.layout import bold, items, page, paragraph, section
from linewright.cli.table import Table
from linewright.cli.workings_view import workings_view
from linewright.model.share import Fed, Shared
from linewright.report import share_words as words
from linewright.units.writing import frequency, interval, metres


def share_view(shared: Shared, *, explain: bool = False) -> str:
    """Return a sharing-out for a terminal, no line wider than 100 columns."""
    return page([
        wrapped(words.verdict(shared)),
        section("Who gets what", _runs(shared.fed)),
        section("Losses (95 %)", _losses(shared.fed)),
        section("Left over", paragraph(", ".join(shared.left_over))) if shared.left_over else [],
        section("Where the cautious plan, by 90th-percentile losses, differs", _runs(shared.cautious)),
        section("Worth measuring first", items(w.why for w in shared.worth)),
        section("Remarks", items(shared.remarks)),
        section("Cautions", items(shared.cautions)),
        workings_view(shared.workings) if explain else [],
    ])  # fmt: skip


def _runs(runs: Sequence[Fed]) -> list[str]:
    lines: list[str] = []
    for run in runs:
        head = clean(f"{run.run}, {metres(run.route_m)}:")
        said = wrapped(f"{head} {words.lies(run)} {run.why}", first="  ", rest="    ")
        lines += [said[0].replace(head, bold(head), 1), *said[1:]]
    return lines


def _losses(runs: Sequence[Fed]) -> list[str]:
    table = Table(("", "", "loss (95 %)", "90th percentile"), "lrdd")
    for run in runs:
        for i, x in enumerate(run.losses):
            loss = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
            table.add("" if i else run.run, frequency(x.frequency_hz), loss, f"{x.loss_db_90:.2f} dB")
    return table.lines()
