"""An L network that matches a load, with coils and capacitors of finite Q.

One arm in series, one in shunt; the shunt arm stands on the load's side or on the source's. An arm of reactance X has
the resistance ``|X|/Q``, one of susceptance B the conductance ``|B|/Q``. The equations are those of the lossless L
network (D. M. Pozar, Microwave Engineering, 4th ed., section 5.1; place from memory) with these put in, so that the
match is exact, as an operator tunes it.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from typing import NamedTuple

import numpy as np

from linewright.core.arrays import Complexes, Floats
from linewright.core.formulas.two_port import Matrix, shunt_and_series

Qualities = tuple[float, float]
"""Q of an arm whose reactance (series arm) or susceptance (shunt arm) is negative, and positive."""

SLACK = 1e-12
"""An arm of almost nothing may come out with the wrong sign by rounding; relative to the source."""


class _Arms(NamedTuple):
    near: Complexes
    far: Complexes
    waste: Floats


def match(
    load_ohm: Complexes, source_ohm: float = 50.0, q_inductor: float = 150.0, q_capacitor: float = 1000.0
) -> Matrix:
    """Return the L network that makes the load look like ``source_ohm`` and wastes least.

    Coils and capacitors have no limits here, so every load of positive resistance is matched, in two to four ways.

    Parameters
    ----------
    load_ohm : ndarray of complex
        Impedances with a real part above zero.

    >>> network = match(np.array([200.0 + 0j]))
    >>> complex(network.b[0].round(1))  # the series arm, a capacitor with its resistance
    (0.1-85.9j)
    """
    series_q, shunt_q = (q_capacitor, q_inductor), (q_inductor, q_capacitor)
    shunt_first = _least(1.0 / load_ohm, source_ohm, shunt_q, series_q)
    series_first = _least(load_ohm, 1.0 / source_ohm, series_q, shunt_q)
    choose = shunt_first.waste <= series_first.waste
    series = np.where(choose, shunt_first.far, series_first.near)
    shunt = np.where(choose, shunt_first.near, series_first.far)
    return shunt_and_series(series, shunt, shunt_at_load=choose)


def _least(load: Complexes, target: float, near_q: Qualities, far_q: Qualities) -> _Arms:
    """Return the arm beside the load and the other one, and power in over power out (infinite where nothing matches).

    Written for a shunt arm beside the load: ``load`` is an admittance, ``target`` an impedance. For a series arm there,
    read every quantity as its dual.
    """
    near, far, least = np.zeros(load.shape), np.zeros(load.shape), np.full(load.shape, np.inf)
    for signs in product((-1.0, 1.0), (-1.0, 1.0)):
        loss = signs[0] / near_q[signs[0] > 0], signs[1] / far_q[signs[1] > 0]
        for u in _roots(load, target, *loss):
            arm = u - load.imag
            right = (signs[0] * arm >= -SLACK / target) & (signs[1] * u >= -SLACK / target)
            if not right.any():
                continue
            squared = (load.real + loss[0] * arm) ** 2 + u * u
            waste = target * squared / load.real
            better = right & (waste < least)
            for kept, new in ((near, arm), (far, u / squared), (least, waste)):
                np.copyto(kept, new, where=better)
    return _Arms(_arm(near, near_q), _arm(far, far_q), least)


def _arm(size: Floats, q: Qualities) -> Complexes:
    """Return an arm with its loss."""
    return np.asarray(1j * size + np.abs(size) / np.where(size > 0, q[1], q[0]))


def _roots(load: Complexes, target: float, near_loss: float, far_loss: float) -> Iterator[Floats]:
    """Yield the two susceptances u beside the load for which resistance matches: ``T (p² + u²) = p + u far_loss``.

    p is the conductance there, ``g + (u - b) near_loss``. Not a number where there is none.
    """
    rest = load.real - near_loss * load.imag
    a = target * (1.0 + near_loss**2)
    b = 2.0 * target * rest * near_loss - near_loss - far_loss
    c = target * rest**2 - rest
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(b * b - 4.0 * a * c)
        # The larger root first, the other from their product: no digits are lost where c is near zero.
        large = -0.5 * (b + np.copysign(root, b))
        yield large / a
        yield np.where(large == 0.0, 0.0, c / large)
