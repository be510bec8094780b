"""The app in a real browser: from a typed reading to the verdict, from a changed length to its picture, pages, a crowd.

    python benchmarks/web_speed.py [--write] [--people 20] [--only readings|drawing|pages]

Needs chromium and Playwright. The server runs in a process of its own, on loopback, and ends with this one.
"""

from __future__ import annotations

import argparse
import os
import platform
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any
from urllib.parse import quote

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests"))

import httpx2 as httpx  # noqa: E402, I001 - the tests' helpers are found only once their folder is known
from linewright.verbs.examples import demo_file  # noqa: E402
from linewright.verbs.shelf import add_note, file_any, keep_station, open_ledger  # noqa: E402
from playwright.sync_api import Error  # noqa: E402
from unattended import OverdueError, within  # noqa: E402
from web.bench_helpers import bench_of, reading_of  # noqa: E402
from web.conftest import CHROMIUM, DESK, FLAGS, PHONE, free_port  # noqa: E402
from web.load import Person, crowd, lines_of, standing  # noqa: E402

SERVE = "from linewright.web.serving import serve_app; serve_app({port}, {ledger!r}, lan=False, tell=print)"
WATCH = """() => {
  window.took = [];
  let pressed = 0;
  document.addEventListener("keydown", (e) => { if (e.key === "Enter") pressed = e.timeStamp; }, true);
  const told = () => requestAnimationFrame(() => window.took.push(performance.now() - pressed));
  const judged = () => document.querySelector("#verdicts [data-work]") ? setTimeout(judged, 1) : told();
  document.addEventListener("judged", judged);
}"""
"""From the key to the frame that shows the verdict; where that follows the answer, until it is there."""
WATCH_DRAWN = """() => {
  window.took = [];
  let at = 0;
  for (const kind of ["keydown", "click"]) document.addEventListener(kind, (e) => { at = e.timeStamp; }, true);
  const told = () => window.took.push(performance.now() - at);
  const drawn = (all) => all.some((m) => [...m.addedNodes].some((n) => n.id === "result"));
  new MutationObserver((all) => drawn(all) && requestAnimationFrame(told))
    .observe(document.body, { childList: true, subtree: true });
}"""
RUNS = (
    ("two-metre beam", 6, "1 band, 6 parts, a measured piece"),
    ("multiband wire", 6, "5 bands, 6 parts, near field"),
)
BANDS = "To read: 14.2 MHz, 28.5 MHz, 50.1 MHz, 70.2 MHz, 144.3 MHz, 432.1 MHz; through blue 7+blue 18"


AT_STEP = """(step) => {
  const input = document.querySelector(`[data-reading][data-step="${step}"]`);
  const jump = document.getElementById("insertion");
  if (!input.checkVisibility()) {
    jump.value = input.closest("tr").dataset.insertion;
    jump.dispatchEvent(new Event("change", { bubbles: true }));
  }
  input.focus();
  input.select();
}"""
DEVICES = {"desk": DESK, "phone": PHONE}
PARTS = ("readings", "drawing", "pages", "crowd")
MOST_MINUTES = 30.0
"""What a part may take before it is broken off."""
PARTS_OF = re.compile(r'<(?:link rel="stylesheet" href|script[^>]* src)="([^"]+)"')
PACES = (("200 ms apart, an average typist", 200.0), ("120 ms apart, a good typist", 120.0), ("0 ms apart", 0.0))
"""Times per key stroke: Card, Moran and Newell, Communications of the ACM 23 (1980) 7, as it is commonly quoted."""


