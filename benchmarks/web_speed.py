"""The app in a real browser: from a typed reading to the updated verdict, pages, and twenty people at once.

    python benchmarks/web_speed.py [--write] [--people 20]

Needs chromium and Playwright. The server runs in a process of its own, on loopback, and ends with this one.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any
from urllib.parse import quote

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests"))

import httpx2 as httpx  # noqa: E402, I001 - the tests' helpers are found only once their folder is known
from linewright.verbs.shelf import add_note, open_ledger  # noqa: E402
from web.bench_helpers import bench_of, reading_of  # noqa: E402
from web.conftest import CHROMIUM, DESK, FLAGS, PHONE, free_port  # noqa: E402
from web.load import Person, crowd, lines_of, standing  # noqa: E402

SERVE = "from linewright.web.serving import serve_app; serve_app({port}, {ledger!r}, lan=False, tell=print)"
WATCH = """() => {
  window.took = [];
  let pressed = 0;
  document.addEventListener("keydown", (e) => { if (e.key === "Enter") pressed = performance.now(); }, true);
  document.addEventListener("judged", () => requestAnimationFrame(() => window.took.push(performance.now() - pressed)));
}"""
BANDS = "To read: 14.2 MHz, 28.5 MHz, 50.1 MHz, 70.2 MHz, 144.3 MHz, 432.1 MHz; through blue 7+blue 18"


DEVICES = {"desk": DESK, "phone": PHONE}
PACES = (("200 ms apart, an average typist", 200.0), ("120 ms apart, a good typist", 120.0), ("0 ms apart", 0.0))
"""Times per key stroke: Card, Moran and Newell, Communications of the ACM 23 (1980) 7, as it is commonly quoted."""


def main() -> None:
    """Measure, print, and with --write keep it."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--write", action="store_true")
    asked.add_argument("--people", type=int, default=20)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        ledger, port = Path(folder) / "ledger.sqlite", free_port()
        keys = [bench_of(ledger, f"Sixty {device} {pace}") for pace, _ in PACES for device in DEVICES]
        with open_ledger(ledger) as kept:
            for key in keys:
                add_note(kept, "sheet", key, BANDS)
        serving = subprocess.Popen([sys.executable, "-c", SERVE.format(port=port, ledger=str(ledger))])
        try:
            text = report(f"http://localhost:{port}", ledger, keys, given.people)
        finally:
            serving.terminate()
            serving.wait(20)
    print(text)
    if given.write:
        (HERE / "web_results.md").write_text(text, encoding="utf-8")


def report(address: str, ledger: Path, keys: list[str], people: int) -> str:
    """Return all measurements as a page of Markdown."""
    while True:
        try:
            httpx.get(address)
            break
        except httpx.ConnectError:
            time.sleep(0.1)
    places = [(name, pace, key_ms) for pace, key_ms in PACES for name in DEVICES]
    typed_times = [
        (name, pace, typed_to_updated(address, key, DEVICES[name], key_ms))
        for key, (name, pace, key_ms) in zip(keys, places, strict=True)
    ]
    key = keys[0]
    return "\n".join([
        "# The app: speed and crowd", "",
        f"Written by `python benchmarks/web_speed.py --write`; Python {platform.python_version()},"
        f" {platform.machine()}, headless chromium and the server on the same machine of {os.cpu_count()} cores; other"
        f" work on it while measuring: load average {os.getloadavg()[2]:.1f} over the 15 minutes before.", "",
        "## From a typed reading to the updated verdict", "",
        "From the Enter key to the frame after verdict, expected values and doubts are in place: the reading kept on"
        " the disk, the engine run, the page changed. A sheet of 60 lines; every reading typed once (first columns),"
        " then 60 corrections with 60 readings on the sheet. The station works out ahead what it would say while a"
        " value is being typed, so the pace of the keys counts; 0 ms is a machine's, all keys and Enter at once.", "",
        "| where | keys | filling, median ms | 95 % | with 60, median ms | 95 % | asked |",
        "|---|---|---:|---:|---:|---:|---|",
        *(f"| {name} | {pace} | {_two(first)} | {_two(then)} | 80, 150 |"
          for name, pace, (first, then) in typed_times), "",
        "## Pages", "", "Median of 20, warm, and what comes over the line before charts.", "",
        "| page | ms | kB with style and scripts |", "|---|---:|---:|",
        *(page_line(address, path) for path in ("/", "/bench", f"/bench/at/{quote(key)}", f"/bench/said/{quote(key)}",
                                                "/shelf", "/shelf/piece/blue%207")), "",
        "## Many at one ledger", "", *crowd_lines(address, ledger, people), "",
    ])  # fmt: skip


