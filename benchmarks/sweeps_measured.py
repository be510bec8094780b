"""Judge measured sweeps in a folder and hold what is said against the reference numbers of its INDEX.csv.

``python benchmarks/sweeps_measured.py FOLDER`` reads every Touchstone file that the index calls measured and that is of
one or two ports, and prints for each the first line of the answer, the faults and the types told, and the figures
beside their references. Nothing of the folder is kept here. The index has a row a file; of its columns these are used:
file, category, kind, ports, known_truth, one_way_delay_ns, matched_loss_db_30MHz_median5pct and so on, zc_ohm_144MHz.
"""

from __future__ import annotations

import argparse
import csv
import re
from collections.abc import Iterator
from pathlib import Path

import linewright as lw
from linewright.core.nouns.sweep import Interval, SweepQuestion, SweepReport
from linewright.verbs.sweep import read_sweep

AT_HZ = {"30MHz": 30e6, "144MHz": 144e6, "432MHz": 432e6, "1296MHz": 1296e6}
ENDS = ("open", "short", "load")
WITHIN_NS, WITHIN_OHM = 0.02, 2.0
"""Two fair ways of working may differ by so much."""


def measured(folder: Path) -> Iterator[tuple[dict[str, str], SweepReport | None, str]]:
    """Give each row of the index with what is said of its file, or why nothing is."""
    with (folder / "INDEX.csv").open(encoding="utf-8", newline="") as file:
        rows = [r for r in csv.DictReader(file) if r["kind"] == "measured" and r["ports"] in ("1", "2")]
    for row in rows:
        ends = [] if row["ports"] == "2" else [_end(row)]
        try:
            yield row, read_sweep([folder / row["file"]], ends, SweepQuestion(at_hz=tuple(AT_HZ.values()))), ""
        except lw.LinewrightError as error:
            yield row, None, str(error)


def _end(row: dict[str, str]) -> str:
    """Return the far end of a one-port by its name; what names none is an antenna, and read as a load."""
    return next((end for end in ENDS if re.search(end, row["file"])), "load")


def beside(row: dict[str, str], report: SweepReport) -> Iterator[tuple[str, str, str, str]]:
    """Give (figure, reference, what was read, whether it lies inside) of every reference number of a file."""
    found = report.finding
    if (delay := row["one_way_delay_ns"]) and found.delay_s:
        yield _row("delay, ns", float(delay), found.delay_s.times(1e9), WITHIN_NS)
    for name, f in AT_HZ.items():
        told = next((r.matched_loss_db for r in found.losses if r.frequency_hz == f), None)
        if (loss := row[f"matched_loss_db_{name}_median5pct"]) and told:
            yield _row(f"matched loss at {name}, dB", float(loss), told, 0.0)
    if (ohm := row["zc_ohm_144MHz"]) and found.impedance_ohm:
        yield _row("impedance, ohm", complex(ohm).real, found.impedance_ohm, WITHIN_OHM)


def _row(name: str, reference: float, read: Interval, within: float) -> tuple[str, str, str, str]:
    inside = read.low - within <= reference <= read.high + within
    return name, f"{reference:g}", f"{read.value:.4g} ({read.low:.4g} to {read.high:.4g})", "yes" if inside else "NO"


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("folder", type=Path)
    figures, inside = 0, 0
    for row, report, why in measured(ask.parse_args().folder):
        print(f"\n{row['file']}: {row['description']}")
        if report is None:
            print(f"  refused: {why}")
            continue
        print(f"  {report.verdict}")
        named = [f"{r.line} {r.probability:.2f}" for r in report.resembles if r.probability >= 0.5]
        faults = [f"{f.kind} at {f.distance_m:.3g} m" for f in (report.along.faults if report.along else ())]
        print(f"  faults: {', '.join(faults) or report.along_why or 'none'}")
        print(f"  types above a half: {', '.join(named) or '-'}")
        for name, reference, read, holds in beside(row, report):
            figures, inside = figures + 1, inside + (holds == "yes")
            print(f"  {name}: reference {reference}, read {read}; inside: {holds}")
    print(f"\n{inside} of {figures} reference numbers lie inside.")


if __name__ == "__main__":
    main()
