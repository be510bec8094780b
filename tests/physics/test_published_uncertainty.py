"""Combined uncertainties against the guides' worked examples."""

from __future__ import annotations

from math import sqrt
from statistics import stdev

import pytest

from linewright.core.formulas.uncertainty import combine
from published.reader import agrees, checks, label


def _mean_and_limits(i):
    """Readings of one force, and corrections of which only limits are known: half width over √3."""
    mean = stdev(i["readings"]) / sqrt(len(i["readings"]))
    return combine([(mean, 1.0), *((half, 1 / sqrt(3)) for half in i["half_widths"])])


FUNCTIONS = {
    "combined": lambda i: combine([(part, 1.0) for part in i["parts"]]),
    "mean_and_limits": _mean_and_limits,
}


@pytest.mark.parametrize("check", checks("uncertainty"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)
