"""What the engine says of lines whose loss is known, read at one end."""

from __future__ import annotations

import json
from dataclasses import replace
from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from examples import few
from linewright.core.errors import InputError
from linewright.core.nouns.line import AttenuationLaw, LineType
from linewright.core.nouns.one_end import FAR_ENDS, OneEndLoss, OneEndReading, OneEndTest
from linewright.files.tables import to_json
from linewright.inference.one_end.likelihood import _cascade, _load_phase, bench_at, load_reflection
from linewright.inference.one_end.posterior import GROWTH, WET, _of_type, frequency_likelihoods
from linewright.inference.one_end.priors import DEFAULT
from linewright.inference.one_end.targets import error_size, noise_of, target_of
from linewright.inference.priors import DEFAULT as STOCK
from linewright.verbs.one_end import prove_one_end as prove_test

THIN = LineType("RG-58C/U", 50.0, 0.66, AttenuationLaw(0.0142, 0.00013, spread=0.06, valid_hz=(1e6, 2.4e9)))
HF = (7.1e6, 14.2e6, 28.5e6, 50.1e6)


def new_db(f: float, times: float = 1.0, length_m: float = 20.0) -> float:
    return times * length_m * float(THIN.law.db_per_m(f)) + 2 * 0.0017 * (f / 1e6) ** 0.5


def swr(loss_db: float, end: float = 1.0) -> float:
    seen = end * 10 ** (-loss_db / 10)
    return (1 + seen) / (1 - seen)


def pair(f: float, loss_db: float, error: float = 0.0, row: int = 1) -> tuple[OneEndReading, OneEndReading]:
    """Open and short, with an error of the bridge that adds to the one and takes from the other."""
    g = 10 ** (-loss_db / 10)
    shown = [(1 + x) / (1 - x) for x in (g + error, g - error)]
    return tuple(  # type: ignore[return-value]
        OneEndReading(row + i, end, f, "swr", round(s, 1), 0.1)
        for i, (end, s) in enumerate(zip(("open", "short"), shown, strict=True))
    )


def one(*readings: OneEndReading, **more: object) -> OneEndLoss:
    (loss,) = prove_test(OneEndTest(readings, **more)).losses  # type: ignore[arg-type]
    return loss


def width(loss: OneEndLoss) -> float:
    return loss.loss_db_high - loss.loss_db_low


@pytest.mark.parametrize("loss_db", [0.3, 1.0, 2.5, 5.0])
@pytest.mark.parametrize("error", [0.0, 0.03, -0.03])
def test_open_and_short_together_give_the_loss_whatever_the_bridge_adds(loss_db: float, error: float) -> None:
    found = one(*pair(144e6, loss_db, error))
    assert found.loss_db_low <= loss_db <= found.loss_db_high
    assert found.loss_db == pytest.approx(loss_db, rel=0.12)


def test_both_ends_tell_more_than_one() -> None:
    both = pair(144e6, 1.5)
    assert width(one(*both)) < 0.5 * min(width(one(both[0])), width(one(both[1])))


def test_a_better_bridge_tells_more() -> None:
    both = pair(144e6, 1.5)
    widths = [width(one(*both, directivity_db=db)) for db in (20.0, 30.0, 40.0)]
    assert widths == sorted(widths, reverse=True)
    assert widths[2] < 0.5 * widths[0]


def test_a_finer_step_tells_more() -> None:
    fine = pair(144e6, 1.5)
    coarse = [replace(r, step=1.0) for r in fine]
    assert width(one(*coarse, directivity_db=40.0)) > 2.0 * width(one(*fine, directivity_db=40.0))


def test_off_the_scale_bounds_the_loss_from_above_only() -> None:
    found = one(OneEndReading(1, "short", 14.2e6, "swr", inf), OneEndReading(2, "open", 14.2e6, "swr", inf))
    (method,) = found.methods
    assert (found.by_hand_db, method.loss_db, method.loss_db_low) == (None, None, None)
    assert method.loss_db_high is not None
    assert 0.8 < method.loss_db_high < 2.0
    assert found.loss_db_high < 2.0


