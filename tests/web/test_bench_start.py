"""A session is begun in few presses, what is written is understood, and what cannot be creates nothing."""

from __future__ import annotations

from datetime import date

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import expect

from linewright.core.nouns.shelf import SessionPlan
from linewright.verbs.shelf import add, all_kept, kept, notes_of, open_ledger, readings_of, start_session
from linewright.web.app import create_app
from linewright.web.bench_rows import plan_in
from linewright.web.sessions import Settings
from web.bench_helpers import bench_of
from web.conftest import free_port


@pytest.fixture
def station(tmp_path):
    """Return a client of an empty station, and its ledger."""
    port, where = free_port(), tmp_path / "ledger.sqlite"
    app = create_app(Settings(str(where), port))
    with TestClient(app, base_url=f"http://localhost:{port}") as client, open_ledger(where) as ledger:
        yield client, ledger


def sent(client, **told):
    """Send the form that begins a session; return the answer."""
    page = client.get("/bench/new").text
    token = page.partition('name="token" content="')[2].partition('"')[0]
    form = {"newmeter0_use": "1", "newmeter0_division": "0.1", "band": "14.2 MHz", "newpiece0_tag": "blue 7",
            "newpiece0_line": "RG-58C/U", "newpiece0_length": "7.2", **told}  # fmt: skip
    return client.post("/bench/new", data={k: v for k, v in form.items() if v is not None} | {"token": token})


def the_session(ledger):
    (item,) = all_kept(ledger, "sheet")
    return item, plan_in([n.body for n in notes_of(ledger, "sheet", item.key)])


def test_bare_numbers_take_the_unit_of_their_field(station):
    client, ledger = station
    answer = sent(
        client, newmeter0_division_own="5", newmeter0_rated_own="140-450", newpiece0_length="20", power="25",
        reference_line="RG-58C/U", reference_length="0,9", frequencies="20m, 6m, 2m", band=None,
    )  # fmt: skip
    assert answer.status_code == 200
    item, plan = the_session(ledger)
    assert plan.frequencies == ("14.2 MHz", "50.1 MHz", "144.3 MHz")
    assert item.body["sheet"]["source"] == {"power": "25 W"}
    assert item.body["sheet"]["reference"] == {"line": "RG-58C/U", "length": "0,9 m"}
    assert kept(ledger, "piece", "blue 7").body["length"] == "20 m"
    (meter,) = all_kept(ledger, "meter")
    assert (meter.body["division"], meter.body["rated"]) == ("5 W", "140 MHz to 450 MHz")


@pytest.mark.parametrize(
    ("told", "field"),
    [({"newpiece0_length": "20 yards"}, "newpiece0_length"), ({"newpiece0_length": ""}, "newpiece0_length"),
     ({"newpiece0_line": "RG-5800"}, "newpiece0_line"), ({"newpiece0_tag": "a+b"}, "newpiece0_tag"),
     ({"frequencies": "14.2, half"}, "frequencies"), ({"power": "a lot"}, "power"), ({"on": "2999-01-01"}, "on"),
     ({"newmeter0_division_own": "a bit"}, "newmeter0_division"), ({"newmeter0_rated_own": "HF"}, "newmeter0_rated"),
     ({"newmeter0_scale": "card"}, "newmeter0_card"), ({"band": None}, "bands"), ({"pad_tag": "pad"}, "pad_loss"),
     ({"newmeter0_use": None}, "meters")],
)  # fmt: skip
def test_what_cannot_be_is_said_at_its_field_keeps_what_was_typed_and_creates_nothing(station, told, field):
    client, ledger = station
    answer = sent(client, **told)
    assert answer.status_code == 422
    assert f'id="{field}-wrong"' in answer.text
    for value in told.values():
        assert value is None or f'value="{value}"' in answer.text
    for kind in ("sheet", "piece", "meter", "note"):
        assert all_kept(ledger, kind) == ()
    assert sent(client).status_code == 200
    assert len(all_kept(ledger, "sheet")) == 1


def test_an_old_notebook_keeps_its_day(station):
    client, ledger = station
    assert sent(client, on="2019-04-02", title="From the notebook").status_code == 200
    item, _ = the_session(ledger)
    assert (item.body["measured_on"], item.key) == ("2019-04-02", "2019-04-02 From the notebook")


def test_a_type_left_empty_is_that_of_the_row_above_and_one_drum_is_one_stock(station):
    client, ledger = station
    assert sent(client, newpiece1_tag="blue 18", newpiece1_length="17.9 m", drum="1", join="1").status_code == 200
    blue = [kept(ledger, "piece", tag).body for tag in ("blue 7", "blue 18")]
    assert {p["line"] for p in blue} == {"RG-58C/U"}
    assert len({p["stock"] for p in blue}) == 1
    assert the_session(ledger)[1].joined == ("blue 7+blue 18",)


