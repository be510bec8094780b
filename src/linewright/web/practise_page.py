"""What the pages to practise on show of a bench, and how their addresses hold it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import sqrt

from linewright.core.errors import InputError
from linewright.core.formatting import frequency, metres, plain, quantity
from linewright.core.messages import say, together
from linewright.core.nouns.bench_result import SCALE_UNIT
from linewright.core.nouns.practice import (
    MOST_FAULTS,
    OF_A_PIECE,
    Claim,
    FigureBeside,
    HiddenFault,
    PracticeBench,
    PracticeOutcome,
    PracticeReading,
    Said,
    Sureness,
)
from linewright.link.practice_bench import KINDS, MOST_READINGS
from linewright.present.compose import practise as words
from linewright.verbs.practise import read_again, subjects
from linewright.verbs.practise_others import by_hand_figures

# A bench in an address: which readings were chosen, three signs each


def packed(bench: PracticeBench) -> str:
    """Return the readings that were chosen as an address has them: "013.214", meter, band and path by number."""
    meters, paths = list(bench.bands), bench.paths
    return ".".join(
        f"{meters.index(r.meter)}{bench.bands[r.meter].index(r.frequency_hz)}{paths.index(r.path)}" for r in bench.taken
    )


MOST_PACKED = 400
"""Characters of an address that hold readings; a full sheet has 140."""


def unpacked(level: int, seed: int, text: str) -> PracticeBench:
    """Return the bench an address tells.

    Raises
    ------
    InputError
        If it tells of readings the bench does not have.
    """
    bench = read_again(level, seed, ())
    return read_again(level, seed, [_choice(bench, part) for part in text[:MOST_PACKED].split(".") if part])


def _choice(bench: PracticeBench, part: str) -> PracticeReading:
    try:
        meter, band, path = (int(sign) for sign in part)
        name = list(bench.bands)[meter]
        return PracticeReading(name, bench.bands[name][band], bench.paths[path])
    except (ValueError, IndexError) as cause:
        raise InputError(
            "r", say("must hold readings of this bench; got {value}", value=repr(part)), cure=say("Begin anew.")
        ) from cause


def chosen(bench: PracticeBench, at: str, path: str) -> PracticeReading:
    """Return a reading as the form tells it: meter and band by number, path by name."""
    if path not in bench.paths:
        raise InputError(
            "path", say("must be one of {known}; got {value}", known=", ".join(bench.paths), value=repr(path))
        )
    return _choice(bench, f"{at[:2]}{bench.paths.index(path)}")


# The sheet: a row a meter and band, a column a path


@dataclass(frozen=True, slots=True)
class Cell:
    """A reading in the sheet: its number, its words, whether somebody else wrote it, and whether it is the newest."""

    row: int
    words: str
    given: bool
    last: bool


@dataclass(frozen=True, slots=True)
class SheetRow:
    """The readings of one meter on one band, path by path."""

    meter: str
    frequency: str
    unit: str
    cells: tuple[tuple[str, tuple[Cell, ...]], ...]


@dataclass(frozen=True, slots=True)
class MeterPlace:
    """A meter at a band, as the form names it, and whether it is chosen."""

    value: str
    frequency: str
    checked: bool


@dataclass(frozen=True, slots=True)
class MeterRow:
    """A meter with its scale and the bands it reads."""

    name: str
    scale: str
    places: tuple[MeterPlace, ...]


@dataclass(frozen=True, slots=True)
class PieceRow:
    """A piece as its tag says it."""

    tag: str
    line: str
    length: str


@dataclass(frozen=True, slots=True)
class HandRow:
    """A figure by hand: of what, where, on which meter, and how it stands to what it should be."""

    path: str
    frequency: str
    meter: str
    loss: str
    should: str
    times: str


@dataclass(frozen=True, slots=True)
class BenchShown:
    """A bench as a page shows it. Nothing in it comes from what is hidden."""

    level: int
    level_words: str
    paths: tuple[tuple[str, str], ...]
    sheet: tuple[SheetRow, ...]
    meters: tuple[MeterRow, ...]
    pieces: tuple[PieceRow, ...]
    beside: str
    drum: str
    given: str
    by_hand: tuple[HandRow, ...]
    full: bool
    last: str


def shown(bench: PracticeBench, at: str = "") -> BenchShown:
    """Return what a page shows of a bench; ``at`` is the meter and band that stand chosen."""
    rows: dict[tuple[str, float], dict[str, list[Cell]]] = {}
    readings = bench.sheet.readings
    for r in readings:
        path = r.path[0] if r.path else "reference"
        cell = Cell(
            r.row,
            words.reading_words(bench, r, with_unit=False),
            r.row <= bench.given,
            r.row == len(readings) > bench.given,
        )
        rows.setdefault((r.meter, r.frequency_hz), {}).setdefault(path, []).append(cell)
    ordered = sorted(rows.items(), key=lambda item: (list(bench.bands).index(item[0][0]), item[0][1]))
    sheet = tuple(
        SheetRow(
            meter,
            frequency(f),
            SCALE_UNIT[bench.sheet.meter(meter).scale] or say("scale"),
            tuple((path, tuple(cells.get(path, ()))) for path in bench.paths),
        )
        for (meter, f), cells in ordered
    )
    last = readings[-1]
    newest = say(
        "{row}: {meter}, {frequency}, {path}: {reading}",
        row=last.row, meter=last.meter, frequency=frequency(last.frequency_hz), path=last.path_name,
        reading=words.reading_words(bench, last),
    )  # fmt: skip
    return BenchShown(
        level=bench.level,
        level_words=words.level_words(bench.level),
        paths=tuple((path, words.path_name(path)) for path in bench.paths),
        sheet=sheet,
        meters=tuple(_meters(bench, at)),
        pieces=tuple(
            PieceRow(p.tag, p.line.designator if p.line else "", metres(p.length_m)) for p in bench.sheet.pieces
        ),
        beside=words.beside(bench),
        drum=words.drum_words(bench),
        given=words.given_words(bench),
        by_hand=tuple(_by_hand(bench)),
        full=len(readings) >= MOST_READINGS,
        last=newest if len(readings) > bench.given else "",
    )


def _meters(bench: PracticeBench, at: str) -> Iterator[MeterRow]:
    last = bench.sheet.readings[-1]
    for i, meter in enumerate(bench.sheet.meters):
        bands = bench.bands[meter.name]
        here = [
            at == f"{i}{k}" if at else (meter.name, f) == (last.meter, last.frequency_hz) for k, f in enumerate(bands)
        ]
        places = tuple(MeterPlace(f"{i}{k}", frequency(f), here[k]) for k, f in enumerate(bands))
        yield MeterRow(meter.name, words.meter_words(meter), places)


def _by_hand(bench: PracticeBench) -> Iterator[HandRow]:
    for f in by_hand_figures(bench):
        times = f.loss_db / f.should_db
        loss, should = (quantity(plain(db, 2), "dB") for db in (f.loss_db, f.should_db))
        yield HandRow(words.path_name(f.path), frequency(f.frequency_hz), f.meter, loss, should, plain(times, 2))


@lru_cache(maxsize=64)
def of_club(
    level: int, seed: int, taken: tuple[PracticeReading, ...]
) -> tuple[PracticeBench, BenchShown, tuple[ClaimChoices, ...]]:
    """Return a club's bench and what its screens show of it; worked out once for all phones."""
    bench = read_again(level, seed, taken)
    return bench, shown(bench), choices(bench)


