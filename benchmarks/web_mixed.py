"""Twenty people for ten minutes at one ledger, pressed together: on a file and on a server.

    python benchmarks/web_mixed.py [--write] [--people 20] [--deeds 60]

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
from web.mixed_load import WEIGHTS, Visitor, all_at_once, visitors  # noqa: E402

SERVE = "from linewright.web.serving import serve_app; serve_app({port}, {ledger!r}, lan=False, tell=print)"


def main() -> None:
    """Measure, print, and with --write keep it."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--write", action="store_true")
    asked.add_argument("--people", type=int, default=20)
    asked.add_argument("--deeds", type=int, default=60)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        rows = measured("a SQLite file", str(Path(folder) / "ledger.sqlite"), given.people, given.deeds)
    with running() as url:
        rows += measured("PostgreSQL", url, given.people, given.deeds)
    text = "\n".join([
        "# Twenty people at one ledger", "",
        f"Written by `python benchmarks/web_mixed.py --write --deeds {given.deeds}`: {given.people} people at once,"
        f" each {given.deeds} things without a pause between them: at six a minute what {given.deeds / 6:.0f} minutes"
        " hold. Readings, pages, notes on a piece, what-ifs, sweeps handed in. Server, clients and database on one"
        f" machine of {os.cpu_count()} cores; load average at the end, with other work, {os.getloadavg()[0]:.1f}.", "",
        "| ledger | what | times | median ms | 95 % ms |", "|---|---|---:|---:|---:|", *rows, "",
    ])  # fmt: skip
    print(text)
    if given.write:
        (HERE / "web_mixed_results.md").write_text(text, encoding="utf-8")


def measured(name: str, ledger: str, many: int, deeds: int) -> list[str]:
    """Return the rows of one kind of ledger."""
    port = free_port()
    people = visitors(f"http://localhost:{port}", ledger, many)
    serving = subprocess.Popen([sys.executable, "-c", SERVE.format(port=port, ledger=ledger)])
    try:
        answers(people[0].address)
        took = all_at_once(people, deeds)
        lost = sum(person.lost() for person in people)
    finally:
        serving.terminate()
        serving.wait(20)
    return [*(row(name, deed, people) for deed in WEIGHTS), ending(name, people, took, lost)]


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
    return f"| {name} | {deed} | {len(took)} | {statistics.median(took):.0f} | {took[int(0.95 * len(took))]:.0f} |"


def ending(name: str, people: list[Visitor], took: float, lost: int) -> str:
    """Return what became of it all."""
    troubles = sum(len(person.troubles) for person in people)
    writes = sum(len(person.kept) + len(person.notes) for person in people)
    said = f"all of it in {took:.0f} s; refused or broken {troubles}; of {writes} acknowledged, lost {lost}"
    return f"| {name} | {said} | | | |"


if __name__ == "__main__":
    main()
