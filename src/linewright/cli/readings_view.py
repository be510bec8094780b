"""Readings on a terminal: which to doubt and why, and which nothing on the bench could check."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.cli.layout import items
from linewright.cli.table import Table
from linewright.model.result import BenchResult, ReadingFinding
from linewright.model.scale import SCALE_UNIT
from linewright.units.writing import chance, frequency, interval

DOUBT, LOOK = 0.5, 0.2
"""From which chance of being wrong a reading is doubted, and from which it is worth a second look."""
MOST = 30
"""No person reads more of them than this."""
RUNS = 12


def doubted(result: BenchResult) -> list[str]:
    """Return the readings that are more likely wrong than right, and how many there was something to check by."""
    if not result.readings:
        return []
    lines = _listed([r for r in result.readings if r.p_wrong > DOUBT])
    calm = [] if lines or not any(r.checked for r in result.readings) else ["None stands out against the rest."]
    return [*lines, *items([*calm, _checked(result.readings)])]


def _checked(readings: Sequence[ReadingFinding]) -> str:
    done = sum(r.checked for r in readings)
    if not done:
        return "Nothing could be checked: no reading has others to be held against."
    if done == len(readings):
        return f"All {done} readings could be checked against the rest of the bench."
    return f"{done} of {len(readings)} readings could be checked against the rest of the bench; the others stand below."


def second_look(result: BenchResult) -> list[str]:
    """Return the readings that may be wrong."""
    return _listed([r for r in result.readings if LOOK <= r.p_wrong <= DOUBT and r.checked])


def unchecked(result: BenchResult) -> list[str]:
    """Return how many readings nothing could check, and why; each reason once."""
    blind = [r for r in result.readings if not r.checked]
    reasons = dict.fromkeys(r.why for r in blind)
    return items(f"{_rows([r.row for r in blind if r.why == why])}: {why}" for why in reasons)


def _listed(found: Sequence[ReadingFinding]) -> list[str]:
    """Return readings with their reasons; of very many the gravest, and how many there are."""
    gravest = sorted(found, key=lambda r: -r.p_wrong)[:MOST]
    lines = _table([r for r in found if r in gravest])
    more = [f"And {len(found) - MOST} more, less doubtful; --json lists them all."] if len(found) > MOST else []
    return [*lines, *items(more)]


def _table(found: Sequence[ReadingFinding]) -> list[str]:
    table = Table(("", "", "", "", "read", "expected (95 %)", "wrong"), "rlrlddr")
    for r in found:
        table.add(
            f"row {r.row}",
            r.meter,
            frequency(r.frequency_hz),
            r.path,
            f"{r.reading:g} {SCALE_UNIT[r.scale]}".strip(),
            _expected(r),
            chance(r.p_wrong),
        )
        table.under(r.why)
    return table.lines()


def _expected(r: ReadingFinding) -> str:
    if r.expected is None or r.expected_low is None or r.expected_high is None:
        return "cannot tell"
    return interval(r.expected, r.expected_low, r.expected_high, "")


def _rows(rows: Sequence[int]) -> str:
    """Name rows, runs of them short: "rows 3 to 5 and 9"."""
    runs: list[list[int]] = []
    for row in sorted(rows):
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    parts = [part for run in runs for part in _run(run)]
    if len(parts) > RUNS:
        parts = [*parts[:RUNS], f"{len(parts) - RUNS} more runs of rows"]
    named = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return f"{'Row' if len(rows) == 1 else 'Rows'} {named}"


def _run(run: Sequence[int]) -> list[str]:
    return [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(row) for row in run]
