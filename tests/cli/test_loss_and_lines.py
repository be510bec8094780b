"""The loss table and the list of types show the library's figures, with where they came from."""

from __future__ import annotations

import re

import pytest

import linewright as lw
from cli.doors import ask, words_of
from linewright.present.writers.terminal import width


def test_the_table_shows_the_librarys_losses():
    table = lw.line_loss("RG-213/U", 30.0, [14.2e6, 144e6, 1296e6])
    rows = [
        line
        for line in ask("loss", "RG-213/U", "30 m", "14.2MHz", "144MHz", "1296MHz").stdout.splitlines()
        if " dB (" in line
    ]
    for line, row in zip(rows, table.rows, strict=True):
        value, low, high = re.search(r"([\d.]+) dB \(([\d.]+) to ([\d.]+)\)", line).groups()
        half = 0.501 * 10.0 ** -len(value.partition(".")[2])
        assert [float(value), float(low), float(high)] == pytest.approx(
            [row.loss_db, row.loss_db_low, row.loss_db_high], abs=half
        )
        assert f"{100 * row.delivered_fraction:.0f} %" in line
        assert ("doubtful" in line) is row.extrapolated


def test_every_remark_is_shown_and_explain_adds_formula_and_source():
    words = ("loss", "RG-213/U", "30 m", "14.2MHz")
    table = lw.line_loss("RG-213/U", 30.0, [14.2e6])
    plain, explained = words_of(ask(*words).stdout), words_of(ask(*words, "--explain").stdout)
    assert all(words_of(remark) in plain for remark in table.remarks)
    assert words_of(table.workings[0].formula) in explained
    assert words_of(table.workings[0].source) in explained
    assert words_of(table.workings[0].source) not in plain


def test_a_persons_own_type_answers(tmp_path):
    own = tmp_path / "club.toml"
    own.write_text(
        '[[line]]\nname = "club drum"\nvelocity_factor = 0.8\n'
        'points = [["10 MHz", "1.5 dB/100m"], ["100 MHz", "5.1 dB/100m"], ["1 GHz", "18 dB/100m"]]\n',
        encoding="utf-8",
    )
    listed = ask("lines", "--lines", str(own)).stdout
    assert "club drum" in listed.splitlines()[3]
    assert "given by the person" in ask("lines", "club drum", "--lines", str(own)).stdout
    assert re.search(r" 5\.[01] dB", ask("loss", "club drum", "100 m", "100MHz", "--lines", str(own)).stdout)


def test_the_list_shows_every_type_and_its_loss():
    lines = ask("lines").stdout.splitlines()
    for kind in lw.line_types():
        row = next(line for line in lines if line.startswith(f"  {kind.designator}  "))
        shown = row[len(kind.designator) + 2 :].split()
        assert float(shown[0]) == pytest.approx(kind.impedance_ohm)
        assert float(shown[3].rstrip("*")) == pytest.approx(100 * float(kind.law.db_per_m(144e6)), abs=0.00501)
        assert shown[3].endswith("*") is not kind.law.covers(144e6)


@pytest.mark.parametrize("name", [kind.designator for kind in lw.line_types()])
def test_a_type_in_full_shows_every_figure_grade_and_source(name):
    kind = lw.line_type(name)
    text = ask("lines", name).stdout
    said = words_of(text)
    assert all(width(line) <= 100 for line in text.splitlines())
    sources = {item.provenance.source for item in (*kind.figures.values(), *kind.points)}
    assert all("".join(source.split()) in "".join(text.split()) for source in sources)
    assert sum(" MHz  " in line and "[" in line for line in text.splitlines()) >= len(kind.points) - sum(
        p.frequency_hz < 1e6 for p in kind.points
    )
    assert f"{1e3 * float(kind.figures['outer_diameter_m'].value):.6g} mm" in said
