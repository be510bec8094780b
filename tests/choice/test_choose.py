"""Which line to lay: figures as in a plan, limits kept, the trade-off complete, and what is said where nothing fits."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from linewright.catalogue import line_type
from linewright.catalogue.belief import catalogue_belief
from linewright.catalogue.connectors import connector
from linewright.choice.candidates import LineCandidate, LineSource, barred
from linewright.choice.choose import Question, _steps, choose_line
from linewright.choice.options import _money
from linewright.choice.remedies import _why
from linewright.choice.walks import Span, losses_of
from linewright.choice.workings import prices_worked
from linewright.core.errors import InputError
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.choice import Check, Offer, Prices, Wishes
from linewright.core.nouns.station import (
    Antenna,
    ConnectorPart,
    LinePart,
    LossPart,
    Receiver,
    Run,
    SplitterPart,
    TransformerPart,
    TunerPart,
)
from linewright.link.draws import DRAWS
from linewright.link.plan import plan_run

BANDS = (14.2e6, 144.3e6, 432.1e6)
OFFERS = tuple(
    Offer(line_type(name), price, 4.0, "EUR", outdoors=outdoors)
    for name, price, outdoors in (
        ("RG-58C/U", 0.7, False), ("RG-213/U", 1.85, True), ("foam low-loss 10 mm", 2.4, None),
        ("corrugated 1/2 in foam", 5.2, True),
    )
)  # fmt: skip
PRICES = Prices(OFFERS, {"masthead preamplifier": 95.0, "radio moved": 30.0}, "EUR")
JUMPER = LinePart("jumper", Piece("jumper", 1.5, line_type("RG-58C/U"), 0))
OLD = LinePart("old", Piece("old", 20.0, line_type("RG-213/U"), 0))
HELD = catalogue_belief(Piece("held", 25.0, line_type("RG-213/U")), DRAWS, seed=3)


def run(*, chain=None, swr=1.6, bands=BANDS, **wishes):
    """Return a run of a jumper, an old line and an arrestor at the antenna's end that reflects."""
    usual = (JUMPER, ConnectorPart("pl", "UHF", 2), OLD, LossPart("arrestor", ((0.0, 0.1),), swr=1.2))
    return Run(
        "beam", bands, 50.0, chain or usual, Antenna(swr=((0.0, swr),)), receiver=Receiver(4.0),
        fold_back=((1.5, 1.0), (3.0, 0.5)), wishes=Wishes(**wishes),
    )  # fmt: skip


CHAINS = {
    "reflecting arrestor": None,
    "tuner at the radio": (TunerPart("tuner"), JUMPER, OLD),
    "splitter behind": (JUMPER, OLD, SplitterPart("tee", 2)),
    "transformer before": (TransformerPart("balun", 4.0, ((0.0, 0.2),)), OLD),
}


@pytest.mark.parametrize("chain", CHAINS.values(), ids=CHAINS)
@pytest.mark.parametrize("family", ["N", "UHF"])
def test_every_choice_loses_what_a_plan_says(chain, family):
    asked = run(chain=chain, connector=family)
    first = asked.chain.index(OLD)
    span = Span(asked, first, first + 1, {"held": HELD})
    thin, thick, stiff = (LineSource(offer.line, offer) for offer in (OFFERS[0], OFFERS[1], OFFERS[3]))
    held = LineSource(HELD.piece.line, belief=HELD)
    choices = [
        LineCandidate(thick, 20.0), LineCandidate(held, 20.0), LineCandidate(stiff, 17.0, thin, 3.0),
        LineCandidate(thin, 17.0, thick, 3.0), LineCandidate(held, 17.0, thin, 3.0),
        LineCandidate(stiff, 17.0, held, 3.0),
    ]  # fmt: skip
    got = losses_of(span, choices).middle_db
    for i, choice in enumerate(choices):
        planned = plan_run(span.with_(choice), {"held": HELD}, draws=DRAWS)
        assert got[i] == pytest.approx([b.total_loss_db for b in planned.bands], abs=1e-6)