def test_a_reading_lost_in_the_instruments_own_errors_bounds_the_loss_from_below() -> None:
    found = one(OneEndReading(1, "open", 432e6, "return_loss_db", 24.0, bound="above"))
    (method,) = found.methods
    assert method.loss_db_high is None
    assert method.loss_db_low is not None
    assert method.loss_db_low > 5.0


def test_return_loss_says_what_the_swr_says() -> None:
    by_swr = one(OneEndReading(1, "open", 50e6, "swr", 5.0, 0.02))
    by_loss = one(OneEndReading(1, "open", 50e6, "return_loss_db", 3.52, 0.016))
    assert by_loss.loss_db == pytest.approx(by_swr.loss_db, rel=0.02)


def test_a_known_mismatch_gives_the_difference_of_two_return_losses() -> None:
    load = OneEndReading(1, "load", 14.2e6, "swr", round(swr(1.5, 0.6), 2), 0.01, direct=4.0, direct_step=0.01)
    found = one(load, directivity_db=40.0)
    assert found.by_hand_db == pytest.approx(1.5, abs=0.03)
    assert found.loss_db_low < 1.5 < found.loss_db_high
    known = one(replace(load, direct=None, direct_step=None, load_swr=4.0), directivity_db=40.0)
    assert width(known) > width(found)


def test_peaks_of_an_antenna_are_upper_bounds_that_combine() -> None:
    peaks = [OneEndReading(i, "antenna", f, "swr", s, 0.1) for i, (f, s) in enumerate([(120e6, 9.0), (160e6, 8.0)], 1)]
    alone, both = one(peaks[0]), prove_test(OneEndTest(tuple(peaks))).losses[0]
    assert alone.by_hand_db == pytest.approx(0.97, abs=0.005)
    assert alone.loss_db < alone.by_hand_db
    assert alone.loss_db_low < 0.5 * alone.by_hand_db
    assert width(both) < width(alone)


@pytest.mark.parametrize("ohm", [5.73, 436.2])
def test_low_and_high_resistance_at_resonance_give_the_same_loss(ohm: float) -> None:
    found = one(OneEndReading(1, "short", 14.2e6, "resistance_ohm", ohm, 0.1 if ohm < 50 else 5.0), directivity_db=45.0)
    assert found.by_hand_db == pytest.approx(1.0, abs=0.01)
    assert found.loss_db == pytest.approx(1.0, abs=0.08)
    assert found.loss_db_low < 1.0 < found.loss_db_high


def test_what_a_bridge_shows_is_its_leak_and_the_line_behind_connector_and_source() -> None:
    """The far end is seen through the connector, that through the source's own reflection, and the leak is added."""
    near, leak, source = np.array([0.1 + 0.05j]), np.array([0.03 - 0.02j]), np.array([-0.2 + 0.1j])
    for far in (1.0 + 0j, -0.6 + 0.3j, 0j):
        g = np.array([0.25, 0.8])
        line = (near + far * g) / (1.0 + near.conj() * far * g)
        found = _cascade(near, leak, source, np.array([far])).at(g)[0]
        assert found == pytest.approx(np.abs(leak + line / (1.0 - source * line)), rel=1e-5)


def test_a_known_load_reflects_what_its_swr_says_low_or_high_as_a_rule_and_now_and_then_otherwise() -> None:
    reading = OneEndReading(1, "load", 14.2e6, "swr", 2.0, load_swr=3.0)
    test = OneEndTest((reading,))
    size = np.abs(load_reflection(reading, test, bench_at(test, 14.2e6, 0, DEFAULT), DEFAULT))
    assert np.median(size) == pytest.approx(0.5, abs=0.01)
    phase = _load_phase(0.0, DEFAULT)
    low, high = (np.mean(np.abs(phase - end) < 1e-3) for end in (1.0, -1.0))
    assert low == pytest.approx(high, abs=0.02)
    assert low + high == pytest.approx(DEFAULT.load_resistor, abs=0.02)
    other = np.angle(phase[np.abs(phase.imag) > 1e-3]) / (2 * np.pi) % 1.0
    assert [np.mean(other < x) for x in (0.25, 0.5, 0.75)] == pytest.approx([0.25, 0.5, 0.75], abs=0.05)


