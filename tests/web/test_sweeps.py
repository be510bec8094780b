"""Sweeps: files handed in and read, an antenna behind its line, one end in hand; words and figures as the commands'."""

import html
import re
from dataclasses import fields
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from linewright.present.charts.law import law_chart
from linewright.present.compose.one_end import one_end_document
from linewright.present.compose.sweep import sweep_document
from linewright.present.compose.through import through_document
from linewright.present.writers.terminal import terminal
from linewright.verbs.sweep import SweepQuestion, read_sweep
from linewright.web import requests as asked
from linewright.web import sweep_page
from linewright.web import through_page as seen_page
from linewright.web.app import create_app
from linewright.web.sessions import Settings
from linewright.web.sweep_requests import MOST_POINTS, Uploads
from linewright.web.workings import OpenTable
from web.conftest import DESK, DESK_FIRST, EVERYONE, PHONE, fits, on_paper, picture, sound

HOME = "http://localhost:8731"
TOUCHSTONE = Path(__file__).parents[1] / "data" / "touchstone"
CABLE = TOUCHSTONE / "cables" / "coax_10m_two_port.s2p"
OPEN, SHORT = (TOUCHSTONE / "cables" / f"coax_one_of_pair_{end}_end.s1p" for end in ("open", "short"))
ANTENNA = TOUCHSTONE / "antennas" / "resonator_coax_62MHz.s1p"
ROWS = [{"frequency": "144 MHz", "far_end": e, "swr": v} for e, v in (("open", "7.1"), ("short", "6.8"))]
ONE_END = "/sweeps/one-end?at1=144+MHz&open1=7.1&short1=6.8&line=RG-58C%2FU&length=15+m"
THROUGH = "/sweeps/through?shack_swr=1.3&loss=3+dB"


@pytest.fixture(autouse=True)
def own_ledger(monkeypatch, tmp_path):
    """Keep what a test keeps in a ledger of its own."""
    monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "ledger.sqlite"))


@pytest.fixture
def visitor():
    client = TestClient(create_app(Settings()), base_url=HOME)
    client.token = client.get("/sweeps").text.split('name="token" content="')[1].split('"')[0]
    return client


def give(client, *paths, **data):
    files = [("files", (p.name, p.read_bytes())) for p in paths]
    return client.post("/sweeps", files=files, data={"token": client.token, **data})


def test_a_sweep_is_read_with_what_is_known_beside_it(visitor):
    answer = give(visitor, CABLE)
    assert answer.status_code == 200
    told = visitor.get(f"{answer.url}&length=10+m&line=RG-58C%2FU").text
    report = read_sweep([CABLE], ["through"], None)
    assert report.verdict[:30] in answer.text
    assert "10 m" in told
    assert told != answer.text


def cells(table):
    return [cell.words for row in table.rows for cell in row.cells if cell.words]


def test_figures_read_as_the_commands_write_them():
    report = read_sweep([OPEN, SHORT], ["open", "short"])
    seen = asked.see({"shack_swr": "1.3", "loss": "3 dB +- 0.5"})
    result = asked.prove(ROWS, {"line": "RG-58C/U", "length": "15 m"})
    swept, behind, near = sweep_page.shown(report), seen_page.through_shown(seen), seen_page.one_end_shown(result)
    for written, tables in (
        (terminal(sweep_document(report)), (swept.losses, swept.line, swept.types)),
        (terminal(through_document(seen)), (behind.figures,)),
        (terminal(one_end_document(result)), (near.losses, near.readings)),
    ):
        for shown in tables:
            assert len(cells(shown)) >= 3
            assert all(words in written for words in cells(shown))


AS_SEEN = ("band", "what", "type", "far end", "frequency", "read", "at the radio")
"""Columns that name a row or repeat what was read: nothing was worked out there."""


def worked_out(shown):
    """Return every figure of the tables of a page that was worked out."""
    tables = [value for f in fields(shown) if isinstance(value := getattr(shown, f.name), OpenTable)]
    return [
        cell
        for table in tables
        for row in table.rows
        for i, (column, cell) in enumerate(zip(table.columns, row.cells, strict=True))
        if cell.words and column.head not in AS_SEEN and (column.head or (i == 1 and len(row.cells) == 2))
    ]


