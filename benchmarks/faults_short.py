"""What a short section of slightly lower impedance is called: ``python benchmarks/faults_short.py [worlds an end]``.

0.6 m of 0.82 to 0.90 times the line's impedance, near the middle of at most 30 m, swept to 300, 450, 500 or 900 MHz;
velocity factor and length are known. The chains are those of ``fault_worlds.py``, once with its connectors, uneven
line and analyser, once ideal: nothing but the section and noise of -70 dB.
"""

from __future__ import annotations

import sys
from collections import Counter
from itertools import pairwise

import numpy as np

import fault_worlds as made
from faults import looked_at

SECTION_M = 0.6
CELLS = (0.0, 2.0, 3.0, 5.0, np.inf)


def draw(rng: np.random.Generator, far_end: str, *, ideal: bool) -> made.World:
    """Draw a line with the section in it."""
    f = np.linspace(1e6, float(rng.choice([300e6, 450e6, 500e6, 900e6])), 801)
    ohm, vf, a, b = made.CABLES[rng.choice(4)]
    ohm, cable_loss = ohm * rng.normal(1, 0.012), (a * rng.uniform(0.9, 1.8), b)
    cable = (ohm, vf, *cable_loss)
    length = min(30.0, 0.45 * made.LIGHT * vf / (2 * (f[1] - f[0])))
    at, z = rng.uniform(15, 16), ohm * rng.uniform(0.82, 0.90)
    rough, noise = (0.0, 3e-4) if ideal else (float(rng.uniform(0, 0.002)), float(10 ** rng.uniform(-3.6, -2.7)))
    plugs = np.zeros(2) if ideal else rng.uniform(0.01, 0.04, 2)
    plug = [made._line(f, ohm * rng.uniform(0.75, 1.15), 0.75, (0.05, 0.01), n) for n in plugs]
    parts = [plug[0], *made._uneven(rng, f, cable, at, rough), made._line(f, z, vf, cable_loss, SECTION_M)]
    parts += [*made._uneven(rng, f, cable, length - at - SECTION_M, rough), plug[1]]
    s = made._ports(made._product(parts), "water", far_end, float(rng.normal(50, 0.5)))
    shown = made._analyser(rng, s, f, noise, 0.0 if ideal else float(10 ** rng.uniform(-3, -2.3)))
    return made.World(f, shown, far_end, length + plugs.sum(), vf, ohm, "water", at + plugs[0], 0.0, {})


def called(world: made.World, rng: np.random.Generator) -> str:
    """Return what is found, in one word for each thing."""
    found = looked_at(world, rng, 1e-6, 1e-6)
    return "refused" if isinstance(found, str) else " and ".join(x.kind for x in found.faults) or "nothing"


def table(each: int, *, ideal: bool) -> str:
    """Return what the section is called, by how many resolution cells it spans."""
    names: dict[float, Counter[str]] = {low: Counter() for low in CELLS[:-1]}
    for end, far_end in enumerate(made.ENDS):
        for i in range(each):
            rng = np.random.default_rng([7, i, end])
            world = draw(rng, far_end, ideal=ideal)
            cells = SECTION_M / world.cell_m
            names[max(low for low in CELLS[:-1] if low <= cells)][called(world, rng)] += 1
    rows = [
        f"  {low:g} to {high:g} cells: {', '.join(f'{name} {n}' for name, n in names[low].most_common())}"
        for low, high in pairwise(CELLS)
    ]
    return "\n".join([f"{'ideal' if ideal else 'usual'} lines, {each * len(made.ENDS)}", *rows])


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    print(table(count, ideal=False), table(count, ideal=True), sep="\n")
