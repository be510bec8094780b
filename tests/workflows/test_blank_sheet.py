"""Reading sheets: an order that shares out drift, and the way from plan to pencil to proof."""

from __future__ import annotations

import csv
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.catalogue import line_type
from linewright.core.errors import InputError
from linewright.core.formatting import manner
from linewright.files import read_bench_sheet
from linewright.files.blank_sheet import HEADINGS, bands_listed, template_csv
from linewright.verbs.blank_sheet import blank_sheet, paths_to_read
from linewright.verbs.prove import prove_cable

PLAN = """
frequencies = ["50.1 MHz", "14.2 MHz"]
{more}
[source]
power = "10 W"
[reference]
line = "RG-58C/U"
length = "0.9 m"
[readings]
file = "spring.csv"
[[meter]]
name = "desk meter"
rated = "1.8 MHz to 30 MHz"
division = "0.1 W"
[[meter]]
name = "card, meter"
[[piece]]
tag = "blue 7"
line = "RG-58C/U"
length = "7.2 m"
stock = "drum"
[[piece]]
tag = "blue 18"
line = "RG-58C/U"
length = "17.9 m"
stock = "drum"
[[piece]]
tag = "black 20"
line = "RG-213/U"
length = "20.4 m"
"""


@pytest.fixture
def plan(tmp_path):
    def written(more="", text=PLAN):
        path = tmp_path / "spring.toml"
        path.write_text(text.format(more=more), encoding="utf-8")
        return path

    return written


def brackets(blank):
    found = {}
    for step in blank.steps:
        found.setdefault((step.frequency_hz, step.meter), []).append(step.path)
    return found


@given(st.integers(1, 12), st.integers(1, 3), st.booleans())
def test_over_an_even_number_of_rounds_a_steady_drift_falls_on_every_path_alike(count, pairs, turned):
    singles = [(f"p{i}",) for i in range(count)]
    paths = paths_to_read(singles, rounds=2 * pairs, turned=turned)
    middle = (len(paths) - 1) / 2
    for path in {*paths}:
        at = [i for i, p in enumerate(paths) if p == path]
        assert sum(at) / len(at) == pytest.approx(middle)


@given(st.integers(1, 12), st.integers(1, 6), st.booleans())
def test_every_round_reads_every_path_once_between_references(count, rounds, turned):
    singles = [(f"p{i}",) for i in range(count)]
    paths = paths_to_read(singles, rounds=rounds, turned=turned)
    cuts = [i for i, p in enumerate(paths) if p == ()]
    assert cuts == [k * (count + 1) for k in range(rounds + 1)]
    for a, b in pairwise(cuts):
        assert sorted(paths[a + 1 : b]) == sorted(singles)


def test_one_round_on_two_bands_runs_there_and_back(plan):
    found = brackets(blank_sheet(plan(), every_meter=True))
    low, high = found[14.2e6, "desk meter"], found[50.1e6, "desk meter"]
    assert high == low[::-1]
    assert low[0] == low[-1] == ()


def test_steps_are_counted_from_one_and_bands_rise(plan):
    steps = blank_sheet(plan()).steps
    assert [s.number for s in steps] == list(range(1, len(steps) + 1))
    hertz = [s.frequency_hz for s in steps]
    assert hertz == sorted(hertz)


def test_a_meter_outside_its_band_is_left_out_only_where_another_is_at_home(plan):
    blank = blank_sheet(plan())
    assert ("desk meter", 50.1e6) in blank.left_out
    assert (50.1e6, "desk meter") not in brackets(blank)
    alone = PLAN.replace('[[meter]]\nname = "card, meter"\n', "")
    lonely = blank_sheet(plan(text=alone))
    assert (50.1e6, "desk meter") in brackets(lonely)
    assert lonely.left_out == ()
    assert blank_sheet(plan(), every_meter=True).left_out == ()


def test_the_joined_pair_is_of_one_stock(plan):
    paths = brackets(blank_sheet(plan()))[14.2e6, "desk meter"]
    assert [p for p in paths if len(p) > 1] == [("blue 7", "blue 18")]


