"""A cable swept from one end: what comes out is what scikit-rf put in."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from evidence.made_sweeps import Made
from linewright.core.errors import InputError
from linewright.core.formulas.sparameters import renormalise
from linewright.inference.sweep.one_port import read_one_port
from linewright.inference.sweep.reading import SWAPPED_NATS, _either
from linewright.inference.sweep.two_port import read_two_port

AT_HZ = (14e6, 144e6, 432e6)
FAR = {"open": 1.0, "short": -1.0, "load": 0.0}


def _sweeps(made, *ends):
    return {end: made.ended(FAR[end]) for end in ends}


def _losses(found):
    return {row.frequency_hz: row.matched_loss_db for row in found.losses if not row.band}


@pytest.mark.parametrize("zc_ohm", [50.0, 75.0, 35.0])
@pytest.mark.parametrize("ends", [("open", "short"), ("open",), ("short",)])
def test_any_far_end_gives_loss_impedance_and_delay(zc_ohm, ends):
    made = Made(zc_ohm=zc_ohm)
    found = read_one_port(_sweeps(made, *ends), velocity_factor=0.66, at_hz=AT_HZ)
    for f, loss in _losses(found).items():
        assert loss.holds(made.loss_at(f))
        assert abs(loss.value / made.loss_at(f) - 1) < 0.02
    assert found.impedance_ohm.holds(zc_ohm)
    assert abs(found.delay_s.value / made.group_delay_s - 1) < 1.5e-3
    assert found.length_m.holds(20.0)


def test_both_ends_and_one_end_tell_the_same_loss():
    made = Made()
    through, ended = (
        _losses(read_two_port(made.through(), at_hz=AT_HZ)),
        _losses(read_one_port(_sweeps(made, "open", "short"), at_hz=AT_HZ)),
    )
    assert all(abs(through[f].value - ended[f].value) < 0.01 for f in AT_HZ)


@pytest.mark.parametrize("zc_ohm", [50.0, 75.0])
def test_a_load_alone_gives_the_impedance_only(zc_ohm):
    found = read_one_port(_sweeps(Made(zc_ohm=zc_ohm, k1_db=1.0), "load"))
    assert found.impedance_ohm.holds(zc_ohm)
    assert found.law is None
    assert found.losses == ()
    assert found.delay_s is None


def test_the_reference_a_file_was_written_in_changes_nothing():
    made = Made(zc_ohm=75.0)
    sweeps = _sweeps(made, "open", "short")
    moved = {
        end: replace(s, s=renormalise(s.s, 50.0, 75.0), reference_ohm=np.array([75.0 + 0j]))
        for end, s in sweeps.items()
    }
    first, second = (read_one_port(x, at_hz=AT_HZ) for x in (sweeps, moved))
    assert all(abs(_losses(first)[f].value - _losses(second)[f].value) < 1e-3 for f in AT_HZ)


def test_a_far_end_hidden_behind_a_lossy_line_is_not_read():
    made = Made(k1_db=1.2, k2_db=0.01, zc_ohm=60.0)
    sweep = made.ended(1.0)
    found = read_one_port({"open": replace(sweep, s=sweep.s + 0.03)}, at_hz=AT_HZ)
    assert any("hide the far end" in said for said in found.remarks)
    assert 432e6 not in _losses(found)
    for f, loss in _losses(found).items():
        assert loss.holds(made.loss_at(f))


@pytest.mark.parametrize("turns", [0.4, 1.7, 3.3])
def test_a_coarse_sweep_lists_the_true_delay(turns):
    made = Made(points=101, start_hz=1e6)
    made = replace(made, stop_hz=1e6 + 100 * turns / made.delay_s / 2)
    found = read_one_port(_sweeps(made, "open", "short"))
    told = [found.delay_s.value] if found.delay_s else [c.delay_s for c in found.candidates]
    assert any(abs(d / made.delay_s - 1) < 0.01 for d in told)


def test_a_sweep_too_narrow_for_a_ripple_takes_the_impedance_of_the_type_and_says_so():
    made = Made(length_m=2.0, k1_db=0.03, k2_db=0.0002, start_hz=10e6, stop_hz=60e6)
    found = read_one_port(_sweeps(made, "open"))
    assert found.impedance_ohm is None
    assert any("50 ohms is assumed" in said for said in found.remarks)


def test_what_is_no_set_of_one_ports_is_refused():
    made = Made(points=51)
    with pytest.raises(InputError, match="one sweep at least"):
        read_one_port({})
    with pytest.raises(InputError, match="open, short or load"):
        read_one_port({"closed": made.ended(1.0)})
    with pytest.raises(InputError, match="1 port"):
        read_one_port({"open": made.through()})
    with pytest.raises(InputError, match="same frequencies"):
        read_one_port({"open": made.ended(1.0), "short": Made(points=52).ended(-1.0)})


@pytest.mark.parametrize("ahead", [-3.0, 0.0, 4.0])
def test_an_end_that_may_be_either_shares_out_the_whole_chance(ahead):
    """In nats: half of what a swap asks for speaks for the end as it was said."""
    mine, other = (SimpleNamespace(bare_s=np.full(3, delay), score=0.0) for delay in (100e-9, 105e-9))
    found = {c.delay_s: c.probability for c in _either(mine, other, (ahead, 0.0)).candidates}
    assert sum(found.values()) == pytest.approx(1.0)
    assert np.log(found[100e-9] / found[105e-9]) == pytest.approx(ahead + SWAPPED_NATS / 2)
