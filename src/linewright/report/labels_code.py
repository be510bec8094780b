"""The square code on a label: what it holds, and how it is drawn."""

from __future__ import annotations

import io
from dataclasses import dataclass
from urllib.parse import quote

from linewright.errors import CannotError, InputError

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
        cure = 'Write it as "http://shack.local:8000/shelf/piece/"; the tag goes behind it.'
        raise InputError("address", f"must begin with http:// or https://; got {address!r}", cure=cure)
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
        raise CannotError("A code needs the package segno, which is not installed.") from cause
    try:
        made = segno.make(content, error="m", micro=False, boost_error=False)
    except segno.DataOverflowError as cause:
        rule = f"is more than a code can hold: {len(content)} characters"
        raise InputError("address", rule, cure="Shorten the address.") from cause
    drawn = io.BytesIO()
    made.save(drawn, kind="svg", border=QUIET, xmldecl=False, light="#fff")
    return Code(content, drawn.getvalue().decode(), int(made.symbol_size(border=QUIET)[0]))
