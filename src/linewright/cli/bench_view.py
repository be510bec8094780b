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
from linewright.core.formatting import chance, frequencies, frequency, interval, metres, percent, plain, signed
from linewright.core.nouns.bench_result import (
    SCALE_UNIT,
    BenchResult,
    LossFinding,
    MeterFinding,
    NextReading,
    PieceFinding,
    ReadingFinding,
)

# Losses on a terminal: what is believed, what it rests on, and the bands nobody measured

BEYOND = "*"
GROUNDS = (
    "Each meter's plain ratio, dB, with its standard uncertainty; what all readings say together when no catalogue is"
    " listened to; and how far the catalogue moves that to the loss above."
)
HANDS, COLUMNS, NAME = 3, 3, 24
NOTHING = 25.0
"""An interval whose ends lie so many times apart says next to nothing."""


def losses(result: BenchResult) -> list[str]:
    """Return what every piece loses on every band, beside what its type should lose."""
    table = Table(("", "loss (95 %)", "arrives", "should lose", "times that"), "rdrdd")
    for title, found in _by_piece(result):
        table.part(title)
        for x in found:
            table.add(*_loss(x))
    note = f"{BEYOND} The type is known less well on this band than it usually is."
    return [*table.lines(), *(items([note]) if any(x.extrapolated for x in result.losses) else [])]


def _loss(x: LossFinding) -> tuple[str, ...]:
    new = "" if x.catalogue_db is None else f"{plain(x.catalogue_db, 2)} dB{BEYOND if x.extrapolated else ''}"
    times = "" if x.ratio is None or x.ratio_low is None or x.ratio_high is None else _times(x)
    believed = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return frequency(x.frequency_hz), believed, percent(x.delivered_fraction), new, times


def _times(x: LossFinding) -> str:
    return interval(x.ratio or 0.0, x.ratio_low or 0.0, x.ratio_high or 0.0, "")


def grounds(result: BenchResult) -> list[str]:
    """Return what the losses rest on: by hand on each meter, and the readings without the catalogue."""
    meters = list(dict.fromkeys(hand.meter for x in result.losses for hand in x.by_hand))
    if not result.losses:
        return []
    lines = paragraph(GROUNDS)
    for some in list(groups(meters, HANDS)) or [[]]:
        table = Table(
            ("", *(cut(m, NAME - 6) for m in some), "readings alone", "moved by catalogue"),
            "r" + "d" * len(some) + "dd",
        )
        for title, found in _by_piece(result):
            table.part(title)
            for x in found:
                table.add(frequency(x.frequency_hz), *(_hand(x, m) for m in some), _alone(x), _pull(x))
        lines += ["", *table.lines()]
    return lines


def _hand(x: LossFinding, meter: str) -> str:
    return next((f"{plain(h.loss_db, 2)} ± {plain(h.loss_db_u, 2)}" for h in x.by_hand if h.meter == meter), "")


def _alone(x: LossFinding) -> str:
    alone, low, high = x.without_catalogue_db, x.without_catalogue_db_low, x.without_catalogue_db_high
    if alone is None or low is None or high is None or high > NOTHING * low:
        return "cannot tell"
    return interval(alone, low, high)


def _pull(x: LossFinding) -> str:
    if x.catalogue_pull_db is None or _alone(x) == "cannot tell":
        return "rests on it"
    return f"{signed(x.catalogue_pull_db, 2)} dB"


def _by_piece(result: BenchResult) -> Iterator[tuple[str, Sequence[LossFinding]]]:
    """Yield every piece that has losses, with its length where it is known."""
    length = {p.piece: f", {metres(p.length_m)}" for p in result.pieces}
    for tag in dict.fromkeys(x.piece for x in result.losses):
        yield f"{tag}{length.get(tag, '')}", [x for x in result.losses if x.piece == tag]


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
GRAVITY = ("none", "doubtful", "unknown", "good")


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
            table.add(cut(meter, METER_NAME_WIDTH), *(at.get((meter, f), "") for f in some))
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


# Pieces on a terminal: the verdict in a sentence, and what each may still serve for

ANSWER = {True: "yes", False: "no", None: "cannot tell"}


