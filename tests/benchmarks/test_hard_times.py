"""One small case of each hard time, every day; the many are run by hand (benchmarks/hard_times.py)."""

from __future__ import annotations

import random
from types import SimpleNamespace

import pytest

import hard_ledger
import hard_readers

NOBODY = SimpleNamespace(send=lambda _: None)


@pytest.mark.parametrize("name", [n for n in hard_readers.readers() if n != "export"])
def test_changed_inputs_are_read_or_refused_in_our_words(name):
    found = hard_readers._read(hard_readers.readers()[name], range(25), 7, NOBODY)
    wrong = [said for said in found.over if not said.endswith(" MB") and not said.endswith(" s")]
    assert (found.read + found.refused, wrong) == (25, [])


def test_changed_exports_are_read_or_refused_in_our_words(tmp_path):
    found = hard_readers._read(hard_readers.export_reader(tmp_path), range(12), 7, NOBODY)
    wrong = [said for said in found.over if not said.endswith(" MB") and not said.endswith(" s")]
    assert (found.read + found.refused, wrong) == (12, [])


def test_damage_is_told_or_harmless_and_a_whole_copy_is_left(tmp_path):
    made = tmp_path / "ledger.sqlite"
    hard_ledger._prepare(made)
    before = hard_ledger._rows(made)
    hard_ledger._one(made, "value changed by SQL", random.Random(3))
    said = hard_ledger._told(made, before)
    assert said.startswith(("told", "harmless"))
    assert any(map(hard_ledger._is_whole, hard_ledger.backups.backups(made)))


def test_a_change_of_a_content_comes_from_its_seed_alone():
    one, other = (hard_readers.mutated(b"a = 1\nb = 2\n" * 9, b"c", random.Random(5)) for _ in range(2))
    assert one == other
    assert one != b"a = 1\nb = 2\n" * 9
