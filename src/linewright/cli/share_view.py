"""The terminal view of a sharing-out: who gets what and why, what is left, what to buy, what to measure."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.cli.cells import clean, wrapped
from linewright.cli.layout import bold, items, page, paragraph, section
from linewright.cli.table import Table
from linewright.cli.workings_view import workings_view
from linewright.model.share import Fed, Shared
from linewright.units.writing import frequency, interval, metres

PROVED_DB = 1e-3
"""A smaller gap is none."""


def share_view(shared: Shared, *, explain: bool = False) -> str:
    """Return a sharing-out for a terminal, no line wider than 100 columns."""
    return page([
        wrapped(_verdict(shared)),
        section("Who gets what", _runs(shared.fed)),
        section("Losses (95 %)", _losses(shared.fed)),
        section("Left over", paragraph(", ".join(shared.left_over))) if shared.left_over else [],
        section("Where the cautious plan, by 90th-percentile losses, differs", _runs(shared.cautious)),
        section("Worth measuring first", items(w.why for w in shared.worth)),
        section("Remarks", items(shared.remarks)),
        workings_view(shared.workings) if explain else [],
    ])  # fmt: skip


def _verdict(shared: Shared) -> str:
    fed = sum(run.short_m == 0 for run in shared.fed)
    proof = "proved best" if shared.gap_db < PROVED_DB else f"at most {shared.gap_db:.2f} dB from the best there is"
    spent = f" To buy: {shared.price:.2f} {shared.currency}." if shared.price else ""
    return f"{fed} of {len(shared.fed)} runs are fed, {shared.weighted_loss_db:.2f} weighted dB in all: {proof}.{spent}"


def _runs(runs: Sequence[Fed]) -> list[str]:
    lines: list[str] = []
    for run in runs:
        head = clean(f"{run.run}, {metres(run.route_m)}:")
        said = wrapped(f"{head} {_lies(run)} {run.why}", first="  ", rest="    ")
        lines += [said[0].replace(head, bold(head), 1), *said[1:]]
    return lines


def _lies(run: Fed) -> str:
    sections = [*run.pieces, *([_bought(run)] if run.bought else [])]
    if not sections:
        return "nothing."
    joints = f", {run.joints} joint{'s' * (run.joints > 1)}" if run.joints else ""
    spare = f", {metres(run.spare_m)} over" if run.spare_m >= 0.05 else ""
    return f"{' + '.join(sections)}{joints}{spare}."


def _bought(run: Fed) -> str:
    assert run.bought is not None
    return f"{metres(run.bought.length_m)} of {run.bought.line} to buy for {run.bought.price:.2f}"


def _losses(runs: Sequence[Fed]) -> list[str]:
    table = Table(("", "", "loss (95 %)", "90th percentile"), "lrdd")
    for run in runs:
        for i, x in enumerate(run.losses):
            loss = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
            table.add("" if i else run.run, frequency(x.frequency_hz), loss, f"{x.loss_db_90:.2f} dB")
    return table.lines()