@pytest.mark.parametrize(
    "shown",
    [
        lambda: sweep_page.shown(read_sweep([CABLE], ["through"], SweepQuestion(length_m=10.0))),
        lambda: sweep_page.shown(read_sweep([OPEN], ["load"], SweepQuestion(velocity_factor=0.66))),
        lambda: seen_page.through_shown(asked.see({"shack_swr": "1.3", "loss": "3 dB"})),
        lambda: seen_page.through_shown(asked.see({"loss": "1 dB"}, asked.curve_of("a.s1p", ANTENNA.read_text()))),
        lambda: seen_page.one_end_shown(asked.prove(ROWS, {"line": "RG-58C/U", "length": "15 m"})),
    ],
    ids=["two ports", "faults", "one reading", "curve", "one end"],
)
def test_every_figure_opens_to_its_own_workings(shown):
    figures = worked_out(shown())
    assert len(figures) >= 2
    for figure in figures:
        assert figure.workings, figure.words
        assert len(figure.workings) == 1, [w.figure for w in figure.workings]


def test_the_working_of_a_loss_is_that_of_its_own_frequency():
    rows = sweep_page.shown(read_sweep([CABLE], ["through"])).losses
    assert len(rows.rows) > 3
    for row in rows.rows:
        at, _, matched, ports = row.cells
        assert matched.workings[0].figure == f"matched loss at {at.words}: {matched.words}"
        assert ports.workings[0].figure.startswith(f"between the ports at {at.words}: {ports.words}")


def test_each_fault_has_a_working_with_its_own_place():
    report = read_sweep([OPEN], ["load"], SweepQuestion(velocity_factor=0.66))
    faults = sweep_page.shown(report).faults.rows
    assert faults
    assert report.along
    for line, fault in zip(faults, report.along.faults, strict=True):
        (working,) = line.cells[0].workings
        delay_ns = float(dict(working.inputs)["delay, one way"].removesuffix(" ns"))
        assert delay_ns * 0.66 * 0.299792458 == pytest.approx(fault.distance_m, abs=2e-3)


def test_a_sweep_says_that_it_goes_until_it_is_kept_for_a_piece(visitor):
    answer = give(visitor, CABLE)
    assert "It is lost when the app stops" in answer.text
    assert "/shelf/new/piece" in answer.text
    piece = {"tag": "long one", "line": "RG-58C/U", "length": "10 m", "token": visitor.token}
    assert visitor.post("/shelf/keep/piece", data=piece).status_code == 200
    again = visitor.get(str(answer.url)).text
    key = again.split('name="file" value="')[1].split('"')[0]
    sent = {"file": key, "end": "through", "piece": "long one", "token": visitor.token}
    kept = visitor.post("/sweeps/keep", data=sent).text
    assert "Kept as evidence of" in kept
    assert "It is lost when the app stops" not in kept
    assert CABLE.name in visitor.get("/shelf/piece/long one").text


def test_what_was_at_the_far_end_is_asked_where_a_name_does_not_tell(visitor, tmp_path):
    plain = tmp_path / "mast.s1p"
    plain.write_bytes(OPEN.read_bytes())
    answer = give(visitor, plain)
    assert "must be told for mast.s1p" in answer.text
    told = visitor.get(str(answer.url).replace("end=", "end=open")).text
    assert "must be told" not in told
    assert "It loses" in told


def test_two_files_of_one_line_answer_together(visitor):
    page = give(visitor, OPEN, SHORT).text
    assert "Far end of coax_one_of_pair_open_end.s1p" in page
    assert "It loses" in page


def test_a_bad_file_is_reported_by_name_and_row(visitor, tmp_path):
    bad = tmp_path / "bad.s1p"
    bad.write_text("# MHz S MA R 50\n10 0.5\n")
    answer = give(visitor, bad, CABLE)
    assert answer.status_code == 422
    assert "bad.s1p" in answer.text
    assert "row 2" in answer.text


def test_a_missing_option_line_may_be_given(visitor, tmp_path):
    text = re.sub(r"^#.*\n", "", OPEN.read_text(), flags=re.MULTILINE)
    line = re.search(r"^#.*$", OPEN.read_text(), re.MULTILINE)[0]
    bare = tmp_path / "bare_open.s1p"
    bare.write_text(text)
    assert give(visitor, bare).status_code == 422
    assert "It loses" in give(visitor, bare, option_line=line).text


def test_an_antenna_is_seen_behind_its_line(visitor):
    at_once = give(visitor, ANTENNA, of="antenna")
    assert "at the analyser, resonant at 62.384 MHz" in at_once.text
    (there,) = {html.unescape(t) for t in re.findall(r'data-picture="([^"]+)"', at_once.text)}
    drawn = visitor.get(there).text
    assert 'aria-roledescription="along"' in drawn
    assert "MHz: SWR " in html.unescape(drawn)
    assert "behind the line" not in at_once.text
    page = visitor.get(f"{at_once.url}&loss=0.2").text
    assert "behind the line (95 %)" in page


