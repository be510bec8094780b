"""The end of the chain: what the antenna makes of the waves that reach it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linewright.budget.curves import curve_at, sweep_at
from linewright.budget.draws import Draws
from linewright.errors import InputError
from linewright.model.station import Antenna
from linewright.physics.mismatch import reflection_from_swr
from linewright.physics.sparameters import impedance_from_reflection, reflection_from_impedance
from linewright.physics.two_port import State, load_state

Floats = NDArray[np.float64]

PLACE = -1
"""Where the antenna stands among the places of a chain that draw phases."""


def antenna_state(antenna: Antenna, frequency_hz: Floats, draws: Draws) -> State:
    """Return voltage and current at the antenna, shape (f, draws), or (f, 1) where nothing is doubtful.

    An SWR is referred to 50 ohms; its phase is drawn over the whole circle.

    Raises
    ------
    InputError
        If the antenna is not given in exactly one way, is given outside the frequencies of the run, or takes no power.
    """
    given = [x for x in (antenna.swr, antenna.impedance_ohm, antenna.sweep) if x is not None]
    if len(given) != 1:
        raise InputError("antenna", "must be given as exactly one of swr, impedance or touchstone")
    if antenna.swr is not None:
        size = reflection_from_swr(curve_at("antenna swr", antenna.swr, frequency_hz).real)
        turn = np.exp(1j * draws.phases_rad(PLACE)) if np.any(size > 0) else np.ones(1)
        reflection = size[:, None] * turn
    elif antenna.impedance_ohm is not None:
        ohm = curve_at("antenna impedance", antenna.impedance_ohm, frequency_hz)[:, None]
        return _taking_power(State(ohm, np.ones_like(ohm)))
    else:
        assert antenna.sweep is not None
        reference = complex(antenna.sweep.reference_ohm[0])
        swept = sweep_at("antenna touchstone", antenna.sweep, frequency_hz, 1)[:, 0, 0]
        reflection = reflection_from_impedance(impedance_from_reflection(swept, reference))[:, None]
    return _taking_power(load_state(reflection))


def _taking_power(state: State) -> State:
    if not np.all(state.power > 0):
        raise InputError(
            "antenna", "must take power: a resistance above zero, an SWR that is not infinite",
            cure="An open, a short or a reflection above 1 is no antenna; is the sweep calibrated?",
        )  # fmt: skip
    return state
