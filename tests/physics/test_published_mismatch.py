"""Mismatch formulas against published tables."""

from __future__ import annotations

from math import log10

import numpy as np
import pytest

from linewright.core.formulas import mismatch as mm
from linewright.core.formulas.lossy_line import swr_in
from linewright.core.formulas.two_port import load_state, through_line
from linewright.core.quantities import DB_PER_NEPER
from published.reader import agrees, checks, label


def _matched_db(i):
    return -10 * log10(i["matched_fraction"])


def _total_loss_db(matched_loss_db, reflection):
    """What a half wave of line loses with a load that reflects: where the trade's formula is exact."""
    far = load_state(reflection)
    near = through_line(far, np.array(matched_loss_db / DB_PER_NEPER), -1.0 + 0j, 50.0)
    return 10 * log10(near.power / far.power)


def _section(i):
    return i["frequency_mhz"] * 1e6, i["section_ohm"], i["electrical_length_m"]


FUNCTIONS = {
    "swr_of_resistance": lambda i: swr_in(i["load_ohm"], i["line_ohm"]),
    "swr_from_reflection": lambda i: mm.swr_from_reflection(i["reflection"]),
    "reflection_from_swr": lambda i: mm.reflection_from_swr(i["swr"]),
    "return_loss_db": lambda i: mm.return_loss_db(i["reflection"]),
    "total_loss_db": lambda i: _total_loss_db(_matched_db(i), i["reflection"]),
    "delivered_of_100_w": lambda i: 100 * 10 ** (-_total_loss_db(_matched_db(i), i["reflection"]) / 10),
    "input_swr": lambda i: mm.swr_from_reflection(mm.input_reflection(_matched_db(i), i["reflection"])),
    "input_return_loss_db": lambda i: mm.return_loss_db(
        mm.input_reflection(i["matched_loss_db"], 10 ** (-i["return_loss_db"] / 20))
    ),
    "ceiling_swr": lambda i: mm.swr_from_reflection(mm.input_reflection(i["matched_loss_db"], 1.0)),
    "total_loss_at_swr_db": lambda i: _total_loss_db(i["matched_loss_db"], mm.reflection_from_swr(i["load_swr"])),
    "section_swr": lambda i: mm.swr_from_reflection(mm.line_section(*_section(i))[0]),
    "section_loss_db": lambda i: mm.section_loss_db(*_section(i)),
}


@pytest.mark.parametrize("check", checks("mismatch"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)