@pytest.mark.parametrize(
    "change",
    [
        {"frequency_hz": 0.0}, {"frequency_hz": -1e6}, {"frequency_hz": inf}, {"step": -0.1}, {"step": inf},
        {"length_m": 0.0}, {"length_m": inf}, {"directivity_db": -3.0}, {"impedance_ohm": inf}, {"source_swr": 0.5},
        {"source_swr": inf}, {"swr": 0.9},
    ],
)  # fmt: skip
def test_what_no_instrument_shows_is_refused(change: dict[str, float]) -> None:
    own = {"value" if k == "swr" else k: v for k, v in change.items() if k in ("frequency_hz", "step", "swr")}
    reading = replace(OneEndReading(1, "open", 14.2e6, "swr", 5.0, 0.1), **own)
    with pytest.raises(InputError, match=next(iter(change))):
        prove_test(OneEndTest((reading,), **({} if own else change)))  # type: ignore[arg-type]


def test_all_that_a_line_of_a_type_may_have_become_adds_up_to_one() -> None:
    """Good, aged, of another type, or cut to some share of its length: a line that is cut loses less, never more."""
    laws = _of_type(OneEndTest((), line=THIN, length_m=20.0), THIN.law, 20.0, DEFAULT, 0.0)
    prior = np.exp(laws.log_prior).reshape(len(GROWTH), len(WET)).sum(axis=1)
    wide = np.hypot(STOCK.good_wet_spread, STOCK.wet_spread)
    wet = (1 - STOCK.wet_p) * norm.pdf(WET, scale=STOCK.good_wet_spread) + STOCK.wet_p * norm.pdf(WET, scale=wide)
    each = prior / (np.sqrt(2 * np.pi) * wet * np.gradient(WET)).sum() / np.sqrt(2 * np.pi)
    assert each.sum() * 0.0125 == pytest.approx(1.0, abs=0.003)


def test_a_limit_has_no_step_that_would_blur_it() -> None:
    """ "Over 10" stands for a limit: as sharp as a reading without a step."""
    limits = [
        OneEndReading(1, "open", 14.2e6, "swr", inf),
        OneEndReading(1, "open", 14.2e6, "return_loss_db", 24.0, bound="above"),
    ]
    for reading in limits:
        test = OneEndTest((reading,))
        assert target_of(reading, test, 0, DEFAULT).noise == noise_of(0.0, 0.0, test, DEFAULT)
    stepped = OneEndReading(1, "open", 14.2e6, "swr", 5.0, 1.0)
    assert target_of(stepped, OneEndTest((stepped,)), 0, DEFAULT).noise > noise_of(
        0.0, 0.0, OneEndTest((stepped,)), DEFAULT
    )


def test_a_digital_reading_without_a_step_and_the_lowest_frequencies_are_taken() -> None:
    assert one(OneEndReading(1, "open", 0.5, "swr", 5.0, 0.0)).loss_db > 0.0


def test_a_line_of_75_ohm_is_not_taken_for_a_lossier_one_of_50() -> None:
    step, g = 0.2, 10 ** (-1.0 / 10)
    shown = [abs((step + s * g) / (1 + step * s * g)) for s in (1, -1)]
    readings = [
        OneEndReading(i, end, 50e6, "swr", round((1 + x) / (1 - x), 1), 0.1)
        for i, (end, x) in enumerate(zip(("open", "short"), shown, strict=True), 1)
    ]
    found = one(*readings, impedance_ohm=75.0)
    assert found.loss_db_low < 1.0 < found.loss_db_high


