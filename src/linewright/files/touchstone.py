"""Touchstone files: sweeps of an analyser in and out.

Files from the field break the standard in many ways (a missing option line, a wrong unit, rows cut short): what a file
says is checked before its numbers count, and after.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from pathlib import Path, PurePath
from stat import S_ISDIR, S_ISREG

import numpy as np

from linewright.core.arrays import Complexes, Floats
from linewright.core.errors import CannotError, Culprit, InputError, gathered
from linewright.core.messages import say, say_many
from linewright.core.nouns.sweep import Sweep
from linewright.files.tables import decoded, read_text
from linewright.files.touchstone_header import UNITS, Header, read_header, written_ohms
from linewright.files.touchstone_rows import Rows, first_strange, rows_of

# A sweep as the text of a Touchstone file

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

    >>> from linewright.core.nouns.sweep import Sweep
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
            raise InputError(
                "sweep", say("must have real references for version 2"), cure=say("Write it as .s1p, .s2p, ...")
            )
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
        raise InputError(
            "sweep", say("must have parameters for each of its points and ports; got {value}", value=str(s.shape))
        )
    if not (np.isfinite(f).all() and np.isfinite(s).all() and np.isfinite(ohm).all() and (ohm.real > 0).all()):
        raise InputError("sweep", say("must hold finite numbers, its references above 0 ohm"))
    if f[0] < 0 or (np.diff(f) <= 0).any():
        raise InputError("sweep", say("must have rising frequencies"))


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


# Pairs of numbers to complex ones, and impedance, admittance and hybrid parameters to scattering parameters

DRIVEN = {"z": (1.0, 1.0), "y": (-1.0, -1.0), "h": (1.0, -1.0), "g": (-1.0, 1.0)}
"""What stands on the right of the equations at port 1 and at the others: 1 a current, -1 a voltage."""


def from_pairs(layout: str, first: Floats, second: Floats) -> Complexes:
    """Return complex numbers from pairs: real and imaginary part, or magnitude (plain or in dB) and angle in degrees.

    What overflows is not finite.

    >>> complex(from_pairs("db", np.array(-20.0), np.array(90.0)).round(6))
    0.1j
    """
    if layout == "ri":
        return np.asarray(first + 1j * second)
    with np.errstate(all="ignore"):
        magnitude = first if layout == "ma" else np.asarray(10 ** (first / 20))
        return np.asarray(magnitude * np.exp(1j * np.radians(second)))


def normalised(parameter: str, values: Complexes, reference_ohm: Floats) -> Complexes:
    """Return Z, Y, H or G parameters in ohms and siemens as pure numbers, each port by its own reference.

    >>> normalised("h", np.array([[[75, 1], [1, 0.02]]], dtype=complex), np.array([75.0, 50.0])).real.round(3).tolist()
    [[[1.0, 0.816], [0.816, 1.0]]]
    """
    root = np.sqrt(reference_ohm) ** _signs(parameter, values.shape[1])
    result: Complexes = values / root[:, None] / root[None, :]
    return result


def scattering(parameter: str, values: Complexes) -> Complexes:
    """Return the scattering parameters of normalised Z, Y, H or G parameters.

    With the waves ``a = (v + i)/2`` and ``b = (v - i)/2`` of normalised voltage and current, and ``w = M u`` where each
    port's ``u`` is its current (sign 1) or its voltage (sign -1): ``a = (M + 1) u / 2`` and ``b = sign (M - 1) u / 2``,
    so ``S = sign (M - 1) (M + 1)^-1``. One formula serves all four; it needs no step through Z, which many a sound
    two-port does not have (a through has no Z parameters).

    Parameters
    ----------
    parameter : str
        ``z``, ``y``, ``h`` or ``g``; the last two for two ports only.
    values : ndarray of complex, shape (f, n, n)
        Normalised to real references.

    Returns
    -------
    ndarray of complex, shape (f, n, n)
        Not finite where no scattering parameters exist.

    >>> through = np.array([[[0, 1], [-1, 0]]], dtype=complex)
    >>> np.abs(scattering("h", through)).tolist()
    [[[0.0, 1.0], [1.0, 0.0]]]
    """
    one = np.eye(values.shape[1])
    above, below = (values - one).transpose(0, 2, 1), (values + one).transpose(0, 2, 1)
    with np.errstate(all="ignore"):
        try:
            turned = np.linalg.solve(below, above)
        except np.linalg.LinAlgError:
            turned = np.stack([_solved(b, a) for b, a in zip(below, above, strict=True)])
        result: Complexes = _signs(parameter, values.shape[1])[:, None] * turned.transpose(0, 2, 1)
    return result


def _signs(parameter: str, ports: int) -> Floats:
    first, other = DRIVEN[parameter]
    return np.array([first] + [other] * (ports - 1))


def _solved(below: Complexes, above: Complexes) -> Complexes:
    try:
        return np.asarray(np.linalg.solve(below, above), dtype=np.complex128)
    except np.linalg.LinAlgError:
        return np.full_like(above, np.nan)


# What the numbers of a Touchstone file must obey before they count as a sweep

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
        rule = say("must be finite and not below 0 Hz; got {value}", value=format(f[i], "g"))
        problems.append(header.problem(int(rows.row[i]), "frequency", rule, say("Drop the row.")))
    if not problems and not LEAST_HZ <= f.max() <= MOST_HZ:
        problems.append(_wrong_unit(float(f.min()), float(f.max()), rows, header))
    if problems:
        return problems
    for i in np.flatnonzero(np.diff(f) < 0)[:MOST_SAID]:
        rule = say(
            "must rise from row to row; {frequency} Hz stands after {higher} Hz",
            frequency=format(f[i + 1], "g"),
            higher=format(f[i], "g"),
        )
        cure = say("Sort the rows by frequency, or drop what was added twice.")
        problems.append(header.problem(int(rows.row[i + 1]), "frequency", rule, cure))
    return problems


def _wrong_unit(low: float, high: float, rows: Rows, header: Header) -> InputError:
    name, hertz = UNITS[header.option.unit]
    fits = [u for u, h in UNITS.values() if USUAL_HZ[0] <= high / hertz * h <= USUAL_HZ[1]]
    cure = (
        say("{fits} would make sense: correct the option line.", fits=" or ".join(fits))
        if fits
        else say("Check the option line.")
    )
    rule = say(
        "cannot be meant: in {name}, as the option line says, it goes from {low} to {high} Hz",
        name=name,
        low=format(low, "g"),
        high=format(high, "g"),
    )
    return header.problem(int(rows.row[0]), "frequency", rule, cure)


def _reference(rows: Rows, header: Header) -> Complexes:
    """Return one reference a port."""
    told = header.reference_ohm
    if len(told) not in (1, rows.ports):
        rule = say(
            "must be one value, or one for each of {ports} ports; got {value}", ports=rows.ports, value=len(told)
        )
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
        rule = say("holds a value that cannot be meant: not finite, or above 120 dB")
        cure = say("Drop the row, or check the option line.")
        raise gathered([header.problem(int(r), "row", rule, cure) for r in rows.row[bad][:MOST_SAID]])
    return values


def _all_positive(magnitude: Floats, rows: Rows, header: Header) -> None:
    below = (magnitude < 0).any(axis=(1, 2))
    if below.any():
        rule = say("holds a magnitude below 0, which MA does not have")
        raise header.problem(
            int(rows.row[below][0]), "row", rule, say("The numbers look like RI or DB: correct the option line.")
        )


def _convertible(parameter: str, reference_ohm: Complexes, rows: Rows, header: Header) -> None:
    what = f"{parameter.upper()} parameters"
    if reference_ohm.imag.any():
        raise header.problem(
            header.option_row, what, say("need real references"), say("Save the file again as S parameters.")
        )
    if parameter in "hg" and rows.ports != 2:
        rule = say("belong to two ports; the file has {ports}", ports=rows.ports)
        raise header.problem(header.option_row, what, rule, say("Check the option line."))


def _remark_order(s: Complexes, rows: Rows, header: Header) -> None:
    """Say where it is not certain which of S21 and S12 a column is."""
    if rows.ports != 2 or header.version_2:
        return
    apart = float(np.abs(s[:, 0, 1] - s[:, 1, 0]).max())
    if rows.broken:
        if apart > ALIKE:
            rule = say("goes over several rows, so that the order of S21 and S12 is not certain, and they differ")
            cure = say("Write each point on one row: frequency, S11, S21, S12, S22.")
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
        cure = say("Keep one of the rows.")
        raise gathered(
            [
                header.problem(
                    int(rows.row[i]),
                    "frequency",
                    say("{frequency} Hz stands twice, with other data", frequency=format(f[i], "g")),
                    cure,
                )
                for i in at
            ]
        )
    keep = np.concatenate(([True], ~same))
    header.remarks.append(f"of frequencies that stand twice ({int(same.sum())}) the first point is kept")
    return f[keep], s[keep]


# The numbers of a Touchstone file


def numbers_of(rows: Rows, header: Header) -> tuple[Floats, Complexes]:
    """Return frequencies in hertz, shape (f,), and the pairs of each point as complex numbers, shape (f, n, n).

    A triangle stands for a matrix that is the same both ways: it is mirrored.

    Raises
    ------
    InputError
        If a word is no number.
    """
    n, matrix, by_row = rows.ports, header.told.matrix, header.version_2 and header.told.order == "12_21"
    pairs_a_point = n * n if matrix == "full" else n * (n + 1) // 2
    table = _floats(rows, header, 1 + 2 * pairs_a_point)
    pairs = np.ascontiguousarray(table[:, 1:]).view(np.complex128)
    if matrix == "full":
        s = pairs.reshape(-1, n, n)
        s = s if n != 2 or by_row else s.transpose(0, 2, 1).copy()
    else:
        s = np.empty((len(pairs), n, n), dtype=np.complex128)
        row, column = np.tril_indices(n) if matrix == "lower" else np.triu_indices(n)
        s[:, row, column] = s[:, column, row] = pairs
    return table[:, 0] * header.option.hertz, s


def _floats(rows: Rows, header: Header, a_point: int) -> Floats:
    """Return the numbers of the rows, shape (points, numbers a point); a word that is no number is named."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DeprecationWarning)  # what follows a strange word would be left out
            found = np.fromstring(rows.text, sep=" ")
        if found.size == len(rows.row) * a_point:
            return found.reshape(-1, a_point)
    except (DeprecationWarning, ValueError):
        pass
    # Slower, but word by word: NumPy reads "1.5-2" as two numbers.
    try:
        return np.array([float(word) for word in rows.text.split()]).reshape(-1, a_point)
    except ValueError as cause:
        i, word = first_strange(rows.text.split("\n"))
        raise header.problem(
            i + header.data.start, "row", say("must hold numbers only; got {value}", value=repr(word))
        ) from cause


