"""Losses on a terminal: what is believed, what it rests on, and the bands nobody measured."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from linewright.cli.cells import cut
from linewright.cli.layout import groups, items, paragraph
from linewright.cli.table import Table
from linewright.model.result import BenchResult, LossFinding
from linewright.units.writing import frequency, interval, metres, percent, plain, signed

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
    note = f"{BEYOND} The type has no published figure on this side of the band; its law is carried on."
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
