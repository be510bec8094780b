"""The demo's station: invented, of every kind of run, and its plan holds what its cables were made to lose."""

from __future__ import annotations

import pytest

from cli.doors import DATA
from demo.tool import tool
from linewright.core.nouns.plan import BandFinding, PartFinding
from linewright.core.nouns.station import LinePart, TunerPart
from linewright.verbs.plan import plan_station, read
from linewright.verbs.what_if import what_if

STATION = DATA / "harbour-ridge-station.toml"


@pytest.fixture(scope="module")
def plan():
    return plan_station(STATION)


def _bands(plan, run: str) -> tuple[BandFinding, ...]:
    return next(b.bands for b in plan.budgets if b.run == run)


def _part(band: BandFinding, name: str) -> PartFinding:
    return next(p for p in band.parts if p.name == name)


def test_it_says_that_it_is_invented():
    text = STATION.read_text(encoding="utf-8")
    assert text.startswith("# INVENTED DATA.")
    assert "invented" in read(STATION).name


def test_it_has_the_four_runs_of_a_small_station():
    runs = {r.name: r for r in read(STATION).runs}
    assert set(runs) == {"multiband wire", "two-metre beam", "repeater link", "portable mast"}
    wire = runs["multiband wire"].chain
    assert any(isinstance(p, TunerPart) for p in wire)
    assert any(isinstance(p, LinePart) and p.piece.line and p.piece.line.balanced for p in wire)
    assert any(p.name == "rotator tail" for p in runs["two-metre beam"].chain)


def test_the_plan_holds_what_the_pieces_were_made_to_lose(plan):
    """A matched loss of the plan against the truth, on the bands of the bench; five figures, none far off."""
    maker = tool("make_demo_bench")
    found = [
        (part, maker.CABLES[part.name].loss_db(x.frequency_hz / 1e6))
        for budget in plan.budgets
        for x in budget.bands
        for part in x.parts
        if part.name in maker.CABLES
    ]
    assert len(found) == 5
    assert all(part.matched_loss_db == pytest.approx(true_db, rel=0.12) for part, true_db in found)


def test_the_worn_drum_starves_the_link_and_is_named(plan):
    (link,) = _bands(plan, "repeater link")
    assert link.power_at_antenna_w < 0.15 * link.power_w
    assert "Most is lost in blue 18" in link.weakest
    assert "bench" in _part(link, "blue 18").basis


def test_windowed_line_loses_little_though_the_standing_wave_is_high(plan):
    for x in _bands(plan, "multiband wire")[1:]:
        assert x.swr_at_antenna > 3.0
        assert x.total_loss_db < 1.6
        assert x.swr_at_radio < 1.1


def test_no_rating_is_exceeded_as_it_ships(plan):
    margins = [m for b in plan.budgets for x in b.bands for m in (x.voltage_margin, x.heat_margin) if m is not None]
    assert min(margins) > 1.0


def test_a_preamplifier_at_the_mast_saves_the_link():
    change = "repeater link: add preamplifier = gain 18 dB, noise figure 0.8 dB, at antenna"
    (d,) = what_if(STATION, [change]).differences
    assert d.run == "repeater link"
    assert d.signal_to_noise_db is not None
    assert d.signal_to_noise_db > 10.0
    assert d.delivered_db == pytest.approx(0.0, abs=1e-9)
