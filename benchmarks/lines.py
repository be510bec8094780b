"""A small table of line types for synthetic benches.

The coefficients are rounded fits to the same public tables the catalogue uses, kept here so that a benchmark needs
nothing but the nouns. Decibels per 100 m at 1 MHz in the table, per metre in the law.
"""

from __future__ import annotations

from linewright.core.nouns.line import AttenuationLaw, LineType

CONNECTOR_DB = 0.0017
"""Heat loss of one connector, dB per root megahertz: the figure of the engine's model, used for the catalogue loss."""

#           designator               ohm  vf    k1     k2      spread weight
_TABLE = (
    ("RG-58C/U", 50.0, 0.66, 1.26, 0.0285, 0.07, 0.30),
    ("RG-213/U", 50.0, 0.66, 0.62, 0.0070, 0.05, 0.25),
    ("RG-174/U", 50.0, 0.66, 2.25, 0.0450, 0.06, 0.08),
    ("RG-8X type", 50.0, 0.78, 1.03, 0.0138, 0.06, 0.10),
    ("RG-223/U", 50.0, 0.66, 1.19, 0.0112, 0.06, 0.07),
    ("foam low-loss 5 mm", 50.0, 0.83, 1.16, 0.0019, 0.05, 0.07),
    ("foam low-loss 10 mm", 50.0, 0.85, 0.40, 0.0009, 0.04, 0.10),
    ("corrugated 1/2 in foam", 50.0, 0.88, 0.21, 0.0006, 0.03, 0.03),
)

LINES = tuple(
    LineType(name, ohm, vf, AttenuationLaw(k1 / 100, k2 / 100, spread=spread, valid_hz=(1e6, 3e9)))
    for name, ohm, vf, k1, k2, spread, _ in _TABLE
)
WEIGHTS = tuple(row[-1] for row in _TABLE)

#: One spot in each amateur band, hertz; a bench works a few of them.
BANDS_HZ = tuple(
    1e6 * f for f in (1.9, 3.65, 7.1, 10.12, 14.2, 18.1, 21.2, 24.9, 28.5, 50.2, 144.3, 222.1, 432.2, 1296.2)
)


def connector_db(frequency_hz: float) -> float:
    """Return the nominal heat loss of one connector, dB."""
    return float(CONNECTOR_DB * (frequency_hz / 1e6) ** 0.5)


def catalogue_db(line: LineType, length_m: float, connectors: int, frequency_hz: float) -> float:
    """Return what a good piece loses with its connectors, dB."""
    return length_m * float(line.law.db_per_m(frequency_hz)) + connectors * connector_db(frequency_hz)
