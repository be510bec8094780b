"""The verb behind the doors: a file or a reading, a loss, a type or a proved piece."""

from __future__ import annotations

import pytest

from cli.doors import DEMO_SHEET
from linewright.core.errors import InputError, UnknownNameError
from linewright.inference.load.seen import seen_swr
from linewright.verbs.through import line_behind, piece_behind, see_through


def test_a_curve_file_gives_the_curve(tmp_path):
    path = tmp_path / "beam.csv"
    rows = "".join(f"{144 + k / 10},{1.2 + abs(k - 10) / 20:.2f}\n" for k in range(21))
    path.write_text("frequency_mhz,swr\n" + rows, encoding="utf-8")
    result = see_through(path, line_behind(line="RG-213/U", length_m=20.0))
    assert len(result.curve) == 21
    assert result.seen == "beam.csv"
    assert result.resonance_hz.low < 145e6 < result.resonance_hz.high
    with pytest.raises(InputError, match="within the curve"):
        see_through(path, line_behind(loss_db=1.0), at_hz=7e6)


def test_a_proved_piece_carries_its_own_interval():
    import numpy as np

    from linewright.files.sheet import read_bench_sheet
    from linewright.inference.bench.pieces import beliefs_of

    tag, belief = next(iter(beliefs_of(read_bench_sheet(DEMO_SHEET)).items()))
    seen = seen_swr(1.3, frequency_hz=np.array([144.3e6]))
    result = see_through(seen, piece_behind(DEMO_SHEET, tag))
    middle = float(np.median(belief.loss_db(144.3e6)))
    assert result.loss_db.value == pytest.approx(middle, rel=0.02)


def test_an_unknown_piece_is_refused_with_those_there_are():
    with pytest.raises(UnknownNameError, match="It has"):
        piece_behind(DEMO_SHEET, "no such piece")


def test_a_line_must_be_given():
    with pytest.raises(InputError, match="type and a length"):
        line_behind(line="RG-213/U")
    with pytest.raises(InputError, match="zero or more"):
        line_behind(loss_db=-1.0)
