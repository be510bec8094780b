"""Pictures that answer: points are read by pointer and keys, lead to what stands behind them, are saved as files."""

import csv
import io
import json
import re
import threading
from dataclasses import replace
from html import unescape

import pytest
from playwright.sync_api import expect
from starlette.testclient import TestClient

from linewright.present.charts.piece import years_chart
from linewright.present.charts.render import to_svg
from linewright.verbs.chart import table_of
from linewright.verbs.history import history_of
from linewright.verbs.shelf import file_sheet, open_ledger
from linewright.web.app import create_app
from linewright.web.bench_cache import Judgements
from linewright.web.pictures import ENLARGED
from linewright.web.sessions import Settings
from web.test_api import DEMO


@pytest.fixture(scope="module")
def where(tmp_path_factory):
    path = str(tmp_path_factory.mktemp("pictures") / "ledger.db")
    with open_ledger(path) as ledger:
        file_sheet(ledger, DEMO / "harbour-ridge.toml")
    return path


@pytest.fixture(scope="module")
def visitor(where):
    return TestClient(create_app(Settings(where)), base_url="http://localhost:8731")


@pytest.fixture(scope="module")
def session(visitor):
    return re.search(r'/bench/said/([^"]+)"', visitor.get("/shelf/piece/blue 7").text)[1]


def test_letters_have_13_px_at_least_on_the_page(visitor, session):
    for at in (
        "/shelf/chart/blue 7",
        "/shelf/chart/blue 7?kind=years",
        *(f"/bench/chart/{k}/{session}" for k in KINDS),
    ):
        svg = visitor.get(at).text
        sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)px"', svg)]
        assert sizes, at
        assert min(sizes) * ENLARGED >= 13, at


KINDS = ("loss", "doubts", "trust", "pull")


def test_a_chart_waits_for_what_it_shows(visitor, session, monkeypatch):
    judged, asked, over = Judgements.bench, [], threading.Event()

    def late(self, ledger, key, **how):
        found = judged(self, ledger, key, **how)
        asked.append(key)
        if len(asked) > 1:
            return found
        work = self.works.begin("late", "Late", "/", lambda _: over.wait())
        threading.Timer(0.05, over.set).start()
        return replace(found, result=None, pending=work)

    monkeypatch.setattr(Judgements, "bench", late)
    answer = visitor.get(f"/bench/chart/loss/{session}")
    assert (answer.status_code, len(asked)) == (200, 2)
    assert "graphics-symbol" in answer.text


def test_a_chart_of_what_was_stopped_says_so(visitor, session, monkeypatch):
    def stopped(self, ledger, key, **how):
        work = self.works.begin("stopped", "Stopped", "/", lambda tell: (over.wait(), tell(0.5, "late")))
        work.stop()
        over.set()
        return replace(judged(self, ledger, key, **how), result=None, pending=work)

    judged, over = Judgements.bench, threading.Event()
    monkeypatch.setattr(Judgements, "bench", stopped)
    answer = visitor.get(f"/bench/chart/loss/{session}")
    assert answer.status_code == 503
    assert "still being worked out" in answer.text


def test_a_picture_says_what_its_points_tell_and_where_they_lead(visitor):
    svg = visitor.get("/shelf/chart/blue 7").text
    told = [
        unescape(t)
        for t in re.findall(r'aria-label="([^"]*)" role="graphics-symbol" aria-roledescription="reading"', svg)
    ]
    assert any(re.fullmatch(r"144\.3 MHz: 2\.\d+ dB \([\d.]+ to [\d.]+\)", t) for t in told)
    leads = json.loads(unescape(re.search(r'data-leads="([^"]*)"', svg)[1]))
    assert set(leads) <= set(told)
    page = visitor.get("/shelf/piece/blue 7").text
    for to in leads.values():
        if to != "#loss-at-50100000" or 'id="loss-at-50100000"' in page:
            assert to.startswith("#loss-at-")
    years = visitor.get("/shelf/chart/blue 7?kind=years").text
    (to,) = json.loads(unescape(re.search(r'data-leads="([^"]*)"', years)[1])).values()
    assert visitor.get(to).status_code == 200


def test_two_drawings_on_a_page_share_no_names(visitor):
    ids = [
        set(re.findall(r'id="([^"]+)"', visitor.get(f"/shelf/chart/blue 7?kind={k}").text)) for k in ("loss", "years")
    ]
    assert ids[0]
    assert not ids[0] & ids[1]


@pytest.mark.parametrize(
    ("form", "begins"), [("svg", b"<svg"), ("png", b"\x89PNG"), ("csv", b"loss_db,"), ("vl.json", b"{")]
)
def test_a_picture_is_saved_as_a_file(visitor, form, begins):
    answer = visitor.get(f"/shelf/chart/blue 7?form={form}")
    assert answer.content.startswith(begins)
    assert f"blue%207%20loss.{form}" in answer.headers["content-disposition"]
    assert visitor.get("/shelf/chart/blue 7?form=exe").status_code == 422


def test_figures_saved_are_those_drawn(visitor):
    rows = list(csv.DictReader(io.StringIO(visitor.get("/shelf/chart/blue 7?form=csv").text)))
    assert any(row["band"] == "144.3 MHz" and float(row["loss_db"]) > 1 for row in rows)


def test_pieces_and_meters_are_left_out(visitor, session):
    def told(query=""):
        svg = visitor.get(f"/bench/chart/loss/{session}{query}").text
        assert '"blue 7"' in unescape(re.search(r'data-series="([^"]*)"', svg)[1])
        return re.findall(r'aria-label="([^"]*)"', svg)

    assert any("pocket meter" in t for t in told())
    assert not any("pocket meter" in t for t in told("?without=pocket%20meter"))
    assert len(told("?without=blue%207")) < len(told())


