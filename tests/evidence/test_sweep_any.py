"""Any sweep is answered: an estimate, or a plain word that there is none; never a crash or a number that is none."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from evidence.made_sweeps import Made
from examples import few
from linewright.core.errors import InputError
from linewright.core.nouns.sweep import Sweep, SweepFinding
from linewright.inference.sweep.one_port import read_one_port
from linewright.inference.sweep.two_port import read_two_port

KINDS = ("noise", "nothing", "constant", "through", "total", "tiny", "cable", "steps")


def _numbers(value):
    if isinstance(value, dict):
        return [x for v in value.values() for x in _numbers(v)]
    if isinstance(value, list):
        return [x for v in value for x in _numbers(v)]
    return [value] if isinstance(value, float) else []


def _sound(found: SweepFinding) -> None:
    out = found.to_dict()
    json.dumps(out, allow_nan=False)
    assert all(math.isfinite(x) for x in _numbers(out))
    for row in found.losses:
        assert row.matched_loss_db.low <= row.matched_loss_db.value <= row.matched_loss_db.high
    assert found.law is not None or any(re.search("no loss to read|gives no loss", said) for said in found.remarks)


def _s(kind: str, rng: np.random.Generator, f: np.ndarray, ports: int) -> np.ndarray:
    shape = (len(f), ports, ports)
    noise = rng.normal(size=shape) + 1j * rng.normal(size=shape)
    wave = np.exp(-2j * np.pi * f * 10 ** rng.uniform(-11, -6))[:, None, None] * np.ones(shape)
    return {
        "noise": noise,
        "nothing": np.zeros(shape, dtype=complex),
        "constant": np.full(shape, 0.3 + 0.1j),
        "through": np.broadcast_to(np.eye(ports)[::-1], shape).astype(complex),
        "total": np.broadcast_to(np.eye(ports), shape).astype(complex),
        "tiny": 1e-9 * noise,
        "cable": 0.5 * wave + 0.01 * noise,
        "steps": np.sign(noise.real) * (1 + 0j),
    }[kind]


@few(40, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.sampled_from(KINDS), st.integers(0, 2**32 - 1), st.sampled_from([16, 17, 33, 101, 300]),
    st.sampled_from([0.0, 1.0, 1e5, 50e6]), st.sampled_from(["even", "log", "ragged"]),
    st.sampled_from([None, 0.1, 30.0]),
)  # fmt: skip
def test_any_two_port_is_answered(kind, seed, points, start_hz, spacing, length_m):
    rng = np.random.default_rng(seed)
    if spacing == "ragged":
        f = start_hz + np.cumsum(rng.exponential(1e6, points) + 1.0)
    else:
        f = np.linspace(start_hz, start_hz + 1e9, points)
        f = np.geomspace(max(start_hz, 1.0), 1e9, points) if spacing == "log" else f
    sweep = Sweep("any", f, _s(kind, rng, f, 2), np.array([50.0 + 0j, 75.0 if seed % 2 else 50.0]))
    _sound(read_two_port(sweep, length_m=length_m, at_hz=(14e6, 700e6)))


@few(40, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.sampled_from(KINDS), st.integers(0, 2**32 - 1), st.sampled_from([16, 101, 300]),
    st.sampled_from([("open",), ("short",), ("load",), ("open", "short"), ("open", "short", "load")]),
)  # fmt: skip
def test_any_one_port_is_answered(kind, seed, points, ends):
    rng = np.random.default_rng(seed)
    f = np.linspace(1e6, 1e9, points)
    reference = np.array([50.0 + 0j])
    sweeps = {end: Sweep(end, f, _s(kind, rng, f, 1), reference) for end in ends}
    _sound(read_one_port(sweeps, at_hz=(14e6, 700e6)))


@pytest.mark.parametrize("length_m", [0.02, 0.2, 2.0, 400.0])
def test_cables_of_any_length_are_answered(length_m):
    made = Made(length_m=length_m, k1_db=0.01 * length_m, k2_db=1e-4 * length_m)
    _sound(read_two_port(made.through()))
    _sound(read_one_port({"open": made.ended(1.0), "short": made.ended(-1.0)}))


def test_decibels_under_the_name_of_s_are_refused():
    sweep = Made(points=51).through()
    with pytest.raises(InputError, match="must hold scattering parameters"):
        read_two_port(replace(sweep, s=sweep.s * 1e6))
