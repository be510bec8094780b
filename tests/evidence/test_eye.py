"""How well an eye reads a pointer, in decibels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evidence.benches import BLUE_18, DESK, Row, sheet_of
from linewright.core.nouns.bench_result import Scale
from linewright.inference.bench.design import lay_out
from linewright.inference.bench.noise import Noise, eye_db
from linewright.inference.bench.observations import blocks_of
from linewright.inference.priors import DEFAULT

WIDE = replace(DESK, division=0.2, rated_hz=(1e6, 30e6))


@pytest.mark.parametrize("part", [0.2, 0.5, 1.0])
@pytest.mark.parametrize("scale", ["watts", "milliwatts", "volts", "card"])
def test_an_eye_is_off_by_a_share_of_the_arc_wherever_the_pointer_stands(scale: Scale, part: float) -> None:
    """20 lg (1 + 0.0045/part), on a scale whose step there is as wide as 50 even watts or 100 even volts make it."""
    step_db = 10 * np.log10(1 + 1 / (50 * part**2)) if scale[-5:] == "watts" else 20 * np.log10(1 + 1 / (100 * part))
    off_db = 20 * np.log10(1 + 0.0045 / part)
    assert eye_db(scale, step_db, DEFAULT.eye) == pytest.approx(off_db, rel=0.15)


@pytest.mark.parametrize("scale", ["dBm", "dB", "loss"])
def test_a_scale_in_decibels_is_read_alike_all_along(scale: Scale) -> None:
    assert eye_db(scale, 0.5, DEFAULT.eye) == 0.0


def test_repeats_that_show_the_same_average_the_eye_and_not_the_step() -> None:
    rows: list[Row] = [(WIDE, 14.2e6, p, v) for p, v in (("reference", 10.0), ("blue 18", 7.0), ("blue 18", 7.0))]
    sheet = sheet_of(rows, [BLUE_18])
    lay, priors = lay_out(sheet, blocks_of(sheet), DEFAULT), replace(DEFAULT, zero_division=0.0)
    (fixed,) = Noise(lay, priors).parts(np.full(2, 60.0), np.zeros(lay.n)).fixed
    (still,) = Noise(lay, replace(priors, eye=0.0)).parts(np.full(2, 60.0), np.zeros(lay.n)).fixed
    eye = [eye_db("watts", float(w), 0.0045) ** 2 for w in lay.width_db]
    assert np.diag(fixed - still) == pytest.approx([eye[0], eye[1] / 2])
