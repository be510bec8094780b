"""One end in hand: published figures, and what must hold of any line."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas import deembedding as oe
from linewright.core.formulas.deembedding import highest_swr
from linewright.core.formulas.mismatch import reflection_from_return_loss, reflection_from_swr
from published.reader import agrees, checks, label

FUNCTIONS = {
    "loss_from_swr": lambda i: oe.loss_from_reflection_db(reflection_from_swr(i["swr"])),
    "loss_from_return_loss": lambda i: oe.loss_from_reflection_db(reflection_from_return_loss(i["return_loss_db"])),
    "swr_at_open_end": lambda i: highest_swr(i["loss_db"]),
    "loss_of_low_resonance_db": lambda i: oe.loss_from_resonance_db(i["impedance_ohm"] / i["swr"], i["impedance_ohm"]),
}
losses_db = st.floats(0.01, 20.0)
turns = st.floats(0.01, 6.3)
impedances = st.floats(20.0, 150.0)


@pytest.mark.parametrize("check", checks("one_end"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)


@given(losses_db, impedances)
def test_loss_from_either_resonance_is_the_loss(loss_db, impedance_ohm):
    # Z0 tanh αl and Z0 coth αl: what a shorted line is at a half and at a quarter wave.
    thin = np.tanh(loss_db / 8.685889638)
    for ohm in (impedance_ohm * thin, impedance_ohm / thin):
        assert float(oe.loss_from_resonance_db(ohm, impedance_ohm)) == pytest.approx(loss_db, rel=1e-4)


@given(losses_db, st.floats(0.0, 0.25), turns, turns)
def test_open_and_short_together_cancel_errors_to_first_order(loss_db, error, turned, phase):
    back = 10 ** (-loss_db / 10) * np.exp(1j * phase)
    off = error * abs(back) * np.exp(1j * turned)  # as directivity, and as a step of impedance at the near end
    both = [abs(off + (off + g) / (1 + np.conj(off) * g)) for g in (back, -back)]
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
        (lambda: oe.loss_from_resonance_db(-1.0, 50.0), "resistance_ohm"),
        (lambda: oe.loss_from_resonance_db(1.0, np.inf), "impedance_ohm"),
    ],
)
def test_what_cannot_be_is_named(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument
