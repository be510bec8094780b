"""The main verb: prove pieces of cable from a bench sheet."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date
from math import exp
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.core.errors import InputError
from linewright.core.formatting import digits, frequency, plain
from linewright.core.messages import say, say_many, together
from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.bench_result import BenchResult, Lacking, Working
from linewright.core.nouns.line import LineType

if TYPE_CHECKING:
    from linewright.core.nouns.belief import Belief
    from linewright.inference.bench.pieces import SheetMessages
    from linewright.inference.bench.prove import Explain
    from linewright.store.ledger import Ledger

Progress = Callable[[float, str], None]


def prove_cable(  # noqa: PLR0913 - each is a choice of its own
    sheet: BenchSheet | Path | str,
    *,
    own: Sequence[LineType] = (),
    ledger: Ledger | None = None,
    on: date | None = None,
    progress: Progress | None = None,
    explained: bool = True,
    lacking: Collection[Lacking] = (),
) -> BenchResult:
    """Prove every piece on a bench sheet.

    Parameters
    ----------
    sheet : BenchSheet or Path or str
        The sheet, or the TOML file it stands in.
    own : sequence of LineType
        The person's own line types, for a sheet that is still to be read.
    ledger : Ledger, optional
        An open ledger; see ``open_ledger``. Its meters are judged with what earlier sessions showed of them, its pieces
        with all their other tests up to the day, as if the sheet were filed in it; nothing is written. A piece, meter
        or attenuator that the sheet only names is taken from there. It needs a file.
    on : date, optional
        The day of the readings, where a ledger is named; without it, today.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done.
    explained : bool
        Whether to write down how every figure was worked out. The figures are the same without.
    lacking : collection of str
        Gear that nobody has, "attenuator" or "second meter": no reading is proposed that needs it.

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

    if ledger is not None:
        if isinstance(sheet, BenchSheet):
            rule = say("must be a file where a ledger is named")
            raise InputError("sheet", rule, cure=say("Give its path, or file it: file_sheet."))
        return _beside(ledger, Path(sheet), own, (on, progress, explained, lacking))
    found = sheet if isinstance(sheet, BenchSheet) else read_bench_sheet(sheet, own)
    _begun(found)
    return _whole(found, prove(found, progress=progress, explain=_how(explained), lacking=lacking))


def prove_and_tell(
    sheet: BenchSheet,
    *,
    progress: Progress | None = None,
    explained: bool = True,
    lacking: Collection[Lacking] = (),
) -> tuple[BenchResult, SheetMessages]:
    """Prove every piece on a bench sheet as ``prove_cable`` does; return also what the sheet says to other days."""
    from linewright.inference.bench import prove

    _begun(sheet)
    result, said = prove.prove_and_tell(sheet, progress=progress, explain=_how(explained), lacking=lacking)
    return _whole(sheet, result), said


def _begun(sheet: BenchSheet) -> None:
    if sheet.waiting and not (sheet.readings or sheet.one_end):
        rule = say("are all empty: {waiting} steps wait to be filled in", waiting=sheet.waiting)
        raise InputError("readings", rule, cure=say("Write the first readings into the readings file."))


def _whole(sheet: BenchSheet, result: BenchResult) -> BenchResult:
    return replace(result, remarks=(*result.remarks, _waiting(sheet.waiting))) if sheet.waiting else result


def _how(explained: bool) -> Explain | None:
    if not explained:
        return None
    from linewright.present.compose.bench_workings import workings

    return workings


def _beside(
    ledger: Ledger,
    path: Path,
    own: Sequence[LineType],
    how: tuple[date | None, Progress | None, bool, Collection[Lacking]],
) -> BenchResult:
    """Prove a sheet as if it were filed in a ledger on a day."""
    from linewright.inference.bench.observations import shown
    from linewright.inference.bench.prove import prove
    from linewright.verbs.combine import combined
    from linewright.verbs.shelf_evidence import Shelved, meters_known, meters_of, tests_of, year_of
    from linewright.verbs.shelf_filing import sheet_beside
    from linewright.verbs.shelf_open import today
    from linewright.verbs.shelf_words import evidence_name

    on, progress, explained, lacking = how
    with ledger.reads() as snapshot:
        shelf, key, sheet, day = sheet_beside(Shelved.of(snapshot), path, today(on), own)
        meters = meters_known(shelf, meters_of(shelf.sheets[key]), day)
        beliefs: dict[str, Belief] = {}
        others: dict[str, str] = {}
        for piece in sheet.pieces:
            tag = shelf.names.pieces.get(piece.tag, piece.tag)
            evidence = [e for e in shelf.evidence(tag) if e.measured_on <= day]
            if tag not in shelf.pieces or not any(e.key != key for e in evidence):
                continue
            tests = tests_of(shelf, replace(piece, tag=tag), evidence)
            if any(e.key == key for e, _ in tests) and len(tests) > 1:
                beliefs[piece.tag] = replace(combined([t for _, t in tests], year_of(day)).belief, piece=piece)
                others[piece.tag] = together((evidence_name(e.kind, e.key) for e, _ in tests if e.key != key), ", ")
    result = prove(meters.on(sheet), progress=progress, explain=_how(explained), known=beliefs, lacking=lacking)
    said = [
        say("{piece} is judged with its other tests: {tests}.", piece=tag, tests=tests) for tag, tests in others.items()
    ]
    said += [
        say(
            "{meter} on {frequency} is taken to show {exponent} dB for one, as earlier sessions showed.",
            meter=k.meter, frequency=frequency(k.frequency_hz), exponent=plain(exp(k.log_mean), 2),
        )
        for k in meters.exponents
    ]  # fmt: skip
    said += [
        say(
            "{meter} on {frequency} is taken to show nothing below {reading} on its scale, as earlier sessions showed.",
            meter=k.meter, frequency=frequency(k.frequency_hz),
            reading=digits(shown(sheet.meter(k.meter), k.level_db), 2),
        )
        for k in meters.bottoms
    ]  # fmt: skip
    if others:
        said.append(say(
            "The pieces are judged as they were on {day}. For another day: linewright shelf show TAG --date DAY.",
            day=day,
        ))  # fmt: skip
    return replace(result, remarks=(*result.remarks, *said), workings=_workings(result, others))


def _workings(result: BenchResult, others: Mapping[str, str]) -> tuple[Working, ...]:
    """Return the workings of a result, those of losses that come from tests of several days told anew."""
    formula = say("state of the piece on each day from all tests together; ln loss wanders 1 % a year")

    def anew(w: Working) -> Working:
        tag = str(w.key[1]) if len(w.key) == 3 and w.key[0] == "loss" else ""
        if tag not in others:
            return w
        inputs = ((say("other tests"), others[tag]), (say("this sheet"), result.title))
        return replace(w, formula=formula, inputs=inputs, source="docs/how-histories-work.md")

    return tuple(map(anew, result.workings))


def _waiting(steps: int) -> str:
    return say_many(
        "{count} step of the reading sheet has no reading yet and is left out.",
        "{count} steps of the reading sheet have no reading yet and are left out.",
        steps,
    )
