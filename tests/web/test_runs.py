"""Runs: made from nothing, drawn as they lie, changed where they are drawn, undone, and kept as plans beside."""

import html
import itertools
import json
import re
from itertools import pairwise
from urllib.parse import parse_qs, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st
from playwright.sync_api import expect
from starlette.testclient import TestClient

from examples import few
from linewright.core.errors import InputError
from linewright.core.formatting import capitalized
from linewright.files.station_gear import ANTENNA, RADIO
from linewright.present.compose import plan_words as words
from linewright.verbs.shelf import add, kept, open_ledger
from linewright.web import run_fields
from linewright.web.app import create_app
from linewright.web.drawing import drawn_band
from linewright.web.run_edit import Edit, apply_edit, standing
from linewright.web.run_state import RunState, address, state_of
from linewright.web.sessions import Settings
from linewright.web.stations import INVENTED, Drawings, checked, held, invented, packed, unpacked
from web.conftest import BOTH, DESK_FIRST, EVERYONE, PHONE, fits, on_paper, picture, sound

HOME = "http://localhost:8731"
BEAM = "/runs/run?station=harbour-ridge&run=two-metre+beam"
WIRE = "/runs/run?station=harbour-ridge&run=multiband+wire"
OWN = """
[station]
name = "Gull Point (invented)"
[[run]]
name = "beam"
frequencies = ["144.3 MHz"]
power = "50 W"
chain = [{line = "RG-213/U", length = "20 m"}]
antenna = {swr = 1.5}
"""


@pytest.fixture(autouse=True)
def own_ledger(monkeypatch, tmp_path):
    """Keep what a test keeps in a ledger of its own."""
    monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "ledger.sqlite"))


@pytest.fixture(scope="module")
def stranger(tmp_path_factory):
    """Return a visitor of a station that a whole property test asks."""
    return TestClient(create_app(Settings(str(tmp_path_factory.mktemp("any") / "l.sqlite"))), base_url=HOME)


def visitor():
    return TestClient(create_app(Settings()), base_url=HOME)


def token(client):
    return client.get("/runs").text.split('name="token" content="')[1].split('"')[0]


def said(page):
    """Return the words of a page."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page.text)).split())


def begun(client, band="2 m"):
    """Draw a new run in an empty ledger, and return where it is."""
    page = client.post("/runs/new", data={"band": band, "token": token(client)})
    return {k: v[0] for k, v in parse_qs(urlsplit(str(page.url)).query).items()}


def edited(client, where, **told):
    """Make an edit, and return the page that answers it."""
    return client.post(
        "/runs/edit", data={**where, **{k.replace("__", "."): v for k, v in told.items()}, "token": token(client)}
    )


def invented_run(number=1):
    """Return the invented station's tables, and one of its runs."""
    draft = Drawings().draft(None, INVENTED)
    return draft, draft.tables, draft.tables["run"][number]


# Figures and words


def test_the_page_has_the_figures_of_the_plan():
    (band,) = held(INVENTED).plan("two-metre beam").budgets[0].bands
    shown = said(visitor().get(BEAM))
    assert words.arrival(band) in shown
    assert capitalized(band.weakest) in shown
    assert f"{band.parts[3].loss_db:.2f} dB" in shown


def test_what_is_tried_is_planned_and_written_nowhere():
    client = visitor()
    page = client.get(f"{BEAM}&open=6&do=set&f.length=12")
    (band,) = held(INVENTED).plan("two-metre beam", ("line 3 length = 12 m",)).budgets[0].bands
    assert words.arrival(band) in said(page)
    assert "Tried, not kept" in said(page)
    assert "Tried, not kept" not in said(client.get(BEAM))


def test_a_distance_inside_the_near_field_has_no_figure_on_the_page():
    shown = visitor().get("/runs/run?station=harbour-ridge&run=portable+mast&view=exposure")
    exposed = shown.text[shown.text.index('id="exposed-name"') : shown.text.index('id="limits"')]
    assert "near-field calculation" in exposed
    exposed = re.sub(r"<[^>]+>", " ", exposed[exposed.index("<table") :])
    hf = exposed[exposed.index("14.2 MHz") : exposed.index("144.3 MHz")]
    assert "no figure" in hf


def test_what_is_over_a_rating_is_marked():
    client = visitor()
    assert 'class="over">At 3.65 MHz' not in client.get(WIRE).text
    over = client.get(f"{WIRE}&open=radio&do=set&f.power=400").text
    assert "voltage over the rating of balanced tuner" in over
    assert 'class="over">At 3.65 MHz' in over