# What may be said of it


@dataclass(frozen=True, slots=True)
class ClaimChoices:
    """Claims of one kind: what they are called together, and each with its value and words."""

    name: str
    claims: tuple[tuple[str, str], ...]


GROUPS: Mapping[Said, str] = {
    "misread": say("A reading was misread"), "detector": say("A meter is bent"), "water": say("A piece is wet"),
    "resistive joint": say("A piece is badly connected"), "other type": say("A piece is of another type"),
    "other length": say("A piece has another length"),
}  # fmt: skip


def choices(bench: PracticeBench) -> tuple[ClaimChoices, ...]:
    """Return what may be said of a bench of this level."""
    out = []
    for kind in (kind for kinds in KINDS[bench.level] for kind in kinds):
        some = tuple((f"{kind}|{of}", words.claim_words(Claim(kind, of))) for of in subjects(bench, Claim(kind)))
        out.append(ClaimChoices(GROUPS[kind], some))
    return tuple(out)


SAID: Mapping[str, Said] = {str(kind): kind for kind in words.CLAIMS}


def claims_in(claims: Sequence[str], sureness: Sequence[str]) -> tuple[Claim, ...]:
    """Return the claims of a form: "water|blue 7" with "sure" or "likely" beside it; empty ones are left out.

    Raises
    ------
    InputError
        If a value is none of the form's.
    """
    out = []
    for i, text in enumerate(claims[: 2 * MOST_FAULTS]):
        if not text:
            continue
        kind, _, of = text.partition("|")
        if kind not in SAID:
            raise InputError("claim", say("must be one of the list; got {value}", value=repr(kind)))
        how: Sureness = "likely" if i < len(sureness) and sureness[i] == "likely" else "sure"
        out.append(Claim(SAID[kind], of, how))
    return tuple(out)


# The end: what was true, drawn


@dataclass(frozen=True, slots=True)
class DrawnPiece:
    """The losses of a piece over the bands: truth and type as lines, figures by hand as dots, in a box 300 wide."""

    tag: str
    truth: str
    type: str
    dots: tuple[tuple[float, float], ...]
    bands: tuple[tuple[float, str], ...]
    ticks: tuple[tuple[float, str], ...]
    about: str
    bad: bool


WIDE, DEEP, LEFT, FOOT = 300.0, 150.0, 34.0, 22.0


def drawn(outcome: PracticeOutcome) -> tuple[DrawnPiece, ...]:
    """Return a drawing for each piece; frequency stands on a root axis, where a good line is nearly straight."""
    bad = {of for f in outcome.truth.faults if f.kind in OF_A_PIECE for of in f.of}
    return tuple(
        _drawn(p.tag, [f for f in outcome.figures if f.piece == p.tag], bad=p.tag in bad)
        for p in outcome.bench.sheet.pieces
    )


