"""A line by its sweeps: how long it is electrically, and its velocity factor."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.core.errors import InputError
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.cut import ElectricalLine
from linewright.core.nouns.sweep import Interval, Sweep, SweepQuestion

if TYPE_CHECKING:
    from linewright.core.arrays import Floats
    from linewright.core.nouns.bench import Piece
    from linewright.core.nouns.line import LineType
    from linewright.core.nouns.sweep import FarEnd, SweepFinding


def swept_line(
    files: Sequence[Sweep | Path | str], at_hz: Sequence[float], far_end: Sequence[str] = (), *,
    name: str | None = None, asked: SweepQuestion | None = None, connectors: int = 2,
) -> ElectricalLine:  # fmt: skip
    """Return a line as its sweeps tell it.

    Parameters
    ----------
    files : sequence of Sweep or Path or str
        One two-port through the line; or one-ports of it, open or shorted, or both.
    at_hz : sequence of float
        Where its phase is wanted, in hertz.
    far_end : sequence of str
        "through", "open" or "short" for each; a lone two-port is through unless told.
    name : str, optional
        What to call it; else the first file's name.
    asked : SweepQuestion, optional
        Length, velocity factor, type.
    connectors : int
        How many connectors its sweep went through.

    Returns
    -------
    ElectricalLine
        Phases in radians at those frequencies, shape (f,), with their doubt; impedance in ohms.

    Raises
    ------
    InputError
        If a file cannot be read, its far end is not told, or the sweep does not tell one delay.

    >>> from linewright.verbs.examples import demo_file
    >>> line = swept_line([demo_file("drum.s2p")], [144.3e6])
    >>> line.basis, line.phase_rad.round(1).tolist()
    ('swept', [137.8])
    """
    from linewright.catalogue.lines import line_type
    from linewright.files.touchstone import read_touchstone

    asked = asked or SweepQuestion()
    read = [f if isinstance(f, Sweep) else read_touchstone(Path(f), option_line=asked.option_line) for f in files]
    if not read:
        raise InputError("files", say("must hold one sweep at least"))
    line = line_type(asked.line, asked.own) if isinstance(asked.line, str) else asked.line
    ends = far_end or ["through"] if len(read) == 1 and read[0].ports == 2 else far_end
    if len(ends) != len(read):
        cure = say("Say --far-end open or --far-end short, once for each one-port, in the order of the files.")
        raise InputError("far end", say("must be told for {name}", name=read[0].name), cure=cure)
    sweeps = dict(zip(map(far_end_of, ends), read, strict=True))
    return line_of(name or read[0].name, sweeps, at_hz, (asked.length_m, asked.velocity_factor, line), connectors)


def far_end_of(text: str) -> FarEnd:
    """Return a far end that tells a phase: through, open or short."""
    if text in ("through", "open", "short"):
        return text  # type: ignore[return-value]
    raise InputError("far end", say("must be through, open or short to tell a phase; got {value}", value=repr(text)))


def line_of(
    name: str, sweeps: Mapping[FarEnd, Sweep], at_hz: Sequence[float],
    known: tuple[float | None, float | None, LineType | None], connectors: int,
) -> ElectricalLine:  # fmt: skip
    """Return a line as sweeps by their far ends tell it; ``known`` holds its length, velocity factor and type."""
    from linewright.inference.sweep.phase import electrical_length

    length_m, _, line = known
    cut = {e: s if e == "through" or s.ports == 1 else _near(s) for e, s in sweeps.items()}
    middle = at_hz[len(at_hz) // 2]
    finding = _read(cut, known, (middle,))
    found = electrical_length(cut, finding, at_hz, length_m=length_m)
    ohm = _impedance(finding, middle) or (Interval(*(line.impedance_ohm,) * 3) if line else None)
    files = ", ".join(dict.fromkeys(s.name for s in sweeps.values()))
    return ElectricalLine(
        name, "swept", found.frequency_hz, found.phase_rad, found.phase_u_rad, length_m, connectors, line, ohm,
        _law_loss(finding), why=say("read off its sweep, {files}", files=files),
    )  # fmt: skip


def _near(sweep: Sweep) -> Sweep:
    return replace(sweep, s=sweep.s[:, :1, :1], reference_ohm=sweep.reference_ohm[:1])


def _read(
    sweeps: Mapping[FarEnd, Sweep], known: tuple[float | None, float | None, LineType | None],
    at_hz: Sequence[float] = (),
) -> SweepFinding:  # fmt: skip
    """Return what sweeps say of a line; ``known`` holds its length, velocity factor and type."""
    from linewright.inference.sweep.one_port import read_one_port
    from linewright.inference.sweep.two_port import read_two_port

    length_m, factor, line = known
    if "through" in sweeps:
        if len(sweeps) > 1:
            raise InputError("far end through", say("goes with no other file of the same line"))
        return read_two_port(
            sweeps["through"], length_m=length_m, velocity_factor=factor, line=line, at_hz=at_hz
        )  # fmt: skip
    return read_one_port(sweeps, length_m=length_m, velocity_factor=factor, line=line, at_hz=at_hz)


def _impedance(finding: SweepFinding, at_hz: float) -> Interval | None:
    """Return the impedance near a frequency, where thin conductors raise it, else that of the whole sweep."""
    near = [x for x in finding.impedances if abs(x.frequency_hz / at_hz - 1.0) < 0.1]
    if not near:
        return finding.impedance_ohm
    return min(near, key=lambda x: abs(x.frequency_hz - at_hz)).resistance_ohm


def _law_loss(finding: SweepFinding) -> Callable[[Floats], Floats] | None:
    law = finding.law
    if law is None:
        return None

    def loss(f: Floats) -> Floats:
        import numpy as np

        from linewright.inference.sweep.traces import law_design

        return np.asarray(law_design(f) @ law.draws.T)

    return loss


# The velocity factor of a piece that was swept, for all that lies on it


def swept_factor(piece: Piece, sweeps: Sequence[tuple[FarEnd, Sweep]]) -> float | None:
    """Return the velocity factor that the sweeps of a piece tell, connectors taken as part of it; None where none does.

    The newest sweep that tells a delay counts: the last of those named.
    """
    found = (_factor(_Swept(piece, end, sweep)) for end, sweep in reversed(sweeps))
    return next((factor for factor in found if factor is not None), None)


@dataclass(frozen=True, slots=True, eq=False)
class _Swept:
    """A sweep of a piece, known by its values, so that what it says can be remembered."""

    piece: Piece
    end: FarEnd
    sweep: Sweep

    @property
    def _values(self) -> tuple[object, ...]:
        line = self.piece.line
        return (self.piece.length_m, line and line.designator, self.end, self.sweep.frequency_hz.tobytes(),
                self.sweep.s.tobytes())  # fmt: skip

    def __hash__(self) -> int:
        return hash(self._values)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Swept) and self._values == other._values


@lru_cache(maxsize=64)
def _factor(told: _Swept) -> float | None:
    sweep = told.sweep if told.end == "through" else _near(told.sweep)
    try:
        found = _read({told.end: sweep}, (told.piece.length_m, None, told.piece.line)).velocity_factor
    except InputError:
        return None
    return None if found is None or not 0.3 <= found.value <= 1.0 else found.value