def verdicts(result: BenchResult) -> list[str]:
    """Return a verdict a piece, each a sentence with its reason."""
    return [line for piece in result.pieces for line in _verdict(piece)]


def _verdict(piece: PieceFinding) -> list[str]:
    said = "cannot tell" if piece.verdict == "cannot tell" else f"is {piece.verdict}"
    joint = ": " if piece.verdict == "cannot tell" else " "
    lead = clean(f"{piece.piece}{joint}{said}.")
    lines = wrapped(f"{lead} {piece.why}", rest="  ")
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
            table.add(use.use, ANSWER[use.ok], use.why)
    return table.lines()


# Readings on a terminal: which to doubt and why, and which nothing on the bench could check

DOUBT, LOOK = 0.5, 0.2
"""From which chance of being wrong a reading is doubted, and from which it is worth a second look."""
MOST = 30
"""No person reads more of them than this."""
RUNS = 12


def doubted(result: BenchResult) -> list[str]:
    """Return the readings that are more likely wrong than right, and how many there was something to check by."""
    if not result.readings:
        return []
    lines = _listed([r for r in result.readings if r.p_wrong > DOUBT])
    calm = [] if lines or not any(r.checked for r in result.readings) else ["None stands out against the rest."]
    return [*lines, *items([*calm, _checked(result.readings)])]


def _checked(readings: Sequence[ReadingFinding]) -> str:
    done = sum(r.checked for r in readings)
    if not done:
        return "Nothing could be checked: no reading has others to be held against."
    if done == len(readings):
        return f"All {done} readings could be checked against the rest of the bench."
    return f"{done} of {len(readings)} readings could be checked against the rest of the bench; the others stand below."


def second_look(result: BenchResult) -> list[str]:
    """Return the readings that may be wrong."""
    return _listed([r for r in result.readings if LOOK <= r.p_wrong <= DOUBT and r.checked])


def unchecked(result: BenchResult) -> list[str]:
    """Return how many readings nothing could check, and why; each reason once."""
    blind = [r for r in result.readings if not r.checked]
    reasons = dict.fromkeys(r.why for r in blind)
    return items(f"{_rows([r.row for r in blind if r.why == why])}: {why}" for why in reasons)


def _listed(found: Sequence[ReadingFinding]) -> list[str]:
    """Return readings with their reasons; of very many the gravest, and how many there are."""
    gravest = sorted(found, key=lambda r: -r.p_wrong)[:MOST]
    lines = _table([r for r in found if r in gravest])
    more = [f"And {len(found) - MOST} more, less doubtful; --json lists them all."] if len(found) > MOST else []
    return [*lines, *items(more)]


def _table(found: Sequence[ReadingFinding]) -> list[str]:
    table = Table(("", "", "", "", "read", "expected (95 %)", "wrong"), "rlrlddr")
    for r in found:
        table.add(
            f"row {r.row}",
            r.meter,
            frequency(r.frequency_hz),
            r.path,
            f"{r.reading:g} {SCALE_UNIT[r.scale]}".strip(),
            _expected(r),
            chance(r.p_wrong),
        )
        table.under(r.why)
    return table.lines()


def _expected(r: ReadingFinding) -> str:
    if r.expected is None or r.expected_low is None or r.expected_high is None:
        return "cannot tell"
    return interval(r.expected, r.expected_low, r.expected_high, "")


def _rows(rows: Sequence[int]) -> str:
    """Name rows, runs of them short: "rows 3 to 5 and 9"."""
    runs: list[list[int]] = []
    for row in sorted(rows):
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    parts = [part for run in runs for part in _run(run)]
    if len(parts) > RUNS:
        parts = [*parts[:RUNS], f"{len(parts) - RUNS} more runs of rows"]
    named = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return f"{'Row' if len(rows) == 1 else 'Rows'} {named}"


def _run(run: Sequence[int]) -> list[str]:
    return [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(row) for row in run]


# The terminal view of a bench result: verdict first, then the figures, then what to do


def bench_view(result: BenchResult, *, explain: bool = False) -> str:
    """Return a bench result for a terminal, no line wider than 100 columns."""
    return page([
        [bold(cut(result.title, room()))],
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
