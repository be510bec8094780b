"""What stands before the numbers of a Touchstone file: the option line and, from version 2 on, keywords in brackets."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import ClassVar

from linewright.errors import Culprit, InputError
from linewright.formats.fields import nearest
from linewright.formats.touchstone_option import EXAMPLE, OptionLine, option_line, sound_reference

MOST_PORTS = 32
VERSIONS = ("2.0", "2.1")
KEYWORDS = (
    "version", "number of ports", "two-port data order", "number of frequencies", "number of noise frequencies",
    "reference", "matrix format", "mixed-mode order", "begin information", "end information", "network data",
    "noise data", "end",
)  # fmt: skip
_KEYWORD = re.compile(r"\[\s*([^\]]*?)\s*\](.*)")


@dataclass(slots=True)
class Header:
    """What the header says. ``start`` and ``end`` bound the rows of network data, counted from 0."""

    option: OptionLine = field(default_factory=OptionLine)
    reference: tuple[complex, ...] | None = None
    version: str = "1"
    ports: int | None = None
    row_major: bool = False
    triangle: str = "full"
    points: int | None = None
    start: int = 0
    end: int = 0
    noise: range = range(0)
    noise_points: int | None = None
    remarks: list[str] = field(default_factory=list)

    @property
    def reference_ohm(self) -> tuple[complex, ...]:
        """What the ports are referred to: one value for all, or one for each."""
        return self.option.reference_ohm if self.reference is None else self.reference


class HeaderReader:
    """Walks the rows of a file down to its numbers."""

    def __init__(self, lines: list[str], name: str, given: str | None) -> None:
        self.lines, self.name = lines, name
        self.header = Header(end=len(lines))
        self.said: dict[str, int] = {}
        self.option_row: int | None = None
        self.strange: list[tuple[int, InputError]] = []
        self.given = option_line(given) if given is not None else None

    def read(self) -> Header:
        """Return the header.

        Raises
        ------
        InputError
            With the row and the cure, if the header breaks a rule.
        """
        i = 0
        while i < len(self.lines):
            line = self.lines[i].partition("!")[0].strip()
            if line.startswith("#"):
                self._option(i, line)
            elif line.startswith("["):
                i = self._keyword(i, line)
                if i < 0:
                    break
            elif line:
                self._numbers(i)
                break
            i += 1
        self._settle()
        return self.header

    def fail(self, row: int | None, argument: str, rule: str, cure: str) -> InputError:
        """Return an error with its place; ``row`` counts from 0."""
        return InputError(argument, rule, where=Culprit(self.name, None if row is None else row + 1), cure=cure)

    def _option(self, i: int, line: str) -> None:
        try:
            option = option_line(line)
        except InputError as error:
            self.strange.append((i, error))
            return
        if self.option_row is None:
            self.option_row, self.header.option = i, option
        elif option != self.header.option:
            first = self.option_row + 1
            self.header.remarks.append(f"row {i + 1}: a second option line is ignored; the one in row {first} counts")

    def _numbers(self, i: int) -> None:
        if self.header.version != "1":
            raise self.fail(i, "row", "stands before [Network Data]", "Put the numbers after that keyword.")
        self.header.start = i

    def _keyword(self, i: int, line: str) -> int:
        """Take a keyword; return the row to go on from, or -1 when the numbers begin."""
        found = _KEYWORD.fullmatch(line)
        key = " ".join(found[1].lower().replace("_", " ").split()) if found else line[:40]
        if not found or key not in KEYWORDS:
            raise self.fail(i, f"[{key[:40]}]", "is no keyword of the standard", nearest(key, KEYWORDS))
        if key != "version" and self.header.version == "1":
            raise self.fail(i, f"[{key}]", "needs [Version] 2.0 before it", "Put [Version] 2.0 on the first line.")
        if key in self.said:
            raise self.fail(i, f"[{key}]", f"stands twice, in row {self.said[key] + 1} too", "Drop one.")
        self.said[key] = i
        if key == "network data":
            self._ends(i + 1)
            return -1
        return self._TAKE[key](self, i, found[2].strip())

    def _ends(self, start: int) -> None:
        """Find where the network data end, and the noise data if there are any."""
        marks: dict[str, int] = {}
        for i in range(start, len(self.lines)):
            if "[" in self.lines[i] and (found := _KEYWORD.match(self.lines[i].partition("!")[0].strip())):
                marks.setdefault(" ".join(found[1].lower().split()), i)
        last = marks.get("end", len(self.lines))
        noise = marks.get("noise data", last)
        self.header.start, self.header.end = start, min(noise, last)
        self.header.noise = range(noise + 1, last)
        if "end" not in marks:
            self.header.remarks.append("[End] is missing; the file may be cut short")

    def _version(self, i: int, rest: str) -> int:
        if rest not in VERSIONS:
            raise self.fail(i, "[Version]", f"must be {' or '.join(VERSIONS)}; got {rest[:20]!r}", "")
        if self.option_row is not None:
            raise self.fail(i, "[Version]", "must stand before the option line", "Put it on the first line.")
        self.header.version = rest
        return i

    def _count(self, i: int, rest: str, what: str) -> int:
        if not re.fullmatch(r"[0-9]{1,9}", rest, re.ASCII) or int(rest) < 1:
            raise self.fail(i, what, f"must be a whole number above 0; got {rest[:20]!r}", "Write the count alone.")
        return int(rest)

    def _ports(self, i: int, rest: str) -> int:
        self.header.ports = self._count(i, rest, "[Number of Ports]")
        return i

    def _points(self, i: int, rest: str) -> int:
        self.header.points = self._count(i, rest, "[Number of Frequencies]")
        return i

    def _noise_points(self, i: int, rest: str) -> int:
        self.header.noise_points = self._count(i, rest, "[Number of Noise Frequencies]")
        return i

    def _order(self, i: int, rest: str) -> int:
        if rest.lower() not in ("21_12", "12_21"):
            raise self.fail(i, "[Two-Port Data Order]", f"must be 21_12 or 12_21; got {rest[:20]!r}", "")
        self.header.row_major = rest.lower() == "12_21"
        return i

    def _matrix(self, i: int, rest: str) -> int:
        if rest.lower() not in ("full", "lower", "upper"):
            raise self.fail(i, "[Matrix Format]", f"must be Full, Lower or Upper; got {rest[:20]!r}", "")
        self.header.triangle = rest.lower()
        return i

    def _mixed(self, i: int, rest: str) -> int:
        words = rest.lower().split()
        if words != [f"s{k + 1}" for k in range(len(words))]:
            raise self.fail(
                i, "[Mixed-Mode Order]", "speaks of pairs of ports; only single ports are read",
                "Save the file again with single-ended parameters.",
            )  # fmt: skip
        return i

    def _information(self, i: int, _: str) -> int:
        for k in range(i + 1, len(self.lines)):
            if re.match(r"\s*\[\s*end\s+information\s*\]", self.lines[k], re.IGNORECASE):
                return k
        raise self.fail(i, "[Begin Information]", "has no [End Information]", "Close the block.")

    def _stray(self, i: int, _: str) -> int:
        raise self.fail(i, self.lines[i].strip()[:40], "stands where nothing ends or follows it", "Drop the line.")

    def _reference(self, i: int, rest: str) -> int:
        """Read one value per port; they may go on over the next rows."""
        words = rest.split()
        k = i + 1
        while k < len(self.lines) and re.match(r"\s*([-+.0-9]|!|$)", self.lines[k]) and len(words) <= MOST_PORTS:
            words += self.lines[k].partition("!")[0].split()
            k += 1
        try:
            ohms = tuple(sound_reference(complex(float(w)), w) for w in words)
        except InputError as error:
            raise error.at(Culprit(self.name, i + 1)) from None
        except ValueError:
            raise self.fail(i, "[Reference]", "must be one number per port", "Write them in ohms.") from None
        self.header.reference = ohms
        return k - 1

    _TAKE: ClassVar[dict[str, Callable[[HeaderReader, int, str], int]]] = {
        "version": _version, "number of ports": _ports, "number of frequencies": _points,
        "number of noise frequencies": _noise_points, "two-port data order": _order, "reference": _reference,
        "matrix format": _matrix, "mixed-mode order": _mixed, "begin information": _information,
        "end information": _stray, "noise data": _stray, "end": _stray,
    }  # fmt: skip

    def _settle(self) -> None:
        """Check what must stand in the header once it has been read to its end."""
        self._settle_option()
        header = self.header
        if header.version == "1":
            return
        for key in ("number of ports", "network data"):
            if key not in self.said:
                raise self.fail(None, f"[{key.title()}]", "is missing", "Version 2 of the standard needs it.")
        if header.ports == 2 and "two-port data order" not in self.said:
            cure = "Add [Two-Port Data Order] 21_12, or 12_21 if S12 stands before S21."
            raise self.fail(None, "[Two-Port Data Order]", "is missing", cure)
        if header.points is None:
            header.remarks.append("[Number of Frequencies] is missing; every row is read")

    def _settle_option(self) -> None:
        remarks = self.header.remarks
        if self.given is not None:
            if self.option_row is not None and self.given != self.header.option:
                remarks.append(f"the option line given is used, not the one in row {self.option_row + 1}")
            self.header.option = self.given
        elif self.option_row is None:
            raise self._no_option()
        rows = [i + 1 for i, _ in self.strange]
        if rows:
            which = ", ".join(map(str, rows[:5])) + (" and more" if len(rows) > 5 else "")
            remarks.append(f"a # that opens no option line is taken for a comment (row {which})")

    def _no_option(self) -> InputError:
        if self.strange:
            i, error = self.strange[0]
            return error.at(Culprit(self.name, i + 1))
        cure = (
            f"Say what the numbers are on a line above them, such as {EXAMPLE}, or give that line as option_line. "
            "The standard's default (GHz S MA R 50) is not assumed: it is often wrong."
        )
        return self.fail(None, "option line", "is missing", cure)
