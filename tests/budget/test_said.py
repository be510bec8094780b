"""Every text of a plan is a sentence that can be written in another manner: nothing in it stays English."""

from __future__ import annotations

import pytest

from linewright.catalogue import designators
from linewright.core.messages import say
from linewright.verbs.plan import plan_station
from linewright.verbs.what_if import what_if
from wordless import english, stays_english, texts
from workflows.stations import TEXT, station

ODD = """\
[station]
name = "Odd hill"
noise = "quiet rural"
[[run]]
name = "long beam"
frequencies = ["1.9 MHz", "144.3 MHz", "5760 MHz"]
power = "1500 W"
fold_back = [[1.5, 1.0], [2.0, 0.3]]
chain = [
  {line = "RG-58C/U", length = "90 m", cut = "90 deg"},
  {connector = "PL-259", pairs = 2},
  {splitter = 2, name = "pair", loss = "0.2 dB"},
  {line = "RG-58C/U", length = "3 m"},
]
antenna = {swr = 6.0}
gain = "11 dBi"
receiver = {noise_figure = "4 dB"}
preamplifier = {gain = "20 dB", noise_figure = "1 dB", at = "radio"}
"""


def names_of(plan) -> set[str]:
    """Return the names of a plan: they are the same in every language."""
    bands = [x for b in plan.budgets for x in b.bands]
    parts = {p.name for x in bands for p in x.parts}
    sources = {said for b in plan.budgets for w in b.workings for name, said in w.inputs if name.endswith(" by")}
    symbols = {"Z0", "R0, x", "c, d", "EIRP"}
    basis = {p.basis for x in bands for p in x.parts} - {""}
    limits = {e.limit for x in bands for e in x.exposure}
    runs = {b.run for b in plan.budgets}
    quantities = {e.quantity for x in bands for e in x.exposure}
    names = {plan.station, *designators(), "N", "UHF"}
    return parts | sources | symbols | basis | limits | runs | quantities | names


@pytest.mark.parametrize("text", [TEXT, ODD], ids=["small", "odd"])
def test_every_text_of_a_plan_is_written_anew(text):
    plan = plan_station(station(text))
    found = list(texts(plan))
    assert len(found) > 100
    assert stays_english(found, names_of(plan)) == {}


def test_every_text_of_a_change_is_written_anew():
    found = what_if(station(), ["beam: line 2 length = 40 m"])
    names = {*found.changes, *names_of(found.before), *names_of(found.after)}
    assert stays_english(texts(found), names) == {}


def test_a_text_that_stays_english_is_found():
    assert english("It loses 3 dB.", set())
    assert english(f"{say('It loses {x}.', x='3 dB')} Much.", set())
    assert not english(say("It loses {x}.", x="3 dB"), set())
