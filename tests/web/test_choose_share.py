"""Choosing a line and sharing out the shelf in the app: the commands' figures, the address, keyboard and phone."""

import html
import re
from pathlib import Path
from urllib.parse import parse_qsl, urlencode, urlsplit

import pytest
from click import unstyle
from playwright.sync_api import expect
from starlette.testclient import TestClient

import linewright
from linewright.choice import walks as walked
from linewright.core.nouns.bench_result import workings_of
from linewright.core.nouns.station import LinePart
from linewright.files.prices import read_prices
from linewright.present.compose.choice import choose_document, share_document
from linewright.present.writers.terminal import terminal
from linewright.verbs.choose import choose_for, wishing
from linewright.verbs.plan import read, the_run
from linewright.verbs.share import share_shelf
from linewright.verbs.shelf import changes, keep_station, open_ledger, station_of, undo
from linewright.web.app import create_app
from linewright.web.choose_page import LatestChoices, wishes_in
from linewright.web.choose_page import held as fields_of
from linewright.web.sessions import Settings
from linewright.web.stations import held, packed
from web.conftest import DESK_FIRST, EVERYONE, picture, sound

HOME = "http://localhost:8731"
DEMO = Path(linewright.__file__).parent / "verbs" / "demo_data"
PRICES = (DEMO / "harbour-ridge-prices.csv").read_text(encoding="utf-8")
FIELD_DAY = packed(
    (DEMO / "harbour-ridge-field-day.toml").read_text(encoding="utf-8"),
    {n: (DEMO / n).read_text(encoding="utf-8") for n in ("harbour-ridge.toml", "harbour-ridge.csv")},
)
CHOOSE = "/runs/run?" + urlencode({"station": "harbour-ridge", "run": "portable mast", "view": "choose"})
BEAM = "/runs/run?" + urlencode({"station": "harbour-ridge", "run": "two-metre beam", "view": "choose"})
ROWS = [r.split(",") for r in PRICES.splitlines() if r and not r.startswith("#")][1:]
SALE = {"v.types": "1", "v.budget": "80", "v.money": "EUR"} | {
    k: v for name, price, _, joint, *_ in ROWS if "/" in price
    for k, v in ((f"v.t.{name}", "on"), (f"v.p.{name}", price), (f"v.c.{name}", joint))
}  # fmt: skip
SHARE = "/runs/run?" + urlencode({"station": FIELD_DAY, "run": "two-metre tent", "view": "share", **SALE})


@pytest.fixture(autouse=True)
def own_ledger(monkeypatch, tmp_path):
    """Keep what a test keeps in a ledger of its own."""
    monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "ledger.sqlite"))


@pytest.fixture
def visitor():
    return TestClient(create_app(Settings()), base_url=HOME)


def answered(client, there, **more):
    """Return a page that takes long, once its work is done: each asking waits a moment for it."""
    page = client.get(there, **more)
    while "/waiting/" in str(page.url):
        page = client.get(there, **more)
    return page


def plain_text(page):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


PRICED = read_prices(DEMO / "harbour-ridge-prices.csv")


def choice_of(run="portable mast", **asked):
    station = wishing(held("harbour-ridge").station, run, asked)
    return choose_for(station, run, read_prices(DEMO / "harbour-ridge-prices.csv"))


def test_a_choice_has_the_figures_of_the_command(visitor):
    shown = plain_text(visitor.get(f"{CHOOSE}&v.limit=1.5&v.tail=1").text)
    choice = choice_of(limit_db=((0.0, 1.5),), tail_m=1.0)
    written = " ".join(unstyle(terminal(choose_document(choice))).split())
    verdict = written.partition(" The trade-off")[0].removeprefix("A line for portable mast ").partition(". ")[0]
    assert verdict
    assert verdict in shown
    for option in choice.trade_off:
        assert f"{option.loss_db:.2f} dB" in shown
    for r in choice.longest:
        assert f"{r.length_m:.4g}"[:3] in shown


def test_every_choice_opens_to_its_workings_and_is_tried_and_laid(visitor):
    page = visitor.get(f"{CHOOSE}&v.limit=1.5").text
    rows = page[page.index('class="chs"') : page.index('id="asked-of-line"')]
    tries = re.findall(r'href="(/runs/run[^"]+)" aria-label="Try', rows)
    assert len(tries) >= 5
    assert rows.count('<details class="opens"') >= len(tries)
    assert rows.count('form="lay-it"') == len(tries)
    assert "Tried, not kept" in visitor.get(html.unescape(tries[0])).text