# The drawing


def points(path):
    return [tuple(map(float, pair.split(" "))) for pair in re.findall(r"L([\d.]+ [\d.]+)", path)]


@pytest.mark.parametrize("run", ["two-metre beam", "multiband wire", "repeater link", "portable mast"])
def test_a_band_is_as_wide_as_the_power_on_its_way(run):
    for x in held(INVENTED).plan(run).budgets[0].bands:
        drawn = drawn_band(x)
        last = points(drawn.slices[-1].way_h)[0]
        assert last[1] == pytest.approx(100 * x.power_at_antenna_w_low / x.power_w, abs=0.05)
        lying = [share for s in drawn.slices for _, share in reversed(points(s.way_h))]
        assert all(b <= a + 0.02 for a, b in pairwise(lying))
        for s in drawn.slices:
            assert [(b, a) for a, b in points(s.way_h)] == points(s.way_v)


def test_a_slice_is_wider_for_a_longer_line_and_none_is_lost():
    for run in held(INVENTED).station.runs:
        x = held(INVENTED).plan(run.name).budgets[0].bands[0]
        drawn = drawn_band(x)
        assert min(s.grown for s in drawn.slices) >= 12
        lines = sorted((p.length_m, s.grown) for p, s in zip(x.parts, drawn.slices, strict=True) if p.length_m)
        assert [g for _, g in lines] == sorted(g for _, g in lines)


def test_the_part_a_text_names_is_the_part_in_the_picture():
    page = visitor().get(BEAM)
    picture_of = re.findall(r'data-number="(\d+)" id="at-(\d+)".*?<b title="([^"]+)">', page.text)
    parts = held(INVENTED).plan("two-metre beam").budgets[0].bands[0].parts
    assert [html.unescape(name) for _, _, name in picture_of] == [p.name for p in parts]
    assert not re.search(r"\bline \d\b", said(page))


# The address


@given(st.text(max_size=200), st.dictionaries(st.text(max_size=8), st.text(max_size=50), max_size=3))
def test_a_station_comes_back_from_its_address(text, files):
    try:
        key = packed(text, files)
    except UnicodeEncodeError:
        return
    assert unpacked(key) == (text, files)


@pytest.mark.parametrize("key", ["~", "~!!", "~AAAA", "~eJwDAAAAAAE", "elsewhere"])
def test_a_spoilt_address_says_so(key):
    with pytest.raises(InputError):
        held(key)


def test_a_state_comes_back_from_its_address():
    state = RunState(
        "harbour-ridge", "two-metre beam", "foam", "144300000", "4", "", "ratings", "", "set", (("f.length", "12"),)
    )
    asked = dict(parse_qs(urlsplit(address(state)).query))
    assert state_of({k: v[0] for k, v in asked.items()}) == state


def test_a_field_may_not_read_a_file_of_this_machine():
    with pytest.raises(InputError, match="must not name a file"):
        checked("antenna touchstone = secret.s1p")
    page = visitor().get(f"{BEAM}&open=antenna&do=set&f.antenna.touchstone=/etc/hostname")
    assert "must be given with the station" in said(page)


OPENED = ["", "1", "4", "9", "gap0", "gap3", "gap99", "radio", "antenna", "site", "limits", "run", "plans", "nowhere"]
DONE = ["set", "put", "swap", "out", "move", "own", "band", "lay", "nothing"]
TYPED = ["0", "-1", "1e9", "nan", "12 m", "1e300 W", "RG-213/U", "piece:blue 18", "line:RG-8/U", "usual:tuner", "gap2",
         "connector:N", "2 m", "1:2", '[["RG-8/U", 3, 0]]', "50: 1; 144: 2"]  # fmt: skip
FIELDS = [
    "f.length",
    "f.power",
    "f.antenna.swr",
    "f.name",
    "f.loss",
    "to",
    "stretches",
    "f.frequencies",
    "how",
    "view",
    "band",
]


@few(25)
@given(
    st.sampled_from(OPENED), st.sampled_from(DONE),
    st.dictionaries(st.sampled_from(FIELDS), st.text(max_size=8) | st.sampled_from(TYPED), max_size=4),
)  # fmt: skip
def test_whatever_is_typed_is_answered(stranger, opened, done, typed):
    asked = {"station": "harbour-ridge", "run": "portable mast", "open": opened, "do": done, **typed}
    page = stranger.get("/runs/run", params=asked)
    assert page.status_code == 200
    assert 'id="verdict"' in page.text


