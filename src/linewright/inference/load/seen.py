"""Readings at the radio as nouns: an SWR, a return loss, an impedance; each with the step it was read to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.formatting import digits
from linewright.core.formulas.mismatch import reflection_from_return_loss, reflection_from_swr
from linewright.core.formulas.sparameters import reflection_from_impedance
from linewright.core.messages import say
from linewright.core.nouns.through import Seen

if TYPE_CHECKING:
    from linewright.core.nouns.sweep import Sweep

METER_DIRECTIVITY_DB = 25.0
"""Directivity of a through-line element is at least this (manual of such a meter); an SWR meter is taken as one."""
ANALYSER_DIRECTIVITY_DB = 40.0
"""What calibration leaves of an analyser's leak (common practice, no source)."""
TRACE = 0.002
"""Half width to which a calibrated analyser's magnitude is taken (common practice, no source)."""


def seen_swr(
    swr: float | Floats,
    step: float = 0.1,
    *,
    frequency_hz: Floats | None = None,
    directivity_db: float | None = None,
    name: str = "",
) -> Seen:
    """Return SWR readings, each standing for half a step to either side.

    >>> seen_swr(1.3).high.round(3)
    array([0.149])
    """
    s = np.atleast_1d(np.asarray(swr, dtype=np.float64))
    _above_zero("step", step)
    gamma = reflection_from_swr(s)
    low, high = reflection_from_swr(np.maximum(s - step / 2, 1.0)), reflection_from_swr(s + step / 2)
    leak = METER_DIRECTIVITY_DB if directivity_db is None else directivity_db
    said = name or say("SWR {swr}", swr=digits(float(s[0])))
    return Seen(said, gamma.astype(complex), low, high, frequency_hz, swr_step=step, directivity_db=leak)


def seen_return_loss(
    return_loss_db: float | Floats,
    step_db: float = 0.1,
    *,
    frequency_hz: Floats | None = None,
    directivity_db: float | None = None,
    name: str = "",
) -> Seen:
    """Return return losses in dB, each standing for half a step to either side.

    >>> seen_return_loss(20.0, 1.0).low.round(3)
    array([0.094])
    """
    loss = np.atleast_1d(np.asarray(return_loss_db, dtype=np.float64))
    _above_zero("step_db", step_db)
    gamma = reflection_from_return_loss(loss)
    low = reflection_from_return_loss(loss + step_db / 2)
    high = reflection_from_return_loss(np.maximum(loss - step_db / 2, 0.0))
    leak = METER_DIRECTIVITY_DB if directivity_db is None else directivity_db
    said = name or say("return loss {loss} dB", loss=digits(float(loss[0])))
    return Seen(said, gamma.astype(complex), low, high, frequency_hz, directivity_db=leak)


def seen_impedance(
    impedance_ohm: complex | np.ndarray,
    step_ohm: float = 1.0,
    *,
    frequency_hz: Floats | None = None,
    directivity_db: float | None = None,
    name: str = "",
) -> Seen:
    """Return impedances in ohms, each part standing for half a step to either side; referred to 50 ohms.

    >>> seen = seen_impedance(38 - 12j)
    >>> seen.has_phase, seen.magnitude.round(3)
    (True, array([0.191]))
    """
    z = np.atleast_1d(np.asarray(impedance_ohm, dtype=np.complex128))
    _above_zero("step_ohm", step_ohm)
    if not np.all(np.isfinite(z) & (z.real >= 0)):
        raise InputError("impedance_ohm", say("must be finite, with a resistance of zero or more"))
    gamma = reflection_from_impedance(z)
    # The reflection moves by |dΓ/dZ| = 2 R0/|Z + R0|² an ohm.
    reach = 2.0 * 50.0 / np.abs(z + 50.0) ** 2 * step_ohm / np.sqrt(2.0)
    leak = ANALYSER_DIRECTIVITY_DB if directivity_db is None else directivity_db
    said = name or f"{z[0].real:g}{z[0].imag:+g}j ohm"
    return _complex(said, gamma, reach, frequency_hz, leak)


def seen_sweep(sweep: Sweep, directivity_db: float | None = None) -> Seen:
    """Return the reflection at port 1 of a sweep."""
    leak = ANALYSER_DIRECTIVITY_DB if directivity_db is None else directivity_db
    gamma, reference = sweep.reflection, complex(sweep.reference_ohm[0])
    if abs(reference - 50.0) > 1e-9:
        from linewright.core.formulas.sparameters import impedance_from_reflection

        gamma = reflection_from_impedance(impedance_from_reflection(gamma, reference))
    return _complex(sweep.name, gamma, np.full(len(gamma), TRACE), sweep.frequency_hz, leak)


def _complex(name: str, gamma: np.ndarray, reach: Floats, f: Floats | None, leak: float) -> Seen:
    m = np.minimum(np.abs(gamma), 1.0)
    low, high = np.maximum(m - reach, 0.0), m + reach
    return Seen(name, np.asarray(gamma, np.complex128), low, high, f, True, directivity_db=leak)


def _above_zero(name: str, value: float) -> None:
    if not (np.isfinite(value) and value > 0):
        raise InputError(name, say("must be above zero and finite; got {value}", value=repr(value)))
