"""Every check says what it is, and what is called published can be looked up."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from published.reader import KNOWN, checks, kind, leads_there

FILES = sorted(path.stem for path in Path(__file__).parent.glob("*.toml"))


@pytest.mark.parametrize("name", FILES)
def test_every_check_says_what_it_is(name):
    assert {check["known"] for check in checks(name)} <= set(KNOWN)


@pytest.mark.parametrize("name", FILES)
def test_what_is_called_published_can_be_looked_up(name):
    lost = [(c["source"], c["place"]) for c in checks(name) if kind(c) == "published" and not leads_there(c)]
    assert lost == []


@pytest.mark.parametrize("name", FILES)
def test_what_was_worked_out_or_estimated_here_is_not_called_published(name):
    ours = ("recomputed", "worked out", "index of the measured sweeps", "not named here", "not recorded")
    called = [c for c in checks(name) if kind(c) == "published"]
    assert [c for c in called if any(words in f"{c['source']} {c['place']}" for words in ours)] == []


def test_the_page_counts_every_check_as_what_it_is(monkeypatch):
    monkeypatch.syspath_prepend(str(Path(__file__).parents[2] / "tools"))
    told = __import__("docs_figures").check_values("counts").splitlines()[2:]
    counted = {name.strip(): int(number) for _, name, number, *_ in (line.split("|") for line in told)}
    assert counted == Counter(kind(check) for name in FILES for check in checks(name))


def test_a_value_without_a_findable_place_is_found_out():
    assert not leads_there({"source": "several texts on receiver noise", "place": "k T0 B at 290 K"})
    assert not leads_there({"source": "a list post", "place": "worked example"})
    assert leads_there({"source": "lists.contesting.com/_towertalk/2004-12/msg00502.html", "place": "step 3"})
    assert leads_there({"source": "JCGM 100:2008, H.2", "place": "table H.4"})
