"""What a line loses in its metal, solved from the fields, and in its dielectric; and how both go with temperature.

Real lines lose more than smooth solid metal does; see ``docs/catalogue.md`` for by how much.

The field in a round conductor of several layers is a sum of modified Bessel functions in every layer, with the
electric and the magnetic field continuous at each boundary (S. A. Schelkunoff, The electromagnetic theory of coaxial
transmission lines, Bell System Technical Journal 13(4), 1934, 532-579; the form with cross products derived here).
Skin effect, plating, cladding and the roll-off towards direct current all follow; nothing is fitted.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.frozen import dataclass
from linewright.core.quantities import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S, TWO_PI, VACUUM_PERMEABILITY_H_PER_M

LOSS_PER_KELVIN: Final = 0.00198
"""Relative rise of attenuation per kelvin from 20 degrees Celsius: 0.11 % per degree Fahrenheit (an article on coaxial
cable attenuation changes versus temperature, scribd.com/document/206070386). Theory: half of copper's 0.39 %."""


Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Metal:
    """A metal: conductivity in siemens per metre, and relative permeability."""

    conductivity_s_per_m: float
    permeability: float = 1.0


COPPER: Final = Metal(58.0e6)
"""Annealed copper, 100 % IACS."""
SILVER: Final = Metal(61.4e6)
"""Plated silver: 1.057 times copper, as 62.9 to 59.5 at owenduffy.net/antenna/conductors/loss.htm."""
ALUMINIUM: Final = Metal(35.5e6)
TIN: Final = Metal(9.17e6)
STEEL: Final = Metal(5.8e6, 200.0)
"""Steel of clad wires. Published permeabilities run from 50 to 800 and hardly matter: the thickness of the copper
decides. Conductivities: owenduffy.net/antenna/conductors/loss.htm."""


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a conductor: its metal (None for a hollow) and its outer radius, or a sheet's thickness, metres."""

    metal: Metal | None
    size_m: float


def wire_resistance_ohm_per_m(frequency_hz: ArrayLike, layers: Sequence[Layer]) -> Floats:
    """Return the resistance of a round conductor in ohms per metre, shaped as the frequency.

    Parameters
    ----------
    frequency_hz : array_like
        Frequencies in hertz, above zero.
    layers : sequence of Layer
        From the middle outwards, each with its outer radius; the innermost may be hollow.

    Raises
    ------
    InputError
        If a frequency is not above zero, or radii do not rise.

    >>> solid, clad = [Layer(COPPER, 0.512e-3)], [Layer(STEEL, 0.502e-3), Layer(COPPER, 0.512e-3)]
    >>> wire_resistance_ohm_per_m([1.8e6, 100e6], solid).round(4)
    array([0.1142, 0.8163])
    >>> wire_resistance_ohm_per_m([1.8e6, 100e6], clad).round(4)
    array([0.5128, 0.7527])
    """
    f = _frequencies(frequency_hz)
    radii = [layer.size_m for layer in layers]
    if not radii or radii[0] <= 0 or any(b <= a for a, b in pairwise(radii)):
        raise InputError("layers", "must have radii above zero that rise from the middle outwards")
    electric, magnetic = np.ones_like(f, dtype=np.complex128), np.zeros_like(f, dtype=np.complex128)
    inner = 0.0
    for layer in layers:
        if layer.metal is not None:
            electric, magnetic = _through_layer(f, layer.metal, inner, layer.size_m, electric, magnetic)
        inner = layer.size_m
    return np.asarray((electric / magnetic).real / (2.0 * np.pi * inner), dtype=np.float64)


def _through_layer(
    f: Floats, metal: Metal, inner_m: float, outer_m: float, electric: Complex, magnetic: Complex
) -> tuple[Complex, Complex]:
    """Carry both fields from a layer's inner radius to its outer one, up to a common factor that cancels later."""
    from scipy.special import ive, kve

    g = _propagation(f, metal)
    z2, admittance = g * outer_m, metal.conductivity_s_per_m / g
    if inner_m == 0.0:
        return ive(0, z2), admittance * ive(1, z2)
    z1 = g * inner_m
    up, down = np.exp(-1j * z1.imag), np.exp(-1j * z2.imag - 2.0 * (z2.real - z1.real))

    def outward(n: int, m: int) -> Complex:
        return np.asarray(ive(n, z2) * kve(m, z1) * up)

    def inward(n: int, m: int) -> Complex:
        return np.asarray(kve(n, z2) * ive(m, z1) * down)

    e = z1 * ((outward(0, 1) + inward(0, 1)) * electric + (outward(0, 0) - inward(0, 0)) * magnetic / admittance)
    h = z1 * ((outward(1, 1) - inward(1, 1)) * electric * admittance + (outward(1, 0) + inward(1, 0)) * magnetic)
    return e, h


