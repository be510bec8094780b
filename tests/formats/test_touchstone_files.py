"""Files of other hands: each is read as its index says, or refused with a reason; the numbers are scikit-rf's own."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pytest
import skrf

from linewright.core.errors import InputError
from linewright.files.touchstone import read_touchstone

FOLDER = Path(__file__).parents[1] / "data" / "touchstone"
with (FOLDER / "INDEX.csv").open(newline="", encoding="utf-8") as table:
    INDEX = list(csv.DictReader(table))

REFUSED = {
    "format/v1_no_option_line.s2p": ("option line is missing", "# GHz S RI R 50"),
    "format/v1_wrong_unit_GHz_for_Hz.s1p": ("cannot be meant", "Hz would make sense"),
}
"""Files whose plain reading would be wrong: what the error says, and what its cure holds."""
FIRST_READ_BY_US = {"format/v1_hash_used_as_comment.s2p"}
"""Files on which scikit-rf stops."""
REMARKED = {
    "format/v1_double_option_complex_R.s2p": "second option line",
    "format/v1_hash_used_as_comment.s2p": "taken for a comment (row 1, 2)",
    "format/v1_noise_RI_inline_comment.s2p": "noise data are set aside (points: 10)",
    "format/v1_noise_default_option.s2p": "noise data are set aside (points: 2)",
    "format/v1_wrapped_matrix_two_port.s2p": "order of S21 and S12",
    "format/v2_matrix_lower.ts": "[End] is missing",
    "format/v2_noise_reference_50_25.ts": "noise data are set aside (points: 2)",
    "format/v2_reference_per_port.ts": "[End] is missing",
}

LOOKED_AT = """
    array at attenuator badly basic cable cables cal calibrated calibration calvna ch code comment data datahandlers db
    deembedding dipole doc docs double encoding ex examples files format inline interconnection inverse io iso kit line
    load m matrix measurement meter modelling msl multiply networktheory open option p port ports power s short sig
    simulation skrf software source stepped tdr terminator test tests through thru ts twoporttouchstonetestfile utf vna
    vs with
"""
"""Words of the original paths that somebody has read: none names a maker, a part or an instrument."""

SANE = [row for row in INDEX if row["file"] not in REFUSED]


def name(row):
    return row["file"]


def test_the_index_and_the_folder_agree():
    there = {str(p.relative_to(FOLDER)) for p in FOLDER.rglob("*") if p.is_file()}
    there = {p for p in there if not p.startswith("licences") and p not in ("INDEX.csv", "README.md")}
    assert there == {row["file"] for row in INDEX}


def test_every_repository_has_its_licence():
    for row in INDEX:
        assert (FOLDER / "licences" / (row["repository"].replace("/", "__") + ".txt")).is_file()


def test_no_original_path_holds_a_word_that_nobody_has_looked_at():
    """The README promises that a path which names a maker or a part is described instead, in brackets."""
    paths = [re.sub(r"\(.*?\)", "", row["original_path"]).rpartition(".")[0].lower() for row in INDEX]
    assert {word for path in paths for word in re.findall("[a-z]+", path)} - set(LOOKED_AT.split()) == set()


@pytest.mark.parametrize("row", SANE, ids=name)
def test_is_read_as_its_index_says(row):
    sweep = read_touchstone(FOLDER / row["file"])
    assert sweep.name == Path(row["file"]).name
    if row["ports"]:
        assert (sweep.ports, sweep.frequency_hz.size) == (int(row["ports"]), int(row["points"]))
        assert sweep.frequency_hz[0] == pytest.approx(float(row["f_start_hz"]), rel=1e-12)
        assert sweep.frequency_hz[-1] == pytest.approx(float(row["f_stop_hz"]), rel=1e-12)
        assert sweep.reference_ohm.tolist() == [complex(z) for z in row["reference_ohm"].split("/")]
    said = REMARKED.get(row["file"])
    assert any(said in remark for remark in sweep.remarks) if said else sweep.remarks == ()


@pytest.mark.parametrize("row", [r for r in SANE if r["file"] not in FIRST_READ_BY_US], ids=name)
def test_agrees_with_scikit_rf(row):
    sweep = read_touchstone(FOLDER / row["file"])
    other = skrf.Network(str(FOLDER / row["file"]))
    np.testing.assert_allclose(sweep.frequency_hz, other.f, rtol=1e-12)
    np.testing.assert_allclose(sweep.s, other.s, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(sweep.reference_ohm, other.z0[0], rtol=0)


def test_a_file_on_which_scikit_rf_stops_is_read_by_its_own_columns():
    """The first row of the file, by hand."""
    sweep = read_touchstone(FOLDER / "format/v1_hash_used_as_comment.s2p")
    assert (sweep.frequency_hz.size, sweep.frequency_hz[0]) == (120, 4.5e9)
    assert 20 * np.log10(abs(sweep.reflection[0])) == pytest.approx(-0.071392397882674)
    assert np.degrees(np.angle(sweep.transmission[0])) == pytest.approx(-121.8695555367)


@pytest.mark.parametrize("file", sorted(REFUSED))
def test_is_refused_with_the_cure(file):
    with pytest.raises(InputError) as caught:
        read_touchstone(FOLDER / file)
    rule, cure = REFUSED[file]
    assert rule in str(caught.value)
    assert cure in caught.value.cure
    assert caught.value.where.file == str(FOLDER / file)


def test_a_missing_option_line_can_be_given():
    """The file's numbers are real and imaginary parts in GHz, says its index; its first row by hand."""
    sweep = read_touchstone(FOLDER / "format/v1_no_option_line.s2p", option_line="# GHz S RI R 50")
    assert (sweep.ports, sweep.frequency_hz.size, sweep.frequency_hz[0]) == (2, 200, 82.5e9)
    assert sweep.reflection[0] == 0.02778708 + 0.02713172j
    assert sweep.transmission[0] == 0.6780359 - 0.9598358j


def test_a_wrong_unit_can_be_put_right():
    sweep = read_touchstone(FOLDER / "format/v1_wrong_unit_GHz_for_Hz.s1p", option_line="# Hz S RI R 50")
    assert (sweep.frequency_hz[0], sweep.frequency_hz[-1]) == (950e6, 1050e6)


@pytest.mark.parametrize("column", ["il_db_30MHz", "il_db_144MHz", "il_db_432MHz", "il_db_1296MHz"])
def test_insertion_losses_are_those_of_the_index(column):
    """The index interpolates to the frequency; half a last digit and the step between two points are allowed."""
    frequency_hz = float(column.removeprefix("il_db_").removesuffix("MHz")) * 1e6
    seen = 0
    for row in SANE:
        if not row[column]:
            continue
        sweep = read_touchstone(FOLDER / row["file"])
        loss_db = -20 * np.log10(np.abs(sweep.transmission))
        near = np.argsort(np.abs(sweep.frequency_hz - frequency_hz))[:2]
        low, high = loss_db[near].min() - 6e-5, loss_db[near].max() + 6e-5
        assert low - (high - low) <= float(row[column]) <= high + (high - low), row["file"]
        seen += 1
    assert seen >= 4
