"""Mismatch formulas against published tables."""

from __future__ import annotations

from math import log10

import pytest

from linewright.core.formulas import mismatch as mm
from linewright.core.formulas.lossy_line import swr_in
from published.reader import agrees, checks, label


def _pair(i):
    return mm.reflection_from_swr(i["source_swr"]), mm.reflection_from_swr(i["load_swr"])


def _matched_db(i):
    return -10 * log10(i["matched_fraction"])


def _section(i):
    return i["frequency_mhz"] * 1e6, i["section_ohm"], i["electrical_length_m"]


FUNCTIONS = {
    "swr_of_resistance": lambda i: swr_in(i["load_ohm"], i["line_ohm"]),
    "swr_from_reflection": lambda i: mm.swr_from_reflection(i["reflection"]),
    "reflection_from_swr": lambda i: mm.reflection_from_swr(i["swr"]),
    "return_loss_db": lambda i: mm.return_loss_db(i["reflection"]),
    "mismatch_upper_percent": lambda i: 100 * (10 ** (mm.mismatch_limits_db(*_pair(i))[1] / 10) - 1),
    "mismatch_upper_db": lambda i: mm.mismatch_limits_db(*_pair(i))[1],
    "mismatch_lower_db": lambda i: mm.mismatch_limits_db(*_pair(i))[0],
    "total_loss_db": lambda i: mm.total_loss_db(_matched_db(i), i["reflection"]),
    "delivered_of_100_w": lambda i: 100 * 10 ** (-mm.total_loss_db(_matched_db(i), i["reflection"]) / 10),
    "input_swr": lambda i: mm.swr_from_reflection(mm.input_reflection(_matched_db(i), i["reflection"])),
    "input_return_loss_db": lambda i: mm.return_loss_db(
        mm.input_reflection(i["matched_loss_db"], 10 ** (-i["return_loss_db"] / 20))
    ),
    "ceiling_swr": lambda i: mm.swr_from_reflection(mm.input_reflection(i["matched_loss_db"], 1.0)),
    "total_loss_at_swr_db": lambda i: mm.total_loss_db(i["matched_loss_db"], mm.reflection_from_swr(i["load_swr"])),
    "section_swr": lambda i: mm.swr_from_reflection(mm.line_section(*_section(i))[0]),
    "section_loss_db": lambda i: mm.section_loss_db(*_section(i)),
}


@pytest.mark.parametrize("check", checks("mismatch"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)