def test_two_sweeps_of_an_antenna_are_compared_under_their_names(visitor, tmp_path):
    for name, shift in (("one", 0), ("two", 1)):
        rows = "".join(f"{140 + i / 5},{1.2 + abs(i - 25 - 5 * shift) / 10:.2f}\n" for i in range(51))
        (tmp_path / f"{name}.csv").write_text(f"frequency_mhz,swr\n{rows}")
    answer = give(visitor, tmp_path / "one.csv", tmp_path / "two.csv", of="antenna")
    page = visitor.get(str(answer.url).replace("name=", "name=dry", 1)).text
    assert "What changed" in page
    assert "dry to two.csv" in page
    assert "two.csv, at the analyser: resonance" in page
    assert "higher" in page


def test_an_antenna_and_a_reading_are_seen_behind_a_piece_or_a_run_that_is_kept(visitor):
    piece = {"tag": "long one", "line": "RG-58C/U", "length": "10 m", "token": visitor.token}
    assert visitor.post("/shelf/keep/piece", data=piece).status_code == 200
    answer = give(visitor, ANTENNA, of="antenna")
    assert '<option value="piece:long one">' in answer.text
    assert "behind the line (95 %)" in visitor.get(f"{answer.url}&behind=piece:long+one").text
    seen = visitor.get("/sweeps/through?shack_swr=1.3&at=14&behind=piece:long+one").text
    assert "At the antenna it is" in seen
    told = visitor.get("/sweeps/through?shack_swr=1.3&at=14&behind=run:nobody").text
    assert 'class="over"' in told


def test_a_flat_curve_is_warned_of(visitor, tmp_path):
    flat = tmp_path / "flat.csv"
    flat.write_text("frequency_mhz,swr\n" + "".join(f"{140 + i},1.1\n" for i in range(11)))
    answer = give(visitor, flat)
    page = visitor.get(f"{answer.url}&loss=2+dB").text
    result = asked.see({"loss": "2 dB"}, ("flat.csv", flat.read_text()))
    assert result.flat_warning is not None
    assert result.flat_warning.why.split(",")[0][:25] in page


def test_a_sweep_that_is_no_longer_held_says_so(visitor):
    answer = visitor.get("/sweeps/line?file=0123456789abcdef")
    assert answer.status_code == 422
    assert "Choose its file again" in answer.text


def test_a_sweep_is_kept_as_evidence_of_a_piece(visitor):
    from linewright.verbs import shelf

    with shelf.open_ledger() as ledger:
        shelf.add(ledger, "piece", {"tag": "drum 1", "length": "10 m", "connectors": 2}, by=shelf.By())
        page = give(visitor, CABLE)
        assert "Keep it as evidence" in page.text
        key = page.url.params["file"]
        form = {"file": key, "end": "through", "piece": "drum 1", "token": visitor.token}
        kept = visitor.post("/sweeps/keep", data=form).text
        assert 'Kept as evidence of <a href="/shelf/piece/drum%201">drum 1</a>' in kept
        assert [e.kind for e in shelf.evidence_of(ledger, "drum 1")] == ["sweep"]
    assert visitor.post("/sweeps/keep", data={**form, "piece": "nobody's"}).status_code == 422


def test_old_sweeps_make_room_for_new_ones(monkeypatch):
    held = Uploads()
    monkeypatch.setattr("linewright.web.sweep_requests.MOST_POINTS", 3000)
    first = held.take("a.s2p", CABLE.read_bytes())
    held.take("b.s2p", CABLE.read_bytes())
    assert MOST_POINTS > first.points == 2001
    with pytest.raises(ValueError, match="not held"):
        held.get(first.key)


def test_the_law_is_drawn_with_its_type():
    from linewright.core.nouns.sweep import SweepQuestion

    report = read_sweep([CABLE], ["through"], SweepQuestion(length_m=7.83, line="RG-58C/U"))
    plot = law_chart(report.finding)["vconcat"][1]
    styles = [layer["mark"]["style"] for layer in plot["layer"]]
    assert {"belief-band", "belief-line", "belief-dot", "spec-line"} <= set(styles)
    line = plot["layer"][styles.index("belief-line")]["data"]["values"]
    law = report.finding.law
    for row in line[::20]:
        f = row["frequency_hz"] / 1e6
        k0 = law.k0_db.value if law.constant else 0.0
        assert row["loss_db"] == pytest.approx(k0 + law.k1_db.value * f**0.5 + law.k2_db.value * f, abs=0.05)
        assert row["low"] <= row["loss_db"] <= row["high"]