# Touchstone files: sweeps of an analyser in and out

__all__ = ["ports_of", "read_touchstone", "read_touchstone_text", "touchstone_text", "write_touchstone"]

MOST_LINES = 1_000_000
"""As many as hold the most numbers, eight in a row."""
LONGEST_LINE = 200_000


def read_touchstone(path: str | Path, *, option_line: str | None = None) -> Sweep:
    """Read a Touchstone file of version 1 or 2.

    Parameters
    ----------
    path : str or Path
        The file. An ending such as ``.s2p`` tells its ports.
    option_line : str, optional
        What the numbers are, such as ``# GHz S RI R 50``: used in place of the file's own option line.

    Returns
    -------
    Sweep
        Scattering parameters against rising frequency, referred to what the file says; ``remarks`` tell of flaws.

    Raises
    ------
    InputError
        With file, row, rule and cure, if the file cannot be read or what it holds cannot be meant.

    References
    ----------
    Touchstone File Format Specification, version 2.0, IBIS Open Forum 2009.

    >>> from linewright.verbs.examples import demo_file
    >>> sweep = read_touchstone(demo_file("drum.s2p"))
    >>> sweep.ports, sweep.s.shape[1:]
    (2, (2, 2))
    """
    path = Path(path)
    _plain_file(path)
    return read_touchstone_text(read_text(path, "touchstone file"), str(path), option_line=option_line)


