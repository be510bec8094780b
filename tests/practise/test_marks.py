"""What an answer earns, and what the readings hold."""

from __future__ import annotations

import json
from math import exp
from types import SimpleNamespace

import numpy as np
import pytest

import linewright as lw
from linewright.core.errors import InputError
from linewright.core.nouns.practice import Claim, HiddenFault, PracticeReading
from linewright.files.tables import to_json
from linewright.link.practice_bench import bench_of, truth_of
from linewright.link.practice_odds import ENOUGH, odds_and_best
from linewright.verbs.practise import RIGHT, WRONG, marked, written_claims
from linewright.verbs.practise_others import _may_be_bent, engine_claims

WET = HiddenFault("water", ("blue 7",), 0.5)
SLIP = HiddenFault("misread", ("4",), 1.2)
DRUM = HiddenFault("other type", ("blue 7", "blue 18"), 1.0, "RG-213/U")

#: What is said, what is wrong, whether the readings hold it, and the points.
TABLE = [
    ("wet blue 7", (WET,), True, 10),
    ("likely wet blue 7", (WET,), True, 6),
    ("joint blue 7", (WET,), True, 3),
    ("likely joint blue 7", (WET,), True, 2),
    ("wet red 9", (WET,), True, -24),
    ("likely wet red 9", (WET,), True, -8),
    ("misread 4", (WET,), True, -24),
    ("nothing", (WET,), True, -20),
    ("likely nothing", (WET,), True, -4),
    ("nothing", (), True, 10),
    ("likely nothing", (), False, 6),
    ("wet blue 7", (), True, -20),
    ("cannot tell", (WET,), False, 3),
    ("cannot tell", (WET,), True, 0),
    ("cannot tell", (), False, 3),
    ("wet blue 7", (WET, SLIP), True, 6),
    ("wet blue 7; misread 4", (WET, SLIP), True, 20),
    ("wet blue 7; likely misread 4", (WET, SLIP), True, 16),
    ("wet blue 7; misread 5", (WET, SLIP), True, -14),
    ("wet blue 7; joint blue 7", (WET,), True, -10),
    ("type blue 18", (DRUM,), True, 10),
    ("length blue 18", (DRUM,), True, 3),
    ("type blue 7; type blue 18", (DRUM,), True, -10),
]


@pytest.mark.parametrize(("said", "faults", "knowable", "points"), TABLE, ids=str)
def test_an_answer_earns_what_the_table_says(said, faults, knowable, points):
    assert marked(written_claims(said), faults, knowable=knowable).points == points


def test_having_asked_the_engine_costs_two():
    assert marked([Claim("water", "blue 7")], (WET,), knowable=True, asked=True).points == 8


def test_to_say_sure_pays_only_for_one_who_is_right_in_four_of_five():
    """The table rewards honesty: of sure and likely, each earns more on its own side of 0.8."""

    def expected(sureness, p):
        return p * RIGHT[sureness] + (1 - p) * WRONG[sureness]

    for p in np.linspace(0, 1, 101):
        if abs(p - ENOUGH) > 1e-9:
            assert (expected("sure", p) > expected("likely", p)) == (p > ENOUGH)


@pytest.mark.parametrize(
    ("claims", "words"),
    [
        ("", "one claim, or 2"),
        ("wet blue 6; wet blue 16; wet yellow 22", "one claim, or 2"),
        ("wet blue 6; nothing", "must not say"),
        ("wet blue 6; cannot tell", "must not say"),
        ("wet nobody", "must be blue 6 or blue 16"),
        ("misread 6", "must be 1 or 2"),
        ("bent blue 6", "desk meter or pocket meter"),
        ("rotten blue 6", "must begin with misread"),
        ("wet", "must begin with"),
    ],
)
def test_what_cannot_be_claimed_is_refused(claims, words):
    with pytest.raises(InputError, match=words):
        lw.mark_answer(lw.invent_bench(2, 13), written_claims(claims))


# What the readings hold


def answer(bench):
    """Return what is wrong with a bench, as an answer."""
    return tuple(sorted((f.kind, f.of[0]) for f in truth_of(bench).faults))


