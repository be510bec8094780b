"""An old notebook's table: pasted from a spreadsheet, its columns matched, kept whole or not at all."""

from __future__ import annotations

import re

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import expect

from linewright.verbs.shelf import add, all_kept, open_ledger, readings_of, sheet_of
from linewright.web.app import create_app
from linewright.web.pages.bench_paste import table_of
from linewright.web.sessions import Settings
from web.bench_helpers import bench_of
from web.conftest import fits, free_port, picture

LONG = """Meter\tBand\tThrough\tReading\tRemark
desk meter\t14.2\tref\t9,3\t
desk meter\t14.2\tBlue 7\t8,2\tsunny
desk meter\t2m\tref\t8,9\t
desk meter\t2m\tblue 7\t<0,5\t
"""
WIDE = "Kabel;14,2;144,3 MHz\nReferenz;9,3;8,9\nblue 7;8,2;6,1\nblue 7 + blue 18;5,8;\n"


@pytest.fixture
def station(tmp_path):
    port, where = free_port(), tmp_path / "ledger.sqlite"
    app = create_app(Settings(str(where), port))
    with TestClient(app, base_url=f"http://localhost:{port}") as client, open_ledger(where) as ledger:
        yield client, ledger


def sent(client, table, do="keep", session="", **told):
    page = client.get("/bench/paste").text
    token = page.partition('name="token" content="')[2].partition('"')[0]
    return client.post("/bench/paste", data={"token": token, "table": table, "do": do, "session": session, **told})


def test_one_reading_in_a_row_becomes_a_session_of_its_day(station):
    client, ledger = station
    add(ledger, "piece", {"tag": "blue 7", "line": "RG-58C/U", "length": "7.2 m"})
    page = sent(client, LONG, "match").text
    assert "Keep 4 readings" in page
    assert "desk meter is new: a meter" in page
    assert all_kept(ledger, "sheet") == ()
    assert sent(client, LONG, on="2019-04-02", newmeter0_division="0.1", title="Old book").status_code == 200
    (item,) = all_kept(ledger, "sheet")
    assert (item.body["measured_on"], item.body["title"]) == ("2019-04-02", "Old book")
    sheet = sheet_of(ledger, item.key)
    assert [(r.path, r.frequency_hz, r.reading) for r in sheet.readings] == [
        ((), 14.2e6, 9.3), (("blue 7",), 14.2e6, 8.2), ((), 144.3e6, 8.9), (("blue 7",), 144.3e6, 0.0)
    ]  # fmt: skip
    assert sheet.readings[3].high == 0.5
    assert sheet.meters[0].division == 0.1


def test_bands_across_are_readings_of_the_meter_that_is_named(station):
    client, ledger = station
    assert sent(client, WIDE).status_code == 422
    answer = sent(client, WIDE, the_meter="pocket meter", newpiece0_length="7,2", newpiece0_line="RG-58C/U")
    assert answer.status_code == 422  # blue 18 has no length yet
    assert 'id="newpiece1_length-wrong"' in answer.text
    assert all_kept(ledger, "sheet") == all_kept(ledger, "piece") == ()
    lengths = {"newpiece0_length": "7,2", "newpiece1_length": "17,9", "newpiece0_line": "RG-58C/U"}
    assert sent(client, WIDE, the_meter="pocket meter", **lengths).status_code == 200
    (item,) = all_kept(ledger, "sheet")
    assert [r.cells["path"] for r in readings_of(ledger, item.key)] == [
        "reference", "reference", "blue 7", "blue 7", "blue 7+blue 18"
    ]  # fmt: skip


def test_a_column_may_be_taken_for_another_thing(station):
    client, _ = station
    table = "what;where;how much\nref;14.2;9.3\n"
    assert "Say which column" in sent(client, table, "match").text
    roles = {"column0": "path", "column1": "frequency", "column2": "reading", "heads": "what\twhere\thow much"}
    assert "Keep 1 reading" in sent(client, table, "match", **roles).text


def test_a_wrong_row_is_named_and_nothing_is_kept(station):
    client, ledger = station
    add(ledger, "piece", {"tag": "blue 7", "length": "7.2 m"})
    for bad in ("desk meter\t14.2\tblue 7\tnine\t\n", "desk meter\tsoon\tblue 7\t8\t\n"):
        answer = sent(client, LONG + bad)
        assert answer.status_code == 422
        assert "Row 6" in answer.text
    for kind in ("sheet", "meter"):
        assert all_kept(ledger, kind) == ()


def test_a_table_is_added_to_a_session_once_however_often_it_is_sent(station, tmp_path):
    client, ledger = station
    key = bench_of(tmp_path / "ledger.sqlite")
    for _ in range(2):
        assert sent(client, LONG, session=key).status_code == 200
    assert len(readings_of(ledger, key)) == 4
    answer = sent(client, LONG.replace("Blue 7", "red 5"), session=key)
    assert answer.status_code == 422
    assert re.search(r"Row 3: path must be", answer.text)
    assert len(readings_of(ledger, key)) == 4


@pytest.mark.parametrize("text", ["", "one\n", '"open\n', "a;b;c\n" * 3000, "\x00;\x01\n1;2\n", ";;;\n;;;\n"])
def test_any_text_is_answered(station, text):
    client, ledger = station
    assert sent(client, text, "match").status_code in (200, 422)
    assert sent(client, text).status_code == 422
    assert table_of(text).cells == []
    assert all_kept(ledger, "sheet") == ()


def test_pasted_in_the_browser_its_columns_are_matched_on_the_page(visit, site):
    with open_ledger(site.ledger) as ledger:
        before = len(all_kept(ledger, "sheet"))
    visit.goto("/bench/paste")
    visit.wait_for_load_state()
    visit.fill("#table", WIDE)
    expect(visit.locator("#column1")).to_have_value("at")
    visit.fill("#the_meter", "desk meter")
    held = []
    visit.route("**/bench/paste", lambda route: held.append(route))  # noqa: PLW0108 - its arguments are counted
    with visit.expect_request("**/bench/paste"):
        visit.locator("#the_meter").press("Tab")
    lengths = visit.locator("[id^=newpiece][id$=_length]")
    for n in range(lengths.count()):
        lengths.nth(n).fill(("7.2", "17.9")[n])
    late = held.pop()  # an earlier question is given up for a later one
    late.continue_()
    visit.unroute("**/bench/paste")
    expect(visit.locator("#matched")).not_to_have_attribute("aria-busy", "true")
    asked = lengths.count()  # none where the ledger knows the pieces already
    assert [lengths.nth(n).input_value() for n in range(asked)] == ["7.2", "17.9"][:asked]
    picture(visit, "bench-paste")
    assert fits(visit)
    visit.get_by_role("button", name="Keep 5 readings").click()
    visit.wait_for_url("**/bench/at/**")
    expect(visit.locator("[data-reading]").first).to_have_value("9,3")
    with open_ledger(site.ledger) as ledger:
        assert len(all_kept(ledger, "sheet")) == before + 1
