"""What reports are made of: the invented demo, judged, planned and filed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from functools import cache
from importlib.resources import files
from pathlib import Path

import pytest

from linewright.core.locale import ENGLISH, Manner
from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.bench_result import BenchResult
from linewright.core.nouns.plan import Plan
from linewright.core.nouns.station import Station
from linewright.present.compose.bench import bench_report
from linewright.present.compose.station import station_report
from linewright.present.document import Document
from linewright.present.writers.paper import report_pdf
from report.made import DAY, MADE


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the demo's own files."""
    folder = tmp_path_factory.mktemp("demo")
    for name in ("harbour-ridge.toml", "harbour-ridge.csv", "harbour-ridge-station.toml"):
        (folder / name).write_bytes(files("linewright.verbs.demo_data").joinpath(name).read_bytes())
    return folder


@pytest.fixture(scope="session")
def bench(demo: Path) -> tuple[BenchSheet, BenchResult]:
    """Return the demo's sheet and what it says."""
    from linewright.files import read_bench_sheet
    from linewright.verbs.prove import prove_cable

    sheet = read_bench_sheet(demo / "harbour-ridge.toml")
    return sheet, prove_cable(sheet)


@pytest.fixture(scope="session")
def station(demo: Path) -> tuple[Station, Plan]:
    """Return the demo's station and its plan."""
    from linewright.files.station import read_station
    from linewright.verbs.plan import plan_station

    found = read_station(demo / "harbour-ridge-station.toml")
    return found, plan_station(found)


@pytest.fixture(scope="session")
def ledger(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Return a ledger that holds two tests of the demo's pieces, a note and a change."""
    from linewright.verbs.shelf import add_note, change, file_sheet, open_ledger

    where = str(tmp_path_factory.mktemp("ledger") / "ledger.sqlite")
    again = demo / "again.toml"
    again.write_text((demo / "harbour-ridge.toml").read_text().replace("club bench", "spring bench"))
    with open_ledger(where) as found:
        file_sheet(found, demo / "harbour-ridge.toml", on=date(2025, 3, 1))
        file_sheet(found, again, on=date(2026, 3, 20))
        add_note(found, "piece", "blue 7", "Jacket nicked near the tag (invented).")
        change(found, "piece", "blue 7", {"exposure": "outdoors"})
    return where


@pytest.fixture(scope="session")
def documents(
    bench: tuple[BenchSheet, BenchResult], station: tuple[Station, Plan], ledger: str
) -> dict[str, Document]:  # fmt: skip
    """Return the three reports of the demo."""
    from linewright.verbs.report import ReportWish
    from linewright.verbs.report_kept import report_of_piece
    from linewright.verbs.shelf import open_ledger

    with open_ledger(ledger) as found:
        piece = report_of_piece(found, "blue 7", ReportWish(DAY))
    return {"bench": bench_report(*bench, MADE), "station": station_report(*station, MADE), "piece": piece}


@pytest.fixture(scope="session")
def paper_of(documents: dict[str, Document]) -> Callable[..., bytes]:
    """Return what gives a report of the demo on paper, with its appendix unless not, set once for all tests."""

    @cache
    def made(kind: str, paper: str = "a4", manner: Manner = ENGLISH, appendix: bool = True) -> bytes:
        return report_pdf(documents[kind] if appendix else documents[kind].letter(), manner, paper=paper)

    return made
