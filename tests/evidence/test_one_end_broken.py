"""A line tested from one end that is not what was said: broken near by, or losing far more than its type."""

from __future__ import annotations

import pytest

from linewright.catalogue.lines import line_type
from linewright.core.nouns.one_end import OneEndReading, OneEndTest
from linewright.inference.one_end.prove import prove_test

COAX = line_type("RG-58C/U")
LENGTH_M = 30.0


def _read(share: float, *bands_hz: float):
    """Return what open and shorted readings say of a line that loses a share of what it should, read to 1 %."""
    rows = []
    for f in bands_hz:
        back = 10.0 ** (-2.0 * share * LENGTH_M * float(COAX.law.db_per_m(f)) / 20.0)
        swr = (1.0 + back) / (1.0 - back)
        for end, off in (("open", 1.01), ("short", 0.99)):
            rows.append(OneEndReading(len(rows) + 1, end, f, "swr", round(off * swr, 2)))
    return prove_test(OneEndTest(tuple(rows), line=COAX, length_m=LENGTH_M))


@pytest.mark.parametrize("bands", [(144e6,), (14e6, 50e6, 144e6)])
@pytest.mark.parametrize("share", [0.08, 0.2, 0.5])
def test_a_break_near_the_near_end_is_named_and_placed(share, bands):
    """At 0.08 of its length readings that agreed were called misread, and 7.5 dB told of a line that showed 0.5."""
    found = _read(share, *bands)
    assert found.ratio_low < share < found.ratio_high
    assert "open or shorted about" in found.why
    assert all(check.p_wrong < 0.1 for check in found.readings)
    true_db = share * LENGTH_M * float(COAX.law.db_per_m(bands[-1]))
    assert found.losses[-1].loss_db_low < true_db < found.losses[-1].loss_db_high


def test_readings_that_agree_on_far_more_loss_are_believed():
    found = _read(2.0, 14e6, 50e6, 144e6)
    assert found.verdict == "bad"
    assert 1.75 < found.ratio < 2.1
    assert all(check.p_wrong < 0.1 for check in found.readings)


def test_a_sound_line_is_not_called_broken():
    found = _read(1.0, 14e6, 50e6, 144e6)
    assert found.verdict == "good"
    assert "open or shorted" not in found.why
