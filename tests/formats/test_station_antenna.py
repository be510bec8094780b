"""The shape of an antenna is read from a few lengths, or refused with its cure."""

from __future__ import annotations

import pytest

from linewright.core.nouns.wire_antenna import Beam, Dipole, EndFed, Loop, Vertical
from linewright.files.curve import inline
from linewright.files.station_antenna import shape
from linewright.files.tables import SourceText, TomlTable


def read(text, frequency_hz=7.1e6):
    source = SourceText("station.toml", f"antenna = {{{text}}}")
    entry = inline(TomlTable(source, "", source.parsed()), "antenna")
    found = shape(entry, (frequency_hz,))
    entry.close()
    return found, [str(problem) for problem in source.problems]


@pytest.mark.parametrize(
    ("text", "antenna"),
    [
        ('kind = "dipole", length = "20.2 m", height = "10 m"', Dipole(20.2, 10.0)),
        ('kind = "Doublet", length = "27 m", height = "12 m", feed = "33 %"', Dipole(27.0, 12.0, None, 0.33)),
        (
            'kind = "inverted V", length = "20 m", height = "10 m", end_height = "3 m", wire = "1.5 mm"',
            Dipole(20.0, 10.0, 3.0, 0.5, 0.0015),
        ),
        ('kind = "end-fed", length = "20 m", height = "3 m", counterpoise = "1 m"', EndFed(20.0, 3.0, 1.0)),
        (
            'kind = "end-fed", length = "20 m", height = "3 m", counterpoise = "1 m", end_height = "9 m"',
            EndFed(20.0, 3.0, 1.0, 9.0),
        ),
        ('kind = "vertical", length = "10.1 m"', Vertical(10.1)),
        ('kind = "vertical", length = "10 m", top = "10 m"', Vertical(10.0, top_m=10.0)),
        ('kind = "vertical", length = "8 m", coil = "4 m", base = "0 m"', Vertical(8.0, coil_m=4.0)),
        (
            'kind = "vertical", length = "10.1 m", base = "3 m", radials = 4, radial_length = "10 m"',
            Vertical(10.1, 3.0, 4, 10.0),
        ),
        ('kind = "loop", diameter = "1 m", height = "2 m"', Loop(1.0, 2.0)),
        (
            'kind = "beam", elements = [["0 m", "20 m"], ["5 m", "19 m"]], height = "15 m", driven = 1',
            Beam(((0.0, 20.0), (5.0, 19.0)), 15.0, 1),
        ),
        ('kind = "beam", elements = [["0 m", "20 m"]], height = "15 m"', Beam(((0.0, 20.0),), 15.0, 1)),
    ],
)
def test_each_kind_is_read_from_its_lengths(text, antenna):
    (found, loss_ohm), problems = read(text)
    assert problems == []
    assert found == antenna
    assert loss_ohm is None


def test_a_loss_is_read_in_ohms_and_may_be_none_at_all():
    assert read('kind = "vertical", length = "10 m", loss = "30 ohm"')[0][1] == 30.0
    assert read('kind = "loop", diameter = "1 m", height = "2 m", loss = "0 ohm"')[0][1] == 0.0


def test_without_a_kind_there_is_no_shape_and_lengths_mean_nothing():
    assert read("")[0] == (None, None)
    _, problems = read('length = "20 m", height = "10 m"')
    assert "means nothing without kind" in problems[0]


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ('kind = "dipol", length = "20 m", height = "10 m"', 'Did you mean "dipole"?'),
        ('kind = "dipole", length = "20 m"', "height is missing"),
        ('kind = "dipole", length = 20, height = "10 m"', "needs a number with its unit"),
        ('kind = "dipole", length = "20 m", height = "10 km"', "1 cm and 1 km"),
        ('kind = "dipole", length = "20 m", height = "10 m", feed = "1 %"', "end-fed"),
        ('kind = "dipole", length = "20 m", height = "10 m", wire = "2 m"', "diameter"),
        ('kind = "dipole", length = "20 m", height = "10 m", radials = 4', "means nothing here"),
        ('kind = "inverted v", length = "10 m", height = "10 m", end_height = "3 m"', "end_height"),
        ('kind = "vertical", length = "10 m", base = "3 m"', "two radials"),
        ('kind = "vertical", length = "10 m", radials = 4', "raised base"),
        ('kind = "vertical", length = "10 m", coil = "11 m"', "coil"),
        ('kind = "vertical", length = "10 m", loss = "10"', "needs a number with its unit"),
        ('kind = "vertical", length = "10 m", loss = "-1 ohm"', "between 0 and 1000"),
        ('kind = "loop", diameter = "3 m", height = "1 m"', "above ground"),
        ('kind = "beam", elements = [], height = "10 m"', "1 to 30 elements"),
        ('kind = "beam", elements = [["0 m"]], height = "10 m"', "pairs"),
        ('kind = "beam", elements = [["1 m", "20 m"], ["0 m", "19 m"]], height = "9 m"', "rise along the boom"),
        ('kind = "beam", elements = [["0 m", "20 m"]], height = "9 m", driven = 3', "driven"),
    ],
)
def test_a_shape_that_cannot_be_is_refused_with_its_cure(text, rule):
    (found, _), problems = read(text)
    assert found is None or "means nothing here" in rule
    assert len(problems) == 1, problems
    assert rule in problems[0]


def test_a_shape_too_long_for_one_of_its_frequencies_is_refused():
    text = 'kind = "dipole", length = "300 m", height = "10 m"'
    assert read(text, 1.85e6)[1] == []
    assert "wavelengths" in read(text, 145e6)[1][0]
