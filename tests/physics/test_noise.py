"""What holds for noise whatever the numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas import noise as n

losses = st.floats(0.0, 30.0)
figures = st.floats(0.0, 20.0)
kelvins = st.floats(1.0, 1e7)
stages = st.builds(n.active_stage, st.floats(-20.0, 40.0), figures)


def _behind(line, figure):
    """A receiver of this noise figure behind a line."""
    return line, n.active_stage(0.0, figure)


@given(losses, figures)
def test_so_many_decibels_of_line_at_290_kelvin_add_as_many_to_the_noise_figure(loss, figure):
    whole = n.cascade_temperature_kelvin(_behind(n.passive_stage(loss), figure))
    assert n.noise_figure_db(whole) == pytest.approx(loss + figure, abs=1e-9)


@given(st.lists(stages, max_size=4), st.lists(stages, max_size=4))
def test_a_cascade_is_the_cascade_of_its_halves(first, then):
    gain = 10 ** (sum(float(s.gain_db) for s in first) / 10)
    halves = n.cascade_temperature_kelvin(first) + n.cascade_temperature_kelvin(then) / gain
    assert n.cascade_temperature_kelvin([*first, *then]) == pytest.approx(float(halves), rel=1e-9)


@given(kelvins, losses, st.floats(0.0, 400.0), figures)
def test_referred_to_the_output_of_a_loss_the_sum_is_the_same(antenna, loss, physical, figure):
    # At the output of a loss: T/L + Tp (1 - 1/L), the textbook's other form.
    system = n.system_temperature_kelvin(antenna, _behind(n.passive_stage(loss, physical), figure))
    ratio = 10 ** (loss / 10)
    behind = antenna / ratio + physical * (1 - 1 / ratio) + float(n.noise_temperature_kelvin(figure))
    assert system / ratio == pytest.approx(behind, rel=1e-9)


@given(kelvins, losses, losses, figures)
def test_the_general_form_of_p372(external, antenna_loss, line_loss, figure):
    # f = fa - 1 + fc ft fr where every part is at T0 (ITU-R P.372, section 2).
    chain = (n.passive_stage(antenna_loss), *_behind(n.passive_stage(line_loss), figure))
    f = external / 290 - 1 + 10 ** ((antenna_loss + line_loss + figure) / 10)
    assert n.system_temperature_kelvin(external, chain) == pytest.approx(290 * f, rel=1e-9)


@given(kelvins, losses, losses, figures, st.floats(1.0, 400.0))
def test_more_line_never_hears_better(external, loss, more, figure, physical):
    short, long = (_behind(n.passive_stage(x, physical), figure) for x in (loss, loss + more))
    assert n.reception_loss_db(external, long, short) >= -1e-9


@given(kelvins, st.floats(0.1, 30.0), figures)
def test_the_loss_of_reception_lies_between_nothing_and_the_lines_loss_with_all_at_290_kelvin(external, loss, figure):
    chain, lossless = (_behind(n.passive_stage(x), figure) for x in (loss, 0.0))
    found = float(n.reception_loss_db(external + 290.0, chain, lossless))
    assert -1e-9 <= found <= loss + 1e-9


@given(kelvins, st.floats(0.1, 20.0), figures, st.floats(1.0, 40.0), figures)
def test_a_preamplifier_with_gain_never_does_worse_at_the_antenna(external, loss, receiver, gain, figure):
    line, amplifier = n.passive_stage(loss), n.active_stage(gain, figure)
    there, here = ((*pair, n.active_stage(0.0, receiver)) for pair in ((amplifier, line), (line, amplifier)))
    # At the antenna the line's share is divided by the gain; what the amplifier adds is not multiplied by the loss.
    assert n.cascade_temperature_kelvin(there) <= n.cascade_temperature_kelvin(here) * (1 + 1e-12)
    assert n.reception_loss_db(external, there, here) <= 1e-9


def test_three_decibels_matter_little_on_shortwave_and_decide_on_70_cm():
    external = n.external_temperature_kelvin(np.array([35.28, -3.0]))  # rural, 14.2 and 432 MHz
    line, none = n.passive_stage(3.0), n.passive_stage(0.0)
    hf, uhf = n.reception_loss_db(external, _behind(line, 4.0), _behind(none, 4.0))
    assert hf < 0.01
    assert uhf > 3.0


def test_an_antenna_colder_than_the_line_loses_more_than_the_lines_decibels():
    line, none = n.passive_stage(1.0), n.passive_stage(0.0)
    assert n.reception_loss_db(20.0, _behind(line, 0.3), _behind(none, 0.3)) > 2.0


def test_frequency_is_the_first_axis_and_draws_the_next():
    line = n.passive_stage(np.full((3, 5), 2.0))
    external = n.external_temperature_kelvin(np.array([40.0, 20.0, 0.0]))[:, np.newaxis]
    loss = n.reception_loss_db(external, _behind(line, 5.0), _behind(n.passive_stage(0.0), 5.0))
    assert loss.shape == (3, 5)
    assert np.all(np.diff(loss[:, 0]) > 0)


@given(st.floats(0.0, 1e5))
def test_noise_temperature_goes_to_noise_figure_and_back(kelvin):
    assert n.noise_temperature_kelvin(n.noise_figure_db(kelvin)) == pytest.approx(kelvin, rel=1e-9, abs=1e-9)


def test_the_deciles_of_drawn_noise_are_the_given_ones():
    drawn = n.spread_db(np.random.default_rng(1).standard_normal(200_000), 11.0, 6.7)
    assert np.quantile(drawn, [0.1, 0.5, 0.9]) == pytest.approx([-6.7, 0.0, 11.0], abs=0.1)


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: n.noise_temperature_kelvin(-1.0), "noise_figure_db"),
        (lambda: n.noise_figure_db(float("nan")), "temperature_kelvin"),
        (lambda: n.external_noise_db(0.0), "temperature_kelvin"),
        (lambda: n.external_temperature_kelvin(float("inf")), "noise_db"),
        (lambda: n.median_noise_db(-1.0, 70.0, 27.0), "frequency_hz"),
        (lambda: n.passive_stage(-3.0), "loss_db"),
        (lambda: n.passive_stage(3.0, -20.0), "physical_kelvin"),
        (lambda: n.active_stage(float("nan"), 1.0), "gain_db"),
        (lambda: n.system_temperature_kelvin(-1.0, ()), "external_kelvin"),
        (lambda: n.reception_loss_db(0.0, (), ()), "external_kelvin"),
        (lambda: n.spread_db(0.0, -1.0, 1.0), "upper_decile_db"),
    ],
)
def test_nonsense_is_refused_by_name(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument
