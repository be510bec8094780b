"""Every text of a plan is a sentence that can be written in another manner: nothing in it stays English."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from itertools import chain

import pytest

from linewright.units.manner import Manner
from linewright.units.said import say, written
from linewright.workflows.plan import plan_station
from linewright.workflows.what_if import what_if
from workflows.stations import TEXT, station


@dataclass(frozen=True, slots=True)
class Pseudo(Manner):
    """A language that sets every message in brackets."""

    def message(self, pattern: str, many: str | None = None, count: int = 1) -> str:
        return f"⟦{pattern if many is None or count == 1 else many}⟧"


PSEUDO = Pseudo()
WORDS = {"why", "weakest", "remarks", "cautions"}
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


def texts(noun: object) -> Iterator[str]:
    """Yield every sentence in a result: its words, and figure, formula and inputs of its workings."""
    for field in fields(noun):  # type: ignore[arg-type]
        value = getattr(noun, field.name)
        entries = value if isinstance(value, tuple) else (value,)
        if field.name == "remedies":
            yield from (what for what, _ in entries)
        elif field.name == "workings":
            yield from (said for w in entries for said in (w.figure, w.formula, *chain.from_iterable(w.inputs)))
        elif field.name in WORDS:
            yield from entries
        else:
            yield from chain.from_iterable(texts(x) for x in entries if is_dataclass(x))


def english(text: str, names: set[str]) -> str:
    """Return what stays outside all brackets once names and figures are taken away; empty if nothing does."""
    left = written(text, PSEUDO)
    while "⟦" in left:
        shorter = re.sub(r"⟦[^⟦⟧]*⟧", "", left)
        assert shorter != left, left
        left = shorter
    for name in sorted(names, key=len, reverse=True):
        left = left.replace(name, "")
    return re.sub(r"[-+\d.,;:()%/·√±| ]|[kM]?Hz|dB[im]?|\b[smKVWA]\b|e\+?", "", left)


def names_of(plan) -> set[str]:
    """Return the names of a plan: they are the same in every language."""
    bands = [x for b in plan.budgets for x in b.bands]
    parts = {p.name for x in bands for p in x.parts}
    sources = {said for b in plan.budgets for w in b.workings for name, said in w.inputs if name.endswith(" by")}
    symbols = {"Z0", "R0, x", "c, d", "EIRP"}
    basis = {p.basis for x in bands for p in x.parts} - {""}
    return parts | sources | symbols | basis | {e.limit for x in bands for e in x.exposure}


@pytest.mark.parametrize("text", [TEXT, ODD], ids=["small", "odd"])
def test_every_text_of_a_plan_is_written_anew(text):
    plan = plan_station(station(text))
    found = list(texts(plan))
    assert len(found) > 100
    assert {t: left for t in found if (left := english(t, names_of(plan)))} == {}


def test_every_text_of_a_change_is_written_anew():
    found = what_if(station(), ["beam: line 2 length = 40 m"])
    assert {
        t: left for t in texts(found) if (left := english(t, {*names_of(found.before), *names_of(found.after), "beam"}))
    } == {}


def test_a_text_that_stays_english_is_found():
    assert english("It loses 3 dB.", set())
    assert english(f"{say('It loses {x}.', x='3 dB')} Much.", set())
    assert not english(say("It loses {x}.", x="3 dB"), set())