def sheet_resistance_ohm(frequency_hz: ArrayLike, layers: Sequence[Layer]) -> Floats:
    """Return the surface resistance of a flat screen of sheets in ohms per square, shaped as the frequency.

    The field enters at the first sheet; behind the last there is nothing. Flat is near enough for a screen, whose
    radius is many times its thickness.

    >>> foil = [Layer(ALUMINIUM, 25e-6)]
    >>> (sheet_resistance_ohm([1e5, 1e9], foil) * 1e3).round(3)
    array([ 1.127, 10.545])
    """
    f = _frequencies(frequency_hz)
    if not layers or any(layer.metal is None or layer.size_m <= 0 for layer in layers):
        raise InputError("layers", "must be sheets of a metal, thicker than nothing")
    behind: Complex | None = None
    for layer in reversed(layers):
        assert layer.metal is not None
        g = _propagation(f, layer.metal)
        own, turn = g / layer.metal.conductivity_s_per_m, np.tanh(g * layer.size_m)
        behind = own / turn if behind is None else own * (behind + own * turn) / (own + behind * turn)
    assert behind is not None
    return np.asarray(behind.real, dtype=np.float64)


def _propagation(f: Floats, metal: Metal) -> Complex:
    """Return (1 + j) over the skin depth."""
    mu = VACUUM_PERMEABILITY_H_PER_M * metal.permeability
    return np.asarray((1.0 + 1.0j) * np.sqrt(np.pi * f * mu * metal.conductivity_s_per_m))


def _frequencies(frequency_hz: ArrayLike) -> Floats:
    f = np.asarray(frequency_hz, dtype=np.float64)
    if not np.all(np.isfinite(f) & (f > 0)):
        raise InputError("frequency_hz", "must be above zero and finite")
    return f


def _positive(**values: ArrayLike) -> tuple[Floats, ...]:
    out = []
    for name, value in values.items():
        array = np.asarray(value, dtype=np.float64)
        if not np.all(np.isfinite(array) & (array > 0)):
            raise InputError(name, "must be above zero and finite")
        out.append(array)
    return tuple(out)


def dielectric_loss_db_per_m(frequency_hz: ArrayLike, permittivity: ArrayLike, loss_tangent: ArrayLike) -> Floats:
    """Return the dielectric part of the attenuation, ``k tan δ / 2`` nepers, in dB per metre; it grows with f.

    Pozar, 4th ed., section 2.7. A well-known hand formula in dB per 100 ft is printed ten times too small in places.

    >>> float(dielectric_loss_db_per_m(1e9, 2.08, 0.0004).round(3))
    0.053
    """
    f, er = _positive(frequency_hz=frequency_hz, permittivity=permittivity)
    tangent = np.asarray(loss_tangent, dtype=np.float64)
    if not np.all(np.isfinite(tangent) & (tangent >= 0)):
        raise InputError("loss_tangent", "must be zero or more and finite")
    wave_number = TWO_PI * f * np.sqrt(er) / SPEED_OF_LIGHT_M_PER_S
    return np.asarray(DB_PER_NEPER * wave_number * tangent / 2.0, dtype=np.float64)


def temperature_factor(temperature_celsius: ArrayLike, reference_celsius: float = 20.0) -> Floats:
    """Return by what an attenuation at the reference temperature is multiplied at another: 0.20 % per kelvin.

    >>> float((0.055 * temperature_factor(37.78)).round(4))  # 100 degrees Fahrenheit
    0.0569
    """
    t = np.asarray(temperature_celsius, dtype=np.float64)
    if not np.all(np.isfinite(t) & (t > -273.15)):
        raise InputError("temperature_celsius", "must be finite and above absolute zero")
    return np.asarray(1.0 + LOSS_PER_KELVIN * (t - reference_celsius), dtype=np.float64)
