"""What a reason says of other readings is what they were: each meter is quoted with its own, converted once."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from evidence.benches import BLUE_7, BLUE_18, DESK, PATHS, POCKET, Row, read, sheet_of, true_loss_db
from linewright.core.nouns.bench import Attenuator, BenchSheet, Meter, Piece
from linewright.core.nouns.bench_result import BenchResult, ReadingFinding
from linewright.inference.bench.prove import prove

CARD = ((0.0, 0.0), (50.0, 3.2), (100.0, 12.8))
SCALES = {
    "watts": lambda w: round(w, 2), "milliwatts": lambda w: round(1000 * w),
    "volts": lambda w: round((50 * w) ** 0.5, 2),
    "dBm": lambda w: round(30 + 10 * np.log10(w), 2), "card": lambda w: round(50 * (w / 3.2) ** 0.5, 1),
}  # fmt: skip
"""What each scale shows of a power; the card is a square law, so its points lie on one."""
DB_OF = {
    "watts": lambda x: 10 * np.log10(x), "milliwatts": lambda x: 10 * np.log10(x), "volts": lambda x: 20 * np.log10(x),
    "dBm": lambda x: x, "card": lambda x: 20 * np.log10(x),
}  # fmt: skip
"""Decibels of a reading by its scale alone, written apart from the engine."""
NUMBER = r"-?\d+(?:\.\d+)?"
READ = rf"({NUMBER})(?: to ({NUMBER}))?(?: on the scale| W| mW| V| dBm|(?= against))"
DROPS = re.compile(r"Drop from the reference to ([^:]+): (.+?\))\.(?: |$)")
DROP = re.compile(rf"({NUMBER})(?: to ({NUMBER}))? dB on (this meter|the [\w ]+?) \({READ} against {READ}\)")
AGAIN = re.compile(rf"Its repeats? shows? {READ}")


def any_bench(seed: int) -> BenchSheet:
    """Return a bench with noise, slips of one reading, and slips that all meters of a band share."""
    rng = np.random.default_rng(seed)
    names = [f"{word} meter" for word in ("desk", "pocket", "third")][: rng.integers(1, 4)]
    meters = [Meter(n, str(rng.choice(list(SCALES))), None, (1e6, 500e6), CARD) for n in names]  # type: ignore[arg-type]
    meters = [m if m.scale == "card" else replace(m, card=()) for m in meters]
    rows: list[Row] = []
    for f in rng.choice([7.1e6, 28.5e6, 50.1e6, 144.3e6, 432.1e6], rng.integers(1, 4), replace=False):
        paths = ["reference", *rng.choice(["blue 7", "blue 18", "blue 7+blue 18"], rng.integers(1, 6)), "reference"]
        alike = {p: 10 ** (-rng.uniform(1, 5) / 10) if rng.random() < 0.15 else 1.0 for p in paths[1:-1]}
        for m in meters:
            for p in paths:
                slip = rng.choice([0.3, 0.5, 1.6]) if rng.random() < 0.12 else alike.get(p, 1.0)
                power = 8 * slip * 10 ** (-true_loss_db(p, f, 1.2) / 10 + rng.normal(0, 0.005))
                rows.append((m, float(f), str(p), float(SCALES[m.scale](power))))
    return sheet_of(rows)


def numbers(found: Sequence[str]) -> set[float]:
    return {float(x) for x in found if x}


def read_by(sheet: BenchSheet, meter: str, f: float, path: str) -> set[float]:
    """Return the readings of one meter at one path and frequency, as they are written with six figures."""
    want = () if path == "reference" else tuple(path.split("+"))
    some = (r for r in sheet.readings if (r.meter, r.frequency_hz, r.path) == (meter, f, want))
    return {float(f"{r.reading:.6g}") for r in some}


def checked_drops(sheet: BenchSheet, r: ReadingFinding) -> int:
    """Hold every quoted drop of a reason against the readings; return how many there were."""
    found = 0
    for path, drops in DROPS.findall(r.why):
        assert r.path in (path, "reference")
        meters = []
        for low, high, name, *shown in DROP.findall(drops):
            meter = r.meter if name == "this meter" else name.removeprefix("the ")
            scale = DB_OF[sheet.meter(meter).scale]
            after, before = numbers(shown[:2]), numbers(shown[2:])
            assert after <= read_by(sheet, meter, r.frequency_hz, path)
            assert before <= read_by(sheet, meter, r.frequency_hz, "reference")
            assert len(before) == 1
            (base,) = before
            said, true = numbers([low, high]), [scale(base) - scale(x) for x in after]
            assert (min(said), max(said)) == pytest.approx((min(true), max(true)), abs=0.0051)
            if name == "this meter":
                assert r.reading in (pytest.approx(base), *(pytest.approx(x) for x in after))
            meters.append(meter)
        assert len(meters) == len(set(meters)) >= 2
        assert meters[0] == r.meter
        found += len(meters)
    return found


@pytest.mark.parametrize("seeds", [range(12), pytest.param(range(12, 40), marks=pytest.mark.slow)], ids=str)
def test_every_meter_is_quoted_with_what_it_read_at_that_path_and_frequency_converted_once(seeds: range) -> None:
    drops = repeats = 0
    for seed in seeds:
        sheet = any_bench(seed)
        for r in prove(sheet).readings:
            assert not re.search(r"meter says|say \d", r.why)
            drops += checked_drops(sheet, r)
            for shown in AGAIN.findall(r.why):
                repeats += 1
                assert numbers(shown) <= read_by(sheet, r.meter, r.frequency_hz, r.path)
    assert drops > 30
    assert repeats > 6


def both_alike(slip: float) -> tuple[BenchSheet, BenchResult]:
    """Return a bench whose two meters read one path alike, far below what the law and the other bands say."""
    third = Meter("third meter", "watts", 0.01, (1.8e6, 60e6))
    rows = [row for f in (7.1e6, 14.2e6, 28.5e6) for m in (DESK, third) for row in read(m, f, PATHS)]
    rows = [(m, f, p, round(v * slip, 2) if (f, p) == (28.5e6, "blue 18") else v) for m, f, p, v in rows]
    sheet = sheet_of(rows)
    return sheet, prove(sheet)


def test_a_meter_that_agrees_with_a_doubted_reading_is_quoted_with_the_same_drop() -> None:
    """Both show 4.5 dB where the law expects 1.5: neither may be made to say 1.5."""
    sheet, result = both_alike(0.5)
    doubted = [r for r in result.readings if (r.frequency_hz, r.path) == (28.5e6, "blue 18")]
    assert all(r.p_wrong > 0.2 for r in doubted)
    for r in doubted:
        (drops,) = [d for _, d in DROPS.findall(r.why)]
        assert checked_drops(sheet, r) == 2
        shown = [float(low) for low, *_ in DROP.findall(drops)]
        assert shown[0] == pytest.approx(shown[1], abs=0.01)
        assert shown[0] == pytest.approx(10 * np.log10(10.0 / r.reading), abs=0.02)


def test_repeats_are_quoted_as_they_stand_also_where_they_agree_with_the_doubted_reading() -> None:
    paths = ("reference", "blue 7", "blue 7", "blue 18", "reference")
    rows = [row for f in (7.1e6, 14.2e6, 28.5e6) for row in read(DESK, f, paths)]
    rows[1], rows[2] = (DESK, 7.1e6, "blue 7", 5.01), (DESK, 7.1e6, "blue 7", 5.04)
    first = prove(sheet_of(rows)).readings[1]
    assert first.p_wrong > 0.3
    assert "Its repeat shows 5.04 W." in first.why


def test_other_lengths_on_a_meter_alone_point_to_what_a_doubted_reading_should_have_been() -> None:
    """Blue 7, and blue 7 with blue 18 behind it: the one from the other leaves what blue 18 should show, 7.16 W."""
    paths = ("reference", "blue 7", "blue 18", "blue 7+blue 18", "blue 7", "blue 7+blue 18", "reference", "reference")
    rows = read(DESK, 28.5e6, paths)
    true = rows[2][3]
    rows[2] = (*rows[2][:3], round(true / 2, 2))
    doubted = prove(sheet_of(rows)).readings[2]
    assert doubted.p_wrong > 0.5
    assert f"Undoubted readings of other lengths on this meter point to {true:.2f} W" in doubted.why


@pytest.mark.parametrize("loss_db", [0.5, 3.0])
def test_one_pair_of_readings_checks_nothing(loss_db: float) -> None:
    rows = [(DESK, 28.5e6, "reference", 10.0), (DESK, 28.5e6, "blue 7", round(10 * 10 ** (-loss_db / 10), 2))]
    result = prove(sheet_of(rows, [BLUE_7]))
    assert [r.checked for r in result.readings] == [False, False]
    assert all(r.why.startswith("Cannot tell: nothing else") for r in result.readings)


OTHER_DRUM = Piece("blue 18", 18.0, BLUE_18.line, 2, "grey drum")
ONE_PAIR = read(DESK, 28.5e6, ("reference", "blue 7"))


@pytest.mark.parametrize(
    ("more", "pieces", "checked"),
    [
        (read(DESK, 28.5e6, ["blue 18"]), [BLUE_7, OTHER_DRUM], []),
        (read(DESK, 28.5e6, ["blue 18"]), [BLUE_7, BLUE_18], ["reference", "blue 7", "blue 18"]),
        (read(DESK, 28.5e6, ["blue 7"]), [BLUE_7], ["blue 7", "blue 7"]),
        (read(DESK, 28.5e6, ["reference"]), [BLUE_7], ["reference", "reference"]),
        (read(DESK, 14.2e6, PATHS[:2]), [BLUE_7], ["reference", "blue 7"] * 2),
        (read(POCKET, 28.5e6, PATHS[:2]), [BLUE_7], ["reference", "blue 7"] * 2),
        ([(DESK, 28.5e6, "pad", 5.0)], [BLUE_7], ["reference", "pad"]),
    ],
    ids=["another drum", "another length", "a repeat", "the reference again", "another band", "another meter", "a pad"],
)
def test_a_reading_is_checked_by_what_bears_on_it_and_not_by_its_own_pair(
    more: list[Row], pieces: list[Piece], checked: list[str]
) -> None:
    pad = [Attenuator("pad", 3.0)] if any(p == "pad" for _, _, p, _ in more) else []
    result = prove(sheet_of([*ONE_PAIR, *more], pieces, attenuators=pad))
    assert [r.path for r in result.readings if r.checked] == checked