def test_a_choice_in_full_is_a_plan():
    choice = choose_line(Question(run(tail_m=3.0, sure=0.0), PRICES, noise="rural"))
    for option in choice.trade_off:
        parts = []
        for place, s in zip(("main run", "tail"), option.stretches, strict=False):
            parts += [LinePart(place, Piece(place, s.length_m, line_type(s.name), 0)), ConnectorPart("c", "N")]
        asked = run()
        planned = plan_run(
            replace(asked, chain=(*asked.chain[:2], *parts, *asked.chain[3:])), {}, noise="rural", draws=DRAWS
        )
        for ours, theirs in zip(option.bands, planned.bands, strict=True):
            assert ours.loss_db == pytest.approx(theirs.total_loss_db, abs=1e-6)
            assert ours.loss_db_high == pytest.approx(theirs.total_loss_db_high, abs=1e-6)
            assert ours.power_at_antenna_w == pytest.approx(theirs.power_at_antenna_w, abs=1e-6)
            assert ours.reception_loss_db == pytest.approx(theirs.reception.reception_loss_db, abs=1e-6)
            new = [p for p in theirs.parts if p.name in ("main run", "tail", "c")]
            assert ours.voltage_margin == pytest.approx(min(p.voltage_margin for p in new), rel=1e-6)
            assert ours.heat_margin == pytest.approx(min(p.heat_margin for p in new if p.heat_margin), rel=1e-6)


def test_the_trade_off_is_complete():
    choice = choose_line(Question(run(tail_m=3.0), PRICES))
    prices, losses = [o.price for o in choice.trade_off], [o.loss_db for o in choice.trade_off]
    assert prices == sorted(prices)
    assert losses == sorted(losses, reverse=True)
    for beaten in choice.beaten:
        (by,) = [o for o in choice.trade_off if o.name == beaten.by]
        assert by.price <= beaten.price
        assert by.loss_db <= beaten.loss_db + 1e-9
        less, cheaper = beaten.loss_db - by.loss_db, beaten.price - by.price
        assert beaten.why == f"loses {less:.2f} dB less and costs {cheaper:.2f} less"
    assert choice.beaten


def test_each_step_of_the_trade_off_costs_so_much_more_for_so_many_decibels_less():
    told = [("thin", None, 3.0), ("thick", 30.0, 2.0), ("thicker", 75.0, 1.5)]
    steps = _steps([SimpleNamespace(name=name, price=price, loss_db=loss) for name, price, loss in told])
    assert [(s.price, s.saves_db, s.price_per_db) for s in steps] == [(30.0, 1.0, 30.0), (45.0, 0.5, 90.0)]


def test_the_cheapest_keeps_the_limit_and_nothing_cheaper_does():
    choice = choose_line(Question(run(bands=(144.3e6,), limit_db=((0.0, 2.5),)), PRICES))
    assert choice.cheapest.meets
    assert choice.cheapest.p_meets >= 0.5
    assert all(not o.meets for o in choice.trade_off if o.price < choice.cheapest.price)
    assert choice.cautious.p_meets >= 0.9


def test_a_piece_on_hand_costs_nothing():
    held = {"held": HELD}
    choice = choose_line(Question(run(bands=(14.2e6,)), PRICES, held, ("held",)))
    assert choice.cheapest.price == 0.0
    assert choice.cheapest.stretches[0].on_hand


def test_longest_runs_lose_the_limit_on_average():
    asked = run(limit_db=((0.0, 3.0),))
    choice = choose_line(Question(asked, PRICES))
    for longest in choice.longest:
        assert longest.length_m_low <= longest.length_m <= longest.length_m_high
        part = LinePart("main run", Piece("x", longest.length_m, line_type(longest.line), 0))
        chain = (*asked.chain[:2], part, ConnectorPart("c", "N"), *asked.chain[3:])
        planned = plan_run(replace(asked, chain=chain, frequencies_hz=(longest.frequency_hz,)), {}, draws=DRAWS)
        # Echoes in a mismatched run make its loss ripple with length: two steps end within 0.003 dB here, one in 0.008.
        assert planned.bands[0].total_loss_db == pytest.approx(3.0, abs=0.004)


def test_longest_run_is_catalogue_arithmetic_into_a_match():
    """With nothing else in the run: limit less one pair of N, over the catalogue's dB per metre."""
    asked = run(chain=(OLD,), swr=1.0, bands=(144.3e6,), limit_db=((0.0, 2.0),))
    choice = choose_line(Question(asked, PRICES))
    for longest in choice.longest:
        line = line_type(longest.line)
        spare = 2.0 - float(connector("N").heat_loss_db(144.3e6))
        assert longest.length_m == pytest.approx(spare / line.law.db_per_m(144.3e6), rel=2e-3)


