"""What the readings should be, given the unknowns; and how they move with each of them. Batches of unknowns at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.evidence.layout import Floats, Layout

REACH = 4.0
"""Logs are held within this: a factor of e⁴ either way is nobody's cable."""


@dataclass(frozen=True, slots=True)
class Losses:
    """Losses in dB for a batch of ``c`` unknown vectors: strands (c, s), their dielectric part, and cells (c, k)."""

    strand_db: Floats
    dielectric_db: Floats
    connector_db: Floats
    jumper_db: Floats
    cell_db: Floats


def losses(lay: Layout, x: Floats) -> Losses:
    """Return the losses of strands and cells for unknowns ``x`` of shape (c, size)."""
    s, k = lay.strands, lay.cells
    held = np.clip(x[:, lay.level.stop :], -REACH, REACH)
    z = np.concatenate([x[:, : lay.level.stop], held], axis=1)
    growth = np.exp(z[:, lay.growth][:, s.stock])
    departure = np.exp(z[:, lay.departure])
    wet = np.exp(z[:, lay.wet][:, s.stock])
    dielectric = growth * departure * wet * s.dielectric_db
    strand = growth * departure * s.conductor_db + dielectric
    connector = np.exp(z[:, lay.connector])[:, None] * k.connector_db
    jumper = np.exp(z[:, lay.jumper])[:, None] * k.jumper_db
    cell = strand @ k.strands.T + connector - jumper + x[:, lay.pad] @ k.attenuators.T
    return Losses(strand, dielectric, connector, jumper, cell)


def expected_db(lay: Layout, x: Floats, got: Losses | None = None) -> Floats:
    """Return what each observation should read, dB, shape (c, n)."""
    got = got or losses(lay, x)
    exponent = np.exp(np.clip(x[:, lay.exponent], -REACH, REACH))
    return x[:, lay.level][:, lay.block] - exponent[:, lay.block] * got.cell_db[:, lay.cell]


def slopes(lay: Layout, x: Floats, got: Losses | None = None) -> Floats:
    """Return the Jacobian of ``expected_db``, shape (c, n, size)."""
    got = got or losses(lay, x)
    c, k = len(x), len(lay.cells.fixed)
    law = np.zeros((c, k, lay.size))
    through = lay.cells.strands
    stock_of = np.zeros((len(lay.strands.stock), len(lay.stocks)))
    stock_of[np.arange(len(stock_of)), lay.strands.stock] = 1.0
    parts = through[None] * got.strand_db[:, None, :]
    law[:, :, lay.departure] = parts
    law[:, :, lay.growth] = parts @ stock_of
    law[:, :, lay.wet] = (through[None] * got.dielectric_db[:, None, :]) @ stock_of
    law[:, :, lay.connector] = got.connector_db
    law[:, :, lay.jumper] = -got.jumper_db
    law[:, :, lay.pad] = lay.cells.attenuators
    exponent = np.exp(np.clip(x[:, lay.exponent], -REACH, REACH))[:, lay.block]
    out: Floats = -exponent[:, :, None] * law[:, lay.cell, :]
    rows = np.arange(lay.n)
    out[:, rows, lay.block] = 1.0
    out[:, rows, lay.exponent.start + lay.block] = -exponent * got.cell_db[:, lay.cell]
    return out
