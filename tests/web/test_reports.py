"""Reports from the app, and reports as pages of their own: in a real browser, from a file, without a barrier."""

from __future__ import annotations

from datetime import date
from importlib.resources import files
from itertools import product
from pathlib import Path
from urllib.parse import quote

import httpx2 as httpx
import pytest
from axe_playwright_python.sync_playwright import Axe

from linewright.files import read_bench_sheet
from linewright.present.writers.html import report_html
from linewright.verbs.prove import prove_cable
from linewright.verbs.report import ReportWish, report_of_file
from linewright.verbs.report_kept import report_of_piece
from linewright.verbs.shelf import file_sheet, keep_station, open_ledger
from report.made import crowded

NAMES = ("harbour-ridge.toml", "harbour-ridge.csv", "harbour-ridge-station.toml")
SESSION = "2026-04-02 Harbour Ridge club bench (invented)"
WIDTHS = (360, 1280, 2560)
DAY = date(2026, 4, 2)
KINDS = ("bench", "station", "piece", "crowd")
SCHEMES = ("light", "dark")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    for name in NAMES:
        (folder / name).write_bytes(files("linewright.verbs.demo_data").joinpath(name).read_bytes())
    return folder


@pytest.fixture(scope="module")
def filed(site, demo: Path) -> str:
    """File the invented sheet and station, and return the app's address."""
    with open_ledger(site.ledger) as ledger:
        file_sheet(ledger, demo / NAMES[0], on=DAY)
        keep_station(ledger, demo / NAMES[2])
    return site.address


@pytest.fixture(scope="module")
def pages(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return reports as files, one of them of very many pieces under names nobody should give."""
    folder = tmp_path_factory.mktemp("pages")
    sheet = read_bench_sheet(demo / NAMES[0])
    with open_ledger(folder / "ledger.sqlite") as ledger:
        file_sheet(ledger, demo / NAMES[0], on=DAY)
        piece = report_of_piece(ledger, "blue 7", ReportWish(DAY))
    documents = {
        "bench": report_of_file(demo / NAMES[0], ReportWish(DAY)),
        "station": report_of_file(demo / NAMES[2], ReportWish(DAY)),
        "piece": piece,
        "crowd": crowded((sheet, prove_cable(sheet)), pieces=12, bands=12),
    }
    found = {}
    for kind, document in documents.items():
        found[kind] = folder / f"{kind}.html"
        found[kind].write_bytes(report_html(document))
    return found


@pytest.mark.parametrize("form", ["pdf", "html"])
@pytest.mark.parametrize(
    ("kind", "key"), [("bench", SESSION), ("piece", "blue 7"), ("station", "Harbour Ridge station (invented)")]
)
def test_the_app_hands_out_the_same_report_each_time(filed: str, kind: str, key: str, form: str) -> None:
    address = f"{filed}/report/{kind}/{quote(key)}?form={form}&on=2026-04-02"
    first, again = (httpx.get(address, timeout=None) for _ in range(2))
    assert first.status_code == 200
    assert first.content == again.content
    assert first.content.startswith(b"%PDF" if form == "pdf" else b"<!doctype html>")
    assert first.headers["content-disposition"].startswith("attachment; filename*=UTF-8''")
    assert first.headers["content-disposition"].endswith(f"2026-04-02.{form}")


def test_a_report_of_nothing_and_in_no_known_manner_is_refused_in_words(filed: str) -> None:
    unknown = httpx.get(f"{filed}/report/piece/nobody")
    assert unknown.status_code == 422
    assert "must be one that is kept" in unknown.text
    odd = httpx.get(f"{filed}/report/piece/blue%207?language=xx")
    assert odd.status_code == 422
    assert "must be one of en, de" in odd.text


EVERY_DAY = {("bench", "dark"), ("station", "light"), ("piece", "dark")}


@pytest.mark.parametrize(
    ("kind", "scheme"),
    [pytest.param(*each, marks=[pytest.mark.slow] * (each not in EVERY_DAY)) for each in product(KINDS, SCHEMES)],
)
def test_no_barrier_in_either_theme(browser, pages: dict[str, Path], kind: str, scheme: str) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    page.goto(pages[kind].as_uri())
    found = Axe().run(page)
    context.close()
    assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize("kind", KINDS)
def test_a_page_fits_its_window_and_asks_for_nothing(browser, pages: dict[str, Path], kind: str) -> None:
    context = browser.new_context(offline=True)
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(pages[kind].as_uri())
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    context.close()
    assert asked == [pages[kind].as_uri()]
