"""The first page: what a newcomer is told, and how a station stands."""

import pytest
from playwright.sync_api import expect

from linewright.core.nouns.bench_result import MeterFinding
from linewright.core.nouns.plan import Plan
from linewright.core.nouns.shelf import BelievedLoss, Due, PieceChange, Reminder, ShelfPiece
from linewright.verbs.shelf import add, file_sheet, keep_station, open_ledger
from linewright.web.pages.station import _doubt, lead_of, nexts_of, trend_words
from linewright.web.standing import NO_OUTLOOK, MeterSaid, Outlook, Trend
from web.bench_helpers import bench_of
from web.conftest import DESK_FIRST, EVERYONE, on_paper, picture, sound
from web.test_api import DEMO


@pytest.fixture
def site(tmp_path_factory, request):
    """Serve a ledger of its own to each test: the first page of an empty one is looked at."""
    from web.conftest import site as served

    yield from served.__wrapped__(tmp_path_factory)


@EVERYONE
def test_an_empty_ledger_offers_three_steps_and_the_invented_bench(visit, paper):
    visit.goto("/")
    on_paper(visit, paper)
    expect(visit.locator(".steps li")).to_have_count(3)
    sound(visit)
    picture(visit, f"station-empty-{paper}")
    visit.click("text=Try it with the invented Harbour Ridge bench")
    visit.locator("#verdicts .lead").nth(2).wait_for()
    assert sorted(" ".join(t.split()) for t in visit.locator("#verdicts .lead").all_text_contents()) == [
        "black 20 good", "blue 18 worn", "blue 7 worn",
    ]  # fmt: skip
    expect(visit.locator(".reason .doubt")).to_have_count(3)
    picture(visit, f"bench-demo-{paper}")
    visit.goto("/")
    sound(visit)
    expect(visit.locator(".meterlist .doubt")).to_have_count(2)
    expect(visit.get_by_text("pocket meter")).to_have_count(1)
    picture(visit, f"station-{paper}")


@DESK_FIRST
def test_a_session_under_way_is_offered_first(visit, site):
    bench_of(site.ledger, "Autumn")
    visit.goto("/")
    assert visit.locator("h1").inner_text() == "Nothing is measured yet."
    assert "0 of 30 lines are read." in visit.inner_text(".do")
    assert "It was never tested." in visit.inner_text(".do")
    picture(visit, "station-under-way")
    visit.click("text=Go on reading")
    visit.wait_for_url("**/bench/at/**")
    expect(visit.locator("[data-reading]")).to_have_count(30)


@pytest.mark.parametrize(("bands", "where"), [((144.3e6,), ""), ((50.1e6, 144.3e6), " That is at 144.3 MHz.")])
def test_the_remark_on_a_doubtful_meter_is_whole_sentences(bands, where):
    why = "Its dB scale may be anything from 20 % low to 40 % high (used outside its rated band)."
    said = [MeterSaid("spring", MeterFinding("card meter", f, "doubtful", 1.1, 0.8, 1.4, why)) for f in bands]
    assert _doubt(said) == why + where


def piece(tag, standing, tests=1):
    losses = (BelievedLoss(144.3e6, 2.0, 1.9, 2.1, 1.4, 1.3, 1.5),)
    return ShelfPiece(
        tag, "RG-58C/U", 7.2, 2, None, "", 1, False, "sheet spring", tests, "2026-04-02" if tests else None, losses,
        standing=standing,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("pieces", "said"),
    [
        ([], "Nothing is on the shelf yet."),
        ([piece("a", "not measured", 0)], "Nothing is measured yet."),
        ([piece("a", "good")], "A loses what its type should."),
        ([piece("a", "good"), piece("b", "good")], "Every piece loses what its type should."),
        (
            [piece("a", "good"), piece("b", "not measured", 0)],
            "Everything measured is good; 1 of 2 pieces were measured.",
        ),
        ([piece("a", "good"), piece("b", "cannot tell")], "Of b nobody can tell yet."),
        ([piece("a", "worn"), piece("b", "cannot tell")], "a loses more than its type should."),
        ([piece("a", "worn"), piece("b", "bad")], "a and b lose more than their types should."),
    ],
)
def test_the_first_sentence_is_the_gravest_thing_known(pieces, said):
    assert lead_of(pieces, ()) == said


