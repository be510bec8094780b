"""A choice is drawn where it is asked for."""

import pytest

from cli.doors import DATA, ask

ASKED = ("choose", str(DATA / "harbour-ridge-station.toml"), "--run", "two-metre beam")


@pytest.mark.parametrize("option", ["--chart", "--lengths-chart"])
def test_the_chart_is_written(tmp_path, option):
    out = tmp_path / "drawn.svg"
    done = ask(*ASKED, "--prices", str(DATA / "harbour-ridge-prices.csv"), option, str(out))
    assert done.exit_code == 0
    assert out.read_text(encoding="utf-8").startswith("<svg")
