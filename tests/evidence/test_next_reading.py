"""What may be read next: which readings are weighed, what each would show, and what is gained by it."""

from __future__ import annotations

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from evidence.benches import BLUE_7, BLUE_18, DESK, PATHS, POCKET, THIN, read, sheet_of
from linewright.core.nouns.bench import Attenuator, Meter, Piece
from linewright.core.nouns.line import LineType
from linewright.inference.bench import next_reading as advice
from linewright.inference.bench.findings import belief_of, loss_findings, strand_draws
from linewright.inference.bench.hypotheses import SHARED
from linewright.inference.bench.observations import blocks_of
from linewright.inference.bench.pieces import posterior_of
from linewright.inference.bench.posterior import shares
from linewright.inference.bench.prove import prove
from linewright.inference.priors import DEFAULT

SPARE = Meter("spare meter", "watts", 0.01, (1.8e6, 500e6))
ROWS = [*read(DESK, 14.2e6, PATHS), *read(POCKET, 144.3e6, PATHS)]


class Asked:
    """A bench as the advice meets it."""

    def __init__(self, rows, **more):
        self.sheet = sheet_of(rows, **more)
        blocks = blocks_of(self.sheet)
        self.post = posterior_of(self.sheet, blocks, DEFAULT, None)
        beliefs = {p.tag: belief_of(self.post, p) for p in self.sheet.pieces}
        self.strands = strand_draws(self.post)
        self.losses = advice.LossDraws(self.post, beliefs, self.strands)
        self.found = list(advice._candidates(self.post, blocks, self.losses, list(self.sheet.pieces)))

    def one(self, kind, path, frequency_hz):
        """Return the candidate of a kind, through a path, on a band."""
        (found,) = [c for c in self.found if (c.kind, c.path, c.frequency_hz) == (kind, path, frequency_hz)]
        return found


@pytest.mark.parametrize("frequency_hz", [14.2e6, 144.3e6])
def test_a_pair_would_show_the_loss_times_the_meters_exponent(frequency_hz):
    asked = Asked([row for row in ROWS if row[2] != "blue 18"])
    lay, x = asked.post.lay, asked.post.draws
    at = [b.frequency_hz for b in lay.blocks].index(frequency_hz)
    exponent = np.exp(x[:, lay.exponent][:, at] + x[:, lay.bend])
    shown = asked.one("pair", "blue 18", frequency_hz).level_db
    np.testing.assert_allclose(shown, -exponent * asked.losses.taken(BLUE_18, frequency_hz))


def test_a_pair_that_nobody_doubts_would_show_the_same_again():
    """Mismatch and the scale's step are what they were: only noise differs, that of the new pair and of the old."""
    asked = Asked(ROWS)
    again = asked.one("pair", "blue 18", 14.2e6)
    fresh = advice._Gear(asked.post).fresh
    kept = asked.post.lay.slice_of(0)
    held = advice._stands(asked.post)[:, kept].all(axis=1)
    assert held.mean() > 0.9
    assert again.level_db[held].std() == 0.0
    assert again.own == pytest.approx(2 * fresh, rel=0.3)


def test_a_pair_held_for_wrong_would_show_what_the_losses_of_that_draw_say():
    level, seen = np.array([-1.0, -2.0, -3.0, -4.0]), np.array([-7.0, -9.0])
    count, first = np.array([[0.0, 0.0], [1.0, 0.0], [3.0, 1.0], [1.0, 1.0]]), np.array([1.0, 1.0, 1.0, 0.0])
    shown, own = advice._again(level, 0.4, 0.1, (count, first), seen)
    np.testing.assert_allclose(shown, [-1.0, -7.0, -7.5, -4.0])
    assert own == pytest.approx((0.4 + 0.2 + 0.125 + 0.4) / 4)


