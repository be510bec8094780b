"""What may be read next: which readings are weighed, what each would show, and what is gained by it."""

from __future__ import annotations

import re
from types import SimpleNamespace

import numpy as np
import pytest

from evidence.benches import BLUE_7, BLUE_18, DESK, PATHS, POCKET, read, sheet_of
from linewright.core.nouns.bench import Attenuator, Meter
from linewright.inference.bench import next_reading as advice
from linewright.inference.bench.findings import belief_of, strand_draws
from linewright.inference.bench.observations import blocks_of
from linewright.inference.bench.pieces import posterior_of
from linewright.inference.bench.prove import prove
from linewright.inference.priors import DEFAULT

SPARE = Meter("spare meter", "watts", 0.01, (1.8e6, 500e6))
ROWS = [*read(DESK, 14.2e6, PATHS), *read(POCKET, 144.3e6, PATHS)]


class Asked:
    """A bench as the advice meets it."""

    def __init__(self, rows, doubt=(), lacking=(), **more):
        self.sheet = sheet_of(rows, **more)
        blocks = blocks_of(self.sheet)
        self.post = posterior_of(self.sheet, blocks, DEFAULT, None)
        beliefs = {p.tag: belief_of(self.post, p) for p in self.sheet.pieces}
        strands = strand_draws(self.post)
        self.losses = advice._Losses(self.post, beliefs, strands)
        self.found = list(advice._candidates(self.post, blocks, self.losses, dict(doubt)))

    def one(self, kind, path, frequency_hz):
        """Return the candidate of a kind, through a path, on a band."""
        (found,) = [c for c in self.found if (c.kind, c.path, c.frequency_hz) == (kind, path, frequency_hz)]
        return found


@pytest.mark.parametrize("frequency_hz", [14.2e6, 144.3e6])
def test_a_pair_would_show_the_loss_times_the_meters_exponent(frequency_hz):
    asked = Asked(ROWS)
    lay, x = asked.post.lay, asked.post.draws
    at = [b.frequency_hz for b in lay.blocks].index(frequency_hz)
    exponent = np.exp(x[:, lay.exponent][:, at] + x[:, lay.bend])
    shown = asked.one("pair", "blue 18", frequency_hz).level_db
    np.testing.assert_allclose(shown, -exponent * asked.losses.taken(BLUE_18, frequency_hz))


def test_readings_already_taken_count_by_the_chance_that_they_are_good():
    rows = [*ROWS, *read(DESK, 14.2e6, ("blue 7", "blue 7"))]
    mine = [i for i, (meter, _, path, _) in enumerate(rows) if (meter, path) == (DESK, "blue 7")]
    assert len(mine) == 3
    asked = Asked(rows, doubt={mine[0]: 0.75})
    assert asked.one("pair", "blue 7", 14.2e6).taken == pytest.approx(2.25)
    assert asked.one("pair", "blue 18", 14.2e6).taken == 1.0
    assert asked.one("pair", "blue 7", 144.3e6).taken == 1.0


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
    lay = SimpleNamespace(blocks=[block], sheet=SimpleNamespace(piece=lambda tag: BLUE_7))
    post = SimpleNamespace(lay=lay, priors=DEFAULT, bank=[SimpleNamespace(scale=0)])
    found = list(advice._from_one_end(post, SimpleNamespace(at=lambda piece, f: np.array([2.0, 2.0]))))
    assert found
    assert all(abs(c.frequency_hz / 144.3e6 - 1) >= 0.08 for c in found)
    assert [c.stuck for c in found] == pytest.approx([0.4**2 / 12] * len(found))


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


