"""The rows of numbers in a Touchstone file: which of them make a point, and where noise data begin.

A row with an odd count of numbers begins a point with its frequency; one with an even count goes on with pairs. So a
point is known by its counts, however its rows are broken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linewright.core.errors import InputError
from linewright.files.touchstone_header import MOST_PORTS, Header

MOST_POINTS = 200_000
MOST_NUMBERS = 8_000_000
NOISE_NUMBERS = 5
_SIGNS = b"0123456789eE+-. \t\n\r\f\v"

Counts = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class PointRows:
    """Where each point begins (counted from 0 in the rows given), how many numbers its first row has, and all of it."""

    begins: Counts
    leads: Counts
    totals: Counts

    def __getitem__(self, some: slice) -> PointRows:
        return PointRows(self.begins[some], self.leads[some], self.totals[some])

    def __len__(self) -> int:
        return len(self.begins)


@dataclass(frozen=True, slots=True)
class Rows:
    """Network data ready to be read.

    Attributes
    ----------
    text : str
        The rows; comments and noise data are taken out.
    ports : int
        Number of ports.
    row : ndarray, shape (points,)
        The row of the file where each point begins, counted from 1.
    broken : bool
        Whether a point goes over several rows.
    """

    text: str
    ports: int
    row: Counts
    broken: bool


def rows_of(lines: list[str], header: Header, ports: int | None) -> Rows:
    """Group the rows of network data into points and set noise data aside.

    Raises
    ------
    InputError
        If a row holds anything but numbers, or a point has too few or too many of them.
    """
    first = header.data.start
    body = _clean(lines, header.data, header)
    points = _grouped(body, header, first)
    ports = _ports(points, header, ports)
    end = _network_end(points, body, header, ports)
    if end < len(points):
        _complete(points[end:], NOISE_NUMBERS, header, first)
        header.remarks.append(f"noise data are set aside (points: {len(points) - end})")
        body, points = body[: points.begins[end]], points[:end]
    _complete(points, _due(ports, header), header, first)
    _counted(len(points), header)
    _noise_of_version_2(lines, header, ports)
    return Rows("\n".join(body), ports, points.begins + first, bool((points.leads < points.totals).any()))


def is_number(word: str) -> bool:
    """Return whether a word is a finite number as the standard writes one."""
    try:
        return _numeric(word) and math.isfinite(float(word))
    except ValueError:
        return False


def first_strange(lines: list[str]) -> tuple[int, str]:
    """Return the first row (counted from 0) and word that is no number."""
    return next(((i, w[:40]) for i, line in enumerate(lines) for w in line.split() if not is_number(w)), (0, ""))


def _numeric(text: str) -> bool:
    """Return whether a text has only signs that numbers are made of."""
    return text.isascii() and not text.encode("ascii").translate(None, _SIGNS)


def _clean(lines: list[str], where: range, header: Header) -> list[str]:
    """Return rows without comments and late option lines; what is left is numbers."""
    body = lines[where.start - 1 : where.stop - 1]
    text = "\n".join(body)
    if "!" in text or "#" in text:
        body = _without_options([line.partition("!")[0] for line in body], header, where.start)
        text = "\n".join(body)
    if not _numeric(text):
        i, word = first_strange(body)
        raise _no_number(header, i + where.start, word)
    return body


def _without_options(body: list[str], header: Header, first: int) -> list[str]:
    later = {i for i, line in enumerate(body) if line.lstrip().startswith("#")}
    if later:
        header.remarks.append(f"row {min(later) + first}: a # after the data begin is ignored")
    return ["" if i in later else line for i, line in enumerate(body)]


def _no_number(header: Header, row: int, word: str) -> InputError:
    if word.lower().strip("+-") in ("nan", "inf", "infinity", "1.#qnan", "1.#ind", "1.#inf"):
        cure = "Drop the row or measure it again."
        return header.problem(row, "row", f"holds {word!r}, which no analyser measures", cure)
    if "," in word or ";" in word:
        cure = "Numbers have a decimal point and stand apart by blanks."
        return header.problem(row, "row", f"holds a comma or semicolon: {word!r}", cure)
    return header.problem(row, "row", f"must hold numbers only; got {word!r}", "Put ! before a comment.")


def _grouped(body: list[str], header: Header, first: int) -> PointRows:
    counts = np.fromiter(map(len, map(str.split, body)), dtype=np.int64, count=len(body))
    numbers = int(counts.sum())
    if numbers > MOST_NUMBERS:
        rule = f"must hold at most {MOST_NUMBERS:,} numbers; this one has {numbers:,}"
        raise header.problem(None, "touchstone file", rule, "Keep every second point.")
    if not numbers:
        raise header.problem(None, "touchstone file", "holds no numbers", "Save it again from the analyser.")
    begins = np.flatnonzero(counts % 2 == 1)
    leading = int(np.flatnonzero(counts)[0])
    if not begins.size or begins[0] != leading:
        cure = "A point starts with its frequency; then come pairs."
        raise header.problem(leading + first, "row", f"begins the data with {counts[leading]} numbers", cure)
    return PointRows(begins, counts[begins], np.add.reduceat(counts, begins))


def _ports(points: PointRows, header: Header, told: int | None) -> int:
    """Return the number of ports as told, else as the first point has it."""
    ports = header.told.ports or told
    if ports is not None and told not in (None, ports):
        rule = f"says {ports} where the file's ending says {told}"
        raise header.problem(header.said["number of ports"], "[number of ports]", rule, "Rename the file.")
    if ports is None:
        ports = math.isqrt((int(points.totals[0]) - 1) // 2)
    if not 1 <= ports <= MOST_PORTS:
        raise header.problem(None, "touchstone file", f"must have 1 to {MOST_PORTS} ports; got {ports}")
    return ports


def _due(ports: int, header: Header) -> int:
    """Return how many numbers a point has."""
    return 1 + (2 * ports**2 if header.told.matrix == "full" else ports * (ports + 1))


def _network_end(points: PointRows, body: list[str], header: Header, ports: int) -> int:
    """Return how many points are network data; in version 1 what follows them is noise data of a two-port.

    Noise data begin where five numbers stand at a frequency that does not rise (Touchstone 1.1, noise data).
    """
    short = np.flatnonzero(points.totals == NOISE_NUMBERS)
    if header.version_2 or ports != 2 or not short.size or short[0] == 0:
        return len(points)
    end = int(short[0])
    before, after = (float(_frequency(body[int(points.begins[k])])) for k in (end - 1, end))
    return end if after <= before else len(points)


def _frequency(line: str) -> str:
    word = line.split(maxsplit=1)[0]
    return word if is_number(word) else "nan"


def _complete(points: PointRows, due: int, header: Header, first: int) -> None:
    wrong = np.flatnonzero(points.totals != due)
    if not wrong.size:
        return
    got = int(points.totals[wrong[0]])
    root = math.isqrt((got - 1) // 2)
    cure = "Complete the row or drop it; the file may be cut short."
    if due != NOISE_NUMBERS and root and (points.totals == got).all() and got == 1 + 2 * root**2:
        cure = f"These are data of {root} port{'s' * (root > 1)}: name the file .s{root}p."
    rule = f"begins a point of {got} numbers where {due} are due"
    raise header.problem(int(points.begins[wrong[0]]) + first, "row", rule, cure)


def _counted(points: int, header: Header) -> None:
    if points > MOST_POINTS:
        rule = f"must hold at most {MOST_POINTS:,} points; this one has {points:,}"
        raise header.problem(None, "touchstone file", rule, "Keep every second point.")
    if header.told.points not in (None, points):
        rule = f"says {header.told.points}, but the file holds {points}"
        row = header.said["number of frequencies"]
        raise header.problem(row, "[number of frequencies]", rule, "The file may be cut short.")


def _noise_of_version_2(lines: list[str], header: Header, ports: int) -> None:
    """Set the noise data of version 2 aside, once they are what they should be."""
    if not header.noise:
        return
    if ports != 2:
        raise header.problem(header.noise.start - 1, "[noise data]", f"belong to two ports; the file has {ports}")
    points = _grouped(_clean(lines, header.noise, header), header, header.noise.start)
    _complete(points, NOISE_NUMBERS, header, header.noise.start)
    if header.told.noise_points not in (None, len(points)):
        rule = f"says {header.told.noise_points}, but the file holds {len(points)}"
        row = header.said["number of noise frequencies"]
        raise header.problem(row, "[number of noise frequencies]", rule, "The file may be cut short.")
    header.remarks.append(f"noise data are set aside (points: {len(points)})")
