"""The numbers of a Touchstone file, read by scikit-rf."""

from __future__ import annotations

import io
import warnings

import numpy as np

from linewright.formats.touchstone_header import Header
from linewright.formats.touchstone_rows import Rows, first_strange
from linewright.model.sweep import Complexes, Floats

HZ_PER = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}


def numbers_of(rows: Rows, header: Header) -> tuple[Floats, Complexes]:
    """Return frequencies in hertz, shape (f,), and the pairs of each point as complex numbers, shape (f, n, n).

    Whole matrices in plain numbers are read at once, as scikit-rf reads them (a test holds the two to each other); the
    rest goes through it, and so does whatever is no number, for its words. The guard hands scikit-rf 2.2 a plain file
    of version 2 without comments or noise data, and the pairs as real and imaginary parts, so that what it misreads of
    legal files is kept from it. It knows the option line in one order only. It multiplies Z, Y, H and G of version 1 by
    the reference alike, which is right for Z alone. Its way from H and G to S needs Z, which a through does not have.
    It takes noise data that begin at the last frequency for network data, and information blocks for numbers. It does
    not compare the count of frequencies, and waits forever for a reference that is missing at the end of the file.

    Raises
    ------
    InputError
        If a word is no number.
    """
    told = header.told
    order = told.order if rows.ports == 2 and header.version_2 else "21_12"
    quick = _at_once(rows, header.option.unit, order) if told.matrix.lower() == "full" else None
    if quick is not None:
        return quick
    plain = (
        f"[Version] 2.0\n# {header.option.unit} S RI R 50\n[Number of Ports] {rows.ports}\n"
        f"[Two-Port Data Order] {order}\n[Matrix Format] {told.matrix}\n[Network Data]\n{rows.text}"
    )
    from skrf.io.touchstone import Touchstone

    # Bytes take a quarter of the memory of a text buffer.
    buffer = io.TextIOWrapper(_Named(plain.encode("ascii")), encoding="ascii")
    try:
        with np.errstate(all="ignore"):  # what overflows is found by the checks
            read = Touchstone(buffer)
    except ValueError as cause:
        i, word = first_strange(rows.text.split("\n"))
        raise header.problem(i + header.data.start, "row", f"must hold numbers only; got {word!r}") from cause
    return read.f, read.s


def _at_once(rows: Rows, unit: str, order: str) -> tuple[Floats, Complexes] | None:
    """Return the numbers of whole matrices; None where a word is no plain number or the count is not right."""
    n = rows.ports
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DeprecationWarning)  # what follows a strange word would be left out
            found = np.fromstring(rows.text, sep=" ")
    except (DeprecationWarning, ValueError):
        return None
    if found.size != len(rows.row) * (1 + 2 * n * n) or not found.size:
        return None
    table = found.reshape(len(rows.row), 1 + 2 * n * n)
    s = np.ascontiguousarray(table[:, 1:]).view(np.complex128).reshape(-1, n, n)
    if n == 2 and order == "21_12":
        s = s.transpose(0, 2, 1).copy()
    return table[:, 0] * HZ_PER[unit.lower()], s


class _Named(io.BytesIO):
    """Bytes with a name, whose ending tells scikit-rf that a header follows."""

    name = "sweep.ts"
