"""The main verb: prove pieces of cable from a bench sheet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from linewright.core.errors import InputError
from linewright.core.messages import say_many
from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.bench_result import BenchResult
from linewright.core.nouns.line import LineType


def prove_cable(
    sheet: BenchSheet | Path | str,
    *,
    own: Sequence[LineType] = (),
    progress: Callable[[float, str], None] | None = None,
    explained: bool = True,
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
    explained : bool
        Whether to write down how every figure was worked out. The figures are the same without.

    Returns
    -------
    BenchResult
        Losses with 95 % intervals, verdicts, readings and meters to doubt, what to measure next.

    Raises
    ------
    InputError
        If the file breaks a rule; several problems come in one ``SheetError``.

    References
    ----------
    The model and its equations: ``docs/bench-equations.md``. By-hand uncertainty: JCGM 100:2008, 5.1.2; mismatch: JCGM
    101:2008, 9.4.

    >>> from linewright.verbs.examples import demo_file
    >>> result = prove_cable(demo_file("harbour-ridge-2025.toml"))
    >>> [(piece.piece, piece.verdict) for piece in result.pieces]
    [('blue 7', 'worn'), ('blue 18', 'worn'), ('black 20', 'good')]
    """
    from linewright.files.sheet import read_bench_sheet
    from linewright.inference.bench.prove import prove

    found = sheet if isinstance(sheet, BenchSheet) else read_bench_sheet(sheet, own)
    if found.waiting and not (found.readings or found.one_end):
        rule = f"are all empty: {found.waiting} steps wait to be filled in"
        raise InputError("readings", rule, cure="Write the first readings into the readings file.")
    result = prove(found, progress=progress, explained=explained)
    return replace(result, remarks=(*result.remarks, _waiting(found.waiting))) if found.waiting else result


def _waiting(steps: int) -> str:
    return say_many(
        "{count} step of the reading sheet has no reading yet and is left out.",
        "{count} steps of the reading sheet have no reading yet and are left out.",
        steps,
    )
