"""One end in hand: published figures, and scikit-rf as another engine for what a lossy line shows."""

from __future__ import annotations

import numpy as np
import pytest
import skrf
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas import one_end as oe
from linewright.core.formulas.mismatch import reflection_from_return_loss, reflection_from_swr, swr_from_reflection
from published.reader import agrees, checks, label

FUNCTIONS = {
    "loss_from_swr": lambda i: oe.loss_from_reflection_db(reflection_from_swr(i["swr"])),
    "loss_from_return_loss": lambda i: oe.loss_from_reflection_db(reflection_from_return_loss(i["return_loss_db"])),
    "swr_at_open_end": lambda i: swr_from_reflection(oe.seen_reflection(10 ** (-i["loss_db"] / 10))),
    "low_resonance_swr": lambda i: i["impedance_ohm"] / oe.resonance_ohm(i["loss_db"], i["impedance_ohm"])[0],
}
ONE = skrf.Frequency(144, 144, 1, "MHz")
losses_db = st.floats(0.01, 20.0)
phases = st.floats(0.01, 6.3)
impedances = st.floats(20.0, 150.0)


@pytest.mark.parametrize("check", checks("one_end"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)


def network(matrix) -> skrf.Network:
    return skrf.Network(frequency=ONE, s=np.array([matrix], dtype=complex), z0=50)


def line(loss_db: float, phase: float, impedance_ohm: float) -> skrf.Network:
    """A lossy line between two 50-ohm ports, as scikit-rf makes it."""
    media = skrf.media.DefinedGammaZ0(
        ONE, z0=impedance_ohm, z0_port=50, gamma=loss_db / 8.685889638 + 1j * phase
    )  # one metre
    return media.line(1, "m")


@given(losses_db, phases, impedances, st.sampled_from([1.0, -1.0, 0.5, -0.3]), phases)
def test_what_a_line_shows_is_what_scikit_rf_says(loss_db, phase, impedance_ohm, end, turned):
    step = (impedance_ohm - 50) / (impedance_ohm + 50)
    far = end * np.exp(1j * turned)
    load = (far + step) / (1 + step * far)  # the same end, seen in 50 ohms
    expected = (line(loss_db, phase, impedance_ohm) ** network([[load]])).s[0, 0, 0]
    back = far * 10 ** (-loss_db / 10) * np.exp(-2j * phase)
    assert oe.seen_reflection(back, step) == pytest.approx(expected, abs=1e-9)


@given(losses_db, phases, st.complex_numbers(max_magnitude=0.2), st.complex_numbers(max_magnitude=0.3))
def test_an_instrument_with_errors_is_a_two_port_in_front_of_the_line(loss_db, phase, directivity, source):
    box = network([[directivity, 1.0], [1.0, source]])
    expected = (box ** line(loss_db, phase, 50.0) ** network([[-1.0]])).s[0, 0, 0]
    back = -(10 ** (-loss_db / 10)) * np.exp(-2j * phase)
    assert oe.seen_reflection(back, 0.0, directivity, source) == pytest.approx(expected, abs=1e-9)


@given(losses_db, impedances)
def test_resistances_at_resonance_are_those_of_scikit_rf(loss_db, impedance_ohm):
    low, high = oe.resonance_ohm(loss_db, impedance_ohm)
    for phase, expected in ((np.pi, low), (np.pi / 2, high)):
        shorted = line(loss_db, phase, impedance_ohm) ** network([[-1.0]])
        assert shorted.z[0, 0, 0].real == pytest.approx(float(expected), rel=1e-6)


@given(losses_db, impedances)
def test_loss_from_either_resonance_is_the_loss(loss_db, impedance_ohm):
    for ohm in oe.resonance_ohm(loss_db, impedance_ohm):
        assert float(oe.loss_from_resonance_db(ohm, impedance_ohm)) == pytest.approx(loss_db, rel=1e-4)


@given(losses_db, st.floats(0.0, 0.25), phases, phases)
def test_open_and_short_together_cancel_errors_to_first_order(loss_db, error, turned, phase):
    back = 10 ** (-loss_db / 10) * np.exp(1j * phase)
    off = error * abs(back) * np.exp(1j * turned)
    both = [abs(oe.seen_reflection(sign * back, off, off)) for sign in (1, -1)]
    alone = max(abs(g / abs(back) - 1) for g in both)
    assert abs(np.mean(both) / abs(back) - 1) <= 3.0 * error**2 + 1e-12
    assert alone <= 2.5 * error + 1e-12


def test_an_end_that_shows_nothing_is_behind_any_loss():
    assert oe.loss_from_reflection_db(0.0) == np.inf
    assert str(oe.loss_from_reflection_db(1.0)) == "0.0"


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: oe.loss_from_reflection_db(1.2), "seen"),
        (lambda: oe.loss_from_reflection_db(0.5, 0.0), "far_end"),
        (lambda: oe.resonance_ohm(-1.0, 50.0), "loss_db"),
        (lambda: oe.resonance_ohm(1.0, 0.0), "impedance_ohm"),
        (lambda: oe.loss_from_resonance_db(-1.0, 50.0), "resistance_ohm"),
        (lambda: oe.loss_from_resonance_db(1.0, np.inf), "impedance_ohm"),
    ],
)
def test_what_cannot_be_is_named(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument
