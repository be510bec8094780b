"""Labels to tie on cables: nouns to words, words to a tagged PDF, an SVG or a PNG."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from linewright.errors import InputError
from linewright.model.label import Label
from linewright.model.shelf import BandLoss
from linewright.report.label_sheets import LabelSheet
from linewright.report.labels_code import LEAST_MODULE_MM, Code, code_of, content_of
from linewright.report.labels_placed import Pages, in_own_size, on_sheets
from linewright.report.literal import apart, foreign, printable, visible
from linewright.report.paper import set_pages
from linewright.units.manner import ENGLISH, Manner
from linewright.units.said import mark, say, say_many, together, written
from linewright.units.writing import frequency, interval, metres, plain

TEMPLATE = "label.typ"
OWN_SIZE_MM = (70.0, 37.0)
CODE_SHARE, CODE_MM = 0.4, 22.0
"""A code takes at most this share of a label's width, and at most so much."""
NO_BREAK = "\N{NO-BREAK SPACE}"
Picture = Literal["svg", "png"]
Shown = Callable[[str], str]
TITLE = mark("Labels for feed lines")


@dataclass(frozen=True, slots=True)
class Wanted:
    """How labels are wanted: on sheets (else each in its own size), from which place, folded, with a code, worded."""

    sheet: LabelSheet | None = None
    size_mm: tuple[float, float] = OWN_SIZE_MM
    first: int = 1
    wrap: bool = False
    code: bool = False
    address: str | None = None
    manner: Manner = ENGLISH


PLAIN = Wanted()
"""Each label in its own size, without a code, in English."""


def label_pages(labels: Sequence[Label], wanted: Wanted = PLAIN) -> bytes:
    """Return labels as a tagged PDF.

    Raises
    ------
    InputError
        If there is no label, or they cannot stand as wanted.
    """
    return set_pages(TEMPLATE, _data(labels, wanted))


def label_picture(label: Label, wanted: Wanted = PLAIN, kind: Picture = "svg") -> bytes:
    """Return one label as a picture of its own size, ``kind`` "svg" or "png".

    Raises
    ------
    InputError
        If it cannot stand as wanted, or is wanted on a sheet.
    """
    if wanted.sheet is not None:
        raise InputError("sheet", "goes with a PDF only", cure="Name a file that ends in .pdf.")
    return set_pages(TEMPLATE, _data([label], wanted), kind)


def code_remarks(labels: Sequence[Label], wanted: Wanted) -> tuple[str, ...]:
    """Return what should be said of the codes: that one is too fine for a phone to read."""
    if not wanted.code or not labels:
        return ()
    codes = [code_of(content_of(label.tag, wanted.address)) for label in labels]
    pages = _placed(labels, wanted)
    sides = {i: _code_mm(box[2], box[3]) for page in pages.boxes for i, box in page}
    fine = [label.tag for i, (label, c) in enumerate(zip(labels, codes, strict=True))
            if sides[i] / c.modules < LEAST_MODULE_MM]  # fmt: skip
    if not fine:
        return ()
    said = say_many(
        "The code of {tag} is fine: a phone may fail to read it. Take a larger label or a shorter address.",
        "{count} codes, that of {tag} among them, are fine: a phone may fail to read them. Take a larger label or a"
        " shorter address.",
        len(fine),
        tag=fine[0],
    )
    return (said,)


def _placed(labels: Sequence[Label], wanted: Wanted) -> Pages:
    if not labels:
        raise InputError("labels", "must be one at least; the shelf is empty",
                         cure="Keep a piece first: linewright shelf add, or linewright shelf file.")  # fmt: skip
    around = [label.diameter_m for label in labels]
    if wanted.sheet is None:
        return in_own_size(wanted.size_mm, around, wrap=wanted.wrap)
    return on_sheets(wanted.sheet, around, first=wanted.first, wrap=wanted.wrap)


def _code_mm(width_mm: float, height_mm: float) -> float:
    return min(height_mm, CODE_SHARE * width_mm, CODE_MM)


def _data(labels: Sequence[Label], wanted: Wanted) -> dict[str, Any]:
    names = foreign([visible(name) for label in labels for name in (label.tag, label.line or "")])

    def shown(text: str) -> str:
        return printable(apart(visible(written(text, wanted.manner)), names))

    codes = [code_of(content_of(label.tag, wanted.address)) if wanted.code else None for label in labels]
    return {
        "title": shown(say(TITLE)),
        "language": wanted.manner.language,
        "code": {"share": CODE_SHARE, "most": CODE_MM},
        **_placed(labels, wanted).data(),
        "labels": [_words(label, code, shown) for label, code in zip(labels, codes, strict=True)],
    }


def _words(label: Label, code: Code | None, shown: Shown) -> dict[str, Any]:
    lead, bracket, reach = shown(standing_words(label)).partition("(")
    alt = say("A code that holds: {content}", content=code.content) if code else ""
    return {
        "tag": shown(label.tag),
        "about": shown(about_words(label)),
        "standing": lead + _unbroken(bracket + reach),
        "bands": [_band(x, shown) for x in label.losses],
        "choices": [[[*kept], shown(more)] for kept, more in band_choices(len(label.losses))],
        "tested": shown(tested_words(label)),
        "code": code.svg if code else None,
        "alt": shown(alt),
    }


def _band(x: BandLoss, shown: Shown) -> tuple[str, str, str]:
    """Return a band, its loss and its interval, each of which stays on one line."""
    loss, bracket, reach = shown(interval(x.loss_db, x.loss_db_low, x.loss_db_high)).partition("(")
    return _unbroken(shown(frequency(x.frequency_hz))), _unbroken(loss), _unbroken(bracket + reach)


def _unbroken(text: str) -> str:
    return text.strip().replace(" ", NO_BREAK)


def about_words(label: Label) -> str:
    """Return type and length."""
    return together([label.line or say("unknown type"), metres(label.length_m)], ", ")


def standing_words(label: Label) -> str:
    """Return the verdict with the multiple of the type's loss, short enough for a label."""
    if label.ratio is None or label.ratio_low is None or label.ratio_high is None:
        if label.standing != "not measured":
            return say("measured; its type is not known")
        return say("not measured: as a new one") if label.losses else say("not measured; its type is not known")
    times = {"ratio": plain(label.ratio, 2), "low": plain(label.ratio_low, 2), "high": plain(label.ratio_high, 2)}
    if label.standing == "not measured":
        return say("not measured; its stock: {ratio} times new ({low} to {high})", **times)
    return say("{standing}: {ratio} times new ({low} to {high})", standing=say(label.standing), **times)


def tested_words(label: Label) -> str:
    """Return when it was tested and when to test it again."""
    if label.tested_on is None:
        return say("never tested")
    if label.retest_on is None:
        return say("tested {day}", day=label.tested_on)
    return say("tested {day}, again by {due}", day=label.tested_on, due=label.retest_on)


def band_choices(count: int) -> list[tuple[tuple[int, ...], str]]:
    """Return which bands to show where there is room for fewer and fewer, and what to say of the rest.

    The lowest and the highest stay longest, the others are spread evenly.

    >>> band_choices(3)
    [((0, 1, 2), ''), ((0, 2), 'and 1 more band'), ((2,), 'and 2 more bands'), ((), '')]
    """
    found: list[tuple[tuple[int, ...], str]] = []
    for kept in range(count, 0, -1):
        picked = tuple(round(i * (count - 1) / (kept - 1)) for i in range(kept)) if kept > 1 else (count - 1,)
        left = count - kept
        found.append((picked, say_many("and {count} more band", "and {count} more bands", left) if left else ""))
    return [*found, ((), "")]
