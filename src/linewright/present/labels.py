"""Cable labels: nouns to words, words to a tagged PDF, an SVG or a PNG."""

from __future__ import annotations

import io
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Literal
from urllib.parse import quote

from linewright.core.errors import CannotError, InputError, UnknownNameError
from linewright.core.formatting import frequency, interval, metres, plain
from linewright.core.frozen import dataclass
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say, say_many, together, written
from linewright.core.nouns.paper import Label
from linewright.core.nouns.shelf import BelievedLoss
from linewright.present.localize import apart, foreign, printable, visible
from linewright.present.writers.paper import set_pages

# The square code on a label: what it holds, and how it is drawn

QUIET = 4
"""Empty modules around the code (ISO/IEC 18004:2015, 6.3.8)."""
LEAST_MODULE_MM = 0.33
"""A phone reads modules of this size at a hand's breadth (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Code:
    """A code as the text of an SVG; ``modules`` counts a side with its quiet zone."""

    content: str
    svg: str
    modules: int


def content_of(tag: str, address: str | None) -> str:
    """Return what a code holds: the tag, or an address with the tag behind it.

    Raises
    ------
    InputError
        If the address is none of the web.

    >>> content_of("blue 7", None), content_of("blue 7", "http://shack.local/shelf/piece/")
    ('blue 7', 'http://shack.local/shelf/piece/blue%207')
    """
    if address is None:
        return tag
    if not address.startswith(("http://", "https://")) or not address.isprintable() or " " in address:
        cure = say('Write it as "http://shack.local:8000/shelf/piece/"; the tag goes behind it.')
        raise InputError(
            "address", say("must begin with http:// or https://; got {value}", value=repr(address)), cure=cure
        )
    return address + quote(tag, safe="")


def code_of(content: str) -> Code:
    """Return a code of error correction level M (ISO/IEC 18004), drawn in black on white.

    Raises
    ------
    InputError
        If there is more than a code can hold.
    CannotError
        If the package that makes codes is missing.
    """
    try:
        import segno
    except ImportError as cause:
        raise CannotError(say("A code needs the package segno, which is not installed.")) from cause
    try:
        made = segno.make(content, error="m", micro=False, boost_error=False)
    except segno.DataOverflowError as cause:
        rule = say("is more than a code can hold: {count} characters", count=len(content))
        raise InputError("address", rule, cure=say("Shorten the address.")) from cause
    drawn = io.BytesIO()
    made.save(drawn, kind="svg", border=QUIET, xmldecl=False, light="#fff")
    return Code(content, drawn.getvalue().decode(), int(made.symbol_size(border=QUIET)[0]))


# Sheets of labels as shops sell them, by measure: how many, how large, how far apart (common practice, no source)

INCH_MM = 25.4
PAPER_MM = {"a4": (210.0, 297.0), "letter": (8.5 * INCH_MM, 11.0 * INCH_MM)}
"""Width and height (ISO 216; ANSI/ASME Y14.1)."""
LEAST_MM, MOST_MM = (24.0, 15.0), (300.0, 200.0)


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """A sheet of equal labels, centred on its paper. All measures in millimetres; gaps lie between labels."""

    name: str
    paper: str
    columns: int
    rows: int
    width_mm: float
    height_mm: float
    gap_mm: float = 0.0

    @property
    def page_mm(self) -> tuple[float, float]:
        """Width and height of the paper."""
        return PAPER_MM[self.paper]

    @property
    def margin_mm(self) -> tuple[float, float]:
        """What is left of the first column and above the first row."""
        width, height = self.page_mm
        across = self.columns * self.width_mm + (self.columns - 1) * self.gap_mm
        return (width - across) / 2.0, (height - self.rows * self.height_mm) / 2.0

    @property
    def count(self) -> int:
        """Labels on a sheet."""
        return self.columns * self.rows

    def places_mm(self) -> Iterator[tuple[float, float]]:
        """Yield the upper left corner of each label, row by row.

        >>> [tuple(round(x, 2) for x in at) for at in LABEL_SHEETS["a4 2x7 99.1x38.1"].places_mm()][:3]
        [(4.65, 15.15), (106.25, 15.15), (4.65, 53.25)]
        """
        left, top = self.margin_mm
        for row in range(self.rows):
            for column in range(self.columns):
                yield left + column * (self.width_mm + self.gap_mm), top + row * self.height_mm


def _inches(name: str, columns: int, rows: int, size: tuple[float, float], gap: float) -> LabelSheet:
    width, height = size
    return LabelSheet(name, "letter", columns, rows, width * INCH_MM, height * INCH_MM, gap * INCH_MM)


LABEL_SHEETS: Mapping[str, LabelSheet] = {
    sheet.name: sheet
    for sheet in (
        LabelSheet("a4 3x8 70x37", "a4", 3, 8, 70.0, 37.0),
        LabelSheet("a4 2x8 105x37", "a4", 2, 8, 105.0, 37.0),
        LabelSheet("a4 3x7 63.5x38.1", "a4", 3, 7, 63.5, 38.1, 2.54),
        LabelSheet("a4 2x7 99.1x38.1", "a4", 2, 7, 99.1, 38.1, 2.5),
        LabelSheet("a4 2x4 99.1x67.7", "a4", 2, 4, 99.1, 67.7, 2.5),
        _inches("letter 3x10 2.625x1in", 3, 10, (2.625, 1.0), 0.125),
        _inches("letter 2x10 4x1in", 2, 10, (4.0, 1.0), 0.1875),
        _inches("letter 2x7 4x1.333in", 2, 7, (4.0, 4.0 / 3.0), 0.1875),
        _inches("letter 2x5 4x2in", 2, 5, (4.0, 2.0), 0.1875),
    )
}


@dataclass(frozen=True, slots=True)
class LabelSheets:
    """The sheets of labels that can be named."""

    sheets: tuple[LabelSheet, ...] = tuple(LABEL_SHEETS.values())

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/label-sheets/1``."""
        return {"schema": "linewright/label-sheets/1", "sheets": [asdict(sheet) for sheet in self.sheets]}