@pytest.mark.parametrize("times", [1, 2, 3])
def test_a_reading_doubted_after_n_readings_is_cleared_by_the_next_in_one_draw_of_n_squared(times):
    """Whoever read 2 W three times on end where the losses say 7 W reads it a fourth time more often than not."""
    slipped = (DESK, 14.2e6, "blue 18", 2.0)
    rows = [*[row for row in ROWS if row[:3] != slipped[:3]], (DESK, 14.2e6, "reference", 10.0), *[slipped] * times]
    post = Asked(rows).post
    at = next(i for i, y in enumerate(post.lay.y_db) if abs(y - 10 * np.log10(2.0)) < 0.05)
    slips = np.array([
        any(post.sites.kind[s] != SHARED and at in post.sites.members[s] for s in c.chosen if s < post.sites.n_data)
        for c in post.bank
    ])  # fmt: skip
    of_draw = np.repeat(slips, shares(post.weight))
    assert of_draw.mean() > 0.3
    assert (~advice._stands(post)[:, at]).sum() == pytest.approx(of_draw.sum() / times**2, abs=10)


def test_what_shows_nothing_is_not_read_again_and_without_a_reference_that_comes_first():
    dark = [(DESK, 14.2e6, "reference", 10.0), (DESK, 14.2e6, "blue 18", 0.0), (DESK, 14.2e6, "blue 7", 8.0)]
    assert [c.path for c in Asked(dark).found if c.kind == "pair"] == ["blue 7"]
    bare = [(DESK, 14.2e6, "blue 7", 8.0), (DESK, 14.2e6, "blue 18", 6.0)]
    assert [c.path for c in Asked(bare).found if c.frequency_hz == 14.2e6][:1] == ["reference"]
    assert not [c for c in Asked(bare).found if c.kind in ("pair", "pad")]


def test_an_attenuator_is_asked_for_once_and_named_where_it_is_at_hand():
    (unknown,) = [c for c in Asked(ROWS).found if c.kind == "pad" and c.frequency_hz == 14.2e6]
    assert (unknown.path, unknown.needs) == (None, "attenuator")
    pads = [Attenuator("pad 3", 3.0)]
    at_hand = Asked([*ROWS, (POCKET, 144.3e6, "pad 3", 5.0)], attenuators=pads)
    assert [(c.path, c.needs, c.frequency_hz) for c in at_hand.found if c.kind == "pad"] == [("pad 3", None, 14.2e6)]


def test_an_attenuator_that_was_read_is_not_asked_for_and_one_at_hand_takes_what_it_takes():
    pads = [Attenuator("pad 3", 3.0)]
    was_read = Asked([*ROWS, (DESK, 14.2e6, "pad 3", 5.0)], attenuators=pads)
    assert [c.frequency_hz for c in was_read.found if c.kind == "pad"] == [144.3e6]
    other = next(c for c in was_read.found if c.kind == "pad")
    assert -np.median(other.level_db) == pytest.approx(3.0, abs=0.3)


def test_a_test_from_one_end_on_another_band_would_be_as_good_in_proportion():
    """It told 1.5 dB to within 0.3, a fifth. Of 2 dB a fifth is 0.4: anywhere in it alike, the variance is 0.4²/12."""
    seen = SimpleNamespace(width_db=0.3, middle_db=-1.5, path=("blue 7",))
    block = SimpleNamespace(
        direct=True, meter=SimpleNamespace(name="one end"), frequency_hz=144.3e6, observations=[seen]
    )
    post = SimpleNamespace(lay=SimpleNamespace(blocks=[block]))
    known = SimpleNamespace(at=lambda piece, f: np.array([2.0, 2.0]))
    found = list(advice._from_one_end(post, known, [BLUE_7, BLUE_18], SimpleNamespace(fresh=0.01)))
    assert found
    assert all(abs(c.frequency_hz / 144.3e6 - 1) >= 0.08 for c in found)
    assert [(c.path, c.own) for c in found] == [("blue 7", pytest.approx(0.4**2 / 12 + 0.01))] * len(found)


