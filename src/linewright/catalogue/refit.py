"""Fit the laws of the built-in types anew: ``python -m linewright.catalogue.refit``.

The catalogue ships the curves and the common numbers, so that looking a type up needs no solver. Run this after
changing points.csv, types.csv or constructions.csv; a test compares what is shipped with a fresh fit.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from linewright.catalogue.construction import Construction, construction_of, core_mates
from linewright.catalogue.joint import COMMON, Joint, QuotedPoint, fit, law_from
from linewright.catalogue.lines import points_of
from linewright.catalogue.names import designators
from linewright.catalogue.tables import by_designator
from linewright.core.nouns.line import CURVE_HZ, AttenuationLaw

COLUMNS: Final = (
    "designator", "k1_db_per_m", "k2_db_per_m", "spread", "valid_low_hz", "valid_high_hz", "tangent_low",
    "tangent_high", "conductor_db_per_m", "below", "above",
)  # fmt: skip


def makes() -> dict[str, Construction]:
    """Return the make of every type of the catalogue."""
    return {name: construction_of(name) for name in designators()}


def readings() -> tuple[QuotedPoint, ...]:
    """Return every published point that is not set aside, each with its source."""
    return tuple(
        QuotedPoint(name, point, row["sources"])
        for name in designators()
        for point, row in zip(points_of(name), by_designator("points").get(name, ()), strict=True)
        if point.kind != "set aside"
    )


def is_read(reading: QuotedPoint) -> bool:
    """Return whether a point was read as what a good piece loses: neither from memory nor a maximum."""
    return reading.point.provenance.grade == "read" and reading.point.kind != "max"


def law_of(post: Joint, designator: str, given: Sequence[QuotedPoint]) -> AttenuationLaw:
    """Return a type's law out of the joint fit to ``given``."""
    core = post.makes[designator].core
    known = any(is_read(r) and post.makes[r.designator].core == core for r in given)
    return law_from(post, designator, read=known, valid_hz=_span(designator, given))


def _span(designator: str, given: Sequence[QuotedPoint]) -> tuple[float, float]:
    """Return the frequencies that read points of a type span; else its core's; else any; else the curve's."""
    mates = {designator, *core_mates(designator)}
    for rows in (
        [r for r in given if r.designator == designator and is_read(r)],
        [r for r in given if r.designator in mates and is_read(r)],
        [r for r in given if r.designator in mates],
    ):
        if len({r.point.frequency_hz for r in rows}) > 1:
            return min(r.point.frequency_hz for r in rows), max(r.point.frequency_hz for r in rows)
    return CURVE_HZ[0], CURVE_HZ[-1]


def law_rows(post: Joint, given: Sequence[QuotedPoint]) -> Iterator[tuple[str, ...]]:
    """Yield the rows of laws.csv, the heading first."""
    yield COLUMNS
    for name in post.makes:
        law = law_of(post, name, given)
        assert law.curve is not None
        numbers = (law.k1_db_per_m, law.k2_db_per_m, law.spread, *law.valid_hz, *law.curve.tangent)
        lists = (law.curve.conductor_db_per_m, law.curve.below, law.curve.above)
        yield name, *(f"{n:.6g}" for n in numbers), *(" ".join(f"{v:.5g}" for v in many) for many in lists)


def common_rows(post: Joint) -> Iterator[tuple[str, ...]]:
    """Yield the rows of common.csv, the heading first."""
    yield "number", "mean", "spread"
    for i, name in enumerate(COMMON):
        yield name, f"{post.x[i]:.5g}", f"{post.spread_of(name):.5g}"


def main() -> None:
    """Write laws.csv and common.csv beside the other data."""
    folder = Path(__file__).parent / "data"
    given = readings()
    post = fit(given, makes())
    for name, rows in (("laws", law_rows(post, given)), ("common", common_rows(post))):
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows(rows)


if __name__ == "__main__":
    main()
