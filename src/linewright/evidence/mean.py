"""What the readings should be, given the unknowns; and how they move with each of them. Batches of unknowns at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.evidence.layout import Floats, Layout

REACH = 4.0
"""Logs are held within this: a factor of e⁴ either way is nobody's cable."""


@dataclass(frozen=True, slots=True)
class Losses:
    """Losses in dB for a batch of ``c`` unknown vectors.

    The cable of each strand (c, s), the dielectric part of it, its joints' extra loss; connectors and jumper of each
    cell (c, k), and the cell's whole loss against the reference.
    """

    strand_db: Floats
    dielectric_db: Floats
    joint_db: Floats
    connector_db: Floats
    jumper_db: Floats
    cell_db: Floats


def losses(lay: Layout, x: Floats) -> Losses:
    """Return the losses of strands and cells for unknowns ``x`` of shape (c, size)."""
    s, k = lay.strands, lay.cells
    z = np.clip(x, -REACH, REACH)
    growth = np.exp(z[:, lay.growth][:, s.stock])
    departure = np.exp(z[:, lay.departure])
    wet = np.exp(z[:, lay.wet][:, s.stock])
    dielectric = growth * departure * wet * s.dielectric_db
    strand = growth * departure * s.conductor_db + dielectric
    joint = x[:, lay.joint].reshape(len(x), 2, len(lay.sheet.pieces))[:, :, s.piece]
    joint = joint[:, 0] + joint[:, 1] * s.root
    connector = np.exp(z[:, lay.connector])[:, None] * k.connector_db
    jumper = np.exp(z[:, lay.jumper])[:, None] * k.jumper_db
    cell = (strand + joint) @ k.strands.T + connector - jumper + x[:, lay.pad] @ k.attenuators.T
    return Losses(strand, dielectric, joint, connector, jumper, cell)


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
    piece_of = np.zeros((len(lay.strands.piece), len(lay.sheet.pieces)))
    piece_of[np.arange(len(piece_of)), lay.strands.piece] = 1.0
    law[:, :, lay.joint] = np.concatenate([through @ piece_of, (through * lay.strands.root) @ piece_of], axis=1)
    law[:, :, lay.connector] = got.connector_db
    law[:, :, lay.jumper] = -got.jumper_db
    law[:, :, lay.pad] = lay.cells.attenuators
    exponent = np.exp(np.clip(x[:, lay.exponent], -REACH, REACH))[:, lay.block]
    out: Floats = -exponent[:, :, None] * law[:, lay.cell, :]
    rows = np.arange(lay.n)
    out[:, rows, lay.block] = 1.0
    out[:, rows, lay.exponent.start + lay.block] = -exponent * got.cell_db[:, lay.cell]
    return out