def test_a_second_meter_is_what_is_lacking_only_where_there_is_one_meter():
    alone = [c for c in Asked(read(DESK, 14.2e6, PATHS)).found if c.kind == "meter"]
    assert {(c.meter, c.needs) for c in alone} == {(None, "second meter")}
    both = Asked([*read(DESK, 14.2e6, PATHS), *read(SPARE, 144.3e6, PATHS)])
    assert {(c.meter, c.needs, c.frequency_hz) for c in both.found if c.kind == "meter"} == {
        ("spare meter", None, 14.2e6)
    }
    assert {c.needs for c in both.found if c.kind != "pad"} == {None}


def test_a_band_beside_one_that_was_read_is_no_other_band():
    bands = {c.frequency_hz for c in Asked(ROWS).found if c.kind == "band"}
    assert bands
    assert all(abs(f / read_hz - 1) >= 0.08 for f in bands for read_hz in (14.2e6, 144.3e6))
    assert all(DESK.in_rated_band(f) or POCKET.in_rated_band(f) for f in bands)


def test_every_meter_rated_for_another_band_may_read_it():
    rows = [*ROWS, *read(SPARE, 14.2e6, PATHS)]
    assert {c.meter for c in Asked(rows).found if c.kind == "band" and c.frequency_hz == 50.1e6} == {
        "desk meter", "spare meter",
    }  # fmt: skip


def test_a_meter_of_no_stated_band_may_read_bands_within_a_factor_of_ten_of_those_it_read():
    bare = Meter("bare meter", "watts", 0.01)
    bands = {c.frequency_hz for c in Asked(read(bare, 14.2e6, PATHS)).found if c.kind == "band"}
    assert bands == {1.85e6, 3.6e6, 7.1e6, 21.2e6, 28.5e6, 50.1e6}


def test_nobody_is_sent_to_23_cm_who_read_short_waves_only():
    wide = Meter("wide meter", "watts", 0.01, (1.8e6, 1300e6))

    def top_hz(f):
        return max(c.frequency_hz for c in Asked(read(wide, f, PATHS)).found if c.kind == "band")

    assert (top_hz(50.1e6), top_hz(144.3e6)) == (432.1e6, 1296e6)


def test_a_new_pair_is_known_by_noise_drift_step_mismatch_and_exponent():
    """Of 3 dB: twice the noise and drift of one reading, the step at 10 W and at 5 W, mismatch that 3 dB hide half."""
    asked = Asked(ROWS)
    gear, post = advice._Gear(asked.post), asked.post
    scale2 = sum(w * DEFAULT.noise_scales[c.scale] ** 2 for w, c in zip(post.weight, post.bank, strict=True))
    step = 10 * np.log10(10.005 / 9.995)
    half = 10 ** (-3 / 10)

    def own(source, load, bend):
        mismatch = 8.686 / np.sqrt(2) * (source - 1) / (source + 1) * (load - 1) / (load + 1)
        return (
            2 * scale2 * (DEFAULT.noise_db**2 + DEFAULT.drift_db**2) + scale2 * mismatch**2 * (1 + half**2)
            + step**2 / 12 * (1 + 1 / half**2) + (bend * 3) ** 2
        )  # fmt: skip

    assert gear.own(DESK, 14.2e6, 3.0) == pytest.approx(own(1.3, 1.2, 0.0), rel=1e-3)
    assert gear.own(POCKET, 144.3e6, 3.0, gear.bend(POCKET, 144.3e6)) == pytest.approx(own(1.45, 1.3, 0.03), rel=1e-3)
    assert (gear.bend(DESK, 50.1e6), gear.bend(DESK, 144.3e6)) == (DEFAULT.exponent_in, DEFAULT.exponent_out)


def test_echoes_met_on_the_bands_read_are_feared_on_others():
    tv = LineType("RG-59B/U", 75.0, 0.66, THIN.law)
    odd = Piece("odd 9", 9.0, tv, 2)
    rows = [(DESK, f, p, w) for f in (7.1e6, 28.5e6) for p, w in (("reference", 10.0), ("odd 9", 7.5))]
    echoing, plain = Asked(rows, pieces=[odd]), Asked(rows, pieces=[replace(odd, line=THIN)])
    assert echoing.losses.ripple(odd) > 0.01
    assert echoing.one("band", "odd 9", 50.1e6).own > plain.one("band", "odd 9", 50.1e6).own + 0.01