def test_the_years_show_a_step_where_one_is_likeliest_and_what_a_new_piece_loses(where):
    from dataclasses import replace

    from linewright.core.nouns.shelf import PieceChange

    with open_ledger(where) as ledger:
        history = history_of(ledger, "blue 7")
    at_hz = history.points[0].frequency_hz
    new = next(x.loss_db / x.ratio for x in history.piece.losses if x.frequency_hz == at_hz)
    levels = [row for row in table_of(years_chart(history)) if "times" in row]
    assert [row["times"] for row in levels] == [1.0, 1.25, 1.5]
    assert levels[0]["loss_db"] == pytest.approx(new)
    stepped = replace(history, changes=(PieceChange("step", 0.8, "2023-04-30", "2024-05-05"),))
    for found, many in (
        (history, 0),
        (stepped, 1),
        (replace(stepped, changes=(replace(stepped.changes[0], p=0.3),)), 0),
    ):
        assert sum("until" in row for row in table_of(years_chart(found))) == many
    assert "a step lies between these tests" in to_svg(years_chart(stepped))


def told_along(svg):
    """Return what is told along each line of a drawing."""
    return {n: x["told"] for n, x in json.loads(unescape(re.search(r'data-lines="([^"]*)"', svg)[1])).items()}


def test_between_its_points_a_line_tells_what_the_law_says_there(visitor, session):
    svg = visitor.get("/shelf/chart/blue 7").text
    lines = list(told_along(svg).values())
    assert any(all(t.startswith("as the type specifies, ") for t in told if t) for told in lines)
    believed = next(told for told in lines if told[0].startswith("by the law, "))
    assert len(believed) >= 60
    found = [re.fullmatch(r"by the law, ([\d.]+) (k|M)Hz: ([\d.]+) dB \(([\d.]+) to ([\d.]+)\)", t) for t in believed]
    assert all(float(m[4]) <= float(m[3]) <= float(m[5]) for m in found)
    with_bench = told_along(visitor.get(f"/bench/chart/loss/{session}").text)
    assert sum(told[0].startswith("by the law, ") for told in with_bench.values()) == 3


def test_what_a_line_tells_is_what_is_believed_at_that_frequency(where, visitor):
    import numpy as np

    from linewright.verbs.shelf import belief_of_piece

    with open_ledger(where) as ledger:
        belief = belief_of_piece(ledger, "blue 7").belief
    believed = next(
        t for t in told_along(visitor.get("/shelf/chart/blue 7").text).values() if t[0].startswith("by the")
    )
    for told in believed[5::20]:
        mhz, loss, low, high = map(float, re.findall(r"[\d.]+", told))
        ends = np.quantile(belief.loss_db(mhz * 1e6), [0.5, 0.025, 0.975])
        assert [loss, low, high] == pytest.approx(ends, abs=0.06)


def test_a_line_is_read_between_its_points_by_pointer_and_keys(visit, site):
    with open_ledger(site.ledger) as ledger:
        file_sheet(ledger, DEMO / "harbour-ridge.toml")
    visit.goto("/shelf/piece/blue%207")
    visit.locator("#against").scroll_into_view_if_needed()
    box = visit.locator(".answers").filter(has=visit.locator("[aria-label*='against frequency']"))
    expect(box.locator(".drawn.live")).to_have_count(1)
    line = box.locator('[aria-roledescription="along"]').last
    line.scroll_into_view_if_needed()
    at = line.bounding_box()
    visit.mouse.move(at["x"] + 0.8 * at["width"], at["y"] - 10)
    expect(box.locator(".reading")).to_contain_text("by the law, ")
    expect(box.locator(".cursor")).to_have_count(1)
    here = box.locator(".reading").inner_text()
    box.locator(".drawn.live").focus()
    visit.keyboard.press("ArrowRight")
    expect(box.locator(".reading")).not_to_have_text(here)
    right = box.locator(".reading").inner_text()
    visit.keyboard.press("ArrowLeft")
    expect(box.locator(".reading")).not_to_have_text(right)
    visit.keyboard.press("ArrowUp")
    expect(box.locator(".cursor")).to_have_count(0)


def test_a_point_is_read_by_keys_and_pointer_and_leads_to_its_working(visit, site):
    with open_ledger(site.ledger) as ledger:
        file_sheet(ledger, DEMO / "harbour-ridge.toml")
    visit.goto("/shelf/piece/blue%207")
    visit.locator("#against").scroll_into_view_if_needed()
    box = visit.locator(".answers").filter(has=visit.locator("[aria-label*='against frequency']"))
    drawn = box.locator(".drawn.live")
    expect(drawn).to_have_count(1)
    drawn.focus()
    visit.keyboard.press("End")
    expect(box.locator(".reading")).to_contain_text("432.1 MHz: ")
    visit.keyboard.press("ArrowUp")
    expect(box.locator(".reading")).to_contain_text("144.3 MHz: ")
    visit.keyboard.press("Enter")
    expect(visit.locator("#loss-at-144300000")).to_have_attribute("open", "")
    mark = box.locator('[aria-label^="14.2 MHz"]')
    mark.scroll_into_view_if_needed()
    at = mark.bounding_box()
    visit.mouse.move(at["x"] + at["width"] / 2, at["y"] + at["height"] / 2)
    expect(box.locator(".reading")).to_contain_text("14.2 MHz: ")
    wide = visit.evaluate(
        "() => { const s = document.querySelector('.drawn svg'); return [s.clientWidth, s.parentNode.clientWidth] }"
    )
    assert wide[0] == wide[1]