def label_sheet(name: str) -> LabelSheet:
    """Return the sheet of labels of this name.

    Raises
    ------
    UnknownNameError
        If there is none; the message lists those there are.
    """
    found = LABEL_SHEETS.get(" ".join(name.lower().split()))
    if found is None:
        known = "; ".join(LABEL_SHEETS)
        raise UnknownNameError(
            "sheet",
            say("must be one of {known}; got {value}", known=known, value=repr(name)),
            cure=say("Name it by its measure."),
        )
    return found


def label_size(text: str) -> tuple[float, float]:
    """Return the width and height, in millimetres, of a label of its own: "70x37mm", "2.625x1in".

    Raises
    ------
    InputError
        If it cannot be read, or is too small to write on or too large.

    >>> label_size("70 x 37 mm"), label_size("4x1in")
    ((70.0, 37.0), (101.6, 25.4))
    """
    found = re.fullmatch(r"\s*([\d.]+)\s*x\s*([\d.]+)\s*(mm|in)\s*", text.lower())
    if not found or any(part.count(".") > 1 or part == "." for part in found.groups()[:2]):
        raise InputError(
            "size",
            say("must be width x height with its unit; got {value}", value=repr(text)),
            cure=say('Write it as "70x37mm".'),
        )
    unit = INCH_MM if found[3] == "in" else 1.0
    size = float(found[1]) * unit, float(found[2]) * unit
    if not all(least <= side <= most for side, least, most in zip(size, LEAST_MM, MOST_MM, strict=True)):
        room = f"{LEAST_MM[0]:g} x {LEAST_MM[1]:g} mm and {MOST_MM[0]:g} x {MOST_MM[1]:g} mm"
        raise InputError("size", say("must lie between {room}; got {value}", room=room, value=repr(text)))
    return size


# Where labels stand on their pages: the boxes their words are set in, and the marks to fold at

PAD_MM = 2.5
EDGE_MM = 5.0
"""A printer leaves so much of the paper's edge white (common practice, no source)."""
OWN_PAD_MM = 2.0
THICK_MM = 10.3
"""The diameter a label is folded round where the cable's is not known: thick coax (common practice, no source)."""
LEAST_HALF_MM = 15.0
MARK_MM = 2.0

Box = tuple[float, float, float, float]
"""Left, top, width and height, in millimetres."""


@dataclass(frozen=True, slots=True)
class Pages:
    """Pages of one size; each holds the boxes of its labels, by the label's place in the row, and marks to fold at."""

    width_mm: float
    height_mm: float
    boxes: tuple[tuple[tuple[int, Box], ...], ...]
    marks: tuple[tuple[Box, ...], ...]

    def data(self) -> dict[str, Any]:
        """Return plain data for the template."""
        pages = zip(self.boxes, self.marks, strict=True)
        return {
            "width": self.width_mm,
            "height": self.height_mm,
            "pages": [{"boxes": [[i, *box] for i, box in boxes], "marks": marks} for boxes, marks in pages],
        }


