"""Write the sweeps that the pages of docs/ read. INVENTED: worked out here from line sections, with a little noise."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import linewright as lw
from linewright.units.constants import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S

Chain = NDArray[np.complex128]
SYSTEM_OHM = 50.0
NOISE = 3e-4
SEED = 20_260_314


def section(frequency_hz: NDArray[np.float64], length_m: float, impedance_ohm: float, worn: float = 1.0) -> Chain:
    """Return the chain matrices (points, 2, 2) of a section much like RG-213/U, ``worn`` times as lossy.

    A line of series impedance and shunt admittance: what the skin effect takes it also delays, the inner inductance
    having the reactance of the resistance.
    """
    parts_db = lw.line_type("RG-213/U").law.parts_db_per_m(frequency_hz)
    conductor, dielectric = (worn * part / DB_PER_NEPER for part in parts_db)
    lossless = 2j * np.pi * frequency_hz / (0.66 * SPEED_OF_LIGHT_M_PER_S)
    series = impedance_ohm * (lossless + 2.0 * (1.0 + 1.0j) * conductor)
    shunt = (lossless + 2.0 * dielectric) / impedance_ohm
    gamma_l, ohm = np.sqrt(series * shunt) * length_m, np.sqrt(series / shunt)
    rows = [[np.cosh(gamma_l), ohm * np.sinh(gamma_l)], [np.sinh(gamma_l) / ohm, np.cosh(gamma_l)]]
    return np.moveaxis(np.array(rows), -1, 0)


def through(chain: Chain) -> NDArray[np.complex128]:
    """Return the scattering parameters (points, 2, 2) of a chain between two 50-ohm ports."""
    a, b, c, d = chain[:, 0, 0], chain[:, 0, 1] / SYSTEM_OHM, chain[:, 1, 0] * SYSTEM_OHM, chain[:, 1, 1]
    across = np.full(a.shape, 2.0 + 0j)
    waves = np.array([[a + b - c - d, across], [across, b - c - a + d]])
    return np.moveaxis(waves / (a + b + c + d), -1, 0)


def ended(chain: Chain, load_ohm: float) -> NDArray[np.complex128]:
    """Return what a chain with a load behind it reflects (points, 1, 1)."""
    voltage, current = np.moveaxis(chain @ np.array([load_ohm, 1.0]), -1, 0)
    return ((voltage - SYSTEM_OHM * current) / (voltage + SYSTEM_OHM * current))[:, None, None]


def write_sweeps(folder: Path) -> None:
    """Write ``drum.s2p`` (30 m, worn), ``mast.s1p`` (24 m, water at 15.5 m) and ``beam.csv`` (an antenna)."""
    rng = np.random.default_rng(SEED)
    f = np.linspace(1e6, 450e6, 451)
    wet = section(f, 15.5, 50.0) @ section(f, 1.0, 44.0) @ section(f, 7.5, 50.0)
    for name, s in {"drum.s2p": through(section(f, 30.0, 50.3, 1.35)), "mast.s1p": ended(wet, 53.0)}.items():
        noise = rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape)
        seen = s + NOISE / np.sqrt(2.0) * noise
        ports = np.full(s.shape[-1], SYSTEM_OHM + 0j)
        lw.write_touchstone(lw.Sweep(name, f, seen, ports), folder / name)
    (folder / "beam.csv").write_text(antenna_curve(), encoding="utf-8")


def antenna_curve() -> str:
    """Return, as CSV, what a meter shows of an antenna resonant at 145.2 MHz behind 2.6 dB of line."""
    f = np.linspace(140e6, 150e6, 31)
    z = 40.0 * (1.0 + 15j * (f / 145.2e6 - 145.2e6 / f))
    g = np.abs((z - SYSTEM_OHM) / (z + SYSTEM_OHM)) * 10.0**-0.26
    rows = [f"{x / 1e6:.3f},{s:.2f}" for x, s in zip(f, (1.0 + g) / (1.0 - g), strict=True)]
    return "\n".join(["# INVENTED", "frequency_mhz,swr", *rows, ""])
