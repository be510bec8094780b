"""What reflections do to a power reading, and what a line makes of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Complexes, Floats
from linewright.core.errors import InputError
from linewright.core.quantities import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S, TWO_PI


def _reflection(name: str, value: ArrayLike) -> Floats:
    array = np.abs(np.asarray(value))
    if not np.all(array <= 1.0):
        raise InputError(name, "must have a magnitude between 0 and 1", cure="An SWR is turned into one first.")
    return np.asarray(array, dtype=np.float64)


def reflection_from_swr(swr: ArrayLike) -> Floats:
    """Return the magnitude of the reflection, ``(S - 1)/(S + 1)``; an infinite SWR reflects everything.

    >>> reflection_from_swr([1.0, 1.5, 3.0])
    array([0. , 0.2, 0.5])
    """
    s = np.asarray(swr, dtype=np.float64)
    if not np.all(s >= 1.0):
        raise InputError("swr", "must be at least 1", cure="If this is a return loss in dB, convert it first.")
    return np.asarray(1.0 - 2.0 / (s + 1.0), dtype=np.float64)


def swr_from_reflection(reflection: ArrayLike) -> Floats:
    """Return the SWR of a reflection, ``(1 + |Γ|)/(1 - |Γ|)``; infinite for a total one.

    >>> swr_from_reflection([0.0, 0.2, 0.5, 1.0])
    array([1. , 1.5, 3. , inf])
    """
    g = _reflection("reflection", reflection)
    with np.errstate(divide="ignore"):
        return np.asarray((1.0 + g) / (1.0 - g), dtype=np.float64)


def return_loss_db(reflection: ArrayLike) -> Floats:
    """Return the return loss ``-20 log10 |Γ|`` in dB, positive; infinite for a perfect match.

    >>> float(return_loss_db(0.1))
    20.0
    """
    with np.errstate(divide="ignore"):
        return np.asarray(-20.0 * np.log10(_reflection("reflection", reflection)), dtype=np.float64)


def reflection_from_return_loss(loss_db: ArrayLike) -> Floats:
    """Return the magnitude of the reflection whose return loss is given in dB.

    >>> float(reflection_from_return_loss(20.0))
    0.1
    """
    loss = np.asarray(loss_db, dtype=np.float64)
    if not np.all(loss >= 0):
        raise InputError("return_loss_db", "must be zero or more", cure="Write it as a positive number of dB.")
    return np.asarray(10.0 ** (-loss / 20.0), dtype=np.float64)


def mismatch_uncertainty_db(source_reflection: ArrayLike, load_reflection: ArrayLike) -> Floats:
    """Return the standard uncertainty of the mismatch error in dB, ``8.686/√2 · |Γs| |Γl|``.

    The error swings as a cosine of an unknown phase: a U-shaped (arcsine) distribution, whose standard deviation is its
    half width over √2 (EA-4/02 M, supplement S7). First order in the product.

    >>> float(mismatch_uncertainty_db(0.2, 0.1).round(4))
    0.1228
    """
    product = _reflection("source_reflection", source_reflection) * _reflection("load_reflection", load_reflection)
    return np.asarray(DB_PER_NEPER / np.sqrt(2.0) * product, dtype=np.float64)


def input_reflection(matched_loss_db: ArrayLike, load_reflection: ArrayLike) -> Floats:
    """Return the magnitude of the reflection seen at the near end, ``|Γ| 10^(-ML/10)``: loss flatters SWR.

    >>> float(swr_from_reflection(input_reflection(3.0, 1.0)).round(2))  # open at the far end of 3 dB
    3.01
    """
    loss = np.asarray(matched_loss_db, dtype=np.float64)
    if not np.all(loss >= 0):
        raise InputError("matched_loss_db", "must be zero or more", cure="A passive line's loss is positive.")
    return np.asarray(_reflection("load_reflection", load_reflection) * 10.0 ** (-loss / 10.0), dtype=np.float64)


def line_section(
    frequency_hz: ArrayLike, section_ohm: float, electrical_length_m: float, system_ohm: float = 50.0
) -> tuple[Complexes, Complexes]:
    """Return S11 and S21 of a lossless line section between two matched ends, shaped as the frequency.

    ``electrical_length_m`` is the length in vacuum of the same delay. From the chain matrix of a line (Pozar, 4th ed.,
    table 4.1) turned into scattering parameters (table 4.2; places from memory).

    >>> s11, s21 = line_section(145e6, 33.3, 0.049)
    >>> float(swr_from_reflection(s11).round(2)), float(np.round(-20 * np.log10(abs(s21)), 3))
    (1.13, 0.017)
    """
    for name, value in (
        ("section_ohm", section_ohm), ("system_ohm", system_ohm), ("electrical_length_m", electrical_length_m),
    ):  # fmt: skip
        if not (np.isfinite(value) and value > 0):
            raise InputError(name, f"must be above zero and finite; got {value:g}")
    theta = TWO_PI * np.asarray(frequency_hz, dtype=np.float64) * electrical_length_m / SPEED_OF_LIGHT_M_PER_S
    ratio = section_ohm / system_ohm
    series, shunt = 1j * ratio * np.sin(theta), 1j * np.sin(theta) / ratio
    whole = 2.0 * np.cos(theta) + series + shunt
    return np.asarray((series - shunt) / whole), np.asarray(2.0 / whole)


def section_loss_db(
    frequency_hz: ArrayLike, section_ohm: float, electrical_length_m: float, system_ohm: float = 50.0
) -> Floats:
    """Return the insertion loss of a lossless line section between matched ends, dB: what it reflects, not heat.

    >>> float(section_loss_db(435e6, 33.3, 0.049).round(2))
    0.14
    """
    _, s21 = line_section(frequency_hz, section_ohm, electrical_length_m, system_ohm)
    return np.asarray(-20.0 * np.log10(np.abs(s21)), dtype=np.float64) + 0.0
