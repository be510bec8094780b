"""How long a report takes: a command from nothing, and each step of it within a process that has made one before.

``python benchmarks/report_speed.py [--write]``; the processor's time stands beside the clock's, for a machine that has
other work.
"""

from __future__ import annotations

import argparse
import io
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from importlib.resources import files
from pathlib import Path

from linewright.present.document import Document

RESULTS = Path(__file__).with_name("report_results.md")
NAMES = ("harbour-ridge.toml", "harbour-ridge.csv", "harbour-ridge-station.toml")
SHEETS = {"bench": "harbour-ridge.toml", "station": "harbour-ridge-station.toml"}
ENDINGS = (".pdf", ".html")
ROUNDS = 7


def timed(work: Callable[[], object], rounds: int = ROUNDS) -> tuple[float, float]:
    """Return the median time of some work by the clock and by the processor, in seconds."""
    clock, processor = [], []
    for _ in range(rounds):
        start = time.perf_counter(), time.process_time()
        work()
        clock.append(time.perf_counter() - start[0])
        processor.append(time.process_time() - start[1])
    return statistics.median(clock), statistics.median(processor)


def cold(folder: Path, name: str, ending: str) -> tuple[float, float]:
    """Return the time of the command in a process of its own, by the clock and by the processor."""
    import resource

    out = folder / f"out{ending}"
    asked = [sys.executable, "-m", "linewright", "report", str(folder / name), "-o", str(out), "--date", "2026-04-02"]
    clock, processor = [], []
    for _ in range(ROUNDS):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        start = time.perf_counter()
        subprocess.run(asked, check=True, capture_output=True)
        clock.append(time.perf_counter() - start)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        processor.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return statistics.median(clock), statistics.median(processor)


def rows(folder: Path) -> list[tuple[str, str, float, float]]:
    """Return (report, step, clock, processor) of everything that is timed."""
    from linewright.present.writers import drawings
    from linewright.present.writers.html import report_html
    from linewright.present.writers.paper import report_pdf
    from linewright.verbs.report import ReportWish, report_of_file

    asked, found = ReportWish(date(2026, 4, 2)), []
    for kind, name in SHEETS.items():
        for ending in ENDINGS:
            found.append((kind, f"command, cold, {ending}", *cold(folder, name, ending)))
        document = report_of_file(folder / name, asked)
        report_pdf(document)

        def anew(document: Document = document) -> None:
            drawings._drawn.cache_clear()
            report_pdf(document)

        def whole(name: str = name) -> None:
            report_pdf(report_of_file(folder / name, asked))

        found += [
            (kind, "judged and composed, warm", *timed(lambda name=name: report_of_file(folder / name, asked))),
            (kind, "set as PDF, warm", *timed(lambda document=document: report_pdf(document))),
            (kind, "set as PDF, every chart drawn anew", *timed(anew)),
            (kind, "set as HTML, warm", *timed(lambda document=document: report_html(document))),
            (kind, "from file to PDF, warm", *timed(whole)),
        ]
    return found


def pages(folder: Path, name: str) -> int:
    """Return how many pages a report has."""
    import pypdf

    from linewright.present.writers.paper import report_pdf
    from linewright.verbs.report import ReportWish, report_of_file

    return len(
        pypdf.PdfReader(io.BytesIO(report_pdf(report_of_file(folder / name, ReportWish(date(2026, 4, 2)))))).pages
    )


def main() -> None:
    """Time reports of the invented demo and show the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="keep the table in report_results.md")
    write = parser.parse_args().write
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for name in NAMES:
            (folder / name).write_bytes(files("linewright.verbs.demo_data").joinpath(name).read_bytes())
        count = ", ".join(f"{kind} {pages(folder, name)} pages" for kind, name in SHEETS.items())
        lines = [f"| {k} | {step} | {clock:.2f} | {cpu:.2f} |" for k, step, clock, cpu in rows(folder)]
    head = ["# How long a report takes", "", f"Medians of {ROUNDS}. The invented demo: {count}.", ""]
    table = ["| report | step | clock, s | processor, s |", "|---|---|---:|---:|", *lines]
    text = "\n".join([*head, *table]) + "\n"
    print(text)
    if write:
        RESULTS.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
