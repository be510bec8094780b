"""Twenty, fifty and a hundred people at their own pace, on a SQLite file and on PostgreSQL with three servers.

    python benchmarks/web_load.py [--write] [--people 20 50 100] [--minutes 10] [--ledger file server]

Each person does a thing in each ten seconds: readings, pages, among them that of a piece which all their sessions speak
of, notes, what-ifs, sweeps. With ``--write`` each outcome takes the place of its earlier one in ``web_load.json``, and
``web_load_results.md`` with its picture is written anew of them all.
"""

from __future__ import annotations

import argparse
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
from web.conftest import free_port  # noqa: E402
from web.mixed_load import PAGES, WEIGHTS, Visitor, all_at_once, visitors  # noqa: E402

KEPT, TABLE, PICTURE = (HERE / name for name in ("web_load.json", "web_load_results.md", "web_load.svg"))
SERVE = "from linewright.web.serving import serve_app; serve_app({port}, {ledger!r}, lan=False, tell=print)"
EVERY_S = 10.0
SHARED = f"/shelf/piece/{quote('blue 7')}"
TARGET_S = {20: 1.0, 100: 3.0}
"""What the 95th percentile is to stay below, on a quiet machine of two cores."""
MOST_MB = 350


class Guest(Visitor):
    """A visitor who looks at the piece that all sessions speak of, too."""

    def do_page(self, _: int, draw: random.Random) -> httpx.Response:
        """Look at a place."""
        return self.client.get(draw.choice((*PAGES, SHARED)))


def main() -> None:
    """Measure, print, and with --write keep it."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--write", action="store_true")
    asked.add_argument("--people", type=int, nargs="+", default=[20, 50, 100])
    asked.add_argument("--minutes", type=float, default=10.0)
    asked.add_argument("--ledger", nargs="+", choices=("file", "server"), default=["file", "server"])
    given = asked.parse_args()
    for kind in given.ledger:
        for many in given.people:
            found = measured(kind, many, given.minutes)
            print(json.dumps({k: v for k, v in found.items() if k != "memory_mb"}, indent=1), flush=True)
            if given.write:
                keep(f"{kind} {many}", found)


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
            over.set()
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
        "refused": sum(len(p.troubles) for p in people), "troubles": [t for p in people for t in p.troubles][:3],
        "acknowledged": sum(len(p.kept) + len(p.notes) for p in people), "lost": lost,
        "most_mb": max((mb for _, row in memory for mb in row), default=0), "end_s": [round(s, 2) for s in ends],
        "load": f"{load:.1f} before, {os.getloadavg()[0]:.1f} after", "memory_mb": memory,
    }  # fmt: skip


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
             f" {TARGET_S[100]:g} s with 100, and each server below {MOST_MB} MB.", "",
             "| ledger | people | servers | minutes | things | median s | 95 % s | longest s | refused | acknowledged |"
             " lost | most MB | end s | load average |",
             "|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---|---|"]  # fmt: skip
    for name, f in kept.items():
        ends = ", ".join(f"{s:g}" for s in f["end_s"])
        figures = (f["people"], f["servers"], f["minutes"], f["things"], f["median_s"], f["p95_s"], f["longest_s"],
                   f["refused"], f["acknowledged"], f["lost"], f["most_mb"], ends, f["load"])  # fmt: skip
        where = "SQLite" if name.startswith("file") else "PostgreSQL"
        lines.append(f"| {where} | " + " | ".join(map(str, figures)) + " |")
    lines += ["", "![Memory of each server over time](web_load.svg)", "", "95th percentile by what was done, s:", "",
              "| ledger | people | " + " | ".join(WEIGHTS) + " |", "|---|---:|" + "---:|" * len(WEIGHTS)]  # fmt: skip
    for name, f in kept.items():
        where = "SQLite" if name.startswith("file") else "PostgreSQL"
        told = " | ".join(str(f["p95_by_deed_s"][d] if f["p95_by_deed_s"][d] is not None else "") for d in WEIGHTS)
        lines.append(f"| {where} | {f['people']} | {told} |")
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
