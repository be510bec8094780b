"""One figure everywhere: bench, shelf, run, label, report, command, ``/api`` and page tell the same of a kept piece.

Figures are compared as they are written, to the last digit. What still differs is marked, each case by itself.
"""

from __future__ import annotations

import html
import json
import re
from dataclasses import replace
from datetime import date, timedelta

import pytest
from click.testing import CliRunner

from cli.doors import DEMO_SHEET
from ledger.gear import sweep_bytes
from linewright import prove_cable, read_bench_sheet
from linewright.cli import main
from linewright.core.formatting import interval
from linewright.core.locale import Manner
from linewright.core.messages import written
from linewright.files.prices import read_prices
from linewright.present.compose.bench_words import beyond_note, read_cell
from linewright.present.compose.prove import growth, losses
from linewright.verbs import shelf
from linewright.verbs.choose import choose_for
from linewright.verbs.label import label_pieces
from linewright.verbs.shelf import open_ledger
from linewright.verbs.shelf_apply import apply_choice
from linewright.web.bench_presenter import answers_of
from web.test_api import Program

F = 144.3e6
TODAY = date.today()
YEAR_AGO = TODAY - timedelta(days=365)
STATION = """
[station]
name = "Hut"
[[run]]
name = "beam"
frequencies = ["144.3 MHz"]
power = "50 W"
chain = [{piece = "PIECE"}]
antenna = {swr = 1}
"""
PIECES = {
    "one sheet": "blue 7",
    "a sheet and an older sweep": "black 20",
    "its stock alone": "blue 3",
    "its type alone": "grey 9",
}


@pytest.fixture(scope="module")
def club(tmp_path_factory):
    """A ledger with the invented bench, an older sweep of one of its pieces, and a piece known by its stock alone."""
    folder = tmp_path_factory.mktemp("figures")
    with open_ledger(folder / "club.sqlite") as ledger:
        shelf.file_sheet(ledger, DEMO_SHEET, on=TODAY)
        swept = sweep_bytes(loss=0.75, metres=20.4)
        shelf.file_sweep_bytes(ledger, "black.s2p", swept, "black 20", on=YEAR_AGO)
        stock = {"tag": "blue 3", "line": "RG-58C/U", "length": "3 m", "stock": "blue drum"}
        shelf.add(ledger, "piece", stock)
        shelf.add(ledger, "piece", {"tag": "grey 9", "line": "RG-213/U", "length": "9 m"})
        for name, tag in PIECES.items():
            path = folder / f"{tag}.toml"
            path.write_text(STATION.replace("PIECE", tag).replace("Hut", name))
            shelf.keep_station(ledger, path)
        yield ledger


@pytest.fixture(scope="module")
def program(club):
    return Program(club.where)


def told(club, *words):
    found = CliRunner().invoke(main, [*words, "--ledger", club.where, "--json"])
    assert found.exit_code == 0, found.stderr
    return json.loads(found.stdout)


def at(losses):
    """Return a loss as it is written, from nouns or from plain data."""
    plain = [x if isinstance(x, dict) else {k: getattr(x, k) for k in ("frequency_hz", *LOSS)} for x in losses]
    (found,) = (x for x in plain if x["frequency_hz"] == F)
    return interval(*(found[k] for k in LOSS))


LOSS = ("loss_db", "loss_db_low", "loss_db_high")


def faces(club, program, tag):
    """Return the loss of a piece at one frequency as each face writes it."""
    label = {"tag": tag, "bands": "144.3 MHz"}
    page = html.unescape(program.get(f"/shelf/piece/{tag}").text)
    report = json.dumps(told(club, "report", tag), ensure_ascii=False)
    return {
        "library": at(shelf.show_piece(club, tag).losses),
        "shelf show": at(told(club, "shelf", "show", tag)["piece"]["losses"]),
        "shelf list": at(next(p for p in told(club, "shelf", "list")["pieces"] if p["tag"] == tag)["losses"]),
        "label": at(told(club, "label", tag, "--bands", "144.3 MHz")["labels"][0]["losses"]),
        "api piece": at(program.get("/api/shelf/piece", params={"tag": tag}).json()["piece"]["losses"]),
        "api shelf": at(next(p for p in program.get("/api/shelf").json()["pieces"] if p["tag"] == tag)["losses"]),
        "api label": at(program.get("/api/label", params=label).json()["labels"][0]["losses"]),
        "page": re.findall(r'href="#loss-at-144300000">([^<]+)<', page)[0],
        "report": re.search(r"; ([\d.]+ dB \([\d.]+ to [\d.]+\)) at 144\.3 MHz", report)[1],
    }


@pytest.mark.parametrize("known", PIECES)
def test_every_face_writes_the_same_loss(club, program, known):
    found = faces(club, program, PIECES[known])
    assert found == dict.fromkeys(found, found["library"])


