"""Time what a person waits for at the ledger: opening it, keeping a reading, listing the shelf.

python benchmarks/ledger_speed.py [--write] [--server URL]
python benchmarks/ledger_speed.py --year [--write] [--server URL]

With --year: a year of weekly sessions, 50 of them with 40 pieces and six meters; the first page of the app, and how
long until a reading is judged. With --write its table stands below the others. ``--server here`` runs a server.
"""

from __future__ import annotations

import argparse
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from statistics import median, quantiles
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")

from linewright.catalogue import line_type
from linewright.core.nouns.shelf import SessionPlan
from linewright.store.ledger import Ledger
from linewright.verbs import shelf
from linewright.verbs.shelf import By, open_ledger

HERE = Path(__file__).parent
PIECES, SHEETS, EACH, READINGS = 200, 40, 5, 60
START = datetime(2020, 4, 2, 12, 0, tzinfo=UTC)
METER = {"name": "desk meter", "rated": "1.8 MHz to 60 MHz", "scale": "watts", "division": "0.05 W"}
MHZ = (3.6, 7.1, 14.2, 21.2, 28.5, 50.1)
Row = tuple[str, str]
WEEKS, KEPT, METERS = 50, 40, 6
YEAR = "## A year of weekly sessions"


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


def spent(act: Callable[[], object], times: int) -> list[float]:
    """Return how much processor time it takes, in ms, each time: on a busy machine that is what can be compared."""
    found = []
    for _ in range(times):
        start = time.process_time()
        act()
        found.append(1e3 * (time.process_time() - start))
    return found


def said(found: list[float]) -> str:
    """Return the median, and the 95th percentile where there are enough."""
    if len(found) < 20:
        return f"{median(found):.1f} ms"
    return f"{median(found):.1f} ms (95 %: {quantiles(found, n=20)[-1]:.1f})"


def measured(where: str) -> Iterator[Row]:
    """Yield what was timed on one ledger."""
    # What another ledger's sheets said is not to be found in memory: its pieces lost as much, but on other days.
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


def year_of_sessions(ledger: Ledger, today: date) -> str:
    """Keep a weekly session of a year, four pieces each on three bands with two meters, and a station; the last key."""
    rng, kind, key = random.Random(16), line_type("RG-58C/U"), ""
    for m in range(METERS):
        shelf.add(ledger, "meter", METER | {"name": f"meter {m}", "rated": "1.8 MHz to 500 MHz"})
    lengths = {f"piece {i}": 4.0 + i % 20 for i in range(KEPT)}
    for tag, metres in lengths.items():
        shelf.add(ledger, "piece", {"tag": tag, "line": kind.designator, "length": f"{metres} m"})
    for week in range(WEEKS):
        tags = [f"piece {(4 * week + k) % KEPT}" for k in range(4)]
        used = [f"meter {(week + k) % METERS}" for k in range(2)]
        by = By(datetime.combine(today - timedelta(weeks=WEEKS - week), datetime.min.time(), UTC))
        key = shelf.start_session(ledger, SessionPlan(f"week {week + 1}", tuple(used), tuple(tags)), by=by).key
        for meter in used:
            for mhz in (14.2, 50.1, 144.3):
                for path in ("reference", *tags, "reference"):
                    db = lengths.get(path, 0.0) * float(kind.law.db_per_m(mhz * 1e6)) + rng.gauss(0, 0.05)
                    cells = {"meter": meter, "frequency": f"{mhz} MHz", "path": path}
                    shelf.add_reading(ledger, key, cells | {"reading": f"{10 * 10 ** (-db / 10):.2f}"}, by=by)
    return key


