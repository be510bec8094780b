"""Touchstone files: sweeps of an analyser in and out.

The numbers are read by scikit-rf. A guard of our own stands in front of it, since a file from the field breaks the
standard in ways that library reads without a word (a missing option line, a wrong unit) or stumbles over.
"""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.errors import Culprit, InputError
from linewright.formats.texts import decoded, read_text

if TYPE_CHECKING:
    from linewright.formats.touchstone_header import Header
    from linewright.formats.touchstone_rows import Rows
    from linewright.model.sweep import Complexes, Floats, Sweep

MOST_LINES = 2_000_000
LONGEST_LINE = 200_000


def read_touchstone(path: str | Path, *, option_line: str | None = None) -> Sweep:
    """Read a Touchstone file of version 1 or 2.

    Parameters
    ----------
    path : str or Path
        The file. An ending such as ``.s2p`` tells its ports.
    option_line : str, optional
        What the numbers are, such as ``# GHz S RI R 50``: used in place of the file's own option line.

    Returns
    -------
    Sweep
        Scattering parameters against rising frequency, referred to what the file says; ``remarks`` tell of flaws.

    Raises
    ------
    InputError
        With file, row, rule and cure, if the file cannot be read or what it holds cannot be meant.
    """
    path = Path(path)
    return read_touchstone_text(read_text(path, "touchstone file"), str(path), option_line=option_line)


def read_touchstone_text(
    text: str | bytes, name: str, *, ports: int | None = None, option_line: str | None = None
) -> Sweep:
    r"""Read the content of a Touchstone file; ``ports`` is told by the name's ending if it is not given.

    Raises
    ------
    InputError
        As ``read_touchstone`` does.

    >>> sweep = read_touchstone_text("# MHz S MA R 50\n2.000 0.894 -12.136", "spec.s1p")
    >>> sweep.frequency_hz.tolist(), complex(sweep.reflection[0].round(6))
    ([2000000.0], (0.87402-0.187948j))
    """
    from linewright.formats.touchstone_checks import checked
    from linewright.formats.touchstone_header import HeaderReader
    from linewright.formats.touchstone_rows import rows_of

    lines = _lines(text, name)
    header = HeaderReader(lines, name, option_line).read()
    rows = rows_of(lines, header, name, ports if ports is not None else _ports_of(name))
    frequency_hz, values = _parsed(rows, header, name)
    return checked(frequency_hz, values, rows, header, name)


def _lines(text: str | bytes, name: str) -> list[str]:
    raw = text if isinstance(text, bytes) else text.encode("utf-8", "replace")
    text = decoded(raw, "touchstone file", name)
    where = Culprit(name)
    if text.count("\n") > MOST_LINES:
        raise InputError("touchstone file", f"must have at most {MOST_LINES:,} lines", where=where)
    lines = text.split("\n")
    if max(map(len, lines)) > LONGEST_LINE:
        raise InputError("touchstone file", f"has a line of more than {LONGEST_LINE:,} characters", where=where)
    return lines


def _ports_of(name: str) -> int | None:
    """Return the ports a file's ending tells.

    >>> _ports_of("drum.S2P"), _ports_of("drum.ts")
    (2, None)
    """
    found = re.search(r"\.[syzhg]([0-9]{1,6})p$", name, re.IGNORECASE)
    return int(found[1]) if found else None


def _parsed(rows: Rows, header: Header, name: str) -> tuple[Floats, Complexes]:
    """Return frequencies and raw matrices, read by scikit-rf.

    The guard hands it a plain file of version 2: S, no comments, no noise, a word for everything. Its own reading of
    the header knows the option line in one order only, and its un-normalising of Y, H and G in version 1 is wrong (it
    multiplies all of them by the reference, as is right for Z alone).
    """
    from skrf.io.touchstone import Touchstone

    from linewright.formats.touchstone_rows import bad_number

    order = "12_21" if header.row_major or rows.ports != 2 else "21_12"
    plain = io.StringIO(
        f"[Version] 2.0\n# {header.option.unit} S {header.option.layout} R 50\n[Number of Ports] {rows.ports}\n"
        f"[Two-Port Data Order] {order}\n[Matrix Format] {header.triangle}\n[Network Data]\n{rows.text}"
    )
    plain.name = f"sweep.s{rows.ports}p"
    try:
        read = Touchstone(plain)
    except ValueError as cause:
        i, word = bad_number(rows)
        where = Culprit(name, i + header.start + 1)
        raise InputError("row", f"must hold numbers only; got {word!r}", where=where) from cause
    return read.f, read.s
