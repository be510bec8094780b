"""Results put into files: a newer one takes the place of an older one, and of nothing else.

Every file that is written where a person says ends with a few words that only this program puts there. They tell an
earlier result, which makes room, from a drawing, a photograph, a sheet or a ledger that happens to bear the name.
"""

from __future__ import annotations

import zlib
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.core.errors import CannotError, Culprit, InputError
from linewright.core.messages import say

if TYPE_CHECKING:
    from linewright.present.charts.theme import Spec

WORDS = b"made by linewright"
LONGEST = 200
"""Bytes at either end of a file within which its words stand."""
IEND = 12
"""Bytes of the chunk that ends a PNG: a length, a name, a sum (ISO/IEC 15948, 11.2.5)."""


def put_result(path: Path, content: bytes) -> Path:
    """Write a result where ``path`` says, and return the path.

    Parameters
    ----------
    path : Path
        The file; its ending says what ``content`` is: .pdf, .svg, .png, .html or .vl.json.
    content : bytes
        The result as it was made.

    Raises
    ------
    InputError
        If something stands there that is no earlier result.
    CannotError
        If it cannot be written; an earlier result stays whole then.
    """
    check_place(path)
    put_file(path, signed(content, path.name))
    return path


def put_chart(spec: Spec, path: Path) -> Path:
    """Draw a chart into a file, in the form that its ending asks for; raises as ``put_result`` and ``render`` do."""
    from linewright.present.charts.render import render

    return put_result(path, render(spec, path))


def check_chart_place(path: Path | None) -> None:
    """Refuse a place for a chart whose ending cannot be drawn, or where something else than an earlier result stands.

    Raises
    ------
    InputError
        If it is such a place; ``None`` is no place and passes.
    """
    from linewright.present.charts.render import ending_of

    if path is not None:
        ending_of(path)
        check_place(path)


def check_place(path: Path) -> None:
    """Refuse a place where something else than an earlier result stands, before anything is worked out.

    Raises
    ------
    InputError
        If there is such a file, or a folder.
    """
    if path.is_dir():
        raise InputError("output", "must be a file; there is a folder of that name", where=Culprit(str(path)))
    if path.exists() and not _is_signed(path):
        rule = "must be a new file or an earlier result; what stands there was not made by linewright"
        cure = "Name another file, or take that one away first."
        raise InputError("output", rule, where=Culprit(str(path)), cure=cure)


def put_file(path: Path, content: bytes) -> None:
    """Write a file whole or not at all: what stood there goes when the new one is complete.

    Raises
    ------
    CannotError
        If it cannot be written.
    """
    there = path.resolve()
    part = there.with_name(f"{there.name[:LONGEST]}.part")
    try:
        part.write_bytes(content)
        part.replace(there)
    except OSError as cause:
        part.unlink(missing_ok=True)
        raise CannotError(say("Cannot write {path}: {why}.", path=path, why=cause.strerror or cause)) from cause


def signed(content: bytes, name: str) -> bytes:
    r"""Return a result with the words that tell it from any other file, where its form has room for such.

    >>> signed(b"<svg/>", "loss.svg")
    b'<svg/>\n<!-- made by linewright -->\n'
    """
    ending = Path(name).suffix.lower()
    if ending in (".svg", ".html"):
        return content + b"\n<!-- " + WORDS + b" -->\n"
    if ending == ".pdf":
        return content + b"\n%" + WORDS + b"\n"
    if ending == ".png":
        return content[:-IEND] + _note() + content[-IEND:]
    if ending == ".json":
        return content.replace(b"{", b'{\n "usermeta": {"origin": "' + WORDS + b'"},', 1)
    raise ValueError(f"no form of a result: {name}")


def _note() -> bytes:
    """Return the chunk of a PNG that says which program made it (ISO/IEC 15948, 11.3.4.3)."""
    body = b"tEXtSoftware\0" + WORDS
    return (len(body) - 4).to_bytes(4, "big") + body + zlib.crc32(body).to_bytes(4, "big")


def _is_signed(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            head = file.read(LONGEST)
            file.seek(max(0, path.stat().st_size - LONGEST))
            return WORDS in head + file.read()
    except OSError as cause:
        raise CannotError(say("Cannot read {path}: {why}.", path=path, why=cause.strerror or cause)) from cause
