"""Two independent readers of a PDF: one for what it says of itself and its words, one for where its words stand."""

from __future__ import annotations

import io
import re
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache, partial

import pypdf
import pypdfium2

POINTS_PER_MM = 72 / 25.4
UNSEEN = dict.fromkeys(map(ord, "\u200b\u2068\u2069\ufeff\ufffe\x02"))
"""Breaks and isolates: they lead no eye."""


@dataclass(frozen=True)
class Box:
    """Words on a page, to be read when asked for, and where they stand, points from the lower left."""

    page: int
    left: float
    bottom: float
    right: float
    top: float
    read: Callable[[], str]


@lru_cache(maxsize=64)
def page_texts(content: bytes) -> tuple[str, ...]:
    """Return the words of each page of a PDF."""
    return tuple(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages)


def said(content: bytes) -> str:
    """Return all words of a PDF without any space, for readers part words as they like."""
    return bare("".join(page_texts(content)))


def said_across(content: bytes, head: str) -> str:
    """Return the same without what heads and ends each page, for words may run over to the next."""
    pages = [bare(text) for text in page_texts(content)]
    feet = [f"linewrightpage{i}of{len(pages)}" for i in range(1, len(pages) + 1)]
    return "".join(page.removeprefix(bare(head)).replace(foot, "") for page, foot in zip(pages, feet, strict=True))


@lru_cache(maxsize=64)
def said_by_the_other(content: bytes) -> str:
    """Return the same by the other reader."""
    document = pypdfium2.PdfDocument(content)
    return bare("".join(page.get_textpage().get_text_range() for page in document))


def bare(text: str) -> str:
    """Return a text without spaces and unseen signs."""
    return re.sub(r"\s+", "", unicodedata.normalize("NFKC", text.translate(UNSEEN)))


def boxes(content: bytes) -> Iterator[Box]:
    """Yield every run of words with its place."""
    document = pypdfium2.PdfDocument(content)
    for number, page in enumerate(document):
        text = page.get_textpage()
        for i in range(text.count_rects()):
            rect = text.get_rect(i)
            yield Box(number, *rect, partial(text.get_text_bounded, *rect))


def fonts(content: bytes) -> dict[str, bool]:
    """Return every font by name, and whether its program is inside."""
    found: dict[str, bool] = {}
    for page in pypdf.PdfReader(io.BytesIO(content)).pages:
        for font in page["/Resources"].get("/Font", {}).values():
            whole = font.get_object()
            inner = whole["/DescendantFonts"][0].get_object() if "/DescendantFonts" in whole else whole
            described = inner["/FontDescriptor"].get_object()
            found[str(whole["/BaseFont"])] = any(f"/FontFile{n}" in described for n in ("", "2", "3"))
    return found
