"""The verb of a sweep answers any sweep, in plain data and on a page."""

from __future__ import annotations

import json

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from examples import few
from linewright.core.nouns.sweep import Sweep, SweepQuestion
from linewright.present.compose.sweep import sweep_document
from linewright.present.writers.terminal import terminal
from linewright.verbs.sweep import read_sweep


@few(12)
@given(
    seed=st.integers(0, 10_000),
    points=st.integers(16, 300),
    low=st.floats(1e3, 1e9),
    span=st.floats(1e5, 3e9),
    end=st.sampled_from(["through", "open", "short", "load"]),
    line=st.sampled_from([None, "RG-213/U", "RG-6 type"]),
    length=st.one_of(st.none(), st.floats(0.1, 300.0)),
    delay=st.floats(0.0, 3e-7),
)
def test_any_sweep_is_told_in_plain_data_and_on_a_page(seed, points, low, span, end, line, length, delay):
    rng = np.random.default_rng(seed)
    f = np.linspace(low, low + span, points)
    wave = np.exp(-2j * np.pi * f * delay - rng.uniform(0, 3) * np.sqrt(f / f[-1]))
    noise = 10 ** rng.uniform(-4, -0.5)
    ports = 2 if end == "through" else 1
    s = noise * (rng.normal(size=(points, ports, ports)) + 1j * rng.normal(size=(points, ports, ports)))
    if ports == 2:
        s[:, 0, 1] += wave
        s[:, 1, 0] += wave
    else:
        s[:, 0, 0] += wave**2 * {"open": 1, "short": -1, "load": 0.05}[end]
    sweep = Sweep("any", f, s, np.full(ports, 50.0 + 0j))
    report = read_sweep([sweep], [end], SweepQuestion(length_m=length, line=line))
    said = json.loads(json.dumps(report.to_dict(), allow_nan=False))
    assert said["schema"] == "linewright/sweep-result/1"
    assert (
        max(map(len, terminal(sweep_document(report), explain=True).splitlines())) <= 115
    )  # with the marks of bold and dim
    assert report.verdict or not report.finding.losses
