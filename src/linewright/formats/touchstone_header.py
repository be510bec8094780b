"""What stands before the numbers of a Touchstone file: the option line and, in version 2, keywords in brackets."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from linewright.errors import Culprit, InputError
from linewright.formats.fields import nearest
from linewright.formats.touchstone_keywords import KEYWORDS, MOST_PORTS, STRAY, VALUES, Told
from linewright.formats.touchstone_option import EXAMPLE, OptionLine, option_line

MOST_HASHES = 1000
_MORE_NUMBERS = re.compile(r"\s*([-+.0-9]|!|$)")


@dataclass(slots=True)
class Header:
    """What the header says. Rows are counted from 1, as an editor counts.

    Attributes
    ----------
    name : str
        The file.
    option : OptionLine
        The option line that counts.
    option_row : int or None
        Where it stands; None while there is none.
    told : Told
        What the keywords of version 2 say.
    said : dict
        Where each keyword stands.
    data, noise : range
        The rows of network data and, in version 2, of noise data.
    s12_first : int or None
        The row of a comment that names S12 before S21.
    strange : list of InputError
        Lines that start with # and are no option lines.
    later : int
        How many option lines follow the one that counts.
    remarks : list of str
        What a reader should know.
    """

    name: str
    option: OptionLine = field(default_factory=OptionLine)
    option_row: int | None = None
    told: Told = field(default_factory=Told)
    said: dict[str, int] = field(default_factory=dict)
    data: range = range(0)
    noise: range = range(0)
    s12_first: int | None = None
    strange: list[InputError] = field(default_factory=list)
    later: int = 0
    remarks: list[str] = field(default_factory=list)

    @property
    def version_2(self) -> bool:
        """Whether the file is of version 2."""
        return "version" in self.said

    @property
    def reference_ohm(self) -> tuple[complex, ...]:
        """What the ports are referred to: one value for all, or one for each."""
        return self.told.reference_ohm or self.option.reference_ohm

    def problem(self, row: int | None, argument: str, rule: str, cure: str = "") -> InputError:
        """Return an error with its place."""
        return InputError(argument, rule, where=Culprit(self.name, row), cure=cure)


def read_header(lines: list[str], name: str, given: str | None) -> Header:
    """Read a file down to its numbers; ``given`` is an option line that takes the place of the file's own.

    Raises
    ------
    InputError
        With the row and the cure, if the header breaks a rule.
    """
    header = Header(name)
    instead = None if given is None else option_line(given)
    i = 0
    while i < len(lines) and not header.data.start:
        line = without_comment(lines[i])
        if line.startswith("["):
            i = _keyword(header, lines, i, line)
        elif line.startswith("#"):
            _option(header, i + 1, line)
        elif line:
            header.data = range(i + 1, len(lines) + 1)
        else:
            _comment(header, i + 1, lines[i])
        i += 1
    _settle_option(header, instead)
    _settle_version(header)
    return header


def without_comment(line: str) -> str:
    """Return what a line says before its comment.

    >>> without_comment("# MHz S RI ! from the bench")
    '# MHz S RI'
    """
    return line.partition("!")[0].strip()


def _comment(header: Header, row: int, line: str) -> None:
    """Heed what a comment says against the standard."""
    text = line.lower()
    first, then = text.find("s12"), text.find("s21")
    if 0 <= first < then and header.s12_first is None:
        header.s12_first = row
    if "port impedance" in text and not any("impedance" in said for said in header.remarks):
        header.remarks.append(f"row {row}: impedances in comments are not used; the reference is the option line's")


def _option(header: Header, row: int, line: str) -> None:
    if len(header.strange) + header.later > MOST_HASHES:
        rule = f"has more than {MOST_HASHES:,} lines that start with #"
        raise header.problem(row, "touchstone file", rule, "Comments start with !.")
    try:
        option = option_line(line)
    except InputError as error:
        header.strange.append(error.at(Culprit(header.name, row)))
        return
    if header.option_row is None:
        header.option_row, header.option = row, option
        return
    header.later += 1
    if header.later == 1 and option != header.option:
        header.remarks.append(f"row {row}: a second option line is ignored; the one in row {header.option_row} counts")


def _keyword(header: Header, lines: list[str], i: int, line: str) -> int:
    """Take a keyword; return the last line it covers."""
    row = i + 1
    key, rest = _parts(line)
    if key not in KEYWORDS:
        raise header.problem(row, f"{key[:40]!r}", "is no keyword of the standard", nearest(key[:40], KEYWORDS))
    if key != "version" and not header.version_2:
        raise header.problem(row, f"[{key}]", "needs [Version] 2.0 before it", "Put [Version] 2.0 on the first line.")
    if key in header.said:
        raise header.problem(row, f"[{key}]", f"stands twice, in row {header.said[key]} too", "Drop one.")
    if key in STRAY or (key == "version" and header.option_row):
        raise header.problem(row, f"[{key}]", "stands out of place", "Keep the order of the standard.")
    header.said[key] = row
    if key == "network data":
        _ends(header, lines)
    elif key == "begin information":
        return _end_of_information(header, lines, i)
    elif key == "reference":
        words, i = _more_numbers(lines, i, rest.split())
        _value(header, key, " ".join(words))
    else:
        _value(header, key, rest)
    return i


def _parts(line: str) -> tuple[str, str]:
    """Return a keyword's name and what follows it.

    >>> _parts("[Number  of Ports] 2")
    ('number of ports', '2')
    """
    key, bracket, rest = line[1:].partition("]")
    return (" ".join(key.lower().split()), rest.strip()) if bracket else (line, "")


def _value(header: Header, key: str, rest: str) -> None:
    try:
        VALUES[key](header.told, rest)
    except InputError as error:
        raise error.at(Culprit(header.name, header.said[key])) from None


def _more_numbers(lines: list[str], i: int, words: list[str]) -> tuple[list[str], int]:
    """Return numbers that go on over the next lines, and the last of those; more than any file has ports is enough."""
    while i + 1 < len(lines) and len(words) <= MOST_PORTS and _MORE_NUMBERS.match(lines[i + 1]):
        i += 1
        words += without_comment(lines[i]).split()
    return words, i


def _end_of_information(header: Header, lines: list[str], start: int) -> int:
    for i in range(start + 1, len(lines)):
        line = without_comment(lines[i])
        if line.startswith("[") and _parts(line)[0] == "end information":
            return i
    raise header.problem(start + 1, "[Begin Information]", "has no [End Information]", "Close the block.")


def _ends(header: Header, lines: list[str]) -> None:
    """Find where the network data end, and the noise data if there are any."""
    start = header.said["network data"]
    marks: dict[str, int] = {}
    for i in range(start, len(lines)):
        if lines[i].lstrip().startswith("["):
            key = _parts(without_comment(lines[i]))[0]
            if key in STRAY:
                marks.setdefault(key, i + 1)
    last = marks.get("end", len(lines) + 1)
    noise = marks.get("noise data", last)
    header.data, header.noise = range(start + 1, min(noise, last)), range(noise + 1, last)
    if "end" not in marks:
        header.remarks.append("[End] is missing; the file may be cut short")


def _settle_option(header: Header, instead: OptionLine | None) -> None:
    if instead is not None:
        if header.option_row is not None and instead != header.option:
            header.remarks.append(f"the option line given is used, not the one in row {header.option_row}")
        header.option = instead
    elif header.option_row is None:
        raise header.strange[0] if header.strange else _no_option(header)
    if header.strange:
        rows = ", ".join(str(error.where.row) for error in header.strange[:5])
        header.remarks.append(f"a # that opens no option line is taken for a comment (row {rows})")


def _no_option(header: Header) -> InputError:
    cure = (
        f"Say what the numbers are on a line above them, such as {EXAMPLE}, or give that line as option_line. "
        "The standard's default (GHz S MA R 50) is not assumed, as it is often wrong."
    )
    return header.problem(None, "option line", "is missing", cure)


def _settle_version(header: Header) -> None:
    """Check what version 2 cannot do without."""
    if not header.version_2:
        return
    for key in ("number of ports", "network data"):
        if key not in header.said:
            raise header.problem(None, f"[{key}]", "is missing", "Version 2 of the standard needs it.")
    if header.told.ports != 2 and "two-port data order" in header.said:
        header.remarks.append("[Two-Port Data Order] is ignored, as the file is no two-port")
    if header.told.ports == 2 and "two-port data order" not in header.said:
        cure = "Add [Two-Port Data Order] 21_12, or 12_21 if S12 stands before S21."
        raise header.problem(None, "[two-port data order]", "is missing", cure)
    if header.told.points is None:
        header.remarks.append("[Number of Frequencies] is missing; every row is read")