# A run made from nothing


def test_a_run_says_something_two_presses_from_the_first_button_and_what_it_assumed():
    client = visitor()
    front = client.get("/runs").text
    assert re.search(
        r'<form method="post" action="/runs/new".*?<button class="chip" name="band" value="2 m">', front, re.DOTALL
    )
    page = client.post("/runs/new", data={"band": "2 m", "token": token(client)})
    shown = said(page)
    assert "W of 50 W reach the antenna" in shown
    assert "Taken for now, until you say otherwise: 50 W of FM , 20 m of RG-213/U , an antenna of SWR 1.5" in shown
    where = begun(client, "40 m")  # a second run joins the same station
    assert where["run"] == "40 m run"
    assert len(client.get("/runs", params={"station": where["station"]}).text.split("/runs/run?")) > 2


def test_a_run_without_a_gain_draws_no_empty_distances():
    client = visitor()
    where = begun(client)
    page = client.get("/runs/run", params={**where, "view": "exposure"})
    assert "What is needed: the antenna's gain" in said(page)
    assert 'class="arc"' not in page.text
    edited(client, where, open="antenna", do="set", f__gain="11")
    assert 'class="arc"' in client.get("/runs/run", params={**where, "view": "exposure"}).text


def test_what_was_said_is_assumed_no_longer():
    client = visitor()
    where = begun(client)
    page = edited(client, where, open="radio", do="set", f__power="25")
    assert "25 W reach" in said(page)
    assert "Taken for now, until you say otherwise: 20 m of RG-213/U , an antenna of SWR 1.5" in said(page)


def test_parts_are_put_in_changed_moved_swapped_and_taken_out():
    client = visitor()
    where = begun(client)
    edited(client, where, open="gap2", do="put", to="usual:arrestor")
    edited(client, where, open="gap0", do="put", to="line:", f__line="RG-58C/U", f__length="1,5")
    edited(client, where, open="2", do="set", f__length="12")
    edited(client, where, open="4", do="move", to="radio")
    edited(client, where, open="1", do="swap", to="line:RG-8X type")
    chain = chain_of(where)
    assert chain == [
        {"line": "RG-8X type", "length": "1.5 m"}, {"line": "RG-213/U", "length": "12 m"},
        {"part": "arrestor", "loss": "0.1 dB"}, {"connector": "N", "pairs": 2},
    ]  # fmt: skip
    edited(client, where, open="2", do="out")
    assert len(chain_of(where)) == 3


def chain_of(where):
    from linewright.verbs.shelf_edits import drawn_body

    with open_ledger() as ledger:
        body = drawn_body(ledger, where["station"].removeprefix("="))[0].body
    return next(r for r in body["station"]["run"] if r["name"] == where["run"])["chain"]


def test_what_cannot_be_is_told_at_its_field_keeps_what_was_typed_and_writes_nothing():
    client = visitor()
    where = begun(client)
    page = edited(client, where, open="1", do="set", f__length="12 bananas")
    assert page.status_code == 422
    assert re.search(r'value="12 bananas"[^>]*aria-invalid="true"', page.text)
    assert re.search(r'class="over" id="f-length-wrong">[^<]*bananas', page.text)
    assert chain_of(where)[0]["length"] == "20 m"


def test_every_step_is_undone_and_done_again():
    client = visitor()
    where = begun(client)
    for power in ("40", "30", "20"):
        edited(client, where, open="radio", do="set", f__power=power)
    for sign, expected in (
        ("undo", "30"),
        ("undo", "40"),
        ("redo", "30"),
        ("undo", "40"),
        ("undo", "50"),
        ("redo", "40"),
    ):
        page = client.get("/runs/run", params=where).text
        number = re.search(rf'name="change" value="(\d+)"><button class="ib" id="{sign}"', page)[1]
        page = client.post("/runs/undo", data={**where, "change": number, "token": token(client)})
        assert f"of {expected} W reach" in said(page), (sign, expected)


def test_what_was_changed_meanwhile_is_not_written_over():
    client = visitor()
    where = begun(client)
    with open_ledger() as ledger:
        drawings = Drawings()
        draft = drawings.draft(ledger, where["station"])
        edited(client, where, open="radio", do="set", f__power="40")
        from linewright.core.nouns.ledger import ConflictError
        from linewright.verbs.shelf_open import By

        with pytest.raises(ConflictError):
            drawings.kept(ledger, draft, {}, By())


