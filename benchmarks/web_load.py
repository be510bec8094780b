"""Twenty, fifty and a hundred people at their own pace, on a SQLite file and on PostgreSQL with three servers.

    python benchmarks/web_load.py --write

That is all of it, 34 minutes: ten minutes of twenty people and two minutes each of fifty and of a hundred, on either
kind of ledger, with some minutes to set up. ``--minutes 1`` makes each run a minute long, 8 minutes in all;
``--people 20 100`` and ``--ledger file`` leave some out: each outcome may be measured and written on a day of its own.
One that hangs is broken off, and the next begins.

Each person does a thing in each ten seconds: readings, pages, notes, what-ifs, sweeps. A page is any that the app leads
to, each drawn as often: among them one's own session, and the piece which all the sessions speak of. What leads to the
waiting page is followed there as a browser does while its reader goes on, until the page or file itself has come: the
first answer is one of the things done, the others are counted by themselves. With ``--write``
each outcome takes the place of its earlier one in ``web_load.json``, and ``web_load_results.md`` with its picture is
written anew after each; runs of more than one state of the code are told.
"""

from __future__ import annotations

import argparse
import html
import json
import os
import random
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import quote

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests"))

import httpx2 as httpx  # noqa: E402, I001 - the tests' helpers are found only once their folder is known
from ledger.server import running  # noqa: E402
from unattended import OverdueError, within  # noqa: E402
from web.conftest import free_port  # noqa: E402
from web.mixed_load import BROWSER, PAGES, WEIGHTS, Visitor, all_at_once, visitors  # noqa: E402

KEPT, TABLE, PICTURE = (HERE / name for name in ("web_load.json", "web_load_results.md", "web_load.svg"))
SERVE = "from linewright.web.serving import serve_app; serve_app({port}, {ledger!r}, lan=False, tell=print)"
EVERY_S = 10.0
SHARED = f"/shelf/piece/{quote('blue 7')}"
EVERY_PAGE = (
    *PAGES, SHARED, "/exposure", "/connectors", "/lines", "/help", "/help/quick-start-app", "/devices", "/shelf/file",
    "/shelf/new/piece", "/shelf/check", f"/shelf/rename/{quote('blue 7')}", "/bench/new", "/sweeps/through",
    "/sweeps/one-end", "/sweeps/kept", "/runs?station=harbour-ridge",
    "/runs/zone?station=harbour-ridge&run=multiband+wire",
    "/runs/run?station=harbour-ridge&run=two-metre+beam", "/runs/choose?station=harbour-ridge&run=two-metre+beam",
    "/runs/share?station=harbour-ridge", f"/report/piece/{quote('blue 7')}?form=html",
    f"/report/piece/{quote('blue 7')}", f"/label/piece/{quote('blue 7')}",
)  # fmt: skip
"""Every kind of page; a session's own are added for each person."""
LONG = {20}
"""How many people are watched for ten minutes; the others for two."""
SHORT_MINUTES, SET_UP_MINUTES, PATIENCE_MINUTES = 2.0, 1.0, 10.0
WAITING = "/waiting/"
SOON_S, LATEST_S, SLOWER = 0.4, 2.0, 1.1
"""How a browser asks how far a work is: ever less often, as static/parts.js has it."""
BULKY = ("memory_mb", "p95_by_page_s")
"""What is kept and not printed."""
TARGET_S = {20: 1.0, 100: 3.0}
"""What the 95th percentile is to stay below, on a quiet machine of two cores."""
MOST_MB = 350