def test_a_price_list_fills_the_small_table_and_the_answer_is_the_commands(visitor):
    page = visitor.get(BEAM).text
    token = re.search(r'name="token" content="([^"]+)"', page)[1]
    where = dict(parse_qsl(urlsplit(BEAM).query)) | {"v.limit": "3", "v.outdoors": "yes", "token": token}
    answer = visitor.post("/runs/prices", data=where, files={"price-file": ("shop.csv", PRICES)})
    assert 'name="v.p.RG-213/U" value="1.85"' in answer.text
    assert 'name="v.e.masthead preamplifier" value="95"' in answer.text
    shown = plain_text(answer.text)
    choice = choice_of("two-metre beam", limit_db=((0.0, 3.0),), outdoors=True)
    for option in choice.trade_off:
        assert f"{option.loss_db:.2f} dB" in shown
    assert "not for sun and rain" in shown
    bad = visitor.post("/runs/prices", data=where, files={"price-file": ("shop.csv", "line,price\nRG-213/U,1")})
    assert bad.status_code == 422
    assert "shop.csv" in plain_text(bad.text)


@pytest.mark.parametrize("name", ["trade-off", "longest-run"])
def test_the_charts_of_a_choice_stand_where_the_line_is_chosen(visitor, name):
    page = visitor.get(f"{BEAM}&v.limit=3").text
    (there,) = {html.unescape(t) for t in re.findall(rf'data-picture="(/runs/choose/chart/{name}[^"]*)"', page)}
    svg = visitor.get(there).text
    assert 'aria-roledescription="reading"' in svg
    rows = visitor.get(f"{there}form=csv").text
    choice = choice_of("two-metre beam", limit_db=((0.0, 3.0),))
    expected = choice.trade_off[0].name if name == "trade-off" else choice.longest[0].line
    assert expected in svg or expected in rows
    unpriced = visitor.get(
        BEAM, params={"v.types": "1", "v.limit": "2", "v.t.RG-213/U": "on"} | dict(parse_qsl(urlsplit(BEAM).query))
    )
    assert "/runs/choose/chart/trade-off" not in unpriced.text


def test_without_a_price_types_are_held_against_the_limit(visitor):
    asked = {"v.types": "1", "v.limit": "2", "v.t.RG-8X type": "on", "v.t.corrugated 1/2 in foam": "on"}
    shown = plain_text(visitor.get(BEAM, params=dict(parse_qsl(urlsplit(BEAM).query)) | asked).text)
    assert "To lose no more than 2 dB, 20.4 m of corrugated 1/2 in foam is enough" in shown


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
    assert shared.fed
    for run in shared.fed:
        for x in run.losses:
            (working,) = workings_of(shared.workings, ("loss", run.run, x.frequency_hz))
            inputs = dict(working.inputs)
            count, each = inputs.pop("joints").removesuffix(" dB each").split(", ")
            del inputs["90th percentile"]
            parts = sum(float(value.removesuffix(" dB")) for value in inputs.values()) + int(count) * float(each)
            assert parts == pytest.approx(x.loss_db, rel=0.03, abs=0.02)


def test_a_tried_choice_has_the_stated_loss_in_the_run(visitor):
    choice = choice_of(limit_db=((0.0, 1.5),))
    page = visitor.get(f"{CHOOSE}&v.limit=1.5").text
    tries = [html.unescape(t) for t in re.findall(r'href="(/runs/run[^"]+)" aria-label="Try', page)]
    for option, there in zip(choice.trade_off, tries, strict=False):
        shown = plain_text(visitor.get(there).text)
        said = option.bands[-1].loss_db
        total = float(re.search(r"Most is lost in .+?: [\d.]+ of ([\d.]+) dB", shown)[1])
        assert f"{total:.2f}" == f"{said:.2f}"


def test_what_is_chosen_is_laid_in_the_ledgers_run_in_one_step(tmp_path):
    ledger = tmp_path / "laid.sqlite"
    with open_ledger(ledger) as kept:
        name = keep_station(kept, DEMO / "harbour-ridge-station.toml").item.key
    client = TestClient(create_app(Settings(str(ledger))), base_url=HOME)
    where = {"station": f"={name}", "run": "two-metre beam", "view": "choose"}
    page = client.get("/runs/run", params={**where, "v.limit": "2"}).text
    row = page[page.index("corrugated 1/2 in foam") :]
    told = dict(re.findall(r'<button form="lay-it" class="quiet" name="(stretches)" value="([^"]*)"', row)[:1])
    form = page[page.index('id="lay-it"') :]
    told |= dict(re.findall(r'<input type="hidden" name="(do|to|joint)" value="([^"]*)"', form)[:3])
    token = re.search(r'name="token" content="([^"]+)"', page)[1]
    sent = {**where, **{k: html.unescape(v) for k, v in told.items()}, "token": token}
    laid = plain_text(client.post("/runs/edit", data=sent).text)
    assert "corrugated 1/2 in foam" in laid
    with open_ledger(ledger) as kept:
        made = changes(kept, kind="station").changes
        assert len(made) == 2
        undo(kept, made[0].id)
        assert station_of(kept, name).run("two-metre beam").chain[3].name == "black 20"


