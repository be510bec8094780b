"""How soon a reading that a program sends is heard: at the app it was sent to, and at another app of the same ledger.

A token sends readings one by one to the first of two apps; a stream of each listens. Times are from the moment a
reading is sent, so they hold the writing as well. ``--write`` keeps them in ``web_events_results.md``.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from urllib.parse import quote

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "tests"))

from unattended import within  # noqa: E402 - the tests' helpers are found only once their folder is known

SERVE = "from linewright.web.serving import serve_app; serve_app({port}, {ledger!r}, lan=False, tell=print)"
CELLS = {"meter": "desk meter", "frequency": "14.2 MHz", "path": "reference"}
REST_S = 0.35
"""Between two readings, no multiple of how often an app looks at its ledger."""


@contextlib.contextmanager
def app_on(where: str) -> Iterator[int]:
    """Serve a ledger on loopback in a process of its own, and give the port."""
    from web.conftest import free_port

    port = free_port()
    serving = subprocess.Popen([sys.executable, "-c", SERVE.format(port=port, ledger=where)])
    try:
        with within(2.0):
            while not answers(port):
                time.sleep(0.05)
        yield port
    finally:
        serving.terminate()
        serving.wait(20)


def answers(port: int) -> bool:
    """Return whether an app answers."""
    asked = HTTPConnection("localhost", port, timeout=60)
    try:
        asked.request("GET", "/")
        return asked.getresponse().status == 200
    except OSError:
        return False
    finally:
        asked.close()


class Ear:
    """A stream of a session, and when it told which change."""

    def __init__(self, port: int, session: str) -> None:
        self.heard: dict[int, list[float]] = {}
        self.ready = threading.Event()
        self._line = HTTPConnection("localhost", port, timeout=60)
        self._line.request("GET", f"/api/events?session={quote(session)}")
        self._answer = self._line.getresponse()
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        with contextlib.suppress(OSError, HTTPException, ValueError, AttributeError):
            while line := self._answer.readline():
                if line.startswith(b"data:"):
                    told = json.loads(line[5:])
                    self.ready.set()
                    if told.get("reading"):
                        self.heard.setdefault(told["number"], []).append(time.perf_counter())


def measured(where: str, readings: int) -> dict[str, list[float]]:
    """Return times in seconds: of the answer, and until each app's stream has told."""
    from linewright.verbs.shelf import open_ledger
    from linewright.verbs.tokens import make_token
    from web.bench_helpers import bench_of

    session = bench_of(where)
    with open_ledger(where) as ledger:
        head = {"Authorization": f"Bearer {make_token(ledger, 'events', 'write')}", "Content-Type": "application/json"}
    answers, sent = [], {}
    with app_on(where) as one, app_on(where) as two:
        ears = [Ear(port, session) for port in (one, two)]
        for ear in ears:
            ear.ready.wait(60)
        for i in range(readings):
            body = json.dumps({**CELLS, "reading": f"{9 + i / 1000:.3f}"})
            line, began = HTTPConnection("localhost", one, timeout=60), time.perf_counter()
            line.request("POST", f"/api/bench/readings?session={quote(session)}", body, head)
            sent[json.loads(line.getresponse().read())["change"]] = began
            answers.append(time.perf_counter() - began)
            line.close()
            time.sleep(REST_S)
        time.sleep(1.0)
    for ear in ears:
        assert all(len(times) == 1 for times in ear.heard.values()), "told twice"
        assert ear.heard.keys() == sent.keys(), "not told"
    return {
        "its answer": answers,
        "the same app's stream": [ears[0].heard[n][0] - at for n, at in sent.items()],
        "another app's stream": [ears[1].heard[n][0] - at for n, at in sent.items()],
    }


def rows(kind: str, found: dict[str, list[float]]) -> list[str]:
    """Return the rows of a table: median, 95th percentile, longest."""
    out = []
    for what, times in found.items():
        ms = sorted(1000 * t for t in times)
        out.append(f"| {kind} | {what} | {statistics.median(ms):.0f} | {ms[int(0.95 * len(ms))]:.0f} | {ms[-1]:.0f} |")
    return out


def main() -> None:
    """Measure a file and a server."""
    from ledger.server import running

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=40)
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    load = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as folder:
        table = rows("a file", measured(str(Path(folder) / "ledger.sqlite"), asked.readings))
    with running() as url:
        table += rows("PostgreSQL", measured(url, asked.readings))
    text = "\n".join([
        "# From a reading sent to its event", "",
        f"{asked.readings} readings by token, two apps of one ledger, each a process, each told once at each stream;",
        f"load {load:.0f} on {os.cpu_count()} cores as it began. Milliseconds from sending.", "",
        "| ledger | until | median | 95 % | longest |", "|---|---|---|---|---|", *table, "",
    ])  # fmt: skip
    print(text)
    if asked.write:
        (HERE / "web_events_results.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
