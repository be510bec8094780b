"""What a choice and a sharing-out say can be written in any language: no text of theirs is glued from English."""

from __future__ import annotations

from dataclasses import replace

import pytest

from choice.test_choose import HELD, PRICES, run
from choice.test_share import HF, UHF, shelf
from linewright.catalogue import line_type
from linewright.catalogue.names import designators
from linewright.choice.choose import Question, choose_line
from linewright.choice.share import SharingQuestion, share_pieces
from linewright.core.nouns.choice import Need, Offer
from wordless import stays_english, texts

NAMES = {*designators(), "held", "mine", "EUR", "beam", "old", "HF wire", "70 cm", "far", "thin", "tv", "N"}


def _choice(prices=PRICES, held=(), own=(), noise=None, **wishes):
    return choose_line(Question(run(**wishes), prices, dict.fromkeys(held, HELD), held, noise=noise, own=own))


def _sharing():
    pieces = shelf(("thin", "RG-58C/U", 13.0, 1.0), ("tv", "RG-6/U", 20.0, 1.0))
    offers = (Offer(line_type("RG-213/U"), 2.0, 3.0, "EUR"),)
    return share_pieces(SharingQuestion((HF, UHF, Need("far", 40.0, (14e6,))), pieces, offers, budget=30.0))


ANSWERS = {
    "a tail and a piece on hand": lambda: _choice(held=("held",), noise="rural", tail_m=3.0, limit_db=((0.0, 1.0),)),
    "nothing fits": lambda: _choice(limit_db=((0.0, 0.2),), budget=5.0, most_diameter_m=0.011, outdoors=True),
    "a line without a price": lambda: _choice(own=(replace(line_type("RG-213/U"), designator="mine"),)),
    "a sharing-out": _sharing,
}


@pytest.mark.parametrize("answer", ANSWERS)
def test_every_text_is_written_anew(answer):
    found = list(texts(ANSWERS[answer]()))
    assert len(found) > 30
    assert stays_english(found, NAMES) == {}
