"""What sweeps, a look through a line, losses and the shelf say can be written in another manner: all of it."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from linewright.core.messages import say
from linewright.core.nouns.shelf import ShelfPiece
from linewright.core.nouns.sweep import Sweep, SweepQuestion
from linewright.verbs.history import _why
from linewright.verbs.loss import line_loss
from linewright.verbs.meaning import meaning_of
from linewright.verbs.shelf_beliefs import MONTHS, reminder_of
from linewright.verbs.shelf_words import by_its_stock, doubted, evidence_name, kept, of_no_type, words
from linewright.verbs.sweep import read_sweep
from linewright.verbs.through import line_behind, see_through
from wordless import english, stays_english, texts


def swept(end, loss=1.0):
    f = np.linspace(1e6, 500e6, 400)
    wave = np.exp(-2j * np.pi * f * 1e-7 - loss * np.sqrt(f / f[-1]))
    if end == "through":
        s = np.zeros((400, 2, 2), complex)
        s[:, 0, 1] = s[:, 1, 0] = wave
    else:
        s = (wave**2 * {"open": 1, "short": -1, "load": 0.01}[end])[:, None, None]
    return Sweep("blue", f, s, np.full(s.shape[1], 50.0 + 0j))


@pytest.mark.parametrize("end", ["through", "open", "short", "load"])
@pytest.mark.parametrize("length", [None, 20.0])
def test_every_text_of_a_sweep_is_written_anew(end, length):
    report = read_sweep([swept(end)], [end], SweepQuestion(length_m=length, line="RG-213/U"))
    names = {"blue", "RG-213/U", "S11", "S22", *(r.line for r in report.resembles)}
    symbols = {"k0, k1, k2", "k1", "τ", "c"}
    found = [report.verdict, report.jacket, *report.remarks, *(t for t in texts(report) if t not in symbols)]
    assert stays_english(found, names) == {}


def test_every_text_of_a_look_through_a_line_is_written_anew():
    from linewright.inference.load.seen import seen_swr

    for seen in (seen_swr(1.3), seen_swr(9.0), seen_swr(np.full(9, 1.1), frequency_hz=np.linspace(144e6, 146e6, 9))):
        result = see_through(seen, line_behind(loss_db=3.0))
        found = [result.verdict, *texts(result)]
        assert stays_english(found, {"R0"}) == {}


def test_losses_and_decibels_are_written_anew():
    table = line_loss("RG-213/U", 30.0, [1e5, 144e6, 20e9])
    cited = {w.inputs[-1][1] for w in table.workings}
    assert stays_english(texts(table), {"RG-213/U", *cited}) == {}
    for change in (-2.0, 6.0, 0.0):
        m = meaning_of(change, 100.0, 50e6, "S7")
        assert stays_english([m.text, *texts(m)], set()) == {}


@pytest.mark.parametrize("where", [*MONTHS])
def test_when_to_test_again_is_written_anew(where):
    piece = ShelfPiece("blue", None, 7.2, 2, None, where, 1, False, "", 1, "2020-04-02", ())
    assert not english(reminder_of(piece, date(2026, 4, 2).isoformat()).why, set())


def test_a_remembered_sentence_is_still_one():
    for said in (
        doubted("a"),
        doubted("b"),
        by_its_stock("blue", "drum"),
        of_no_type("blue"),
        evidence_name("sweep", "b"),
    ):
        again = words(kept(said))
        assert again == said
        assert not english(again, {"blue", "drum", "a", "b"})


def test_what_the_years_say_is_written_anew():
    for p in (0.99, 0.5, 0.01):
        assert not english(_why(p, 144.3e6, 4.0, steadily=True), set())
    assert english("The loss rises.", set())
    assert not english(say("The loss rises."), set())
