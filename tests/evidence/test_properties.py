"""Whatever stands on a sheet, the engine answers, and what it answers hangs together."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from evidence.benches import THICK, THIN
from examples import few
from linewright.core.nouns.bench import Attenuator, BenchSheet, Meter, Piece, Reading, Reference, Source
from linewright.inference.bench.prove import prove

CARD = ((0.0, 0.0), (25.0, 0.8), (50.0, 3.2), (100.0, 12.8))
BANDS = (1.9e6, 14.2e6, 28.5e6, 144.3e6, 432e6, 1296e6)


@st.composite
def meters(draw: st.DrawFn, name: str) -> Meter:
    """Draw a meter of any scale, with or without a stated division, band and SWR."""
    scale = draw(st.sampled_from(["watts", "milliwatts", "dBm", "dB", "volts", "card"]))
    division = draw(st.none() | st.floats(0.001, 50.0))
    rated = draw(st.none() | st.sampled_from([(1.8e6, 60e6), (100e6, 470e6)]))
    return Meter(name, scale, division, rated, CARD if scale == "card" else (), draw(st.none() | st.floats(1.0, 5.0)))


@st.composite
def benches(draw: st.DrawFn) -> BenchSheet:
    """Draw a sheet whose readings are anything at all: sound, silly, zero, repeated, contradictory."""
    some = [draw(meters(f"meter {i}")) for i in range(draw(st.integers(1, 3)))]
    stocks = st.sampled_from([None, "drum", "reel"])
    pieces = [
        Piece(
            f"p{i}", draw(st.floats(0.05, 500.0)), draw(st.sampled_from([None, THIN, THICK])), draw(st.integers(0, 4)),
            draw(stocks),
        )
        for i in range(draw(st.integers(0, 3)))
    ]  # fmt: skip
    pads = [Attenuator("pad", draw(st.floats(0.0, 40.0)), draw(st.floats(0.0, 1.0)))] if draw(st.booleans()) else []
    tags = [p.tag for p in pieces] + [a.tag for a in pads]
    paths = [(), *((t,) for t in tags), *([tuple(tags[:2])] if len(tags) > 1 else [])]
    values = st.one_of(st.sampled_from([0.0, 0.001, 1.0, 5.0, 10.0, 100.0]), st.floats(0.0, 200.0))
    readings = [
        Reading(
            i + 2, draw(st.sampled_from(some)).name, draw(st.sampled_from(BANDS)), draw(st.sampled_from(paths)),
            draw(values), step=draw(st.none() | st.floats(-10.0, 1000.0)), swr=draw(st.none() | st.floats(1.0, 20.0)),
        )
        for i in range(draw(st.integers(0, 14)))
    ]  # fmt: skip
    source = Source(draw(st.none() | st.floats(0.01, 1500.0)), draw(st.none() | st.floats(1.0, 10.0)))
    reference = Reference(
        draw(st.sampled_from([None, THIN])), draw(st.floats(0.0, 5.0)), draw(st.sampled_from(["replaced", "stays"]))
    )
    return BenchSheet("any", tuple(some), tuple(pieces), tuple(readings), source, reference, tuple(pads))


@few(30)
@given(benches())
def test_any_bench_is_answered_and_the_answer_hangs_together(sheet: BenchSheet) -> None:
    result = prove(sheet)
    for x in result.losses:
        assert 0.0 < x.loss_db_low <= x.loss_db <= x.loss_db_high
        assert x.loss_db_high < math.inf
        assert 0.0 <= x.delivered_fraction <= 1.0
        if x.ratio is not None:
            assert x.ratio_low <= x.ratio <= x.ratio_high  # type: ignore[operator]
            assert 0.0 <= x.p_worse_1_25 <= x.p_worse_1_1 <= 1.0  # type: ignore[operator]
        assert all(math.isfinite(h.loss_db) and h.loss_db_u > 0.0 for h in x.by_hand)
    assert [r.row for r in result.readings] == [r.row for r in sheet.readings]
    for r in result.readings:
        assert 0.0 <= r.p_wrong <= 1.0
        assert (r.expected is None) == (not r.checked)
        assert r.checked or r.why
    assert {(m.meter, m.frequency_hz) for m in result.meters} == {(r.meter, r.frequency_hz) for r in sheet.readings}
    assert [p.piece for p in result.pieces] == [p.tag for p in sheet.pieces]
    assert all(n.gain_nats > 0.0 for n in result.next)


@few(8)
@given(benches(), st.integers(0, 2**32 - 1))
def test_the_names_of_things_do_not_matter(sheet: BenchSheet, seed: int) -> None:
    rng = np.random.default_rng(seed)
    names = {p.tag: f"q{n}" for p, n in zip(sheet.pieces, rng.permutation(90) + 10, strict=False)}
    renamed = BenchSheet(
        sheet.title, sheet.meters,
        tuple(Piece(names[p.tag], p.length_m, p.line, p.connectors, p.stock) for p in sheet.pieces),
        tuple(
            Reading(r.row, r.meter, r.frequency_hz, tuple(names.get(t, t) for t in r.path), r.reading, r.step, r.swr)
            for r in sheet.readings
        ),
        sheet.source, sheet.reference, sheet.attenuators,
    )  # fmt: skip
    for a, b in zip(prove(sheet).losses, prove(renamed).losses, strict=True):
        assert names[a.piece] == b.piece
        assert a.loss_db == b.loss_db or abs(math.log(a.loss_db / b.loss_db)) < 0.05
