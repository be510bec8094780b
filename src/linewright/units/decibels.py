"""Decibels and the ratios behind them."""

from __future__ import annotations

from math import inf, log10

from linewright.errors import InputError


def delivered_fraction(loss_db: float) -> float:
    """Return the share of power that arrives through a loss.

    ``10^(-loss_db / 10)``. A loss of 1 dB lets about 80 % through, 3 dB half, 6 dB a quarter.

    >>> round(delivered_fraction(3.0103), 4)
    0.5
    """
    return float(10.0 ** (-loss_db / 10.0))


def loss_db(power_in_w: float, power_out_w: float) -> float:
    """Return the loss in dB between two powers in watts.

    Raises
    ------
    InputError
        If a power is zero or less: such a reading has no ratio.

    >>> round(loss_db(100.0, 79.4), 2)
    1.0
    """
    if power_in_w <= 0 or power_out_w <= 0:
        raise InputError("power", f"must be above zero to form a ratio; got {min(power_in_w, power_out_w)} W")
    return 10.0 * log10(power_in_w / power_out_w)


def dbm(power_w: float) -> float:
    """Return a power in watts as dBm (0 dBm is one milliwatt); minus infinity for no power.

    >>> dbm(10.0)
    40.0
    """
    return 10.0 * log10(power_w) + 30.0 if power_w > 0 else -inf


def watts(power_dbm: float) -> float:
    """Return a power in dBm as watts.

    >>> watts(37.0)  # doctest: +ELLIPSIS
    5.01...
    """
    return float(10.0 ** ((power_dbm - 30.0) / 10.0))


def reflection_from_swr(swr: float) -> float:
    """Return the magnitude of the reflection coefficient, ``(S - 1)/(S + 1)``.

    >>> reflection_from_swr(1.5)
    0.2
    """
    if not swr >= 1.0:
        raise InputError("swr", f"must be at least 1; got {swr:g}", cure="An SWR of 1 is a perfect match.")
    return (swr - 1.0) / (swr + 1.0) if swr != inf else 1.0