def read_touchstone_text(
    text: str | bytes, name: str, *, ports: int | None = None, option_line: str | None = None
) -> Sweep:
    r"""Read the content of a Touchstone file; ``ports`` is told by the name's ending if it is not given.

    Raises
    ------
    InputError
        As ``read_touchstone`` does.

    >>> sweep = read_touchstone_text("# MHz S MA R 50\n2.000 0.894 -12.136", "spec.s1p")  # Touchstone 1.1, 1-port
    >>> sweep.frequency_hz.tolist(), complex(sweep.reflection[0].round(6))
    ([2000000.0], (0.87402-0.187948j))
    """
    lines = _lines(text, name)
    if not any(line.strip() for line in lines):
        cure = say("Save the sweep again; perhaps the analyser had not written it yet.")
        raise InputError("touchstone file", say("is empty"), where=Culprit(name), cure=cure)
    header = read_header(lines, name, option_line)
    rows = rows_of(lines, header, ports if ports is not None else ports_of(name))
    del lines
    return sweep_of(*numbers_of(rows, header), rows, header)


def write_touchstone(sweep: Sweep, path: str | Path, *, comments: tuple[str, ...] = ()) -> None:
    """Write a sweep as a Touchstone file.

    Parameters
    ----------
    sweep : Sweep
        At least one point; ``s`` of shape (f, ports, ports).
    path : str or Path
        Ends in ``.s2p`` (the number its ports) or ``.ts``, which is always of version 2.
    comments : tuple of str
        What to say on top.

    Returns
    -------
    None
        The file is written.

    Raises
    ------
    InputError
        If the ending does not fit the sweep, or the sweep could not be read back.
    CannotError
        If the file cannot be written.

    References
    ----------
    Touchstone File Format Specification, version 2.0, IBIS Open Forum 2009.

    >>> from linewright.verbs.examples import demo_file
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as place:
    ...     copy = Path(place) / "copy.s2p"
    ...     write_touchstone(read_touchstone(demo_file("drum.s2p")), copy)
    ...     read_touchstone(copy).ports
    2
    """
    path = Path(path)
    ending = path.suffix.lower()
    if ending not in (f".s{sweep.ports}p", ".ts"):
        rule = say_many(
            "must end in .s{count}p or .ts for {count} port",
            "must end in .s{count}p or .ts for {count} ports",
            sweep.ports,
        )
        raise InputError("path", rule, where=Culprit(str(path)), cure=say("Rename it."))
    text = touchstone_text(sweep, comments=comments, version_2=ending == ".ts")
    try:
        path.write_bytes(text.encode("ascii"))
    except (OSError, ValueError) as cause:
        raise CannotError(say("{path} cannot be written: {cause}", path=path, cause=cause)) from cause


