"""A curve seen at the radio: a CSV of frequency and SWR (or return loss, or impedance), or a Touchstone file."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from linewright.core.errors import Culprit, InputError, gathered
from linewright.core.messages import say
from linewright.core.nouns.through import Seen
from linewright.core.quantities import loss_ratio_db, ratio_db
from linewright.files import fields
from linewright.files.fields import loss, written_number
from linewright.files.station_fields import impedance
from linewright.files.tables import SourceText, TomlTable, csv_rows, read_text
from linewright.inference.load.seen import seen_impedance, seen_return_loss, seen_sweep, seen_swr

# What a person writes down at the radio: an SWR, a return loss, and a loss with its interval

MOST_SWR = 1e6
_DECIMALS = re.compile(r"\d[.,](\d+)")


def step_of(text: str) -> float:
    """Return the step a written number was read to.

    >>> step_of("1.3"), step_of("17.75 dB"), step_of("38-12j")
    (0.1, 0.01, 1.0)
    """
    return 10.0 ** -max((len(found) for found in _DECIMALS.findall(text)), default=0)


def swr(text: str, name: str = "swr") -> float:
    """Return a written SWR, at least 1; "1.3:1" is one too.

    >>> swr("1.3"), swr("1.3:1")
    (1.3, 1.3)
    """
    found = written_number(re.sub(r"\s*:\s*1\s*$", "", text), name)
    if not 1.0 <= found <= MOST_SWR:
        raise InputError(
            name,
            say("must be at least 1; got {value}", value=text),
            cure=say("If this is a return loss in dB, give it as a return loss."),
        )
    return found


def return_loss_db(text: str, name: str = "return loss") -> float:
    """Return a written return loss, positive and with its unit.

    >>> return_loss_db("17.7 dB")
    17.7
    """
    return loss_ratio_db(text, name)


def loss_with_interval(text: str, name: str = "loss") -> tuple[float, float | None]:
    """Return a written loss in dB and the half width of its 95 % interval, None where none is written.

    >>> loss_with_interval("3 dB"), loss_with_interval("3 dB +- 0.5"), loss_with_interval("2.5 to 3.5 dB")
    ((3.0, None), (3.0, 0.5), (3.0, 0.5))
    """
    low, to, high = text.partition(" to ")
    if to:
        first, last = loss(_with_unit(low), name), loss(_with_unit(high), name)
        if not first < last:
            raise InputError(name, say("must rise from low to high; got {value}", value=repr(text)))
        return (first + last) / 2, (last - first) / 2
    middle, sign, half = re.sub(r"\+/-|\+-", "±", text).partition("±")
    if not sign:
        return loss(text, name), None
    width = ratio_db(_with_unit(half), f"{name} interval")
    if width < 0:
        raise InputError(f"{name} interval", say("must not be negative; got {value}", value=repr(text)))
    return loss(_with_unit(middle), name), width


def _with_unit(text: str) -> str:
    """Return a part of a written range; its unit may stand at the other part alone."""
    return text.strip() if re.search(r"[a-zA-Z]", text) else f"{text.strip()} dB"


def written_seen(kind: str, text: str, hertz: float | None, step: float | None, directivity_db: float | None) -> Seen:
    """Return a single reading as written down.

    Parameters
    ----------
    kind : str
        "shack_swr", "return_loss" or "impedance".
    text : str
        The reading.
    hertz, step, directivity_db : float, optional
        The frequency, the step it was read to (else its last digit), and the bridge's directivity.

    >>> written_seen("shack_swr", "1.30", None, None, None).swr_step
    0.01
    """
    f = None if hertz is None else np.array([hertz])
    read_to = step_of(text) if step is None else step
    if kind == "impedance":
        z = impedance(text, "impedance")
        return seen_impedance(z, read_to, frequency_hz=f, directivity_db=directivity_db)
    if kind == "return_loss":
        loss_db = return_loss_db(text)
        return seen_return_loss(loss_db, read_to, frequency_hz=f, directivity_db=directivity_db)
    return seen_swr(swr(text), read_to, frequency_hz=f, directivity_db=directivity_db)


# A curve seen at the radio: a CSV of frequency and SWR (or return loss, or impedance), or a Touchstone file

FREQUENCY = {"frequency": 0.0, "frequency_hz": 1.0, "frequency_khz": 1e3, "frequency_mhz": 1e6}
VALUE = ("swr", "return_loss", "return_loss_db", "resistance_ohm", "reactance_ohm")
Row = tuple[int, dict[str, str]]


def read_curve(path: Path | str, *, step: float | None = None, directivity_db: float | None = None) -> Seen:
    """Return a curve seen at the radio.

    Parameters
    ----------
    path : Path or str
        A Touchstone file (ending in .s1p, .s2p ...: port 1 is read), or a CSV with the column ``frequency`` (written
        with its unit) or ``frequency_mhz``, ``frequency_khz``, ``frequency_hz`` (bare), and one of ``swr``,
        ``return_loss`` (with its unit), ``return_loss_db``, or both ``resistance_ohm`` and ``reactance_ohm``.
    step : float, optional
        The step the values were read to; without it, the finest decimal in the file.
    directivity_db : float, optional
        Of the bridge; without it, what such an instrument usually has.

    Raises
    ------
    InputError
        If the file breaks a rule; several problems come in one ``SheetError``.
    """
    path = Path(path)
    if _is_touchstone(path):
        from linewright.files.touchstone import read_touchstone

        return seen_sweep(read_touchstone(path), directivity_db)
    return read_curve_text(read_text(path, "curve"), str(path), step=step, directivity_db=directivity_db)


def read_curve_text(
    text: str, name: str = "curve", *, step: float | None = None, directivity_db: float | None = None
) -> Seen:
    r"""Return a curve from the text of its CSV.

    >>> seen = read_curve_text("frequency_mhz,swr\n144,1.5\n145,1.2\n146,1.6\n")
    >>> seen.frequency_hz, seen.swr_step
    (array([1.44e+08, 1.45e+08, 1.46e+08]), 0.1)
    """
    if not text.strip():
        raise InputError(
            "curve", say("is empty"), where=Culprit(name), cure=say("Start with the headings frequency_mhz,swr.")
        )
    source = SourceText(name, text)
    rows = list(csv_rows(source, (), (*FREQUENCY, *VALUE, "note")))
    if source.problems:
        raise gathered(source.problems)
    axis, kind = _columns(source, rows)
    f = _column(source, rows, axis, _frequency_reader(axis))
    values = {column: _column(source, rows, column, _READERS[column]) for column in kind}
    if source.problems:
        raise gathered(source.problems)
    hertz, order = np.unique(np.array(f), return_index=True)
    if len(hertz) != len(f):
        raise _twice(source, rows, f)
    arrays = {column: np.array(found)[order] for column, found in values.items()}
    finest = step if step is not None else min(step_of(row[c]) for _, row in rows for c in kind)
    return _seen(arrays, hertz, finest, directivity_db, Path(name).name)


def _seen(arrays: dict[str, np.ndarray], f: np.ndarray, step: float, directivity_db: float | None, name: str) -> Seen:
    if "swr" in arrays:
        return seen_swr(arrays["swr"], step, frequency_hz=f, directivity_db=directivity_db, name=name)
    if "resistance_ohm" in arrays:
        z = arrays["resistance_ohm"] + 1j * arrays["reactance_ohm"]
        return seen_impedance(z, step, frequency_hz=f, directivity_db=directivity_db, name=name)
    (loss,) = arrays.values()
    return seen_return_loss(loss, step, frequency_hz=f, directivity_db=directivity_db, name=name)


def _is_touchstone(path: Path) -> bool:
    ending = path.suffix.lower()
    return ending == ".ts" or (ending.startswith(".s") and ending.endswith("p") and ending[2:-1].isdigit())


def _columns(source: SourceText, rows: list[Row]) -> tuple[str, tuple[str, ...]]:
    """Return which column holds the frequency and which hold what was seen; two of a kind are refused."""
    if not rows:
        cure = say("Add rows below the headings, such as 144.0,1.5 below frequency_mhz,swr.")
        raise InputError("curve", say("holds no reading"), where=Culprit(source.name), cure=cure)
    found = dict.fromkeys(column for _, row in rows for column in row)
    axes = [c for c in FREQUENCY if c in found]
    kinds = [c for c in ("swr", "return_loss", "return_loss_db", "resistance_ohm") if c in found]
    if len(axes) != 1:
        cure = say("Name one column frequency (144.0 MHz) or frequency_mhz (144.0).")
        raise InputError("frequency", say("must stand in one column"), where=Culprit(source.name), cure=cure)
    if len(kinds) != 1 or ("reactance_ohm" in found) != (kinds[0] == "resistance_ohm"):
        cure = say("Name one column swr, return_loss_db, or two resistance_ohm and reactance_ohm.")
        raise InputError(
            "what was seen", say("must stand in one kind of column"), where=Culprit(source.name), cure=cure
        )
    return axes[0], ("resistance_ohm", "reactance_ohm") if kinds[0] == "resistance_ohm" else (kinds[0],)


def _column(source: SourceText, rows: list[Row], column: str, read: Callable[[str, str], float]) -> list[float]:
    out = []
    for number, row in rows:
        try:
            if column not in row:
                raise InputError(column, say("is missing"), cure=say("Fill in the cell."))
            out.append(read(row[column], column))
        except InputError as error:
            source.note(error, number)
    return out


def _frequency_reader(axis: str) -> Callable[[str, str], float]:
    scale = FREQUENCY[axis]
    if not scale:
        return fields.frequency

    def bare(text: str, name: str) -> float:
        return fields.frequency(f"{fields.written_number(text, name) * scale:.6f} Hz", name)

    return bare


def _bare_loss(text: str, name: str) -> float:
    return return_loss_db(f"{fields.written_number(text, name)} dB", name)


def _resistance(text: str, name: str) -> float:
    found = fields.written_number(text, name)
    if found < 0:
        raise InputError(
            name,
            say("must be zero or more; got {value}", value=text),
            cure=say("What is passive has no negative resistance."),
        )
    return found


_READERS: dict[str, Callable[[str, str], float]] = {
    "swr": swr,
    "return_loss": return_loss_db,
    "return_loss_db": _bare_loss,
    "resistance_ohm": _resistance,
    "reactance_ohm": fields.written_number,
}


def _twice(source: SourceText, rows: list[Row], f: list[float]) -> InputError:
    again = next(i for i in range(len(f)) if f[i] in f[:i])
    where = Culprit(source.name, rows[again][0])
    return InputError("frequency", say("stands twice in the curve"), where=where, cure=say("Drop one row."))


# Inline tables, such as ``antenna = {swr = 1.5}``, and lists of them, each with the row it stands in

_SIGN = re.compile(r'"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*|[\[\]{}\n]')


class Inline(TomlTable):
    """A table within another. It has a label and a row of its own; what is wrong in it is wrong in the outer one."""

    def __init__(self, outer: TomlTable, label: str, content: Any, row: int | None) -> None:
        self._outer, self._label, self._row = outer, label, row
        super().__init__(outer.source, label, content)

    @property
    def label(self) -> str:
        """What to call the table in an error."""
        return self._label

    def fail(self, error: InputError, key: str | None = None) -> None:
        """Note a problem with this table, and so with the outer one."""
        self.bad = self._outer.bad = True
        self.source.note(error, self._row)

    def cure_of(self, key: str) -> str:
        """Return what to do about a key that means nothing here: it may belong to the outer table."""
        if self._outer.knows(key):
            return say("It belongs one level up, outside this table.")
        return super().cure_of(key)

    def told(self, error: InputError) -> None:
        """Note a problem of another file, which keeps its own place."""
        self.bad = self._outer.bad = True
        self.source.problems.append(error)


def inline(outer: TomlTable, key: str) -> Inline | None:
    """Return the inline table of a key; None when it is not there, or is no table (which is noted)."""
    content: dict[str, Any] | None = outer.take(key, lambda value, name: _table(value, name, key), None)
    return None if content is None else Inline(outer, f"{outer.label} {key}", content, _row(outer, key))


def _table(value: Any, name: str, key: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise InputError(
            name,
            say("must be a table; got {value}", value=repr(value)),
            cure=say("Write {example} = {{...}} with its keys.", example=key),
        )
    return value


def inlines(outer: TomlTable, key: str, word: str) -> list[Inline]:
    """Return the inline tables of a list; entries that are no tables are noted. ``word`` names one of them."""
    content = outer.take(key, _list)
    found = []
    for i, (entry, row) in enumerate(zip(content or [], entry_rows(outer, key, len(content or [])), strict=True), 1):
        if isinstance(entry, dict):
            found.append(Inline(outer, f"{outer.label} {word} {i}", entry, row))
        else:
            outer.bad = True
            rule = say("must be a table; got {value}", value=repr(entry))
            outer.source.note(
                InputError(f"{outer.label} {word} {i}", rule, cure=say("Write it in braces: {{...}}.")), row
            )
    return found


def _list(value: Any, name: str) -> list[Any]:
    if not isinstance(value, list):
        raise InputError(
            name, say("must be a list; got {value}", value=repr(value)), cure=say("Write it in brackets: [...].")
        )
    return value


def _row(outer: TomlTable, key: str) -> int | None:
    return outer.source.row(outer.name, outer.index, key)


def entry_rows(outer: TomlTable, key: str, count: int) -> list[int | None]:
    """Return the row of every entry of a list, or the list's own where an entry's cannot be found."""
    row = _row(outer, key)
    found = list(_rows_from(outer.source, row)) if row else []
    return [*found[:count], *[row] * (count - len(found))]


@lru_cache(maxsize=4)
def _starts(text: str) -> list[int]:
    """Return where each row starts; kept, as a file may hold a thousand lists."""
    return [0, *(match.end() for match in re.finditer("\n", text))]


def _rows_from(source: SourceText, row: int) -> Iterator[int]:
    """Yield the rows of the braces that open directly in the list which starts on a row."""
    start = _starts(source.text)[row - 1]
    open_now = 0
    for sign in _SIGN.finditer(source.text, start):
        here = sign[0]
        if here == "\n":
            row += 1
        elif here in "[{":
            open_now += 1
            if here == "{" and open_now == 2:
                yield row
        elif here in "]}":
            open_now -= 1
            if open_now <= 0:
                return