def test_a_plan_is_kept_in_the_ledger_changed_by_itself_and_laid():
    client = visitor()
    where = begun(client)
    asked = {**where, "open": "1", "do": "swap", "to": "line:corrugated 1/2 in foam", "what": "keep", "name": "stiff"}
    client.post("/runs/plan", data={**asked, "token": token(client)})
    shown = said(client.get("/runs/run", params=where))
    assert "stiff corrugated 1/2 in foam, 20 m for RG-213/U, 20 m" in shown
    assert "dB sent" in shown
    assert chain_of(where)[0]["line"] == "RG-213/U"
    edited(client, {**where, "plan": "stiff"}, open="1", do="set", f__length="15")
    assert chain_of(where)[0]["length"] == "20 m"
    client.post("/runs/plan", data={**where, "plan": "stiff", "what": "lay", "token": token(client)})
    assert chain_of(where)[0] == {"line": "corrugated 1/2 in foam", "length": "15 m"}
    page = client.post("/runs/plan", data={**where, "plan": "stiff", "what": "drop", "token": token(client)})
    assert "stiff" not in said(page)


def test_a_run_is_named_copied_and_taken_out_and_its_station_put_away_and_brought_back():
    client = visitor()
    where = begun(client)
    edited(client, where, open="run", do="set", f__name="repeater")
    where |= {"run": "repeater"}
    client.post("/runs/more", data={**where, "what": "copy", "token": token(client)})
    listed = client.get("/runs", params={"station": where["station"]})
    assert "repeater 2" in said(listed)
    client.post("/runs/more", data={**where, "run": "repeater 2", "what": "out", "token": token(client)})
    assert "repeater 2" not in said(client.get("/runs", params={"station": where["station"]}))
    client.post("/shelf/away/station/My station", data={"token": token(client)})
    assert "My station" not in said(client.get("/runs"))
    client.post("/shelf/away/station/My station", data={"back": "1", "token": token(client)})
    assert "My station" in said(client.get("/runs"))


def test_a_band_more_is_planned_as_near_as_the_antenna_is_known():
    client = visitor()
    where = {"station": "harbour-ridge", "run": "portable mast"}
    page = edited(client, where, open="radio", do="band", to="70 cm")
    assert "435 MHz" in said(page)
    assert page.url.params["station"].startswith("~")
    gone = edited(client, {**where, "station": page.url.params["station"]}, open="radio", do="band", to="70 cm")
    assert "435 MHz" not in said(gone).partition("Other bands")[0]


def test_a_radio_and_an_antenna_are_kept_under_a_name_and_named_by_other_runs():
    client = visitor()
    where = begun(client)
    edited(client, where, open="radio", do="set", f__receiver__noise_figure="4")
    for kind, name in (("radio", "desk rig"), ("antenna", "short yagi")):
        page = client.post("/runs/gear", data={**where, "open": kind, "name": name, "token": token(client)})
        assert page.status_code == 200
    with open_ledger() as ledger:
        assert kept(ledger, "radio", "desk rig").body["receiver"] == {"noise_figure": "4 dB"}
        assert kept(ledger, "antenna", "short yagi").body["swr"] == 1.5
    other = begun(client)
    page = edited(client, other, open="antenna", do="set", f__antenna="short yagi")
    assert "It is the kept antenna short yagi" in said(page)
    assert (
        client.post(
            "/runs/gear", data={**other, "open": "radio", "name": "desk rig", "token": token(client)}
        ).status_code
        == 422
    )


# Shared parts


def test_a_part_that_runs_share_is_changed_for_all_or_given_to_one():
    _, tables, run = invented_run()
    found = standing(tables, run)
    assert [s.shared for s in found[:4]] == ["shack end"] * 3 + [""]
    assert len(found[0].users) == 3
    apply_edit(Edit("set", tables, run, {"f.length": "2"}, number=1))
    assert tables["part"][0]["chain"][0]["length"] == "2 m"
    apply_edit(Edit("own", tables, run, {}, number=1))
    apply_edit(Edit("set", tables, run, {"f.length": "3"}, number=1))
    assert tables["part"][0]["chain"][0]["length"] == "2 m"
    assert run["chain"][0]["length"] == "3 m"