@pytest.mark.parametrize("known", PIECES)
def test_a_run_takes_the_loss_of_the_shelf(club, known):
    band = told(club, "plan", "beam", "--station", known)["runs"][0]["bands"][0]
    (part,) = band["parts"]
    written = at(shelf.show_piece(club, PIECES[known]).losses)
    assert interval(*(band[f"total_{k}"] for k in LOSS)) == written
    assert interval(*(part[k] for k in LOSS)) == written
    assert interval(part["matched_loss_db"], *(part[k] for k in LOSS[1:])) == written
    assert interval(band["matched_loss_db"], *(part[k] for k in LOSS[1:])) == written


@pytest.mark.parametrize("known", PIECES)
def test_one_sees_through_the_loss_of_the_shelf(club, known):
    seen = ("through", "--shack-swr", "1.3", "--at", "144.3 MHz")
    written = at(shelf.show_piece(club, PIECES[known]).losses)
    for where in (("--piece", PIECES[known]), ("--run", "beam", "--station", known)):
        told_of = told(club, *seen, *where)
        assert interval(*(told_of[k] for k in LOSS)) == written


def test_one_sees_through_a_run_of_several_parts_with_the_matched_loss_of_its_plan(tmp_path):
    with open_ledger(tmp_path / "demo.sqlite") as ledger:
        shelf.keep_station(ledger, DEMO_SHEET.parent / "harbour-ridge-station.toml")
        (band,) = told(ledger, "plan", "two-metre beam")["runs"][0]["bands"]
        through = told(ledger, "through", "--run", "two-metre beam", "--shack-swr", "1.3")
    assert f"{through['loss_db']:.2f}" == f"{band['matched_loss_db']:.2f}"


def test_the_bench_says_what_the_shelf_does_where_nothing_else_tells(tmp_path):
    """In the club a sweep of another piece tells a little of the meters as well, and moves the shelf's third digit."""
    with open_ledger(tmp_path / "alone.sqlite") as alone:
        shelf.file_sheet(alone, DEMO_SHEET, on=TODAY)
        (session,) = shelf.all_kept(alone, "sheet")
        found = shelf.prove_session(alone, session.key).losses
        for tag in ("blue 7", "blue 18", "black 20"):
            said = {x.frequency_hz: tuple(getattr(x, k) for k in LOSS) for x in found if x.piece == tag}
            shown = {x.frequency_hz: tuple(getattr(x, k) for k in LOSS) for x in shelf.show_piece(alone, tag).losses}
            assert shown
            assert {f: said[f] for f in shown} == {f: pytest.approx(x, rel=1e-12) for f, x in shown.items()}


def test_the_verdict_is_one_on_bench_label_and_report(club):
    (session,) = shelf.all_kept(club, "sheet")
    bench = next(p for p in shelf.prove_session(club, session.key).pieces if p.piece == "blue 7")
    label = told(club, "label", "blue 7")["labels"][0]
    report = json.dumps(told(club, "report", "blue 7"))
    assert (label["standing"], f"{label['ratio']:.2f}") == (bench.verdict, f"{bench.ratio:.2f}")
    assert f"{bench.ratio:.2f} times" in report


def test_evidence_filed_in_any_order_gives_the_same_figures_on_every_face(club, program, tmp_path):
    with open_ledger(tmp_path / "other.sqlite") as other:
        shelf.add(other, "piece", {"tag": "black 20", "line": "RG-213/U", "length": "20.4 m"})
        swept = sweep_bytes(loss=0.75, metres=20.4)
        shelf.file_sweep_bytes(other, "black.s2p", swept, "black 20", on=YEAR_AGO)
        shelf.file_sheet(other, DEMO_SHEET, on=TODAY)
        assert shelf.show_piece(other, "black 20").losses == shelf.show_piece(club, "black 20").losses
        assert faces(other, Program(other.where), "black 20") == faces(club, program, "black 20")


def test_command_and_api_look_ahead_alike(club, program):
    limit = {"limit": "6 dB", "at": "432.1 MHz"}
    api = program.get("/api/shelf/piece", params={"tag": "blue 7", **limit}).json()["passes"]
    assert api == told(club, "shelf", "show", "blue 7", "--limit", "6 dB", "--at", "432.1 MHz")["passes"]
    assert len(api) == 1
    due = program.get("/api/shelf/due").json()
    assert due == told(club, "shelf", "list", "--due")
    assert {d["piece"] for d in due["due"]} <= set(PIECES.values()) | {"blue 18"}
    refused = program.get("/api/shelf/piece", params={"tag": "blue 7", "limit": "6 dB"})
    assert refused.status_code == 422


