"""The terminal view: every figure is the library's, no line is wider than 100 columns, nothing is said twice."""

from __future__ import annotations

import re
from dataclasses import replace

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cli.doors import DEMO_SHEET, ask, words_of
from evidence.benches import BLUE_7, DESK, PATHS, POCKET, read, sheet_of
from linewright.core.formatting import frequency
from linewright.core.nouns.bench_result import BenchResult, MeterFinding, NextReading, ReadingFinding, UseFinding
from linewright.files import read_bench_sheet
from linewright.present.compose.prove import bench_document
from linewright.present.writers.terminal import terminal, width
from linewright.verbs.prove import prove_cable as prove
from made_up_bench import made_up_bench


@pytest.fixture(scope="module")
def demo() -> BenchResult:
    return prove(read_bench_sheet(DEMO_SHEET))


def _lines(result, **how):
    return click.unstyle(terminal(bench_document(result), **how)).splitlines()


@given(st.integers(0, 6), st.integers(0, 12), st.integers(1, 9), st.booleans(), st.integers(0, 10_000))
def test_no_line_is_wider_than_the_page(pieces, bands, meters, long_names, seed):
    result, _ = made_up_bench(pieces, bands, meters, long_names=long_names, seed=seed)
    assert all(width(line) <= 100 for line in _lines(result, explain=True))


NAMES = st.text(min_size=1, max_size=60)
SENTENCES = st.text(max_size=300)


@given(NAMES, NAMES, SENTENCES, st.floats(0, 1e12), st.floats(1e3, 3e9))
def test_no_name_sentence_or_figure_breaks_the_page(tag, meter, why, value, hertz):
    result, _ = made_up_bench(1, 2, 1)
    piece = replace(result.pieces[0], piece=tag, why=why, uses=(UseFinding("portable", None, why),))
    losses = tuple(replace(x, piece=tag, frequency_hz=hertz + i) for i, x in enumerate(result.losses))
    wrong = ReadingFinding(2, meter, hertz, tag, value, value, value, value, 0.9, True, why)
    blind = ReadingFinding(3, meter, hertz, tag, value, None, None, None, 0.0, False, why)
    trust = MeterFinding(meter, hertz, "none", None, None, None, why)
    after = NextReading(why, meter, hertz, tag, 0.1, why)
    lines = _lines(
        replace(
            result, title=why, pieces=(piece,), losses=losses, readings=(wrong, blind), meters=(trust,), next=(after,),
            remarks=(why,),
        )
    )  # fmt: skip
    assert all(width(line) <= 100 for line in lines)
    assert all(line.isprintable() for line in lines)


def _parts(line):
    """Return value, low and high of the first interval of a line."""
    found = re.search(r"(-?[\d.]+) dB \((-?[\d.]+) to (-?[\d.]+)\)", line)
    return found.groups()


def _same(shown, value):
    places = len(shown.partition(".")[2])
    return float(shown) == pytest.approx(round(value, places), abs=1e-12)


def test_every_loss_shown_is_the_librarys(demo):
    lines = _section(demo, "Losses")
    rows = [line for line in lines if " dB (" in line]
    assert len(rows) == len(demo.losses)
    for line, x in zip(rows, demo.losses, strict=True):
        assert frequency(x.frequency_hz) in line
        shown = _parts(line)
        assert all(map(_same, shown, (x.loss_db, x.loss_db_low, x.loss_db_high)))
        share, new, times, low, high = re.search(
            r"\)\s+(\d+) %\s+([\d.]+) dB\*?\s+([\d.]+) \(([\d.]+) to ([\d.]+)\)", line
        ).groups()
        assert int(share) == round(100 * x.delivered_fraction)
        assert ("*" in line) is x.extrapolated
        assert all(map(_same, (new, times, low, high), (x.catalogue_db, x.ratio, x.ratio_low, x.ratio_high)))


def test_every_figure_by_hand_and_without_the_catalogue_is_the_librarys(demo):
    rows = [line for line in _section(demo, "By hand, and without the catalogue") if " dB (" in line]
    for line, x in zip(rows, demo.losses, strict=True):
        hands = re.findall(r"([\d.]+) ± ([\d.]+)", line)
        assert [m for h in x.by_hand for m in (h.loss_db, h.loss_db_u)] == pytest.approx(
            [float(v) for pair in hands for v in pair], abs=0.00501
        )
        alone = (x.without_catalogue_db, x.without_catalogue_db_low, x.without_catalogue_db_high)
        assert all(map(_same, _parts(line), alone))
        assert float(re.search(r"([+-]?[\d.]+) dB$", line)[1]) == pytest.approx(x.catalogue_pull_db, abs=0.00501)


def test_every_prediction_shown_is_the_librarys(demo):
    shown = [float(v) for line in _section(demo, "Bands not measured") for v in re.findall(r"([\d.]+) dB \(", line)]
    bands = sorted({p.frequency_hz for p in demo.predictions})
    tags = [p.piece for p in demo.pieces]
    at = {(p.piece, p.frequency_hz): p.loss_db for p in demo.predictions}
    assert shown == pytest.approx([at[t, f] for f in bands for t in tags if (t, f) in at], rel=0.06)


def _section(result, title):
    """Return the lines of one section, its title left out."""
    lines = _lines(result)
    start = lines.index(title) + 1
    ends = [i for i in range(start, len(lines)) if lines[i] and not lines[i].startswith(" ")]
    return lines[start : ends[0] if ends else None]


def test_sections_stand_in_their_order(demo):
    wanted = [
        "Losses", "By hand, and without the catalogue", "Uses", "Readings to doubt", "Which meter to believe",
        "Bands not measured", "Measure next", "Remarks", "Cautions",
    ]  # fmt: skip
    lines = _lines(demo)
    titles = [line for line in lines if line and not line.startswith(" ")]
    assert [t for t in titles if t in wanted] == [t for t in wanted if t in titles]
    assert {"Losses", "Uses", "Readings to doubt", "Cautions"} <= set(titles)