class Losses:
    """Two losses that one draw each tells, of two pieces, for the choice among readings of them."""

    def __init__(self, sd=(0.2, 0.2), weight=(1.0, 1.0)):
        rng = np.random.default_rng(5)
        self.draws = np.linalg.qr(rng.standard_normal((advice.DRAWS, 2)) - 0.0)[0]
        self.draws -= self.draws.mean(axis=0)
        self.draws /= self.draws.std(axis=0, ddof=1)
        self.logs, self.weight, self.strand = self.draws * sd, np.array(weight), np.array([0, 1])
        pieces = [SimpleNamespace(tag="blue 7"), SimpleNamespace(tag="blue 18")]
        strands = SimpleNamespace(piece=np.array([0, 1]), frequency_hz=np.array([14.2e6, 14.2e6]))
        self.post = SimpleNamespace(lay=SimpleNamespace(sheet=SimpleNamespace(pieces=pieces), strands=strands))

    def half_db(self, at):
        return 1.0

    def chosen(self, *found):
        return list(advice._choose(self.post, list(found), self))


def told(level_db, own=0.01, kind="pair", frequency_hz=14.2e6, path="blue 7", meter="m"):
    return advice.ReadingCandidate(kind, lambda: "Read it.", meter, frequency_hz, path, level_db, own)


def test_what_a_reading_leaves_of_a_loss_is_what_its_own_variance_leaves():
    """A loss of variance 0.04 in its log seen through 0.01: 0.04 - 0.04²/0.05 is a fifth of it."""
    losses = Losses()
    (first,) = losses.chosen(told(losses.logs[:, 0]))
    assert first.gain_nats == pytest.approx(0.5 * np.log(5.0), rel=0.01)
    assert first.why == "It should narrow the loss of blue 7 at 14.2 MHz from ±1.00 dB to about ±0.45 dB."


def test_the_second_reading_is_chosen_given_the_first():
    """Two readings of one loss, and a poorer one of the other: the poorer comes second. What each says, it says of
    itself alone."""
    losses = Losses()
    one, same = told(losses.logs[:, 0]), told(losses.logs[:, 0], 0.011, kind="band")
    other = told(losses.logs[:, 1], 0.04, kind="meter", path="blue 18")
    chosen = losses.chosen(one, same, other)
    assert [n.path for n in chosen] == ["blue 7", "blue 18", "blue 7"]
    assert [n.why[-23:] for n in chosen] == [chosen[0].why[-23:], "0 dB to about ±0.71 dB.", "0 dB to about ±0.46 dB."]
    assert chosen[1].gain_nats == pytest.approx(0.5 * np.log(2.0), rel=0.02)
    # The first leaves 0.04 - 0.04²/0.05 = 0.008 of the loss; so seen the second varies by 0.019 about what is expected.
    assert chosen[2].gain_nats == pytest.approx(0.5 * np.log(0.008 / (0.008 - 0.008**2 / 0.019)), rel=0.02)


@pytest.mark.parametrize(("settled", "first"), [(advice.SETTLED, "blue 7"), (0.9, "blue 18")])
def test_the_error_of_a_loss_in_no_doubt_counts_a_tenth(settled, first):
    assert advice.SETTLED == 0.1
    losses = Losses(sd=(0.1, 0.3), weight=(1.0, settled))
    seven, eighteen = told(losses.logs[:, 0]), told(losses.logs[:, 1], kind="band", path="blue 18")
    assert losses.chosen(seven, eighteen)[0].path == first


@pytest.mark.parametrize(("left", "worth"), [(0.96, True), (0.98, False)])
def test_what_narrows_no_loss_by_three_in_a_hundred_is_not_proposed(left, worth):
    losses = Losses()
    own = 0.04 * left**2 / (1 - left**2)
    assert bool(losses.chosen(told(losses.logs[:, 0], own))) is worth