@pytest.mark.parametrize("known", ["one sheet", "a sheet and an older sweep"])
def test_the_multiple_and_the_verdict_are_one_on_every_face(club, program, known):
    tag = PIECES[known]
    label = label_pieces(club, [tag]).labels[0]
    shown = shelf.show_piece(club, tag)
    page = html.unescape(program.get(f"/shelf/piece/{tag}").text)
    ends = f"{label.ratio:.2f} times what RG-{{}} should ({label.ratio_low:.2f} to {label.ratio_high:.2f})"
    assert ends.format("58C/U") in page or ends.format("213/U") in page
    rows = [
        {k: getattr(shown, k) for k in ("standing", "ratio", "ratio_low", "ratio_high")},
        told(club, "shelf", "show", tag)["piece"],
        next(p for p in told(club, "shelf", "list")["pieces"] if p["tag"] == tag),
        told(club, "label", tag)["labels"][0],
        program.get("/api/shelf/piece", params={"tag": tag}).json()["piece"],
        next(p for p in program.get("/api/shelf").json()["pieces"] if p["tag"] == tag),
        program.get("/api/label", params={"tag": tag}).json()["labels"][0],
    ]
    assert {(r["standing"], r["ratio"], r["ratio_low"], r["ratio_high"]) for r in rows} == {
        (label.standing, label.ratio, label.ratio_low, label.ratio_high)
    }
    assert f"{label.ratio:.2f} times" in json.dumps(told(club, "report", tag))


# A run chosen for, and a run planned

PRICES = "line,price,currency,connector_price\nRG-58C/U,0.70/m,EUR,2\nRG-213/U,1.85/m,EUR,4\n"
HELD = [(f"total_loss_db{end}", f"loss_db{end}") for end in ("", "_low", "_high")]
HELD += [("power_at_antenna_w", "power_at_antenna_w")]


@pytest.fixture(scope="module")
def prices(tmp_path_factory):
    path = tmp_path_factory.mktemp("prices") / "shop.csv"
    path.write_text(PRICES)
    return path


@pytest.mark.parametrize("known", PIECES)
def test_a_choice_and_a_plan_write_the_same_of_the_run_as_it_is(club, program, prices, known):
    (planned,) = told(club, "plan", "beam", "--station", known)["runs"][0]["bands"]
    asked = ("choose", "--station", known, "--run", "beam", "--prices", str(prices), "--limit", "1 dB")
    library = choose_for(shelf.station_of(club, known), "beam", read_prices(prices)).to_dict()
    for chosen in (told(club, *asked), library):
        (band,) = chosen["as_it_is"]["bands"]
        assert [band[ours] for _, ours in HELD] == [planned[theirs] for theirs, _ in HELD]
    view = {"station": f"={known}", "run": "beam", "view": "choose", "v.limit": "1"}
    page = html.unescape(program.get("/runs/run", params=view).text)
    written = f"{planned['total_loss_db']:.2f} dB"
    assert page.count(written) >= 2  # the drawing's verdict above, the list's first row below


def test_the_interface_writes_the_same_of_the_run_as_it_is(program, prices):
    asked = {"station": "harbour-ridge", "run": "two-metre beam"}
    (planned,) = program.asks("/api/plan", **asked)["runs"][0]["bands"]
    chosen = program.asks("/api/choose", **asked, prices={"name": str(prices), "text": PRICES})
    (band,) = chosen["as_it_is"]["bands"]
    assert [band[ours] for _, ours in HELD] == [planned[theirs] for theirs, _ in HELD]


@pytest.mark.parametrize("number", [1, 2, 3])
def test_a_choice_laid_is_planned_with_the_figures_it_was_chosen_by(prices, tmp_path, number):
    """The invented station, its run with a reflecting antenna; each choice of the trade-off is laid and planned."""
    with open_ledger(tmp_path / "laid.sqlite") as ledger:
        name = shelf.keep_station(ledger, DEMO_SHEET.parent / "harbour-ridge-station.toml").item.key
        station = shelf.station_of(ledger, name)
        run = station.run("two-metre beam")
        choice = choose_for(station, run.name, read_prices(DEMO_SHEET.parent / "harbour-ridge-prices.csv"))
        option = choice.trade_off[number - 1]
        apply_choice(ledger, name, run, choice, number)
        (band,) = told(ledger, "plan", run.name)["runs"][0]["bands"]
    for theirs, ours in HELD:
        assert getattr(option.bands[0], ours) == pytest.approx(band[theirs], rel=1e-12)
    assert option.reception_loss_db == pytest.approx(band["reception"]["reception_loss_db"], rel=1e-12)


def test_a_bench_is_written_on_its_page_as_on_the_terminal_and_on_paper():
    """A band the type is known less well on has its mark there too; a reading has the decimal mark."""
    sheet = read_bench_sheet(DEMO_SHEET)
    result = prove_cable(sheet)
    first, *others = result.losses
    result = replace(result, losses=(replace(first, extrapolated=True), *others))
    verdicts = answers_of(result, sheet, ()).verdicts
    shown = [(x.frequency, x.believed, x.arrives, x.new, x.times) for v in verdicts for x in v.losses]
    assert shown == [row.cells for part in losses(result).parts for row in part.rows]
    assert [v.beyond for v in verdicts if v.beyond] == [beyond_note()]
    assert [v.growth for v in verdicts if v.growth] == growth(result)
    doubted = next(r for r in result.readings if r.reading == 6.6)
    assert written(read_cell(doubted), Manner(decimal=",")) == "6,6 W"