@pytest.mark.parametrize(
    "words",
    ["open1=nonsense&at1=144+MHz", "open1=7.1", "open1=7.1&at1=0", "open1=7.1&at1=144+MHz&line=RG-999"],
)
def test_a_bad_reading_is_reported(visitor, words):
    page = visitor.get(f"/sweeps/one-end?{words}")
    assert page.status_code == 200
    assert 'role="alert"' in page.text


def test_a_bare_number_has_the_unit_of_its_field(visitor):
    bare, whole = "at1=144&open1=7.1&short1=6.8&length=15", "at1=144+MHz&open1=7.1&short1=6.8&length=15+m"
    found = [visitor.get(f"/sweeps/one-end?{query}").text for query in (bare, whole)]
    assert re.search(r"It loses [^<]+", found[0])[0] == re.search(r"It loses [^<]+", found[1])[0]


def test_a_page_without_charts_is_light(visitor):
    weight = sum(
        len(visitor.get(p).content) for p in (ONE_END, "/static/style.css", "/static/parts.js", "/static/runs.css")
    )
    assert weight < 150_000


# In the browser


@DESK_FIRST
def test_a_sweep_is_chosen_and_its_length_told(visit):
    visit.goto("/sweeps")
    visit.set_input_files("#files", str(CABLE))
    visit.click("text=Read it")
    visit.wait_for_selector("#verdict")
    visit.fill("#length", "10 m")
    # Workings that are shut speak of it too.
    visit.wait_for_selector("text=velocity factor >> visible=true")
    visit.select_option("#line", "RG-58C/U")
    visit.wait_for_function("() => location.search.includes('RG-58')")
    visit.reload()
    assert visit.input_value("#length") == "10 m"


@pytest.mark.parametrize("kind", [PHONE, DESK], ids=["phone", "desk"])
def test_a_bad_file_gives_a_clear_message_and_loses_nothing(browser, site, kind, tmp_path):
    bad = tmp_path / "bad.s1p"
    bad.write_text("nothing of the kind")
    context = browser.new_context(base_url=site.address, **kind)
    page = context.new_page()
    page.goto("/sweeps/through")
    page.select_option("#behind", "loss:")
    page.fill("#loss", "3 dB")
    page.fill("#shack_swr", "1.3")
    page.wait_for_selector(".ends")
    page.click("text=Sweeps >> nth=0")
    page.set_input_files("#files", str(bad))
    page.click("text=Read it")
    page.wait_for_selector(".problems")
    assert "bad.s1p" in page.inner_text(".problems")
    page.go_back()
    page.go_back()
    assert page.input_value("#shack_swr") == "1.3"
    assert "At the antenna" in page.inner_text("#verdict")
    context.close()


def test_one_end_asks_one_thing_at_a_time(visit):
    visit.goto("/sweeps/one-end")
    visit.get_by_text("Another line: its type and length").wait_for()
    if visit.locator("#of").count() and visit.locator("#of").is_visible():
        visit.select_option("#of", "other")
        visit.get_by_text("Another line: its type and length").click()
    visit.select_option("#line", "RG-58C/U")
    visit.fill("#length", "15")
    visit.get_by_role("button", name="Go on").click()
    visit.get_by_role("heading", name="How is it read?").wait_for()
    visit.get_by_role("button", name="Go on").click()
    visit.fill("#at", "144")
    visit.fill("#read", "7.1")
    visit.keyboard.press("Enter")
    visit.get_by_role("heading", name="The next reading").wait_for()
    assert visit.input_value("#at") == "144 MHz"
    assert visit.input_value("#end") == "short"
    visit.fill("#read", "6.8")
    visit.get_by_role("button", name="Record reading").click()
    visit.locator("#readings-name").wait_for()
    assert visit.get_by_text("Take it out").count() == 2
    visit.wait_for_load_state()  # its width is that of the style sheet, which may come after the words
    assert fits(visit)


@EVERYONE
def test_sweeps_are_sound_for_everyone(visit, paper):
    visit.goto("/sweeps")
    on_paper(visit, paper)
    # test_every_page looks at the empty ones
    spots = {"sweeps-one-end": ONE_END, "sweeps-one-end-way": "/sweeps/one-end?of=other", "sweeps-cut": "/sweeps/cut"}
    for file, name, more in (
        (CABLE, "sweeps-line", "&length=10+m&line=RG-58C%2FU"),
        (ANTENNA, "sweeps-antenna", "&loss=1+dB"),
    ):
        visit.goto("/sweeps")
        visit.set_input_files("#files", str(file))
        if file == ANTENNA:
            visit.check("input[value=antenna]")
        visit.click("text=Read it")
        visit.wait_for_selector("#asked")
        spots[name] = visit.url + more
    for name, path in spots.items():
        visit.goto(path)
        sound(visit, name)
        picture(visit, f"{name}-{paper}")