def on_sheets(sheet: LabelSheet, diameters_m: Sequence[float | None], *, first: int, wrap: bool) -> Pages:
    """Return labels on sheets, the first one at the ``first`` place of a part-used sheet (1 is the upper left).

    Parameters
    ----------
    sheet : LabelSheet
        How the labels lie.
    diameters_m : sequence of float or None
        One a label: the diameter of its cable, for ``wrap``.
    first : int
        Where the first label stands.
    wrap : bool
        Whether a label is folded round its cable: both halves hold the same words.

    Raises
    ------
    InputError
        If ``first`` is not on the sheet, or a half of a folded label has no room for words.
    """
    if not 1 <= first <= sheet.count:
        rule = say(
            "must lie from 1 to {count}, the labels on a sheet of {name}; got {value}",
            count=sheet.count,
            name=sheet.name,
            value=first,
        )
        raise InputError("first", rule)
    width, height = sheet.page_mm
    places = list(sheet.places_mm())
    laid: list[list[tuple[int, Box, Box]]] = []
    for i in range(len(diameters_m)):
        page, place = divmod(first - 1 + i, sheet.count)
        while len(laid) <= page:
            laid.append([])
        label = (*places[place], sheet.width_mm, sheet.height_mm)
        laid[page].append((i, label, _inside(label, (width, height))))
    return _pages((width, height), laid, diameters_m, wrap=wrap)


def in_own_size(size_mm: tuple[float, float], diameters_m: Sequence[float | None], *, wrap: bool) -> Pages:
    """Return labels each on a page of its own size.

    Raises
    ------
    InputError
        If a half of a folded label has no room for words.
    """
    width, height = size_mm
    inside = (OWN_PAD_MM, OWN_PAD_MM, width - 2 * OWN_PAD_MM, height - 2 * OWN_PAD_MM)
    laid = [[(i, (0.0, 0.0, width, height), inside)] for i in range(len(diameters_m))]
    return _pages(size_mm, laid, diameters_m, wrap=wrap)


def _inside(label: Box, page_mm: tuple[float, float]) -> Box:
    """Return where the words of a label may stand: clear of its own edge, and further from the paper's."""
    left, top, width, height = label
    page_width, page_height = page_mm
    x, y = max(left + PAD_MM, EDGE_MM), max(top + PAD_MM, EDGE_MM)
    right = min(left + width - PAD_MM, page_width - EDGE_MM)
    bottom = min(top + height - PAD_MM, page_height - EDGE_MM)
    return x, y, right - x, bottom - y


def _pages(
    page_mm: tuple[float, float],
    laid: Sequence[Sequence[tuple[int, Box, Box]]],
    diameters_m: Sequence[float | None],
    *,
    wrap: bool,
) -> Pages:
    if not wrap:
        return Pages(*page_mm, tuple(tuple((i, inside) for i, _, inside in page) for page in laid), ((),) * len(laid))
    boxes = tuple(tuple((i, b) for i, label, box in page for b in _halves(label, box, diameters_m[i])) for page in laid)
    return Pages(*page_mm, boxes, tuple(tuple(m for _, label, _ in page for m in _fold(label)) for page in laid))


def _halves(label: Box, inside: Box, diameter_m: float | None) -> Iterator[Box]:
    """Yield the two boxes of a folded label; between them lies what goes round the cable."""
    around = math.pi * (THICK_MM if diameter_m is None else 1e3 * diameter_m)
    middle = label[0] + label[2] / 2.0
    x, y, width, height = inside
    left, right = middle - around / 2.0 - x, x + width - middle - around / 2.0
    if min(left, right) < LEAST_HALF_MM:
        rule = say(
            "leaves {left} mm a side beside the {around} mm that go round the cable",
            left=format(min(left, right), ".0f"),
            around=format(around, ".0f"),
        )
        raise InputError(
            "wrap",
            rule,
            cure=say(
                "Take a wider label: each side needs {least_half_mm} mm.", least_half_mm=format(LEAST_HALF_MM, "g")
            ),
        )
    yield x, y, left, height
    yield middle + around / 2.0, y, right, height


def _fold(label: Box) -> Iterator[Box]:
    """Yield a short mark at the upper and the lower edge, where the label is folded."""
    left, top, width, height = label
    middle = left + width / 2.0
    yield middle, top, 0.0, MARK_MM
    yield middle, top + height - MARK_MM, 0.0, MARK_MM


# Cable labels: nouns to words, words to a tagged PDF, an SVG or a PNG

TEMPLATE = "label.typ"
OWN_SIZE_MM = (70.0, 37.0)
CODE_SHARE, CODE_MM = 0.4, 22.0
"""A code takes at most this share of a label's width, and at most so much."""
NO_BREAK = "\N{NO-BREAK SPACE}"
Picture = Literal["svg", "png"]
Shown = Callable[[str], str]
TITLE = mark("Labels for feed lines")


