"""``linewright one-end``: words become a test, the view shows the library's figures, errors name option and cure."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner, Result

from cli.doors import words_of
from linewright.catalogue import line_type
from linewright.cli.main import Door
from linewright.cli.one_end import one_end
from linewright.core.nouns.one_end import OneEndReading, OneEndTest
from linewright.files.tables import to_json
from linewright.present.writers.terminal import width
from linewright.verbs.one_end import prove_one_end

DOOR = Door("linewright", commands={"one-end": one_end})
PAIR = ("--open", "7.1", "--short", "6.8", "--at", "144 MHz")


def ask(*words: str) -> Result:
    return CliRunner().invoke(DOOR, ["one-end", *words])


def said(*words: str) -> dict[str, object]:
    done = ask(*words, "--json")
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)


def readings(document: dict[str, object]) -> list[tuple[object, ...]]:
    return [(r["far_end"], r["frequency_hz"], r["quantity"], r["value"], r["bound"]) for r in document["readings"]]  # type: ignore[attr-defined]


def test_the_command_is_the_library():
    test = OneEndTest(
        (OneEndReading(1, "open", 144e6, "swr", 7.1, 0.1), OneEndReading(2, "short", 144e6, "swr", 6.8, 0.1)),
        directivity_db=30.0, line=line_type("RG-213/U"), length_m=15.0,
    )  # fmt: skip
    given = said(*PAIR, "--directivity", "30 dB", "--line", "rg213", "--length", "15 m")
    assert given == json.loads(to_json(prove_one_end(test)))


def test_readings_belong_to_the_frequency_after_them():
    document = said(
        "--short", "3.5 dB", "--at", "144 MHz", "--open", "inf", "--short", "over 20", "--at", "7 MHz",
        "--load", "3.0", "--load-seen", "2.2", "--at", "50 MHz", "--peak", "12.5 @ 160 MHz",
        "--resonance", "5.7 ohm @ 14.2 MHz",
    )  # fmt: skip
    assert readings(document) == [
        ("short", 144e6, "return_loss_db", 3.5, "is"),
        ("open", 7e6, "swr", None, "is"),
        ("short", 7e6, "swr", 20.0, "above"),
        ("load", 50e6, "swr", 2.2, "is"),
        ("antenna", 160e6, "swr", 12.5, "is"),
        ("short", 14.2e6, "resistance_ohm", 5.7, "is"),
    ]


def test_the_view_shows_the_librarys_figures_within_a_page():
    document = said(*PAIR, "--line", "rg213", "--length", "15 m")
    view = ask(*PAIR, "--line", "rg213", "--length", "15 m", "--explain").stdout
    assert all(width(line) <= 100 for line in view.splitlines())
    (loss,) = document["losses"]  # type: ignore[misc]
    row = next(line for line in view.splitlines() if line.strip().startswith("144 MHz"))
    value, low, high = re.search(r"([\d.]+) dB \(([\d.]+) to ([\d.]+)\)", row).groups()  # type: ignore[union-attr]
    shown = [float(value), float(low), float(high)]
    assert shown == pytest.approx([loss["loss_db"], loss["loss_db_low"], loss["loss_db_high"]], abs=0.006)
    plain = words_of(view)
    assert all(words_of(c) in plain for c in (*document["cautions"], *document["remarks"]))  # type: ignore[misc]
    assert all(words_of(w["formula"]) in plain for w in document["workings"])  # type: ignore[attr-defined]


def test_a_file_gives_the_readings_with_their_rows(tmp_path):
    path = tmp_path / "roof.csv"
    path.write_text("frequency,far_end,swr,step\n\n144 MHz,open,7.1,0.1\n144 MHz,short,6.8,0.1\n")
    document = said("--file", str(path))
    assert [r["row"] for r in document["readings"]] == [3, 4]  # type: ignore[attr-defined]
    assert document["losses"] == said(*PAIR)["losses"]


def test_a_coarser_step_widens_the_interval():
    fine, coarse = (said(*PAIR, "--directivity", "40 dB", "--step", s)["losses"][0] for s in ("0.1", "2"))  # type: ignore[index]
    assert coarse["loss_db_high"] - coarse["loss_db_low"] > 2 * (fine["loss_db_high"] - fine["loss_db_low"])


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ((), "--open 7.1"),
        (("--open", "7.1"), "--at"),
        (("--at", "7 MHz"), "no reading before it"),
        (("--open", "7.1", "--open", "7.2", "--at", "7 MHz"), "twice"),
        (("--open", "7.1", "--at", "7"), "unit"),
        (("--open", "0.8", "--at", "7 MHz"), "at least 1"),
        (("--open", "seven", "--at", "7 MHz"), "return loss as 1.9 dB"),
        (("--load-seen", "2", "--at", "7 MHz"), "--load"),
        (("--load", "3", "--load-seen", "9 dB", "--at", "7 MHz"), "same kind"),
        (("--peak", "12"), "@"),
        (("--resonance", "12 @ 7 MHz"), "resistance"),
        ((*PAIR, "--directivity", "30"), "unit"),
        ((*PAIR, "--impedance", "75"), "unit"),
        ((*PAIR, "--line", "no such line"), "line"),
        (("--file", "nowhere.csv"), "nowhere.csv"),
    ],
)
def test_what_is_wrong_is_said_on_stderr_with_exit_2(words, wanted):
    done = ask(*words)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert wanted in words_of(done.stderr)


def test_a_file_of_two_lines_is_refused(tmp_path):
    path = tmp_path / "two.csv"
    path.write_text("frequency,far_end,swr,piece\n144 MHz,open,7.1,blue 7\n144 MHz,open,6.1,blue 8\n")
    done = ask("--file", str(path))
    assert done.exit_code == 2
    assert "One test is one line" in words_of(done.stderr)


def test_help_shows_every_way_of_reading():
    shown = ask("--help").stdout
    assert all(option in shown for option in ("--open", "--short", "--load-seen", "--peak", "--resonance", "--file"))


def test_the_first_line_and_the_table_say_the_same_multiple_of_one_frequency():
    """0.31 (0.26 to 0.36) stood over 0.31 (0.26 to 0.35)."""
    answer = said(*PAIR, "--line", "RG-58C/U", "--length", "20 m")
    (loss,) = answer["losses"]
    assert [answer[k] for k in ("ratio", "ratio_low", "ratio_high")] == [
        loss[k] for k in ("ratio", "ratio_low", "ratio_high")
    ]


def test_a_loss_with_nothing_to_hold_it_against_is_the_answer():
    """ "Cannot tell: It loses 2.2 dB" was the first line of a test that told the loss."""
    view = " ".join(ask("--load", "3.0", "--load-seen", "1.8", "--at", "14.2 MHz").stdout.split())
    assert "Cannot tell" not in view
    assert "It loses 2.2 dB (0.6 to 3.4) at 14.2 MHz. Its type" in view