def test_a_joined_pair_that_leaves_nothing_on_the_scale_is_not_asked_for(plan):
    # 25.1 m of the thinner line lose about 9 dB at 432 MHz when new: of 10 W some 1.2 W are left, and of 1 W 0.12 W,
    # of which a scale in steps of 0.1 W shows nothing worth having.
    high = PLAN.replace("50.1 MHz", "432.1 MHz").replace('rated = "1.8 MHz to 30 MHz"', "")
    some = brackets(blank_sheet(plan(text=high)))[432.1e6, "desk meter"]
    weak = brackets(blank_sheet(plan(text=high.replace('"10 W"', '"1 W"'))))[432.1e6, "desk meter"]
    assert any(len(p) > 1 for p in some)
    assert not any(len(p) > 1 for p in weak)


def test_joined_paths_are_those_asked_for(plan):
    asked = brackets(blank_sheet(plan('joined = ["black 20 + blue 7"]')))[14.2e6, "desk meter"]
    assert [p for p in asked if len(p) > 1] == [("black 20", "blue 7")]
    none = brackets(blank_sheet(plan("joined = []")))[14.2e6, "desk meter"]
    assert not any(len(p) > 1 for p in none)


def filled(path, csv_path, separator=",", keep=lambda row: True):
    """Fill a template with what new lines would show, the level drifting by 0.2 dB from first to last step."""
    sheet = read_bench_sheet(path)
    lines = {p.tag: (p.line, p.length_m) for p in sheet.pieces}
    rows = list(csv.DictReader(csv_path.read_text(encoding="utf-8").splitlines(), delimiter=separator))
    for row in rows:
        hertz = float(row["frequency"].split(" ")[0].replace(",", ".")) * 1e6
        told = [("jumper", (line_type("RG-58C/U"), 0.9))] if row["path"] == "reference" else []
        told = told or [(t, lines[t]) for t in row["path"].split("+")]
        loss = sum(float(line.law.db_per_m(hertz)) * metres for _, (line, metres) in told)
        loss += 0.2 * int(row["step"]) / len(rows)
        if keep(row):
            row["reading"] = f"{10 * 10 ** (-loss / 10):.2f}".replace(".", "," if separator == ";" else ".")
    with csv_path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, HEADINGS, delimiter=separator)
        writer.writeheader()
        writer.writerows(rows)


@pytest.mark.parametrize(("separator", "spoken"), [(",", manner()), (";", manner("de"))])
def test_a_sheet_filled_in_proves_new_pieces_new(plan, separator, spoken):
    path = plan()
    blank = blank_sheet(path, rounds=2)
    template = path.with_name("spring.csv")
    template.write_text(template_csv(blank.steps, spoken), encoding="utf-8")
    filled(path, template, separator)
    read = read_bench_sheet(path)
    asked = [(s.number, s.meter, s.frequency_hz, s.path) for s in blank.steps]
    assert [(r.step, r.meter, r.frequency_hz, r.path) for r in read.readings] == asked
    assert read.waiting == 0
    result = prove_cable(read)
    for loss in result.losses:
        piece = read.piece(loss.piece)
        true = float(piece.line.law.db_per_m(loss.frequency_hz)) * piece.length_m
        assert loss.loss_db_low < true < loss.loss_db_high
    assert "bad" not in {p.verdict for p in result.pieces}


def test_steps_left_empty_are_left_out_with_a_word(plan):
    path = plan()
    blank = blank_sheet(path)
    template = path.with_name("spring.csv")
    template.write_text(template_csv(blank.steps), encoding="utf-8")
    filled(path, template, keep=lambda row: row["path"] in ("reference", "blue 7"))
    empty = sum(s.path not in ((), ("blue 7",)) for s in blank.steps)
    result = prove_cable(path)
    assert result.remarks[-1] == f"{empty} steps of the reading sheet have no reading yet and are left out."
    assert {r.path for r in result.readings} == {"reference", "blue 7"}