def after(level, seed, count):
    """Return a bench after so many readings of somebody who always takes the best."""
    bench = bench_of(level, seed)
    for _ in range(count):
        _, best = odds_and_best(bench)
        if best is None:
            break
        bench = lw.take_reading(bench, best.meter, best.frequency_hz, best.path)
    return bench


@pytest.fixture(scope="module")
def told():
    """The odds of 125 benches as they are handed over: of the first answer, and whether it is right."""
    found = []
    for level in range(1, 6):
        for seed in range(25):
            bench = bench_of(level, seed)
            odds, _ = odds_and_best(bench)
            found.append((level, odds, odds[0].faults == answer(bench)))
    return found


def test_odds_sum_to_one(told):
    for _, odds, _ in told:
        assert sum(o.p for o in odds) == pytest.approx(1.0)
        assert [o.p for o in odds] == sorted((o.p for o in odds), reverse=True)


def test_the_odds_hold_as_often_as_they_say(told):
    """Of answers that were given p, a share p is right: within three standard deviations, in bins of p."""
    for low, high in ((0.2, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 1.01)):
        some = [(odds[0].p, right) for _, odds, right in told if low <= odds[0].p < high]
        assert len(some) > 3
        said = np.mean([p for p, _ in some])
        width = 3 * np.sqrt(sum(p * (1 - p) for p, _ in some)) / len(some) + 0.02
        assert abs(np.mean([right for _, right in some]) - said) < width


def test_the_best_readings_settle_a_bench():
    for level in range(2, 6):
        for seed in range(4):
            before, bench = bench_of(level, seed), after(level, seed, 8)
            first, last = odds_and_best(before)[0], odds_and_best(bench)[0]
            truth = answer(bench)
            assert {o.faults: o.p for o in last}[truth] >= min(0.2, {o.faults: o.p for o in first}[truth])
    settled = [odds_and_best(after(3, seed, 8))[0][0] for seed in range(8)]
    assert all(o.p > 0.95 and o.faults == answer(bench_of(3, seed)) for seed, o in enumerate(settled))


def test_the_best_reading_tells_more_than_another():
    """On a bench with a bent meter that nothing settles yet, the pad or another meter is the best reading."""
    gains = []
    for seed in range(30):
        bench = bench_of(2, seed)
        odds, best = odds_and_best(bench)
        if best is None or odds[0].p > 0.6:
            continue

        def entropy(found):
            return -sum(o.p * np.log(max(o.p, 1e-12)) for o in found)

        start = entropy(odds)
        dull = bench.sheet.readings[0]
        with_best = lw.take_reading(bench, best.meter, best.frequency_hz, best.path)
        with_dull = lw.take_reading(bench, dull.meter, dull.frequency_hz, "reference")
        gains.append((start - entropy(odds_and_best(with_best)[0]), start - entropy(odds_and_best(with_dull)[0])))
    assert len(gains) > 5
    assert np.mean([a for a, _ in gains]) > np.mean([b for _, b in gains]) + 0.2


def test_cannot_tell_is_right_where_the_odds_say_so():
    seen = set()
    for seed in range(8):
        bench = lw.invent_bench(2, seed)
        outcome = lw.mark_answer(bench, [Claim("cannot tell")])
        assert outcome.knowable == (odds_and_best(bench)[0][0].p >= ENOUGH)
        assert outcome.score.points == (0 if outcome.knowable else 3)
        seen.add(outcome.knowable)
    assert seen == {True, False}


# Beside the others


def whole(level, seed):
    """Return a bench on which somebody read every meter at two bands, all pieces and the pad."""
    bench = bench_of(level, seed)
    begun = {(r.meter, r.frequency_hz) for r in bench.sheet.readings}
    taken = [
        PracticeReading(meter, f, path)
        for meter, bands in bench.bands.items()
        for f in (bands[0], bands[-1])
        if (meter, f) not in begun
        for path in bench.paths
    ]
    return bench_of(level, seed, taken)


