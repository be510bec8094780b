"""A curve seen at the radio: a CSV of frequency and SWR (or return loss, or impedance), or a Touchstone file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from linewright.errors import Culprit, InputError, gathered
from linewright.evidence.through.seen import seen_impedance, seen_return_loss, seen_sweep, seen_swr
from linewright.formats import fields, radio_side
from linewright.formats.csv_rows import csv_rows
from linewright.formats.tables import Source
from linewright.formats.texts import read_text
from linewright.model.through import Seen

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
        from linewright.formats.touchstone import read_touchstone

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
        raise InputError("curve", "is empty", where=Culprit(name), cure="Start with the headings frequency_mhz,swr.")
    source = Source(name, text)
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
    finest = step if step is not None else min(radio_side.step_of(row[c]) for _, row in rows for c in kind)
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


def _columns(source: Source, rows: list[Row]) -> tuple[str, tuple[str, ...]]:
    """Return which column holds the frequency and which hold what was seen; two of a kind are refused."""
    if not rows:
        cure = "Add rows below the headings, such as 144.0,1.5 below frequency_mhz,swr."
        raise InputError("curve", "holds no reading", where=Culprit(source.name), cure=cure)
    found = dict.fromkeys(column for _, row in rows for column in row)
    axes = [c for c in FREQUENCY if c in found]
    kinds = [c for c in ("swr", "return_loss", "return_loss_db", "resistance_ohm") if c in found]
    if len(axes) != 1:
        cure = "Name one column frequency (144.0 MHz) or frequency_mhz (144.0)."
        raise InputError("frequency", "must stand in one column", where=Culprit(source.name), cure=cure)
    if len(kinds) != 1 or ("reactance_ohm" in found) != (kinds[0] == "resistance_ohm"):
        cure = "Name one column swr, return_loss_db, or two resistance_ohm and reactance_ohm."
        raise InputError("what was seen", "must stand in one kind of column", where=Culprit(source.name), cure=cure)
    return axes[0], ("resistance_ohm", "reactance_ohm") if kinds[0] == "resistance_ohm" else (kinds[0],)


def _column(source: Source, rows: list[Row], column: str, read: Callable[[str, str], float]) -> list[float]:
    out = []
    for number, row in rows:
        try:
            if column not in row:
                raise InputError(column, "is missing", cure="Fill in the cell.")
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
    return radio_side.return_loss_db(f"{fields.written_number(text, name)} dB", name)


def _resistance(text: str, name: str) -> float:
    found = fields.written_number(text, name)
    if found < 0:
        raise InputError(name, f"must be zero or more; got {text}", cure="What is passive has no negative resistance.")
    return found


_READERS: dict[str, Callable[[str, str], float]] = {
    "swr": radio_side.swr,
    "return_loss": radio_side.return_loss_db,
    "return_loss_db": _bare_loss,
    "resistance_ohm": _resistance,
    "reactance_ohm": fields.written_number,
}


def _twice(source: Source, rows: list[Row], f: list[float]) -> InputError:
    again = next(i for i in range(len(f)) if f[i] in f[:i])
    where = Culprit(source.name, rows[again][0])
    return InputError("frequency", "stands twice in the curve", where=where, cure="Drop one row.")
