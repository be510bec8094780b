"""An antenna at the analyser: figures and changes are as doubtful as they say, on antennas whose truth is known."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner

from linewright.cli.main import main
from linewright.core.errors import InputError
from linewright.core.nouns.sweep import Sweep
from linewright.core.nouns.through import Estimate
from linewright.inference.load.antenna import _disc, resonant_phase_rad
from linewright.inference.load.at_analyser import at_analyser, changes, difference
from linewright.inference.load.curve import _around, _lowest, edges
from linewright.inference.load.seen import seen_sweep, seen_swr
from linewright.verbs.antenna import see_antenna
from linewright.verbs.through import line_behind

F = np.linspace(140e6, 150e6, 101)
RESONATOR = Path(__file__).parents[1] / "data" / "touchstone" / "antennas" / "resonator_coax_62MHz.s1p"


def antenna(f0=145e6, ohm=40.0, q=15.0):
    """The reflection of a series resonant antenna, with its true figures."""
    z = ohm * (1 + 1j * q * (F / f0 - f0 / F))
    return (z - 50) / (z + 50)


def swept(gamma, rng, name="a", leak_db=40.0):
    """A sweep of it through a bridge that leaks, at most so much."""
    leak = 10 ** (-leak_db / 20) * np.sqrt(rng.random()) * np.exp(2j * np.pi * rng.random())
    shown = gamma + leak + 0.002 * (rng.random(len(F)) - 0.5)
    return seen_sweep(Sweep(name, F, shown[:, None, None], np.array([50.0 + 0j])))


def width_hz(gamma, swr=2.0):
    inside = F[np.abs(gamma) < (swr - 1) / (swr + 1)]
    return inside[-1] - inside[0] + (F[1] - F[0])


def test_figures_lie_in_their_intervals():
    rng, held = np.random.default_rng(2), {"best": 0, "resonance": 0, "ohm": 0, "width": 0}
    for _ in range(24):
        f0, ohm, q = rng.uniform(144e6, 146e6), rng.uniform(35, 65), rng.uniform(15, 30)
        gamma = antenna(f0, ohm, q)
        x = at_analyser(swept(gamma, rng))
        best = (1 + np.min(np.abs(gamma))) / (1 - np.min(np.abs(gamma)))
        held["best"] += x.best_swr.low - 0.005 <= best <= x.best_swr.high + 0.005
        held["resonance"] += abs(x.zero_reactance_hz.value - f0) < 1.96 * 0.5 * 1e5 + (
            x.zero_reactance_hz.high - x.zero_reactance_hz.low
        )
        held["ohm"] += x.resistance_ohm.low - 0.3 <= ohm <= x.resistance_ohm.high + 0.3
        w = next(w for w in x.widths if w.swr == 2.0).width_hz
        held["width"] += w.low - 1e5 <= width_hz(gamma) <= w.high + 1e5
    assert min(held.values()) >= 22, held


def test_a_wet_antenna_is_told_from_a_dry_one_and_nothing_from_nothing():
    rng, told, false, inside = np.random.default_rng(4), 0, 0, 0
    for _ in range(24):
        f0 = rng.uniform(144e6, 146e6)
        dry, again = (at_analyser(swept(antenna(f0), rng, n)) for n in ("dry", "again"))
        wet = at_analyser(swept(antenna(f0 - 400e3, 44.0), rng, "wet"))
        (moved,) = [c for c in changes([dry, wet]) if c.figure == "resonance"]
        told += moved.told
        inside += moved.change.low <= -400e3 <= moved.change.high
        false += any(c.told for c in changes([dry, again]) if c.figure == "resonance")
    assert told >= 23
    assert inside >= 22
    assert false <= 2


def test_a_leakier_bridge_doubts_more():
    rng = np.random.default_rng(1)
    fine, coarse = (at_analyser(swept(antenna(), rng, leak_db=d)) for d in (40.0, 40.0))
    rough = at_analyser(seen_swr(1.0 + np.abs(F - 145e6) / 4e6, 0.1, frequency_hz=F))
    assert rough.best_swr.high - rough.best_swr.low > 2 * (fine.best_swr.high - fine.best_swr.low)
    assert coarse.resistance_ohm.value is not None
    assert rough.resistance_ohm == Estimate()


def test_a_dip_outside_the_sweep_is_no_resonance():
    x = at_analyser(swept(antenna(160e6), np.random.default_rng(3)))
    assert x.resonance_hz.value is None
    result = see_antenna([swept(antenna(160e6), np.random.default_rng(3))])
    assert "there is no resonance within the sweep" in result.verdict


def test_a_single_reading_is_no_sweep():
    with pytest.raises(InputError, match="three points or more"):
        at_analyser(seen_swr(1.3))


def test_a_difference_adds_its_doubts_as_squares():
    found = difference(Estimate(3.0, 2.7, 3.3), Estimate(4.0, 3.6, 4.4))
    assert found.value == 1.0
    assert found.high - 1.0 == pytest.approx(0.5)
    assert difference(Estimate(), Estimate(1.0, 0.5, 1.5)) == Estimate()


@pytest.mark.parametrize(("later", "told"), [(2.5, True), (1.54, False), (0.5, True)])
def test_a_change_is_told_that_is_more_than_its_doubt(later, told):
    def swept(name, swr):
        swr = Estimate(swr, swr - 0.03, swr + 0.03)
        width = SimpleNamespace(swr=2.0, width_hz=Estimate())
        return SimpleNamespace(name=name, behind=None, resonance_hz=Estimate(), best_swr=swr, widths=[width])

    (found,) = changes([swept("before", 1.5), swept("after", later)])
    assert (found.figure, found.told) == ("best_swr", told)


def test_a_curve_rises_through_a_limit_where_a_straight_line_between_its_points_does():
    """|Γ|² = 1 - 1/b: points at b = 1.05 and 1.45 on either side, SWR 2 at b = 9/8, so 3/16 of the way up."""
    b = np.array([1.45, 1.05, 1.01, 1.05, 1.45])
    size = np.sqrt(1 - 1 / b)[:, None]
    low, high = edges(np.array([1e6, 2e6, 3e6, 4e6, 5e6]), size, 2, 2.0)
    assert (low[0], high[0]) == pytest.approx((2e6 - 3 / 16 * 1e6, 4e6 + 3 / 16 * 1e6))


@pytest.mark.parametrize(("bend", "bottom", "at"), [(0.5, 3.0, 3.0), (0.5, 0.4, 0.4), (-0.5, 3.0, np.nan)])
def test_a_curve_that_bends_up_has_a_bottom_even_beyond_its_points(bend, bottom, at):
    x = np.linspace(-1.0, 1.0, 9)
    found, least = _lowest(x, (1.0 + bend * (x - bottom) ** 2)[:, None], np.ones(9), 2)
    assert found == pytest.approx([at], nan_ok=True)
    assert np.isnan(at) or least == pytest.approx([1.0])


@pytest.mark.parametrize(
    ("size", "rows"),
    [
        ([0.2, 0.1, 0.2], [0, 1, 2]),
        ([0.9, 0.8, 0.1, 0.2, 0.9, 0.9], [0, 1, 2, 3, 4]),
        ([0.1, 0.2, 0.3, 0.4, 0.46, 0.9], [0, 1, 2, 3]),
    ],
)
def test_a_parabola_is_laid_through_the_points_near_the_bottom_two_on_either_side_at_least(size, rows):
    """Near is 0.35 above the bottom, and below 0.75."""
    assert _around(np.array(size), int(np.argmin(size))).tolist() == rows


@pytest.mark.parametrize("ohm", [35.0, 50.0 / 0.7])
def test_a_resonant_antenna_has_the_phase_that_its_size_tells(ohm):
    """Of a series circuit only the sign of its resistance against the line's is left open."""
    gamma = antenna(ohm=ohm)
    found = resonant_phase_rad(np.abs(gamma))[:, 0 if ohm < 50 else 1]
    apart = np.angle(np.exp(1j * (found - np.angle(gamma))))
    assert np.abs(apart[np.abs(F - 145e6) > 1e6]).max() < 0.02