@pytest.mark.parametrize(
    ("wishes", "name", "why"),
    [
        ({"most_diameter_m": 0.011}, "corrugated 1/2 in foam", "thick"),
        ({"most_kg_per_m": 0.1}, "RG-213/U", "g/m is allowed"),
        ({"bend_radius_m": 0.06}, "corrugated 1/2 in foam", "bends"),
        ({"outdoors": True}, "RG-58C/U", "sun and rain"),
        ({"impedance_ohm": 75.0}, "RG-213/U", "75 ohm"),
    ],
)
def test_what_breaks_a_limit_is_barred_and_said(wishes, name, why):
    choice = choose_line(Question(run(**wishes), PRICES))
    assert why in {b.name: b.why for b in choice.barred}[name]


def test_what_nobody_states_is_not_excluded():
    bare = replace(line_type("RG-213/U"), designator="mine", figures={})
    prices = Prices((Offer(bare, 1.0, 2.0, "EUR"),), {}, "EUR")
    choice = choose_line(Question(run(most_diameter_m=0.011, bands=(14.2e6,)), prices))
    assert not choice.barred
    assert "diameter" in {c.limit for c in choice.trade_off[0].checks if c.ok is None}


def test_what_binds_is_said_with_by_how_much():
    choice = choose_line(Question(run(limit_db=((0.0, 0.2),)), PRICES))
    assert choice.cheapest is None
    assert "dB over the limit" in choice.binding[0]
    poor = choose_line(Question(run(bands=(14.2e6,), limit_db=((0.0, 2.0),), budget=5.0), PRICES))
    assert poor.binding == ("20 m of RG-58C/U: budget, 17.00 over the budget.",)


@pytest.mark.parametrize(
    ("budget", "kept", "said"), [(21.5, False, "0.50 over the budget"), (22.0, True, "0.00 are left")]
)
def test_half_a_coin_over_the_budget_is_over_it(budget, kept, said):
    assert _money(22.0, budget) == Check("budget", kept, said)


def test_a_price_is_worked_out_for_what_is_bought_alone():
    choice = choose_line(Question(run(bands=(14.2e6,)), PRICES, {"held": HELD}, ("held",)))
    held, bought = choice.trade_off[:2]
    assert list(prices_worked(held, "EUR")) == []
    (worked,) = prices_worked(bought, "EUR")
    assert (worked.key, dict(worked.inputs)["price"]) == (("price", "RG-213/U"), f"{bought.price:.2f} EUR")


def test_a_line_without_a_price_is_spoken_of():
    mine = replace(line_type("RG-213/U"), designator="mine")
    choice = choose_line(Question(run(), PRICES, own=(mine,)))
    assert [o.name for o in choice.unpriced] == ["20 m of mine"]
    assert any("mine has no price" in r for r in choice.remarks)


def test_remedies_weigh_money():
    asked = run(bands=(432.1e6,), moved_m=5.0)
    first, shorter, moved = choose_line(Question(replace(asked, sky_temperature_kelvin=50.0), PRICES)).remedies
    assert (first.price, first.transmit_gain_db) == (95.0, 0.0)
    assert first.reception_gain_db > moved.reception_gain_db > shorter.reception_gain_db > 0
    assert moved.price == 30.0
    assert first.why == f"{95.0 / first.reception_gain_db:.0f} EUR a decibel"
    assert moved.transmit_gain_db > shorter.transmit_gain_db > 0


def test_without_a_word_the_route_is_shortened_to_two_thirds():
    def gain(**wishes):
        found = choose_line(Question(run(bands=(432.1e6,), **wishes), PRICES)).remedies
        return next(r.transmit_gain_db for r in found if r.kind == "route")

    assert gain() == pytest.approx(gain(shorter_m=20.0 * 2 / 3), abs=1e-9)
    assert gain(shorter_m=14.0) < gain() < gain(shorter_m=13.0)


