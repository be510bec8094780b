"""The terminal view of a bench result: verdict first, then the figures, then what to do."""

from __future__ import annotations

from linewright.cli.cells import WIDEST, cut, wrapped
from linewright.cli.layout import bold, items, page, section
from linewright.cli.losses_view import grounds, losses, other_bands
from linewright.cli.meters_view import trust
from linewright.cli.pieces_view import uses, verdicts
from linewright.cli.readings_view import doubted, second_look, unchecked
from linewright.cli.workings_view import workings_view
from linewright.model.result import BenchResult, NextReading


def bench_view(result: BenchResult, *, explain: bool = False) -> str:
    """Return a bench result for a terminal, no line wider than 100 columns."""
    return page([
        [bold(cut(result.title, WIDEST))],
        verdicts(result),
        section("Losses", losses(result)),
        section("By hand, and without the catalogue", grounds(result)),
        section("Where the loss comes from", _growth(result)),
        section("Uses", uses(result)),
        section("Readings to doubt", doubted(result)),
        section("Worth a second look", second_look(result)),
        section("Readings nothing could check", unchecked(result)),
        section("Which meter to believe", trust(result)),
        section("Bands not measured", other_bands(result)),
        section("Measure next", _next(result.next)),
        section("Remarks", items(result.remarks)),
        section("Cautions", items(result.cautions)),
        workings_view(result.workings) if explain else [],
    ])  # fmt: skip


def _growth(result: BenchResult) -> list[str]:
    """Say which part grew, of every piece that may lose more than it should."""
    worse = {p.piece for p in result.pieces if p.verdict != "good" and p.ratio is not None}
    return items([f"{g.sentence} {g.check}" for g in result.growth if g.piece in worse])


def _next(found: tuple[NextReading, ...]) -> list[str]:
    lines: list[str] = []
    for i, n in enumerate(found, start=1):
        first = f"  {i}. "
        lines += wrapped(f"{n.action} {n.why}", first=first, rest=" " * len(first))
    return lines
