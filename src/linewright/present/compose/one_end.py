"""What a test with one end in hand says, as a document: the losses, each method, the law, and every reading."""

from __future__ import annotations

from collections.abc import Iterator

from linewright.core.formatting import (
    capitalized,
    chance,
    digits,
    frequency,
    interval,
    metres,
    percent,
    places_for,
    plain,
    quantity,
)
from linewright.core.messages import mark, say, together
from linewright.core.nouns.one_end import MethodLoss, OneEndCheck, OneEndLaw, OneEndLoss, OneEndResult
from linewright.present.compose.provenance import worked
from linewright.present.document import (
    Cautions,
    Column,
    Document,
    Facts,
    Paragraph,
    Row,
    Table,
    points,
    section,
    sections,
    table,
)


def one_end_document(result: OneEndResult) -> Document:
    """Return what a test with one end in hand says."""
    length = "" if result.length_m is None else metres(result.length_m)
    line = together([result.tag, result.line or "", length], ", ")
    return Document("one-end", say("{line}: one end in hand", line=line), sections=sections(
        section("", Paragraph(verdict(result))),
        section(say("Loss, one way"), losses(result)),
        section(say("Each method by itself"), _methods(result.losses)),
        section(say("The law of the whole line"), _law(result.law)),
        section(say("Readings"), readings(result)),
        section(say("Remarks"), points(result.remarks)),
        section(say("Cautions"), Cautions(result.cautions)),
        worked(result.workings),
    ))  # fmt: skip


def verdict(result: OneEndResult) -> str:
    """Return the verdict and its reason; where nothing says what the line should lose, its loss is the answer."""
    if result.ratio is None:
        return result.why
    return say("{verdict}: {why}", verdict=capitalized(say(result.verdict)), why=result.why)


def losses(result: OneEndResult) -> Table:
    """Return the loss at each frequency, and what its type should lose where that is known."""
    known = any(x.catalogue_db is not None for x in result.losses)
    columns = (
        Column("", "right"), Column(say("loss (95 %)"), "figure"), Column(say("by hand"), "figure"),
        Column(say("arrives"), "right"),
    )  # fmt: skip
    against = (Column(say("should lose"), "figure"), Column(say("times that"), "figure"))
    rows = ((*_loss(x), *(_against(x) if known else ())) for x in result.losses)
    return table((*columns, *against) if known else columns, rows)


def _loss(x: OneEndLoss) -> tuple[str, str, str, str]:
    whole = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return frequency(x.frequency_hz), whole, _db(x.by_hand_db), percent(x.delivered_fraction)


def _db(loss_db: float | None) -> str:
    return "" if loss_db is None else quantity(plain(loss_db, 2), "dB")


def _against(x: OneEndLoss) -> tuple[str, str]:
    if x.catalogue_db is None or x.ratio is None or x.ratio_low is None or x.ratio_high is None:
        return "", ""
    return _db(x.catalogue_db), interval(x.ratio, x.ratio_low, x.ratio_high, "")


def _methods(found: tuple[OneEndLoss, ...]) -> Table:
    columns = (
        Column("", "right"), Column(""), Column(say("by itself (95 %)"), "figure"), Column(say("by hand"), "figure")
    )  # fmt: skip
    several = any(len(x.methods) > 1 for x in found)
    return table(columns, (
        (frequency(x.frequency_hz), say(m.method), _method(m), _db(m.by_hand_db))
        for x in found if several for m in x.methods
    ))  # fmt: skip


def _method(m: MethodLoss) -> str:
    if m.loss_db is not None and m.loss_db_low is not None and m.loss_db_high is not None:
        return interval(m.loss_db, m.loss_db_low, m.loss_db_high)
    if m.loss_db_high is not None:
        return say("{loss} at most", loss=quantity(plain(m.loss_db_high, 1), "dB"))
    if m.loss_db_low is None:
        return say("cannot tell")
    return say("{loss} at least", loss=quantity(plain(m.loss_db_low, 1), "dB"))


def _law(law: OneEndLaw | None) -> Facts:
    if law is None:
        return Facts(())
    k1 = (digits(k, 3) for k in (law.k1_db, law.k1_db_low, law.k1_db_high))
    k2 = (digits(k, 2) for k in (law.k2_db, law.k2_db_low, law.k2_db_high))
    return Facts(((say("√f part, at 1 MHz"), _reach(*k1)), (say("f part, at 1 MHz"), _reach(*k2))))


def _reach(value: str, low: str, high: str) -> str:
    return say("{value} dB ({low} to {high})", value=value, low=low, high=high)


def readings(result: OneEndResult) -> Table:
    """Return every reading, what the rest lets one expect of it, and how probably it is wrong."""
    columns = (
        Column("", "right"), Column(say("far end")), Column(say("frequency"), "right"), Column(""),
        Column(say("read"), "figure"), Column(say("expected (95 %)"), "figure"), Column(say("wrong"), "right"),
    )  # fmt: skip
    return table(columns, _readings(result.readings))


def _readings(found: tuple[OneEndCheck, ...]) -> Iterator[Row]:
    for c in found:
        wrong = chance(c.p_wrong) if c.checked else say("not checked")
        cells = (
            say("row {row}", row=c.row), say(c.far_end), frequency(c.frequency_hz), say(NAME[c.quantity]), _read(c),
            _expected(c), wrong,
        )  # fmt: skip
        yield Row(cells, "doubt", c.why) if c.p_wrong > DOUBT else Row(cells)


UNIT = {"swr": "", "return_loss_db": "dB", "resistance_ohm": "Ω"}
NAME = {"swr": mark("SWR"), "return_loss_db": mark("return loss"), "resistance_ohm": mark("resistance")}
DOUBT = 0.8
"""From which chance of being misread a reading is doubted aloud."""


def _read(c: OneEndCheck) -> str:
    """Return what was read, with its unit: "over 20"."""
    value = _with_unit(digits(c.value), c)
    if c.bound == "is":
        return value
    return say("over {value}", value=value) if c.bound == "above" else say("under {value}", value=value)


def _expected(c: OneEndCheck) -> str:
    """Return what the rest lets one expect of a reading, with its interval."""
    if c.expected is None or c.expected_low is None or c.expected_high is None:
        return say("cannot tell")
    if float("inf") in (c.expected_low, c.expected, c.expected_high):
        return say("over {value}", value=_with_unit(plain(c.expected_low, 1), c))
    places = min(places_for(c.expected_low, c.expected_high), 2)
    low, high = plain(c.expected_low, places), plain(c.expected_high, places)
    value = _with_unit(plain(c.expected, places), c)
    return say("{value} ({low} to {high})", value=value, low=low, high=high)


def _with_unit(number: str, c: OneEndCheck) -> str:
    return quantity(number, UNIT[c.quantity]) if UNIT[c.quantity] else number