@pytest.mark.parametrize(("times", "verdict"), [(1.0, "good"), (1.4, "worn"), (2.2, "bad")])
def test_several_frequencies_and_a_known_type_give_a_verdict(times: float, verdict: str) -> None:
    readings = tuple(r for i, f in enumerate(HF) for r in pair(f, new_db(f, times), row=1 + 2 * i))
    result = prove_test(OneEndTest(readings, directivity_db=40.0, line=THIN, length_m=20.0))
    assert result.verdict == verdict
    assert result.ratio_low < times < result.ratio_high  # type: ignore[operator]
    for x in result.losses:
        assert x.loss_db_low < new_db(x.frequency_hz, times) < x.loss_db_high
        assert x.catalogue_db == pytest.approx(new_db(x.frequency_hz))
    assert result.law is not None
    k1, k2 = 20.0 * times * THIN.law.k1_db_per_m + 2 * 0.0017, 20.0 * times * THIN.law.k2_db_per_m
    assert result.law.k1_db_low < k1 < result.law.k1_db_high
    assert result.law.k2_db_low < k2 < result.law.k2_db_high
    assert result.law.k1_db == pytest.approx(k1, rel=0.12)
    assert result.law.k1_db_low < times * 20.0 * 0.0142 < result.law.k1_db_high
    assert result.p_worse_1_25 == pytest.approx(float(times > 1.25), abs=0.05)


def test_other_frequencies_narrow_each_through_the_law() -> None:
    many = tuple(r for i, f in enumerate(HF) for r in pair(f, new_db(f), row=1 + 2 * i))
    joined = {x.frequency_hz: width(x) for x in prove_test(OneEndTest(many)).losses}
    for i, f in enumerate(HF):
        assert joined[f] < width(one(*many[2 * i : 2 * i + 2]))


def test_a_line_better_than_its_type_allows_is_not_called_good() -> None:
    readings = tuple(r for i, f in enumerate(HF) for r in pair(f, new_db(f, 0.5), row=1 + 2 * i))
    result = prove_test(OneEndTest(readings, directivity_db=40.0, line=THIN, length_m=20.0))
    assert result.verdict == "cannot tell"
    assert "better than its type can be" in result.why


def test_a_misread_reading_is_named_and_hardly_moves_the_loss() -> None:
    readings = [r for i, f in enumerate(HF) for r in pair(f, new_db(f), row=1 + 2 * i)]
    readings[5] = replace(readings[5], value=round(readings[5].value * 0.5, 1))
    result = prove_test(OneEndTest(tuple(readings), directivity_db=35.0, line=THIN, length_m=20.0))
    assert [c.row for c in result.readings if c.p_wrong > 0.5] == [6]
    assert any("Row 6" in said and "misread" in said for said in result.remarks)
    for x in result.losses:
        assert x.loss_db_low < new_db(x.frequency_hz) < x.loss_db_high


def test_right_readings_lie_where_the_others_expect_them() -> None:
    readings = tuple(r for i, f in enumerate(HF) for r in pair(f, new_db(f), row=1 + 2 * i))
    for c in prove_test(OneEndTest(readings, directivity_db=35.0)).readings:
        assert c.checked
        assert c.expected_low < c.value < c.expected_high  # type: ignore[operator]
        assert c.p_wrong < 0.1


def test_a_reading_by_itself_is_not_said_to_be_checked() -> None:
    (check,) = prove_test(OneEndTest((OneEndReading(1, "open", 144e6, "swr", 7.0),))).readings
    assert (check.checked, check.expected) == (False, None)


def test_more_through_the_line_than_from_the_load_is_a_remark_not_an_error() -> None:
    result = prove_test(OneEndTest((OneEndReading(1, "load", 7e6, "swr", 3.0, direct=2.0),)))
    assert any("which a passive line cannot do" in said for said in result.remarks)


def test_what_is_taken_for_granted_is_said() -> None:
    said = " ".join(prove_test(OneEndTest((OneEndReading(1, "open", 144e6, "swr", 7.0),))).remarks)
    assert "25 dB" in said
    assert "50 ohm" in said
    assert "Only open or only shorted" in said
    peaks = prove_test(OneEndTest((OneEndReading(1, "antenna", 160e6, "swr", 12.0),))).remarks
    assert any("upper bound" in x and "common practice" in x for x in peaks)


