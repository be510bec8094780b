"""How long a change in the drawing of a run takes to its new picture, at the server.

``python benchmarks/draw_speed.py`` asks the app, within one process, for the part of the page that a browser puts in
place: a length typed and tried, an edit written into the ledger, a plan's tab, what could lie in a part's place. The
invented station is kept in a ledger of its own; each change is one that was not asked for before. The outcome is kept
in ``draw_results.md``.
"""

from __future__ import annotations

import re
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient

from linewright.verbs.examples import demo_file
from linewright.verbs.shelf import file_any, keep_station, open_ledger
from linewright.web.app import create_app
from linewright.web.sessions import Settings

PORT = 8765
ROUNDS = 20
MOST_MS = 100.0
"""What a change may take at the server, by the processor."""
PART = {"x-part": "1"}
RUNS = (
    ("two-metre beam", 6, "1 band, 6 parts, a measured piece"),
    ("multiband wire", 6, "5 bands, 6 parts, near field"),
)


def timed(ask: Callable[[int], Any]) -> tuple[float, float]:
    """Return the median time of some askings by the clock and by the processor, in ms, the first two left out.

    The processor's time is that of a machine with nothing else to do.
    """
    clock, processor = [], []
    for i in range(ROUNDS + 2):
        begun = time.perf_counter(), time.process_time()
        answer = ask(i)
        clock.append(1e3 * (time.perf_counter() - begun[0]))
        processor.append(1e3 * (time.process_time() - begun[1]))
        assert answer.status_code == 200, answer.text[:300]
    return statistics.median(clock[2:]), statistics.median(processor[2:])


def measured(ledger: Path) -> list[tuple[str, str, float, float]]:
    """Return a row for each kind of change of each run."""
    with open_ledger(ledger) as kept:
        file_any(kept, demo_file("harbour-ridge.toml"), on=date(2026, 3, 14))
        name = keep_station(kept, demo_file("harbour-ridge-station.toml"), on=date(2026, 3, 14)).item.key
    client = TestClient(create_app(Settings(str(ledger), PORT)), base_url=f"http://localhost:{PORT}")
    page = client.get("/runs").text
    found = re.search(r'name="token" content="([^"]+)"', page)
    assert found is not None
    token, rows = found[1], []
    for run, part, about in RUNS:
        where = {"station": f"={name}", "run": run, "open": str(part)}

        def tried(i: int, where: dict[str, str] = where) -> Any:
            asked = {**where, "do": "set", "f.length": f"{2 + i / 100:.2f}"}
            return client.get("/runs/run", params=asked, headers=PART)

        def written(i: int, where: dict[str, str] = where) -> Any:
            sent = {**where, "do": "set", "f.length": f"{3 + i / 100:.2f}", "token": token}
            return client.post("/runs/edit", data=sent, headers=PART)

        def offered(i: int, where: dict[str, str] = where) -> Any:
            return client.get(
                "/runs/offers", params={**where, "open": "4" if "beam" in where["run"] else "6"}, headers=PART
            )

        for what, ask in (("tried", tried), ("written", written), ("in its place", offered)):
            rows.append((f"{run} ({about})", what, *timed(ask)))
    return rows


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        rows = measured(Path(folder) / "ledger.sqlite")
    print("| run | change | clock, ms | processor, ms |\n|---|---|---:|---:|")
    for run, what, clock, processor in rows:
        print(f"| {run} | {what} | {clock:.0f} | {processor:.0f} |")
    sys.exit(0 if all(ms < MOST_MS for _, what, _, ms in rows if what != "in its place") else 1)


if __name__ == "__main__":
    main()
