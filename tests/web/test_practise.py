"""Practise in the app: alone, the address holding the game; with a club, on a big screen and phones."""

from __future__ import annotations

import html
import re
import time

import pytest
from starlette.testclient import TestClient

from linewright.core.errors import CannotError, InputError
from linewright.core.nouns.practice import LEVELS, Claim, PracticeReading, code_of
from linewright.link.practice_bench import bench_of, truth_of
from linewright.present.compose.practise import fault_words, lessons
from linewright.verbs import practise as verb
from linewright.web import clubs as club_room
from linewright.web.app import create_app
from linewright.web.clubs import IDLE_S, MOST_CLUBS, MOST_OF_ONE, MOST_PLAYERS, MOST_SIGNS, Clubs, NoClubError
from linewright.web.sessions import Settings
from web.conftest import DESK, EVERYONE, PHONE, fits, on_paper, picture

HOME = "http://localhost:8731"
ALL_READ = "000.001.002.003.004.100.101.102.103.104.130.131.132.133.134.210.211.212.213.214"


class Visitor(TestClient):
    """A browser of its own at one station: forms carry its token."""

    def __init__(self, app):
        super().__init__(app, base_url=HOME, follow_redirects=True)
        self.token = re.search(r'name="token" content="([^"]+)"', self.get("/practise").text)[1]

    def sends(self, path, /, **fields):
        return self.post(path, data={"token": self.token, **fields})


@pytest.fixture
def app(tmp_path):
    return create_app(Settings(str(tmp_path / "ledger.sqlite")))


def words(page):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def told(level, seed):
    """Return everything the end tells of a bench: its faults in words, the lessons, and its figures."""
    bench = bench_of(level, seed)
    truth = truth_of(bench)
    figures = [repr(m.exponent) for m in truth.meters]
    figures += [repr(t.loss_db) for t in truth.losses] + [repr(f.size) for f in truth.faults if f.kind != "other type"]
    return [*(fault_words(f, bench) for f in truth.faults), *lessons(truth), *figures, "Why it looks so"]


# The truth stays on the station


@pytest.mark.parametrize("level", LEVELS)
def test_the_truth_is_in_no_page_before_the_end(level, app, monkeypatch):
    visitor = Visitor(app)
    asked = {"r": ALL_READ, "asked": "1"}
    for seed in range(3):
        code = code_of(level, seed)
        hidden = told(level, seed)
        for query in ({"code": code}, {"code": code, "r": ALL_READ}, {"code": code, **asked}):
            source = visitor.get("/practise/bench", params=query).text
            assert [one for one in hidden if one in source or one in words(source)] == []
        end = words(visitor.get("/practise/truth", params={"code": code, "r": ALL_READ, "claim": "cannot tell|"}).text)
        assert all(one in end for one in hidden[:1])

    def kept(*_):
        raise AssertionError("the page of a bench asks for its truth")

    monkeypatch.setattr(verb, "truth_of", kept)
    assert visitor.get("/practise/bench", params={"code": code_of(level, 1), "r": ALL_READ}).status_code == 200


def test_the_truth_of_a_club_is_on_no_screen_before_the_end(app):
    leader, phone = Visitor(app), Visitor(app)
    address = str(leader.sends("/practise/club", level="5").url).removeprefix(HOME)
    club = app.state.clubs.get(address[-4:], time.monotonic())
    phone.sends(f"{address}/join", name="lark")
    leader.sends(f"{address}/read", at="10", path="reference")
    hidden = [*told(5, club.seed), code_of(5, club.seed)]
    for phase in ("answering", "spread"):
        for visitor in (leader, phone):
            for headers in ({}, {"X-Part": "1"}):
                source = visitor.get(address, headers=headers).text
                assert [one for one in hidden if one in source or one in words(source)] == [], phase
        leader.sends(f"{address}/show", phase="spread")
    leader.sends(f"{address}/show", phase="truth")
    for visitor in (leader, phone):
        page = words(visitor.get(address).text)
        assert "Why it looks so" in page or "Nothing is wrong with this bench" in page
        assert code_of(5, club.seed) in page


# Alone