def test_gear_that_is_refused_late_leaves_nothing_behind(tmp_path):
    with open_ledger(tmp_path / "ledger.sqlite") as ledger:
        with pytest.raises(ValueError, match="nobody"):
            start_session(ledger, SessionPlan("x", ("any",), ("nobody",)), gear=[("meter", {"name": "any"})])
        assert all_kept(ledger, "meter") == ()
        start_session(ledger, SessionPlan("x", ("any",)), gear=[("meter", {"name": "any"})], on=date(2020, 1, 2))
        assert [i.body["measured_on"] for i in all_kept(ledger, "sheet")] == ["2020-01-02"]


class Presses:
    """Counts presses on controls and fields; characters typed into a field that was pressed do not count."""

    def __init__(self, page) -> None:
        self.page, self.many = page, 0

    def on(self, where) -> None:
        (where.tap if self.page.device == "phone" else where.click)()
        self.many += 1

    def typed(self, where, text: str) -> None:
        self.on(where)
        self.page.keyboard.type(text)


def to_the_setup(visit) -> Presses:
    visit.goto("/")
    visit.wait_for_load_state()
    presses = Presses(visit)
    presses.on(visit.get_by_label("Places").get_by_role("link", name="Bench"))
    presses.on(visit.get_by_role("link", name="New session"))
    return presses


def first_reading(visit, site, before: int) -> None:
    visit.wait_for_url("**/bench/at/**")
    visit.wait_for_load_state()
    expect(visit.locator("[data-reading]:focus")).to_have_count(1)
    visit.keyboard.type("9.4")
    visit.keyboard.press("Enter")
    visit.wait_for_function("() => [...document.querySelectorAll('.state')].some(s => s.textContent === '✓')")
    with open_ledger(site.ledger) as ledger:
        sheets = all_kept(ledger, "sheet")
        assert len(sheets) == before + 1
        newest = max(sheets, key=lambda i: i.changed_at)
        assert [r.cells["reading"] for r in readings_of(ledger, newest.key)] == ["9.4"]


def test_an_empty_ledger_needs_twelve_presses_and_types_only_tags_and_lengths(browser, tmp_path_factory, visit, site):
    with open_ledger(site.ledger) as ledger:
        before = len(all_kept(ledger, "sheet"))
        new = not all_kept(ledger, "meter")
    presses = to_the_setup(visit)
    if not new:  # the other device was here first
        for box in visit.locator("[name=meter]").all():
            box.uncheck(force=True)
        visit.locator("[name=newmeter0_use]").check(force=True)
    tag = f"{visit.device} "
    presses.on(visit.locator(".newmeter").first.locator("label.chip", has_text="0.1"))
    presses.typed(visit.locator("#newpiece0_tag"), f"{tag}7")
    presses.typed(visit.locator("#newpiece0_length"), "7.2")
    presses.typed(visit.locator("#newpiece1_tag"), f"{tag}18")
    presses.typed(visit.locator("#newpiece1_length"), "17.9")
    presses.on(visit.locator("label.chip", has_text="10 m"))
    presses.on(visit.get_by_role("button", name="Put in the reference jumper"))
    first_reading(visit, site, before)
    assert presses.many <= 12


def test_a_known_station_needs_eight_presses(visit, site):
    bench_of(site.ledger, f"Known {visit.device}")
    with open_ledger(site.ledger) as ledger:
        before = len(all_kept(ledger, "sheet"))
    presses = to_the_setup(visit)
    for tag in ("blue 7", "blue 18"):
        presses.on(visit.locator("label.pick", has_text=tag).first)
    expect(visit.locator("#changes")).to_have_text("7")
    presses.on(visit.get_by_role("button", name="Put in the reference jumper"))
    first_reading(visit, site, before)
    assert presses.many <= 8


def test_what_was_taken_last_time_is_taken_again(station):
    client, ledger = station
    assert sent(client, frequencies="17m", reference_line="RG-58C/U", reference_length="0.9").status_code == 200
    add(ledger, "meter", {"name": "never used"})
    page = client.get("/bench/new?piece=blue%207").text
    ticked = [part.partition('"')[0] for part in page.split('value="')[1:] if "checked" in part.partition(">")[0]]
    assert {"meter 1", "blue 7", "14.2 MHz", "18.12 MHz"} <= set(ticked)
    assert "never used" not in ticked
    assert 'name="reference_length" value="0.9 m"' in page
