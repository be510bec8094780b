"""Twenty people for ten minutes at one ledger, pressed together, and at their own pace: on a file and on a server.

    python benchmarks/web_mixed.py [--write] [--people 20] [--deeds 60] [--paced 12]

The server of pages runs in a process of its own, on loopback; PostgreSQL, where it is installed, as well.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests"))

import httpx2 as httpx  # noqa: E402, I001 - the tests' helpers are found only once their folder is known
from ledger.server import running  # noqa: E402
from web.conftest import free_port  # noqa: E402
from linewright.web.jobs import PATIENCE_S  # noqa: E402
from web.mixed_load import WEIGHTS, Visitor, all_at_once, visitors  # noqa: E402

EVERY_S = 10.0
"""At their own pace, people do a thing in each of these spans: six a minute."""
SERVE = "from linewright.web.serving import serve_app; serve_app({port}, {ledger!r}, lan=False, tell=print)"


def main() -> None:
    """Measure, print, and with --write keep it."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--write", action="store_true")
    asked.add_argument("--people", type=int, default=20)
    asked.add_argument("--deeds", type=int, default=60)
    asked.add_argument("--paced", type=int, default=12)
    given = asked.parse_args()
    rows = []
    for deeds, every_s, how in ((given.deeds, 0.0, "pressed together"), (given.paced, EVERY_S, "at their own pace")):
        with tempfile.TemporaryDirectory() as folder:
            ledger = str(Path(folder) / "ledger.sqlite")
            rows += measured(f"a SQLite file, {how}", ledger, given.people, (deeds, every_s))
        with running() as url:
            rows += measured(f"PostgreSQL, {how}", url, given.people, (deeds, every_s))
    text = "\n".join([
        "# Twenty people at one ledger", "",
        f"Written by `python benchmarks/web_mixed.py --write --deeds {given.deeds} --paced {given.paced}`:"
        f" {given.people} people at once. Pressed together, each does {given.deeds} things without a pause between"
        f" them: at six a minute what {given.deeds * EVERY_S / 60:.0f} minutes hold. At their own pace, each does"
        f" {given.paced}, one in each {EVERY_S:.0f} s. Readings, pages, notes on a piece, what-ifs, sweeps handed in."
        f" Server, clients and database on one machine of {os.cpu_count()} cores. A reading that is kept waits"
        f" at most {PATIENCE_S:g} s for its verdict; one that takes longer follows in place. A line"
        " or a note is lost that does not stand as it was last acknowledged.", "",
        "| ledger | what | times | median ms | 95 % ms |", "|---|---|---:|---:|---:|", *rows, "",
    ])  # fmt: skip
    print(text)
    if given.write:
        (HERE / "web_mixed_results.md").write_text(text, encoding="utf-8")


def measured(name: str, ledger: str, many: int, asked: tuple[int, float]) -> list[str]:
    """Return the rows of one kind of ledger, for so many things each and the span of time for each."""
    port = free_port()
    people = visitors(f"http://localhost:{port}", ledger, many)
    serving = subprocess.Popen([sys.executable, "-c", SERVE.format(port=port, ledger=ledger)])
    try:
        answers(people[0].address)
        began_at = os.getloadavg()[0]
        took = all_at_once(people, *asked)
        lost = sum(person.lost() for person in people)
    finally:
        serving.terminate()
        serving.wait(20)
    load = f"load average {began_at:.1f} before, {os.getloadavg()[0]:.1f} after"
    return [*(row(name, deed, people) for deed in WEIGHTS), f"{ending(name, people, took, lost)}; {load} | | | |"]


def answers(address: str) -> None:
    """Wait until a server answers."""
    for _ in range(300):
        try:
            httpx.get(address)
            return
        except httpx.TransportError:
            time.sleep(0.1)
    raise SystemExit("The server does not answer.")


def row(name: str, deed: str, people: list[Visitor]) -> str:
    """Return how long one kind of thing took."""
    took = sorted(1e3 * s for person in people for s in person.took[deed])
    if not took:
        return f"| {name} | {deed} | 0 | | |"
    return f"| {name} | {deed} | {len(took)} | {statistics.median(took):.0f} | {took[int(0.95 * len(took))]:.0f} |"


def ending(name: str, people: list[Visitor], took: float, lost: int) -> str:
    """Return what became of it all."""
    troubles = sum(len(person.troubles) for person in people)
    writes = sum(len(person.kept) + len(person.notes) for person in people)
    said = f"all of it in {took:.0f} s; refused or broken {troubles}; of {writes} lines and notes, lost {lost}"
    return f"| {name} | {said}"


if __name__ == "__main__":
    main()