def test_an_address_holds_the_game(app):
    visitor = Visitor(app)
    page = visitor.get("/practise/bench?code=200+0DQ&r=130.134&at=13&path=blue+16")
    assert page.status_code == 200
    assert words(page.text) == words(visitor.get("/practise/bench?code=200+0DQ&r=130.134.132").text)
    assert "3 were taken since" in page.text
    end = visitor.get("/practise/truth?code=200+0DQ&r=130.134&claim=detector|pocket+meter&sure=sure")
    assert "<b>10</b> of 10 points" in end.text


def test_a_new_bench_is_another_one_and_a_code_leads_to_its_own(app):
    visitor = Visitor(app)
    assert len({str(visitor.get("/practise/new?level=3").url) for _ in range(5)}) > 1
    assert str(visitor.get("/practise?code=2000dq").url).endswith("code=200+0DQ")
    wrong = visitor.get("/practise?code=200+0DL")
    assert wrong.status_code == 422
    assert "must be the code of a bench" in wrong.text


@pytest.mark.parametrize(
    ("address", "wrong"),
    [
        ("/practise/bench?code=xyz", "code"),
        ("/practise/bench?code=200+0DQ&r=999", "must hold readings of this bench"),
        ("/practise/bench?code=200+0DQ&r=-1-1", "must hold readings of this bench"),
        ("/practise/bench?code=200+0DQ&r=²00", "must hold readings of this bench"),
        ("/practise/bench?code=200+0DQ&at=99&path=pad", "must hold readings of this bench"),
        ("/practise/bench?code=200+0DQ&at=00&path=the+moon", "path must be one of"),
        ("/practise/bench?code=200+0DQ&r=" + ".".join(["000"] * 200), "40 at most"),
        ("/practise/new?level=9", "level"),
    ],
)
def test_an_address_that_tells_nonsense_is_refused(address, wrong, app):
    answer = Visitor(app).get(address)
    assert answer.status_code == 422
    assert wrong in words(answer.text)


@pytest.mark.parametrize(
    ("claims", "wrong"),
    [
        ({}, "must be one claim"),
        ({"claim": ["nothing|", "misread|3"]}, "must not say"),
        ({"claim": "water|nobody"}, "must be blue 6"),
        ({"claim": "rust|blue 6"}, "must be one of the list"),
    ],
)
def test_an_answer_that_cannot_be_is_asked_for_again(claims, wrong, app):
    answer = Visitor(app).get("/practise/truth", params={"code": "200 0DQ", "r": "130", **claims})
    assert "Show the truth" in answer.text
    assert answer.status_code == 422
    assert wrong in words(answer.text)
    assert "1 was taken since" in answer.text


def test_the_cautions_stand_where_measuring_is_described(app):
    page = words(Visitor(app).get("/practise/bench?code=200+0DQ").text)
    assert "dummy load" in page
    assert "Never transmit into an open or shorted line" in page


@EVERYONE
def test_one_player_walks_from_a_level_to_the_truth_by_keyboard(visit, paper):
    visit.goto("/practise/bench?code=200+0DQ")
    on_paper(visit, paper)
    visit.get_by_label("pocket meter at 144.3 MHz").focus()
    visit.keyboard.press("Space")
    for path in ("reference", "pad"):
        visit.get_by_role("button", name=f"Read {path}").focus()
        visit.keyboard.press("Enter")
        visit.get_by_role("status").filter(has_text=f"pocket meter, 144.3 MHz, {path}").wait_for(state="attached")
    assert visit.get_by_label("pocket meter at 144.3 MHz").is_checked()
    assert visit.evaluate("document.activeElement.id") == "path-5"
    visit.get_by_text("Figures by hand", exact=True).click()
    visit.get_by_role("row", name="pad 144.3 MHz").get_by_text("6.00 dB").wait_for()
    assert fits(visit)
    picture(visit, f"practise-{paper}")
    visit.reload()
    visit.wait_for_load_state()
    assert visit.get_by_text("2 were taken since").is_visible()
    visit.get_by_label("What is wrong").select_option("detector|pocket meter")
    visit.get_by_label("How sure").select_option("sure")
    visit.get_by_role("button", name="Show the truth").click()
    visit.get_by_text("The pocket meter is bent: it shows 1.43 dB for every decibel.").first.wait_for()
    assert visit.locator(".points").inner_text() == "10 of 10 points"
    assert visit.get_by_role("img", name=re.compile("Loss of blue 6 in decibels")).is_visible()
    assert fits(visit)
    picture(visit, f"practise-truth-{paper}")


