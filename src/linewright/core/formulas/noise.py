"""Noise of a receiving system: what comes in at the antenna, and what line, preamplifier and receiver add.

Every temperature is referred to the antenna terminals, where the signal is the same whatever follows. Arrays have
frequency as first axis and draws as the next; shapes broadcast. The line is taken as matched at both ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.frozen import dataclass
from linewright.core.quantities import NOISE_REFERENCE_KELVIN

REFERENCE_KELVIN: Final = NOISE_REFERENCE_KELVIN
"""The standard noise temperature T0 (ITU-R P.372, section 2)."""
BOLTZMANN_J_PER_KELVIN: Final = 1.380_649e-23
"""Exact, by the definition of the kelvin (BIPM, The International System of Units, 9th edition, section 2.2)."""
DECILE: Final = 1.2815515655446004
"""A normal variable exceeds so many standard deviations one time in ten."""


@dataclass(frozen=True, slots=True)
class Stage:
    """One part of a receiving chain: its gain in dB (a loss is below zero) and its noise temperature at its input."""

    gain_db: Floats
    temperature_kelvin: Floats


def _finite(name: str, value: ArrayLike, least: float = -np.inf, cure: str = "") -> Floats:
    array = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(array) & (array >= least)):
        rule = "must be finite" if np.isneginf(least) else f"must be {least:g} or more, and finite"
        raise InputError(name, rule, cure=cure)
    return array


def _positive(name: str, value: ArrayLike) -> Floats:
    array = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(array) & (array > 0)):
        raise InputError(name, "must be above zero and finite")
    return array


def noise_temperature_kelvin(noise_figure_db: ArrayLike) -> Floats:
    """Return the noise temperature ``T0 (F - 1)`` of a noise figure in dB.

    >>> float(noise_temperature_kelvin(3.0).round(1))
    288.6
    """
    figure = _finite("noise_figure_db", noise_figure_db, 0.0)
    return np.asarray(REFERENCE_KELVIN * np.expm1(figure * np.log(10.0) / 10.0), dtype=np.float64)


def noise_figure_db(temperature_kelvin: ArrayLike) -> Floats:
    """Return the noise figure ``10 log10(1 + T/T0)`` in dB of a noise temperature.

    >>> float(noise_figure_db(290.0).round(2))
    3.01
    """
    t = _finite("temperature_kelvin", temperature_kelvin, 0.0)
    return np.asarray(10.0 * np.log1p(t / REFERENCE_KELVIN) / np.log(10.0), dtype=np.float64)


def external_noise_db(temperature_kelvin: ArrayLike) -> Floats:
    """Return the external noise figure ``Fa = 10 log10(T/T0)`` in dB of an antenna noise temperature.

    >>> float(external_noise_db(2900.0))
    10.0
    """
    t = _positive("temperature_kelvin", temperature_kelvin)
    return np.asarray(10.0 * np.log10(t / REFERENCE_KELVIN), dtype=np.float64)


def external_temperature_kelvin(noise_db: ArrayLike) -> Floats:
    """Return the antenna noise temperature ``T0 10^(Fa/10)`` of an external noise figure in dB.

    >>> float(external_temperature_kelvin(10.0))
    2900.0
    """
    fa = _finite("noise_db", noise_db)
    return np.asarray(REFERENCE_KELVIN * 10.0 ** (fa / 10.0), dtype=np.float64)


def median_noise_db(frequency_hz: ArrayLike, c_db: ArrayLike, d_db: ArrayLike) -> Floats:
    """Return the median external noise figure ``c - d log10(f / 1 MHz)`` in dB above k T0 B.

    ITU-R P.372-10, section 5: man-made noise of a site and galactic noise have this form. The coefficients, and the
    range they hold in, stand in the catalogue.

    >>> float(median_noise_db(14.2e6, 67.2, 27.7).round(2))  # rural
    35.28
    """
    f = _positive("frequency_hz", frequency_hz)
    return np.asarray(_finite("c_db", c_db) - _finite("d_db", d_db) * np.log10(f / 1e6), dtype=np.float64)


def spread_db(normal: ArrayLike, upper_decile_db: ArrayLike, lower_decile_db: ArrayLike) -> Floats:
    """Return how far noise lies from its median, dB, for draws of a standard normal variable.

    Each side is half a normal distribution whose decile is the given one: above the median ``z Du/1.28``, below it
    ``z Dl/1.28``. P.372-10, section 8, takes decile and standard deviation in this ratio.

    >>> spread_db([-1.2816, 0.0, 1.2816], 11.0, 6.7).round(2)
    array([-6.7,  0. , 11. ])
    """
    z = _finite("normal", normal)
    up, down = _finite("upper_decile_db", upper_decile_db, 0.0), _finite("lower_decile_db", lower_decile_db, 0.0)
    return np.asarray(z / DECILE * np.where(z > 0, up, down), dtype=np.float64)


def passive_stage(loss_db: ArrayLike, physical_kelvin: ArrayLike = REFERENCE_KELVIN) -> Stage:
    """Return a passive loss at a physical temperature: it adds ``(L - 1) T`` at its input.

    Pozar, 4th ed., section 10.1 (place from memory). At 290 K its noise figure is its loss.

    >>> stage = passive_stage(3.0)
    >>> float(noise_figure_db(stage.temperature_kelvin).round(9))
    3.0
    """
    loss = _finite("loss_db", loss_db, 0.0, "A passive line's loss is positive.")
    physical = _finite("physical_kelvin", physical_kelvin, 0.0, "Give it in kelvin: 20 degrees Celsius is 293 K.")
    added = np.asarray(np.expm1(loss * np.log(10.0) / 10.0) * physical, dtype=np.float64)
    return Stage(np.asarray(-loss), added)


def active_stage(gain_db: ArrayLike, noise_figure_db: ArrayLike) -> Stage:
    """Return an amplifier (or, with any gain, a receiver) of a noise figure in dB.

    >>> float(active_stage(18.0, 0.8).temperature_kelvin.round(1))
    58.7
    """
    return Stage(_finite("gain_db", gain_db), noise_temperature_kelvin(noise_figure_db))


def cascade_temperature_kelvin(stages: Sequence[Stage]) -> Floats:
    """Return the noise temperature of stages in a row at the input of the first, ``T1 + T2/G1 + T3/(G1 G2) + ...``.

    The formula of H. T. Friis (Pozar, 4th ed., equation 10.22; place from memory). No stage adds nothing.

    >>> whole = cascade_temperature_kelvin([active_stage(10.0, 2.0), passive_stage(1.0), active_stage(-3.0, 4.0)])
    >>> float(noise_figure_db(whole).round(2))
    2.56
    """
    return np.asarray(sum(contributions_kelvin(stages), np.zeros(())), dtype=np.float64)


def contributions_kelvin(stages: Sequence[Stage]) -> tuple[Floats, ...]:
    """Return what each stage adds at the input of the first: ``Ti/(G1 ... Gi-1)``. They add up to the cascade.

    >>> chain = (passive_stage(0.5), active_stage(20.0, 0.5), passive_stage(3.0), active_stage(0.0, 6.0))
    >>> [float(x.round(1)) for x in contributions_kelvin(chain)]
    [35.4, 39.7, 3.2, 19.4]
    """
    gain_db, out = np.zeros(()), []
    for stage in stages:
        out.append(np.asarray(stage.temperature_kelvin / 10.0 ** (gain_db / 10.0), dtype=np.float64))
        gain_db = gain_db + stage.gain_db
    return tuple(out)


def gain_over_temperature_db_per_kelvin(gain_dbi: ArrayLike, system_kelvin: ArrayLike) -> Floats:
    """Return the figure of merit G/T of a receiving station in dB/K, both referred to the antenna's terminals.

    Defined in ITU-R S.733 (place from memory) as antenna gain in dBi less ``10 lg`` of the system noise temperature.

    >>> float(gain_over_temperature_db_per_kelvin(20.0, 100.0))
    0.0
    """
    return np.asarray(_finite("gain_dbi", gain_dbi) - 10.0 * np.log10(_positive("system_kelvin", system_kelvin)))


def system_temperature_kelvin(external_kelvin: ArrayLike, stages: Sequence[Stage]) -> Floats:
    """Return the system noise temperature at the antenna terminals: what comes in, and what the chain adds.

    With T0 as every physical temperature this is ``f = fa - 1 + fc ft fr`` of ITU-R P.372, section 2, times T0.

    >>> chain = (active_stage(50.0, 1.81), passive_stage(5.0), active_stage(0.0, 12.0))
    >>> float(system_temperature_kelvin(35.0, chain).round())
    185.0
    """
    return np.asarray(
        _finite("external_kelvin", external_kelvin, 0.0) + cascade_temperature_kelvin(stages), dtype=np.float64
    )


def reception_loss_db(external_kelvin: ArrayLike, stages: Sequence[Stage], lossless: Sequence[Stage]) -> Floats:
    """Return the loss of signal-to-noise ratio in dB against another chain, as a rule one with a lossless line.

    The signal at the antenna terminals is the same, so the loss is the ratio of the system noise temperatures there.
    Below zero where the chain hears better than the one it is compared with.

    >>> line, receiver = passive_stage(3.0), active_stage(0.0, 4.0)
    >>> loss = [reception_loss_db(t, (line, receiver), (receiver,)) for t in (1e6, 100.0)]
    >>> [round(float(x), 2) for x in loss]  # a loud band and a quiet one
    [0.0, 3.7]
    """
    ours, theirs = (system_temperature_kelvin(external_kelvin, chain) for chain in (stages, lossless))
    if not np.all(theirs > 0):
        raise InputError("external_kelvin", "must be above zero where the receiver adds no noise")
    return np.asarray(10.0 * np.log10(ours / theirs), dtype=np.float64)