def test_what_is_shared_out_is_laid_in_all_runs_in_one_step(tmp_path):
    ledger = tmp_path / "shared.sqlite"
    with open_ledger(ledger) as kept:
        name = keep_station(kept, DEMO / "harbour-ridge-field-day.toml").item.key
    client = TestClient(create_app(Settings(str(ledger))), base_url=HOME)
    run = "two-metre tent"
    where = {"station": f"={name}", "run": run, "view": "share", **SALE}
    page = answered(client, "/runs/run", params=where).text
    assert "Lay it so in all of these runs" in page
    token = re.search(r'name="token" content="([^"]+)"', page)[1]
    client.post("/runs/share/lay", data={**where, "token": token})
    with open_ledger(ledger) as kept:
        shared = share_shelf(read(DEMO / "harbour-ridge-field-day.toml"), prices=PRICED, budget=80)
        for fed in shared.fed:
            chain = station_of(kept, name).run(fed.run).chain
            lies = [p.piece.tag for p in chain if isinstance(p, LinePart) and p.measured]
            assert lies == list(fed.pieces)
        assert len(changes(kept, kind="station").changes) == 2


@pytest.mark.parametrize("more", [{}, {"tail": "2"}, {"sure": "0.9", "budget": "60"}, {"voltage_margin": "3"}])
def test_another_limit_answers_as_if_asked_afresh(more):
    station = held("harbour-ridge")
    run = the_run(station.station, "two-metre beam")
    choices = LatestChoices()
    for limit in ("1", "3"):
        texts = fields_of(run.wishes, {"limit": limit, **more})
        shown = choices.chosen(station, run.name, texts, PRICES)
        afresh = choice_of(run.name, **wishes_in(texts))
        assert shown.to_dict() == afresh.to_dict()
        assert shown.trade_off


def test_another_limit_has_nothing_walked_or_judged_again(monkeypatch):
    station = held("harbour-ridge")
    run = the_run(station.station, "two-metre beam")
    choices, walks = LatestChoices(), []
    inner = walked.draws_of
    monkeypatch.setattr(walked, "draws_of", lambda *given: walks.append(1) or inner(*given))
    choices.chosen(station, run.name, fields_of(run.wishes, {"limit": "3"}), PRICES)
    first = len(walks)
    assert first > 5
    choices.chosen(station, run.name, fields_of(run.wishes, {"limit": "3.1"}), PRICES)
    assert len(walks) - first <= 1
    choices.chosen(station, run.name, fields_of(run.wishes, {"limit": "3.1", "tail": "2"}), PRICES)
    assert len(walks) > first + 5


def test_a_tail_is_tried_in_the_run_too(visitor):
    page = visitor.get(f"{BEAM}&v.limit=3&v.tail=2").text
    tries = [html.unescape(t) for t in re.findall(r'href="(/runs/run[^"]+)" aria-label="Try', page)]
    with_tail = next(t for t in tries if "2.0%2C" in t)
    shown = plain_text(visitor.get(with_tail).text)
    assert "18.4 m" in shown


def test_the_parts_a_line_replaces_are_said_in_the_form_and_tried_in_the_run(visitor):
    page = visitor.get(f"{BEAM}&v.limit=3&v.replace=black 20; rotator tail").text
    choice = choice_of("two-metre beam", limit_db=((0.0, 3.0),), replace=("black 20", "rotator tail"))
    assert choice.length_m == pytest.approx(22.9)
    tries = [html.unescape(t) for t in re.findall(r'href="(/runs/run[^"]+)" aria-label="Try', page)]
    assert tries
    assert all("to=3%3A6" in t for t in tries)
    assert "must name parts of two-metre beam" in plain_text(visitor.get(f"{BEAM}&v.limit=3&v.replace=purple 3").text)