def _two(times: list[float]) -> str:
    return f"{statistics.median(times):.0f} | {sorted(times)[int(0.95 * len(times))]:.0f}"


def typed_to_updated(address: str, key: str, device: dict, key_ms: float) -> tuple[list[float], list[float]]:
    """Type into a sheet of 60 lines until it is full, then correct every line; return both in milliseconds."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as maker:
        browser = maker.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        page = browser.new_context(base_url=address, **device).new_page()
        page.goto(f"/bench/at/{quote(key)}")
        page.evaluate(WATCH)
        first, then = typed(page, key_ms), typed(page, key_ms)
        browser.close()
    return first, then


def typed(page: Any, key_ms: float) -> list[float]:
    """Type every line of the sheet by keyboard; where it holds the value already, a tenth of a watt more."""
    page.evaluate("window.took = []")
    lines = page.locator("[data-reading]")
    for i in range(60):
        lines.nth(i).focus()
        lines.nth(i).select_text()
        value = reading_of(page.evaluate("document.activeElement.dataset.where"))
        again = lines.nth(i).input_value() == value
        page.keyboard.type(f"{float(value) + 0.1:.1f}" if again else value, delay=key_ms)
        page.keyboard.press("Enter")
        page.wait_for_function("(i) => window.took.length > i", arg=i)
    return page.evaluate("window.took")


def page_line(address: str, path: str) -> str:
    """Return one row: how long a page takes, and what it weighs with style and scripts."""
    times, weight = [], 0
    with httpx.Client(base_url=address, timeout=60) as client:
        for _ in range(20):
            began = time.perf_counter()
            weight = len(client.get(path).content)
            times.append(1e3 * (time.perf_counter() - began))
        scripts = ("/static/style.css", "/static/parts.js", "/static/bench.js")
        weight += sum(len(client.get(p).content) for p in scripts)
    return f"| `{path.split('/2', maxsplit=1)[0]}` | {statistics.median(times):.0f} | {weight / 1000:.0f} |"


def crowd_lines(address: str, ledger: Path, many: int) -> list[str]:
    """Let many people read 30 lines each, half of them at one sheet; say what was acknowledged and what stands."""
    own = [bench_of(ledger, f"Person {i}") for i in range(many // 2)]
    shared = [bench_of(ledger, f"Shared {i}") for i in range(max(1, many // 20))]
    people = [Person(address, key, lines_of(address, key)) for key in own]
    for i in range(many - len(people)):
        key = shared[i % len(shared)]
        people.append(Person(address, key, lines_of(address, key)[(i % 10) * 3 : (i % 10) * 3 + 3] * 10))
    began = time.perf_counter()
    crowd(people)
    took = time.perf_counter() - began
    lost = sum(standing(address, p.session).get(line) is None for p in people for line in p.kept)
    seconds = [1e3 * s for p in people for s in p.seconds]
    troubles = sum(len(p.troubles) for p in people)
    return [
        f"{many} people at once, {len(seconds)} readings sent without a pause between them, half of the people at one"
        f" sheet: {took:.0f} s, {len(seconds) / took:.1f} readings a second, each answered with the verdict.", "",
        f"Median {statistics.median(seconds):.0f} ms, 95 % {sorted(seconds)[int(0.95 * len(seconds))]:.0f} ms."
        f" Refused: {troubles}. Acknowledged and not there afterwards: {lost}.",
    ]  # fmt: skip


if __name__ == "__main__":
    main()