@few(60)
@given(st.lists(st.tuples(st.sampled_from(["put", "out", "move"]), st.integers(0, 9), st.integers(0, 9)), max_size=6))
def test_whatever_is_moved_the_parts_that_were_not_touched_stay_in_order(steps):
    _, tables, run = invented_run()
    names = [id_of(s) for s in standing(tables, run)]
    for do, number, to in steps:
        count = len(names)
        if do == "put":
            gap = number % (count + 1)
            apply_edit(Edit(do, tables, run, {"to": "connector:TNC"}, gap=gap))
            names.insert(gap, "TNC")
        elif count:
            here = number % count + 1
            gap = to % (count + 1)
            apply_edit(Edit(do, tables, run, {"to": f"gap{gap}"}, number=here))
            name = names.pop(here - 1)
            if do == "move":
                names.insert(gap if gap < here else gap - 1, name)
        assert [id_of(s) for s in standing(tables, run)] == names


def id_of(place):
    return next(str(v) for k, v in place.entry.items() if k in run_fields.PARTS)


# Every key has a control

ELSEWHERE = {
    "evidence": "/shelf/file", "piece": "/shelf/new/piece", "line": "/lines", "run": "drawn", "part": "drawn",
    "chain": "drawn", "bands": "drawn", "note": "/shelf",
}  # fmt: skip
"""Keys that are no field: drawn, or kept on the shelf, where they have pages of their own."""
SCOPES = {
    "run": (run_fields.FREQUENCIES, *run_fields.RADIO, *run_fields.ANTENNA, *run_fields.LIMITS, *run_fields.WISHES,
            *run_fields.ROUTE, *run_fields.OF_RUN),
    "chain": tuple(f for own in run_fields.PARTS.values() for f in own),
    "part": run_fields.SHARED_PART,
}  # fmt: skip
NESTED = {
    "run antenna": "antenna.", "run receiver": "receiver.", "run preamplifier": "preamplifier.", "run over": "over.",
    "run exposure": "exposure.", "run choose": "choose.", "run choose preamplifier": "choose.preamplifier.",
}  # fmt: skip


def test_every_key_of_a_station_file_has_a_control():
    from importlib.resources import files

    schema = json.loads((files("linewright.files") / "schemas" / "read-station.json").read_text(encoding="utf-8"))
    keys = {f.key for own in (*SCOPES.values(), run_fields.SHAPE, run_fields.OF_STATION) for f in own}
    missing = []
    for name, table in schema["$defs"].items():
        for key in properties_of(table):
            if name in NESTED:
                there = f"{NESTED[name]}{key}" in keys or any(k.startswith(f"{NESTED[name]}{key}.") for k in keys)
            elif name == "station":
                there = f"station.{key}" in keys or key in ELSEWHERE
            elif name in SCOPES:
                own = {f.path[0] for f in SCOPES[name]}
                there = key in own or key in ELSEWHERE
            elif name in ("radio", "antenna"):
                there = key in (*RADIO, *ANTENNA, "name") or key in ELSEWHERE
            else:
                continue  # types and pieces are kept on the shelf
            missing += [] if there else [(name, key)]
    assert missing == []
    assert set(schema["properties"]) <= {*ELSEWHERE, *(k.split(".")[0] for k in keys), "station"}


def properties_of(table):
    found = dict(table.get("properties", {}))
    for kind in ("anyOf", "oneOf", "allOf"):
        for one in table.get(kind, ()):
            found |= properties_of(one)
    return found


@pytest.mark.parametrize("kind", list(run_fields.USUAL))
def test_whatever_part_is_put_in_can_be_planned_and_every_field_of_it_is_shown(kind):
    client = visitor()
    where = begun(client, "40 m")
    page = edited(client, where, open="gap1", do="put", to=f"usual:{kind}")
    assert page.status_code == 200
    opened = client.get("/runs/run", params={**where, "open": "2"}).text
    entry = run_fields.USUAL[kind]
    for field in run_fields.PARTS[run_fields.kind_of(entry)]:
        assert f'name="{field.name}"' in opened


def test_a_part_by_its_sweep_is_put_in_from_its_file():
    from linewright.verbs.examples import demo_file

    client = visitor()
    where = begun(client, "2 m")
    sweep = demo_file("drum.s2p")
    page = client.post(
        "/runs/edit", data={**where, "open": "gap0", "do": "put", "to": "sweep:", "token": token(client)},
        files={"f.touchstone": ("drum.s2p", sweep.read_bytes())},
    )  # fmt: skip
    assert page.status_code == 200
    assert chain_of(where)[0] == {"touchstone": "drum.s2p"}
    assert "drum.s2p" in said(page)


# Files


def test_a_pasted_station_is_held_by_its_address():
    client = visitor()
    answer = client.post("/runs", data={"text": OWN, "token": token(client)})
    assert "Gull Point" in answer.text
    assert answer.url.params["station"].startswith("~")
    assert "Gull Point" in visitor().get(str(answer.url)).text


