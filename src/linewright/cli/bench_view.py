"""The terminal view of a bench result: verdict first, then the figures, then what to do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from linewright.cli.text import (
    Table,
    bold,
    clean,
    cut,
    groups,
    items,
    page,
    paragraph,
    room,
    section,
    width,
    workings_view,
    wrapped,
)
from linewright.core.formatting import (
    chance,
    frequencies,
    frequency,
    interval,
    metres,
    plain,
)
from linewright.core.messages import listed, mark, say, say_many, together
from linewright.core.nouns.bench_result import (
    BenchResult,
    LossFinding,
    MeterFinding,
    NextReading,
    PieceFinding,
    ReadingFinding,
)
from linewright.present.compose.bench_words import (
    ANSWER,
    DOUBT,
    LEADS,
    LOOK,
    alone_cells,
    beyond_note,
    expected_cell,
    loss_cells,
    path_cell,
    read_cell,
)

# Losses on a terminal: what is believed, what it rests on, and the bands nobody measured

GROUNDS = mark(
    "Each meter's plain ratio, dB, with its standard uncertainty; the result of all readings together without the "
    "catalogue; and how far the catalogue moves it to reach the loss above."
)
HANDS, COLUMNS, NAME = 3, 3, 24


def losses(result: BenchResult) -> list[str]:
    """Return what every piece loses on every band, beside what its type should lose."""
    heads = ("", say("loss (95 %)"), say("arrives"), say("should lose"), say("times that"))
    table = Table(heads, "rdrdd")
    for title, found in _by_piece(result):
        table.part(title)
        for x in found:
            table.add(*loss_cells(x))
    return [*table.lines(), *(items([beyond_note()]) if any(x.extrapolated for x in result.losses) else [])]


def grounds(result: BenchResult) -> list[str]:
    """Return what the losses rest on: by hand on each meter, and the readings without the catalogue."""
    meters = list(dict.fromkeys(hand.meter for x in result.losses for hand in x.by_hand))
    if not result.losses:
        return []
    lines = paragraph(say(GROUNDS))
    for some in list(groups(meters, HANDS)) or [[]]:
        table = Table(
            ("", *(cut(m, NAME - 6) for m in some), say("readings alone"), say("moved by catalogue")),
            "r" + "d" * len(some) + "dd",
        )
        for title, found in _by_piece(result):
            table.part(title)
            for x in found:
                table.add(frequency(x.frequency_hz), *(_hand(x, m) for m in some), *alone_cells(x))
        lines += ["", *table.lines()]
    return lines


def _hand(x: LossFinding, meter: str) -> str:
    mine = next((h for h in x.by_hand if h.meter == meter), None)
    return "" if mine is None else say("{loss} ± {u}", loss=plain(mine.loss_db, 2), u=plain(mine.loss_db_u, 2))


def _by_piece(result: BenchResult) -> Iterator[tuple[str, Sequence[LossFinding]]]:
    """Yield every piece that has losses, with its length where it is known."""
    titles = {p.piece: say("{piece}, {length}", piece=p.piece, length=metres(p.length_m)) for p in result.pieces}
    for tag in dict.fromkeys(x.piece for x in result.losses):
        yield titles.get(tag, tag), [x for x in result.losses if x.piece == tag]


def other_bands(result: BenchResult) -> list[str]:
    """Return the losses believed on bands nobody measured, a column a piece."""
    at = {(p.piece, p.frequency_hz): p for p in result.predictions}
    pieces, bands = list(dict.fromkeys(p for p, _ in at)), sorted({f for _, f in at})
    lines: list[str] = []
    for some in groups(pieces, COLUMNS):
        table = Table(("", *(cut(tag, NAME) for tag in some)), "r" + "d" * len(some))
        for f in bands:
            found = [at.get((tag, f)) for tag in some]
            table.add(frequency(f), *(interval(p.loss_db, p.loss_db_low, p.loss_db_high) if p else "" for p in found))
        lines += [*([""] if lines else []), *table.lines()]
    return lines


# Meters on a terminal: a grid of trust, and the reasons below it, each said once

BAND, METER_NAME_WIDTH = 11, 22
"""Cells a band takes, and at most a name."""
GRAVITY = (mark("none"), mark("doubtful"), mark("unknown"), mark("good"))


def trust(result: BenchResult) -> list[str]:
    """Return which meter to believe on which band, and why."""
    return [*_grid(result.meters), *_reasons(result.meters)]


def _grid(found: Sequence[MeterFinding]) -> list[str]:
    at = {(m.meter, m.frequency_hz): m.trust for m in found}
    meters, bands = list(dict.fromkeys(m for m, _ in at)), sorted({f for _, f in at})
    lines: list[str] = []
    names = min(METER_NAME_WIDTH, max((width(m) for m in meters), default=0))
    for some in groups(bands, (room() - 2 - names) // BAND):
        table = Table(("", *(frequency(f) for f in some)), "l" * (1 + len(some)))
        for meter in meters:
            table.add(cut(meter, METER_NAME_WIDTH), *(say(at[meter, f]) if (meter, f) in at else "" for f in some))
        lines += [*table.lines(), ""]
    return lines[:-1]


def _reasons(found: Sequence[MeterFinding]) -> list[str]:
    """Return every reason once, the gravest first, with the meters and bands it holds for."""
    order = sorted(found, key=lambda m: GRAVITY.index(m.trust))
    reasons = list(dict.fromkeys((m.trust, m.why) for m in order if m.why))
    said = [
        say("{meters}: {why}", meters=_holders([m for m in found if (m.trust, m.why) == r]), why=r[1]) for r in reasons
    ]
    return ["", *items(said)] if said else []


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


# Pieces on a terminal: the verdict in a sentence, and what each may still serve for


def verdicts(result: BenchResult) -> list[str]:
    """Return a verdict a piece, each a sentence with its reason."""
    return [line for piece in result.pieces for line in _verdict(piece)]


def _verdict(piece: PieceFinding) -> list[str]:
    lead = clean(say(LEADS[piece.verdict], piece=piece.piece))
    lines = wrapped(together([lead, piece.why]), rest="  ")
    if lines[0].startswith(lead):
        lines[0] = bold(lead) + lines[0][len(lead) :]
    return lines


def uses(result: BenchResult) -> list[str]:
    """Return what each piece may serve for, with the reason."""
    table = Table(("", "", ""), "llw")
    for piece in result.pieces:
        if piece.uses:
            table.part(piece.piece)
        for use in piece.uses:
            table.add(say(use.use), say(ANSWER[use.ok]), use.why)
    return table.lines()


# Readings on a terminal: which to doubt and why, and which nothing on the bench could check

MOST = 30
"""No person reads more of them than this."""
RUNS = 12


def doubted(result: BenchResult) -> list[str]:
    """Return the readings that are more likely wrong than right, and how many there was something to check by."""
    if not result.readings:
        return []
    lines = _listed([r for r in result.readings if r.p_wrong > DOUBT])
    calm = [] if lines or not any(r.checked for r in result.readings) else [say("No reading stands out from the rest.")]
    return [*lines, *items([*calm, _checked(result.readings)])]


def _checked(readings: Sequence[ReadingFinding]) -> str:
    done = sum(r.checked for r in readings)
    if not done:
        return say("Nothing could be checked: no reading has others to compare it with.")
    if done == len(readings):
        return say("All {count} readings could be checked against the rest of the bench.", count=done)
    return say(
        "{done} of {count} readings could be checked against the rest of the bench; the others are listed below.",
        done=done, count=len(readings),
    )  # fmt: skip


def second_look(result: BenchResult) -> list[str]:
    """Return the readings that may be wrong."""
    return _listed([r for r in result.readings if LOOK <= r.p_wrong <= DOUBT and r.checked])


def unchecked(result: BenchResult) -> list[str]:
    """Return how many readings nothing could check, and why; each reason once."""
    blind = [r for r in result.readings if not r.checked]
    reasons = dict.fromkeys(r.why for r in blind)
    return items(_rows([r.row for r in blind if r.why == why], why) for why in reasons)


def _listed(found: Sequence[ReadingFinding]) -> list[str]:
    """Return readings with their reasons; of very many the gravest, and how many there are."""
    gravest = sorted(found, key=lambda r: -r.p_wrong)[:MOST]
    lines = _table([r for r in found if r in gravest])
    left = len(found) - MOST
    more = [say("And {count} more, less doubtful; --json lists them all.", count=left)] if left > 0 else []
    return [*lines, *items(more)]


def _table(found: Sequence[ReadingFinding]) -> list[str]:
    table = Table(("", "", "", "", say("read"), say("expected (95 %)"), say("wrong")), "rlrlddr")
    for r in found:
        table.add(
            say("row {row}", row=r.row),
            r.meter,
            frequency(r.frequency_hz),
            path_cell(r),
            read_cell(r),
            expected_cell(r),
            chance(r.p_wrong),
        )
        table.under(r.why)
    return table.lines()


def _rows(rows: Sequence[int], why: str) -> str:
    """Say why rows could not be checked, runs of them short: "Rows 3 to 5 and 9: ..."."""
    runs: list[list[int]] = []
    for row in sorted(rows):
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    parts = [part for run in runs for part in _run(run)]
    if len(parts) > RUNS:
        parts = [*parts[:RUNS], say("{count} more runs of rows", count=len(parts) - RUNS)]
    return say_many("Row {rows}: {why}", "Rows {rows}: {why}", len(rows), rows=listed(parts), why=why)


def _run(run: Sequence[int]) -> list[str]:
    if len(run) > 2:
        return [say("{low} to {high}", low=run[0], high=run[-1])]
    return [str(row) for row in run]


# The terminal view of a bench result: verdict first, then the figures, then what to do


def bench_view(result: BenchResult, *, explain: bool = False) -> str:
    """Return a bench result for a terminal, no line wider than 100 columns."""
    return page([
        [bold(cut(result.title, room()))],
        verdicts(result),
        section(say("Losses"), losses(result)),
        section(say("By hand, and without the catalogue"), grounds(result)),
        section(say("Where the loss comes from"), _growth(result)),
        section(say("Uses"), uses(result)),
        section(say("Readings to doubt"), doubted(result)),
        section(say("Worth a second look"), second_look(result)),
        section(say("Readings that nothing could check"), unchecked(result)),
        section(say("Which meter to believe"), trust(result)),
        section(say("Bands not measured"), other_bands(result)),
        section(say("Measure next"), _next(result.next)),
        section(say("Remarks"), items(result.remarks)),
        section(say("Cautions"), items(result.cautions)),
        workings_view(result.workings) if explain else [],
    ])  # fmt: skip


def _growth(result: BenchResult) -> list[str]:
    """Say which part grew, of every piece that may lose more than it should."""
    worse = {p.piece for p in result.pieces if p.verdict != "good" and p.ratio is not None}
    return items([together([g.sentence, g.check]) for g in result.growth if g.piece in worse])


def _next(found: tuple[NextReading, ...]) -> list[str]:
    lines: list[str] = []
    for i, n in enumerate(found, start=1):
        first = f"  {i}. "
        lines += wrapped(together([n.action, n.why]), first=first, rest=" " * len(first))
    return lines