@pytest.mark.parametrize("visit", ["phone"], indirect=True)
def test_fingers_find_what_they_touch(visit):
    visit.goto("/practise/bench?code=500+021")
    visit.wait_for_load_state()
    low = ".band-pick, .paths button, .answer select, .answer button, #ask"
    heights = visit.evaluate(f"[...document.querySelectorAll('{low}')].map(e => e.getBoundingClientRect().height)")
    assert len(heights) > 14
    assert min(heights) >= 43.9


# A club


def asks_often(route):
    """Hand out the script that asks how the club stands, to ask every tenth of a second."""
    answer = route.fetch()
    route.fulfill(response=answer, body=answer.text().replace("EVERY_MS = 1500", "EVERY_MS = 100"))


def test_a_leader_and_two_phones(browser, site):
    screens = [browser.new_context(base_url=site.address, **kind) for kind in (DESK, PHONE, PHONE)]
    for screen in screens:
        screen.route("**/practise.js*", asks_often)
    lead, *phones = (screen.new_page() for screen in screens)
    complaints: list[str] = []
    for page in (lead, *phones):
        page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda cause: complaints.append(str(cause)))
    lead.goto("/practise")
    lead.wait_for_load_state()
    lead.get_by_label("Level").select_option("3")
    lead.get_by_role("button", name="Lead a club").click()
    lead.get_by_role("img", name=re.compile("Picture code of")).wait_for()
    for phone, name in zip(phones, ("Ann", ""), strict=True):
        phone.goto(lead.url)
        phone.wait_for_load_state()
        phone.get_by_label("Your name, short").fill(name)
        phone.get_by_role("button", name="Join").click()
        phone.get_by_text("You are").wait_for()
    lead.locator(".tally", has_text="of 2 answered").wait_for()
    # A reading on the big screen reaches the phones, while one of them is choosing.
    phones[0].get_by_label("What is wrong").select_option(index=1)
    lead.get_by_label("pocket meter at 432.1 MHz").check()
    lead.get_by_role("button", name="Read reference").click()
    lead.locator(".read.last").wait_for()
    phones[0].locator(".read.last").wait_for()
    chosen = phones[0].get_by_label("What is wrong").input_value()
    assert chosen
    phones[0].get_by_role("button", name="Answer").click()
    phones[0].get_by_text("You said").wait_for()
    phones[1].get_by_label("What is wrong").select_option("cannot tell|")
    phones[1].get_by_role("button", name="Answer").click()
    lead.locator(".tally", has_text="2 of 2 answered").wait_for()
    # A phone that reloads is still the same player with the same answer.
    phones[0].reload()
    phones[0].wait_for_load_state()
    assert phones[0].get_by_text("You are Ann").is_visible()
    assert phones[0].get_by_label("What is wrong").input_value() == chosen
    lead.get_by_role("button", name="Show the answers").click()
    lead.locator(".spread li").nth(1).wait_for()
    phones[0].get_by_text("The truth comes next").wait_for()
    lead.get_by_role("button", name="Show the truth").click()
    lead.get_by_text("Why it looks so").wait_for()
    assert lead.locator(".ranks tbody tr").count() == 2
    phones[1].get_by_text("Why it looks so").wait_for()
    assert all(fits(page) for page in (lead, *phones))
    lead.get_by_role("button", name="Next bench").click()
    lead.get_by_text("round 2").wait_for()
    phones[1].get_by_text("Round 2, level 3").wait_for()
    for screen in screens:
        screen.close()
    assert not complaints


def test_only_who_began_a_club_leads_it(app):
    leader, phone = Visitor(app), Visitor(app)
    address = str(leader.sends("/practise/club", level="1").url).removeprefix(HOME)
    phone.sends(f"{address}/join", name="lark")
    for path, fields in (("read", {"at": "10", "path": "pad"}), ("show", {"phase": "truth"}), ("next", {"level": "2"})):
        answer = phone.sends(f"{address}/{path}", **fields)
        assert answer.status_code == 422
        assert "led by somebody else" in words(answer.text)
    assert "Show the answers" not in phone.get(address).text
    phone.sends(f"{address}/leave")
    assert "Nobody yet" in words(leader.get(address).text)
    leader.sends(f"{address}/leave")
    gone = phone.get(address)
    assert gone.status_code == 404
    assert "Ask who leads" in words(gone.text)
    assert phone.get(address, headers={"X-Part": "1"}).status_code == 404


