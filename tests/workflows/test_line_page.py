"""A type in full, what dimensions make of a line, and a person's own types kept in the ledger."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

from linewright.catalogue import line_type, line_types, made_type, own_type
from linewright.catalogue.connectors import connectors
from linewright.catalogue.construction import construction_of
from linewright.catalogue.properties import heat_w_per_m, power_rating_w
from linewright.cli.main import main as door
from linewright.core.errors import InputError
from linewright.files.own_lines import read_lines_text
from linewright.present.charts.line_type import line_chart
from linewright.verbs.line_page import from_dimensions, line_page
from linewright.verbs.shelf_nouns import line_body, lines_of

each = pytest.mark.parametrize("kind", line_types(), ids=lambda t: t.designator)


def run(*args):
    return CliRunner().invoke(door, list(args), catch_exceptions=False)


@each
def test_every_type_has_a_page_whose_intervals_hold_their_values(kind):
    page = line_page(kind)
    for known in (page.impedance_ohm, page.velocity_factor, page.capacitance_f_per_m, page.delay_s_per_m):
        assert known.low <= known.value <= known.high
        assert str(known.source)
    for row in page.rows:
        middle, low, high = row.dielectric_share
        assert 0 <= low <= middle <= high < 1
        assert row.loss.loss_db_low < row.loss.loss_db < row.loss.loss_db_high
    assert page.settled_by


def test_a_page_names_core_mates_contradictions_and_what_would_settle_them():
    foam = line_page(line_type("foam low-loss 7 mm"))
    assert any("74.0 pF/m" in str(x) and "54.3 ohm" in str(x) for x in foam.contradictions)
    assert any("caliper" in str(x) for x in foam.settled_by)
    assert "RG-8/U" in line_page(line_type("RG-213/U")).mates
    steel = line_page(line_type("RG-6 type"))
    assert any("how thick the copper" in str(x) for x in steel.settled_by)


def test_a_chart_of_a_type_draws_every_point_between_1_megahertz_and_3_gigahertz():
    kind = line_type("RG-213/U")
    layers = line_chart(kind)["vconcat"][1]["layer"]
    drawn = sum(len(x["data"]["values"]) for x in layers[2:])
    usable = [p for p in kind.points if p.kind != "set aside" and 1e6 <= p.frequency_hz <= 3e9]
    assert drawn == len(usable)


@pytest.mark.parametrize(
    ("told", "ohm"),
    [
        # 138 lg(D/d)/sqrt(er) for coax, 276 lg(2s/d) for wide wires: the handbook forms of Pozar, 4th ed., table 2.1.
        ({"centre_diameter": "1 mm", "dielectric_diameter": "3.591 mm", "screen": "tube", "dielectric": "air",
          "velocity_factor": "1"}, 76.7),
        ({"centre_diameter": "2.05 mm", "spacing": "152 mm", "velocity_factor": "1"}, 276.3 * np.log10(2 * 152 / 2.05)),
        ({"centre_diameter": "0.91 mm", "dielectric_diameter": "3.02 mm", "screen": "tube", "dielectric": "PTFE",
          "velocity_factor": str(1 / np.sqrt(2.08))}, 49.87),
    ],
)  # fmt: skip
def test_dimensions_give_the_impedance_of_the_handbooks(told, ohm):
    assert from_dimensions(told).impedance_ohm == pytest.approx(ohm, rel=2e-3)


@pytest.mark.parametrize(
    ("told", "argument"),
    [
        ({"centre_diameter": "3 mm", "dielectric_diameter": "2 mm"}, "centre_diameter_m"),
        ({"centre_diameter": "1 mm"}, "centre_diameter_m"),
        ({"centre_diameter": "1 mm", "dielectric_diameter": "3 mm", "centre": "gold"}, "centre"),
        ({"centre_diameter": "1 mm", "dielectric_diameter": "3 mm", "centre": "clad steel"}, "cladding_m"),
        ({"centre_diameter": "1", "dielectric_diameter": "3 mm"}, "centre_diameter"),
        ({"dielectric_diameter": "3 mm"}, "centre_diameter"),
        ({"centre_diameter": "1 mm", "dielectric_diameter": "3 mm", "velocity_factor": "1.2"}, "velocity_factor"),
    ],
)  # fmt: skip
def test_dimensions_that_cannot_be_are_refused_by_name(told, argument):
    with pytest.raises(InputError) as caught:
        from_dimensions(told)
    assert caught.value.argument == argument


def test_the_command_says_impedance_from_dimensions():
    done = run("impedance", "--centre-diameter", "2mm", "--spacing", "150mm", "--velocity-factor", "0.97", "--json")
    found = json.loads(done.output)
    assert found["impedance_from_dimensions_ohm"] == pytest.approx(582.8, abs=0.1)
    assert len(found["bands"]) == 9


def test_the_command_shows_a_type_in_full_and_draws_it(tmp_path):
    done = run("lines", "RG-17A/U", "--chart", str(tmp_path / "law.svg"))
    assert "RG-218/U" in done.output
    assert "out of use" in done.output
    assert (tmp_path / "law.svg").read_text(encoding="utf-8").startswith("<svg")
    page = json.loads(run("lines", "RG-58A/U", "--json").output)["page"]
    assert page["same_core"] == ["RG-58C/U"]


def test_an_own_type_made_like_one_of_the_catalogue_loses_like_it_within_its_doubt():
    mine = made_type("drum", construction_of("RG-213/U"))
    f = np.array([3.6e6, 14.2e6, 144e6, 432e6])
    low, high = mine.law.interval_db_per_m(f)
    theirs = line_type("RG-213/U").law.db_per_m(f)
    assert np.all((low < theirs) & (theirs < high))
    assert mine.law.spread > line_type("RG-213/U").law.spread


def test_points_draw_an_own_types_law_towards_themselves_and_narrow_it():
    make = construction_of("RG-213/U")
    alone = made_type("drum", make)
    f = np.array([10e6, 50e6, 200e6, 500e6])
    points = [(hz, 1.12 * float(alone.law.db_per_m(hz))) for hz in f]
    told = made_type("drum", make, points)
    ratio = told.law.db_per_m(f) / alone.law.db_per_m(f)
    assert np.all((ratio > 1.04) & (ratio < 1.12))
    assert told.law.spread < alone.law.spread


def test_an_own_type_of_clad_steel_is_wide_below_its_copper():
    text = """
    [[line]]
    name = "pair"
    centre = "clad steel"
    centre_diameter = "1.024 mm"
    cladding = "30 um"
    dielectric = "PE web"
    spacing = "19 mm"
    impedance = "400 ohm"
    velocity_factor = 0.9
    """
    (mine,) = read_lines_text(text, "lines.toml")
    assert mine.balanced
    assert mine.steel_centre
    low, high = (sum(mine.law.doubt(f)) for f in (2e6, 50e6))
    assert low > 1.3 * high


def test_own_types_are_kept_in_the_ledger_exported_and_found_by_name(tmp_path):
    where = ("--ledger", str(tmp_path / "club.db"))
    made = (
        "--centre-diameter",
        "1.4mm",
        "--strands",
        "19",
        "--dielectric",
        "foam PE",
        "--dielectric-diameter",
        "3.9mm",
    )
    run("shelf", "line", "mast coax", *made, "--screen", "foil and braid", "--velocity-factor", "0.79", *where)
    run("shelf", "line", "drum", "--point", "10 MHz", "1.5 dB/100m", "--point", "100 MHz", "5.1 dB/100m", *where)
    kept = run("shelf", "add", "blue 7", "--length", "7m", "--line", "mast coax", *where)
    assert kept.exit_code == 0
    listed = run("shelf", "list", *where).output
    assert "mast coax" in listed
    assert run("shelf", "export", str(tmp_path / "all.zip"), *where).exit_code == 0
    assert run("shelf", "import", str(tmp_path / "all.zip"), "--ledger", str(tmp_path / "other.db")).exit_code == 0
    assert "mast coax" in run("shelf", "list", "--ledger", str(tmp_path / "other.db")).output


def test_an_own_type_goes_into_the_ledger_and_comes_back_the_same():
    for kind in (made_type("a", construction_of("RG-6 type")), own_type("b", [(1e7, 0.02), (1e8, 0.07)])):
        (back,) = lines_of([line_body(kind)])
        (again,) = lines_of([line_body(back)])
        assert back == again
        assert back.law.db_per_m(144e6) == pytest.approx(kind.law.db_per_m(144e6), rel=1e-6)


def test_a_type_with_neither_points_nor_construction_is_refused(tmp_path):
    where = ("--ledger", str(tmp_path / "club.db"))
    done = CliRunner().invoke(door, ["shelf", "line", "none", *where])
    assert done.exit_code == 2
    assert "points" in done.output


@pytest.mark.parametrize(
    ("name", "watts_per_metre"),
    # 13-14.5, 9-10.5, 9.6, 12: power times loss of the recalled tables; the computed heat lies within 36 % of them.
    [("RG-213/U", 14.0), ("RG-58C/U", 9.8), ("RG-59B/U", 9.6), ("RG-11A/U", 12.0)],
)
def test_the_heat_a_make_bears_is_about_what_the_recalled_ratings_say(name, watts_per_metre):
    from linewright.core.formulas.heating import bearable_heat_w_per_m

    figures = line_type(name).figures
    sizes = (float(figures[k].value) for k in ("centre_diameter_m", "dielectric_diameter_m", "outer_diameter_m"))
    assert bearable_heat_w_per_m(*sizes, 80.0) == pytest.approx(watts_per_metre, rel=0.36)


def test_a_rating_falls_with_heat_around_it_sun_and_standing_waves():
    kind = line_type("RG-213/U")
    cool = power_rating_w(kind, 14e6).value
    most = float(kind.figures["max_temperature_celsius"].value)
    hotter = (most + 40.0) / 2
    assert power_rating_w(kind, 14e6, ambient_celsius=hotter).value == pytest.approx(cool / 2)
    assert power_rating_w(kind, 14e6, sun=True).value == pytest.approx(0.85 * cool)
    assert power_rating_w(kind, 14e6, swr=2.0).value == pytest.approx(cool / 2)
    assert power_rating_w(kind, 14e6, ambient_celsius=most).value == 0.0


def test_a_clad_steel_line_bears_no_more_at_the_low_end_than_its_loss_there_allows():
    # The recalled table of RG-174/U lets it bear as if its steel were copper; the heat says otherwise.
    steel = power_rating_w(line_type("RG-174/U"), 1e6).value / power_rating_w(line_type("RG-174/U"), 30e6).value
    copper = power_rating_w(line_type("RG-58C/U"), 1e6).value / power_rating_w(line_type("RG-58C/U"), 30e6).value
    assert steel < 0.5 * copper


def test_a_rating_from_memory_says_so():
    assert "memory" in str(heat_w_per_m(line_type("RG-213/U")).source)
    assert "computed" in str(heat_w_per_m(line_type("8D-2V")).source)


def test_the_command_tells_what_a_pair_of_every_family_takes_and_bears():
    found = json.loads(run("connectors", "--json").output)
    assert [c["name"] for c in found["families"]] == [c.name for c in connectors()]
    for told, family in zip(found["families"], connectors(), strict=True):
        assert told["figures"]["heat_db"]["grade"] in {"read", "memory", "class"}
        for row in told["losses"]:
            assert row["loss_db"] >= row["heat_db"] > 0
            # Where the family has an impedance step it reflects; every other pair only heats.
            assert (row["loss_db"] > row["heat_db"]) == (family.line_section is not None)
    text = run("connectors").output
    assert "UHF" in text
    assert "surge arrestor, gas tube" in text
    assert "power: 3000 W at 1 GHz" in text