class Wait:
    """A page left open in a browser that waits for what takes long, and takes it."""

    def __init__(self, path: str, address: str, cookies: dict[str, str], began: float) -> None:
        self.path, self.trouble = path, ""
        self.answers: list[float] = []
        self.came_s: float | None = None
        self._asked = address, cookies, began
        self._thread = threading.Thread(target=self._wait, daemon=True)
        self._thread.start()

    def end(self) -> None:
        """Wait until it has come, or the patience is over."""
        self._thread.join(60 * PATIENCE_MINUTES)

    def _wait(self) -> None:
        at, cookies, began = self._asked
        pause_s = SOON_S
        with httpx.Client(cookies=cookies, timeout=None, follow_redirects=True, headers=BROWSER) as client:
            while True:
                time.sleep(pause_s)
                pause_s = min(pause_s * SLOWER, LATEST_S)
                try:
                    found, took_s = self._ask(client, at)
                    if take := re.search(r'id="take" href="([^"]*)"', found.text):
                        self.answers.append(took_s)
                        found, took_s = self._ask(client, str(found.url.join(html.unescape(take[1]))))
                except httpx.TransportError as cause:
                    self.trouble = f"waiting for {self.path}: {type(cause).__name__}"
                    return
                self.answers.append(took_s)
                if WAITING not in str(found.url):
                    self.came_s = time.perf_counter() - began
                if found.status_code >= 400 or 'class="over"' in found.text:
                    self.trouble = f"waiting for {self.path}: {found.status_code}"
                if self.came_s is not None or self.trouble:
                    return

    def _ask(self, client: httpx.Client, at: str) -> tuple[httpx.Response, float]:
        began = time.perf_counter()
        return client.get(at), time.perf_counter() - began


class Guest(Visitor):
    """A visitor who looks at every page there is, and remembers how long each took."""

    def do_page(self, _: int, draw: random.Random) -> httpx.Response:
        """Look at a place."""
        mine = [f"/bench/{part}/{quote(self.session)}" for part in ("at", "said")]
        path = draw.choice((*EVERY_PAGE, *mine, *self.charts))
        began = time.perf_counter()
        found = self.client.get(path)
        if path == mine[-1]:
            self.charts[:] = re.findall(r'/bench/chart/[^"&?]+', found.text)
        self.looks.append((path.removesuffix(quote(self.session)), time.perf_counter() - began))
        if WAITING in str(found.url):
            place = path.removesuffix(quote(self.session))
            self.waits.append(Wait(place, str(found.url), dict(self.client.cookies), began))
        return found

    @property
    def waits(self) -> list[Wait]:
        """What one waits for, or has waited for."""
        found: list[Wait] = self.__dict__.setdefault("_waits", [])
        return found

    @property
    def charts(self) -> list[str]:
        """The charts that what one's session says led to when last looked at."""
        found: list[str] = self.__dict__.setdefault("_charts", [])
        return found

    @property
    def looks(self) -> list[tuple[str, float]]:
        """Which page was looked at, and how long it took."""
        found: list[tuple[str, float]] = self.__dict__.setdefault("_looks", [])
        return found


