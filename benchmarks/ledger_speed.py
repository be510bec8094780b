"""Time what a person waits for at the ledger: opening it, keeping a reading, listing the shelf.

python benchmarks/ledger_speed.py [--write] [--server URL]
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from statistics import median, quantiles

os.environ.setdefault("OMP_NUM_THREADS", "1")

from linewright.catalogue import line_type
from linewright.core.nouns.shelf import SessionPlan
from linewright.store.ledger import Ledger
from linewright.verbs import shelf, shelf_evidence
from linewright.verbs.shelf import By, open_ledger

HERE = Path(__file__).parent
PIECES, SHEETS, EACH, READINGS = 200, 40, 5, 60
START = datetime(2020, 4, 2, 12, 0, tzinfo=UTC)
METER = {"name": "desk meter", "rated": "1.8 MHz to 60 MHz", "scale": "watts", "division": "0.05 W"}
MHZ = (3.6, 7.1, 14.2, 21.2, 28.5, 50.1)
Row = tuple[str, str]


def filled(ledger: Ledger) -> None:
    """Keep 200 pieces, and 40 sessions of 60 readings on five pieces each."""
    shelf.add(ledger, "meter", METER)
    kind = line_type("RG-58C/U")
    for i in range(PIECES):
        shelf.add(ledger, "piece", {"tag": f"piece {i}", "line": kind.designator, "length": f"{5 + i % 20} m"})
    for s in range(SHEETS):
        tags = [f"piece {(s * EACH + k) % PIECES}" for k in range(EACH)]
        by = By(START + timedelta(days=30 * s))
        key = shelf.start_session(ledger, SessionPlan(f"bench {s}", ("desk meter",), tuple(tags)), by=by).key
        for mhz, path, watts in readings(tags):
            cells = {"meter": "desk meter", "frequency": f"{mhz} MHz", "path": path, "reading": f"{watts:.2f}"}
            shelf.add_reading(ledger, key, cells, by=by)


def readings(tags: list[str]) -> Iterator[tuple[float, str, float]]:
    """Yield sixty readings of new cable: two rounds on six bands."""
    law = line_type("RG-58C/U").law
    for mhz in MHZ:
        for _ in range(2):
            for k, tag in enumerate(["reference", *tags][:EACH]):
                metres = 0.0 if tag == "reference" else 5.0 + k
                yield mhz, tag, 10.0 * 10 ** (-metres * float(law.db_per_m(mhz * 1e6)) / 10)


def timed(act: Callable[[], object], times: int) -> list[float]:
    """Return how long it takes, in ms, each time."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        act()
        found.append(1e3 * (time.perf_counter() - start))
    return found


def said(found: list[float]) -> str:
    """Return the median, and the 95th percentile where there are enough."""
    if len(found) < 20:
        return f"{median(found):.1f} ms"
    return f"{median(found):.1f} ms (95 %: {quantiles(found, n=20)[-1]:.1f})"


def measured(where: str) -> Iterator[Row]:
    """Yield what was timed on one ledger."""
    # What another ledger's sheets said is not to be found in memory.
    shelf_evidence._beliefs.cache_clear()
    start = time.perf_counter()
    with open_ledger(where) as ledger:
        yield "make a new ledger", f"{1e3 * (time.perf_counter() - start):.0f} ms"
        start = time.perf_counter()
        filled(ledger)
        many = PIECES + 1 + SHEETS * (READINGS + 1)
        yield "fill it, an entry", f"{1e3 * (time.perf_counter() - start) / many:.1f} ms"
        key = shelf.all_kept(ledger, "sheet")[0].key
        cells = {"meter": "desk meter", "frequency": "14.2 MHz", "path": "piece 0", "reading": "8.2"}
        yield "keep a reading until it is on the disk", said(timed(lambda: shelf.add_reading(ledger, key, cells), 300))
        yield "list 200 pieces, worked out for the first time", said(timed(lambda: shelf.list_shelf(ledger), 1))
        yield "list 200 pieces, remembered", said(timed(lambda: shelf.list_shelf(ledger), 20))
        shelf.correct_reading(ledger, key, 1, cells | {"reading": "8.3"})
        yield "list again after one reading of one sheet changed", said(timed(lambda: shelf.list_shelf(ledger), 1))
        on = date(2026, 4, 2)
        yield "history of a piece, judged before", said(timed(lambda: shelf.history_of(ledger, "piece 9", on=on), 20))
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "all.zip"
            yield "export everything", said(timed(lambda: shelf.export_ledger(ledger, path), 3))
            yield "its size", f"{path.stat().st_size / 1e3:.0f} kB"
    yield "open it", said(timed(lambda: open_ledger(where).close(), 20))


def started(where: str) -> Iterator[Row]:
    """Yield how long the command takes from nothing."""
    for name, words in (("--help", ["--help"]), ("list", ["list", "--ledger", where])):
        code = f"from linewright.cli.shelf import shelf; shelf({words!r}, standalone_mode=False)"
        run = [sys.executable, "-c", code]
        found = timed(lambda run=run: subprocess.run(run, check=True, capture_output=True), 10)  # type: ignore[misc]
        yield f"the command `shelf {name}`, from nothing", said(found)


def main() -> None:
    """Time it and print a table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--write", action="store_true")
    asked.add_argument("--server", help="URL of an empty PostgreSQL database, to time that as well")
    told = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        where = str(Path(folder) / "ledger.sqlite")
        rows = [*measured(where), *started(where)]
    lines = ["# The ledger, timed", "", f"{PIECES} pieces, {SHEETS} sheets of {READINGS} readings; a SQLite file.", ""]
    lines += ["| what | median |", "|---|---|", *(f"| {what} | {took} |" for what, took in rows)]
    if told.server:
        lines += ["", "The same on a PostgreSQL server of this machine:", "", "| what | median |", "|---|---|"]
        lines += [f"| {what} | {took} |" for what, took in measured(told.server)]
    text = "\n".join(lines) + "\n"
    print(text)
    if told.write:
        (HERE / "ledger_results.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