def ports_of(name: str) -> int | None:
    """Return the ports a file's ending tells.

    >>> ports_of("drum.S2P"), ports_of("drum.ts")
    (2, None)
    """
    found = re.search(r"\.[syzhg]([0-9]{1,6})p$", name, re.IGNORECASE | re.ASCII)
    return int(found[1]) if found else None


def _plain_file(path: Path) -> None:
    """Refuse what has no end (a device, a pipe); what is not there is left to the reading."""
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):
        return
    if not (S_ISREG(mode) or S_ISDIR(mode)):
        raise InputError(
            "touchstone file", say("must be a plain file"), where=Culprit(str(path)), cure=say("Copy it to one.")
        )


def _lines(text: str | bytes, name: str) -> list[str]:
    if isinstance(text, bytes):
        text = decoded(text, "touchstone file", name)
    elif "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    # The last sign of a text file under some old systems.
    text = text.removeprefix("\ufeff").rstrip("\x1a")
    where = Culprit(name)
    if text.count("\n") > MOST_LINES:
        raise InputError(
            "touchstone file", say("must have at most {most} rows", most=format(MOST_LINES, ",")), where=where
        )
    lines = text.split("\n")
    if max(map(len, lines)) > LONGEST_LINE:
        raise InputError(
            "touchstone file",
            say("has a row of more than {longest_line} characters", longest_line=format(LONGEST_LINE, ",")),
            where=where,
        )
    return lines