def test_where_all_that_helps_most_needs_gear_the_last_place_is_for_what_needs_none():
    losses = Losses()
    both = losses.logs.sum(axis=1)
    bands = (7.1e6, 14.2e6, 28.5e6, 50.1e6)
    spare = [told(both, 0.05, kind="meter", frequency_hz=f, meter=None) for f in bands]
    poor = told(losses.logs[:, 1], 0.3, kind="band", path="blue 18")
    assert [n.needs for n in losses.chosen(*spare, poor)] == ["second meter", "second meter", None]
    assert [n.needs for n in losses.chosen(*spare)] == ["second meter"] * 2


@pytest.mark.parametrize(
    ("width", "undecided", "weight"),
    [(0.52, (), [1.0, 0.1]), (0.48, (), [1.0, 1.0]), (0.48, ("blue 18",), [0.1, 1.0])],
)
def test_a_loss_is_in_doubt_when_wide_or_when_its_piece_is_undecided(width, undecided, weight):
    """Blue 7 loses 2 dB with an interval of ``width`` of that, a quarter either way or not; blue 18 is known well."""
    rng = np.random.default_rng(4)
    draws = np.exp(0.1 * rng.standard_normal((advice.DRAWS, 2)))
    strands = SimpleNamespace(piece=np.array([0, 1]), frequency_hz=np.array([14.2e6, 14.2e6]))
    sheet = SimpleNamespace(pieces=[SimpleNamespace(tag="blue 7"), SimpleNamespace(tag="blue 18")])
    found = [
        SimpleNamespace(piece=tag, frequency_hz=14.2e6, loss_db_low=2.0 - w, loss_db=2.0, loss_db_high=2.0 + w)
        for tag, w in (("blue 7", width), ("blue 18", 0.1))
    ]
    post = SimpleNamespace(lay=SimpleNamespace(strands=strands, sheet=sheet))
    doubt = advice.LossesInDoubt(post, draws, found, undecided)
    assert dict(zip(doubt.strand.tolist(), doubt.weight.tolist(), strict=True)) == dict(enumerate(weight))
    assert doubt.half_db(doubt.strand.tolist().index(0)) == pytest.approx(width)


def test_readings_are_weighed_of_the_six_pieces_most_in_doubt():
    pieces = [Piece(f"piece {i}", 10.0, THIN, 2) for i in range(8)]
    rows = [(DESK, 14.2e6, "reference", 10.0)]
    rows += [(DESK, 14.2e6, p.tag, 8.0) for p in pieces[:2]]
    rows += [(DESK, f, p.tag, 8.0) for p in pieces[2:] for f in (14.2e6, 28.5e6)]
    asked = Asked(rows, pieces=pieces)
    found = loss_findings(asked.post, asked.post.lay.blocks, asked.strands)
    doubt = advice.LossesInDoubt(asked.post, asked.strands, found, {"piece 1", "piece 6"})
    assert len(doubt.pieces) == 6
    assert {p.tag for p in doubt.pieces[:2]} == {"piece 1", "piece 6"}


def half_width_db(rows):
    (loss,) = prove(sheet_of(rows, [BLUE_18])).losses
    return (loss.loss_db_high - loss.loss_db_low) / 2


def test_another_band_or_meter_is_proposed_for_one_pair_and_a_meter_keeps_the_promise_made_for_it():
    """A piece that reads well above its type, on one meter: a repeat would hardly help."""
    rows = [(DESK, 14.2e6, "reference", 10.0), (DESK, 14.2e6, "blue 18", 7.0)]
    again = [*rows, (DESK, 14.2e6, "reference", 10.0)]
    proposed = prove(sheet_of(rows, [BLUE_18])).next
    assert proposed[0].frequency_hz != 14.2e6
    another = next(n for n in proposed if n.needs == "second meter")
    before, after = map(float, re.findall(r"±([\d.]+) dB", another.why))
    now = half_width_db(rows)
    assert before == pytest.approx(now, rel=0.1)
    by_another = half_width_db([*rows, *[(SPARE, *row[1:]) for row in again]])
    assert after / 1.5 < by_another < 1.5 * after
    assert by_another < 0.8 * half_width_db([*rows, *again]) < now