def main() -> None:
    """Measure, print, and with --write keep it."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--write", action="store_true")
    asked.add_argument("--people", type=int, default=20)
    asked.add_argument("--only", choices=PARTS, action="append", help="print these parts alone")
    asked.add_argument("--paces", type=int, default=len(PACES), help="how many paces of typing, the slowest first")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        ledger, port = Path(folder) / "ledger.sqlite", free_port()
        keys = [bench_of(ledger, f"Sixty {device} {pace}") for pace, _ in PACES[: given.paces] for device in DEVICES]
        with open_ledger(ledger) as kept:
            for key in keys:
                add_note(kept, "sheet", key, BANDS)
            file_any(kept, demo_file("harbour-ridge.toml"), on=date(2026, 3, 14))
            keep_station(kept, demo_file("harbour-ridge-station.toml"), on=date(2026, 3, 14))
        serving = subprocess.Popen([sys.executable, "-c", SERVE.format(port=port, ledger=str(ledger))])
        try:
            text = report(
                Served(f"http://localhost:{port}", serving.pid), ledger, keys, (given.only or PARTS, given.people)
            )
        finally:
            serving.terminate()
            serving.wait(20)
    print(text)
    if given.write:
        (HERE / "web_results.md").write_text(text, encoding="utf-8")


@dataclass(frozen=True)
class Served:
    """The app where it is served: its address, and the process that serves it."""

    address: str
    process: int

    def spent_ms(self) -> float:
        """Return the processor time it has taken so far: what can be compared where others are at work as well."""
        fields = Path(f"/proc/{self.process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
        return 1e3 * (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def report(served: Served, ledger: Path, keys: list[str], wanted: tuple[Sequence[str], int]) -> str:
    """Return all measurements as a page of Markdown."""
    (only, people), address = wanted, served.address
    with within(2.0):
        while True:
            try:
                httpx.get(address, timeout=None)
                break
            except httpx.ConnectError:
                time.sleep(0.1)
    lines = [
        "# The app: speed and crowd", "",
        f"Written by `python benchmarks/web_speed.py --write`; Python {platform.python_version()},"
        f" {platform.machine()}, headless chromium and the server on the same machine of {os.cpu_count()} cores, others"
        " at work on it as well: the load average of the minute before is said with each figure.", "",
    ]  # fmt: skip
    parts: dict[str, Callable[[], list[str]]] = {
        "readings": lambda: readings_lines(served, keys), "drawing": lambda: drawing_lines(served),
        "pages": lambda: pages_lines(address, quote(keys[0])),
        "crowd": lambda: ["## Many at one ledger", "", *crowd_lines(address, ledger, people), ""],
    }  # fmt: skip
    for part in (name for name in PARTS if name in only):
        try:
            with within(MOST_MINUTES):
                lines += parts[part]()
        except (OverdueError, Error) as cause:  # the others are measured all the same
            lines += [f"The part `{part}` was broken off: {str(cause).splitlines()[0]}", ""]
    return "\n".join(lines)


def pages_lines(address: str, key: str) -> list[str]:
    """Return the table of pages: how long each takes, and what it weighs."""
    places = ("/", "/bench", f"/bench/at/{key}", f"/bench/said/{key}", "/shelf", "/shelf/piece/blue%207")
    return [
        "## Pages", "",
        "Median of 20, warm; what comes over the line before charts, with style and scripts, and the page alone,"
        f" nothing packed. Load average {os.getloadavg()[0]:.1f}.", "",
        "| page | ms | kB in all | kB of the page |", "|---|---:|---:|---:|",
        *(page_line(address, path) for path in places), "",
    ]  # fmt: skip


def readings_lines(served: Served, keys: list[str]) -> list[str]:
    """Return the table from a typed reading to the verdict."""
    lines = [
        "## From a typed reading to the updated verdict", "",
        "From the key that ends a reading to the frame after verdict, expected values and doubts are in place: the"
        " reading kept on the disk, the engine run, the page changed. A sheet of 60 lines; every reading typed once"
        " (first columns), then 60 corrections with 60 readings on the sheet. The station works out ahead what it would"
        " say while a value is being typed, so the pace of the keys counts; 0 ms is a machine's, all keys and Enter at"
        " once. Asked at a person's pace: median below 80 ms, 95 % below 150 ms. \"server\" is the processor time that"
        " it takes for a correction, with all it works out ahead.", "",
        "| where | keys | filling, median ms | 95 % | with 60, median ms | 95 % | answer, kB | server, ms | load |",
        "|---|---|---:|---:|---:|---:|---:|---:|---:|",
    ]  # fmt: skip
    places = [(name, pace, key_ms) for pace, key_ms in PACES for name in DEVICES]
    for key, (name, pace, key_ms) in zip(keys, places, strict=False):
        first, then, much, spent = typed_to_updated(served, key, DEVICES[name], key_ms)
        load = os.getloadavg()[0]
        lines.append(
            f"| {name} | {pace} | {_two(first)} | {_two(then)} | {much / 1000:.0f} | {spent:.0f} | {load:.1f} |"
        )
    return [*lines, ""]


def drawing_lines(served: Served) -> list[str]:
    """Return the table from a changed length to its picture."""
    lines = [
        "## A change in the drawing of a run", "",
        "From the key that changes a length to the frame with its new picture, one key in 300 ms; and from the press of"
        " Keep it, with the change on the disk. Medians of 40 and of 12; \"server\" is its processor time for one, with"
        " what could lie in the part's place. Asked: below 100 ms.", "",
        "| run | change | median ms | 95 % | server, ms | load |", "|---|---|---:|---:|---:|---:|",
    ]  # fmt: skip
    for run, part, about in RUNS:
        for what, (found, spent) in drawn_times(served, run, part).items():
            lines.append(f"| {run} ({about}) | {what} | {_two(found)} | {spent:.0f} | {os.getloadavg()[0]:.1f} |")
    return [*lines, ""]


def drawn_times(served: Served, run: str, part: int) -> dict[str, tuple[list[float], float]]:
    """Change the length of a part by key, one step after the other, and keep some; return milliseconds."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as maker:
        browser = maker.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        page = browser.new_context(base_url=served.address, **DESK).new_page()
        page.goto("/runs")
        station = page.locator(".drawn-list .plain a").first.get_attribute("href").partition("station=")[2]
        page.goto(f"/runs/run?station={station}&run={quote(run)}&open={part}")
        page.wait_for_selector("#f-length")
        page.wait_for_load_state("networkidle")
        page.evaluate(WATCH_DRAWN)
        found = {}
        for what, times in (("tried", 40), ("kept", 12)):
            page.evaluate("window.took = []")
            before = served.spent_ms()
            for i in range(times):
                page.focus("#f-length")
                page.keyboard.press("ArrowUp")
                page.wait_for_function("(i) => window.took.length > i", arg=i)
                if what == "kept":
                    page.evaluate("window.took.pop()")
                    page.locator("#fields").get_by_text("Keep it", exact=True).click()
                    page.wait_for_function("(i) => window.took.length > i", arg=i)
                page.wait_for_timeout(300)
            found[what] = page.evaluate("window.took"), (served.spent_ms() - before) / times
        browser.close()
    return found


