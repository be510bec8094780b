"""Touchstone files: sweeps of an analyser in and out.

The numbers are read by scikit-rf. A guard of our own stands in front of it, since files from the field break the
standard in ways which that library reads without a word (a missing option line, a wrong unit) or stumbles over.
"""

from __future__ import annotations

import re
from pathlib import Path
from stat import S_ISDIR, S_ISREG

from linewright.errors import CannotError, Culprit, InputError
from linewright.formats.texts import decoded, read_text
from linewright.formats.touchstone_checks import sweep_of
from linewright.formats.touchstone_header import read_header
from linewright.formats.touchstone_numbers import numbers_of
from linewright.formats.touchstone_rows import rows_of
from linewright.formats.touchstone_text import touchstone_text
from linewright.model.sweep import Sweep

__all__ = ["ports_of", "read_touchstone", "read_touchstone_text", "touchstone_text", "write_touchstone"]

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
    _plain_file(path)
    return read_touchstone_text(read_text(path, "touchstone file"), str(path), option_line=option_line)


def read_touchstone_text(
    text: str | bytes, name: str, *, ports: int | None = None, option_line: str | None = None
) -> Sweep:
    r"""Read the content of a Touchstone file; ``ports`` is told by the name's ending if it is not given.

    Raises
    ------
    InputError
        As ``read_touchstone`` does.

    >>> sweep = read_touchstone_text("# MHz S MA R 50\n2.000 0.894 -12.136", "spec.s1p")  # Touchstone 1.1, 1-port
    >>> sweep.frequency_hz.tolist(), complex(sweep.reflection[0].round(6))
    ([2000000.0], (0.87402-0.187948j))
    """
    lines = _lines(text, name)
    header = read_header(lines, name, option_line)
    rows = rows_of(lines, header, ports if ports is not None else ports_of(name))
    del lines
    return sweep_of(*numbers_of(rows, header), rows, header)


def write_touchstone(sweep: Sweep, path: str | Path, *, comments: tuple[str, ...] = ()) -> None:
    """Write a sweep as a Touchstone file.

    Parameters
    ----------
    sweep : Sweep
        At least one point.
    path : str or Path
        Ends in ``.s2p`` (the number its ports) or ``.ts``, which is always of version 2.
    comments : tuple of str
        What to say on top.

    Raises
    ------
    InputError
        If the ending does not fit the sweep, or the sweep could not be read back.
    CannotError
        If the file cannot be written.
    """
    path = Path(path)
    ending = path.suffix.lower()
    if ending not in (f".s{sweep.ports}p", ".ts"):
        rule = f"must end in .s{sweep.ports}p or .ts for {sweep.ports} port{'s' * (sweep.ports > 1)}"
        raise InputError("path", rule, where=Culprit(str(path)), cure="Rename it.")
    text = touchstone_text(sweep, comments=comments, version_2=ending == ".ts")
    try:
        path.write_bytes(text.encode("ascii"))
    except (OSError, ValueError) as cause:
        raise CannotError(f"{path} cannot be written: {cause}") from cause


def ports_of(name: str) -> int | None:
    """Return the ports a file's ending tells.

    >>> ports_of("drum.S2P"), ports_of("drum.ts")
    (2, None)
    """
    found = re.search(r"\.[syzhg]([0-9]{1,6})p$", name, re.IGNORECASE | re.ASCII)
    return int(found[1]) if found else None


def _plain_file(path: Path) -> None:
    """Refuse what has no end (a device, a pipe); what is not there is left to the reading."""
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):
        return
    if not (S_ISREG(mode) or S_ISDIR(mode)):
        raise InputError("touchstone file", "must be a plain file", where=Culprit(str(path)), cure="Copy it to one.")


def _lines(text: str | bytes, name: str) -> list[str]:
    if isinstance(text, bytes):
        text = decoded(text, "touchstone file", name)
    elif "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    # The last sign of a text file under some old systems.
    text = text.removeprefix("\ufeff").rstrip("\x1a")
    where = Culprit(name)
    if text.count("\n") > MOST_LINES:
        raise InputError("touchstone file", f"must have at most {MOST_LINES:,} rows", where=where)
    lines = text.split("\n")
    if max(map(len, lines)) > LONGEST_LINE:
        raise InputError("touchstone file", f"has a row of more than {LONGEST_LINE:,} characters", where=where)
    return lines
