"""Cables with a past: what each stock and piece truly loses."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from chain import Section, phase_rad
from lines import CONNECTOR_DB, LINES, WEIGHTS
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.line import LineType


@dataclass(frozen=True, slots=True)
class Stock:
    """Cable from one drum: multipliers on conductor and dielectric loss, a small smooth departure."""

    line: LineType
    conductor: float = 1.0
    dielectric: float = 1.0
    wave: tuple[float, float, float] = (0.0, 1.0, 0.0)
    impedance_ohm: float = 50.0

    def db_per_m(self, frequency_hz: float) -> float:
        """Return the true attenuation, dB/m."""
        conductor, dielectric = self.line.law.parts_db_per_m(frequency_hz)
        depth, pitch, phase = self.wave
        smooth = 1 + depth * np.sin(pitch * np.log(frequency_hz / 1e6) + phase)
        return float((self.conductor * conductor + self.dielectric * dielectric) * smooth)


@dataclass(slots=True)
class Cable:
    """A piece as it really is. ``joint`` is an extra loss of a bad connector, (dB, power of frequency over 30 MHz)."""

    piece: Piece
    stock: Stock
    length_m: float
    connector: float = CONNECTOR_DB
    joint: tuple[float, float] = (0.0, 0.0)
    leaves: dict[float, float] = field(default_factory=dict)

    def loss_db(self, frequency_hz: float) -> float:
        """Return the matched loss of the piece with its connectors against nothing, dB."""
        body = self.length_m * self.stock.db_per_m(frequency_hz) * self.leaves.get(frequency_hz, 1.0)
        heat = self.piece.connectors * self.connector * np.sqrt(frequency_hz / 1e6)
        extra, power = self.joint
        return float(body + heat + extra * (frequency_hz / 30e6) ** power)

    def section(self, frequency_hz: float) -> Section:
        """Return the piece as a section of line."""
        phase = phase_rad(self.length_m, self.stock.line.velocity_factor, frequency_hz)
        return Section(self.stock.impedance_ohm, self.loss_db(frequency_hz), phase)


def draw_stock(rng: np.random.Generator, model: str) -> Stock:
    """Draw a stock: about half good, the rest aged 1.1 to 3 times."""
    line = LINES[rng.choice(len(LINES), p=WEIGHTS)]
    if model == "nominal":
        return _nominal_stock(rng, line)
    wave = (0.015 * abs(rng.normal()), float(rng.uniform(0.7, 2.5)), float(rng.uniform(0, 6.28)))
    ohm = float(rng.normal(50.0, 1.0))
    if rng.random() < 0.5:
        new = 1.0 if rng.random() < 0.6 else float(rng.uniform(0.95, 1.05))
        return Stock(line, new, new, wave, ohm)
    worse = float(np.exp(rng.uniform(np.log(1.1), np.log(3.0))))
    conductor = worse ** float(rng.uniform(0.6, 1.1))
    wet = float(np.exp(abs(rng.normal(0, 0.8)))) if rng.random() < 0.3 else 1.0
    return Stock(line, conductor, min(worse ** float(rng.uniform(0.6, 1.4)) * wet, 5.0), wave, ohm)


def _nominal_stock(rng: np.random.Generator, line: LineType) -> Stock:
    """Draw a stock as the engine's model has it, aged 0.9 to 3 times."""
    new = rng.random() < 0.5
    worse = float(rng.uniform(0.9, 1.1) if new else np.exp(rng.uniform(np.log(1.1), np.log(3.0))))
    return Stock(line, worse, worse * float(np.exp(rng.normal(0, 0.1 if new else 0.5))))


def draw_cable(rng: np.random.Generator, piece: Piece, stock: Stock, model: str) -> Cable:
    """Draw the piece behind a tag: its true length, its connectors, now and then a bad joint."""
    heat = CONNECTOR_DB * float(np.exp(rng.normal(0, 0.5)))
    if model == "nominal":
        return Cable(piece, stock, piece.length_m, heat)
    bad = rng.random() < 0.03
    joint = (float(rng.uniform(0.15, 1.2)), float(rng.choice([-0.15, 0.0, 0.4]))) if bad else (0.0, 0.0)
    return Cable(piece, stock, piece.length_m * float(rng.normal(1, 0.005)), heat, joint)


def draw_leaves(
    rng: np.random.Generator, cable: Cable, frequencies_hz: tuple[float, ...], p: float, size: float
) -> None:
    """Let a cable leave its law at some frequencies."""
    for f in frequencies_hz:
        if rng.random() < p:
            cable.leaves[f] = float(np.exp(rng.normal(0, size)))
