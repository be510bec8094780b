"""The antenna behind a line: bounds kept, doubt told, flatness judged."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.catalogue import line_type
from linewright.catalogue.belief import catalogue_belief
from linewright.core.errors import InputError
from linewright.core.formulas.deembedding import highest_swr, lossy_impedance_ohm, phase_constant_rad_per_m
from linewright.core.formulas.lossy_line import input_impedance_ohm
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.sweep import Sweep
from linewright.core.nouns.through import Estimate
from linewright.files.tables import to_json
from linewright.inference.load import see
from linewright.inference.load.antenna import referred_to_line
from linewright.inference.load.flatness import _share
from linewright.inference.load.see import behind_belief, behind_loss
from linewright.inference.load.seen import seen_impedance, seen_return_loss, seen_sweep, seen_swr
from linewright.present.compose.through_words import hertz_words, worded

MHZ = 1e6
through = partial(see.through, worded=worded)


def _belief(kind="RG-58C/U", length_m=20.0):
    return catalogue_belief(Piece("line", length_m, line_type(kind)))


def _exact_line(kind="RG-58C/U", length_m=20.0):
    """A line whose law is known without doubt."""
    belief = _belief(kind, length_m)
    return behind_belief(replace(belief, growth=np.ones(belief.draws)))


def _near_ohm(load, f, line):
    kind, length = line_type("RG-58C/U"), line.length_m
    conductor, dielectric = (length * part / 8.685889638 for part in kind.law.parts_db_per_m(f))
    beta = phase_constant_rad_per_m(f, kind.velocity_factor) * length
    z0 = lossy_impedance_ohm(kind.impedance_ohm, conductor, dielectric, beta)
    return input_impedance_ohm(load, z0, conductor + dielectric + 1j * beta)


def _dipole(f, f0=145 * MHZ, q=15.0, r=40.0):
    return r * (1 + 1j * q * (f / f0 - f0 / f))


def _swr_curve(z, step=0.1):
    g = np.abs((z - 50) / (z + 50))
    return np.maximum(np.round((1 + g) / (1 - g) / step) * step, 1.0)


@given(st.floats(1.0, 20.0), st.floats(0.0, 15.0), st.floats(0.0, 2.0), st.sampled_from([0.01, 0.1, 0.5]))
def test_any_reading_is_answered_in_order_and_within_bounds(swr, loss_db, half, step):
    r = through(seen_swr(swr, step), behind_loss(loss_db, half))
    low, value, high = (r.antenna_reflection.low, r.antenna_reflection.value, r.antenna_reflection.high)
    assert 0 <= low <= high <= 1
    assert r.contradiction == (value is None)
    assert value is None or low <= value <= high
    assert r.plain_swr is None or r.plain_reflection < 1
    assert math.isclose(r.highest_swr_at_radio.value, highest_swr(r.loss_db.value))
    json.loads(to_json(r))


def test_the_same_reading_gives_the_same_answer():
    assert through(seen_swr(1.3), behind_loss(3.0)) == through(seen_swr(1.3), behind_loss(3.0))


def test_without_doubt_the_interval_closes_on_the_plain_formula():
    seen = seen_swr(1.5, 0.001, directivity_db=90.0)
    r = through(seen, behind_loss(3.0, 0.0))
    assert r.antenna_swr.low < r.plain_swr < r.antenna_swr.high
    # What is left is the bridge's scale and the line's impedance, made to within 2 ohms.
    assert r.antenna_swr.high - r.antenna_swr.low < 0.6


def test_more_doubt_in_step_loss_or_bridge_widens_the_interval():
    def width(**changes):
        told = {"step": 0.05, "half": 0.2, "directivity_db": 35.0, **changes}
        seen = seen_swr(2.0, told["step"], directivity_db=told["directivity_db"])
        g = through(seen, behind_loss(2.0, told["half"])).antenna_reflection
        return g.high - g.low

    assert width() < width(step=0.4)
    assert width() < width(half=1.0)
    assert width() < width(directivity_db=20.0)


def test_a_reading_near_the_ceiling_strikes_out_large_losses():
    r = through(seen_swr(3.0), behind_loss(3.0, 0.5))
    assert r.loss_tightened
    assert r.updated_loss_db.high < r.loss_db.high - 0.1
    assert any("ruled out" in remark for remark in r.remarks)


def test_a_reading_far_below_the_ceiling_leaves_the_line_alone():
    r = through(seen_swr(1.3), behind_loss(3.0, 0.5))
    assert not r.loss_tightened
    assert r.updated_loss_db == r.loss_db


def test_a_reading_beyond_the_ceiling_contradicts_the_line():
    r = through(seen_swr(5.0), behind_loss(3.0))
    assert r.contradiction
    assert r.plain_swr is None
    assert r.plain_reflection > 1
    assert r.antenna_swr.value is None
    assert r.updated_loss_db == Estimate()
    # |Γ| 2/3 leaves room for 1.76 dB with no doubt, a little more with a bridge's.
    assert 1.76 < r.largest_loss_db < 3.0
    assert "cannot give this reading" in r.verdict


def test_behind_much_loss_nothing_can_be_told_and_a_dummy_load_would_do():
    hidden = through(seen_swr(1.0), behind_loss(12.0))
    assert "Cannot tell" in hidden.verdict
    low = through(seen_swr(1.1), behind_loss(6.0))
    assert "A dummy load would look the same." in low.verdict


def test_return_loss_and_swr_of_one_reflection_say_the_same():
    a = through(seen_swr(1.5, 0.02), behind_loss(2.0))
    b = through(seen_return_loss(13.979, 0.25), behind_loss(2.0))
    assert a.antenna_swr.value == pytest.approx(b.antenna_swr.value, rel=0.03)


def test_loss_and_phase_are_taken_out_of_an_impedance():
    line, f = _exact_line(), np.array([145 * MHZ])
    near = complex(_near_ohm(80 + 30j, f, line)[0])
    r = through(seen_impedance(near, 0.01, frequency_hz=f, directivity_db=90.0), line)
    for part, truth in ((r.antenna_resistance_ohm, 80), (r.antenna_reactance_ohm, 30)):
        assert part.low < truth < part.high
    g = abs((80 + 30j - 50) / (80 + 30j + 50))
    assert r.antenna_reflection.value == pytest.approx(g, abs=0.02)


def test_an_impedance_behind_a_stated_loss_tells_no_impedance():
    r = through(seen_impedance(38 - 12j), behind_loss(1.0))
    assert r.antenna_resistance_ohm == Estimate()
    assert r.antenna_swr.value > 1.3


def test_a_line_of_another_impedance_is_told_of():
    line = behind_belief(_belief("RG-59", 20.0))
    r = through(seen_swr(1.5, frequency_hz=np.array([14 * MHZ])), line)
    assert any("75 ohm" in remark for remark in r.remarks)
    exact = through(seen_impedance(75.0, frequency_hz=np.array([14 * MHZ])), line)
    # 75 ohm at the near end of a 75 ohm line is 75 ohm at the far end.
    assert exact.antenna_resistance_ohm.low < 75 < exact.antenna_resistance_ohm.high
    assert exact.antenna_swr.value == pytest.approx(1.5, abs=0.1)


def test_a_reading_referred_to_75_ohm_is_as_doubtful_as_its_ohms():
    """The reflection of a load moves with its ohms: the step at the analyser, carried over, moves it by as much."""
    z, step = 60.0 + 35.0j, 1e-3
    seen = referred_to_line(seen_impedance(z, step, frequency_hz=np.array([14 * MHZ])), behind_belief(_belief("RG-59")))
    assert seen.reference_ohm == 75.0
    assert complex(seen.reflection[0]) == pytest.approx((z - 75) / (z + 75))
    # |dΓ/dZ| = 2 R0/|Z + R0|² an ohm, with half a step each way in both parts.
    reach = 2 * 75 / abs(z + 75) ** 2 * step / math.sqrt(2)
    assert (seen.high[0] - seen.low[0]) / 2 == pytest.approx(reach, rel=1e-4)


def test_a_known_type_needs_a_frequency():
    with pytest.raises(InputError, match="frequency"):
        through(seen_swr(1.3), behind_belief(_belief()))


@pytest.mark.parametrize("phase", [False, True])
def test_a_curve_gives_resonance_best_swr_and_bandwidth(phase):
    line, f = _exact_line(), np.linspace(134, 156, 67) * MHZ
    near = _near_ohm(_dipole(f), f, line)
    if phase:
        sweep = Sweep("beam", f, ((near - 50) / (near + 50))[:, None, None], np.array([50.0 + 0j]))
        seen = seen_sweep(sweep)
    else:
        seen = seen_swr(_swr_curve(near), 0.1, frequency_hz=f)
    r = through(seen, line)
    assert r.best_swr.low <= 1.25 <= r.best_swr.high
    assert r.resonance_hz.low < 145 * MHZ < r.resonance_hz.high
    # R (1 + jQ 2δ) = 40 (1 + jx) has SWR 2 at |x| 0.75: ((0.8 + 1)² + 0.64 x²)/3.2 = 9/8.
    x = math.sqrt((3.2 * 9 / 8 - 1.8**2) / 0.64)
    width = x / 15 * 145 * MHZ
    assert r.bandwidth_hz.low < width < r.bandwidth_hz.high
    assert (r.zero_reactance_hz.value is not None) == phase
    if phase:
        assert r.zero_reactance_hz.low < 145 * MHZ < r.zero_reactance_hz.high
    truth = (1 + np.abs((_dipole(f) - 50) / (_dipole(f) + 50))) / (1 - np.abs((_dipole(f) - 50) / (_dipole(f) + 50)))
    held = [p.antenna_swr.low <= t <= p.antenna_swr.high for p, t in zip(r.curve, truth, strict=True)]
    assert np.mean(held) > 0.95
    assert r.flat_warning.is_flat is False


def test_the_headline_speaks_of_the_frequency_asked_for():
    f = np.linspace(140, 150, 21) * MHZ
    r = through(seen_swr(np.linspace(1.2, 2.2, 21), frequency_hz=f), behind_loss(1.0, at_hz=145 * MHZ), at_hz=150 * MHZ)
    assert r.frequency_hz == 150 * MHZ
    assert r.radio_swr == pytest.approx(2.2)


def test_a_resonance_beyond_the_curve_is_not_told():
    f = np.linspace(146, 156, 31) * MHZ
    z = _dipole(f, f0=140 * MHZ)
    r = through(seen_swr(_swr_curve(z), frequency_hz=f), behind_loss(1.0, at_hz=150 * MHZ))
    assert r.resonance_hz == Estimate()
    assert r.bandwidth_hz == Estimate()


def test_a_dummy_load_swept_widely_is_too_flat():
    f = np.linspace(134, 156, 23) * MHZ
    r = through(seen_swr(np.full(23, 1.1), frequency_hz=f), behind_loss(1.0, at_hz=145 * MHZ))
    flat = r.flat_warning
    assert flat.is_flat is True
    assert flat.probability < 0.01
    assert flat.smallest_loss_db > 4.0
    assert any("dummy load" in words for words in flat.alternatives)
    assert r.verdict.startswith("Too flat to be true. A dummy load would look the same.")


def test_on_a_narrow_sweep_nobody_can_tell_and_a_wider_one_is_asked_for():
    f = np.linspace(144, 146, 21) * MHZ
    flat = through(seen_swr(np.full(21, 1.1), frequency_hz=f), behind_loss(1.0, at_hz=145 * MHZ)).flat_warning
    assert flat.is_flat is None
    assert flat.useful_to_hz - flat.useful_from_hz > 2 * MHZ
    assert "Sweep" in flat.why


def test_nothing_at_the_far_end_is_no_flatness():
    f = np.linspace(134, 156, 23) * MHZ
    open_end = float(highest_swr(3.0))
    r = through(seen_swr(np.full(23, round(open_end, 1)), frequency_hz=f), behind_loss(3.0, at_hz=145 * MHZ))
    assert r.flat_warning.is_flat is False
    assert "open or shorted" in r.flat_warning.why


def test_more_loss_is_needed_to_explain_a_flatter_curve():
    f = np.linspace(134, 156, 23) * MHZ

    def least(loss_db):
        z = _dipole(f)
        g = (z - 50) / (z + 50) * 10 ** (-loss_db / 10)
        seen = seen_impedance(50 * (1 + g) / (1 - g), 0.1, frequency_hz=f)
        return through(seen, behind_loss(1.0, at_hz=145 * MHZ)).flat_warning.smallest_loss_db

    assert least(1.0) <= least(4.0) <= least(8.0)


@pytest.mark.parametrize(("chance", "words"), [(0.5, "50 in 100"), (0.095, "10 in 100"), (0.004, "4 in 1000"),
                                               (1e-5, "1 in 1000")])  # fmt: skip
def test_a_share_of_antennas_is_told_in_hundreds_or_thousands(chance, words):
    assert _share(chance) == words


@pytest.mark.parametrize(
    ("hertz", "words"),
    [
        ((475.2e3, 474.4e3, 476.1e3), "475.2 kHz (474.4 to 476.1)"),
        ((1.25e6, 1.241e6, 1.259e6), "1.25 MHz (1.241 to 1.259)"),
    ],
)
def test_the_ends_of_a_frequency_are_told_in_its_own_unit(hertz, words):
    assert hertz_words(Estimate(*hertz)) == words
    assert hertz_words(Estimate()) == "beyond telling"


def test_long_curves_are_thinned_and_keep_their_lowest_point():
    f = np.linspace(134, 156, 4001) * MHZ
    swr = _swr_curve(_dipole(f), 0.01)
    r = through(seen_swr(swr, 0.01, frequency_hz=f), behind_loss(1.0, at_hz=145 * MHZ))
    assert len(r.curve) <= 101
    assert min(p.radio_swr for p in r.curve) == pytest.approx(swr.min())


def test_a_loss_stated_for_no_frequency_holds_at_the_middle_of_the_curve():
    f = np.linspace(7, 28, 22) * MHZ
    seen = seen_swr(np.linspace(1.2, 1.9, 22), frequency_hz=f)
    free, held = through(seen, behind_loss(2.0)), through(seen, behind_loss(2.0, at_hz=17.5 * MHZ))
    assert free.curve == held.curve
    assert free.curve[0].highest_swr_at_radio > free.curve[-1].highest_swr_at_radio
