"""Fit the laws of the built-in types anew: ``python -m linewright.catalogue.refit > laws.csv``.

The catalogue ships the coefficients, so that looking a type up needs no solver. Run this after changing points.csv or
types.csv; a test compares what is shipped with a fresh fit.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator

from linewright.catalogue.fit import fit_law
from linewright.catalogue.lines import points_of
from linewright.catalogue.tables import Row, rows
from linewright.core.nouns.line import AttenuationLaw

COLUMNS = (
    "designator", "k0_db_per_m", "k1_db_per_m", "k2_db_per_m", "spread", "valid_low_hz", "valid_high_hz",
    "sqrt_floor_hz",
)  # fmt: skip


def refit(row: Row) -> AttenuationLaw:
    """Return the law of one row of types.csv, fitted to the tables it names."""
    chosen, aside = row["law_tables"].split(), row["set_aside"].split()
    points = points_of(row["designator"])
    return fit_law(
        [p for p in points if p.table in chosen and p.kind != "measured"],
        steel_centre=row["steel_centre"] == "yes",
        others=[p for p in points if p.table not in chosen and p.table not in aside],
        least_spread=float(row["least_spread"] or 0),
    )


def lines() -> Iterator[tuple[str, ...]]:
    """Yield the rows of laws.csv, the heading first."""
    yield COLUMNS
    for row in rows("types"):
        law = refit(row)
        numbers = (law.k0_db_per_m, law.k1_db_per_m, law.k2_db_per_m, law.spread, *law.valid_hz, law.sqrt_floor_hz)
        yield row["designator"], *(f"{n:.6g}" for n in numbers)


if __name__ == "__main__":
    csv.writer(sys.stdout, lineterminator="\n").writerows(lines())
