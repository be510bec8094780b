"""Each part of a run at some frequencies: what it loses behind a match, and how voltage and current pass through it."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from linewright.catalogue.connectors import connector
from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.formulas.coax import temperature_factor
from linewright.core.formulas.l_network import match
from linewright.core.formulas.lossy_line import impedance_skew, phase_rad
from linewright.core.formulas.sparameters import abcd_from_s, renormalise
from linewright.core.formulas.two_port import (
    Matrix,
    VoltageCurrent,
    attenuator,
    lossless_line,
    mismatch_step,
    splitter,
    through_line,
    through_matrix,
    transformer,
)
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.station import (
    ConnectorPart,
    LinePart,
    Part,
    PreamplifierPart,
    Run,
    SplitterPart,
    SweepPart,
    TransformerPart,
    TunerPart,
)
from linewright.core.quantities import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S, TWO_PI
from linewright.link.draws import Draws, curve_at, sweep_at

SYSTEM_OHM = 50.0


@dataclass(frozen=True, slots=True)
class Line:
    """A length of line at some frequencies: dB shaped (f, draws), phase (f, 1). ``ends_db`` is at both ends together.

    Connectors and joints are matched attenuators in the line's own impedance, half of them at either end.
    """

    belief: Belief
    impedance_ohm: float
    conductor_db: Floats
    dielectric_db: Floats
    ends_db: Floats
    phase_rad: Floats

    @property
    def nepers(self) -> Floats:
        """αl of the line without its ends."""
        return np.asarray((self.conductor_db + self.dielectric_db) / DB_PER_NEPER)

    @property
    def skew(self) -> Floats:
        """The x of the complex impedance ``R0 (1 - j x)``."""
        return impedance_skew(self.conductor_db, self.dielectric_db, self.phase_rad)

    @property
    def has_ends(self) -> bool:
        """Whether its ends lose anything."""
        return bool(np.any(self.ends_db))

    def back(self, state: VoltageCurrent) -> VoltageCurrent:
        """Return the state at the near end."""
        state = self.end(state)
        state = through_line(state, self.nepers, np.exp(1j * self.phase_rad), self.impedance_ohm, self.skew)
        return self.end(state)

    def end(self, state: VoltageCurrent) -> VoltageCurrent:
        """Return the state on the other side of the connectors of one end."""
        if not self.has_ends:
            return state
        return through_line(state, self.ends_db / (2.0 * DB_PER_NEPER), 1.0, self.impedance_ohm)


@dataclass(frozen=True, slots=True)
class RunSection:
    """One part at some frequencies.

    Attributes
    ----------
    matched_db : ndarray, (f, draws) or (f, 1)
        Loss with a match behind it.
    back : callable
        State at the antenna's end to state at the radio's.
    ways : int
        How many branches like the one that follows take power from its radio's end.
    line : Line, optional
        The line, where it is one.
    """

    part: Part
    matched_db: Floats
    back: Callable[[VoltageCurrent], VoltageCurrent]
    ways: int = 1
    line: Line | None = None


def sections(run: Run, frequency_hz: Floats, draws: Draws) -> tuple[RunSection, ...]:
    """Return the sections of a run at some frequencies (f,), from the radio to the antenna.

    Raises
    ------
    InputError
        If a part is not known at one of them.
    """
    return tuple(_section(part, i, run, frequency_hz, draws) for i, part in enumerate(run.chain))


def _section(part: Part, place: int, run: Run, f: Floats, draws: Draws) -> RunSection:
    if isinstance(part, LinePart):
        return _line(part, run, f, draws.beliefs[place])
    if isinstance(part, TunerPart):
        return RunSection(part, np.zeros((len(f), 1)), partial(_tune, part))
    if isinstance(part, SweepPart):
        return _swept(part, f)
    if isinstance(part, ConnectorPart):
        return _connectors(part, f)
    loss_db = curve_at(f"loss of {part.name}", part.loss_db, f).real[:, None]
    if isinstance(part, SplitterPart):
        return _fixed(part, loss_db, splitter(part.ways, matched=part.matched), part.ways)
    if isinstance(part, TransformerPart):
        return _fixed(part, loss_db, transformer(part.ratio))
    if isinstance(part, PreamplifierPart) or part.swr == 1.0:
        return _fixed(part, loss_db)
    return _fixed(part, loss_db, mismatch_step(part.swr, draws.phases_rad(place)))


def _fixed(part: Part, loss_db: Floats, behind: Matrix | None = None, ways: int = 1) -> RunSection:
    """Return a matched attenuator in 50 ohms, and what stands behind it."""
    pad = attenuator(loss_db, SYSTEM_OHM)
    whole = pad.then(behind) if behind else pad
    return RunSection(part, loss_db, partial(through_matrix, m=whole), ways)


def _line(part: LinePart, run: Run, f: Floats, belief: Belief) -> RunSection:
    kind = part.piece.line
    if kind is None:
        raise InputError("line", f"must be known for {part.name}", cure="State the type of the piece nearest to it.")
    celsius = run.celsius if part.temperature_celsius is None else part.temperature_celsius
    warm = float(temperature_factor(celsius))
    conductor, dielectric, ends = belief.parts_db(f)
    phase = phase_rad(f, part.piece.length_m, part.velocity_factor or kind.velocity_factor)[:, None]
    line = Line(belief, kind.impedance_ohm, warm * conductor, warm * dielectric, ends, phase)
    return RunSection(part, line.conductor_db + line.dielectric_db + ends, line.back, line=line)


def _connectors(part: ConnectorPart, f: Floats) -> RunSection:
    family = connector(part.family)
    heat_db = part.pairs * family.heat_loss_db(f)[:, None]
    step = family.line_section
    if step is None:
        ohm = family.impedance_ohm
        return RunSection(part, heat_db, partial(through_matrix, m=attenuator(heat_db, ohm)))
    turn = TWO_PI * f[:, None] * (part.pairs * step.electrical_length_m) / SPEED_OF_LIGHT_M_PER_S
    return _fixed(part, heat_db, lossless_line(turn, step.impedance_ohm))


def _swept(part: SweepPart, f: Floats) -> RunSection:
    s = renormalise(sweep_at(part.name, part.sweep, f, 2), part.sweep.reference_ohm, SYSTEM_OHM)
    if not np.all(np.abs(s[:, 1, 0]) > 0):
        raise InputError(part.name, f"must let something through; {part.sweep.name} does not")
    m = abcd_from_s(s, SYSTEM_OHM)[..., None]
    entered, left = 1.0 - np.abs(s[:, 0, 0]) ** 2, np.abs(s[:, 1, 0]) ** 2
    if not np.all(entered > 0):
        raise InputError(part.name, f"must take power; {part.sweep.name} reflects all of it")
    loss_db = 10.0 * np.log10(entered / left)[:, None]
    whole = Matrix(m[:, 0, 0], m[:, 0, 1], m[:, 1, 0], m[:, 1, 1])
    return RunSection(part, loss_db, partial(through_matrix, m=whole))


def _tune(part: TunerPart, state: VoltageCurrent) -> VoltageCurrent:
    return through_matrix(state, match(state.impedance_ohm, part.match_ohm, part.q_inductor, part.q_capacitor))
