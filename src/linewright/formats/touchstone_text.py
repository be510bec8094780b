"""A sweep as the text of a Touchstone file."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from linewright.errors import InputError
from linewright.formats.touchstone_option import written_ohms
from linewright.model.sweep import Sweep

PAIRS_A_ROW = 4
PLAIN = str.maketrans({"Ω": "ohm", "µ": "u", "μ": "u", "–": "-", "−": "-", "°": "deg", "×": "x", "±": "+-"})


def touchstone_text(sweep: Sweep, *, comments: tuple[str, ...] = (), version_2: bool = False) -> str:
    """Return a sweep as a Touchstone file: hertz, real and imaginary parts, every digit.

    Version 1.1 for one or two ports with one real reference, unless version 2 is asked for; version 2 for more. Neither
    knows complex references: they are written in brackets on an option line of version 1.1, one for each port, as some
    programs do, and a comment says so.

    Raises
    ------
    InputError
        If the sweep is empty, its frequencies do not rise, a value is not finite, or version 2 is asked for with
        complex references.

    >>> from linewright.model.sweep import Sweep
    >>> sweep = Sweep("drum", np.array([7e6]), np.array([[[0.5 - 0.25j]]]), np.array([50 + 0j]))
    >>> print(touchstone_text(sweep, comments=("drum, far end open",)), end="")
    ! drum, far end open
    # Hz S RI R 50.0
    7000000.0 0.5 -0.25
    """
    _can_be_written(sweep)
    lines = [f"! {line}" for comment in comments for line in _plain(comment)]
    one = bool((sweep.reference_ohm == sweep.reference_ohm[0]).all())
    if sweep.reference_ohm.imag.any():
        if version_2:
            raise InputError("sweep", "must have real references for version 2", cure="Write it as .s1p, .s2p, ...")
        lines.append("! complex references, one for each port, are not in the standard")
        lines += [_option(sweep, sweep.ports), *_rows(sweep)]
    elif version_2 or not one or sweep.ports > 2:
        lines += [*_version_2(sweep), *_rows(sweep), "[End]"]
    else:
        lines += [_option(sweep, 1), *_rows(sweep)]
    return "\n".join(lines) + "\n"


def _can_be_written(sweep: Sweep) -> None:
    f, s, ohm = sweep.frequency_hz, sweep.s, sweep.reference_ohm
    if f.size == 0 or s.shape != (f.size, ohm.size, ohm.size):
        raise InputError("sweep", f"must have parameters for each of its points and ports; got {s.shape}")
    if not (np.isfinite(f).all() and np.isfinite(s).all() and np.isfinite(ohm).all() and (ohm.real > 0).all()):
        raise InputError("sweep", "must hold finite numbers, its references above 0 ohm")
    if f[0] < 0 or (np.diff(f) <= 0).any():
        raise InputError("sweep", "must have rising frequencies")


def _plain(comment: str) -> list[str]:
    """Return the lines of a comment in the signs the standard allows."""
    text = comment.translate(PLAIN).encode("ascii", "replace").decode("ascii")
    return ["".join(c if c.isprintable() else " " for c in line) for line in text.splitlines()]


def _option(sweep: Sweep, references: int) -> str:
    said = " ".join(written_ohms(complex(z)) for z in sweep.reference_ohm[:references])
    return f"# Hz S RI R {said}"


def _version_2(sweep: Sweep) -> list[str]:
    lines = ["[Version] 2.0", "# Hz S RI R 50", f"[Number of Ports] {sweep.ports}"]
    if sweep.ports == 2:
        lines.append("[Two-Port Data Order] 21_12")
    lines.append(f"[Number of Frequencies] {sweep.frequency_hz.size}")
    references = [written_ohms(complex(z)) for z in sweep.reference_ohm]
    lines.append("[Reference]")
    lines += [" ".join(references[i : i + PAIRS_A_ROW]) for i in range(0, len(references), PAIRS_A_ROW)]
    return [*lines, "[Network Data]"]


def _rows(sweep: Sweep) -> Iterator[str]:
    """Yield rows: a two-port's point on one, S21 before S12; else each row of the matrix anew, four pairs at most."""
    matrices = sweep.s.transpose(0, 2, 1).reshape(-1, 1, 4) if sweep.ports == 2 else sweep.s
    pairs = np.ascontiguousarray(matrices, dtype=np.complex128).view(np.float64)
    for frequency, point in zip(sweep.frequency_hz.tolist(), pairs.tolist(), strict=True):
        lead = f"{frequency!r} "
        for row in point:
            for i in range(0, len(row), 2 * PAIRS_A_ROW):
                yield lead + " ".join(map(repr, row[i : i + 2 * PAIRS_A_ROW]))
                lead = ""
