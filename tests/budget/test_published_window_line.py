"""A windowed line on 160 m with a short wire, planned as a run: the case the closed formula misses by 6 dB."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.line import AttenuationLaw, LineType
from linewright.core.nouns.station import Antenna, LinePart, Run
from linewright.link.plan import plan_run
from published.reader import agrees, checks, label

FIGURES = {
    "total_db": lambda band: band.total_loss_db,
    "swr_load": lambda band: band.swr_at_antenna,
    "swr_input": lambda band: band.parts[0].swr_in,
}
CASES = [c for c in checks("chain") if c["inputs"]["r0_ohm"] == 402.75 and c["function"] in FIGURES]


@pytest.mark.parametrize("check", CASES, ids=label)
def test_a_planned_run_agrees_with_print(check):
    i = check["inputs"]
    law = AttenuationLaw(0.0, 0.0, i["loss_db"] / i["length_m"])
    kind = LineType("made up", i["r0_ohm"], i["velocity_factor"], law, balanced=True)
    part = LinePart("line", Piece("line", i["length_m"], kind, 0), measured=True)
    one, none = np.ones(50), np.zeros(50)
    belief = Belief(part.piece, law, one, one, one, none, none, none)
    antenna = Antenna(impedance_ohm=((0.0, complex(*i["load_ohm"])),))
    band = plan_run(Run("top band", (i["frequency_mhz"] * 1e6,), 100.0, (part,), antenna), {"line": belief}).bands[0]
    assert agrees(FIGURES[check["function"]](band), check)
    assert len(CASES) == 3