def test_a_station_is_kept_in_the_ledger_and_planned_from_there():
    client = visitor()
    answer = client.post("/runs", data={"text": OWN, "keep": "yes", "token": token(client)})
    assert answer.url.params["station"] == "=Gull Point (invented)"
    asked = {"station": "=Gull Point (invented)", "run": "beam"}
    page = client.get("/runs/run", params={**asked, "open": "1", "do": "set", "f.length": "10"})
    assert "Tried, not kept" in page.text
    front = client.get("/runs").text
    own = re.search(
        r'<h3><a href="[^"]+">Gull Point.*?<a href="([^"]+)">beam</a> <span[^>]*>([^<]*)<', front, re.DOTALL
    )
    assert "Where the power goes" in client.get(html.unescape(own[1])).text
    assert "50 W" in own[2]
    assert "invented Harbour Ridge" not in front  # with a station of one's own the example is in nobody's way
    again = OWN.replace("20 m", "40 m")
    client.post("/runs", data={"text": again, "keep": "yes", "token": token(client)})
    assert "RG-213/U, 40 m" in client.get("/runs/run", params=asked).text
    assert "Gull Point" in client.get("/runs/file", params={"station": "=Gull Point (invented)"}).text
    assert client.get("/runs/run", params={"station": "=Nowhere", "run": "beam"}).status_code == 422


def test_a_station_kept_in_the_ledger_may_name_a_piece_of_the_shelf():
    client = visitor()
    text = OWN.replace('{line = "RG-213/U", length = "20 m"}', '{piece = "black 20"}')
    sent = {"text": text, "keep": "yes", "token": token(client)}
    refused = client.post("/runs", data=sent)
    assert refused.status_code == 422
    assert "black 20" in refused.text
    with open_ledger() as ledger:
        add(ledger, "piece", {"tag": "black 20", "line": "RG-213/U", "length": "20.4 m"})
    answer = client.post("/runs", data=sent)
    assert answer.url.params["station"] == "=Gull Point (invented)"


def test_a_gap_opens_at_the_shelf_while_a_piece_is_spare():
    client = visitor()
    where = begun(client)
    with open_ledger() as ledger:
        add(ledger, "piece", {"tag": "red 12", "line": "rg213", "length": "12 m"})

    def tab():
        page = client.get("/runs/run", params={**where, "open": "gap0"}).text
        return re.search(r'id="tab-(\w+)" aria-current', page)[1]

    assert tab() == "shelf"
    page = edited(client, where, open="1", do="swap", to="piece:red 12")
    assert "12 m RG-213/U" in said(page)  # its type is written as the catalogue has it
    assert tab() == "line"
    assert "Everything on the shelf is already in this run" in said(
        client.get("/runs/run", params={**where, "open": "gap0", "tab": "shelf"})
    )


def test_a_station_comes_with_the_files_it_names():
    text, files = invented()
    given_files = [("files", ("station.toml", text)), *(("files", (n, t)) for n, t in files.items())]
    client = visitor()
    answer = client.post("/runs", files=given_files, data={"token": token(client)})
    assert "two-metre beam" in answer.text


def test_the_invented_file_is_a_start_for_ones_own():
    client = visitor()
    text = invented()[0].replace("50 W", "55 W")
    answer = client.post("/runs", data={"text": text, "beside": INVENTED, "token": token(client)})
    assert "of 55 W" in answer.text
    changed = unpacked(answer.url.params["station"])[0].replace("55 W", "60 W")
    again = client.post("/runs", data={"text": changed, "beside": answer.url.params["station"], "token": token(client)})
    assert "of 60 W" in again.text


def test_a_station_that_cannot_be_read_loses_nothing():
    client = visitor()
    answer = client.post("/runs", data={"text": OWN.replace("RG-213/U", "RG-999"), "token": token(client)})
    assert answer.status_code == 422
    assert "RG-999" in answer.text
    assert "Gull Point" in answer.text


def test_it_works_without_scripts():
    page = visitor().get(f"{BEAM}&open=6&do=set&f.length=12").text
    assert "Tried, not kept" in page
    assert ">Try it</button>" in page
    assert ">Keep it</button>" in page
    assert "corrugated 7/8 in foam" in page  # what could lie there stands with its watts at once