def year_measured(where: str) -> Iterator[Row]:
    """Yield what is waited for after a year of weekly sessions, in processor time."""
    from fastapi.testclient import TestClient

    from linewright.web.app import Settings, create_app

    with open_ledger(where) as ledger:
        key = year_of_sessions(ledger, datetime.now(UTC).date())
        yield "list 40 pieces, worked out for the first time", said(spent(lambda: shelf.list_shelf(ledger), 1))
        yield "list 40 pieces, remembered", said(spent(lambda: shelf.list_shelf(ledger), 20))
    app = TestClient(create_app(Settings(where)), base_url="http://localhost:8731")

    def get(page: str) -> str:
        answer = app.get(page)
        assert answer.status_code == 200, (page, answer.status_code)
        return answer.text

    for page in ("/", "/shelf"):
        yield f"the page {page}, first time", said(spent(lambda page=page: get(page), 1))  # type: ignore[misc]
        while "data-follow" in get(page):  # what it still works out belongs to no warm page
            time.sleep(0.2)
        yield f"the page {page}, warm", said(spent(lambda page=page: get(page), 20))  # type: ignore[misc]
        yield f"the page {page}, warm, by the clock", said(timed(lambda page=page: get(page), 20))  # type: ignore[misc]
        yield f"the page {page}, warm, questions to the database", str(asked_for(app, page))
    with open_ledger(where) as ledger:
        cells = {"meter": "meter 2", "frequency": "14.2 MHz", "path": "piece 36", "reading": "8.20"}
        shelf.add_reading(ledger, key, cells)
        yield (
            "judge the newest session after one more reading",
            said(spent(lambda: shelf.prove_session(ledger, key), 1)),
        )
        yield "list again after that", said(spent(lambda: shelf.list_shelf(ledger), 1))
        on = datetime.now(UTC).date()
        yield "history of a piece of five tests", said(spent(lambda: shelf.history_of(ledger, "piece 9", on=on), 5))
    yield "the page / after it", said(spent(lambda: get("/"), 20))


@contextmanager
def at_server(where: str) -> Iterator[str]:
    """Give the URL of a server, or with "here" of one that is run for this."""
    if where != "here":
        yield where
        return
    sys.path.insert(0, str(HERE.parent / "tests"))
    from ledger.server import running

    with running() as url:
        yield url


def asked_for(app: Any, page: str) -> int:
    """Return how often a page asks the database for something."""
    from sqlalchemy import event

    engine, found = app.app.state.opened.ledger().engine, []

    def note(_connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        found.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    app.get(page)
    event.remove(engine, "before_cursor_execute", note)
    return sum(statement.startswith("SELECT") for statement in found)


def main() -> None:
    """Time it and print a table."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--year", action="store_true", help="a year of weekly sessions instead")
    asked.add_argument("--write", action="store_true")
    asked.add_argument("--server", help="URL of an empty PostgreSQL database, to time that too")
    told = asked.parse_args()
    if told.year:
        load = os.getloadavg()[0]
        with tempfile.TemporaryDirectory() as folder:
            table = [f"| {what} | {took} |" for what, took in year_measured(str(Path(folder) / "ledger.sqlite"))]
        lines = [
            YEAR, "", f"{WEEKS} sessions of 36 readings, {KEPT} pieces, {METERS} meters; a SQLite file. Load average"
            f" {load:.1f} on {os.cpu_count()} cores as it began.", "",
        ]  # fmt: skip
        lines += ["| what | processor time, median |", "|---|---|", *table]
        if told.server:
            load = os.getloadavg()[0]
            with at_server(told.server) as url:
                table = [f"| {what} | {took} |" for what, took in year_measured(url)]
            lines += ["", f"The same on a PostgreSQL server of this machine, load average {load:.1f} as it began:", ""]
            lines += ["| what | processor time of the app, median |", "|---|---|", *table]
        text = "\n".join(lines) + "\n"
        print(text)
        if told.write:
            place = HERE / "ledger_results.md"
            before = place.read_text(encoding="utf-8").partition(YEAR)[0].rstrip()
            place.write_text(f"{before}\n\n{text}", encoding="utf-8")
        return
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
        place = HERE / "ledger_results.md"
        year = place.read_text(encoding="utf-8").partition(YEAR)[1:] if place.exists() else ()
        place.write_text(text + ("\n" + "".join(year) if any(year) else ""), encoding="utf-8")


if __name__ == "__main__":
    main()