def test_cautions_speak_of_power_static_and_climbing() -> None:
    said = " ".join(prove_test(OneEndTest(pair(144e6, 1.0))).cautions)
    assert all(word in said for word in ("low-power", "static", "transmit into an open or shorted line"))
    assert "safe" not in said


def test_likelihoods_stand_one_by_one_for_whoever_joins_them() -> None:
    readings = (*pair(50e6, 1.0), *pair(144e6, 2.0, row=3), OneEndReading(5, "short", 7e6, "swr", inf))
    off_scale, low, high = frequency_likelihoods(OneEndTest(readings))
    assert [x.rows for x in (off_scale, low, high)] == [(5,), (1, 2), (3, 4)]
    assert [x.one_sided for x in (off_scale, low, high)] == [True, False, False]
    for x, true in ((low, 1.0), (high, 2.0)):
        assert x.log_likelihood.max() == 0.0
        assert x.grid_db.shape == x.log_likelihood.shape
        assert abs(x.mean_db - true) < 2.0 * x.sd_db
        assert x.sd_db < 0.3 * true


def test_the_same_test_gives_the_same_answer() -> None:
    test = OneEndTest(pair(144e6, 1.3), line=THIN, length_m=20.0)
    assert prove_test(test).to_dict() == prove_test(test).to_dict()


def _value(quantity: str) -> st.SearchStrategy[float]:
    return {"swr": st.floats(1.0, 80.0), "return_loss_db": st.floats(0.0, 40.0), "resistance_ohm": st.floats(0.1, 3e3)}[
        quantity
    ]


@st.composite
def readings(draw: st.DrawFn) -> OneEndReading:
    quantity = draw(st.sampled_from(["swr", "return_loss_db", "resistance_ohm"]))
    end = draw(st.sampled_from(FAR_ENDS[:2] if quantity == "resistance_ohm" else FAR_ENDS))
    direct = draw(_value(quantity)) if end == "load" and draw(st.booleans()) else None
    return OneEndReading(
        1, end, draw(st.sampled_from([1.9e6, 14.2e6, 144e6, 1296e6])), quantity, draw(_value(quantity)),
        draw(st.sampled_from([None, 0.0, 0.01, 1.0])), draw(st.sampled_from(["is", "above", "below"])),
        load_swr=draw(st.floats(1.2, 10.0)) if end == "load" else None, direct=direct,
    )  # fmt: skip


@few(20)
@given(
    st.lists(readings(), min_size=1, max_size=6),
    st.sampled_from([None, 10.0, 60.0]),
    st.sampled_from([(None, None), (THIN, 20.0), (THIN, None), (None, 500.0)]),
)
def test_whatever_is_read_the_answer_is_whole(
    some: list[OneEndReading], directivity_db: float | None, line: tuple[LineType | None, float | None]
) -> None:
    test = OneEndTest(
        tuple(replace(r, row=i) for i, r in enumerate(some, 1)), directivity_db, line=line[0], length_m=line[1]
    )
    result = prove_test(test)
    for x in result.losses:
        assert 0.0 <= x.loss_db_low <= x.loss_db <= x.loss_db_high <= 45.0
        assert np.isfinite([x.loss_db_low, x.loss_db, x.loss_db_high]).all()
    assert all(0.0 <= c.p_wrong <= 1.0 for c in result.readings)
    assert [c.row for c in result.readings] == list(range(1, len(some) + 1))
    assert json.loads(to_json(result))["schema"] == "linewright/one-end/1"


@pytest.mark.parametrize("step", [0.01, 0.03, 0.06])
def test_a_step_of_impedance_reflects_half_of_itself(step: float) -> None:
    """Pozar, 4th ed., equation 2.35: Γ = (Z - Z0)/(Z + Z0); at so low a frequency with such a bridge nothing else."""
    priors = replace(DEFAULT, impedance_unknown=step)
    size = error_size(OneEndTest(pair(7e6, 1.0), directivity_db=120.0), 1.0, priors)
    assert size == pytest.approx(step / (2.0 + step), rel=0.5 * step + 1e-4)
