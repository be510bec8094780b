"""Two pieces read alike: which of them to measure next is worth knowing, and the bench says how."""

import pytest

from linewright.files.station import read_station_text
from linewright.verbs.prove import prove_cable
from linewright.verbs.share import share_shelf

STATION = """
[[run]]
name = "HF"
frequencies = ["7.1 MHz"]
power = "100 W"
route = "12 m"
antenna = {swr = 1.5}
evidence = ["quick.toml"]
[[run]]
name = "70 cm"
frequencies = ["432 MHz"]
power = "10 W"
route = "12 m"
antenna = {swr = 1.5}
evidence = ["quick.toml"]
"""
SHEET = """
title = "A quick look"
[source]
power = "10 W"
[reference]
line = "RG-58C/U"
length = "1 m"
[[meter]]
name = "desk meter"
rated = "1.8 MHz to 500 MHz"
scale = "watts"
division = "0.2 W"
[[piece]]
tag = "grey"
line = "RG-58C/U"
length = "13 m"
[[piece]]
tag = "black"
line = "RG-58C/U"
length = "13 m"
[readings]
file = "quick.csv"
"""
READ = """meter,frequency,path,reading
desk meter,144 MHz,reference,9.8
desk meter,144 MHz,grey,{grey}
desk meter,144 MHz,black,{black}
"""


def _station(grey: float, black: float):
    return read_station_text(STATION, {"quick.toml": SHEET, "quick.csv": READ.format(grey=grey, black=black)})


@pytest.fixture(scope="module")
def alike():
    return _station(5.2, 5.2)


def test_pieces_read_alike_are_worth_measuring_and_the_bench_says_how(alike):
    asked = prove_cable(next(iter(alike.sheets.values()))).next
    worth = share_shelf(alike).worth
    assert {w.piece for w in worth} == {"grey", "black"}
    for w in worth:
        action = next(n.action for n in asked if w.piece in n.path.split("+"))
        assert w.gain_db > 0.0
        assert w.why.endswith(f"Next on its bench: {action}")


def test_a_clear_difference_leaves_nothing_worth_measuring():
    assert share_shelf(_station(6.4, 4.4)).worth == ()