def test_an_unchanged_club_costs_a_poll_nothing(app):
    leader, phone = Visitor(app), Visitor(app)
    address = str(leader.sends("/practise/club", level="1").url).removeprefix(HOME)
    other = Visitor(app)

    def turn_of(visitor):
        return re.search(r'data-turn="([^"]+)"', visitor.get(address).text)[1]

    def changed(visitor, turn):
        return visitor.get(f"{address}?since={turn}", headers={"X-Part": "1"}).status_code == 200

    before, led = turn_of(phone), turn_of(leader)
    assert not changed(phone, before)
    phone.sends(f"{address}/join", name="lark")
    assert changed(phone, before)
    before = turn_of(phone)
    other.sends(f"{address}/join", name="hare")
    other.sends(f"{address}/answer", claim="cannot tell|")
    assert not changed(phone, before)
    assert changed(leader, led)
    leader.sends(f"{address}/read", at="00", path="pad")
    assert changed(phone, before)


def test_a_club_stands_behind_the_same_door(tmp_path):
    guarded = create_app(Settings(str(tmp_path / "l.sqlite"), pass_phrase="amber cove reed", key="k" * 12))
    stranger = TestClient(guarded, base_url=HOME, follow_redirects=False)
    for path in ("/practise", "/practise/bench?code=200+0DQ", "/practise/club/0000"):
        answer = stranger.get(path)
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/door")
    assert stranger.post("/practise/club", data={"level": "1"}).status_code == 303


def test_the_picture_leads_through_the_door_to_the_club(tmp_path):
    names = ("localhost", "192.168.7.9")
    guarded = create_app(Settings(str(tmp_path / "l.sqlite"), names=names, pass_phrase="amber cove", key="k" * 12))
    leader = TestClient(guarded, base_url=HOME)
    token = re.search(r'name="token" content="([^"]+)"', leader.get("/door").text)[1]
    leader.post("/door", data={"token": token, "pass_phrase": "amber cove"})
    token = re.search(r'name="token" content="([^"]+)"', leader.get("/practise").text)[1]
    page = leader.post("/practise/club", data={"token": token, "level": "1"})
    key = str(page.url)[-4:]
    assert f"http://192.168.7.9:8731/practise/club/{key}" in page.text
    assert "whoever takes it can read and change the ledger" in words(page.text)
    assert "k" * 12 not in page.text
    phone = TestClient(guarded, base_url=HOME)
    door = phone.get(f"/door?key={'k' * 12}&to=/practise/club/{key}")
    token = re.search(r'name="token" content="([^"]+)"', door.text)[1]
    inside = phone.post("/door", data={"token": token, "pass_phrase": "k" * 12, "to": f"/practise/club/{key}"})
    assert "Your name, short" in inside.text


def test_nothing_of_a_club_goes_to_the_ledger(app, tmp_path):
    leader, phone = Visitor(app), Visitor(app)
    address = str(leader.sends("/practise/club", level="2").url).removeprefix(HOME)
    phone.sends(f"{address}/join", name="lark")
    phone.sends(f"{address}/answer", claim="cannot tell|")
    leader.sends(f"{address}/show", phase="truth")
    assert list(tmp_path.iterdir()) == []


# Bounds, by the room itself; times are told, not read


def filled(rooms, count=1):
    return [rooms.begin(f"leader {i}", 1, 0.0) for i in range(count)]


def test_clubs_are_bounded_in_number_and_idle_ones_are_forgotten():
    rooms = Clubs()
    clubs = filled(rooms, MOST_CLUBS)
    with pytest.raises(CannotError, match="20 clubs practise here already"):
        rooms.begin("one more", 1, 1.0)
    rooms.get(clubs[0].key, IDLE_S)
    assert rooms.begin("one more", 1, IDLE_S + 1.0).level == 1
    assert rooms.get(clubs[0].key, IDLE_S + 1.0).key == clubs[0].key
    with pytest.raises(NoClubError):
        rooms.get(clubs[1].key, IDLE_S + 1.0)


