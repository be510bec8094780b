"""What the numbers of a Touchstone file must obey before they count as a sweep."""

from __future__ import annotations

from pathlib import PurePath

import numpy as np

from linewright.errors import Culprit, InputError, gathered
from linewright.formats.touchstone_header import Header
from linewright.formats.touchstone_option import UNITS
from linewright.formats.touchstone_parameters import normalised, scattering
from linewright.formats.touchstone_rows import Rows
from linewright.model.sweep import Complexes, Floats, Sweep

LEAST_HZ, MOST_HZ = 1e3, 3e12
"""A sweep that ends below the first or reaches beyond the second has its unit wrong (common practice, no source)."""
USUAL_HZ = (1e5, 3e11)
MOST_S = 1e6
ALIKE = 0.02
MOST_SAID = 20


def checked(frequency_hz: Floats, values: Complexes, rows: Rows, header: Header, name: str) -> Sweep:
    """Return the sweep if its numbers can be meant.

    Raises
    ------
    InputError
        With every culprit found, up to twenty.
    """
    check = _Check(frequency_hz, values, rows, header, name)
    check.plausible()
    check.rising()
    reference_ohm = check.reference()
    s = check.to_scattering(reference_ohm)
    check.finite(s)
    if check.problems:
        raise gathered(check.problems)
    check.order(s)
    f, s = check.without_doubles(s)
    return Sweep(PurePath(name).name, f, s, reference_ohm, tuple(header.remarks))


class _Check:
    def __init__(self, frequency_hz: Floats, values: Complexes, rows: Rows, header: Header, name: str) -> None:
        self.f, self.values, self.rows, self.header, self.name = frequency_hz, values, rows, header, name
        self.problems: list[InputError] = []

    def fail(self, point: int | None, argument: str, rule: str, cure: str) -> None:
        """Note a problem at a point, if it is not one too many."""
        row = None if point is None else int(self.rows.row[point])
        if len(self.problems) < MOST_SAID:
            self.problems.append(InputError(argument, rule, where=Culprit(self.name, row), cure=cure))

    def plausible(self) -> None:
        """Check that the frequencies fit the unit of the option line."""
        for i in np.flatnonzero(~np.isfinite(self.f) | (self.f < 0))[:MOST_SAID]:
            self.fail(int(i), "frequency", f"must not be negative; got {self.f[i]:g} Hz", "Drop the row.")
        low, high = float(self.f[0]), float(self.f.max())
        if self.problems or LEAST_HZ <= high <= MOST_HZ:
            return
        unit, hertz = UNITS[self.header.option.unit]
        fits = [u for u, h in UNITS.values() if USUAL_HZ[0] <= high / hertz * h <= USUAL_HZ[1]]
        cure = "Is the unit wrong? "
        cure += f"{' or '.join(fits)} would make sense: correct the option line." if fits else "Check the option line."
        self.fail(0, "frequency", f"from {low:g} to {high:g} Hz cannot be meant (the option line says {unit})", cure)

    def rising(self) -> None:
        """Check that no frequency falls."""
        for i in np.flatnonzero(np.diff(self.f) < 0)[:MOST_SAID]:
            rule = f"must rise from row to row; {self.f[i + 1]:g} Hz stands after {self.f[i]:g} Hz"
            self.fail(int(i) + 1, "frequency", rule, "Sort the rows by frequency, or drop what was added twice.")

    def reference(self) -> Complexes:
        """Return one reference a port."""
        told = self.header.reference_ohm
        ports = self.rows.ports
        if len(told) not in (1, ports):
            self.fail(None, "reference", f"must be one value or one for each of {ports} ports; got {len(told)}", "")
            told = told[:1]
        return np.full(ports, told[0]) if len(told) == 1 else np.array(told)

    def to_scattering(self, reference_ohm: Complexes) -> Complexes:
        """Return scattering parameters; in version 1 the others stand normalised, in version 2 they do not."""
        parameter = self.header.option.parameter
        if parameter == "s" or self.problems:
            return self.values
        what = f"{parameter.upper()} parameters"
        if reference_ohm.imag.any():
            self.fail(None, what, "need real references", "Save the file again with S parameters.")
        elif parameter in "hg" and self.rows.ports != 2:
            self.fail(None, what, f"belong to two ports; the file has {self.rows.ports}", "Check the option line.")
        else:
            values = self.values
            if self.header.version != "1":
                values = normalised(parameter, values, reference_ohm.real)
            return scattering(parameter, values)
        return self.values

    def finite(self, s: Complexes) -> None:
        """Check that every parameter is a number an analyser could show."""
        with np.errstate(over="ignore", invalid="ignore"):
            bad = ~(np.abs(s) <= MOST_S).all(axis=(1, 2))
        for i in np.flatnonzero(bad)[:MOST_SAID]:
            rule = "holds a value that cannot be meant (not finite, or above 120 dB)"
            self.fail(int(i), "row", rule, "Drop the row, or check the option line.")

    def order(self, s: Complexes) -> None:
        """Note where it is not certain which of S21 and S12 a column is."""
        if not self.rows.split or self.header.version != "1":
            return
        apart = float(np.abs(s[:, 0, 1] - s[:, 1, 0]).max())
        self.header.remarks.append(
            "a point goes over two rows, which the standard does not have for two ports; the order of S21 and S12 is "
            f"not certain (they differ by at most {apart:.2g})"
        )

    def without_doubles(self, s: Complexes) -> tuple[Floats, Complexes]:
        """Return the sweep without frequencies that stand twice with the same data.

        Raises
        ------
        InputError
            If the data differ.
        """
        same = np.diff(self.f) == 0
        if not same.any():
            return self.f, s
        apart = np.abs(np.diff(s, axis=0)).max(axis=(1, 2))
        for i in np.flatnonzero(same & (apart > ALIKE))[:MOST_SAID]:
            rule = f"{self.f[i]:g} Hz stands twice with different data"
            self.fail(int(i) + 1, "frequency", rule, "Keep one of the rows.")
        if self.problems:
            raise gathered(self.problems)
        keep = np.concatenate(([True], ~same))
        self.header.remarks.append(f"{int(same.sum())} frequencies stood twice; the first of each is kept")
        return self.f[keep], s[keep]
