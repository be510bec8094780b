"""What stands before the numbers of a Touchstone file: the option line and, in version 2, keywords in brackets."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import field

from linewright.core.errors import Culprit, InputError
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.files.fields import nearest

# The option line of a Touchstone file: what the numbers after it are

UNITS = {"hz": ("Hz", 1.0), "khz": ("kHz", 1e3), "mhz": ("MHz", 1e6), "ghz": ("GHz", 1e9)}
PARAMETERS = "syzhg"
LAYOUTS = ("db", "ma", "ri")
EXAMPLE = "# GHz S RI R 50"
_COMPLEX = re.compile(r"[-+0-9.e]+j?|\(?[-+0-9.e]+[-+][0-9.e]*j\)?")


@dataclass(frozen=True, slots=True)
class OptionLine:
    """Unit (lower case), parameter (one letter), layout of a pair (db, ma, ri) and the reference of each port in ohms.

    The defaults are the standard's (Touchstone 1.1, option line): GHz, S, MA, R 50.
    """

    unit: str = "ghz"
    parameter: str = "s"
    layout: str = "ma"
    reference_ohm: tuple[complex, ...] = (50 + 0j,)

    @property
    def hertz(self) -> float:
        """How many hertz the unit is."""
        return UNITS[self.unit][1]


def option_line(text: str) -> OptionLine:
    """Read an option line; case and order do not matter, and a bare # stands for the defaults.

    Raises
    ------
    InputError
        If a word means nothing, stands twice, or a reference is not an impedance with a positive real part.

    >>> option_line("#  hz  s  db  r  75")
    OptionLine(unit='hz', parameter='s', layout='db', reference_ohm=((75+0j),))
    """
    found: dict[str, str] = {}
    words = text.partition("!")[0].strip().removeprefix("#").lower().split()
    ohms: tuple[complex, ...] = ()
    for i, word in enumerate(words):
        if word == "r":
            ohms = tuple(_ohms(w) for w in _after_r(words[i + 1 :], found))
            break
        _keep(found, word)
    return OptionLine(**found, reference_ohm=ohms or (50 + 0j,))


def written_ohms(impedance: complex) -> str:
    """Write a reference so that it reads back the same: 50.0, or (10.0+5.0j), which the standard does not know."""
    real, imaginary = float(impedance.real), float(impedance.imag)
    return repr(real) if imaginary == 0 else f"({real!r}{imaginary:+}j)"


def _keep(found: dict[str, str], word: str) -> None:
    kind = "unit" if word in UNITS else "layout" if word in LAYOUTS else "parameter"
    if kind == "parameter" and word not in tuple(PARAMETERS):
        raise InputError(
            "option line",
            say("has a word that means nothing: {word}", word=repr(word[:40])),
            cure=say("Write it as {example}.", example=EXAMPLE),
        )
    if kind in found:
        raise InputError(
            "option line",
            say("says its {kind} twice: {found} and {word}", kind=kind, found=found[kind], word=word),
            cure=say("Drop one."),
        )
    found[kind] = word


def _after_r(words: list[str], found: dict[str, str]) -> list[str]:
    """Return the words that are references; those after them are options again, as their order is free."""
    count = next((i for i, w in enumerate(words) if not _COMPLEX.fullmatch(w)), len(words))
    if count == 0:
        raise InputError("option line", say("has an R without a number after it"), cure=say("Write R 50, say."))
    for word in words[count:]:
        _keep(found, word)
    return words[:count]


def _ohms(word: str) -> complex:
    try:
        value = complex(word)
    except ValueError:
        raise InputError(
            "option line",
            say("has a reference that is no number: {word}", word=repr(word[:40])),
            cure=say("Write R 50, say."),
        ) from None
    return sound_reference(value, word)


def sound_reference(value: complex, word: str) -> complex:
    """Return a reference impedance if it is one: finite, its real part above 0."""
    if not (math.isfinite(value.real) and math.isfinite(value.imag) and 0 < value.real <= 1e9):
        raise InputError(
            "reference",
            say("must be an impedance above 0 ohm; got {value}", value=word[:40]),
            cure=say("Write R 50 if the system is 50 Ω."),
        )
    return value


# The keywords of version 2: what may stand after each

MOST_PORTS = 32
VERSIONS = ("2.0", "2.1")
ORDERS = ("21_12", "12_21")
FORMATS = ("full", "lower", "upper")
STRAY = ("end information", "noise data", "end")
"""Keywords that close or follow something, so none of them stands in a header of its own."""


@dataclass(slots=True)
class KeywordValues:
    """What keywords say; ``matrix`` is full, lower or upper, ``order`` the order of a two-port."""

    ports: int | None = None
    points: int | None = None
    noise_points: int | None = None
    reference_ohm: tuple[complex, ...] = ()
    matrix: str = "full"
    order: str = "21_12"


def _version(_: KeywordValues, rest: str) -> None:
    _one_of("[Version]", rest, VERSIONS)


def _ports(told: KeywordValues, rest: str) -> None:
    told.ports = _count("[Number of Ports]", rest)


def _points(told: KeywordValues, rest: str) -> None:
    told.points = _count("[Number of Frequencies]", rest)


def _noise_points(told: KeywordValues, rest: str) -> None:
    told.noise_points = _count("[Number of Noise Frequencies]", rest)


def _order(told: KeywordValues, rest: str) -> None:
    told.order = _one_of("[Two-Port Data Order]", rest, ORDERS)


def _matrix(told: KeywordValues, rest: str) -> None:
    told.matrix = _one_of("[Matrix Format]", rest, FORMATS)


def _mixed(_: KeywordValues, rest: str) -> None:
    words = rest.lower().split()
    if words != [f"s{k + 1}" for k in range(len(words))]:
        cure = say("Save the file again with single-ended parameters.")
        raise InputError("[Mixed-Mode Order]", say("speaks of pairs of ports, which are not read"), cure=cure)


def _reference(told: KeywordValues, rest: str) -> None:
    words = rest.split()
    try:
        told.reference_ohm = tuple(sound_reference(complex(float(w)), w) for w in words[: MOST_PORTS + 1])
    except ValueError as cause:
        if isinstance(cause, InputError):
            raise
        raise InputError("[Reference]", say("must be one number per port"), cure=say("Write them in ohms.")) from None
    if not words:
        raise InputError("[Reference]", say("must be one number per port"), cure=say("Write them in ohms."))


def _count(what: str, rest: str) -> int:
    if not re.fullmatch(r"[0-9]{1,9}", rest, re.ASCII) or int(rest) < 1:
        raise InputError(
            what,
            say("must be a whole number above 0; got {value}", value=repr(rest[:20])),
            cure=say("Write the count alone."),
        )
    return int(rest)


def _one_of(what: str, rest: str, known: tuple[str, ...]) -> str:
    if rest.lower() not in known:
        raise InputError(what, say("must be {known}; got {value}", known=" or ".join(known), value=repr(rest[:20])))
    return rest.lower()


VALUES: dict[str, Callable[[KeywordValues, str], None]] = {
    "version": _version,
    "number of ports": _ports,
    "two-port data order": _order,
    "number of frequencies": _points,
    "number of noise frequencies": _noise_points,
    "reference": _reference,
    "matrix format": _matrix,
    "mixed-mode order": _mixed,
}
KEYWORDS = (*VALUES, "begin information", "network data", *STRAY)

# What stands before the numbers of a Touchstone file: the option line and, in version 2, keywords in brackets

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
    ohms_row : int or None
        The row of the first comment that names port impedances.
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
    told: KeywordValues = field(default_factory=KeywordValues)
    said: dict[str, int] = field(default_factory=dict)
    data: range = range(0)
    noise: range = range(0)
    s12_first: int | None = None
    ohms_row: int | None = None
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
    if "port impedance" in text and header.ohms_row is None:
        header.ohms_row = row
        header.remarks.append(f"row {row}: impedances in comments are not used; the reference is the option line's")


def _option(header: Header, row: int, line: str) -> None:
    if len(header.strange) + header.later > MOST_HASHES:
        rule = say("has more than {most_hashes} lines that start with #", most_hashes=format(MOST_HASHES, ","))
        raise header.problem(row, "touchstone file", rule, say("Comments start with !."))
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
        raise header.problem(row, f"{key[:40]!r}", say("is no keyword of the standard"), nearest(key[:40], KEYWORDS))
    if key != "version" and not header.version_2:
        raise header.problem(
            row, f"[{key}]", say("needs [Version] 2.0 before it"), say("Put [Version] 2.0 on the first line.")
        )
    if key in header.said:
        raise header.problem(
            row, f"[{key}]", say("stands twice, in row {said} too", said=header.said[key]), say("Drop one.")
        )
    if key in STRAY or (key == "version" and header.option_row):
        raise header.problem(row, f"[{key}]", say("stands out of place"), say("Keep the order of the standard."))
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
    raise header.problem(start + 1, "[Begin Information]", say("has no [End Information]"), say("Close the block."))


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
    cure = say(
        "Say what the numbers are on a line above them, such as {example}, or give that "
        "line as option_line. The standard's default (GHz S MA R 50) is not assumed, as "
        "it is often wrong.",
        example=EXAMPLE,
    )
    return header.problem(None, "option line", say("is missing"), cure)


def _settle_version(header: Header) -> None:
    """Check what version 2 cannot do without."""
    if not header.version_2:
        return
    for key in ("number of ports", "network data"):
        if key not in header.said:
            raise header.problem(None, f"[{key}]", say("is missing"), say("Version 2 of the standard needs it."))
    if header.told.ports != 2 and "two-port data order" in header.said:
        header.remarks.append("[Two-Port Data Order] is ignored, as the file is no two-port")
    if header.told.ports == 2 and "two-port data order" not in header.said:
        cure = say("Add [Two-Port Data Order] 21_12, or 12_21 if S12 stands before S21.")
        raise header.problem(None, "[two-port data order]", say("is missing"), cure)
    if header.told.points is None:
        header.remarks.append("[Number of Frequencies] is missing; every row is read")
