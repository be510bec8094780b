"""Files as text, whatever editor or spreadsheet wrote them."""

from __future__ import annotations

from pathlib import Path

from linewright.errors import Culprit, InputError

MOST_BYTES = 200_000_000


def read_text(path: Path, argument: str) -> str:
    """Return a file's text: UTF-8, or the old Western encoding that spreadsheets still write.

    Raises
    ------
    InputError
        If the file is not there, cannot be read, is a folder or holds no text.
    """
    try:
        if path.is_file() and path.stat().st_size > MOST_BYTES:
            raise InputError(argument, "must be smaller than 200 MB", where=Culprit(str(path)))
        raw = path.read_bytes()
    except (OSError, ValueError) as cause:
        reason = cause.strerror if isinstance(cause, OSError) and cause.strerror else str(cause)
        raise InputError(
            argument, f"must name a file that can be read: {reason}", where=Culprit(str(path)), cure="Check the path."
        ) from cause
    return decoded(raw, argument, str(path))


def decoded(raw: bytes, argument: str, name: str) -> str:
    r"""Return bytes as text with plain line ends.

    >>> decoded("\ufeffé\r\n".encode(), "file", "x"), decoded("é".encode("cp1252"), "file", "x")
    ('é\n', 'é')
    """
    if b"\0" in raw:
        raise InputError(argument, "must be a text file; this one holds zero bytes", where=Culprit(name))
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")
    return text.replace("\r\n", "\n").replace("\r", "\n")
