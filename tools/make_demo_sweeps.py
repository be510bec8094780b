"""Make the sweeps of the invented Harbour Ridge bench: line sections worked out here, with a little noise.

Nothing in them was measured. Run ``python tools/make_demo_sweeps.py`` to write the files again; ``--check`` only
compares.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import linewright as lw
from linewright.core.quantities import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S

Chain = NDArray[np.complex128]
FOLDER = Path(__file__).parents[1] / "src" / "linewright" / "verbs" / "demo_data"
INVENTED = "INVENTED DATA, made by tools/make_demo_sweeps.py. Nothing here was measured."
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


def ended(chain: Chain, load_ohm: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Return what a chain with a load (points) behind it reflects (points, 1, 1)."""
    behind = np.stack([load_ohm, np.ones(load_ohm.shape)], axis=-1)
    voltage, current = np.moveaxis((chain @ behind[..., None])[..., 0], -1, 0)
    return ((voltage - SYSTEM_OHM * current) / (voltage + SYSTEM_OHM * current))[:, None, None]


def sweeps() -> dict[str, NDArray[np.complex128]]:
    """Return what the analyser would show, by file: scattering parameters (points, ports, ports) without noise."""
    f = frequencies()
    drum = section(f, 30.0, 50.3, 1.35)
    wet = section(f, 15.5, 50.0) @ section(f, 1.0, 44.0) @ section(f, 7.5, 50.0)
    return {
        "drum.s2p": through(drum),
        "mast.s1p": ended(wet, np.full(f.shape, 53.0)),
        "open.s1p": ended(drum, np.full(f.shape, 1e9)),
        "short.s1p": ended(drum, np.zeros(f.shape)),
    }


def frequencies() -> NDArray[np.float64]:
    """Return the frequencies of the sweeps, Hz."""
    return np.linspace(1e6, 450e6, 451)


def sweep_text(seen: NDArray[np.complex128]) -> str:
    """Return a sweep as a Touchstone file, to six decimals."""
    rows = [
        f"{f:.0f} " + " ".join(f"{part:.6f}" for s in matrix.T.ravel() for part in (s.real, s.imag))
        for f, matrix in zip(frequencies(), seen, strict=True)
    ]
    return "\n".join([f"! {INVENTED}", f"# Hz S RI R {SYSTEM_OHM:g}", *rows, ""])


def antenna_curve() -> str:
    """Return, as CSV, what a meter shows of an antenna resonant at 145.2 MHz behind 2.6 dB of line."""
    f = np.linspace(140e6, 150e6, 31)
    z = 40.0 * (1.0 + 15j * (f / 145.2e6 - 145.2e6 / f))
    g = np.abs((z - SYSTEM_OHM) / (z + SYSTEM_OHM)) * 10.0**-0.26
    rows = [f"{x / 1e6:.3f},{s:.2f}" for x, s in zip(f, (1.0 + g) / (1.0 - g), strict=True)]
    return "\n".join([f"# {INVENTED}", "frequency_mhz,swr", *rows, ""])


def files() -> dict[Path, str]:
    """Return the files and what they hold."""
    rng = np.random.default_rng(SEED)
    made = {}
    for name, s in sweeps().items():
        noise = rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape)
        made[FOLDER / name] = sweep_text(s + NOISE / np.sqrt(2.0) * noise)
    return {**made, FOLDER / "beam.csv": antenna_curve()}


def main() -> int:
    """Write the files, or compare them; return 1 when they differ from what is on disk."""
    parser = argparse.ArgumentParser(description="Make the sweeps of the invented bench.")
    parser.add_argument("--check", action="store_true", help="only compare with the files on disk")
    check = parser.parse_args().check
    made = files()
    stale = [path for path, text in made.items() if not path.is_file() or path.read_text(encoding="utf-8") != text]
    for path in stale if not check else []:
        path.write_text(made[path], encoding="utf-8")
    sys.stderr.write(f"{len(stale)} of {len(made)} files {'differ' if check else 'written'}\n")
    return int(check and bool(stale))


if __name__ == "__main__":
    sys.exit(main())
