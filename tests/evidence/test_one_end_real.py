"""A real cable: its open and shorted sweeps against the two-port sweep of it and its twin.

The two-port file is two like cables in series, so half its loss is what one of them loses; they differ by a few
hundredths of a decibel (the open and shorted files by themselves give 0.44 dB at 432 MHz, half of the pair 0.43).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import skrf

from linewright.core.nouns.one_end import OneEndReading, OneEndTest
from linewright.inference.one_end.prove import prove_test

CABLES = Path(__file__).parents[1] / "data" / "touchstone" / "cables"
AT_HZ = (220e6, 432e6, 900e6, 1296e6, 2300e6)
CABLES_DIFFER_DB = 0.04


def sweep(name: str) -> skrf.Network:
    return skrf.Network(str(CABLES / name))


def half_the_pair_db(f: float) -> float:
    through = sweep("coax_pair_test_cables_through.s2p")
    near = abs(through.f / f - 1) < 0.05
    return float(np.median(-20 * np.log10(abs(through.s[near, 1, 0]))) / 2)


def readings(digits: int) -> tuple[OneEndReading, ...]:
    """What an analyser of so many digits would have shown."""
    found = []
    for f in AT_HZ:
        for end in ("open", "short"):
            network = sweep(f"coax_one_of_pair_{end}_end.s1p")
            g = abs(network.s[np.argmin(abs(network.f - f)), 0, 0])
            found.append(OneEndReading(len(found) + 1, end, f, "swr", round((1 + g) / (1 - g), digits), 10.0**-digits))
    return tuple(found)


@pytest.mark.parametrize("digits", [0, 1, 2])
def test_one_end_of_a_real_cable_gives_its_two_port_loss(digits):
    result = prove_test(OneEndTest(readings(digits), directivity_db=40.0))
    for x in result.losses:
        true = half_the_pair_db(x.frequency_hz)
        assert x.loss_db_low - CABLES_DIFFER_DB < true < x.loss_db_high + CABLES_DIFFER_DB
        assert x.loss_db == pytest.approx(true, abs=0.08)


def test_no_reading_of_the_real_cable_is_doubted():
    result = prove_test(OneEndTest(readings(1), directivity_db=40.0))
    assert max(c.p_wrong for c in result.readings) < 0.5
