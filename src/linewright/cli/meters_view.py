"""Meters on a terminal: a grid of trust, and the reasons below it, each said once."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.cli.cells import WIDEST, cut, width
from linewright.cli.layout import groups, items
from linewright.cli.table import Table
from linewright.model.result import BenchResult, MeterFinding
from linewright.units.writing import frequencies, frequency

BAND, NAME = 11, 22
"""Cells a band takes, and at most a name."""
GRAVITY = ("none", "doubtful", "unknown", "good")


def trust(result: BenchResult) -> list[str]:
    """Return which meter to believe on which band, and why."""
    return [*_grid(result.meters), *_reasons(result.meters)]


def _grid(found: Sequence[MeterFinding]) -> list[str]:
    at = {(m.meter, m.frequency_hz): m.trust for m in found}
    meters, bands = list(dict.fromkeys(m for m, _ in at)), sorted({f for _, f in at})
    lines: list[str] = []
    names = min(NAME, max((width(m) for m in meters), default=0))
    for some in groups(bands, (WIDEST - 2 - names) // BAND):
        table = Table(("", *(frequency(f) for f in some)), "l" * (1 + len(some)))
        for meter in meters:
            table.add(cut(meter, NAME), *(at.get((meter, f), "") for f in some))
        lines += [*table.lines(), ""]
    return lines[:-1]


def _reasons(found: Sequence[MeterFinding]) -> list[str]:
    """Return every reason once, the gravest first, with the meters and bands it holds for."""
    order = sorted(found, key=lambda m: GRAVITY.index(m.trust))
    reasons = list(dict.fromkeys((m.trust, m.why) for m in order if m.why))
    said = [f"{_holders([m for m in found if (m.trust, m.why) == r])}: {r[1]}" for r in reasons]
    return ["", *items(said)] if said else []


def _holders(found: Sequence[MeterFinding]) -> str:
    """Name meters and bands: "desk meter at 14.2, 28.5 MHz; card meter at 144.3 MHz"."""
    bands: dict[str, list[float]] = {}
    for m in found:
        bands.setdefault(m.meter, []).append(m.frequency_hz)
    alike: dict[str, list[str]] = {}
    for meter, some in bands.items():
        alike.setdefault(frequencies(some), []).append(meter)
    return "; ".join(f"{', '.join(meters)} at {some}" for some, meters in alike.items())
