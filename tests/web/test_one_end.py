"""One end in hand in the app: every way of reading, from a file, for a piece or a run, and kept as evidence."""

from __future__ import annotations

from urllib.parse import urlencode

import pytest
from starlette.datastructures import QueryParams
from starlette.testclient import TestClient

from linewright.verbs.shelf import add, evidence_of, open_ledger
from linewright.verbs.shelf_filing import keep_station
from linewright.web import requests as asked
from linewright.web.app import create_app
from linewright.web.one_end_requests import cells_of, told_in
from linewright.web.sessions import Settings

HERE = "/sweeps/one-end"
STATION = """
[station]
name = "Harbour Ridge"
[[run]]
name = "one line"
frequencies = ["144 MHz"]
power = "5 W"
chain = [{connector = "N", pairs = 1}, {piece = "mast"}]
antenna = {swr = 1.5}
[[run]]
name = "two lines"
frequencies = ["144 MHz"]
power = "5 W"
chain = [{line = "RG-58C/U", length = "2 m"}, {piece = "mast"}]
antenna = {swr = 1.5}
"""


@pytest.fixture
def visitor(tmp_path):
    (tmp_path / "s.toml").write_text(STATION, encoding="utf-8")
    with open_ledger(str(tmp_path / "ledger.sqlite")) as ledger:
        add(ledger, "piece", {"tag": "mast", "line": "RG-58C/U", "length": "15 m"})
        keep_station(ledger, tmp_path / "s.toml")
    client = TestClient(create_app(Settings(str(tmp_path / "ledger.sqlite"))), base_url="http://localhost:8731")
    client.token = client.get("/sweeps").text.split('name="token" content="')[1].split('"')[0]
    client.place = tmp_path / "ledger.sqlite"
    return client


def read(client, state, *readings):
    """Record readings one after the other; return the last page and its address."""
    answer = client.get(f"{HERE}?{urlencode(state)}")
    for reading in readings:
        now = QueryParams(answer.url.query.decode()).multi_items()
        answer = client.get(f"{HERE}?{urlencode([*now, *reading.items(), ('do', 'add')])}")
    return answer


def test_the_next_question_is_the_one_not_answered(visitor):
    assert "Which line is it?" in visitor.get(HERE).text
    assert "How is it read?" in visitor.get(f"{HERE}?of=piece:mast").text
    page = visitor.get(f"{HERE}?of=piece:mast&method=peaks").text
    assert "The first reading" in page
    assert "SWR at a peak" in page


WAYS = {
    "open": ([{"at": "144", "end": "open", "read": "7.1"}, {"at": "144", "end": "short", "read": "6.8"}],
             [{"frequency": "144 MHz", "far_end": "open", "swr": "7.1"},
              {"frequency": "144 MHz", "far_end": "short", "swr": "6.8"}]),
    "load": ([{"at": "14.2", "direct": "3.0", "read": "2.8"}],
             [{"frequency": "14.2 MHz", "far_end": "load", "swr": "2.8", "direct": "3.0"}]),
    "peaks": ([{"at": "160", "read": "12.5"}, {"at": "171", "read": "11.8"}],
              [{"frequency": "160 MHz", "far_end": "antenna", "swr": "12.5"},
               {"frequency": "171 MHz", "far_end": "antenna", "swr": "11.8"}]),
    "resonance": ([{"at": "14.2", "end": "short", "read": "5.7"}],
                  [{"frequency": "14.2 MHz", "far_end": "short", "resistance": "5.7 ohm"}]),
}  # fmt: skip


@pytest.mark.parametrize("method", WAYS)
def test_every_way_of_reading_says_what_the_command_says(visitor, method):
    typed, rows = WAYS[method]
    answer = read(visitor, {"of": "other", "line": "RG-58C/U", "length": "15 m", "method": method}, *typed)
    told = told_in(QueryParams(answer.url.query.decode()))
    assert [cells_of(r) for r in told.rows] == rows
    result = asked.prove(rows, {"line": "RG-58C/U", "length": "15 m"})
    assert str(result.why) in answer.text
    assert "Read so far" in answer.text