@dataclass(frozen=True, slots=True)
class WantedLabels:
    """How labels are wanted: on sheets (else each in its own size), from which place, folded, with a code, worded."""

    sheet: LabelSheet | None = None
    size_mm: tuple[float, float] = OWN_SIZE_MM
    first: int = 1
    wrap: bool = False
    code: bool = False
    address: str | None = None
    manner: Manner = ENGLISH


PLAIN = WantedLabels()
"""Each label in its own size, without a code, in English."""


def label_pages(labels: Sequence[Label], wanted: WantedLabels = PLAIN) -> bytes:
    """Return labels as a tagged PDF.

    Parameters
    ----------
    labels : sequence of Label
        What ``label_pieces`` returned in ``labels``.
    wanted : WantedLabels
        Sheet, size in millimetres, first place, code.

    Returns
    -------
    bytes
        A tagged PDF.

    Raises
    ------
    InputError
        If there is no label, or they cannot stand as wanted.

    >>> from linewright.verbs.examples import example_ledger
    >>> from linewright.verbs.label import label_pieces
    >>> with example_ledger() as ledger:
    ...     label_pages(label_pieces(ledger, ["blue 7"]).labels)[:4]
    b'%PDF'
    """
    return set_pages(TEMPLATE, _data(labels, wanted))


def label_picture(label: Label, wanted: WantedLabels = PLAIN, kind: Picture = "svg") -> bytes:
    """Return one label as a picture of its own size, ``kind`` "svg" or "png".

    Parameters
    ----------
    label : Label
        One of those that ``label_pieces`` returned.
    wanted : WantedLabels
        Size in millimetres, code, language.
    kind : str
        "svg" or "png".

    Returns
    -------
    bytes
        The picture.

    Raises
    ------
    InputError
        If it cannot stand as wanted, or is wanted on a sheet.

    >>> from linewright.verbs.examples import example_ledger
    >>> from linewright.verbs.label import label_pieces
    >>> with example_ledger() as ledger:
    ...     label_picture(label_pieces(ledger, ["blue 7"]).labels[0])[:4]
    b'<svg'
    """
    if wanted.sheet is not None:
        raise InputError("sheet", say("goes with a PDF only"), cure=say("Name a file that ends in .pdf."))
    return set_pages(TEMPLATE, _data([label], wanted), kind)


def code_remarks(labels: Sequence[Label], wanted: WantedLabels) -> tuple[str, ...]:
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


def _placed(labels: Sequence[Label], wanted: WantedLabels) -> Pages:
    if not labels:
        raise InputError("labels", say("must be one at least; the shelf is empty"),
                         cure=say("Keep a piece first: linewright shelf add, or linewright shelf file."))  # fmt: skip
    around = [label.diameter_m for label in labels]
    if wanted.sheet is None:
        return in_own_size(wanted.size_mm, around, wrap=wanted.wrap)
    return on_sheets(wanted.sheet, around, first=wanted.first, wrap=wanted.wrap)


def _code_mm(width_mm: float, height_mm: float) -> float:
    return min(height_mm, CODE_SHARE * width_mm, CODE_MM)


def _data(labels: Sequence[Label], wanted: WantedLabels) -> dict[str, Any]:
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


def _band(x: BelievedLoss, shown: Shown) -> tuple[str, str, str]:
    """Return a band, its loss and its interval, each of which stays on one line."""
    loss, bracket, reach = shown(interval(x.loss_db, x.loss_db_low, x.loss_db_high)).partition("(")
    return _unbroken(shown(frequency(x.frequency_hz))), _unbroken(loss), _unbroken(bracket + reach)


def _unbroken(text: str) -> str:
    return text.strip().replace(" ", NO_BREAK)


def about_words(label: Label) -> str:
    """Return type and length, where it is known."""
    return together([label.line or say("unknown type"), *([metres(label.length_m)] if label.length_m else [])], ", ")


def standing_words(label: Label) -> str:
    """Return the verdict with the multiple of the type's loss, short enough for a label; of a cut, what to cut."""
    if label.order:
        return label.order
    if label.ratio is None or label.ratio_low is None or label.ratio_high is None:
        if label.standing != "not measured":
            return say("measured; its type is not known")
        return say("not measured: as a new one") if label.losses else say("not measured; its type is not known")
    times = {"ratio": plain(label.ratio, 2), "low": plain(label.ratio_low, 2), "high": plain(label.ratio_high, 2)}
    if label.standing == "not measured":
        return say("not measured; its stock: {ratio} times new ({low} to {high})", **times)
    return say("{standing}: {ratio} times new ({low} to {high})", standing=say(label.standing), **times)


def tested_words(label: Label) -> str:
    """Return when it was tested and when to test it again; of a cut, what it is for."""
    if label.purpose:
        return label.purpose
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
