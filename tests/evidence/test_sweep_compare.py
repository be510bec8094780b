"""Sweeps against each other, held against scikit-rf."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import skrf
from hypothesis import given
from hypothesis import strategies as st

from evidence.made_sweeps import Made, sweep_of
from examples import few
from linewright.core.errors import InputError
from linewright.inference.sweep.compare import deembed, difference_db, two_lengths

FREQUENCY = skrf.Frequency(1, 400, 201, "MHz")
seeds = st.integers(0, 2**32 - 1)


def _network(seed: int) -> skrf.Network:
    """Return a passive two-port of random lines, shunts and series parts."""
    rng = np.random.default_rng(seed)
    media = skrf.media.DefinedGammaZ0(FREQUENCY, gamma=2j * np.pi * FREQUENCY.f / 2e8, z0=50.0)
    line = skrf.media.DefinedGammaZ0(
        FREQUENCY, gamma=0.02 + 2j * np.pi * FREQUENCY.f / 2e8, z0=float(rng.uniform(30, 90)), z0_port=50.0
    )
    return (
        line.line(float(rng.uniform(0.1, 2)), "m")
        ** media.shunt_capacitor(float(rng.uniform(1e-12, 2e-11)))
        ** media.resistor(float(rng.uniform(1, 30)))
        ** media.inductor(float(rng.uniform(1e-9, 3e-8)))
    )


@few(20)
@given(seeds)
def test_what_scikit_rf_puts_between_two_fixtures_comes_out_again(seed):
    left, device, right = (_network(seed + i) for i in range(3))
    whole = sweep_of(left**device**right)
    found = deembed(whole, sweep_of(left), sweep_of(right))
    assert np.allclose(found.s, device.s, atol=1e-9)
    assert np.allclose(found.s, (left.inv**left**device**right**right.inv).s, atol=1e-9)


def test_one_side_alone_may_be_taken_off():
    left, device, right = (_network(i) for i in range(3))
    assert np.allclose(deembed(sweep_of(left**device), left=sweep_of(left)).s, device.s, atol=1e-9)
    assert np.allclose(deembed(sweep_of(device**right), right=sweep_of(right)).s, device.s, atol=1e-9)


@few(20)
@given(seeds, st.floats(0.05, 1.5), st.floats(30.0, 90.0))
def test_two_lengths_are_exact_whatever_the_launches(seed, difference, ohm):
    f = FREQUENCY.f
    gamma = 0.004 * np.sqrt(f / 1e6) + 2j * np.pi * f / 2.1e8
    media = skrf.media.DefinedGammaZ0(FREQUENCY, gamma=gamma, z0=ohm, z0_port=50.0)
    one, other = _network(seed), _network(seed + 1)
    short, long = (sweep_of(one ** media.line(0.3 + d, "m") ** other) for d in (0.0, difference))
    found = two_lengths(short, long, difference)
    assert np.allclose(found.propagation, gamma, rtol=1e-6)
    assert np.allclose(found.velocity_factor, 2.1e8 / 299792458.0, rtol=1e-6)
    assert np.allclose(found.attenuation_db, 8.685889638 * gamma.real, rtol=1e-6)


def test_two_lengths_swept_in_wide_steps_have_their_velocity_factor():
    """Steps of 60 MHz turn a wave by 0.6 of a half turn on the way through a metre: it is followed all the same."""
    f = np.linspace(20e6, 380e6, 7)
    frequency = skrf.Frequency.from_f(f, unit="Hz")
    media = skrf.media.DefinedGammaZ0(frequency, gamma=0.001 + 2j * np.pi * f / 2e8, z0=50.0)
    found = two_lengths(sweep_of(media.line(1, "m")), sweep_of(media.line(2, "m")), 1.0)
    assert found.velocity_factor == pytest.approx(np.full(7, 2e8 / 299792458.0))


def test_two_lengths_of_unknown_difference_give_its_whole_loss_and_delay():
    made = Made(noise=0.0)
    longer = replace(made, length_m=25.0, k1_db=made.k1_db * 1.25, k2_db=made.k2_db * 1.25)
    found = two_lengths(made.through(), longer.through())
    assert found.velocity_factor is None
    assert np.allclose(found.attenuation_db, made.loss_db(found.frequency_hz) / 4, atol=1e-6)


def test_whole_half_waves_are_marked_as_uncertain():
    f = FREQUENCY.f
    media = skrf.media.DefinedGammaZ0(FREQUENCY, gamma=2j * np.pi * f / 2e8 + 0.001, z0=50.0)
    found = two_lengths(sweep_of(media.line(1, "m")), sweep_of(media.line(2, "m")), 1.0)
    assert not found.certain[np.argmin(np.abs(f - 100e6))]
    assert found.certain[np.argmin(np.abs(f - 50e6))]


def test_a_pad_between_cables_is_the_difference_of_two_sweeps():
    f = FREQUENCY.f
    media = skrf.media.DefinedGammaZ0(FREQUENCY, gamma=2j * np.pi * f / 2e8 + 0.01, z0=50.0)
    cable, pad = media.line(3, "m"), media.attenuator(-6, d=0)
    assert np.allclose(difference_db(sweep_of(cable**pad**cable), sweep_of(cable**cable)), 6.0, atol=1e-6)


def test_sweeps_that_do_not_fit_each_other_are_refused():
    one, other = Made(points=51).through(), Made(points=61).through()
    with pytest.raises(InputError, match="same frequencies"):
        deembed(one, other)
    with pytest.raises(InputError, match="same frequencies"):
        difference_db(one, other)
    with pytest.raises(InputError, match="2 ports"):
        two_lengths(one, Made(points=51).ended(1.0))
    with pytest.raises(InputError, match="let something through"):
        deembed(replace(one, s=one.s * 0), one)
    with pytest.raises(InputError, match="above zero"):
        two_lengths(one, one, -1.0)
