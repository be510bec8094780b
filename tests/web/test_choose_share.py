"""Choosing a line and sharing out the shelf in the app: the commands' figures, the address, keyboard and phone."""

import html
import re
from pathlib import Path
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from click import unstyle
from playwright.sync_api import expect
from starlette.testclient import TestClient

import linewright
from linewright.choice import options
from linewright.choice import walks as walked
from linewright.files.prices import read_prices
from linewright.present.compose.choice import choose_document, share_document
from linewright.present.writers.terminal import terminal
from linewright.verbs.choose import choose_for, wishing
from linewright.verbs.plan import read, the_run
from linewright.verbs.share import share_shelf
from linewright.web.app import create_app
from linewright.web.choose_page import Asked, Choices, answer, wishes_in
from linewright.web.choose_page import held as fields_of
from linewright.web.sessions import Settings
from linewright.web.share_page import told
from linewright.web.stations import held, packed
from web.conftest import EVERYONE, picture

HOME = "http://localhost:8731"
DEMO = Path(linewright.__file__).parent / "verbs" / "demo_data"
PRICES = (DEMO / "harbour-ridge-prices.csv").read_text(encoding="utf-8")
FIELD_DAY = packed(
    (DEMO / "harbour-ridge-field-day.toml").read_text(encoding="utf-8"),
    {n: (DEMO / n).read_text(encoding="utf-8") for n in ("harbour-ridge.toml", "harbour-ridge.csv")},
)
CHOOSE = "/runs/choose?" + urlencode({"station": "harbour-ridge", "run": "portable mast"})
BEAM = "/runs/choose?" + urlencode({"station": "harbour-ridge", "run": "two-metre beam"})
SHARE = "/runs/share?" + urlencode({"station": FIELD_DAY, "budget": "80", "prices": PRICES})
FEW = "line,price,currency\nRG-213/U,1.85/m,EUR\n"


@pytest.fixture(autouse=True)
def own_ledger(monkeypatch, tmp_path):
    """Keep what a test keeps in a ledger of its own."""
    monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "ledger.sqlite"))


@pytest.fixture
def visitor():
    return TestClient(create_app(Settings()), base_url=HOME)


def plain_text(page):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


PRICED = read_prices(DEMO / "harbour-ridge-prices.csv")


def choice_of(run="portable mast", **asked):
    station = wishing(held("harbour-ridge").station, run, asked)
    return choose_for(station, run, read_prices(DEMO / "harbour-ridge-prices.csv"))


def test_a_choice_reads_as_the_command_writes_it(visitor):
    shown = plain_text(visitor.get(f"{CHOOSE}&limit=1.5&tail=1").text)
    choice = choice_of(limit_db=((0.0, 1.5),), tail_m=1.0)
    written = " ".join(unstyle(terminal(choose_document(choice))).split())
    verdict = written.partition(" The trade-off")[0].removeprefix("A line for portable mast ")
    assert verdict
    assert verdict in shown
    for option in choice.trade_off:
        assert f"{option.loss_db:.2f} {option.loss_db_90:.2f}" in shown
    for r in choice.longest:
        assert f"{r.length_m:.4g}"[:3] in shown
    for caution in choice.cautions:
        assert caution in shown


def test_every_choice_opens_to_its_workings_and_can_be_tried(visitor):
    page = visitor.get(f"{CHOOSE}&limit=1.5").text
    looks = re.findall(r'class="figure" data-part="result" href="([^"]+)"', page)
    tries = re.findall(r'<a href="(/runs/run[^"]+)" aria-label="Try', page)
    assert len(looks) >= 6
    assert len(tries) >= 5
    for look in looks:
        opened = visitor.get(html.unescape(look)).text
        assert "How it was worked out" in opened
        assert 'id="looked"' in opened


def test_lengths_remedies_and_bands_of_a_choice_open_to_their_own_workings():
    choice = choice_of("two-metre beam", limit_db=((0.0, 3.0),))
    asked = Asked("harbour-ridge", "two-metre beam", at="1")
    run = next(r for r in held("harbour-ridge").station.runs if r.name == "two-metre beam")
    shown = answer(asked, choice, run, (0, 1))
    assert shown.looked
    lengths, bands = shown.longest.rows, shown.looked.bands.rows
    figures = [*(r.cells[3] for r in lengths), *shown.remedies, *(b.cells[1] for b in bands)]
    assert len(lengths) == len(choice.longest) > 1
    assert len(shown.remedies) == len(choice.remedies) > 1
    assert all(len(figure.workings) == 1 for figure in figures)
    for row, r in zip(lengths, choice.longest, strict=True):
        (working,) = row.cells[3].workings
        assert r.line in working.figure
        assert ("limit", f"{r.limit_db:g} dB") in working.inputs


