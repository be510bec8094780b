"""Random runs for the tests, and the same runs cascaded by scikit-rf."""

from __future__ import annotations

from functools import reduce

import numpy as np
import skrf as rf
from hypothesis import strategies as st

from linewright.catalogue.connectors import connector
from linewright.core.formulas.coax import temperature_factor
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.line import AttenuationLaw, LineType
from linewright.core.nouns.station import Antenna, ConnectorPart, LinePart, LossPart, Run, SweepPart, TransformerPart
from linewright.core.nouns.sweep import Sweep
from linewright.link.draws import Draws

HERTZ = np.array([1.83e6, 7.1e6, 28.5e6, 145e6, 435e6])
DRAWS = 3
DB = 20 / np.log(10)
C = 299_792_458.0


def floats(low, high):
    return st.floats(low, high, allow_nan=False, allow_infinity=False)


@st.composite
def line_parts(draw):
    """Lines of any impedance, loss and length; half of them of a measured piece with connectors."""
    law = AttenuationLaw(draw(floats(0.0, 0.02)), draw(floats(0.0, 2e-4)), draw(floats(1e-5, 1e-3)))
    kind = LineType("made up", draw(floats(25.0, 600.0)), draw(floats(0.5, 1.0)), law)
    piece = Piece("piece", draw(floats(0.05, 40.0)), kind, draw(st.integers(0, 2)))
    return LinePart("line", piece, measured=draw(st.booleans()), temperature_celsius=draw(floats(-30.0, 60.0)))


@st.composite
def sweep_parts(draw):
    """A reciprocal lossy two-port, referred to its own impedances."""
    rng = np.random.default_rng(draw(st.integers(0, 2**31)))
    s = rng.normal(size=(len(HERTZ), 2, 2)) + 1j * rng.normal(size=(len(HERTZ), 2, 2))
    s = s + s.swapaxes(1, 2)
    s /= (1.05 * np.linalg.norm(s, 2, axis=(1, 2)))[:, None, None]
    reference = np.array([draw(floats(20.0, 100.0))] * 2, dtype=complex)
    return SweepPart("box", Sweep("box.s2p", HERTZ, s, reference))


parts = st.one_of(
    line_parts(),
    sweep_parts(),
    st.builds(ConnectorPart, st.just("pair"), st.sampled_from(["N", "UHF", "F", "BNC"]), st.integers(1, 4)),
    st.builds(
        LossPart,
        st.just("pad"),
        st.builds(lambda x: ((0.0, x),), floats(0.0, 6.0)),
        st.one_of(st.just(1.0), floats(1.0, 2.0)),
    ),
    st.builds(TransformerPart, st.just("balun"), floats(0.1, 9.0), st.builds(lambda x: ((0.0, x),), floats(0.0, 1.0))),
)
antennas = st.builds(
    lambda r, x: Antenna(impedance_ohm=((0.0, complex(r, x)),)), floats(2.0, 500.0), floats(-1000.0, 1000.0)
)
runs = st.builds(
    lambda chain, antenna: Run("made up", tuple(HERTZ), 100.0, tuple(chain), antenna),
    st.lists(parts, min_size=1, max_size=6),
    antennas,
)


def belief(part):
    """A belief of three draws that differ in everything."""
    piece, spread = part.piece, np.array([0.8, 1.0, 1.3])
    ends = spread * (0.01 if part.measured else 0.0)
    return Belief(piece, piece.line.law, spread, spread[::-1], 1 + 0 * spread, ends, ends, ends / 10)


def draws(run):
    return Draws(DRAWS, {i: belief(p) for i, p in enumerate(run.chain) if isinstance(p, LinePart)})


def cascade(run, shared, k):
    """Return the whole run in 50 ohms at either end, draw k."""
    bare = _through(np.ones(len(HERTZ)), 50.0, rf.Frequency.from_f(HERTZ, unit="hz"))
    inner = (network(part, i, shared, k) for i, part in enumerate(run.chain))
    return reduce(lambda a, b: a**b, (bare, *inner, bare))


def network(part, place, shared, k):
    """Return a part as scikit-rf has it, draw k, each port in the impedance that suits it.

    The cascade puts a mismatch between ports of different impedance. Bringing every part to 50 ohms first would go by
    impedance parameters, which short lines hardly have: digits are lost.
    """
    band = rf.Frequency.from_f(HERTZ, unit="hz")
    if isinstance(part, LinePart):
        return _line(part, shared.beliefs[place], band, k)
    if isinstance(part, SweepPart):
        return rf.Network(frequency=band, s=part.sweep.s, z0=part.sweep.reference_ohm, s_def="traveling")
    if isinstance(part, ConnectorPart):
        return _pairs(part, band)
    pad = _pad(np.full(len(HERTZ), part.loss_db[0][1]), 50.0, band)
    if isinstance(part, TransformerPart):
        return pad ** _ideal(part.ratio, band)
    if part.swr == 1.0:
        return pad
    turn = np.exp(-0.5j * shared.phases_rad(place)[k])
    return pad ** _through(np.full(len(HERTZ), turn), 50.0, band) ** _ideal(part.swr, band)


def _line(part, belief_, band, k):
    kind, length = part.piece.line, part.piece.length_m
    conductor, dielectric, ends = (x[:, k] for x in belief_.parts_db(HERTZ))
    warm = float(temperature_factor(part.temperature_celsius))
    ac, ad = warm * conductor / DB / length, warm * dielectric / DB / length
    beta = 2 * np.pi * HERTZ / (C * kind.velocity_factor)
    z0 = kind.impedance_ohm * (1 - 1j * (ac - ad) / beta)
    media = rf.media.DefinedGammaZ0(band, z0=z0, gamma=ac + ad + 1j * beta)
    end = _pad(ends / 2, kind.impedance_ohm, band)
    return end ** media.line(length, "m", s_def="traveling") ** end


def _pairs(part, band):
    family = connector(part.family)
    heat = part.pairs * family.heat_loss_db(HERTZ)
    if family.line_section is None:
        return _pad(heat, family.impedance_ohm, band)
    step = family.line_section
    low = rf.media.DefinedGammaZ0(band, z0=step.impedance_ohm, gamma=1j * 2 * np.pi * HERTZ / C)
    return _pad(heat, 50.0, band) ** low.line(part.pairs * step.electrical_length_m, "m", s_def="traveling")


def _pad(loss_db, ohm, band):
    return _through(10 ** (-loss_db / 20), ohm, band)


def _through(transmission, ohm, band):
    """A part matched in its own impedance."""
    s = np.zeros((len(HERTZ), 2, 2), complex)
    s[:, 0, 1] = s[:, 1, 0] = transmission
    return rf.Network(frequency=band, s=s, z0=ohm, s_def="traveling")


def _ideal(ratio, band):
    """An ideal transformer by its textbook scattering matrix, load side over source side."""
    s = np.array([[1 - ratio, 2 * np.sqrt(ratio)], [2 * np.sqrt(ratio), ratio - 1]]) / (1 + ratio)
    return rf.Network(frequency=band, s=np.tile(s.astype(complex), (len(HERTZ), 1, 1)), z0=50.0, s_def="traveling")