def test_the_engine_and_the_pencil_find_most_where_they_have_readings_and_its_figures_are_closer():
    outcomes = [lw.mark_answer(whole(level, seed), [Claim("cannot tell")]) for level in (1, 3, 5) for seed in range(3)]
    engine, hand = (np.array([getattr(o, who).points / o.most for o in outcomes]) for who in ("engine", "by_hand"))
    assert engine.mean() > 0.5
    assert hand.mean() > 0.5
    assert np.mean([o.engine_error_db for o in outcomes]) < np.mean([o.by_hand_error_db for o in outcomes])


@pytest.mark.parametrize(
    ("exponent", "may"),
    [((1.11, 1.01, 1.28), True), ((1.11, 0.99, 1.28), False), ((1.04, 1.01, 1.07), False), ((0.85, 0.7, 0.98), True)],
)
def test_the_engine_is_not_sure_of_nothing_where_a_detector_may_be_bent(exponent, may):
    middle, low, high = exponent
    assert _may_be_bent(SimpleNamespace(exponent=middle, exponent_low=low, exponent_high=high)) is may


def test_an_outcome_is_written_whole():
    outcome = lw.mark_answer(lw.invent_bench(5, 0), [Claim("cannot tell")])
    told = json.loads(to_json(outcome))
    assert told["schema"] == "linewright/practice/1"
    assert len(told["truth"]["faults"]) == len(outcome.truth.faults)
    assert {"engine", "by_hand", "score", "odds", "best", "knowable", "losses", "most"} <= told["outcome"].keys()


def test_a_bench_that_is_shown_does_not_hold_its_truth():
    shown = json.loads(to_json(lw.show_bench(lw.invent_bench(2, 13))))
    assert shown["truth"] is None
    assert shown["outcome"] is None


def cable(**multiples: tuple[float, float, float]) -> list[tuple[str, str]]:
    """Return what the engine claims at level 4 of pieces by their multiples; names that begin alike are of mates."""
    pieces = {tag.replace("_", " "): found for tag, found in multiples.items()}
    nouns = {tag: SimpleNamespace(tag=tag, stock=tag.split()[0]) for tag in pieces}
    sheet = SimpleNamespace(piece=nouns.__getitem__, pieces=tuple(nouns.values()))
    judged = SimpleNamespace(pieces=[
        SimpleNamespace(piece=tag, verdict="good", ratio=middle, ratio_low=low, ratio_high=high)
        for tag, (low, middle, high) in pieces.items()
    ])  # fmt: skip
    found = engine_claims(SimpleNamespace(level=4, sheet=sheet), judged)
    return [(claim.kind, claim.of) for claim in found]


def test_the_engine_names_the_piece_farthest_off_where_no_cable_is_worn():
    fine = (0.9, 1.0, 1.1)
    assert cable(blue_7=fine, blue_18=(1.2, 1.5, 1.8), red_9=fine) == [("other length", "blue 18")]
    assert cable(blue_7=(1.2, 1.5, 1.8), blue_18=(1.2, 1.45, 1.8), red_9=fine) == [("other type", "blue 7")]
    assert cable(blue_7=(0.5, 0.6, 0.7), blue_18=fine, red_9=fine) == [("other length", "blue 7")]


def test_the_engine_names_no_piece_that_is_hardly_off():
    def off(spreads: float) -> list[tuple[str, str]]:
        return cable(blue_7=(exp(-0.392 + 0.2 * spreads), exp(0.2 * spreads), exp(0.392 + 0.2 * spreads)))

    assert off(0.75) == [("cannot tell", "")]
    assert off(0.85) == [("other length", "blue 7")]


def test_mates_that_are_off_by_half_as_much_are_not_off_alike():
    def mates(share: float) -> list[tuple[str, str]]:
        return cable(blue_7=(exp(0.008), exp(0.4), exp(0.792)), blue_18=(
            exp(0.4 * share - 0.392), exp(0.4 * share), exp(0.4 * share + 0.392)
        ))  # fmt: skip

    assert mates(0.55) == [("other length", "blue 7")]
    assert mates(0.65) == [("other type", "blue 7")]