def _drawn(tag: str, figures: Sequence[FigureBeside], *, bad: bool) -> DrawnPiece:
    most = max([db for f in figures for db in (f.true_db, f.catalogue_db, *(h for _, h in f.by_hand))]) * 1.08
    right = max(f.frequency_hz for f in figures)

    def x(hertz: float) -> float:
        return round(LEFT + (WIDE - LEFT - 14.0) * sqrt(hertz / right), 1)

    def y(db: float) -> float:
        return round((DEEP - FOOT) * (1.0 - max(db, 0.0) / most), 1)

    step = next(s for s in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if most / s <= 5)
    ticks = tuple((y(k * step), plain(k * step, 0 if step >= 1 else 1)) for k in range(int(most / step) + 1))
    lost = [
        say("{frequency}: {loss} dB, should be {should}", frequency=frequency(f.frequency_hz), loss=plain(f.true_db, 2),
            should=plain(f.catalogue_db, 2))
        for f in figures
    ]  # fmt: skip
    return DrawnPiece(
        tag=tag,
        truth=" ".join(f"{x(f.frequency_hz)},{y(f.true_db)}" for f in figures),
        type=" ".join(f"{x(f.frequency_hz)},{y(f.catalogue_db)}" for f in figures),
        dots=tuple((x(f.frequency_hz), y(db)) for f in figures for _, db in f.by_hand),
        bands=tuple((x(f.frequency_hz), plain(f.frequency_hz / 1e6, 0)) for f in figures),
        ticks=ticks,
        about=say("Loss of {piece} in decibels over frequency. {lost}.", piece=tag, lost=together(lost, "; ")),
        bad=bad,
    )


HELP: Mapping[Said, tuple[tuple[str, str], ...]] = {
    "misread": (("/help/how-to/judge-the-instruments", say("Judge the instruments")),),
    "detector": (
        ("/help/what-the-figures-mean#which-meter-to-believe", say("Which meter to believe")),
        ("/help/how-to/judge-the-instruments", say("Judge the instruments")),
    ),
    "water": (("/help/how-the-bench-works", say("How the bench works")),),
    "resistive joint": (("/help/how-the-bench-works", say("How the bench works")),),
    "other type": (("/help/catalogue", say("The catalogue")),),
    "other length": (("/help/what-the-figures-mean#times-what-it-should-lose", say("Times what it should lose")),),
    "nothing": (("/help/what-the-figures-mean#a-loss-with-its-interval", say("A loss with its interval")),),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class OutcomeShown:
    """The end of a game, in words and drawings."""

    truth: str
    points: int
    most: int
    marked: tuple[tuple[str, str, str], ...]
    others: tuple[tuple[str, str, str, str], ...]
    odds: str
    used: str
    best: str
    lessons: tuple[str, ...]
    further: tuple[tuple[str, str], ...]
    drawings: tuple[DrawnPiece, ...]
    cautions: tuple[str, ...]


def outcome_shown(outcome: PracticeOutcome) -> OutcomeShown:
    """Return what the page of the truth shows."""
    kinds: Sequence[Said] = [f.kind for f in outcome.truth.faults] or ["nothing"]
    return OutcomeShown(
        truth=words.truth_words(outcome.truth, outcome.bench),
        points=outcome.score.points,
        most=outcome.most,
        marked=tuple(words.marked_rows(outcome.score, outcome.bench)),
        others=tuple(words.others_rows(outcome)),
        odds=words.odds_words(outcome),
        used=words.used_words(outcome.bench),
        best=words.best_words(outcome.best),
        lessons=words.lessons(outcome.truth),
        further=tuple(dict.fromkeys(place for kind in kinds for place in HELP[kind])),
        drawings=drawn(outcome),
        cautions=outcome.cautions,
    )


def is_right(claims: Sequence[Claim], faults: Sequence[HiddenFault]) -> bool:
    """Return whether claims are all that is wrong."""
    if not faults:
        return [c.kind for c in claims] == ["nothing"]
    return len(claims) == len(faults) and all(any(c.kind == f.kind and c.of in f.of for c in claims) for f in faults)


def spread_of(answers: Sequence[tuple[Claim, ...]]) -> list[tuple[tuple[Claim, ...], int, int]]:
    """Return how answers spread: each once in any order of its claims, how many gave it, how many of them surely."""
    counts: dict[tuple[tuple[Said, str], ...], list[tuple[Claim, ...]]] = {}
    for claims in answers:
        if claims:
            counts.setdefault(tuple(sorted((c.kind, c.of) for c in claims)), []).append(claims)
    rows = [
        (
            tuple(Claim(kind, of) for kind, of in said),
            len(some),
            sum(all(c.sureness == "sure" for c in one) for one in some),
        )
        for said, some in counts.items()
    ]
    return sorted(rows, key=lambda row: (-row[1], [c.kind for c in row[0]]))