def test_the_gain_of_a_remedy_is_what_its_working_takes_away():
    choice = choice_of("two-metre beam", limit_db=((0.0, 3.0),))
    for r in choice.remedies:
        (working,) = (w for w in choice.workings if w.figure == f"instead of another line: {r.what}")
        before, after = (
            float(x.removesuffix(" dB")) for x in dict(working.inputs)["loss on sending, before and after"].split(", ")
        )
        assert before - after == pytest.approx(r.transmit_gain_db, abs=1.1e-3)


def test_the_loss_of_a_fed_run_is_made_of_what_its_working_names():
    shared = share_shelf(read(DEMO / "harbour-ridge-field-day.toml"), prices=PRICED, budget=80)
    shown = told(shared, {})
    assert shown.losses.rows
    rows = [x for run in shared.fed for x in run.losses]
    for row, x in zip(shown.losses.rows, rows, strict=True):
        (working,) = row.cells[2].workings
        assert working == row.cells[3].workings[0]
        inputs = dict(working.inputs)
        count, each = inputs.pop("joints").removesuffix(" dB each").split(", ")
        del inputs["90th percentile"]
        parts = sum(float(value.removesuffix(" dB")) for value in inputs.values()) + int(count) * float(each)
        assert parts == pytest.approx(x.loss_db, rel=0.03, abs=0.02)


def test_a_choice_that_is_tried_loses_in_the_run_what_it_was_said_to(visitor):
    """The run as planned keeps the old line's connectors, the choice counts a pair of its own: hundredths apart."""
    choice = choice_of(limit_db=((0.0, 1.5),))
    page = visitor.get(f"{CHOOSE}&limit=1.5").text
    tries = [html.unescape(t) for t in re.findall(r'<a href="(/runs/run[^"]+)" aria-label="Try', page)]
    for option, there in zip(choice.trade_off, tries, strict=True):
        values = {k: v[0] for k, v in parse_qs(urlsplit(there).query).items()}
        changes = tuple(f"line 1 = {values['type1']}" for _ in "1")
        plan = held("harbour-ridge").plan("portable mast", changes)
        for planned, said in zip(plan.budgets[0].bands, option.bands, strict=True):
            assert planned.total_loss_db == pytest.approx(said.loss_db, abs=0.12)
        assert visitor.get(there).status_code == 200


@pytest.mark.parametrize("more", [{}, {"tail": "2"}, {"sure": "0.9", "budget": "60"}, {"voltage_margin": "3"}])
def test_another_limit_answers_as_if_asked_afresh(more):
    station = held("harbour-ridge")
    run = the_run(station.station, "two-metre beam")
    choices = Choices()
    for limit in ("1", "3"):
        texts = fields_of(run.wishes, {"limit": limit, **more})
        shown = choices.chosen(station, run.name, texts, PRICES)
        afresh = choice_of(run.name, **wishes_in(texts))
        assert shown.to_dict() == afresh.to_dict()
        assert shown.trade_off


def test_another_limit_has_nothing_walked_or_judged_again(monkeypatch):
    station = held("harbour-ridge")
    run = the_run(station.station, "two-metre beam")
    choices, walks = Choices(), []
    for module in (options, walked):
        inner = module.draws_of
        monkeypatch.setattr(module, "draws_of", lambda *given, inner=inner: walks.append(1) or inner(*given))
    choices.chosen(station, run.name, fields_of(run.wishes, {"limit": "3"}), PRICES)
    first = len(walks)
    assert first > 5
    choices.chosen(station, run.name, fields_of(run.wishes, {"limit": "3.1"}), PRICES)
    assert len(walks) - first <= 1
    choices.chosen(station, run.name, fields_of(run.wishes, {"limit": "3.1", "tail": "2"}), PRICES)
    assert len(walks) > first + 5


def test_a_tail_is_laid_in_the_run_too(visitor):
    page = visitor.get(f"{BEAM}&limit=3&tail=2").text
    tries = [html.unescape(t) for t in re.findall(r'<a href="(/runs/run[^"]+)" aria-label="Try', page)]
    with_tail = next(t for t in tries if "with=" in t)
    shown = plain_text(visitor.get(with_tail).text)
    assert "length 2 m" in shown
    assert "line 2 length = 18.4 m" in shown


def test_the_parts_a_line_replaces_are_said_in_the_form_and_tried_in_the_run(visitor):
    shown = visitor.get(f"{BEAM}&limit=3&replace=black 20; rotator tail").text
    choice = choice_of("two-metre beam", limit_db=((0.0, 3.0),), replace=("black 20", "rotator tail"))
    assert f"over {choice.length_m:.4g} m" in plain_text(shown)
    assert choice.length_m == pytest.approx(22.9)
    tries = [html.unescape(t) for t in re.findall(r'<a href="(/runs/run[^"]+)" aria-label="Try', shown)]
    assert all(("out5=on" in t and "out6=on" in t) or "out6=on" in t for t in tries)
    assert "must name parts of two-metre beam" in plain_text(visitor.get(f"{BEAM}&limit=3&replace=purple 3").text)


