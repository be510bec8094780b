"""The loss of a line from what its near end shows: formulas without doubt in them.

A line whose far end reflects everything sends the wave back through its loss twice, so its return loss is twice its
one-way matched loss. Real characteristic impedance, equal to the instrument's, is taken throughout.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.quantities import DB_PER_NEPER


def loss_from_reflection_db(seen: ArrayLike, far_end: ArrayLike = 1.0) -> Floats:
    """Return the one-way matched loss in dB, ``10 log10(|Γ far end| / |Γ seen|)``; open and shorted ends reflect all.

    With an SWR of S seen at an open or shorted line this is ``10 log10((S + 1)/(S - 1))``, half the return loss
    (the wave passes the loss twice: D. M. Pozar, Microwave Engineering, 4th ed., pages 81 to 82). At a peak with the
    antenna left connected it is an upper bound; two list posts work it there, SWR 9 and 8
    (lists.contesting.com/_towertalk/2004-12/msg00502.html, archives/html/Towertalk/1998-11/msg00371.html). Below zero
    where more is seen than the far end reflects; infinite where nothing is seen.

    Raises
    ------
    InputError
        If a reflection does not lie between 0 and 1, or the far end reflects nothing.

    >>> loss_from_reflection_db([0.8, 7 / 9]).round(2)  # SWR 9 and 8
    array([0.97, 1.09])
    """
    g, end = np.asarray(seen, dtype=np.float64), np.asarray(far_end, dtype=np.float64)
    if not np.all((g >= 0) & (g <= 1)):
        raise InputError("seen", "must be a reflection between 0 and 1")
    if not np.all((end > 0) & (end <= 1)):
        raise InputError("far_end", "must be a reflection above 0 and at most 1", cure="A matched end tells nothing.")
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(end / g) + 0.0)


def loss_from_resonance_db(resistance_ohm: ArrayLike, impedance_ohm: ArrayLike) -> Floats:
    """Return the one-way matched loss in dB from a resistance at resonance, ``8.686 atanh(R/Z0)`` or of ``Z0/R``.

    The lower of the two ratios is taken, so that low and high resonances both serve. Infinite where R equals Z0.

    >>> loss_from_resonance_db([5.73, 436.2], 50.0).round(2)
    array([1., 1.])
    """
    r, z0 = np.asarray(resistance_ohm, dtype=np.float64), np.asarray(impedance_ohm, dtype=np.float64)
    if not np.all(r >= 0):
        raise InputError("resistance_ohm", "must be zero or more")
    if not np.all((z0 > 0) & np.isfinite(z0)):
        raise InputError("impedance_ohm", "must be above zero and finite")
    with np.errstate(divide="ignore"):
        return np.asarray(DB_PER_NEPER * np.arctanh(np.minimum(r / z0, z0 / r)))
