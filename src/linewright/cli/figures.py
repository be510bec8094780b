"""Figures of a data sheet in the units people use: the library keeps SI, and the last word of a name says which."""

from __future__ import annotations

from linewright.cli.cells import clean

UNITS = {
    "f_per_m": ("pF/m", 1e12),
    "kg_per_m": ("g/m", 1e3),
    "ohm_per_m": ("mΩ/m", 1e3),
    "w_per_m": ("W/m", 1.0),
    "celsius": ("°C", 1.0),
    "ohm": ("ohm", 1.0),
    "m": ("mm", 1e3),
    "v": ("V", 1.0),
}


def figure_words(name: str, value: float | str) -> tuple[str, str]:
    """Return a figure's name and value as a person reads them.

    >>> figure_words("outer_diameter_m", 0.00495), figure_words("velocity_factor", 0.66)
    (('outer diameter', '4.95 mm'), ('velocity factor', '0.66'))
    >>> figure_words("strands", "19 x 0.18")
    ('strands', '19 x 0.18')
    """
    if isinstance(value, str):
        return name.replace("_", " "), clean(value)
    for end, (unit, times) in UNITS.items():
        if name.endswith(f"_{end}"):
            return name.removesuffix(f"_{end}").replace("_", " "), f"{value * times:.6g} {unit}"
    return name.replace("_", " "), f"{value:.6g}"
