"""A run walked from the antenna to the radio: states between its parts, and what each part loses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from linewright.core.arrays import Floats, median
from linewright.core.errors import InputError
from linewright.core.formulas.mismatch import reflection_from_swr
from linewright.core.formulas.sparameters import impedance_from_reflection, reflection_from_impedance
from linewright.core.formulas.two_port import VoltageCurrent, load_state
from linewright.core.frozen import dataclass
from linewright.core.nouns.station import Antenna, TunerPart
from linewright.link.draws import Draws, IntervalByBand, curve_at, lean_db, spread, sweep_at
from linewright.link.sections import SYSTEM_OHM, RunSection

# A run walked from the antenna to the radio: states between its parts, and what each part loses


NO_LIMIT_SWR = 1e4
"""No instrument tells a higher SWR from an infinite one."""


@dataclass(frozen=True, slots=True)
class Walk:
    """A run at some frequencies. ``states[i]`` is at the radio's end of part i; the last is at the antenna.

    ``loss_db[i]`` is what part i loses where it stands, (f, draws) or (f, 1): power into it over power out of it, all
    branches counted.
    """

    sections: tuple[RunSection, ...]
    states: tuple[VoltageCurrent, ...]
    loss_db: tuple[Floats, ...]

    @property
    def total_db(self) -> Floats:
        """The whole loss, from what enters at the radio to what the antenna takes."""
        return np.asarray(sum(self.loss_db, np.zeros((len(self.states[-1].voltage), 1))))

    @property
    def parts_db(self) -> tuple[Floats, ...]:
        """The middle of what each part loses where it stands, (f,).

        The mean over the draws, of phases above all, less what the mean of its matched loss lies over the median: so a
        part behind a match has the median that the shelf has of it, and the parts add up to the whole.
        """
        return tuple(x.mean(axis=-1) - lean_db(s.matched_db) for x, s in zip(self.loss_db, self.sections, strict=True))

    @property
    def whole_db(self) -> IntervalByBand:
        """The whole loss in the middle, the sum of its parts, with its interval."""
        return spread(self.total_db, np.asarray(sum(self.parts_db, np.zeros(len(self.states[-1].voltage)))))

    @property
    def matched_db(self) -> Floats:
        """The sum of what the parts lose in the middle, each behind a match, (f,)."""
        found = (median(s.matched_db, axis=-1) for s in self.sections)
        return np.asarray(sum(found, np.zeros(len(self.states[-1].voltage))))


def steps(sections: Sequence[RunSection], antenna: VoltageCurrent) -> Iterator[VoltageCurrent]:
    """Yield the states from the antenna to the radio."""
    state = antenna
    yield state
    for section in reversed(sections):
        state = section.back(state)
        yield state


def walk(sections: tuple[RunSection, ...], antenna: VoltageCurrent) -> Walk:
    """Return a run walked with this antenna at its end."""
    states = tuple(steps(sections, antenna))[::-1]
    power = [s.power for s in states]
    loss = tuple(loss_between(power[i], power[i + 1], s.ways) for i, s in enumerate(sections))
    return Walk(sections, states, loss)


def loss_between(power_in: Floats, power_out: Floats, ways: int = 1) -> Floats:
    """Return a loss in dB from two powers, ``ways`` times the second leaving."""
    return np.asarray(10.0 * np.log10(power_in / (ways * power_out)))


def highest_swr(sections: Sequence[RunSection], frequencies: int) -> Floats:
    """Return the highest SWR the radio can see through a run, whatever total reflection ends it; (f, draws) or (f, 1).

    Tuners are left out: they hide it. The reflection at the radio is a fractional linear function of that at the end,
    so the circle of total reflections becomes a circle, of centre ``S11 + S12 S21 S22*/(1 - |S22|²)`` and radius
    ``|S12 S21|/(1 - |S22|²)`` (from memory; it follows from the function). Infinite where next
    to nothing loses power.
    """
    fixed = [s for s in sections if not isinstance(s.part, TunerPart)]
    one, none = np.ones((frequencies, 1), np.complex128), np.zeros((frequencies, 1), np.complex128)
    *_, (a, c_siemens) = steps(fixed, VoltageCurrent(one, none))
    *_, (b_ohm, d) = steps(fixed, VoltageCurrent(none, one))
    b, c = b_ohm / SYSTEM_OHM, c_siemens * SYSTEM_OHM
    whole = a + b + c + d
    s11, s22, product = (a + b - c - d) / whole, (d + b - a - c) / whole, 4.0 * (a * d - b * c) / whole**2
    rest = 1.0 - np.abs(s22) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        most = np.abs(s11 + product * np.conj(s22) / rest) + np.abs(product) / rest
        swr = np.where(most < 1.0, (1.0 + most) / (1.0 - most), np.inf)
    return np.where(swr < NO_LIMIT_SWR, swr, np.inf)


# The end of the chain: what the antenna makes of the waves that reach it

PLACE = -1
"""Where the antenna stands among the places of a chain that draw phases."""


def antenna_state(antenna: Antenna, frequency_hz: Floats, draws: Draws) -> VoltageCurrent:
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
        return _taking_power(VoltageCurrent(ohm, np.ones_like(ohm)))
    else:
        assert antenna.sweep is not None
        reference = complex(antenna.sweep.reference_ohm[0])
        swept = sweep_at("antenna touchstone", antenna.sweep, frequency_hz, 1)[:, 0, 0]
        reflection = reflection_from_impedance(impedance_from_reflection(swept, reference))[:, None]
    return _taking_power(load_state(reflection))


def _taking_power(state: VoltageCurrent) -> VoltageCurrent:
    if not np.all(state.power > 0):
        raise InputError(
            "antenna", "must take power: a resistance above zero, an SWR that is not infinite",
            cure="An open, a short or a reflection above 1 is no antenna; is the sweep calibrated?",
        )  # fmt: skip
    return state
