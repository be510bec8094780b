"""The rows of numbers in a Touchstone file: which of them make a point, and where noise data begin."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linewright.errors import Culprit, InputError
from linewright.formats.touchstone_header import MOST_PORTS, Header

MOST_POINTS = 200_000
MOST_NUMBERS = 8_000_000
_NUMERIC = re.compile(r"[0-9eE+\-.\s]*", re.ASCII)
NOISE_NUMBERS = 5

Counts = NDArray[np.int64]


@dataclass(slots=True)
class Rows:
    """Rows of network data, ready to be read.

    Attributes
    ----------
    text : str
        The rows, comments and noise data taken out.
    ports : int
        Number of ports.
    row : ndarray, shape (points,)
        The row of the file where each point begins, counted from 1.
    split : bool
        Whether points of a two-port go over several rows.
    """

    text: str
    ports: int
    row: Counts
    split: bool


def rows_of(lines: list[str], header: Header, name: str, ports: int | None) -> Rows:
    """Group the rows of network data into points and set noise data aside.

    Raises
    ------
    InputError
        If a row holds anything but numbers, or a point has too few or too many of them.
    """
    return _Grouping(lines, header, name).rows(ports)


class _Grouping:
    def __init__(self, lines: list[str], header: Header, name: str) -> None:
        self.header, self.name = header, name
        self.body = self._clean(lines[header.start : header.end])

    def rows(self, ports: int | None) -> Rows:
        counts = np.fromiter((len(line.split()) for line in self.body), dtype=np.int64, count=len(self.body))
        self._bounded(int(counts.sum()))
        begins = np.flatnonzero(counts % 2 == 1)
        if not begins.size:
            raise self.fail(None, "file", "holds no numbers after its header", "Save it again from the analyser.")
        if counts[: begins[0]].any():
            first = int(np.flatnonzero(counts)[0])
            raise self.fail(first, "row", "has an even count of numbers; a point starts with its frequency", "")
        totals = np.add.reduceat(counts, begins)
        ports = self._ports(totals, ports)
        end = self._network_end(begins, totals, ports)
        self._complete(begins[:end], totals[:end], self._expected(ports))
        stop = int(begins[end]) if end < begins.size else len(self.body)
        split = ports == 2 and bool((counts[begins[:end]] < totals[:end]).any())
        return Rows("\n".join(self.body[:stop]), ports, begins[:end] + self.header.start + 1, split)

    def fail(self, i: int | None, argument: str, rule: str, cure: str) -> InputError:
        row = None if i is None else i + self.header.start + 1
        return InputError(argument, rule, where=Culprit(self.name, row), cure=cure)

    def _clean(self, body: list[str]) -> list[str]:
        """Return the rows without comments; everything left is a number."""
        if any("!" in line for line in body):
            body = [line.partition("!")[0] for line in body]
        if self.header.version == "1" and any("#" in line for line in body):
            later = [i for i, line in enumerate(body) if line.lstrip().startswith("#")]
            for i in later:
                body[i] = ""
            if later:
                self.header.remarks.append(
                    f"row {later[0] + self.header.start + 1}: an option line after the data begin is ignored"
                )
        for i, line in enumerate(body):
            if not _NUMERIC.fullmatch(line):
                raise self._no_number(i, line)
        return body

    def _no_number(self, i: int, line: str) -> InputError:
        word = next((w for w in line.split() if not _is_number(w)), line.strip())[:40]
        if word.lower().lstrip("+-") in ("nan", "inf", "infinity"):
            return self.fail(
                i, "row", f"holds {word!r}, which no analyser measures", "Drop the row or measure it again."
            )
        if "," in word or ";" in word:
            cure = "Numbers have a decimal point and stand apart by blanks."
            return self.fail(i, "row", f"holds a comma or semicolon: {word!r}", cure)
        return self.fail(i, "row", f"must hold numbers only; got {word!r}", "Put ! before a comment.")

    def _bounded(self, numbers: int) -> None:
        if numbers > MOST_NUMBERS:
            rule = f"must hold at most {MOST_NUMBERS:,} numbers; this one has {numbers:,}"
            raise self.fail(None, "file", rule, "Keep every second point.")

    def _expected(self, ports: int) -> int:
        cells = ports**2 if self.header.triangle == "full" else ports * (ports + 1) // 2
        return 1 + 2 * cells

    def _ports(self, totals: Counts, ports: int | None) -> int:
        """Return the number of ports as told, or as the first point has it."""
        told = self.header.ports or ports
        first = int(totals[0])
        if told is None:
            told = math.isqrt((first - 1) // 2)
        if told < 1 or told > MOST_PORTS:
            raise self.fail(None, "file", f"must have 1 to {MOST_PORTS} ports; got {told}", "")
        return told

    def _network_end(self, begins: Counts, totals: Counts, ports: int) -> int:
        """Return how many points are network data; in version 1 what follows them is noise data of a two-port."""
        if self.header.version != "1" or ports != 2 or totals[0] == NOISE_NUMBERS:
            return int(begins.size)
        short = np.flatnonzero(totals == NOISE_NUMBERS)
        if not short.size:
            return int(begins.size)
        end = int(short[0])
        if self._frequency(int(begins[end])) > self._frequency(int(begins[end - 1])):
            return int(begins.size)
        self._noise(begins[end:], totals[end:])
        return end

    def _noise(self, begins: Counts, totals: Counts) -> None:
        self._complete(begins, totals, NOISE_NUMBERS)
        self.header.remarks.append(f"{begins.size} points of noise data are set aside")

    def _frequency(self, i: int) -> float:
        word = self.body[i].split(maxsplit=1)[0]
        return float(word) if _is_number(word) else math.nan

    def _complete(self, begins: Counts, totals: Counts, expected: int) -> None:
        wrong = np.flatnonzero(totals != expected)
        if wrong.size:
            raise self._incomplete(begins, totals, int(wrong[0]), expected)
        if begins.size > MOST_POINTS:
            rule = f"must hold at most {MOST_POINTS:,} points; this one has {begins.size:,}"
            raise self.fail(None, "file", rule, "Keep every second point.")
        if self.header.points is not None and expected != NOISE_NUMBERS and begins.size != self.header.points:
            rule = f"says {self.header.points}, but the file holds {begins.size}"
            raise self.fail(None, "[Number of Frequencies]", rule, "Is the file cut short?")

    def _incomplete(self, begins: Counts, totals: Counts, k: int, expected: int) -> InputError:
        got = int(totals[k])
        rule = f"begins a point of {got} numbers where {expected} are due"
        root = math.isqrt((got - 1) // 2)
        if (totals == got).all() and 1 + 2 * root**2 == got:
            cure = f"These are data of {root} port{'s' * (root > 1)}; name the file .s{root}p."
        else:
            cure = "Complete the row or drop it; the file may be cut short."
        return self.fail(int(begins[k]), "row", rule, cure)


def _is_number(word: str) -> bool:
    try:
        return math.isfinite(float(word)) and word.isascii() and "_" not in word
    except ValueError:
        return False


def bad_number(rows: Rows) -> tuple[int, str]:
    """Return the row (of the rows' own text, counted from 0) and the word that is no number."""
    for i, line in enumerate(rows.text.split("\n")):
        for word in line.split():
            if not _is_number(word):
                return i, word[:40]
    return 0, ""
