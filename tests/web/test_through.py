"""SWR through a line: a sentence to fill in, and both ends of the line drawn on one scale of what comes back."""

import html
import re
from itertools import pairwise

import numpy as np
import pytest
from playwright.sync_api import expect
from starlette.testclient import TestClient

from linewright.inference.load.seen import seen_swr
from linewright.verbs.shelf import add, open_ledger
from linewright.verbs.through import line_behind, see_through
from linewright.web.app import create_app
from linewright.web.sessions import Settings
from linewright.web.through_drawing import FOOT, TOP, headline, hidden, share, squeeze, written
from linewright.web.through_page import sentence_of
from web.conftest import EVERYONE, picture, sound

HOME = "http://localhost:8731"
ASKED = "/sweeps/through?behind=loss:&loss=5+dB&at=144.3+MHz&shack_swr=1.30&step=0.05"


@pytest.fixture(scope="module")
def visitor(tmp_path_factory):
    return TestClient(create_app(Settings(str(tmp_path_factory.mktemp("seen") / "l.sqlite"))), base_url=HOME)


def words(page):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page.text)).split())


def ends_of(path):
    """Return how high a path stands at the radio and at the antenna, as the share that comes back."""
    points = [tuple(map(float, p.split())) for p in re.findall(r"[ML]([\d.]+ [\d.]+)", path)]
    return [(FOOT - y) / (FOOT - TOP) for _, y in (points[0], points[-1])]


@pytest.mark.parametrize("loss_db", [0.5, 3.0, 6.0])
def test_along_the_line_what_comes_back_falls_by_twice_the_loss(loss_db):
    seen = see_through(seen_swr(1.3, 0.05), line_behind(loss_db=loss_db))
    drawn = squeeze(seen, 0.05, 0.056)
    for path, swr in zip(drawn.antennas, (1.5, 2.0, 3.0, 5.0, 10.0), strict=True):
        radio, antenna = ends_of(path)
        assert antenna == pytest.approx(share(swr), abs=1e-3)
        assert radio == pytest.approx(share(swr) * 10 ** (-seen.loss_db.value / 10), abs=1e-3)


def test_the_answer_stands_at_either_end_as_high_as_it_says():
    seen = see_through(seen_swr(1.3, 0.05), line_behind(loss_db=3.0))
    radio, antenna = ends_of(squeeze(seen, 0.05, 0.056).middle)
    assert radio == pytest.approx(share(1.3), abs=1e-3)
    assert antenna == pytest.approx(share(seen.antenna_swr.value), abs=1e-3)
    assert written(seen.antenna_swr.value) in squeeze(seen, 0.05, 0.056).antenna


def test_that_a_dummy_load_might_be_there_is_said_beside_the_figure():
    near, far = (see_through(seen_swr(at, 0.05), line_behind(loss_db=3.0)) for at in (1.03, 1.5))
    assert near.antenna_swr.low < 1.005 < far.antenna_swr.low
    assert headline(near) == f"At the antenna it is {written(near.antenna_swr.value)}"
    assert "dummy load" in hidden(near)
    assert "dummy load" not in hidden(far)


def test_marks_of_an_axis_never_stand_on_each_other():
    for loss_db in (0.2, 1.0, 3.0, 8.0, 15.0):
        drawn = squeeze(see_through(seen_swr(1.1, 0.01), line_behind(loss_db=loss_db)), 0.01, 0.056)
        for axis in (drawn.left, drawn.right):
            heights = sorted(3.84 * mark.y for mark in axis)
            assert all(b - a >= 19.9 for a, b in pairwise(heights))


def test_of_several_lines_the_sentence_holds_the_one_it_speaks_of():
    given = {"behind": "", "loss": "3 dB", "line": "RG-213/U", "length": "20 m", "at": ""}
    assert sentence_of(given) == {**given, "behind": "loss:", "line": "", "length": ""}
    assert sentence_of({**given, "behind": "type:"})["loss"] == ""
    assert sentence_of({**given, "behind": "piece:blue 7"}) | {} == {
        **given,
        "behind": "piece:blue 7",
        "loss": "",
        "line": "",
        "length": "",
    }


def test_who_has_a_shelf_types_the_swr_and_nothing_else(tmp_path):
    where = str(tmp_path / "l.sqlite")
    with open_ledger(where) as ledger:
        add(ledger, "piece", {"tag": "grey 12", "line": "RG-213/U", "length": "12 m"})
    app = TestClient(create_app(Settings(where)), base_url=HOME)
    page = app.get("/sweeps/through").text
    assert '<option value="piece:grey 12" selected>' in page
    assert 'name="at" value="144.3 MHz"' in page
    told = words(app.get("/sweeps/through?behind=piece:grey+12&at=144.3+MHz&shack_swr=1.5"))
    assert "At the antenna it is 1." in told
    assert '<option value="piece:grey 12" selected>' not in app.get("/sweeps/through?behind=type:").text


def test_the_page_has_the_figures_of_the_command_and_says_what_would_tell_more(visitor):
    page = visitor.get(ASKED)
    seen = see_through(seen_swr(1.3, 0.05, frequency_hz=np.array([144.3e6])), line_behind(loss_db=5.0, at_hz=144.3e6))
    assert f"At the antenna it is {written(seen.antenna_swr.value)}" in words(page)
    assert "A better bridge" in words(page)
    assert "Reading finer" in words(page)
    better = re.search(r'href="(/sweeps/through[^"]*directivity=40\+dB[^"]*)"', page.text)
    assert better
    assert "At the antenna it is" in words(visitor.get(html.unescape(better[1])))


@pytest.mark.parametrize("typed", ["shack_swr=0.5", "shack_swr=many", "loss=-3", "at=long", "step=x", "directivity=x"])
def test_every_entry_is_answered_and_kept(visitor, typed):
    name = typed.partition("=")[0]
    page = visitor.get(f"{ASKED}&{typed}")
    assert page.status_code == 200
    assert 'class="over"' in page.text or name == "directivity"


def test_the_sentence_is_filled_in_and_the_drawing_moves(visit):
    visit.goto("/sweeps/through")
    visit.wait_for_load_state()
    visit.select_option("#behind", "loss:")
    visit.fill("#loss", "5")
    visit.fill("#shack_swr", "1.3")
    expect(visit.locator("#verdict")).to_contain_text("At the antenna it is")
    before = visit.inner_text("#verdict")
    visit.focus("#move")
    visit.keyboard.press("ArrowRight")
    expect(visit.locator("#verdict")).not_to_have_text(before)
    assert visit.input_value("#shack_swr") == "1.35"


@EVERYONE
def test_it_is_sound_for_everyone(visit, paper):
    visit.emulate_media(color_scheme=paper)
    visit.goto(ASKED)  # test_every_page looks at the empty one
    sound(visit)
    picture(visit, f"through-{paper}")