def main() -> None:
    """Measure, print, and with --write keep it."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--write", action="store_true")
    asked.add_argument("--people", type=int, nargs="+", default=[20, 50, 100])
    asked.add_argument("--minutes", type=float, help="of each run; else 10 for twenty people and 2 for the others")
    asked.add_argument("--ledger", nargs="+", choices=("file", "server"), default=["file", "server"])
    given = asked.parse_args()
    minutes = {many: given.minutes or (10.0 if many in LONG else SHORT_MINUTES) for many in given.people}
    total = len(given.ledger) * sum(m + SET_UP_MINUTES for m in minutes.values())
    print(f"This takes about {total:.0f} minutes.", flush=True)
    for kind in given.ledger:
        for many in given.people:
            try:
                with within(2 * minutes[many] + PATIENCE_MINUTES):
                    found = measured(kind, many, minutes[many]) | {"code": code()}
            except OverdueError as cause:
                print(f"{kind} {many}: {cause}", flush=True)
                continue
            print(json.dumps({k: v for k, v in found.items() if k not in BULKY}, indent=1), flush=True)
            if given.write:
                keep(f"{kind} {many}", found)
    sys.stdout.flush()
    os._exit(0)  # who waits for an answer that never comes is not waited for


@contextmanager
def places(kind: str) -> Iterator[str]:
    """Give a new ledger: a file, or a database."""
    if kind == "server":
        with running() as url:
            yield url
    else:
        with tempfile.TemporaryDirectory() as folder:
            yield str(Path(folder) / "ledger.sqlite")


def measured(kind: str, many: int, minutes: float) -> dict[str, Any]:
    """Return how long things took, what was lost, and the memory of each server over time."""
    with places(kind) as ledger:
        ports = [free_port() for _ in range(3 if kind == "server" else 1)]
        people = [
            Guest(f"http://localhost:{ports[i % len(ports)]}", v.session, v.seed, v.piece)
            for i, v in enumerate(visitors("", ledger, many))
        ]
        servers = [subprocess.Popen([sys.executable, "-c", SERVE.format(port=p, ledger=ledger)]) for p in ports]
        try:
            for port in ports:
                _answers(f"http://localhost:{port}")
            load, memory, over = os.getloadavg()[0], [], threading.Event()
            watch = threading.Thread(target=_watch, args=(servers, memory, over), daemon=True)
            watch.start()
            took_s = all_at_once(people, max(round(60 * minutes / EVERY_S), 1), EVERY_S)
            for wait in (w for p in people for w in p.waits):
                wait.end()
            over.set()
            cpu_s = sum(_cpu_s(s.pid) for s in servers)
            lost = sum(replace_address(p, ports[0]).lost() for p in people)
            ends = [_end(s) for s in servers]
        finally:
            for server in servers:
                server.kill()
    took = sorted(s for p in people for kind_of in WEIGHTS for s in p.took[kind_of])
    return {
        "people": many, "servers": len(ports), "minutes": round(took_s / 60, 1), "things": len(took),
        "median_s": round(statistics.median(took), 3), "p95_s": round(took[int(0.95 * len(took))], 3),
        "longest_s": round(took[-1], 2),
        "p95_by_deed_s": {d: _p95([s for p in people for s in p.took[d]]) for d in WEIGHTS},
        "p95_by_page_s": by_page(people), "grew_mb": grown(memory),
        "cpu_s": round(cpu_s / len(took), 3),
        "waited": waited([w for p in people for w in p.waits]),
        "refused": sum(len(p.troubles) for p in people) + sum(bool(w.trouble) for p in people for w in p.waits),
        "troubles": [t for p in people for t in (*p.troubles, *(w.trouble for w in p.waits if w.trouble))][:3],
        "acknowledged": sum(len(p.kept) + len(p.notes) for p in people), "lost": lost,
        "most_mb": max((mb for _, row in memory for mb in row), default=0), "end_s": [round(s, 2) for s in ends],
        "load": f"{load:.1f} before, {os.getloadavg()[0]:.1f} after", "memory_mb": memory,
    }  # fmt: skip


def by_page(people: Sequence[Guest]) -> dict[str, float | None]:
    """Return the 95th percentile of each page, the slowest first."""
    took: dict[str, list[float]] = {}
    for path, seconds in (look for p in people for look in p.looks):
        took.setdefault(path, []).append(seconds)
    return dict(sorted(((path, _p95(s)) for path, s in took.items()), key=lambda pair: -(pair[1] or 0.0)))


def waited(waits: Sequence[Wait]) -> dict[str, Any]:
    """Return how long people waited on the waiting page for each page and file, and how fast that page answered."""
    answers = [s for w in waits for s in w.answers]
    came: dict[str, list[float | None]] = {}
    for w in waits:
        came.setdefault(w.path, []).append(w.came_s)
    told = {}
    for path, times in sorted(came.items()):
        there = sorted(s for s in times if s is not None)
        middle, longest = (round(statistics.median(there), 1), round(there[-1], 1)) if there else (None, None)
        told[path] = {"times": len(times), "came": len(there), "median_s": middle, "longest_s": longest}
    return {"by_page": told, "answers": len(answers), "answers_p95_s": _p95(answers)}


def grown(memory: Sequence[tuple[float, Sequence[int]]]) -> int:
    """Return how many MB the largest server grew from the middle third of a run to its last.

    >>> grown([(t, [100 + t]) for t in range(9)])
    3
    """
    largest = [max(row) for _, row in memory]
    third = len(largest) // 3
    return round(statistics.median(largest[-third:]) - statistics.median(largest[third:-third])) if third else 0


def code() -> str:
    """Return which state of the code this is: its last commit, and whether it was changed since."""
    asked = (["git", "rev-parse", "--short", "HEAD"], ["git", "status", "--porcelain", "--", "src"])
    commit, changed = (subprocess.run(a, cwd=HERE, capture_output=True, text=True, check=False).stdout for a in asked)
    return commit.strip() + (" and changes" if changed.strip() else "")


def replace_address(person: Guest, port: int) -> Guest:
    """Return a person as seen at the first server, whichever he wrote to."""
    return replace(person, address=f"http://localhost:{port}")


def _p95(took: Sequence[float]) -> float | None:
    return round(sorted(took)[int(0.95 * len(took))], 3) if took else None


def _answers(address: str) -> None:
    for _ in range(600):
        try:
            httpx.get(address)
            return
        except httpx.TransportError:
            time.sleep(0.1)
    raise SystemExit("The server does not answer.")


def _watch(servers: Sequence[subprocess.Popen[bytes]], memory: list[Any], over: threading.Event) -> None:
    """Write down the memory of each server, in MB, every two seconds."""
    began = time.perf_counter()
    while not over.wait(2.0):
        row = []
        for server in servers:
            status = Path(f"/proc/{server.pid}/status").read_text(encoding="utf-8")
            row.append(int(re.search(r"VmRSS:\s+(\d+)", status)[1]) // 1024)  # type: ignore[index]
        memory.append((round(time.perf_counter() - began, 1), row))


def _cpu_s(pid: int) -> float:
    """Return how long a process has worked, in seconds of a processor, with the processes it began and waited for."""
    told = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    return sum(map(int, told[11:15])) / os.sysconf("SC_CLK_TCK")


def _end(server: subprocess.Popen[bytes]) -> float:
    began = time.perf_counter()
    server.terminate()
    server.wait(300)
    return time.perf_counter() - began


def keep(name: str, found: dict[str, Any]) -> None:
    """Put an outcome in the place of its earlier one, and write table and picture."""
    kept = json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}
    kept[name] = found
    KEPT.write_text(json.dumps(kept, ensure_ascii=False) + "\n", encoding="utf-8")
    TABLE.write_text(report(kept), encoding="utf-8")
    PICTURE.write_text(drawn(kept), encoding="utf-8")


def report(kept: dict[str, Any]) -> str:
    """Return all outcomes as a page of Markdown."""
    lines = ["# People at one ledger, at their own pace", "",
             f"Written by `python benchmarks/web_load.py --write`. Each person does one thing in each {EVERY_S:.0f} s."
             f" Servers, people and database on one machine of {os.cpu_count()} cores; its load average says how busy"
             f" others kept it. On a quiet one the 95th percentile is to be below {TARGET_S[20]:g} s with 20 people and"
             f" {TARGET_S[100]:g} s with 100, and each server below {MOST_MB} MB. What a server grew is from the middle"
             " third of the run to its last; work is processor time of the servers. Lost is what was acknowledged and"
             " is not there afterwards.",
             "", "All runs are of one state of the code." if len({f.get("code") for f in kept.values()}) == 1 else
             "**These runs are of more than one state of the code**, the last column says which.", "",
             "| ledger | people | servers | minutes | things | median s | 95 % s | longest s | refused | acknowledged |"
             " lost | most MB | grew MB | work a thing s | end s | load average | code |",
             "|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---|---|---|"]  # fmt: skip
    for name, f in kept.items():
        ends = ", ".join(f"{s:g}" for s in f["end_s"])
        figures = (f["people"], f["servers"], f["minutes"], f["things"], f["median_s"], f["p95_s"], f["longest_s"],
                   f["refused"], f["acknowledged"], f["lost"], f["most_mb"], f.get("grew_mb", ""),
                   f.get("cpu_s", ""), ends, f["load"], f.get("code", "earlier"))  # fmt: skip
        where = "SQLite" if name.startswith("file") else "PostgreSQL"
        lines.append(f"| {where} | " + " | ".join(map(str, figures)) + " |")
    lines += ["", "![Memory of each server over time](web_load.svg)", "", "95th percentile by what was done, s:", "",
              "| ledger | people | " + " | ".join(WEIGHTS) + " |", "|---|---:|" + "---:|" * len(WEIGHTS)]  # fmt: skip
    for name, f in kept.items():
        where = "SQLite" if name.startswith("file") else "PostgreSQL"
        told = " | ".join(str(f["p95_by_deed_s"][d] if f["p95_by_deed_s"][d] is not None else "") for d in WEIGHTS)
        lines.append(f"| {where} | {f['people']} | {told} |")
    lines += [
        "",
        "95th percentile by page, the ten slowest of each run, s:",
        "",
        "| ledger | people | pages |",
        "|---|---:|---|",
    ]
    for name, f in kept.items():
        slowest = "; ".join(f"`{path}` {s:g}" for path, s in list(f.get("p95_by_page_s", {}).items())[:10])
        lines.append(f"| {'SQLite' if name.startswith('file') else 'PostgreSQL'} | {f['people']} | {slowest} |")
    lines += [
        "",
        "What led to the waiting page was followed there as a browser does, while its reader went on: the first answer"
        " counts above, as that of its page; the waiting page's own answers are counted here and not above; and how"
        " long it took until the page or file itself had come, from the click on. Who still waited when the others"
        " had done went on waiting.",
        "",
        "| ledger | people | answers of the waiting page | 95 % of them s | waited for: how often, came, median s,"
        " longest s |",
        "|---|---:|---:|---:|---|",
    ]
    for name, f in kept.items():
        if (w := f.get("waited")) is not None:
            told = "; ".join(
                f"`{path}` {x['times']}, {x['came']}, {x['median_s']}, {x['longest_s']}"
                for path, x in w["by_page"].items()
            )
            where, p95_s = "SQLite" if name.startswith("file") else "PostgreSQL", w["answers_p95_s"] or ""
            lines.append(f"| {where} | {f['people']} | {w['answers']} | {p95_s} | {told or 'nothing'} |")
    return "\n".join([*lines, ""])


def drawn(kept: dict[str, Any]) -> str:
    """Return a picture: the memory of the largest server of each run over time."""
    from linewright.present.charts.frame import framed
    from linewright.present.charts.render import to_svg

    rows = [
        {"minutes": at / 60, "MB": max(row), "run": f"{name.partition(' ')[0]}, {f['people']}"}
        for name, f in kept.items()
        for at, row in f["memory_mb"]
    ]
    spec = {
        "data": {"values": rows}, "width": 560, "height": 260, "mark": {"type": "line"},
        "encoding": {
            "x": {"field": "minutes", "type": "quantitative", "title": "minutes"},
            "y": {"field": "MB", "type": "quantitative", "title": "memory of the largest server, MB"},
            "strokeDash": {"field": "run", "type": "nominal", "title": "ledger, people"},
            "color": {"field": "run", "type": "nominal", "title": "ledger, people"},
        },
    }  # fmt: skip
    return to_svg(framed(spec, "Memory of the largest server over time, for each run."))


if __name__ == "__main__":
    main()