def test_a_preamplifier_on_sale_is_the_one_that_is_heard_with(visitor):
    shown = plain_text(visitor.get(f"{BEAM}&v.limit=3&v.preamplifier=15; 0.7 dB").text)
    assert "A preamplifier at the antenna, bypassed on transmit (15 dB, noise figure 0.7 dB)" in shown
    for text in ("15", "15; -1", "loud; 1"):
        assert '<li class="over">preamplifier on sale' in visitor.get(f"{BEAM}&v.limit=3&v.preamplifier={text}").text


def test_whatever_limit_cannot_be_read_is_told_and_kept(visitor):
    answer = visitor.get(f"{CHOOSE}&v.limit=long&v.tail=2 bananas&v.budget=-1")
    assert answer.status_code == 200
    for word in ("long", "2 bananas", "-1"):
        assert f'value="{word}"' in answer.text
    assert answer.text.count('<li class="over">') == 3


@pytest.mark.parametrize("price", ["", "x", "-1", "1e99", "1,85", "0.5/ft", "95 each"])
def test_whatever_price_is_typed_is_answered(visitor, price):
    asked = {"v.types": "1", "v.t.RG-213/U": "on", "v.p.RG-213/U": price}
    answer = visitor.get(CHOOSE, params=dict(parse_qsl(urlsplit(CHOOSE).query)) | asked)
    assert answer.status_code == 200
    assert "Types that may be laid" in answer.text


def test_a_sharing_out_has_the_figures_of_the_command(visitor):
    shared = share_shelf(read(DEMO / "harbour-ridge-field-day.toml"), prices=PRICED, budget=80)
    shown = plain_text(answered(visitor, SHARE).text)
    written = " ".join(unstyle(terminal(share_document(shared))).split())
    verdict = written.partition(" Who gets what")[0].removeprefix("Which piece goes to which run ")
    assert verdict.partition(":")[0] in shown
    for fed in shared.fed:
        assert fed.why in shown
        for x in fed.losses:
            assert f"{x.loss_db_90:.2f} dB" in shown


def test_routes_typed_here_feed_runs_that_state_none(visitor):
    there = "/runs/run?station=harbour-ridge&run=two-metre+beam&view=share"
    assert "Enter how far each run reaches" in visitor.get(there).text
    page = answered(visitor, f"{there}&v.r.1=15&v.r.2=12+m")
    shown = plain_text(page.text)
    assert "of 2 runs can be fed" in shown
    assert "two-metre beam 15 m to bridge" in shown


def test_a_route_that_is_none_is_told(visitor):
    shown = visitor.get("/runs/run?station=harbour-ridge&run=two-metre+beam&view=share&v.r.1=far")
    assert shown.status_code == 200
    assert "route of two-metre beam" in plain_text(shown.text)
    assert 'value="far"' in shown.text


@pytest.mark.parametrize(("old", "view"), [("/runs/choose", "choose"), ("/runs/share", "share")])
def test_an_old_address_leads_to_the_view_of_the_run(visitor, old, view):
    there = visitor.get(f"{old}?station=harbour-ridge")
    assert there.url.params["view"] == view


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


@DESK_FIRST
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


def test_a_limit_is_typed_and_a_choice_tried_and_kept_as_a_plan(visit):
    visit.goto(BEAM)
    visit.wait_for_load_state()
    visit.fill("#v-limit", "2")
    visit.keyboard.press("Enter")
    expect(visit.locator("#answer")).to_contain_text("2 dB")
    visit.locator('a[aria-label*="corrugated 1/2 in foam"]').first.click()
    visit.wait_for_selector("#trying")
    expect(visit.locator("#line")).to_contain_text("corrugated")
    expect(visit.locator("#v-limit")).to_have_value("2")


@DESK_FIRST
def test_the_shelf_is_shared_out_and_laid(visit):
    visit.goto("/runs/run?station=harbour-ridge&run=two-metre+beam&view=share")
    visit.wait_for_load_state()
    visit.fill("#v-r-1", "15")
    visit.keyboard.press("Enter")
    expect(visit.locator("#answer")).to_contain_text("of 1 runs can be fed")
    visit.click("#lay-shared")
    visit.wait_for_selector("#lay-shared", state="detached")


@EVERYONE
def test_choosing_and_sharing_are_sound_for_everyone(visit, paper):
    visit.emulate_media(color_scheme=paper)
    spots = {"choose": f"{BEAM}&v.limit=3", "share": SHARE, "share-wrong": f"{SHARE}&v.r.1=x"}
    for name, path in spots.items():
        visit.goto(path)
        visit.wait_for_selector("#asked")
        sound(visit, name)
        picture(visit, f"{name}-{paper}")
