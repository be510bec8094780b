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
    cell (c, k), the cell's whole loss against the reference, and the exponent of each observation's detector (c, n).
    """

    strand_db: Floats
    dielectric_db: Floats
    joint_db: Floats
    connector_db: Floats
    jumper_db: Floats
    cell_db: Floats
    exponent: Floats


def losses(lay: Layout, x: Floats) -> Losses:
    """Return the losses of strands and cells for unknowns ``x`` of shape (c, size)."""
    s, k = lay.strands, lay.cells
    times = np.exp(x.clip(-REACH, REACH))
    law = times[:, lay.growth][:, s.stock] * times[:, lay.departure]
    dielectric = law * times[:, lay.wet][:, s.stock] * s.dielectric_db
    strand = law * s.conductor_db + dielectric
    joint = x[:, lay.joint].reshape(len(x), 2, len(lay.sheet.pieces))[:, :, s.piece]
    joint = joint[:, 0] + joint[:, 1] * lay.root
    connector = times[:, lay.connector, None] * k.connector_db
    jumper = times[:, lay.jumper, None] * k.jumper_db
    cell = (strand + joint) @ k.strands.T + connector - jumper + x[:, lay.pad] @ k.attenuators.T
    return Losses(strand, dielectric, joint, connector, jumper, cell, times[:, lay.exponent][:, lay.block])


def expected_db(lay: Layout, x: Floats, got: Losses | None = None) -> Floats:
    """Return what each observation should read, dB, shape (c, n)."""
    got = got or losses(lay, x)
    return x[:, lay.level][:, lay.block] - got.exponent * got.cell_db[:, lay.cell]


def slopes(lay: Layout, x: Floats, got: Losses | None = None) -> Floats:
    """Return the Jacobian of ``expected_db``, shape (c, n, size)."""
    got = got or losses(lay, x)
    through = lay.cells.strands
    law = np.repeat(lay.steady[None], len(x), axis=0)
    parts = through * got.strand_db[:, None, :]
    law[:, :, lay.departure] = parts
    law[:, :, lay.growth] = parts @ lay.stock_of
    law[:, :, lay.wet] = (through * got.dielectric_db[:, None, :]) @ lay.stock_of
    law[:, :, lay.connector] = got.connector_db
    law[:, :, lay.jumper] = -got.jumper_db
    out: Floats = law[:, lay.cell]
    out *= -got.exponent[:, :, None]
    rows = np.arange(lay.n)
    out[:, rows, lay.block] = 1.0
    out[:, rows, lay.exponent.start + lay.block] = -got.exponent * got.cell_db[:, lay.cell]
    return out