@pytest.mark.parametrize(("gain_db", "worth"), [(0.049, False), (0.051, True), (0.3, True)])
def test_less_than_a_twentieth_of_a_decibel_is_not_worth_money(gain_db, worth):
    for won in ((gain_db, None), (0.0, gain_db), (-1.0, gain_db)):
        assert ("a decibel" in _why(*won, 10.0, "EUR")) is worth


@pytest.mark.parametrize(("ohm", "laid"), [(44.9, False), (45.1, True), (54.9, True), (55.1, False), (75.0, False)])
def test_a_line_within_a_tenth_of_the_impedance_asked_for_may_be_laid(ohm, laid):
    source = LineSource(replace(line_type("RG-213/U"), impedance_ohm=ohm))
    assert (barred(source, Wishes(), 50.0) is None) is laid
    assert barred(source, Wishes(any_impedance=True), 50.0) is None
    assert barred(source, Wishes(impedance_ohm=ohm), 50.0) is None


@pytest.mark.parametrize("wishes", [{"tail_m": 20.0}, {"replace": ("nothing",)}])
def test_what_cannot_be_asked_is_refused(wishes):
    with pytest.raises(InputError):
        choose_line(Question(run(**wishes), PRICES))


def test_a_run_without_a_line_is_refused():
    with pytest.raises(InputError, match="line to be replaced"):
        choose_line(Question(run(chain=(LossPart("pad", ((0.0, 1.0),)),)), PRICES))


def test_a_run_with_a_route_and_no_line_gets_one():
    bare = run(chain=(LossPart("pad", ((0.0, 0.1),)),), bands=(14.2e6,), route_m=15.0)
    choice = choose_line(Question(bare, PRICES))
    assert choice.length_m == 15.0
    assert choice.as_it_is.stretches == ()
    laid = (*bare.chain, LinePart("x", Piece("x", 15.0, line_type("RG-58C/U"), 0)), ConnectorPart("c", "N"))
    planned = plan_run(replace(bare, chain=laid), {}, draws=DRAWS)
    assert choice.trade_off[0].loss_db == pytest.approx(planned.bands[0].total_loss_db, abs=1e-6)


def test_nothing_to_lay_is_said():
    choice = choose_line(Question(run(most_diameter_m=0.001), PRICES))
    assert choice.trade_off == ()
    assert choice.cheapest is None
    assert choice.binding


def test_a_tail_bends():
    choice = choose_line(Question(run(tail_m=3.0), PRICES))
    ends = {o.stretches[-1].name for o in choice.trade_off} | {b.name.split(" of ")[-1] for b in choice.beaten}
    assert ends == {"RG-58C/U", "RG-213/U"}
    stated = choose_line(Question(run(tail_m=3.0, bend_radius_m=0.5), PRICES))
    assert "corrugated 1/2 in foam" in {o.stretches[-1].name for o in stated.trade_off}


def test_a_doubtful_piece_is_worth_measuring():
    asked = run(bands=(144.3e6,))
    middle = choose_line(Question(asked, PRICES, {"held": HELD}, ("held",))).trade_off[0].loss_db
    choice = choose_line(Question(run(bands=(144.3e6,), limit_db=((0.0, middle),)), PRICES, {"held": HELD}, ("held",)))
    assert [m.piece for m in choice.measure] == ["held"]
    assert 0.2 < choice.measure[0].p_meets < 0.8


def test_a_piece_is_doubtful_between_one_chance_in_ten_and_nine_in_ten():
    """Limits of a lossy band over the whole spread of what is believed, so that every probability comes up."""
    held = {"held": HELD}
    free = choose_line(Question(run(bands=(144.3e6,)), PRICES, held, ("held",))).trade_off[0].bands[0]
    seen = []
    for limit in np.linspace(free.loss_db_low, free.loss_db_high, 25):
        asked = run(bands=(144.3e6,), limit_db=((0.0, float(limit)),))
        choice = choose_line(Question(asked, PRICES, held, ("held",)))
        p = next(o.p_meets for o in choice.trade_off if o.price == 0.0)
        assert [m.piece for m in choice.measure] == (["held"] if 0.1 < p < 0.9 else []), p
        seen.append(p)
    for low, high in ((0.0, 0.1), (0.1, 0.2), (0.8, 0.9), (0.9, 1.0)):
        assert any(low < p < high for p in seen), (low, high)