def test_a_leak_within_its_bound_is_anywhere_alike():
    inside = np.abs(_disc(np.random.default_rng(1), 400))
    assert inside.max() < 1.0
    assert [np.mean(inside < r) for r in (0.3, 0.5, 0.8)] == pytest.approx([0.09, 0.25, 0.64], abs=0.01)


def test_behind_a_line_the_antenna_is_sharper_than_at_the_analyser():
    rng, gamma = np.random.default_rng(6), antenna(q=40.0)
    result = see_antenna([swept(gamma * 10**-0.2, rng, "near"), swept(gamma * 10**-0.2, rng, "near")],
                         line_behind(loss_db=2.0, half_width_db=0.1, at_hz=145e6))  # fmt: skip
    one, other = result.sweeps
    assert (one.name, other.name) == ("near (1)", "near (2)")
    width = next(w for w in one.widths if w.swr == 2.0).width_hz
    assert one.behind.bandwidth_hz.high < width.low
    assert {c.at for c in result.changes} == {"analyser", "antenna"}
    assert not any(c.told for c in result.changes)


def test_the_command_shows_an_antenna_without_a_line_and_compares_several():
    one = CliRunner().invoke(main, ["through", "--curve", str(RESONATOR)], standalone_mode=False)
    assert "resonant at 62.384 MHz" in one.stdout
    assert "A lossy line before the antenna flatters all of this" in " ".join(one.stdout.split())
    words = ["--curve", str(RESONATOR), "--name", "dry", "--curve", str(RESONATOR), "--name", "wet"]
    two = CliRunner().invoke(main, ["through", *words, "--json"], standalone_mode=False)
    answer = json.loads(two.stdout)
    assert answer["schema"] == "linewright/antenna/1"
    assert [x["name"] for x in answer["sweeps"]] == ["dry", "wet"]
    assert all(c["told"] is False for c in answer["changes"])
    bad = CliRunner().invoke(main, ["through", "--curve", str(RESONATOR), *words], standalone_mode=False)
    assert "once for each curve" in str(bad.exception)


def test_a_curve_whose_edges_are_not_certain_is_said_to_be_so(tmp_path):
    """ "Not within the sweep" stood over points of SWR 1.66 and 1.59 at both ends of it, for a width at SWR 1.5."""
    curve = tmp_path / "beam.csv"
    swr = 1.15 + 0.0166 * (np.linspace(140.0, 150.0, 16) - 145.3) ** 2
    rows = (f"{f:.3f},{x:.2f}" for f, x in zip(np.linspace(140.0, 150.0, 16), swr, strict=True))
    curve.write_text("\n".join(["frequency_mhz,swr", *rows]))
    said = CliRunner().invoke(main, ["through", "--curve", str(curve)], standalone_mode=False).stdout
    assert "not within the sweep" not in said
    assert "not certain to lie within the sweep" in said
    assert "no reactance      cannot be told" in said