def _two(times: list[float]) -> str:
    return f"{statistics.median(times):.0f} | {sorted(times)[int(0.95 * len(times))]:.0f}"


def typed_to_updated(
    served: Served, key: str, device: dict, key_ms: float
) -> tuple[list[float], list[float], float, float]:
    """Type into a sheet of 60 lines until it is full, then correct every line.

    Return both times in milliseconds, bytes of an answer, and processor time of the server for a correction.
    """
    from playwright.sync_api import sync_playwright

    with sync_playwright() as maker:
        browser = maker.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        page = browser.new_context(base_url=served.address, **device).new_page()
        page.goto(f"/bench/at/{quote(key)}")
        page.evaluate(WATCH)
        first = typed(page, key_ms)
        sizes: list[int] = []
        page.on("response", lambda a: sizes.append(len(a.body())) if "/bench/read/" in a.url else None)
        before = served.spent_ms()
        then = typed(page, key_ms)
        spent = (served.spent_ms() - before) / len(then)
        browser.close()
    return first, then, statistics.median(sizes), spent


def typed(page: Any, key_ms: float) -> list[float]:
    """Type every line of the sheet by keyboard; where it holds the value already, a tenth of a watt more."""
    page.evaluate("window.took = []")
    for i in range(60):
        page.evaluate(AT_STEP, i + 1)
        value = reading_of(page.evaluate("document.activeElement.dataset.where"))
        again = page.evaluate("document.activeElement.value") == value
        page.keyboard.type(f"{float(value) + 0.1:.1f}" if again else value, delay=key_ms)
        page.keyboard.press("Enter")
        page.wait_for_function("(i) => window.took.length > i", arg=i)
    return page.evaluate("window.took")


def page_line(address: str, path: str) -> str:
    """Return one row: how long a page takes, what it weighs with style and scripts, and by itself."""
    times, alone = [], 0
    with httpx.Client(base_url=address, timeout=60, headers={"accept-encoding": "identity"}) as client:
        for _ in range(20):
            began = time.perf_counter()
            found = client.get(path)
            times.append(1e3 * (time.perf_counter() - began))
        alone, wanted = len(found.content), set(PARTS_OF.findall(found.text))
        if any(part.endswith(".js") for part in wanted):
            wanted.add("/static/parts.js")
        weight = alone + sum(len(client.get(part).content) for part in wanted)
    shown = path.split("/2", maxsplit=1)[0]
    return f"| `{shown}` | {statistics.median(times):.0f} | {weight / 1000:.0f} | {alone / 1000:.0f} |"


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