def test_a_reading_that_cannot_be_is_told_and_nothing_is_lost(visitor):
    state = {"of": "piece:mast", "method": "open"}
    answer = read(
        visitor, state, {"at": "144", "end": "open", "read": "7.1"}, {"at": "", "end": "short", "read": "6.8"}
    )
    assert "frequency" in answer.text.lower()
    assert 'role="alert"' in answer.text
    assert 'value="6.8"' in answer.text
    assert "144 MHz, open: SWR 7.1" in answer.text
    answer = read(visitor, state, {"at": "144", "end": "open", "read": "0.4"})
    assert "at least 1" in answer.text


def test_a_reading_can_be_taken_out(visitor):
    page = read(visitor, {"of": "piece:mast", "method": "open"}, *WAYS["open"][0])
    link = page.text.split('class="read-so-far"')[1].split('href="')[1].split('"')[0].replace("&amp;", "&")
    after = visitor.get(link).text
    assert after.count("Take it out") == 1
    assert "144 MHz, short: SWR 6.8" in after


def test_readings_come_from_a_file_too(visitor):
    text = "frequency,far_end,swr,direct\n144 MHz,open,7.1,\n144 MHz,short,6.8,\n50 MHz,load,2.4,3.1\n"
    sent = {"token": visitor.token, "query": "of=piece:mast"}
    page = visitor.post(f"{HERE}/file", data=sent, files={"readings": ("m.csv", text.encode())})
    assert page.text.count("Take it out") == 3
    assert "50 MHz, load: SWR 2.4, 3.1 directly" in page.text
    bad = visitor.post(f"{HERE}/file", data=sent, files={"readings": ("m.csv", b"frequency,far_end,swr\n144,open,7\n")})
    assert bad.status_code == 422
    assert "row 2" in bad.text


def test_the_instrument_and_the_impedance_count(visitor):
    state = {"of": "other", "method": "open"}
    usual = read(visitor, state, *WAYS["open"][0]).text
    fine = read(visitor, {**state, "directivity": "40 dB"}, *WAYS["open"][0]).text
    assert "The directivity is assumed to be 25 dB" in usual
    assert "The directivity is assumed to be 25 dB" not in fine


@pytest.mark.parametrize("of", ["piece:mast", "run:one line"])
def test_a_test_is_kept_as_evidence_of_its_piece(visitor, of):
    page = read(visitor, {"of": of, "method": "open"}, *WAYS["open"][0])
    assert "RG-58C/U should lose" in page.text
    assert "Keep it as evidence of mast" in page.text
    sent = {"token": visitor.token, "query": page.url.query.decode()}
    kept = visitor.post(f"{HERE}/keep", data=sent).text
    assert "Kept as evidence of" in kept
    with open_ledger(str(visitor.place)) as ledger:
        (evidence,) = evidence_of(ledger, "mast")
    assert evidence.kind == "sheet"
    assert (
        "mast, one end" in visitor.get("/shelf/piece/mast").text
        or "2 readings" in visitor.get("/shelf/piece/mast").text
    )


def test_a_run_of_several_lines_is_held_against_its_parts_and_kept_for_none(visitor):
    page = read(visitor, {"of": "run:two lines", "method": "open"}, *WAYS["open"][0]).text
    assert "By what is believed of its parts the run two lines loses" in page
    assert "keeps no test of its own" in page


def test_a_bare_test_is_kept_for_a_piece_that_is_chosen(visitor):
    page = read(visitor, {"of": "other", "method": "open"}, *WAYS["open"][0])
    assert "It is a test of" in page.text
    sent = {"token": visitor.token, "query": page.url.query.decode(), "piece": "mast"}
    assert "Kept as evidence of" in visitor.post(f"{HERE}/keep", data=sent).text
    assert visitor.post(f"{HERE}/keep", data={**sent, "piece": ""}).status_code == 422


def test_the_interface_for_programs_takes_a_piece(visitor):
    visitor.headers["x-linewright-token"] = visitor.get("/api/session").json()["token"]
    rows = [{"frequency": "144 MHz", "far_end": e, "swr": s} for e, s in (("open", "7.1"), ("short", "6.8"))]
    answer = visitor.post("/api/one-end", json={"readings": rows, "piece": "mast"}).json()
    assert answer["length_m"] == 15.0
    assert answer["ratio"] is not None
    both = visitor.post("/api/one-end", json={"readings": rows, "piece": "mast", "length": "3 m"})
    assert both.status_code == 422
