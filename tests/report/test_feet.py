"""Reports in feet: every length is in feet, with no more digits than the metres had."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.formatting import metres
from linewright.core.locale import FEET_PER_METRE, Manner
from linewright.core.messages import written
from linewright.present.compose.station import station_report
from linewright.present.document import Document
from linewright.present.localize import mapped
from report.made import MADE

FEET = Manner(lengths="ft")
METRIC = re.compile(r"\d ?m\b(?!²)|(?:dB|W)/(?:100 )?m\b(?!²)")
"""A length in metres, or what belongs to a metre of line. Field strengths, V/m and A/m, are as the limits have them."""
TYPED = " → "
"""A change of the ledger shows what was typed."""


def texts_of(document: Document, manner: Manner) -> list[str]:
    """Return every text of a report in a manner."""
    texts: list[str] = []
    mapped(document, lambda text: texts.append(str(written(text, manner))) or text)
    return [text for text in texts if TYPED not in text]


@pytest.mark.parametrize("kind", ["bench", "station", "piece"])
def test_no_length_is_left_in_metres(documents, kind):
    assert any(METRIC.search(text) for text in texts_of(documents[kind], Manner()))
    sources = {text for text in texts_of(documents[kind], FEET) if "per 100 m" in text}
    assert [text for text in texts_of(documents[kind], FEET) if METRIC.search(text) and text not in sources] == []


def test_the_workings_of_a_loss_multiply_as_they_stand(documents):
    """By the figures as printed: feet times decibels a foot, with the multipliers beside them, is the loss."""
    ways = next(b for s in documents["bench"].sections for b in s.blocks if hasattr(b, "ways")).ways
    way = next(w for w in ways if w.formula.startswith("length · (conductor part"))
    for figure, inputs in way.figures:
        said = [str(written(value, FEET)) for _, value in inputs]
        length, conductor, dielectric, growth, wet, departure, plugs, joints = (
            float(re.match(r"-?[\d.]+", text)[0]) for text in said
        )
        assert said[0].endswith(" ft")
        assert said[1].endswith(" dB/ft")
        loss = length * (conductor * growth + dielectric * growth * wet) * departure + plugs + joints
        told = float(re.search(r": ([\d.]+) dB", str(written(figure, FEET)))[1])
        assert loss == pytest.approx(told, rel=0.03, abs=0.03)


def test_a_line_called_by_its_length_is_called_by_it_in_feet(tmp_path: Path):
    from linewright.files.station import read_station
    from linewright.verbs.plan import plan_station

    (tmp_path / "s.toml").write_text(
        '[station]\nname = "Short"\nnoise = "rural"\n[[run]]\nname = "one"\nfrequencies = ["14.2 MHz"]\n'
        'power = "50 W"\nchain = [{line = "RG-58C/U", length = "1 m"}]\nantenna = {swr = 1.5}\n'
    )
    station = read_station(tmp_path / "s.toml")
    document = station_report(station, plan_station(station), MADE)
    assert any("RG-58C/U, 1 m" in text for text in texts_of(document, Manner()))
    assert any("RG-58C/U, 3.3 ft" in text for text in texts_of(document, FEET))
    assert not any("RG-58C/U, 1 m" in text for text in texts_of(document, FEET))


@given(st.floats(0.05, 2000.0))
def test_feet_have_no_more_decimals_than_the_metres_and_are_right_to_half_a_percent(length_m: float):
    said_m, said_ft = str(metres(length_m)), str(written(metres(length_m), FEET))
    feet = float(said_ft.removesuffix(" ft"))
    assert abs(feet / FEET_PER_METRE - length_m) <= max(0.05 / FEET_PER_METRE, 0.005 * length_m)
    decimals_m, decimals_ft = (len(text.split(maxsplit=1)[0].partition(".")[2]) for text in (said_m, said_ft))
    assert decimals_ft <= max(1, decimals_m)


@pytest.mark.parametrize(("length_m", "feet"), [(7.2, "23.6 ft"), (25.1, "82.3 ft"), (31.0, "102 ft"), (1.5, "4.9 ft")])
def test_feet_are_as_a_person_writes_them(length_m, feet):
    assert written(metres(length_m), FEET) == feet