def test_a_sheet_with_nothing_filled_in_says_so(plan):
    path = plan()
    path.with_name("spring.csv").write_text(template_csv(blank_sheet(path).steps), encoding="utf-8")
    with pytest.raises(InputError, match=r"readings are all empty: \d+ steps wait"):
        prove_cable(path)


@pytest.mark.parametrize(
    "row",
    [
        "1,desk meter,14.2 MHz,reference,,1.2,,,",
        "1,desk meter,14.2 MHz,reference,,,0,20,",
        ",desk meter,14.2 MHz,reference,,,,,",
    ],
)
def test_a_reading_forgotten_is_an_error_where_something_else_was_written(plan, row):
    path = plan()
    path.with_name("spring.csv").write_text(",".join(HEADINGS) + "\n" + row + "\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"reading is missing \(row 2 of spring.csv\)"):
        read_bench_sheet(path)


def test_a_note_on_a_step_that_could_not_be_read_is_no_error(plan):
    path = plan()
    row = "1,desk meter,14.2 MHz,reference,,,,,the meter went dark"
    path.with_name("spring.csv").write_text(",".join(HEADINGS) + "\n" + row + "\n", encoding="utf-8")
    assert read_bench_sheet(path).waiting == 1


def test_without_planned_bands_those_already_read_are_planned(plan):
    text = PLAN.replace('frequencies = ["50.1 MHz", "14.2 MHz"]', "")
    path = plan(text=text)
    path.with_name("spring.csv").write_text("meter,frequency,path,reading\ndesk meter,7.1 MHz,reference,9\n")
    assert {s.frequency_hz for s in blank_sheet(path).steps} == {7.1e6}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (PLAN.replace('["50.1 MHz", "14.2 MHz"]', '["50.1"]'), "frequencies needs a unit"),
        (PLAN.replace('["50.1 MHz", "14.2 MHz"]', '"50.1 MHz"'), "frequencies must be a list of texts"),
        (PLAN.replace('frequencies = ["50.1 MHz", "14.2 MHz"]', ""), "frequencies is missing: no band is planned"),
        (PLAN.replace("{more}", 'joined = ["blue 7+blu 18"]'), 'Did you mean "blue 18"?'),
        (PLAN.replace("{more}", 'joined = ["blue 7"]'), "joined must name two pieces or more"),
        (PLAN.replace("{more}", 'joined = ["reference"]'), "joined must name two pieces or more"),
        (PLAN[: PLAN.index("[[piece]]")], "piece is missing: there is nothing to measure"),
        (PLAN.replace("{more}", "frequency = []"), "frequency means nothing here"),
    ],
)
def test_a_plan_that_breaks_a_rule_is_told_with_its_cure(plan, text, words):
    with pytest.raises(InputError) as told:
        blank_sheet(plan(text=text))
    assert words in str(told.value)
    assert "spring.toml" in str(told.value)


def test_rounds_have_an_end(plan):
    with pytest.raises(InputError, match="repeats must lie from 1 to 6"):
        blank_sheet(plan(), rounds=7)


def test_a_plan_no_one_will_read_is_refused(plan):
    many = ", ".join(f'"{7 + i / 1000:.3f} MHz"' for i in range(600))
    with pytest.raises(InputError, match="a sheet holds at most 5000"):
        blank_sheet(plan(text=PLAN.replace('"50.1 MHz", "14.2 MHz"', many)))


def test_the_keys_of_a_plan_change_nothing_of_what_a_sheet_says(plan):
    path = plan('joined = ["blue 7+blue 18"]')
    path.with_name("spring.csv").write_text("meter,frequency,path,reading\ndesk meter,7.1 MHz,reference,9\n")
    with_plan = read_bench_sheet(path)
    without = PLAN.replace('frequencies = ["50.1 MHz", "14.2 MHz"]', "")
    assert read_bench_sheet(plan(text=without)) == with_plan


@pytest.mark.parametrize("text", ["", " ; ", "14.2", "14.2 MHz, x"])
def test_bands_that_cannot_be_read_are_refused(text):
    with pytest.raises(InputError, match="bands"):
        bands_listed(text)
