"""The numbers of a Touchstone file, read by scikit-rf."""

from __future__ import annotations

import io

import numpy as np

from linewright.formats.touchstone_header import Header
from linewright.formats.touchstone_rows import Rows, first_strange
from linewright.model.sweep import Complexes, Floats


def numbers_of(rows: Rows, header: Header) -> tuple[Floats, Complexes]:
    """Return frequencies in hertz, shape (f,), and the pairs of each point as complex numbers, shape (f, n, n).

    The guard hands scikit-rf 2.2 a plain file of version 2 without comments or noise data, and the pairs as real and
    imaginary parts, so that what it misreads of legal files is kept from it. It knows the option line in one order
    only. It multiplies Z, Y, H and G of version 1 by the reference alike, which is right for Z alone. Its way from H
    and G to S needs Z, which a through does not have. It takes noise data that begin at the last frequency for network
    data, and information blocks for numbers. It does not compare the count of frequencies, and waits forever for a
    reference that is missing at the end of the file.

    Raises
    ------
    InputError
        If a word is no number.
    """
    from skrf.io.touchstone import Touchstone

    told = header.told
    order = told.order if rows.ports == 2 and header.version_2 else "21_12"
    plain = (
        f"[Version] 2.0\n# {header.option.unit} S RI R 50\n[Number of Ports] {rows.ports}\n"
        f"[Two-Port Data Order] {order}\n[Matrix Format] {told.matrix}\n[Network Data]\n{rows.text}"
    )
    # Bytes take a quarter of the memory of a text buffer.
    buffer = io.TextIOWrapper(_Named(plain.encode("ascii")), encoding="ascii")
    try:
        with np.errstate(all="ignore"):  # what overflows is found by the checks
            read = Touchstone(buffer)
    except ValueError as cause:
        i, word = first_strange(rows.text.split("\n"))
        raise header.problem(i + header.data.start, "row", f"must hold numbers only; got {word!r}") from cause
    return read.f, read.s


class _Named(io.BytesIO):
    """Bytes with a name, whose ending tells scikit-rf that a header follows."""

    name = "sweep.ts"