def test_a_piece_that_cannot_be_told_is_what_to_do_next():
    pieces = [piece("a", "good"), piece("b", "cannot tell")]
    assert [n.what for n in nexts_of((), NO_OUTLOOK, pieces, {})] == ["Test b again.", "Plan a run."]
    calm = Outlook({"home": Plan("home", (), ())}, {})
    assert [n.what for n in nexts_of((), calm, pieces[:1], {})] == ["Nothing is urgent."]


def test_what_to_test_first_stands_in_the_order_of_the_list_of_what_is_due():
    def due(tag, gain_db):
        return Due(tag, "2026-05-01", "later", gain_db, "beam", 144.3e6, 2.0, 1.0, f"gains {gain_db} dB")

    pieces = [piece("a", "good"), piece("b", "cannot tell"), piece("c", "good"), piece("d", "not measured", 0)]
    calm = Outlook({"home": Plan("home", (), ())}, {}, (due("d", 1.2), due("c", 0.4)))
    found = nexts_of((), calm, pieces, {"a": Reminder("a", "2020-01-01", "due", "long ago")})
    assert [n.what for n in found] == ["Test d.", "Test c again.", "Test b again."]
    assert found[0].why == "gains 1.2 dB"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (None, ""),
        (PieceChange("steady", 0.9, "2021-05-02", "2026-04-02"), "steady"),
        (PieceChange("ageing", 0.97, "2021-05-02", "2026-04-02", 0.023, 0.01, 0.04), "ageing, 2.3 % a year"),
        (PieceChange("ageing", 0.9, "2021-05-02", "2026-04-02", 0.023, 0.01, 0.04), "perhaps ageing, 2.3 % a year"),
        (PieceChange("step", 0.97, "2023-04-30", "2024-05-05"), "a step between 2023 and 2024"),
        (PieceChange("step", 0.9, "2023-04-30", "2024-05-05"), "perhaps a step between 2023 and 2024"),
        (PieceChange("step", 0.97, "2023-04-30", "2023-05-05"), "a step in 2023"),
        (PieceChange("step", 0.9, "2023-04-30", "2023-05-05"), "perhaps a step in 2023"),
    ],
)
def test_what_happened_over_the_years_is_told_in_few_words(change, words):
    assert trend_words(Trend((), change)) == words


def test_the_first_page_shows_runs_pieces_and_meters_and_explains_their_figures(visit, site):
    with open_ledger(site.ledger) as ledger:
        file_sheet(ledger, DEMO / "harbour-ridge.toml")
        keep_station(ledger, DEMO / "harbour-ridge-station.toml")
        add(ledger, "piece", {"tag": "brown 25", "line": "RG-213/U", "length": "25 m"})
    visit.goto("/")
    expect(visit.locator(".runlist > li")).to_have_count(4)
    expect(visit.locator(".bands > li")).to_have_count(10)
    expect(visit.locator("h1")).to_contain_text("The repeater link gets")
    expect(visit.locator(".do .button")).to_have_count(1)
    expect(visit.locator(".piecelist .stands")).to_have_count(4)
    assert visit.locator(".meterlist > ul > li").count() == 3
    assert "●" in visit.inner_text(".piecelist")
    order = [words.split()[-1] for words in visit.locator(".piecelist .stands").all_inner_texts()]
    assert order == ["worn", "worn", "good", "measured"], "what is bad stands first"
    sound(visit)
    picture(visit, "station-full")
    visit.locator(".runlist .got").first.click()
    visit.wait_for_url("**/runs/run?**")
    expect(visit.locator("#worked")).to_be_visible()
