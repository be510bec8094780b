"""What a wrong reading may be: the slips people make have shapes, and each leaves its own figure behind.

Every shape is a point mass beside a broad misreading. Its weight is how often it is made times how well the reading,
had it been made, fits what the rest of the bench expects. Codes and numbers only; words stand with the reasons.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import erfc, exp, isfinite, pi, sqrt

from linewright.core.frozen import dataclass
from linewright.core.nouns.bench_result import Cause
from linewright.inference.bench.chances import of_slip
from linewright.inference.bench.hypotheses import SHARED
from linewright.inference.bench.leave_one_out import Expected, ReadingDoubt
from linewright.inference.bench.observations import Block, Observation, level_db
from linewright.inference.bench.posterior import Posterior

USUAL: dict[Cause, float] = {
    "misread": 0.30, "range": 0.24, "decimal": 0.10, "digits swapped": 0.07, "rows swapped": 0.10, "copied": 0.08,
    "wrong piece": 0.05, "bad insertion": 0.15,
}  # fmt: skip
"""How often each is met beside the others (common practice, no source)."""
FACTORS = ((2.0, 0.4), (2.5, 0.15), (5.0, 0.15), (10.0, 0.3))
"""Factors between ranges of a scale, with their shares; either way."""
PLUG = 0.75
"""Where all readings of a path in a block are off, it is a plug so often; else they were read wrong alike (weighed
against made-up benches of known truth: so in 77 of 104 that were off, in one insertion or all)."""
MISREAD_DB, LOOSE_DB = 1.0, 2.5
"""Scale of a broad misreading (Student's t of three degrees) and mean of what a loose plug takes (exponential), dB."""
SAME_DB = 0.15
"""How well another path read before or after repeats on the same meter."""
BOTH = 3.0
"""Two neighbours both in doubt, each fitting where the other stands, count for more than one."""
CODES = 50.0
"""How many codes a scale has: a reading meets another's code by chance once in so many."""


@dataclass(frozen=True, slots=True)
class Slip:
    """The likeliest shape of a slip with its probability, what the reading should then have been, and other row."""

    cause: Cause
    p: float
    meant: float | None = None
    row: int | None = None


def _density(off_db: float, sd_db: float) -> float:
    return exp(-0.5 * (off_db / sd_db) ** 2) / (sd_db * sqrt(2.0 * pi)) if isfinite(off_db) else 0.0


def _broad(off_db: float, sd_db: float) -> float:
    """Return the density of a misreading of no shape: most are small, a few large."""
    scale = sqrt(MISREAD_DB**2 + sd_db**2)
    return 2.0 / (pi * sqrt(3.0) * scale) / (1.0 + (off_db / scale) ** 2 / 3.0) ** 2


def _loose(off_db: float, sd_db: float) -> float:
    """Return the density of what a loose plug does, which takes power and gives none, blurred by ``sd_db``."""
    whole = (off_db + 0.5 * sd_db**2 / LOOSE_DB) / LOOSE_DB
    return 0.5 * exp(whole) * erfc((off_db / sd_db + sd_db / LOOSE_DB) / sqrt(2.0)) / LOOSE_DB if whole < 50.0 else 0.0


def _swaps(code: float) -> Iterator[float]:
    """Give every reading that two neighbouring digits, exchanged, would have turned into this one."""
    text = f"{code:.6g}"
    for i in range(len(text) - 1):
        j = i + 2 if text[i + 1] == "." else i + 1
        if j < len(text) and text[i].isdigit() and text[j].isdigit() and text[i] != text[j]:
            yield float(f"{text[:i]}{text[j]}{text[i + 1 : j]}{text[i]}{text[j + 1 :]}")


@dataclass(frozen=True, slots=True)
class _At:
    """One doubted observation: where it stands and what was expected of it."""

    post: Posterior
    block: Block
    seen: Observation
    expected: Expected

    def fit(self, value: float) -> float:
        """Return how well a value would have fitted, as a density."""
        return _density(level_db(self.block.meter, value) - self.expected.level_db, self.expected.sd_db)


Shape = tuple[Cause, float, float | None, int | None]
"""A cause with its weight, what was meant, and the row it came from."""


def _shapes(at: _At, doubts: dict[int, ReadingDoubt]) -> Iterator[Shape]:
    off, sd = at.seen.level_db - at.expected.level_db, at.expected.sd_db
    yield "misread", USUAL["misread"] * _broad(off, sd), None, None
    yield "bad insertion", USUAL["bad insertion"] * _loose(off, sd), None, None
    yield from _figures(at)
    yield from _rows(at, doubts)
    yield from _pieces(at)


def _figures(at: _At) -> Iterator[Shape]:
    """Give what may have happened to the figure itself: another range, the decimal point, digits swapped."""
    code = at.seen.code
    if at.block.meter.scale in ("watts", "milliwatts", "volts"):
        for factor, share in FACTORS:
            for value in (code * factor, code / factor):
                yield "range", 0.5 * share * USUAL["range"] * at.fit(value), value, None
        for value in (code * 10.0, code / 10.0):
            yield "decimal", 0.5 * USUAL["decimal"] * at.fit(value), value, None
    swaps = list(_swaps(code))
    for value in swaps:
        yield "digits swapped", USUAL["digits swapped"] * at.fit(value) / len(swaps), value, None


def _rows(at: _At, doubts: dict[int, ReadingDoubt]) -> Iterator[Shape]:
    """Give what a neighbouring row of the same meter may have to do with it."""
    readings, row, code = at.post.lay.sheet.readings, at.seen.rows[0], at.seen.code
    off, sd = at.seen.level_db - at.expected.level_db, at.expected.sd_db
    for index in (row - 1, row + 1):
        if not 0 <= index < len(readings) or readings[index].meter != at.block.meter.name:
            continue
        other, theirs = readings[index], doubts.get(index)
        if other.reading != code and theirs is not None and theirs.p_wrong > 0.3:
            yield "rows swapped", BOTH * USUAL["rows swapped"] * at.fit(other.reading), other.reading, other.row
        if index == row - 1 and other.reading == code:
            yield "copied", CODES * USUAL["copied"] * _density(off, sqrt(3.0**2 + sd**2)), None, other.row


def _pieces(at: _At) -> Iterator[Shape]:
    """Give which other path of the block reads what this one does."""
    readings = at.post.lay.sheet.readings
    others = [o for o in at.block.observations if o.path != at.seen.path and not o.bottom]
    for o in others:
        fit = _density(at.seen.level_db - o.level_db, SAME_DB)
        yield "wrong piece", USUAL["wrong piece"] * fit / len(others), None, readings[o.rows[0]].row


def slip_of(
    post: Posterior,
    at: tuple[Block, Observation],
    expected: Expected,
    doubt: ReadingDoubt,
    doubts: dict[int, ReadingDoubt],
) -> Slip | None:
    """Name the likeliest slip of a doubted observation; ``doubts`` are those of all readings, by their index."""
    block, seen = at
    if seen.bottom or not expected.checked or doubt.p_wrong <= 0.0:
        return None
    if doubt.group is not None and doubt.p_insertion > 0.5 * doubt.p_wrong:
        kind = int(post.sites.kind[doubt.group])
        shared = kind == SHARED
        if shared:
            return Slip("all meters alike", of_slip("all meters alike", doubt.p_insertion))
        return Slip("bad insertion", doubt.p_insertion * PLUG)
    found: dict[Cause, list[tuple[float, float | None, int | None]]] = {}
    for cause, weight, meant, row in _shapes(_At(post, block, seen, expected), doubts):
        found.setdefault(cause, []).append((weight, meant, row))
    totals = {cause: sum(w for w, _, _ in some) for cause, some in found.items()}
    if not sum(totals.values()) > 0.0:
        return Slip("misread", of_slip("misread", doubt.p_wrong))
    cause = max(totals, key=lambda c: totals[c])
    _, meant, row = max(found[cause], key=lambda shape: shape[0])
    return Slip(cause, of_slip(cause, doubt.p_wrong * totals[cause] / sum(totals.values())), meant, row)
