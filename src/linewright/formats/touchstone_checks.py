"""What the numbers of a Touchstone file must obey before they count as a sweep."""

from __future__ import annotations

from pathlib import PurePath

import numpy as np

from linewright.errors import InputError, gathered
from linewright.formats.touchstone_header import Header
from linewright.formats.touchstone_option import UNITS
from linewright.formats.touchstone_parameters import from_pairs, normalised, scattering
from linewright.formats.touchstone_rows import Rows
from linewright.model.sweep import Complexes, Floats, Sweep

LEAST_HZ, MOST_HZ = 1e3, 3e12
"""A sweep that ends below the first or above the second has its unit wrong (common practice, no source)."""
USUAL_HZ = (1e5, 3e11)
"""Where sweeps of amateurs end: what a wrong unit is measured by (common practice, no source)."""
MOST_S = 1e6
"""120 dB: no parameter is larger (common practice, no source)."""
ALIKE = 0.02
"""Data at the same frequency that differ by less are one point measured twice (common practice, no source)."""
MOST_SAID = 20


def sweep_of(frequency_hz: Floats, pairs: Complexes, rows: Rows, header: Header) -> Sweep:
    """Return the sweep if its numbers can be meant.

    Parameters
    ----------
    frequency_hz : ndarray, shape (f,)
        As read.
    pairs : ndarray of complex, shape (f, n, n)
        The pairs of each point as they stand: the first of a pair as real part, the second as imaginary part.
    rows : Rows
        Where the points stand in the file.
    header : Header
        What the pairs are.

    Raises
    ------
    InputError
        With every culprit found, up to twenty of a kind.
    """
    if problems := _of_frequency(frequency_hz, rows, header):
        raise gathered(problems)
    reference_ohm = _reference(rows, header)
    s = _scattering(pairs, reference_ohm, rows, header)
    _remark_order(s, rows, header)
    frequency_hz, s = _single(frequency_hz, s, rows, header)
    if frequency_hz[0] == 0:
        header.remarks.append("the first point stands at 0 Hz")
    return Sweep(PurePath(header.name).name, frequency_hz, s, reference_ohm, tuple(header.remarks))


def _of_frequency(f: Floats, rows: Rows, header: Header) -> list[InputError]:
    problems = []
    for i in np.flatnonzero(~np.isfinite(f) | (f < 0))[:MOST_SAID]:
        rule = f"must be finite and not below 0 Hz; got {f[i]:g}"
        problems.append(header.problem(int(rows.row[i]), "frequency", rule, "Drop the row."))
    if not problems and not LEAST_HZ <= f.max() <= MOST_HZ:
        problems.append(_wrong_unit(float(f.min()), float(f.max()), rows, header))
    if problems:
        return problems
    for i in np.flatnonzero(np.diff(f) < 0)[:MOST_SAID]:
        rule = f"must rise from row to row; {f[i + 1]:g} Hz stands after {f[i]:g} Hz"
        cure = "Sort the rows by frequency, or drop what was added twice."
        problems.append(header.problem(int(rows.row[i + 1]), "frequency", rule, cure))
    return problems


def _wrong_unit(low: float, high: float, rows: Rows, header: Header) -> InputError:
    name, hertz = UNITS[header.option.unit]
    fits = [u for u, h in UNITS.values() if USUAL_HZ[0] <= high / hertz * h <= USUAL_HZ[1]]
    cure = f"{' or '.join(fits)} would make sense: correct the option line." if fits else "Check the option line."
    rule = f"cannot be meant: in {name}, as the option line says, it goes from {low:g} to {high:g} Hz"
    return header.problem(int(rows.row[0]), "frequency", rule, cure)


def _reference(rows: Rows, header: Header) -> Complexes:
    """Return one reference a port."""
    told = header.reference_ohm
    if len(told) not in (1, rows.ports):
        rule = f"must be one value, or one for each of {rows.ports} ports; got {len(told)}"
        raise header.problem(header.said.get("reference", header.option_row), "reference", rule)
    return np.array(told * rows.ports if len(told) == 1 else told, dtype=np.complex128)


def _scattering(pairs: Complexes, reference_ohm: Complexes, rows: Rows, header: Header) -> Complexes:
    """Return scattering parameters. In version 1 the others stand normalised, in version 2 in ohms and siemens."""
    parameter, layout = header.option.parameter, header.option.layout
    if layout == "ma":
        _all_positive(pairs.real, rows, header)
    values = from_pairs(layout, pairs.real, pairs.imag)
    if parameter != "s":
        _convertible(parameter, reference_ohm, rows, header)
        if header.version_2:
            values = normalised(parameter, values, reference_ohm.real)
        values = scattering(parameter, values)
    with np.errstate(all="ignore"):
        bad = ~(np.abs(values) <= MOST_S).all(axis=(1, 2))
    if bad.any():
        rule = "holds a value that cannot be meant: not finite, or above 120 dB"
        cure = "Drop the row, or check the option line."
        raise gathered([header.problem(int(r), "row", rule, cure) for r in rows.row[bad][:MOST_SAID]])
    return values


def _all_positive(magnitude: Floats, rows: Rows, header: Header) -> None:
    below = (magnitude < 0).any(axis=(1, 2))
    if below.any():
        rule = "holds a magnitude below 0, which MA does not have"
        raise header.problem(
            int(rows.row[below][0]), "row", rule, "The numbers look like RI or DB: correct the option line."
        )


def _convertible(parameter: str, reference_ohm: Complexes, rows: Rows, header: Header) -> None:
    what = f"{parameter.upper()} parameters"
    if reference_ohm.imag.any():
        raise header.problem(header.option_row, what, "need real references", "Save the file again as S parameters.")
    if parameter in "hg" and rows.ports != 2:
        rule = f"belong to two ports; the file has {rows.ports}"
        raise header.problem(header.option_row, what, rule, "Check the option line.")


def _remark_order(s: Complexes, rows: Rows, header: Header) -> None:
    """Say where it is not certain which of S21 and S12 a column is."""
    if rows.ports != 2 or header.version_2:
        return
    apart = float(np.abs(s[:, 0, 1] - s[:, 1, 0]).max())
    if rows.broken:
        if apart > ALIKE:
            rule = "goes over several rows, so that the order of S21 and S12 is not certain, and they differ"
            cure = "Write each point on one row: frequency, S11, S21, S12, S22."
            raise header.problem(int(rows.row[0]), "point", rule, cure)
        header.remarks.append("points go over several rows; the order of S21 and S12 is not certain, but they agree")
    elif header.s12_first and apart > ALIKE:
        header.remarks.append(
            f"row {header.s12_first}: a comment names S12 before S21; read as the standard has it, S21 first"
        )


def _single(f: Floats, s: Complexes, rows: Rows, header: Header) -> tuple[Floats, Complexes]:
    """Return the sweep with each frequency once; what stands twice must have the same data."""
    same = np.diff(f) == 0
    if not same.any():
        return f, s
    differ = same & (np.abs(np.diff(s, axis=0)).max(axis=(1, 2)) > ALIKE)
    if differ.any():
        at = np.flatnonzero(differ)[:MOST_SAID] + 1
        cure = "Keep one of the rows."
        raise gathered(
            [
                header.problem(int(rows.row[i]), "frequency", f"{f[i]:g} Hz stands twice, with other data", cure)
                for i in at
            ]
        )
    keep = np.concatenate(([True], ~same))
    header.remarks.append(f"of frequencies that stand twice ({int(same.sum())}) the first point is kept")
    return f[keep], s[keep]
