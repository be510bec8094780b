"""The page of lengths: lines of the shelf and handed in, compared and cut; labels, and what was cut kept."""

from datetime import date

import pytest
from starlette.testclient import TestClient

import linewright as lw
from evidence.made_sweeps import Made
from linewright.verbs.cut import kept_lines, over, plan_cut
from linewright.verbs.shelf import add, file_sweep, kept, open_ledger
from linewright.web.app import create_app
from linewright.web.sessions import Settings
from web.conftest import fits, picture

HOME = "http://localhost:8731"
MADE = {"red 1": Made(k1_db=0.14, length_m=7.0, points=201, stop_hz=300e6),
        "red 2": Made(k1_db=0.142, length_m=7.1, points=201, stop_hz=300e6)}  # fmt: skip
BOTH = "/sweeps/cut?piece=red+1&piece=red+2&at=145"


def keep_both(where, folder):
    """Keep two swept pieces in a ledger."""
    with open_ledger(str(where)) as ledger:
        for tag, made in MADE.items():
            add(ledger, "piece", {"tag": tag, "line": "RG-58C/U", "length": f"{made.length_m} m"})
            lw.write_touchstone(made.through(), folder / f"{tag}.s2p")
            file_sweep(ledger, folder / f"{tag}.s2p", tag, on=date(2026, 4, 1))


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    place = tmp_path_factory.mktemp("cut")
    keep_both(place / "ledger.sqlite", place)
    return place


@pytest.fixture(scope="module")
def visitor(shelf):
    client = TestClient(create_app(Settings(str(shelf / "ledger.sqlite"))), base_url=HOME)
    client.token = client.get("/sweeps").text.split('name="token" content="')[1].split('"')[0]
    return client


def test_two_pieces_of_the_shelf_are_compared_as_by_the_command(visitor, shelf):
    text = visitor.get(BOTH).text
    with open_ledger(str(shelf / "ledger.sqlite")) as ledger:
        result = plan_cut(kept_lines(ledger, ["red 1", "red 2"], [145e6]), over([145e6]))
    assert str(result.verdict) in text
    assert 'class="length-off"' in text
    assert "Label with what to trim" in text


def test_a_line_handed_in_is_compared_with_one_of_the_shelf(visitor, shelf):
    one, other = (Made(k1_db=0.14, length_m=m, points=201, stop_hz=300e6) for m in (7.05, 7.2))
    opened, shorted = shelf / "mast open.s1p", shelf / "mast short.s1p"
    lw.write_touchstone(one.ended(1), opened)
    lw.write_touchstone(one.ended(-1), shorted)
    lw.write_touchstone(other.through(), shelf / "third.s2p")
    files = [("files", (p.name, p.read_bytes())) for p in (opened, shorted, shelf / "third.s2p")]
    answer = visitor.post("/sweeps", files=files, data={"token": visitor.token, "of": "cut"})
    assert "/sweeps/cut" in str(answer.url)
    page = visitor.get(f"{answer.url}&piece=red+1&at=145").text
    assert "mast open.s1p + mast short.s1p" in page
    assert "third.s2p is" in page
    assert "Against the shortest" in page


def test_a_length_a_stub_and_sets_are_answered(visitor):
    line = visitor.get("/sweeps/cut?piece=red+1&at=145&want=line&to=3%2F4+wave&load=50&side_by_side=2").text
    assert "2 of them, each with 50, side by side" in line
    assert "quarter wave" in visitor.get("/sweeps/cut?piece=red+1&at=14.1&want=open").text
    assert "As a stub" in visitor.get("/sweeps/cut?piece=red+1&at=14.1&want=short").text
    assert "go together" in visitor.get(f"{BOTH}&want=sets").text
    assert "trim 100 mm from red 2" in " ".join(visitor.get(f"{BOTH}&want=sets").text.split()).replace(
        " (97 to 103)", ""
    )


def test_what_is_not_yet_enough_asks_and_what_is_wrong_is_told(visitor):
    assert "Choose two or more pieces" in visitor.get("/sweeps/cut").text
    assert "Choose two or more pieces" in visitor.get("/sweeps/cut?piece=red+1&at=145").text
    assert "electrical length" in visitor.get("/sweeps/cut?piece=red+1&at=145&want=line&to=a+mile").text
    assert "within the sweep" not in visitor.get(BOTH).text


def test_a_label_comes_as_a_pdf(visitor):
    answer = visitor.get(BOTH.replace("/cut?", "/cut/label?"))
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")


def test_what_was_cut_is_kept_on_the_shelf(shelf, tmp_path):
    keep_both(tmp_path / "ledger.sqlite", tmp_path)
    client = TestClient(create_app(Settings(str(tmp_path / "ledger.sqlite"))), base_url=HOME)
    token = client.get("/sweeps").text.split('name="token" content="')[1].split('"')[0]
    answer = client.post("/sweeps/cut/keep", data={"token": token, "query": BOTH.partition("?")[2]})
    assert "red 2 a" in answer.text
    with open_ledger(str(tmp_path / "ledger.sqlite")) as ledger:
        assert float(kept(ledger, "piece", "red 2 a").body["length"].split()[0]) == pytest.approx(7.0, abs=0.003)


def test_the_page_follows_a_finger_and_fits_its_screen(visit, site, tmp_path):
    with open_ledger(str(site.ledger)) as ledger:
        empty = not any(True for _ in ledger_pieces(ledger))
    if empty:
        keep_both(site.ledger, tmp_path)
    visit.goto("/sweeps/cut")
    visit.get_by_label("red 1").check()
    visit.get_by_label("red 2").check()
    visit.get_by_label("Frequency, MHz").fill("145")
    visit.get_by_text("Against the shortest").wait_for()
    visit.get_by_label("To do").select_option("line")
    visit.get_by_label("How long").fill("half wave")
    visit.get_by_text("Where to cut", exact=True).wait_for()
    assert visit.get_by_label("How many go together").is_hidden()
    assert fits(visit)
    low = "label.lone-tick, #result button, #result .button, .what-if select, .what-if input:not([type=hidden])"
    heights = visit.evaluate(
        f"[...document.querySelectorAll('{low}')].filter(e => e.offsetHeight && !['checkbox'].includes(e.type))"
        ".map(e => e.getBoundingClientRect().height)"
    )
    assert min(heights) >= 43.9
    picture(visit, "cut")


def ledger_pieces(ledger):
    from linewright.verbs.shelf import all_kept

    return all_kept(ledger, "piece")