def test_one_browser_leads_few_clubs():
    rooms = Clubs()
    keys = [rooms.begin("me", 1, float(t)).key for t in range(MOST_OF_ONE + 2)]
    assert [key for key in keys if key in rooms._clubs] == keys[-MOST_OF_ONE:]


def test_players_are_bounded_and_names_are_short_and_their_own():
    rooms = Clubs()
    (club,) = filled(rooms)
    typed = ["Ann", "ann", " Ann ", "x" * 500, "\x00\u202e\n", "", "<b>"]
    for i in range(MOST_PLAYERS):
        club = rooms.join(club.key, f"phone {i}", typed[i] if i < len(typed) else "", 1.0)
    names = [p.name for p in club.players.values()]
    assert names[:3] == ["Ann", "ann 2", "Ann 3"]
    assert len({n.casefold() for n in names}) == MOST_PLAYERS
    assert all(0 < len(n) <= MOST_SIGNS and n.isprintable() for n in names)
    with pytest.raises(InputError, match="is full: 60 people"):
        rooms.join(club.key, "one more", "", 1.0)
    renamed = rooms.join(club.key, "phone 0", "Bea", 1.0)
    assert renamed.players["phone 0"].name == "Bea"


def test_an_answer_counts_once_and_may_be_changed_until_it_is_shown():
    rooms = Clubs()
    (club,) = filled(rooms)
    with pytest.raises(InputError, match="join the club first"):
        rooms.answer(club.key, "phone", [Claim("cannot tell")], 1.0)
    rooms.join(club.key, "phone", "lark", 1.0)
    fault = truth_of(club.bench).faults[0]
    rooms.answer(club.key, "phone", [Claim("cannot tell")], 1.0)
    rooms.answer(club.key, "phone", [Claim(fault.kind, fault.of[0])], 1.0)
    rooms.show(club.key, "leader 0", "spread", 1.0)
    with pytest.raises(InputError, match="too late"):
        rooms.answer(club.key, "phone", [Claim("cannot tell")], 1.0)
    for _ in range(2):
        shown = rooms.show(club.key, "leader 0", "truth", 1.0)
    assert (shown.players["phone"].points, shown.players["phone"].total) == (10, 10)
    with pytest.raises(InputError, match="too late"):
        rooms.read(club.key, "leader 0", PracticeReading("desk meter", 7.1e6, "pad"), 1.0)
    again = rooms.next_round(club.key, "leader 0", 2, 1.0)
    assert (again.round, again.level, again.phase, again.taken) == (2, 2, "answering", ())
    assert (again.players["phone"].points, again.players["phone"].total, again.players["phone"].claims) == (
        None,
        10,
        (),
    )


def test_a_reading_after_the_answers_opens_them_again():
    rooms = Clubs()
    (club,) = filled(rooms)
    rooms.show(club.key, "leader 0", "spread", 1.0)
    assert rooms.read(club.key, "leader 0", PracticeReading("desk meter", 7.1e6, "pad"), 1.0).phase == "answering"


def test_rounds_are_bounded(monkeypatch):
    monkeypatch.setattr(club_room, "MOST_ROUNDS", 2)
    rooms = Clubs()
    (club,) = filled(rooms)
    rooms.next_round(club.key, "leader 0", 1, 1.0)
    with pytest.raises(InputError, match="round"):
        rooms.next_round(club.key, "leader 0", 1, 1.0)


def test_answers_spread_by_what_they_say_not_by_their_order():
    from linewright.web.practise_page import is_right, spread_of

    wet, slip = Claim("water", "a"), Claim("misread", "3", "likely")
    rows = spread_of([(wet, slip), (slip, wet), (wet,), ()])
    assert [(count, sure) for _, count, sure in rows] == [(2, 0), (1, 1)]
    faults = truth_of(bench_of(5, 1)).faults
    claims = [Claim(f.kind, f.of[0]) for f in faults]
    assert is_right(claims, faults)
    assert not is_right(claims[:1], faults)
    assert is_right([Claim("nothing")], ())
