"""Small benches for the engine's tests, their readings worked out from a stated truth."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.core.nouns.bench import Attenuator, BenchSheet, Meter, Piece, Reading, Reference, Source
from linewright.core.nouns.line import AttenuationLaw, LineType

THIN = LineType("RG-58C/U", 50.0, 0.66, AttenuationLaw(0.0142, 0.00013, spread=0.06, valid_hz=(10e6, 2.4e9)))
THICK = LineType("RG-213/U", 50.0, 0.66, AttenuationLaw(0.0062, 0.00006, spread=0.05, valid_hz=(10e6, 2.4e9)))
DESK = Meter("desk meter", "watts", 0.01, (1.8e6, 60e6))
POCKET = Meter("pocket meter", "watts", 0.01, (100e6, 470e6))
BLUE_7 = Piece("blue 7", 7.0, THIN, 2, "blue drum")
BLUE_18 = Piece("blue 18", 18.0, THIN, 2, "blue drum")

Row = tuple[Meter, float, str, float]


def sheet_of(
    rows: Sequence[Row],
    pieces: Sequence[Piece] = (BLUE_7, BLUE_18),
    *,
    power_w: float | None = 10.0,
    reference: Reference | None = None,
    attenuators: Sequence[Attenuator] = (),
) -> BenchSheet:
    """Return a sheet of readings written as (meter, frequency, path, value); rows are numbered from 2."""
    meters = tuple(dict.fromkeys(m for m, *_ in rows)) or (DESK,)
    readings = tuple(
        Reading(i + 2, m.name, f, () if path == "reference" else tuple(path.split("+")), value)
        for i, (m, f, path, value) in enumerate(rows)
    )
    return BenchSheet(
        "Test", meters, tuple(pieces), readings, Source(power_w), reference or Reference(), tuple(attenuators)
    )


def true_loss_db(path: str, frequency_hz: float, times: float = 1.0) -> float:
    """Return the loss of blue pieces in line, aged so many times, with usual connectors and a joint between pieces."""
    tags = [] if path == "reference" else path.split("+")
    plug = 0.0017 * np.sqrt(frequency_hz / 1e6)
    lengths = {"blue 7": 7.0, "blue 18": 18.0}
    cable = sum(lengths[t] for t in tags) * float(THIN.law.db_per_m(frequency_hz)) * times
    return float(cable + plug * (2 * len(tags) + max(0, len(tags) - 1)))


def read(meter: Meter, f: float, paths: Sequence[str], times: float = 1.0, exponent: float = 1.0) -> list[Row]:
    """Return readings of some paths by a meter of some exponent, to its own step, with no noise at all."""
    step = meter.division or 0.01
    powers = [10.0 * 10 ** (-exponent * true_loss_db(p, f, times) / 10.0) for p in paths]
    return [(meter, f, p, round(w / step) * step) for p, w in zip(paths, powers, strict=True)]


PATHS = ("reference", "blue 7", "blue 18", "reference")
