"""What a bench's figures are called: the cells and words that terminal, pages and paper have in common."""

from __future__ import annotations

from linewright.core.formatting import digits, frequency, interval, percent, plain, quantity, signed
from linewright.core.messages import mark, say, together
from linewright.core.nouns.bench import REFERENCE
from linewright.core.nouns.bench_result import (
    SCALE_UNIT,
    BenchResult,
    ByHand,
    LossFinding,
    MeterFinding,
    PieceFinding,
    ReadingFinding,
    UseFinding,
)

DOUBT, LOOK = 0.5, 0.2
"""From which chance of being wrong a reading is doubted, and from which it is worth a second look."""
NOTHING = 25.0
"""An interval whose ends lie so many times apart says next to nothing."""
BEYOND = "*"
SCRAP = "scrap"
"""Told the other way round: whether a piece will still do for anything."""
ANSWER = {True: mark("yes"), False: mark("no"), None: mark("cannot tell")}
"""Whether a piece may serve for a use."""
LEADS = {
    "good": mark("{piece} is good."),
    "worn": mark("{piece} is worn."),
    "bad": mark("{piece} is bad."),
    "cannot tell": mark("{piece}: cannot tell."),
}
"""How the sentence of a verdict begins."""


def loss_cells(x: LossFinding) -> tuple[str, str, str, str, str]:
    """Return a band, what is lost there, what arrives, what the type should lose, and how many times that it is."""
    new = "" if x.catalogue_db is None else quantity(plain(x.catalogue_db, 2), "dB")
    new = together([new, BEYOND], "") if x.extrapolated and new else new
    believed = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return frequency(x.frequency_hz), believed, percent(x.delivered_fraction), new, times_cell(x)


def times_cell(x: LossFinding) -> str:
    """Return how many times what its type should lose a piece loses on a band; nothing where the type is not known."""
    if x.ratio is None or x.ratio_low is None or x.ratio_high is None:
        return ""
    return interval(x.ratio, x.ratio_low, x.ratio_high, "")


def beyond_note() -> str:
    """Return what the mark beside a type's loss means."""
    return say("{sign} The type is known less well on this band than it usually is.", sign=BEYOND)


def alone_cells(x: LossFinding) -> tuple[str, str]:
    """Return what the readings say alone, and how far the catalogue moves that."""
    alone, low, high = x.without_catalogue_db, x.without_catalogue_db_low, x.without_catalogue_db_high
    if alone is None or low is None or high is None or high > NOTHING * low:
        return say("cannot tell"), say("rests on it")
    pull = say("rests on it") if x.catalogue_pull_db is None else quantity(signed(x.catalogue_pull_db, 2), "dB")
    return interval(alone, low, high), pull


def hand_cell(x: ByHand) -> str:
    """Return what one meter's plain ratio says, in dB, with its standard uncertainty."""
    return say("{loss} ± {u}", loss=plain(x.loss_db, 2), u=plain(x.loss_db_u, 2))


def growth_of(result: BenchResult, p: PieceFinding) -> str:
    """Return which part of a piece's loss grew; nothing where it may lose no more than it should."""
    if p.verdict == "good" or p.ratio is None:
        return ""
    return next((together([g.sentence, g.check]) for g in result.growth if g.piece == p.piece), "")


def read_cell(r: ReadingFinding) -> str:
    """Return a reading in the unit of its scale."""
    return together([digits(r.reading), SCALE_UNIT[r.scale]])


def path_cell(r: ReadingFinding) -> str:
    """Return what a reading was taken through."""
    return say(REFERENCE) if r.path == REFERENCE else r.path


def expected_cell(r: ReadingFinding) -> str:
    """Return what the rest of the bench expects of a reading."""
    if r.expected is None or r.expected_low is None or r.expected_high is None:
        return say("cannot tell")
    return interval(r.expected, r.expected_low, r.expected_high, "")


def exponent_cell(m: MeterFinding) -> str:
    """Return a meter's exponent on a band; empty where it is unknown."""
    if m.exponent is None or m.exponent_low is None or m.exponent_high is None:
        return ""
    return interval(m.exponent, m.exponent_low, m.exponent_high, "")


def use_name(use: str) -> str:
    """Return what a use is called where it is answered with yes or no."""
    return say("anything at all") if use == SCRAP else say(use)


def use_answer(u: UseFinding) -> str:
    """Return whether a piece may serve for a use: "yes", "no" or "cannot tell"."""
    return say(ANSWER[not u.ok if u.use == SCRAP and u.ok is not None else u.ok])
