"""What a verdict asks for: no band speaks of wear alone, and before a reading nobody is presumed worn."""

import numpy as np
import pytest

from evidence.benches import DESK, PATHS, POCKET, THIN, read, sheet_of
from linewright.core.nouns.bench import BenchSheet, Meter, Piece, Reading
from linewright.inference.against_type import BORNE_OUT, lone_band
from linewright.inference.bench.prove import prove

BANDS = (7.1e6, 14.2e6, 28.5e6)


def draws(*times, spread=0.05):
    rng = np.random.default_rng(7)
    return np.log(times) + spread * rng.standard_normal((4000, len(times)))


def test_the_band_that_stands_out_is_named_and_wear_on_every_band_names_none():
    assert lone_band(draws(1.0, 1.0, 3.0), BANDS) == "28.5 MHz"
    assert lone_band(draws(1.02, 2.5), BANDS[:2]) == "14.2 MHz"
    assert lone_band(draws(1.3, 1.35, 1.4), BANDS) == ""
    assert lone_band(draws(3.0), BANDS[:1]) == "", "where one band was read there are no others to ask"


def test_the_others_must_be_sure_together():
    """To 85 in a hundred, counted on draws that are made to lie just above and just below it."""
    for share, lone in ((BORNE_OUT + 0.01, ""), (BORNE_OUT - 0.01, "14.2 MHz")):
        rest = np.where(np.arange(1000) < 1000 * share, np.log(1.2), np.log(1.0))
        assert lone_band(np.stack([rest, np.full(1000, np.log(3.0))], axis=1), BANDS[:2]) == lone
    assert pytest.approx(0.85) == BORNE_OUT


def test_two_meters_alike_on_one_band_make_no_verdict_of_wear():
    """Half the power on one of three bands, on both meters: as likely the plug as the cable."""
    second = Meter("second meter", "watts", 0.01, (1.8e6, 60e6))
    rows = [row for f in BANDS for m in (DESK, second) for row in read(m, f, PATHS)]
    rows = [(m, f, p, round(v * 0.5, 2) if (f, p) == (28.5e6, "blue 18") else v) for m, f, p, v in rows]
    found = {p.piece: p for p in prove(sheet_of(rows)).pieces}
    assert found["blue 18"].verdict not in ("worn", "bad")


def test_before_a_reading_says_anything_about_a_third_are_believed_worn():
    """A scale of two marks, 20 dB apart, tells nothing: what is left is the prior, and it gives no verdict."""
    blunt = Meter("lamp", "watts", 60.0, (1.8e6, 60e6))
    rows = tuple(Reading(n, "lamp", 14.2e6, path, 60.0) for n, path in ((2, ()), (3, ("blue 7",))))
    (piece,) = prove(BenchSheet("Lamp", (blunt,), (Piece("blue 7", 7.2, THIN),), rows)).pieces
    result = prove(BenchSheet("Lamp", (blunt,), (Piece("blue 7", 7.2, THIN),), rows))
    assert piece.verdict == "cannot tell"
    assert 0.2 < result.losses[0].p_worse_1_1 < 0.4


@pytest.mark.parametrize(
    ("times", "bands_hz", "scrap", "why"),
    [
        (7.0, (14.2e6, 144.3e6), True, "At this length it will do for none of the uses above, on any band."),
        (3.0, (14.2e6, 144.3e6), False, "At this length it will still do for receive only on 14.2 MHz;"),
        (2.0, (14.2e6,), False, "It will still do for: "),
    ],
)
def test_a_piece_is_scrap_where_it_serves_for_nothing_on_any_band(times, bands_hz, scrap, why):
    rows = [row for f in bands_hz for row in read(DESK if f < 60e6 else POCKET, f, PATHS, times)]
    uses = {u.use: u for u in prove(sheet_of(rows)).pieces[1].uses}
    assert (uses["scrap"].ok, uses["scrap"].why[: len(why)]) == (scrap, why)