def test_another_impedance_may_be_asked_for(visitor):
    wire = "/runs/choose?" + urlencode({"station": "harbour-ridge", "run": "multiband wire", "limit": "3"})
    assert "50 ohm, where 400 ohm are asked for" in plain_text(visitor.get(wire).text)
    for said, asked in (("50", {"impedance_ohm": 50.0}), ("any", {"any_impedance": True})):
        shown = plain_text(visitor.get(f"{wire}&impedance={said}").text)
        choice = choice_of("multiband wire", limit_db=((0.0, 3.0),), **asked)
        assert choice.trade_off
        for option in choice.trade_off:
            assert f"{option.loss_db:.2f}" in shown


def test_a_preamplifier_on_sale_is_the_one_that_is_heard_with(visitor):
    shown = plain_text(visitor.get(f"{BEAM}&limit=3&preamplifier=15; 0.7 dB").text)
    assert "A preamplifier at the antenna, bypassed on transmit (15 dB, noise figure 0.7 dB)" in shown
    for text in ("15", "15; -1", "loud; 1"):
        assert '<li class="over">preamplifier on sale' in visitor.get(f"{BEAM}&limit=3&preamplifier={text}").text


def test_whatever_limit_cannot_be_read_is_told_and_kept(visitor):
    answer = visitor.get(f"{CHOOSE}&limit=long&tail=2 bananas&budget=-1")
    assert answer.status_code == 200
    for word in ("long", "2 bananas", "-1"):
        assert f'value="{word}"' in answer.text
    assert answer.text.count('<li class="over">') == 3


@pytest.mark.parametrize("prices", ["", "line,price,currency\n", "rubbish", FEW, "line,price,currency\nRG-213/U,x,EUR"])
def test_whatever_prices_are_typed_are_answered(visitor, prices):
    answer = visitor.get(CHOOSE, params={"station": "harbour-ridge", "run": "portable mast", "prices": prices})
    assert answer.status_code == 200
    assert "Your prices" in answer.text


def test_prices_come_from_a_file_without_script(visitor):
    token = visitor.get(CHOOSE).text.split('name="token" content="')[1].split('"')[0]
    asked = urlencode({"station": "harbour-ridge", "run": "portable mast", "limit": "1.5"})
    sent = {"file": ("prices.csv", FEW)}
    answer = visitor.post("/runs/choose", files=sent, data={"asked": asked, "token": token})
    assert answer.status_code == 200
    assert parse_qs(urlsplit(str(answer.url)).query)["prices"] == [FEW]
    assert parse_qs(urlsplit(str(answer.url)).query)["limit"] == ["1.5"]
    assert "7.2 m of RG-213/U" in plain_text(answer.text)


def test_a_sharing_out_reads_as_the_command_writes_it(visitor):
    shared = share_shelf(
        read(DEMO / "harbour-ridge-field-day.toml"), prices=read_prices(DEMO / "harbour-ridge-prices.csv"), budget=80
    )
    shown = plain_text(visitor.get(SHARE).text)
    written = " ".join(unstyle(terminal(share_document(shared))).split())
    assert written.partition(" Who gets what")[0].removeprefix("Which piece goes to which run ") in shown
    for fed in shared.fed:
        assert fed.why in shown
        for x in fed.losses:
            assert f"{x.loss_db_90:.2f} dB" in shown


def test_routes_typed_here_feed_runs_that_state_none(visitor):
    assert "Enter how far each run reaches" in visitor.get("/runs/share?station=harbour-ridge").text
    shown = plain_text(visitor.get("/runs/share?station=harbour-ridge&route2=15&route3=12+m").text)
    assert "of 2 runs are fed" in shown
    assert "two-metre beam 15 m" in shown
    assert "nobody measured" in shown or "stays where it is" in shown


def test_a_route_that_is_none_is_told(visitor):
    shown = visitor.get("/runs/share?station=harbour-ridge&route2=far")
    assert shown.status_code == 200
    assert "route of two-metre beam" in plain_text(shown.text)
    assert 'value="far"' in shown.text


# In the browser


