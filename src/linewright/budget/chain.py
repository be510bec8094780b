"""A run walked from the antenna to the radio: states between its parts, and what each part loses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linewright.budget.sections import SYSTEM_OHM, Section
from linewright.model.station import TunerPart
from linewright.physics.two_port import State

Floats = NDArray[np.float64]

NO_LIMIT_SWR = 1e4
"""No instrument tells a higher SWR from an infinite one."""


@dataclass(frozen=True, slots=True)
class Walk:
    """A run at some frequencies. ``states[i]`` is at the radio's end of part i; the last is at the antenna.

    ``loss_db[i]`` is what part i loses where it stands, (f, draws) or (f, 1): power into it over power out of it, all
    branches counted.
    """

    sections: tuple[Section, ...]
    states: tuple[State, ...]
    loss_db: tuple[Floats, ...]

    @property
    def total_db(self) -> Floats:
        """The whole loss, from what enters at the radio to what the antenna takes."""
        return np.asarray(sum(self.loss_db, np.zeros((len(self.states[-1].voltage), 1))))

    @property
    def matched_db(self) -> Floats:
        """The sum of what the parts lose, each behind a match."""
        return np.asarray(sum((s.matched_db for s in self.sections), np.zeros((len(self.states[-1].voltage), 1))))


def steps(sections: Sequence[Section], antenna: State) -> Iterator[State]:
    """Yield the states from the antenna to the radio."""
    state = antenna
    yield state
    for section in reversed(sections):
        state = section.back(state)
        yield state


def walk(sections: tuple[Section, ...], antenna: State) -> Walk:
    """Return a run walked with this antenna at its end."""
    states = tuple(steps(sections, antenna))[::-1]
    power = [s.power for s in states]
    loss = tuple(loss_between(power[i], power[i + 1], s.ways) for i, s in enumerate(sections))
    return Walk(sections, states, loss)


def loss_between(power_in: Floats, power_out: Floats, ways: int = 1) -> Floats:
    """Return a loss in dB from two powers, ``ways`` times the second leaving."""
    return np.asarray(10.0 * np.log10(power_in / (ways * power_out)))


def highest_swr(sections: Sequence[Section], frequencies: int) -> Floats:
    """Return the highest SWR the radio can see through a run, whatever total reflection ends it; (f, draws) or (f, 1).

    Tuners are left out: they hide it. The reflection at the radio is a fractional linear function of that at the end,
    so the circle of total reflections becomes a circle, of centre ``S11 + S12 S21 S22*/(1 - |S22|²)`` and radius
    ``|S12 S21|/(1 - |S22|²)`` (from memory; it follows from the function). Infinite where next
    to nothing loses power.
    """
    fixed = [s for s in sections if not isinstance(s.part, TunerPart)]
    one, none = np.ones((frequencies, 1), np.complex128), np.zeros((frequencies, 1), np.complex128)
    *_, (a, c_siemens) = steps(fixed, State(one, none))
    *_, (b_ohm, d) = steps(fixed, State(none, one))
    b, c = b_ohm / SYSTEM_OHM, c_siemens * SYSTEM_OHM
    whole = a + b + c + d
    s11, s22, product = (a + b - c - d) / whole, (d + b - a - c) / whole, 4.0 * (a * d - b * c) / whole**2
    rest = 1.0 - np.abs(s22) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        most = np.abs(s11 + product * np.conj(s22) / rest) + np.abs(product) / rest
        swr = np.where(most < 1.0, (1.0 + most) / (1.0 - most), np.inf)
    return np.where(swr < NO_LIMIT_SWR, swr, np.inf)