def test_what_a_new_reading_is_known_by():
    """Twice the noise and drift of one reading, a pair of them; what stays at a repeat is scale and mismatch."""
    asked = Asked(ROWS)
    scale = DEFAULT.noise_scales[asked.post.bank[0].scale]
    fresh = 2 * scale**2 * (DEFAULT.noise_db**2 + DEFAULT.drift_db**2)
    assert [c.fresh for c in asked.found] == pytest.approx([fresh] * len(asked.found))
    band = next(c for c in asked.found if c.kind == "band")
    loss = asked.losses.at(BLUE_7 if band.path == "blue 7" else BLUE_18, band.frequency_hz)
    widths = [o.width_db for b in asked.post.lay.blocks for o in b.observations]
    stuck = 2 * (np.median(widths) ** 2 / 12 + 0.08**2) + (DEFAULT.exponent_in * loss.mean()) ** 2
    assert band.stuck == pytest.approx(stuck)


@pytest.mark.parametrize("taken", [0.0, 1.0, 4.0])
def test_the_gain_of_a_reading_is_the_information_it_shares_with_the_losses(taken):
    """One loss of variance 0.04, seen through noise of 0.01 that stays and 0.02 that does not: by hand."""
    v, stuck, fresh = 0.04, 0.01, 0.02
    c = advice.Candidate("pair", str, "m", 1e6, "p", np.zeros(2), stuck, fresh, taken)
    covariance = np.array([[v, v], [v, v]])  # a decibel of it shows a decibel of the loss
    gain, shown = advice._gains(covariance, 1, [c])
    clear = max((1.0 - 1.0 / advice.DRAWS) / (1.0 - 1.0 / advice.DRAWS), 0.0)
    left = v * (1.0 - min(clear, 0.999))

    def seen(variance):
        return 1 / (1 / (variance + stuck) + taken / fresh) + fresh

    assert shown[0] == pytest.approx(seen(v))
    assert gain[0] == pytest.approx(0.5 * np.log(seen(v) / seen(left)), rel=1e-3)


def half_width_db(rows):
    (loss,) = prove(sheet_of(rows, [BLUE_18])).losses
    return (loss.loss_db_high - loss.loss_db_low) / 2


def test_what_is_proposed_first_narrows_the_loss_more_than_reading_the_same_again():
    """A piece that reads well above its type, on one meter: another meter tells more than a repeat."""
    rows = [(DESK, 14.2e6, "reference", 10.0), (DESK, 14.2e6, "blue 18", 7.0)]
    again = [(DESK, 14.2e6, "reference", 10.0), (DESK, 14.2e6, "blue 18", 7.0), (DESK, 14.2e6, "reference", 10.0)]
    first = prove(sheet_of(rows, [BLUE_18])).next[0]
    assert first.needs == "second meter"
    before, after = map(float, re.findall(r"±([\d.]+) dB", first.why))
    now = half_width_db(rows)
    assert before == pytest.approx(now, rel=0.1)
    by_another = half_width_db([*rows, *[(SPARE, *row[1:]) for row in again]])
    assert by_another == pytest.approx(after, rel=0.3)
    assert by_another < 0.8 * half_width_db([*rows, *again]) < now


def test_a_promise_starts_from_half_of_the_interval_shown():
    """One loss of 2 dB, known to 0.1 dB, and 6 dB in one draw of a hundred: its spread of 0.4 dB is no interval."""
    rng = np.random.default_rng(1)
    draws = 2.0 + 0.1 * rng.standard_normal(1000)
    draws[:10] = 6.0
    piece = SimpleNamespace(tag="blue 7")
    lay = SimpleNamespace(
        sheet=SimpleNamespace(pieces=[piece]),
        strands=SimpleNamespace(piece=np.array([0]), frequency_hz=np.array([14.2e6])),
    )
    said = advice._why(SimpleNamespace(lay=lay), np.array([0]), draws[:, None], np.array([0.2]), np.array([0.1]))
    was, to = map(float, re.findall(r"±([\d.]+) dB", said))
    low, high = np.quantile(draws, (0.025, 0.975))
    assert was == pytest.approx((high - low) / 2, abs=0.006)
    assert to == pytest.approx(was / 2, abs=0.006)