def test_a_figure_opens_by_keyboard_where_it_stands_and_escape_closes_it(visit):
    visit.goto("/sweeps/one-end?at1=144+MHz&open1=7.1&short1=6.8&line=RG-58C%2FU&length=15+m")
    figure = visit.locator("details.opens summary").first
    figure.focus()
    visit.keyboard.press("Enter")
    inside = visit.locator("details.opens[open] .worked")
    expect(inside).to_be_in_viewport(ratio=0.3)
    expect(inside).to_contain_text("loss at 144 MHz")
    left, right, room = inside.evaluate(
        "x => [x.getBoundingClientRect().left, x.getBoundingClientRect().right, innerWidth]"
    )
    assert left >= 0
    assert visit.device == "desk" or right <= room
    visit.keyboard.press("Escape")
    expect(visit.locator("details.opens[open]")).to_have_count(0)
    assert visit.evaluate("document.activeElement.tagName") == "SUMMARY"


def test_only_one_figure_stands_open(visit):
    visit.goto("/sweeps/one-end?at1=144+MHz&open1=7.1&short1=6.8&line=RG-58C%2FU&length=15+m")
    for i in (0, 1):
        visit.locator("details.opens summary").nth(i).click()
        expect(visit.locator("details.opens[open]")).to_have_count(1)


def test_a_table_wider_than_its_box_shows_that_it_goes_on_and_can_be_moved_by_keyboard(visit):
    """The shade at an edge is four backgrounds, two of which move with the table and cover the others at its ends."""
    visit.goto("/sweeps/one-end?at1=144+MHz&open1=7.1&short1=6.8&line=RG-58C%2FU&length=15+m")
    for box in visit.locator(".scroll").all():
        assert box.get_attribute("aria-label")
        assert box.evaluate("x => getComputedStyle(x).backgroundAttachment") == "local, local, scroll, scroll"
        if box.evaluate("x => x.scrollWidth > x.clientWidth"):
            box.focus()
            visit.keyboard.press("ArrowRight")
            expect(box).not_to_have_js_property("scrollLeft", 0)


def test_a_limit_is_changed_by_keyboard_and_the_choice_follows(visit):
    visit.goto(CHOOSE)
    visit.focus("#limit")
    visit.keyboard.press("Control+A")
    visit.keyboard.type("1.5")
    expect(visit.locator("#verdict")).to_contain_text("within 1.5 dB")
    assert parse_qs(urlsplit(visit.url).query)["limit"] == ["1.5"]
    assert visit.evaluate("document.activeElement.id") == "limit"
    visit.focus("#line-2")
    visit.keyboard.press("Enter")
    expect(visit.locator("#looked")).to_be_visible()
    assert visit.evaluate("document.activeElement.id") == "line-2"


def test_a_file_of_prices_takes_the_place_of_what_was_typed(visit, tmp_path):
    file = tmp_path / "mine.csv"
    file.write_text(FEW)
    visit.goto(CHOOSE)
    visit.set_input_files("#file", str(file))
    expect(visit.locator("#prices")).to_have_value(FEW)
    expect(visit.locator(".options").first.locator("tbody tr")).to_have_count(2)


def test_a_choice_is_kept_as_a_plan_beside_the_run(visit):
    visit.goto("/runs/run?station=harbour-ridge&run=portable+mast")
    visit.click("#choose")
    expect(visit.locator("h1")).to_contain_text("portable mast")
    visit.get_by_role("link", name="Try RG-213/U in the run").click()
    expect(visit.locator(".changed")).to_contain_text("line 1 = RG-213/U")
    visit.click("#keep")
    expect(visit.locator(".sides")).to_contain_text("Kept 1")


def test_the_shelf_is_shared_out_by_keyboard(visit):
    visit.goto("/runs?station=harbour-ridge")
    visit.click("#share")
    visit.focus("#route2")
    visit.keyboard.type("15")
    visit.keyboard.press("Enter")
    expect(visit.locator("#verdict")).to_contain_text("of 1 runs are fed")
    assert parse_qs(urlsplit(visit.url).query)["route2"] == ["15"]


@EVERYONE
def test_choosing_and_sharing_are_sound_for_everyone(visit, paper):
    visit.goto("/runs")
    visit.select_option("#paper", paper)
    visit.click("text=Set")
    spots = {
        "choose": f"{BEAM}&limit=3&at=2", "choose-tail": f"{BEAM}&tail=3", "choose-wrong": f"{CHOOSE}&limit=x",
        "share": SHARE, "share-none": "/runs/share?station=harbour-ridge", "share-wrong": f"{SHARE}&route1=x",
    }  # fmt: skip
    for name, path in spots.items():
        if paper == "dark" and name not in ("choose", "share-wrong"):
            continue
        visit.goto(path)
        visit.wait_for_load_state("networkidle")
        found = Axe().run(visit)
        assert not found.response["violations"], f"{name}: {found.generate_report()}"
        wide, room = visit.evaluate("[document.scrollingElement.scrollWidth, innerWidth]")
        assert wide <= room, name
        picture(visit, f"{name}-{paper}")
