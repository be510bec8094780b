"""Sending and receiving through one run: what a chain takes does not depend on which way the power goes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from budget.chains import HERTZ, draws, floats, line_parts, sweep_parts
from linewright.core.nouns.station import Antenna, ConnectorPart, Run, SweepPart, TransformerPart
from linewright.link.chain import antenna_state, walk
from linewright.link.sections import sections

parts = st.one_of(
    line_parts(),
    sweep_parts(),
    st.builds(ConnectorPart, st.just("pair"), st.sampled_from(["N", "F", "BNC"]), st.integers(1, 4)),
    st.builds(TransformerPart, st.just("balun"), floats(0.1, 9.0)),
)
impedances = st.builds(complex, floats(2.0, 500.0), floats(-500.0, 500.0))


def _turned(part):
    """The same part, its ends exchanged."""
    if isinstance(part, TransformerPart):
        return replace(part, ratio=1.0 / part.ratio)
    if isinstance(part, SweepPart):
        sweep = part.sweep
        return replace(part, sweep=replace(sweep, s=sweep.s[:, ::-1, ::-1], reference_ohm=sweep.reference_ohm[::-1]))
    return part


def _taken(chain, source_ohm, load_ohm):
    """Share of a source's available power that the load takes."""
    run = Run("made up", tuple(HERTZ), 100.0, tuple(chain), Antenna(impedance_ohm=((0.0, load_ohm),)))
    shared = draws(run)
    walked = walk(sections(run, HERTZ, shared), antenna_state(run.antenna, HERTZ, shared))
    near = walked.states[0].impedance_ohm
    entered = 4 * source_ohm.real * near.real / np.abs(source_ohm + near) ** 2
    return entered * 10 ** (-walked.total_db / 10)


@given(st.lists(parts, min_size=1, max_size=5), impedances, impedances)
def test_a_passive_chain_takes_as_much_either_way(chain, radio, antenna):
    sent = _taken(chain, radio, antenna)
    heard = _taken([_turned(p) for p in reversed(chain)], antenna, radio)
    assert np.allclose(sent, heard, rtol=1e-7, atol=1e-12)


@given(st.lists(parts, min_size=1, max_size=5), impedances)
def test_what_a_tuned_radio_hears_is_what_it_sends(chain, antenna):
    # A source matched at the radio's end: available gain from the antenna is power gain toward it.
    run = Run("made up", tuple(HERTZ), 100.0, tuple(chain), Antenna(impedance_ohm=((0.0, antenna),)))
    shared = draws(run)
    walked = walk(sections(run, HERTZ, shared), antenna_state(run.antenna, HERTZ, shared))
    back = [_turned(p) for p in reversed(chain)]
    near, total = (np.broadcast_to(x, (len(HERTZ), 3)) for x in (walked.states[0].impedance_ohm, walked.total_db))
    for i in range(len(HERTZ)):
        heard = _taken(back, antenna, complex(np.conj(near[i, 1])))
        assert np.isclose(np.broadcast_to(heard, (len(HERTZ), 3))[i, 1], 10 ** (-total[i, 1] / 10), rtol=1e-6)
