"""``linewright cut``: files and pieces of a ledger, in words, as JSON, as labels, and applied."""

from __future__ import annotations

import json
from datetime import date

import pytest
from click.testing import CliRunner

import linewright as lw
from evidence.made_sweeps import Made
from linewright.cli.main import main
from linewright.verbs.shelf import add, file_sweep, kept, open_ledger

ONE = Made(k1_db=0.14, length_m=7.0, points=301, stop_hz=300e6)
TWO = Made(k1_db=0.142, length_m=7.1, points=301, stop_hz=300e6)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Two lines in files, and a ledger that keeps both."""
    place = tmp_path_factory.mktemp("cut")
    for name, made in (("one", ONE), ("two", TWO)):
        lw.write_touchstone(made.through(), place / f"{name}.s2p")
    lw.write_touchstone(ONE.ended(1), place / "one-open.s1p")
    lw.write_touchstone(ONE.ended(-1), place / "one-short.s1p")
    with open_ledger(str(place / "ledger.sqlite")) as ledger:
        for tag, made in (("one", ONE), ("two", TWO), ("spare", ONE)):
            add(ledger, "piece", {"tag": tag, "line": "RG-58C/U", "length": f"{made.length_m} m"})
        for tag in ("one", "two"):
            file_sweep(ledger, place / f"{tag}.s2p", tag, on=date(2026, 4, 1))
    return place


def ask(folder, *words, at=("--at", "145 MHz")):
    env = {"LINEWRIGHT_LEDGER": str(folder / "ledger.sqlite")}
    return CliRunner().invoke(main, ["cut", *words, *at], standalone_mode=False, env=env)


def told(folder, *words, **more):
    ran = ask(folder, *words, "--json", **more)
    assert ran.exception is None, ran.exception
    return json.loads(ran.stdout)


def test_files_and_pieces_tell_the_same(folder):
    files = [str(folder / f"{n}.s2p") for n in ("one", "two")]
    (swept,) = told(folder, *files, "--length", "7 m", "--length", "7.1 m", "--line", "RG-58C/U")["differences"]
    (from_shelf,) = told(folder, "one", "two")["differences"]
    assert from_shelf["trim_m"] == pytest.approx(swept["trim_m"], rel=1e-9)
    assert (from_shelf["longer"], from_shelf["shorter"], swept["longer"]) == ("two", "one", "two.s2p")
    assert from_shelf["trim_m"] == pytest.approx(0.1, abs=0.004)


def test_the_words_say_what_to_trim_from_which(folder):
    said = " ".join(ask(folder, "one", "two").stdout.split())
    assert "two is 26.5°" in said
    assert "trim 100 mm" in said or "trim 99 mm" in said or "trim 101 mm" in said
    assert "The lines" in said


def test_open_and_short_of_one_line_are_joined(folder):
    pair = f"{folder / 'one-open.s1p'}+{folder / 'one-short.s1p'}"
    answer = told(folder, pair, "--far-end", "open", "--far-end", "short", "--length", "7 m", "--to", "half wave")
    assert answer["cut"]["way"] == "measure"
    assert answer["pieces"][0]["basis"] == "swept"


def test_a_piece_that_nobody_swept_is_known_by_its_type_and_said_to_be(folder):
    answer = told(folder, "spare", "two")
    assert {p["piece"]: p["basis"] for p in answer["pieces"]} == {"spare": "its type", "two": "swept"}
    assert any("No measurement gives" in r for r in answer["remarks"])


def test_a_whole_band_shows_what_is_left_over_it(folder):
    (found,) = told(folder, "one", "two", at=("--band", "2 m"))["differences"]
    assert [x["frequency_hz"] for x in found["band"]] == [144e6, 146e6, 148e6]
    assert abs(found["band"][1]["left_deg"]) < 1e-9
    assert all(abs(x["left_deg"]) < 0.5 for x in found["band"])


def test_a_label_says_what_to_trim(folder, tmp_path):
    from io import BytesIO

    from pypdf import PdfReader

    out = tmp_path / "trim.pdf"
    assert ask(folder, "one", "two", "--label", str(out)).exception is None
    words = " ".join(PdfReader(BytesIO(out.read_bytes())).pages[0].extract_text().split())
    assert "two" in words
    assert "trim" in words
    assert "mm" in words


def test_applied_the_ledger_keeps_the_shorter_piece(folder, tmp_path):
    import shutil

    shutil.copy(folder / "ledger.sqlite", tmp_path / "ledger.sqlite")
    ran = ask(tmp_path, "one", "two", "--apply", "--on", "2026-04-02", "--json")
    assert ran.exception is None, ran.exception
    trim = json.loads(ran.stdout)["differences"][0]["trim_m"]
    with open_ledger(str(tmp_path / "ledger.sqlite")) as ledger:
        new = kept(ledger, "piece", "two a")
        assert float(new.body["length"].split()[0]) == pytest.approx(7.1 - trim, abs=1e-4)
        assert new.body["origin"] == {"how": "shortened", "pieces": ["two"], "on": "2026-04-02"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("one", "two", "--to", "a mile"), "electrical length"),
        (("one", "nobody"), "nobody"),
        (("one",), "two or more"),
        (("one", "two", "--label", "trim.txt"), r"\.pdf"),
        (("one", "spare", "--apply"), "nothing is to be cut"),
    ],
)
def test_what_cannot_be_is_refused(folder, words, said):
    ran = ask(folder, *words)
    assert ran.exception is not None
    assert lw.InputError in type(ran.exception).__mro__
    assert __import__("re").search(said, str(ran.exception))


def test_a_velocity_factor_that_was_taken_is_in_the_sentence(folder):
    """Where no length was given, metres stood on a factor that nobody had named."""
    cut = ("--to", "quarter wave")
    bare, measured = (
        " ".join(ask(folder, str(folder / "one.s2p"), *cut, *length).stdout.split())
        for length in ((), ("--length", "7 m"))
    )
    assert "The length of one.s2p was not given: its metres assume a velocity factor of 0.77 (0.59 to 0.95)." in bare
    assert "was not given" not in measured