def test_every_figure_opens_to_its_workings():
    client = visitor()
    page = client.get(WIRE).text
    links = re.findall(r'class="figure[^"]*" data-part="result" href="([^"]+)"', page)
    assert len(links) > 40
    for link in links[:: max(1, len(links) // 12)]:
        assert "How it was worked out" in client.get(link.replace("&amp;", "&")).text, link


def test_a_run_of_one_band_is_drawn_once():
    client = visitor()
    one, several = (client.get(at).text for at in (BEAM, WIRE))
    assert (one.count('class="bcols"'), several.count('class="bcols"')) == (0, 1)
    assert "Plans side by side" in one


def test_a_page_is_light():
    client = visitor()
    parts = (WIRE, "/static/style.css", "/static/parts.js", "/static/runs.css", "/static/draw.css", "/static/draw.js")
    assert sum(len(client.get(p).content) for p in parts) < 150_000


# In the browser


def new_run(visit, band="2 m"):
    visit.goto("/runs")
    visit.get_by_role("button", name=band, exact=True).click()
    visit.wait_for_selector("#line")
    visit.wait_for_load_state()


@BOTH
def test_a_run_is_built_changed_undone_and_kept_without_a_line_of_a_file(visit):
    new_run(visit)
    run = visit.inner_text("h1")
    visit.click("#at-gap2")
    visit.get_by_role("link", name="Part", exact=True).click()
    visit.locator(".sw", has_text="Arrestor").click()
    visit.wait_for_selector("#trying")
    visit.click("#tried")
    visit.wait_for_selector('#line [data-number="3"]')
    visit.wait_for_selector("#trying", state="detached")
    visit.click("#insp-close")
    visit.click("#at-1")
    visit.fill("#f-length", "30")
    visit.wait_for_selector("#trying")
    assert visit.evaluate("document.activeElement.id") == "f-length"
    visit.locator("#fields").get_by_text("Keep it", exact=True).click()
    visit.wait_for_selector("#trying", state="detached")
    expect(visit.locator("#at-1")).to_contain_text("30 m")
    visit.click("#insp-close")
    visit.click("#undo")
    expect(visit.locator("#at-1")).to_contain_text("20 m")
    visit.click("#redo")
    expect(visit.locator("#at-1")).to_contain_text("30 m")
    visit.reload()
    expect(visit.locator("h1")).to_have_text(run)
    expect(visit.locator("#at-1")).to_contain_text("30 m")


def test_a_swap_is_tried_kept_as_a_plan_and_laid(visit):
    new_run(visit)
    visit.click("#at-1")
    visit.wait_for_selector("#offers a.sw")
    visit.locator("a.sw", has_text="corrugated 1/2 in foam").click()
    visit.wait_for_selector("#trying")
    expect(visit.locator(".wasw")).to_have_count(1)
    visit.locator("#insp").get_by_text("Keep as a plan").last.click()
    visit.wait_for_selector("#lay")
    expect(visit.locator(".plans li")).to_have_count(2)
    picture(visit, "run-plans")
    visit.click("#lay")
    visit.wait_for_selector("#lay", state="detached")
    expect(visit.locator("#at-1")).to_contain_text("corrugated")


@DESK_FIRST
def test_the_line_is_walked_opened_moved_and_emptied_by_keyboard(visit):
    new_run(visit)
    visit.focus("#at-radio")
    for _ in range(2):
        visit.keyboard.press("ArrowRight")
    assert visit.evaluate("document.activeElement.id") == "at-1"
    visit.keyboard.press("Enter")
    visit.wait_for_selector("#insp")
    assert visit.evaluate("document.activeElement.id") == "insp-h"
    visit.keyboard.press("Alt+ArrowRight")
    expect(visit.locator("#at-2")).to_contain_text("RG-213/U")
    visit.keyboard.press("Escape")
    visit.wait_for_selector("#insp", state="detached")
    assert visit.evaluate("document.activeElement.id") == "at-2"
    visit.keyboard.press("Delete")
    expect(visit.locator("#line .part")).to_have_count(1)
    visit.keyboard.press("Control+z")
    expect(visit.locator("#line .part")).to_have_count(2)


def test_a_wrong_entry_is_reported_at_its_field_and_kept_there(visit):
    new_run(visit)
    visit.click("#at-1")
    visit.fill("#f-length", "12 bananas")
    visit.wait_for_selector("#f-length-wrong")
    assert "bananas" in visit.inner_text("#f-length-wrong")
    assert visit.input_value("#f-length") == "12 bananas"


def test_a_length_is_changed_in_a_browser_without_scripts(browser, site):
    context = browser.new_context(base_url=site.address, java_script_enabled=False, **PHONE)
    page = context.new_page()
    page.goto(BEAM)
    page.click("#at-6")
    page.fill("#f-length", "12")
    page.click("text=Try it")
    assert "Tried, not kept" in page.inner_text("#trying")
    page.locator("#fields").get_by_text("Keep it", exact=True).click()
    assert "12 m" in page.inner_text("#at-6")
    context.close()


@DESK_FIRST
def test_the_page_is_the_report_on_paper(visit):
    visit.goto(f"{BEAM}&open=4")
    visit.emulate_media(media="print")
    assert not visit.is_visible("#insp")
    assert not visit.is_visible(".tabs")
    assert visit.is_visible("#line")
    assert visit.is_visible("#cautions-name")
    picture(visit, "runs-print")


@EVERYONE
def test_runs_are_sound_for_everyone(visit, paper):
    visit.goto("/runs")
    on_paper(visit, paper)
    spots = {
        "runs": "/runs", "runs-station": "/runs?station=harbour-ridge", "runs-beam": BEAM,
        "runs-part": f"{BEAM}&open=4", "runs-gap": f"{BEAM}&open=gap4", "runs-antenna": f"{WIRE}&open=antenna",
        "runs-radio": f"{BEAM}&open=radio", "runs-wire": f"{WIRE}&view=ratings&how=total@3650000",
    }  # fmt: skip
    for name, path in spots.items():
        visit.goto(path)
        sound(visit, name)
        if visit.device == "phone":
            assert small(visit) == [], name
        picture(visit, f"{name}-{paper}")


SMALL = """() => {
  const out = [];
  const all = "a[href], button, input, select, summary";
  for (const el of document.querySelectorAll(`#result :is(${all})`)) {
    const box = el.getBoundingClientRect();
    const passed = "[inert], [hidden], .scrim, table, .cautions";
    const label = el.closest("label")?.getBoundingClientRect();
    const tall = Math.max(box.height, label?.height ?? 0), wide = Math.max(box.width, label?.width ?? 0);
    if (el.closest(passed) || el.type === "hidden" || !el.checkVisibility() || !box.width) continue;
    const sentence = el.closest("p, li, .hint")?.textContent.trim().length > el.textContent.trim().length + 40;
    if ((tall < 43.5 || wide < 43.5) && !sentence) out.push(`${el.tagName} ${el.id} ${wide}x${tall} ${el.textContent}`);
  }
  return out;
}"""


def small(visit):
    """Return what of the drawing is smaller to touch than 44 px; links inside a sentence aside."""
    return visit.evaluate(SMALL)


@pytest.mark.parametrize("there", [BEAM, WIRE, f"{BEAM}&open=4", f"{BEAM}&open=gap2", f"{WIRE}&open=radio"])
def test_no_page_of_a_run_scrolls_sideways(browser, site, there):
    context = browser.new_context(base_url=site.address)
    page = context.new_page()
    page.goto(there)
    for width in (320, 360, 390, 768, 1024, 1440):
        page.set_viewport_size({"width": width, "height": 800})
        assert fits(page), width
    context.close()


UNDER_THE_BAR = """() => {
  const bar = document.querySelector('.top nav'), box = bar.getBoundingClientRect(), over = new Set();
  for (let y = box.top + 3; y < box.bottom; y += 6)
    for (let x = 4; x < box.right; x += 12) {
      const there = document.elementFromPoint(x, y);
      if (!bar.contains(there)) over.add(there.closest('[id]')?.id);
    }
  return [...over];
}"""


@pytest.mark.parametrize("visit", ["phone"], indirect=True)
def test_on_a_phone_the_line_is_one_band_and_nothing_lies_over_the_bar(visit):
    visit.goto(BEAM)
    visit.wait_for_load_state()
    slices = visit.evaluate(
        "[...document.querySelectorAll('.part .pw.v')].map(e => e.getBoundingClientRect()).map(r => [r.top, r.bottom])"
    )
    assert len(slices) > 3
    assert all(abs(above[1] - below[0]) < 2 for above, below in itertools.pairwise(slices))
    cut = "e => e.scrollHeight > e.clientHeight + 1"
    assert visit.evaluate(f"[...document.querySelectorAll('.part .nm')].filter({cut}).map(e => e.textContent)") == []
    for down in range(0, 600, 40):
        visit.evaluate(f"scrollTo(0, {down})")
        assert visit.evaluate(UNDER_THE_BAR) == [], down
