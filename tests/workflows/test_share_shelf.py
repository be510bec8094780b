"""Sharing out from a station file: what takes part, what stays, what is said."""

import json

import pytest
from click.testing import CliRunner

from linewright.cli.share import share
from linewright.core.errors import InputError
from linewright.files.prices import read_prices_text
from linewright.files.station import read_station_text
from linewright.verbs.share import share_shelf

STATION = """
[[piece]]
tag = "thin"
line = "RG-58C/U"
length = "13 m"
[[piece]]
tag = "thick"
line = "RG-213/U"
length = "13 m"
[[piece]]
tag = "riddle"
length = "30 m"
[[run]]
name = "HF wire"
frequencies = ["7.1 MHz"]
power = "100 W"
route = "12 m"
antenna = {swr = 1.5}
[[run]]
name = "70 cm"
frequencies = ["432 MHz"]
power = "10 W"
route = "12 m"
antenna = {swr = 1.5}
"""
KEEPS = """
[[run]]
name = "keeper"
frequencies = ["14.2 MHz"]
power = "10 W"
chain = [{piece = "thick"}]
antenna = {swr = 1.5}
"""


def test_the_better_piece_goes_where_loss_is_dear():
    shared = share_shelf(read_station_text(STATION, {}))
    assert [run.pieces for run in shared.fed] == [("thin",), ("thick",)]


def test_a_piece_nobody_knows_is_left_out_and_said():
    assert any("riddle" in r and "Left out" in r for r in share_shelf(read_station_text(STATION, {})).remarks)


def test_a_run_without_a_route_keeps_its_piece():
    shared = share_shelf(read_station_text(STATION + KEEPS, {}))
    assert "thick" not in {tag for run in shared.fed for tag in run.pieces}
    assert any("thick stays where it is, in keeper" in r for r in shared.remarks)


def test_money_buys_what_saves_most():
    prices = read_prices_text("line,price,currency\nfoam low-loss 10 mm,2.40/m,EUR")
    shared = share_shelf(read_station_text(STATION, {}), prices=prices, budget=30.0)
    bought = {run.run: run.bought for run in shared.fed if run.bought}
    assert list(bought) == ["70 cm"]
    assert shared.price == pytest.approx(12 * 2.40)


def test_a_budget_without_prices_is_refused():
    with pytest.raises(InputError, match="needs prices"):
        share_shelf(read_station_text(STATION, {}), budget=10.0)


def test_no_route_is_refused_with_its_cure():
    with pytest.raises(InputError, match='Add route = "25 m"'):
        share_shelf(
            read_station_text(STATION.replace('route = "12 m"', 'chain = [{line = "RG-58C/U", length = "1 m"}]'), {})
        )


def test_the_command_shows_what_the_library_says(tmp_path):
    file = tmp_path / "day.toml"
    file.write_text(STATION)
    shared = share_shelf(file)
    text = CliRunner().invoke(share, [str(file)], catch_exceptions=False).output
    document = json.loads(CliRunner().invoke(share, [str(file), "--json"], catch_exceptions=False).output)
    assert document["schema"] == "linewright/share/1"
    assert document["weighted_loss_db"] == pytest.approx(shared.weighted_loss_db)
    assert f"{shared.weighted_loss_db:.2f} weighted dB in all: proved best." in text
    assert max(map(len, text.splitlines())) <= 100
