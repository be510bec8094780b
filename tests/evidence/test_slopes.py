"""How expected readings and losses move with each unknown, held against what a small step shows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evidence.benches import BLUE_7, BLUE_18, DESK, PATHS, POCKET, THICK, THIN, read, sheet_of
from evidence.test_said import by_every_method
from linewright.core.nouns.bench import Attenuator, Piece, Reference
from linewright.inference.bench.design import (
    cell_slopes,
    expected_db,
    lay_out,
    levelled_by_power,
    losses,
    prior_of,
    slopes,
)
from linewright.inference.bench.findings import log_loss_slopes
from linewright.inference.bench.observations import blocks_of
from linewright.inference.bench.prove import with_one_end
from linewright.inference.priors import DEFAULT

ROWS = [*read(DESK, 14.2e6, PATHS), *read(DESK, 28.5e6, PATHS), *read(POCKET, 144.3e6, PATHS)]
RED = Piece("red 5", 5.0, THICK, 2, "red drum")
TV = Piece("tv 9", 9.0, replace(THIN, designator="TV", impedance_ohm=75.0), 2, "tv drum")
MORE = [(DESK, 14.2e6, "red 5", 9.1), (DESK, 14.2e6, "red 5+blue 7", 7.9), (POCKET, 144.3e6, "red 5", 8.0)]
OPEN = [(DESK, 14.2e6, "tv 9", 1.3), (DESK, 28.5e6, "tv 9", 3.1), (POCKET, 144.3e6, "tv 9+blue 7", 4.0)]
BROKEN = [
    (DESK, 14.2e6, "reference", 10.0), (DESK, 28.5e6, "reference", 10.0), (POCKET, 144.3e6, "reference", 10.0),
    (DESK, 14.2e6, "blue 18", 0.31), (DESK, 28.5e6, "blue 18", 0.9), (POCKET, 144.3e6, "blue 18", 4.4),
]  # fmt: skip
PADS, JUMPER = [Attenuator("pad 3", 3.0)], Reference(THIN, 2.0, in_place="stays")
BENCHES = {
    "one stock": sheet_of(ROWS),
    "two stocks": sheet_of([*ROWS, *MORE], [BLUE_7, BLUE_18, RED]),
    "another impedance": sheet_of([*ROWS, *OPEN], [BLUE_7, BLUE_18, TV]),
    "a break": sheet_of(BROKEN),
    "an attenuator": sheet_of([*ROWS, (POCKET, 144.3e6, "pad 3", 5.0)], attenuators=PADS, reference=JUMPER),
    "from one end": replace(sheet_of(ROWS), one_end=(by_every_method(BLUE_18),)),
}
STEP = 1e-5


def laid(name):
    """Return the layout of a bench and a point at which its unknowns are anything but zero."""
    sheet = with_one_end(BENCHES[name], DEFAULT)
    lay = lay_out(sheet, blocks_of(sheet), DEFAULT)
    return lay, np.random.default_rng(len(name)).uniform(0.02, 0.3, lay.size)


def stepped(f, x):
    """Return how f moves with each unknown, by central differences: the last axis is that of the unknowns."""
    moves = [(f(x + one) - f(x - one)) / (2 * STEP) for one in STEP * np.eye(len(x))]
    return np.stack(moves, axis=-1)


@pytest.mark.parametrize("name", BENCHES)
def test_expected_readings_move_with_the_unknowns_as_their_slopes_say(name):
    lay, x = laid(name)
    got = losses(lay, x[None])
    (found,) = slopes(lay, cell_slopes(lay, x[None], got), got)
    np.testing.assert_allclose(found, stepped(lambda at: expected_db(lay, at[None])[0], x), atol=2e-6)


@pytest.mark.parametrize("name", BENCHES)
def test_losses_move_with_the_unknowns_as_their_slopes_say(name):
    """All but faults, which are taken as they are found."""
    lay, x = laid(name)
    _, found = log_loss_slopes(lay, x, DEFAULT)
    seen = stepped(lambda at: log_loss_slopes(lay, at, DEFAULT)[0], x)
    held = np.delete(np.arange(lay.size), np.arange(lay.size)[lay.fault])
    np.testing.assert_allclose(found[:, held], seen[:, held], atol=2e-6)


def test_a_break_and_another_impedance_echo():
    """Else the slopes of echoes would be held by nothing."""
    for name in ("a break", "another impedance"):
        lay, x = laid(name)
        assert lay.echoing.size, name
        assert losses(lay, x[None]).cell_db.shape == (1, len(lay.cells.strands))
    assert laid("a break")[0].reflectors.any()


def test_a_break_makes_the_strands_of_its_own_piece_echo_and_no_others():
    lay, _ = laid("a break")
    breaks = [k for k, fault in enumerate(lay.faults) if fault.shape.cause == "open conductor"]
    own = len(lay.echoing) - len(lay.rippling)
    assert breaks
    for k in breaks:
        mine = lay.strands.piece[lay.echoing[:own]] == lay.faults[k].piece
        np.testing.assert_array_equal(lay.reflectors[lay.fault.start + k, :own], mine.astype(float))
    # Behind them stand those that would echo as a line of another impedance: only that they are one makes them.
    other, _ = laid("another impedance")
    for one in (lay, other):
        assert len(one.rippling)
        rest = np.delete(one.reflectors, np.arange(one.size)[one.mismarked], axis=0)
        assert not rest[:, -len(one.rippling) :].any()
    assert not other.reflectors[:, : len(other.echoing) - len(other.rippling)].any()


def test_a_level_that_no_reference_shows_is_that_of_the_stated_power():
    bare = sheet_of([row for row in ROWS if row[2] != "reference"], power_w=25.0)
    lay = lay_out(bare, blocks_of(bare), DEFAULT)
    assert levelled_by_power(lay) == [0, 1, 2]
    np.testing.assert_allclose(prior_of(lay, DEFAULT).mean[lay.level], 10 * np.log10(25.0))
