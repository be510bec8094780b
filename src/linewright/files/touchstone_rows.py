"""The rows of numbers in a Touchstone file: which of them make a point, and where noise data begin.

A row with an odd count of numbers begins a point with its frequency; one with an even count goes on with pairs. So a
point is known by its counts, however its rows are broken.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from linewright.core.errors import InputError
from linewright.core.frozen import dataclass
from linewright.core.messages import say, say_many
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
        cure = say("Drop the row or measure it again.")
        return header.problem(row, "row", say("holds {word}, which no analyser measures", word=repr(word)), cure)
    if "," in word or ";" in word:
        cure = say("Numbers have a decimal point and stand apart by blanks.")
        return header.problem(row, "row", say("holds a comma or semicolon: {word}", word=repr(word)), cure)
    return header.problem(
        row, "row", say("must hold numbers only; got {value}", value=repr(word)), say("Put ! before a comment.")
    )


def _grouped(body: list[str], header: Header, first: int) -> PointRows:
    counts = np.fromiter(map(len, map(str.split, body)), dtype=np.int64, count=len(body))
    numbers = int(counts.sum())
    if numbers > MOST_NUMBERS:
        rule = say(
            "must hold at most {most} numbers; this one has {numbers}",
            most=format(MOST_NUMBERS, ","),
            numbers=format(numbers, ","),
        )
        raise header.problem(None, "touchstone file", rule, say("Keep every second point."))
    if not numbers:
        raise header.problem(None, "touchstone file", say("holds no numbers"), say("Save it again from the analyser."))
    begins = np.flatnonzero(counts % 2 == 1)
    leading = int(np.flatnonzero(counts)[0])
    if not begins.size or begins[0] != leading:
        cure = say("A point starts with its frequency; then come pairs.")
        raise header.problem(
            leading + first, "row", say("begins the data with {counts} numbers", counts=counts[leading]), cure
        )
    return PointRows(begins, counts[begins], np.add.reduceat(counts, begins))


def _ports(points: PointRows, header: Header, told: int | None) -> int:
    """Return the number of ports as told, else as the first point has it."""
    ports = header.told.ports or told
    if ports is not None and told not in (None, ports):
        rule = say("says {ports} where the file's ending says {told}", ports=ports, told=told)
        raise header.problem(header.said["number of ports"], "[number of ports]", rule, say("Rename the file."))
    if ports is None:
        ports = math.isqrt((int(points.totals[0]) - 1) // 2)
    if not 1 <= ports <= MOST_PORTS:
        raise header.problem(
            None,
            "touchstone file",
            say("must have 1 to {most_ports} ports; got {value}", most_ports=MOST_PORTS, value=ports),
        )
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
    cure = say("Complete the row or drop it; the file may be cut short.")
    if due != NOISE_NUMBERS and root and (points.totals == got).all() and got == 1 + 2 * root**2:
        cure = say_many(
            "These are data of {count} port: name the file .s{count}p.",
            "These are data of {count} ports: name the file .s{count}p.",
            root,
        )
    rule = say("begins a point of {got} numbers where {due} are due", got=got, due=due)
    raise header.problem(int(points.begins[wrong[0]]) + first, "row", rule, cure)


def _counted(points: int, header: Header) -> None:
    if points > MOST_POINTS:
        rule = say(
            "must hold at most {most} points; this one has {points}",
            most=format(MOST_POINTS, ","),
            points=format(points, ","),
        )
        raise header.problem(None, "touchstone file", rule, say("Keep every second point."))
    if header.told.points not in (None, points):
        rule = say("says {points}, but the file holds {found}", points=header.told.points, found=points)
        row = header.said["number of frequencies"]
        raise header.problem(row, "[number of frequencies]", rule, say("The file may be cut short."))


def _noise_of_version_2(lines: list[str], header: Header, ports: int) -> None:
    """Set the noise data of version 2 aside, once they are what they should be."""
    if not header.noise:
        return
    if ports != 2:
        raise header.problem(
            header.noise.start - 1, "[noise data]", say("belong to two ports; the file has {ports}", ports=ports)
        )
    points = _grouped(_clean(lines, header.noise, header), header, header.noise.start)
    _complete(points, NOISE_NUMBERS, header, header.noise.start)
    if header.told.noise_points not in (None, len(points)):
        rule = say(
            "says {noise_points}, but the file holds {count}", noise_points=header.told.noise_points, count=len(points)
        )
        row = header.said["number of noise frequencies"]
        raise header.problem(row, "[number of noise frequencies]", rule, say("The file may be cut short."))
    header.remarks.append(f"noise data are set aside (points: {len(points)})")
