"""The main verb: prove pieces of cable from a bench sheet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from linewright.model.bench import BenchSheet
from linewright.model.line import LineType
from linewright.model.result import BenchResult


def prove_cable(
    sheet: BenchSheet | Path | str,
    *,
    own: Sequence[LineType] = (),
    progress: Callable[[float, str], None] | None = None,
) -> BenchResult:
    """Prove every piece on a bench sheet.

    Parameters
    ----------
    sheet : BenchSheet or Path or str
        The sheet, or the TOML file it stands in.
    own : sequence of LineType
        The person's own line types, for a sheet that is still to be read.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done.

    Returns
    -------
    BenchResult
        Losses with 95 % intervals, verdicts, readings and meters to doubt, what to measure next.

    Raises
    ------
    InputError
        If the file breaks a rule; several problems come in one ``SheetError``.
    """
    from linewright.evidence.bench import prove
    from linewright.formats.sheet import read_bench_sheet

    found = sheet if isinstance(sheet, BenchSheet) else read_bench_sheet(sheet, own)
    return prove(found, progress=progress)
