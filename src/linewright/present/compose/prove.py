"""What a bench answers: the verdict on each piece first, then the figures, then what to do."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import chain
from typing import TypeVar

from linewright.core.formatting import chance, frequencies, frequency, interval, metres
from linewright.core.messages import listed, mark, say, say_many, together
from linewright.core.nouns.bench_result import (
    BenchResult,
    LossFinding,
    MeterFinding,
    PieceFinding,
    ReadingFinding,
    UseFinding,
)
from linewright.present.compose.bench_words import (
    DOUBT,
    LEADS,
    LOOK,
    SCRAP,
    alone_cells,
    beyond_note,
    expected_cell,
    growth_of,
    hand_cell,
    loss_cells,
    path_cell,
    read_cell,
    use_answer,
    use_name,
)
from linewright.present.compose.provenance import worked
from linewright.present.document import (
    Block,
    Cautions,
    Column,
    Document,
    Mark,
    Paragraph,
    Part,
    Row,
    Table,
    Verdict,
    points,
    section,
    sections,
    table,
)

X = TypeVar("X")

MARKS: dict[str, Mark] = {"good": "good", "worn": "doubt", "bad": "over", "cannot tell": "unknown"}
FITS: dict[bool | None, Mark] = {True: "good", False: "over", None: "unknown"}
GRAVITY = (mark("none"), mark("doubtful"), mark("unknown"), mark("good"))
ABREAST, BANDS_ABREAST = 3, 6
"""Meters or pieces, and bands, that stand side by side in a table."""
MOST = 30
"""No person reads more readings than this."""
RUNS = 12


def bench_document(result: BenchResult) -> Document:
    """Return what a bench answers."""
    doubted = [r for r in result.readings if r.p_wrong > DOUBT]
    second = [r for r in result.readings if LOOK <= r.p_wrong <= DOUBT and r.checked]
    return Document("bench", result.title, sections=sections(
        section("", *map(verdict, result.pieces)),
        section(say("Losses"), losses(result)),
        section(say("By hand, and without the catalogue"), *grounds(result)),
        section(say("Where the loss comes from"), points(growth(result))),
        section(say("Uses"), uses(result)),
        section(say("Readings to doubt"), readings(_gravest(doubted)), points([*_more(doubted), *_checked(result)])),
        section(say("Worth a second look"), readings(_gravest(second)), points(_more(second))),
        section(say("Readings that nothing could check"), points(unchecked(result))),
        section(say("Which meter to believe"), *_trust(result.meters), points(_reasons(result.meters))),
        section(say("Bands not measured"), *other_bands(result)),
        section(say("Measure next"), points(next_steps(result))),
        section(say("Remarks"), points(result.remarks)),
        section(say("Cautions"), Cautions(result.cautions)),
        worked(result.workings),
    ))  # fmt: skip


def verdict(p: PieceFinding) -> Verdict:
    """Return what was found of a piece, with the reason."""
    return Verdict(say(LEADS[p.verdict], piece=p.piece), p.why, MARKS[p.verdict])


def growth(result: BenchResult) -> list[str]:
    """Return which part grew, of every piece that may lose more than it should."""
    return [told for p in result.pieces if (told := growth_of(result, p))]


def next_steps(result: BenchResult) -> list[str]:
    """Return what to measure next, numbered."""
    return [together([f"{i}.", n.action, n.why]) for i, n in enumerate(result.next, start=1)]


# Losses: what is believed, what it rests on, and the bands nobody measured


def _by_piece(result: BenchResult, row: Callable[[LossFinding], Row]) -> tuple[Part, ...]:
    """Return a part for every piece that has losses, with its length where it is known."""
    titles = {p.piece: say("{piece}, {length}", piece=p.piece, length=metres(p.length_m)) for p in result.pieces}
    return parts_by(result.losses, lambda x: titles.get(x.piece, x.piece), row)


def parts_by(rows: Iterable[X], title: Callable[[X], str], row: Callable[[X], Row]) -> tuple[Part, ...]:
    """Return rows gathered under titles, in the order they first stand."""
    found: dict[str, list[Row]] = {}
    for x in rows:
        found.setdefault(title(x), []).append(row(x))
    return tuple(Part(name, tuple(some)) for name, some in found.items())


def losses(result: BenchResult) -> Table:
    """Return what every piece loses on every band, beside what its type should lose."""
    columns = (
        Column("", "right"), Column(say("loss (95 %)"), "figure"), Column(say("arrives"), "right"),
        Column(say("should lose"), "figure"), Column(say("times that"), "figure"),
    )  # fmt: skip
    notes = (beyond_note(),) if any(x.extrapolated for x in result.losses) else ()
    return Table(say("Loss of each piece"), columns, _by_piece(result, lambda x: Row(loss_cells(x))), notes)


def grounds(result: BenchResult) -> Iterator[Block]:
    """Yield what the losses rest on: by hand on each meter, and the readings without the catalogue."""
    if not result.losses:
        return
    meters = list(dict.fromkeys(hand.meter for x in result.losses for hand in x.by_hand))
    groups = [meters[i : i + ABREAST] for i in range(0, len(meters), ABREAST)] or [[]]
    yield Paragraph(
        say("Each meter's plain ratio, dB, with its standard uncertainty; the result of all readings together without"
            " the catalogue; and how far the catalogue moves it to reach the loss above.")
    )  # fmt: skip
    for some in groups:
        columns = (
            Column("", "right"), *(Column(m, "figure") for m in some), Column(say("readings alone"), "figure"),
            Column(say("moved by catalogue"), "figure"),
        )  # fmt: skip
        rows = _by_piece(result, lambda x, some=some: Row((  # type: ignore[misc]
            frequency(x.frequency_hz), *(_hand(x, m) for m in some), *alone_cells(x))))  # fmt: skip
        yield Table(say("Grounds of each loss"), columns, rows)


def _hand(x: LossFinding, meter: str) -> str:
    mine = next((h for h in x.by_hand if h.meter == meter), None)
    return "" if mine is None else hand_cell(mine)


def other_bands(result: BenchResult) -> Iterator[Table]:
    """Yield the losses believed on bands nobody measured, a column a piece."""
    at = {(p.piece, p.frequency_hz): p for p in result.predictions}
    pieces, bands = list(dict.fromkeys(p for p, _ in at)), sorted({f for _, f in at})
    for i in range(0, len(pieces), ABREAST):
        some = pieces[i : i + ABREAST]
        columns = (Column("", "right"), *(Column(tag, "figure") for tag in some))
        found = ((f, [at.get((tag, f)) for tag in some]) for f in bands)
        yield table(columns, (
            (frequency(f), *(interval(p.loss_db, p.loss_db_low, p.loss_db_high) if p else "" for p in row))
            for f, row in found
        ))  # fmt: skip


def uses(result: BenchResult) -> Table:
    """Return what each piece may serve for, with the reason."""
    columns = (Column(""), Column(""), Column("", "wide"))
    parts = tuple(Part(p.piece, tuple(map(_use, p.uses))) for p in result.pieces if p.uses)
    return Table(say("Uses of each piece"), columns, parts)


def _use(u: UseFinding) -> Row:
    sign = ("over" if u.ok else "") if u.use == SCRAP else FITS[u.ok]
    return Row((use_name(u.use), use_answer(u), u.why), sign)


# Readings: which to doubt and why, and which nothing on the bench could check


def readings(found: Iterable[ReadingFinding], caption: str = "") -> Table:
    """Return readings beside what the rest of the bench expects of them; the reason under a doubted one."""
    columns = (
        Column("", "right"), Column(""), Column("", "right"), Column(""), Column(say("read"), "figure"),
        Column(say("expected (95 %)"), "figure"), Column(say("wrong"), "right"), Column(say("judged"), spare=True),
    )  # fmt: skip
    return Table(caption, columns, (Part("", tuple(map(_reading, found))),))


def _reading(r: ReadingFinding) -> Row:
    said, sign = judged(r)
    cells = (r.meter, frequency(r.frequency_hz), path_cell(r), read_cell(r), expected_cell(r))
    wrong = chance(r.p_wrong) if r.checked or r.p_wrong > DOUBT else ""
    why = r.why if sign in ("doubt", "over") else ""
    return Row((say("row {row}", row=r.row), *cells, wrong, said), sign, why)


def judged(r: ReadingFinding) -> tuple[str, Mark]:
    """Return what is said of a reading, and how it is marked."""
    if r.p_wrong > DOUBT:
        return say("doubted"), "over"
    if not r.checked:
        return say("not checked"), "unknown"
    return (say("look again"), "doubt") if r.p_wrong >= LOOK else ("", "")


def _gravest(found: Sequence[ReadingFinding]) -> list[ReadingFinding]:
    gravest = sorted(found, key=lambda r: -r.p_wrong)[:MOST]
    return [r for r in found if r in gravest]


def _more(found: Sequence[ReadingFinding]) -> Iterator[str]:
    if len(found) > MOST:
        yield say("And {count} more, less doubtful; --json lists them all.", count=len(found) - MOST)


def _checked(result: BenchResult) -> Iterator[str]:
    """Yield whether none is doubted, and how many there was something to check by."""
    found = result.readings
    done = sum(r.checked for r in found)
    if done and not any(r.p_wrong > DOUBT for r in found):
        yield say("No reading stands out from the rest.")
    if not found:
        return
    if not done:
        yield say("Nothing could be checked: no reading has others to compare it with.")
    elif done == len(found):
        yield say("All {count} readings could be checked against the rest of the bench.", count=done)
    else:
        yield say(
            "{done} of {count} readings could be checked against the rest of the bench; the others are listed below.",
            done=done, count=len(found),
        )  # fmt: skip


def unchecked(result: BenchResult) -> Iterator[str]:
    """Yield why readings could not be checked, each reason once with its rows, runs of them short."""
    blind = [r for r in result.readings if not r.checked]
    for why in dict.fromkeys(r.why for r in blind):
        rows = sorted(r.row for r in blind if r.why == why)
        said = listed(_runs(rows))
        yield say_many("Row {rows}: {why}", "Rows {rows}: {why}", len(rows), rows=said, why=why)


def _runs(rows: Sequence[int]) -> list[str]:
    """Return rows as "3 to 5" and "9", so many at most."""
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    parts = list(chain.from_iterable(
        [say("{low} to {high}", low=run[0], high=run[-1])] if len(run) > 2 else map(str, run) for run in runs
    ))  # fmt: skip
    if len(parts) > RUNS:
        return [*parts[:RUNS], say("{count} more runs of rows", count=len(parts) - RUNS)]
    return parts


# Meters: a grid of trust, and the reasons below it, each said once


def _trust(found: Sequence[MeterFinding]) -> Iterator[Table]:
    at = {(m.meter, m.frequency_hz): m.trust for m in found}
    meters, bands = list(dict.fromkeys(m for m, _ in at)), sorted({f for _, f in at})
    for i in range(0, len(bands), BANDS_ABREAST):
        some = bands[i : i + BANDS_ABREAST]
        yield table((Column(""), *(Column(frequency(f)) for f in some)), (
            (meter, *(say(at[meter, f]) if (meter, f) in at else "" for f in some)) for meter in meters
        ))  # fmt: skip


def _reasons(found: Sequence[MeterFinding]) -> Iterator[str]:
    """Yield every reason once, the gravest first, with the meters and bands it holds for."""
    order = sorted(found, key=lambda m: GRAVITY.index(m.trust))
    for reason in dict.fromkeys((m.trust, m.why) for m in order if m.why):
        holders = _holders([m for m in found if (m.trust, m.why) == reason])
        yield say("{meters}: {why}", meters=holders, why=reason[1])


def _holders(found: Sequence[MeterFinding]) -> str:
    """Name meters and bands: "desk meter at 14.2, 28.5 MHz; card meter at 144.3 MHz"."""
    bands: dict[str, list[float]] = {}
    for m in found:
        bands.setdefault(m.meter, []).append(m.frequency_hz)
    alike: dict[str, list[str]] = {}
    for meter, some in bands.items():
        alike.setdefault(frequencies(some), []).append(meter)
    return together(
        (say("{meters} at {bands}", meters=", ".join(meters), bands=some) for some, meters in alike.items()), "; "
    )
