"""What a plan says of a run: claims that hold for every run, and figures anyone can work out by hand."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given

from budget.chains import HERTZ, belief, draws, runs
from examples import few
from linewright.catalogue import line_type
from linewright.core.errors import InputError
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.plan import Plan
from linewright.core.nouns.station import (
    Antenna,
    ConnectorPart,
    Exposure,
    LinePart,
    LossPart,
    Preamplifier,
    Ratings,
    Receiver,
    Run,
    SplitterPart,
    SweepPart,
    TransformerPart,
    TunerPart,
)
from linewright.core.nouns.sweep import Sweep
from linewright.link.chain import antenna_state, walk
from linewright.link.draws import sweep_at
from linewright.link.plan import plan_run, sweep_run
from linewright.link.sections import sections
from linewright.present.compose.plan_workings import workings

MATCHED = Antenna(impedance_ohm=((0.0, 50.0 + 0j),))


def line(length_m=20.0, kind="RG-213/U", name="feeder", **more):
    return LinePart(name, Piece(name, length_m, line_type(kind), 0), **more)


def run(*chain, antenna=MATCHED, hertz=(14.2e6, 144e6), **more):
    return Run("made up", hertz, 100.0, chain, antenna, **more)


def exact(part, ratio=1.0, count=100):
    """A belief without doubt."""
    one, none = np.full(count, ratio), np.zeros(count)
    return Belief(part.piece, part.piece.line.law, one, one / one, one / one, none, none, none, "a test")


@given(runs)
def test_no_passive_run_gains_and_no_part_of_it(made):
    shared = draws(made)
    walked = walk(sections(made, HERTZ, shared), antenna_state(made.antenna, HERTZ, shared))
    assert all(np.all(loss > -1e-6) for loss in walked.loss_db)
    ratio = walked.states[0].power / walked.states[-1].power
    assert np.allclose(walked.total_db, 10 * np.log10(ratio), rtol=1e-9, atol=1e-9)


@given(runs)
@few(20)
def test_the_parts_add_up_to_the_whole(made):
    made = replace(made, duty=0.4, mode_factor=0.5)
    beliefs = {p.piece.tag: belief(p) for p in made.chain if isinstance(p, LinePart) and p.measured}
    for band in plan_run(made, beliefs, draws=60).bands:
        assert sum(p.loss_db for p in band.parts) == pytest.approx(band.total_loss_db, abs=1e-9)
        assert sum(p.matched_loss_db for p in band.parts) == pytest.approx(band.matched_loss_db, abs=1e-9)
        assert sum(p.heat_w for p in band.parts) == pytest.approx(band.heat_w, abs=1e-6)
        assert band.total_loss_db_low <= band.total_loss_db <= band.total_loss_db_high
        assert band.power_at_antenna_w_low <= band.power_at_antenna_w <= band.power_at_antenna_w_high
        assert band.swr_at_radio_low <= band.swr_at_radio <= band.swr_at_radio_high
        assert band.highest_swr_at_radio is None or band.swr_at_radio <= band.highest_swr_at_radio * (1 + 1e-6)


def test_without_reflection_there_is_no_extra_loss():
    made = run(line(), ConnectorPart("n", "N", 2), LossPart("arrestor", ((0.0, 0.1),)))
    for band in plan_run(made, {}).bands:
        assert band.mismatch_loss_db == pytest.approx(0.0, abs=1e-4)
        assert band.swr_at_radio == pytest.approx(1.0, abs=1e-2)


def test_matched_figures_by_hand():
    feeder = line(measured=True)
    made = run(feeder, LossPart("switch", ((0.0, 0.25),)), duty=0.5, mode_factor=0.4)
    band = plan_run(made, {"feeder": exact(feeder)}).bands[1]
    loss = 20.0 * float(feeder.piece.line.law.db_per_m(144e6))
    assert band.total_loss_db == pytest.approx(loss + 0.25, abs=1e-3)
    assert band.power_at_antenna_w == pytest.approx(100 * 10 ** (-(loss + 0.25) / 10), rel=1e-3)
    assert band.heat_w == pytest.approx(0.2 * (100 - band.power_at_antenna_w))
    assert band.peak_voltage_v == pytest.approx(100.0, rel=1e-3)  # √(2 · 100 W · 50 ohm)
    assert band.parts[0].heat_w_per_m == pytest.approx(0.2 * 100 * loss / 20 / 4.343, rel=1e-3)
    assert band.parts[0].basis == "a test"


def test_loss_rises_a_fifth_of_a_percent_a_kelvin():
    feeder = line(measured=True)
    losses = [
        plan_run(run(feeder, temperature_celsius=t), {"feeder": exact(feeder)}).bands[0].matched_loss_db
        for t in (20.0, 60.0)
    ]
    assert losses[1] / losses[0] == pytest.approx(1 + 40 * 0.00198)


def test_an_swr_of_unknown_phase_is_spread_over_all_phases():
    feeder = line(3.0, measured=True)
    made = run(feeder, antenna=Antenna(swr=((0.0, 3.0),)), hertz=(14.2e6,))
    band = plan_run(made, {"feeder": exact(feeder)}).bands[0]
    totals = []
    for turn in np.linspace(0, 2 * np.pi, 181):
        g = 0.5 * np.exp(1j * turn)
        known = replace(made, antenna=Antenna(impedance_ohm=((0.0, complex(50 * (1 + g) / (1 - g))),)))
        totals.append(plan_run(known, {"feeder": exact(feeder)}).bands[0].total_loss_db)
    assert band.total_loss_db == pytest.approx(np.mean(totals[:-1]), abs=1e-4)
    assert band.total_loss_db_low == pytest.approx(np.quantile(totals, 0.025), abs=2e-3)
    assert band.total_loss_db_high == pytest.approx(np.quantile(totals, 0.975), abs=2e-3)
    assert band.swr_at_antenna == pytest.approx(3.0, abs=1e-3)


def test_a_tuner_at_the_radio_hides_the_mismatch_but_not_its_loss():
    antenna = Antenna(impedance_ohm=((0.0, 20 - 150j),))
    bare, tuned = (
        plan_run(run(*chain, antenna=antenna), {}).bands[0] for chain in ((line(),), (TunerPart("tuner"), line()))
    )
    assert tuned.swr_at_radio == pytest.approx(1.0, abs=1e-6)
    assert bare.swr_at_radio > 3.0
    assert tuned.parts[0].loss_db > 0.05
    assert tuned.parts[1].loss_db == pytest.approx(bare.parts[0].loss_db)
    assert tuned.highest_swr_at_radio == pytest.approx(bare.highest_swr_at_radio)


def test_a_tuner_at_the_antenna_spares_the_line_its_standing_wave():
    antenna = Antenna(impedance_ohm=((0.0, 20 - 150j),))
    at_radio = plan_run(run(TunerPart("tuner"), line(), antenna=antenna), {}).bands[1]
    at_antenna = plan_run(run(line(), TunerPart("tuner"), antenna=antenna), {}).bands[1]
    assert at_antenna.total_loss_db < at_radio.total_loss_db
    assert at_antenna.parts[0].loss_db == pytest.approx(at_antenna.parts[0].matched_loss_db, abs=1e-2)


def test_a_four_to_one_transformer_matches_200_ohms():
    made = run(TransformerPart("balun", 4.0, ((0.0, 0.2),)), antenna=Antenna(impedance_ohm=((0.0, 200 + 0j),)))
    band = plan_run(made, {}).bands[0]
    assert band.swr_at_radio == pytest.approx(1.0)
    assert band.total_loss_db == pytest.approx(0.2)


def test_quarter_waves_of_75_ohms_and_a_tee_feed_two_antennas():
    # Each branch turns 50 into 112.5 ohms; two in parallel make 56.25 ohms, an SWR of 1.125 (by hand).
    quarter = 299_792_458.0 / 144e6 / 4 * 0.66
    branch = line(quarter, "RG-59B/U", "branch")
    tee = SplitterPart("tee", 2, matched=False)
    band = plan_run(run(tee, branch, hertz=(144e6,)), {}).bands[0]
    assert band.swr_at_radio == pytest.approx(1.125, abs=8e-3)  # the branches' own loss draws it nearer to 1
    assert band.parts[0].loss_db == pytest.approx(0.0, abs=1e-9)
    assert band.parts[1].power_in_w == pytest.approx(50.0)
    assert band.power_at_antenna_w + band.heat_w == pytest.approx(100.0)


def test_the_radio_folds_back_by_its_curve():
    made = run(antenna=Antenna(impedance_ohm=((0.0, 150 + 0j),)), fold_back=((1.0, 1.0), (2.0, 1.0), (4.0, 0.5)))
    budget = plan_run(made, {})
    assert budget.bands[0].power_w == pytest.approx(75.0)
    assert any("folds back to 75 W" in remark for remark in budget.remarks)


@pytest.mark.parametrize(("cut", "expected"), [(180.0, (19.5, 20.9)), (90.0, (18.8, 20.2))])
def test_lengths_to_cut_are_whole_half_waves_away(cut, expected):
    part = plan_run(run(line(20.0, cut_deg=cut), hertz=(71.5e6,)), {}).bands[0].parts[0]
    assert part.cut_m == pytest.approx(expected, abs=0.5)
    half = 299_792_458.0 / 71.5e6 / 2 * 0.66
    assert part.cut_m[1] - part.cut_m[0] == pytest.approx(half)
    assert part.cut_m[0] <= 20.0 <= part.cut_m[1]
    assert (part.cut_m[0] - cut / 180 * half) / half == pytest.approx(round((part.cut_m[0] - cut / 180 * half) / half))


def test_a_long_lossy_line_hides_the_antenna():
    budget = plan_run(run(line(100.0, "RG-58C/U"), hertz=(432e6,)), {})
    assert budget.bands[0].highest_swr_at_radio < 1.01
    assert any("hides the antenna" in remark for remark in budget.remarks)


def test_what_is_over_its_rating_is_named_first():
    weak = LossPart("relay", ((0.0, 0.1),), ratings=Ratings(voltage_v=((0.0, 20.0),), power_w=((0.0, 30.0),)))
    band = plan_run(run(weak, hertz=(14.2e6,)), {}).bands[0]
    assert band.voltage_margin == pytest.approx(20 * 2**0.5 / 100, rel=1e-6)
    assert band.heat_margin == pytest.approx(0.3)
    assert band.weakest.startswith("relay sees 100 V peak")


def test_a_hot_day_lowers_what_a_line_bears():
    mild, hot = (plan_run(run(line(), temperature_celsius=t), {}).bands[0].parts[0] for t in (40.0, 70.0))
    assert hot.power_rating_w == pytest.approx(mild.power_rating_w * (85 - 70) / (85 - 40))


def test_no_line_bears_more_than_its_published_rating_unless_a_temperature_is_stated():
    for name in ("RG-213/U", "RG-58C/U", "RG-8X"):
        unstated, rated, cool = (
            plan_run(run(line(kind=name), temperature_celsius=t), {}).bands[0].parts[0] for t in (None, 40.0, 20.0)
        )
        assert unstated.power_rating_w == pytest.approx(rated.power_rating_w)
        assert cool.power_rating_w > 1.3 * unstated.power_rating_w
    own = plan_run(run(line(temperature_celsius=60.0)), {}).bands[0].parts[0]
    assert own.power_rating_w < plan_run(run(line()), {}).bands[0].parts[0].power_rating_w


@pytest.mark.parametrize(
    ("kind", "copper", "mhz", "measured_db_per_100m"),
    [("RG-6 type", "RG-6 solid copper", 2.0, 2.4), ("450-ohm windowed", "450-ohm open wire 35 mm", 3.6, 0.75)],
)
def test_a_plan_carries_the_doubt_of_clad_steel(kind, copper, mhz, measured_db_per_100m):
    def matched(name):
        ohm = line_type(name).impedance_ohm
        found = run(line(100.0, name), antenna=Antenna(impedance_ohm=((mhz * 1e6, complex(ohm)),)), hertz=(mhz * 1e6,))
        return plan_run(found, {}).bands[0].parts[0]

    steel, solid = matched(kind), matched(copper)
    assert steel.loss_db_low <= measured_db_per_100m <= steel.loss_db_high
    assert steel.loss_db_high / steel.loss_db_low > 2.0 * solid.loss_db_high / solid.loss_db_low


def test_a_pad_in_a_standing_wave_is_held_against_its_rating_by_the_heat_it_gives_off():
    # By hand: a matched attenuator of 0.3 dB, 100 W into it, 50 ohms times 5 behind it (Pozar, section 4.4).
    kept = 10**-0.03
    wave_in, wave_back = 1 / (1 - (kept * 4 / 6) ** 2), (kept * 4 / 6) ** 2 / (1 - (kept * 4 / 6) ** 2)
    heat_w = 100 * (wave_in * (1 - kept) + wave_back / kept * (1 - kept))
    allowed_w = 100 * (1 - kept)
    pad = LossPart("pad", ((0.0, 0.3),), ratings=Ratings(power_w=((0.0, 100.0),)))
    budget = plan_run(run(pad, antenna=Antenna(swr=((0.0, 5.0),)), hertz=(14.2e6,)), {}, explain=workings)
    band = budget.bands[0]
    assert (heat_w, allowed_w) == (pytest.approx(15.4, abs=0.05), pytest.approx(6.67, abs=0.01))
    assert band.heat_w == pytest.approx(heat_w, rel=1e-3)
    assert band.heat_margin == pytest.approx(allowed_w / heat_w, rel=1e-3)
    assert band.weakest.startswith("pad gets 2.3 times the heat that its rating allows.")
    assert "230.8" in next(v for w in budget.workings if w.figure.startswith("heat of pad") for k, v in w.inputs if
                         k.startswith("load"))  # fmt: skip


def test_next_to_no_loss_and_none_at_all_are_rated_alike():
    loads = [
        plan_run(run(LossPart("relay", ((0.0, db),), ratings=Ratings(power_w=((0.0, 100.0),))),
                     antenna=Antenna(swr=((0.0, 5.0),))), {}).bands[0].heat_margin
        for db in (0.0, 0.001)
    ]  # fmt: skip
    assert loads[0] == pytest.approx(1 / 2.6)  # (S + 1/S)/2
    assert loads[1] == pytest.approx(loads[0], rel=1e-3)


def test_three_decibels_matter_little_at_14_mhz_and_decide_at_432():
    chain = (line(40.0, "RG-58C/U"),)
    heard = [
        b.reception
        for b in plan_run(run(*chain, hertz=(14.2e6, 432e6), receiver=Receiver(4.0)), {}, noise="residential").bands
    ]
    assert heard[0].reception_loss_db < 0.1
    assert heard[1].reception_loss_db > 5.0
    left = {remedy.kind: remedy.reception_loss_db for remedy in heard[1].remedies}
    assert min(left.values()) < heard[1].reception_loss_db / 2
    assert left["line"] < heard[1].reception_loss_db
    assert heard[0].remedies == ()


def test_reception_by_hand():
    pad = LossPart("pad", ((0.0, 3.0),))
    made = run(pad, hertz=(432e6,), receiver=Receiver(3.0), sky_temperature_kelvin=100.0, temperature_celsius=16.85)
    heard = plan_run(made, {}).bands[0].reception
    ratio = 10**0.3
    system = 100 + 290 * (ratio - 1) + 290 * (ratio - 1) * ratio
    assert heard.system_noise_kelvin == pytest.approx(system)
    assert heard.reception_loss_db == pytest.approx(10 * np.log10(system / (100 + 290 * (ratio - 1))))
    better = plan_run(replace(made, preamplifier=Preamplifier(20.0, 1.0, "antenna")), {}).bands[0].reception
    assert better.system_noise_kelvin < heard.system_noise_kelvin
    assert better.reception_loss_db < 0.3


def test_a_stated_antenna_temperature_is_the_total_and_what_is_assumed_is_said():
    # By hand: 580 K outside, 2 dB at 290 K, a receiver of 2 dB; what Friis' formula adds is the same at both bands.
    pad, quiet = LossPart("pad", ((0.0, 2.0),)), {"receiver": Receiver(2.0), "sky_temperature_kelvin": 580.0}
    made = run(pad, hertz=(145e6, 251e6), temperature_celsius=16.85, **quiet)
    ratio = 10**0.2
    system = 580 + 290 * (ratio - 1) + 290 * (ratio - 1) * ratio
    cost = 10 * np.log10(system / (580 + 290 * (ratio - 1)))
    for band in plan_run(made, {}).bands:
        assert band.reception.external_noise_kelvin == 580.0
        assert band.reception.system_noise_kelvin == pytest.approx(system)
        assert band.reception.reception_loss_db == pytest.approx(cost)
        assert band.reception.assumed == (
            "No site is stated: the antenna temperature of 580 K is taken as all the noise that comes in, and as"
            " steady.",
        )
    both = plan_run(made, {}, noise="rural").bands[0].reception
    assert both.external_noise_kelvin == pytest.approx(580 + 290 * 10 ** ((67.2 - 27.7 * np.log10(145)) / 10))
    assert "the noise of a rural site is added to the 580 K" in both.assumed[0]
    bare = plan_run(run(pad, receiver=Receiver(2.0)), {}, noise="rural").bands[0].reception
    assert "No antenna temperature is stated" in bare.assumed[0]
    assert "taken to be at 20 °C" in bare.assumed[1]


def test_distances_are_those_of_the_averaged_power():
    made = run(gain_dbi=2.15, duty=0.5, mode_factor=0.4, hertz=(144e6,), exposure=Exposure(("47 CFR 1.1310",), 2.56))
    band = plan_run(made, {}).bands[0]
    public = next(e for e in band.exposure if e.who == "public")
    assert public.distance_m == pytest.approx(np.sqrt(2.56 * band.eirp_w * 0.2 / (4 * np.pi * 2.0)))
    unknown = plan_run(run(), {}).bands[0].exposure
    assert {e.distance_m for e in unknown} == {None}
    assert all("gain" in e.needs for e in unknown)


def test_the_farther_distance_is_that_of_the_upper_end_of_the_power():
    made = run(line(), gain_dbi=11.0, hertz=(144e6,), exposure=Exposure(("47 CFR 1.1310",), 2.56))
    band = plan_run(made, {}).bands[0]
    public = next(e for e in band.exposure if e.who == "public")
    most = band.power_at_antenna_w_high * 10**1.1 * made.duty * made.mode_factor
    assert public.distance_m_high == pytest.approx(np.sqrt(2.56 * most / (4 * np.pi * 2.0)))
    assert public.distance_m_high > 1.005 * public.distance_m


def test_every_figure_has_its_working_and_the_document_is_plain():
    made = run(line(cut_deg=180.0), gain_dbi=6.0, receiver=Receiver(4.0))
    budget = plan_run(made, {}, noise="rural", explain=workings)
    told = " ".join(w.figure for w in budget.workings if "144 MHz" in w.figure)
    for figure in (
        "matched loss", "total loss", "extra loss", "power of the radio", "power at the antenna", "heat",
        "SWR at the radio", "SWR at the antenna", "highest SWR", "peak voltage", "voltage margin",
        "heat margin", "electrical length", "external noise", "system noise", "loss of signal-to-noise",
        "EIRP", "distance by",
    ):  # fmt: skip
        assert figure in told
    assert all(w.formula and w.source for w in budget.workings)
    assert (
        json.loads(json.dumps(Plan("made up", (budget,), ()).to_dict(), allow_nan=False))["runs"][0]["run"] == "made up"
    )


def test_a_sweep_of_frequencies_agrees_with_the_plan():
    made = run(line(), ConnectorPart("uhf", "UHF"), line(2.0, "RG-58C/U", "tail"), antenna=Antenna(swr=((0.0, 1.7),)))
    curve, budget = sweep_run(made, {}, made.frequencies_hz), plan_run(made, {})
    for i, band in enumerate(budget.bands):
        assert curve.total_loss_db.middle[i] == pytest.approx(band.total_loss_db)
        assert curve.total_loss_db.low[i] == pytest.approx(band.total_loss_db_low)
        assert curve.swr_at_radio.high[i] == pytest.approx(band.swr_at_radio_high)
        assert curve.parts_db[:, i] == pytest.approx([p.loss_db for p in band.parts])


def test_two_lines_of_one_unmeasured_type_err_together():
    halves = plan_run(run(line(20.0, name="a"), line(20.0, name="b"), hertz=(144e6,)), {}).bands[0]
    whole = plan_run(run(line(40.0), hertz=(144e6,)), {}).bands[0]
    assert halves.total_loss_db_high - halves.total_loss_db_low == pytest.approx(
        whole.total_loss_db_high - whole.total_loss_db_low, rel=1e-2
    )


def _delay(hertz):
    s = np.zeros((len(hertz), 2, 2), complex)
    s[:, 0, 1] = s[:, 1, 0] = 0.9 * np.exp(-2j * np.pi * hertz * 20e-9)
    return Sweep("delay.s2p", hertz, s, np.array([50.0 + 0j, 50.0]))


def test_a_delay_read_between_its_points_shows_no_loss_that_is_not_there():
    between = np.array([145.3e6])
    s = sweep_at("filter", _delay(np.linspace(140e6, 150e6, 3)), between, 2)
    assert s[0, 1, 0] == pytest.approx(0.9 * np.exp(-2j * np.pi * between[0] * 20e-9), abs=1e-9)


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (run(SweepPart("filter", _delay(np.array([140e6, 150e6])))), "14.2 MHz lies outside"),
        (run(antenna=Antenna(swr=((0.0, 0.8),))), "swr must be at least 1"),
        (run(antenna=Antenna(swr=((0.0, float("inf")),))), "must take power"),
        (run(antenna=Antenna(swr=((14.0e6, 1.5), (14.3e6, 1.2)))), "144 MHz lies outside"),
        (run(antenna=Antenna(impedance_ohm=((0.0, -5 + 3j),))), "must take power"),
        (run(antenna=Antenna()), "exactly one"),
        (run(antenna=Antenna(sweep=_delay(np.array([1e6, 500e6])))), "1 port;"),
        (run(hertz=()), "at least one"),
        (run(LinePart("blue", Piece("blue", 5.0, None))), "must be known for blue"),
    ],
)
def test_what_cannot_be_planned_is_refused(made, words):
    with pytest.raises(InputError, match=words):
        plan_run(made, {})


def test_a_belief_of_other_draws_keeps_its_interval():
    feeder = line(measured=True)
    for count in (300, 5000):
        spread = np.exp(0.1 * np.random.default_rng(1).standard_normal(count))
        drawn = replace(exact(feeder, count=count), growth=spread)
        band = plan_run(run(feeder, hertz=(144e6,)), {"feeder": drawn}).bands[0]
        low, high = np.quantile(drawn.loss_db(144e6), [0.025, 0.975])
        assert band.total_loss_db_low == pytest.approx(low, rel=0.03)
        assert band.total_loss_db_high == pytest.approx(high, rel=0.03)


def test_a_piece_of_which_no_evidence_speaks_is_named():
    said = plan_run(run(line(measured=True)), {}).remarks
    assert any(remark.startswith("feeder: there is no evidence for it") for remark in said)


def test_an_uhf_pair_reflects_and_an_n_pair_does_not():
    uhf, n = (plan_run(run(ConnectorPart("pair", family)), {}).bands[1] for family in ("UHF", "N"))
    assert uhf.swr_at_radio == pytest.approx(1.13, abs=0.005)  # physics.mismatch.line_section has it so
    assert n.swr_at_radio == pytest.approx(1.0)