def test_verdicts_come_first_and_say_what_the_library_says(demo):
    said = words_of("\n".join(_lines(demo)[: _lines(demo).index("Losses")]))
    for piece in demo.pieces:
        assert f"{piece.piece} is {piece.verdict}. {piece.why}" in said


def test_uses_say_yes_no_or_cannot_tell_with_the_librarys_reason(demo):
    said = words_of("\n".join(_section(demo, "Uses")))
    answers = {True: "yes", False: "no", None: "cannot tell"}
    for piece in demo.pieces:
        for use in piece.uses:
            name, answer = use.use, answers[use.ok]
            if name == "scrap":
                name, answer = "anything at all", answers[use.ok if use.ok is None else not use.ok]
            assert f"{name} {answer} {use.why}" in said


def test_doubted_readings_stand_with_row_and_reason_and_no_others(demo):
    lines = _section(demo, "Readings to doubt")
    rows = {int(found[1]) for line in lines if (found := re.match(r"\s+row (\d+) ", line))}
    assert rows == {r.row for r in demo.readings if r.p_wrong > 0.5}
    assert rows
    for r in demo.readings:
        if r.p_wrong > 0.5:
            assert r.why in words_of("\n".join(lines))


def test_a_reading_between_stands_under_a_second_look():
    result, _ = made_up_bench(seed=3)
    readings = tuple(replace(r, p_wrong=0.3 if i == 4 else 0.0) for i, r in enumerate(result.readings))
    result = replace(result, readings=readings)
    assert any(f"row {readings[4].row} " in line for line in _section(result, "Worth a second look"))
    assert "No reading stands out" in _section(result, "Readings to doubt")[0]


def test_readings_nothing_could_check_are_counted_and_their_reason_said_once():
    result, _ = made_up_bench(1, 3, 1)
    readings = tuple(
        replace(r, checked=i > 2, p_wrong=0.0, why="" if i > 2 else "Cannot tell.")
        for i, r in enumerate(result.readings)
    )
    result = replace(result, readings=readings)
    said = "\n".join(_lines(result))
    assert f"{len(readings) - 3} of {len(readings)} readings could be checked" in said
    assert said.count("Cannot tell.") == 1
    assert f"Rows {readings[0].row} to {readings[2].row}: Cannot tell." in said


def test_of_one_pair_of_readings_nothing_could_be_checked():
    """It said: All 2 readings could be checked against the rest of the bench."""
    result = prove(sheet_of(read(DESK, 14.2e6, PATHS[:2]), [BLUE_7]))
    lines = _section(result, "Readings to doubt")
    assert [line.strip() for line in lines if line] == [
        "Nothing could be checked: no reading has others to compare it with."
    ]
    assert "could be checked against the rest" not in "\n".join(_lines(result))


def test_the_grid_shows_every_trust_and_each_reason_once(demo):
    lines = _section(demo, "Which meter to believe")
    for meter in dict.fromkeys(m.meter for m in demo.meters):
        row = next(line for line in lines if line.startswith(f"  {meter}  "))
        assert row.split()[len(meter.split()) :] == [m.trust for m in demo.meters if m.meter == meter]
    said = words_of("\n".join(lines))
    for why in {m.why for m in demo.meters}:
        assert said.count(f": {why}") == 1


def test_hundreds_of_doubted_readings_are_cut_and_counted():
    result, _ = made_up_bench()
    many = tuple(replace(result.readings[0], row=i, p_wrong=0.6 + i / 1000, why="") for i in range(200))
    lines = _section(replace(result, readings=many), "Readings to doubt")
    rows = [line for line in lines if line.lstrip().startswith("row")]
    assert len(rows) == 30
    assert "row 199" in rows[-1]
    assert any("And 170 more" in line for line in lines)


def test_explain_adds_every_working(demo):
    said = words_of("\n".join(_lines(demo, explain=True)))
    assert demo.workings
    for working in demo.workings:
        assert words_of(working.figure) in said
        assert words_of(working.source) in said
    assert demo.workings[0].formula not in words_of("\n".join(_lines(demo)))


def test_marks_are_for_terminals_only(demo):
    assert "\x1b[" in terminal(bench_document(demo))
    assert "\x1b[" not in ask("prove", str(DEMO_SHEET)).stdout


def test_a_piece_of_no_known_type_and_a_bench_of_one_reading_still_read_well():
    alone = prove(sheet_of(read(DESK, 14.2e6, PATHS[:1])))
    text = "\n".join(_lines(alone))
    assert "cannot tell" in text
    assert "None" not in text
    assert "nan" not in text


def test_meters_that_disagree_show_as_such():
    rows = [*read(DESK, 14.2e6, PATHS), *read(POCKET, 144.3e6, PATHS)]
    assert any(line.startswith("blue 7 ") for line in _lines(prove(sheet_of(rows))))


def test_readings_that_say_nothing_alone_show_no_figure(demo):
    blank = replace(
        demo.losses[0], without_catalogue_db=0.4, without_catalogue_db_low=1e-6, without_catalogue_db_high=900.0
    )
    line = _section(replace(demo, losses=(blank,)), "By hand, and without the catalogue")[-2:]
    assert any("cannot tell" in row and "rests on it" in row for row in line)
    assert not any("900" in row for row in line)


def test_what_to_measure_next_is_numbered_best_first(demo):
    said = words_of("\n".join(_section(demo, "Measure next")))
    assert demo.next
    assert said == " ".join(f"{i}. {n.action} {n.why}" for i, n in enumerate(demo.next, start=1))
