"""The tool that changes code a little draws the same every time, and changes what it says it changes."""

from __future__ import annotations

import ast
import importlib.util
import random
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def mutants():
    spec = importlib.util.spec_from_file_location("mutants", ROOT / "tools" / "mutants.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    ("code", "changes"),
    [
        ("x = a < b", ["a < b → (a <= b)"]),
        ("x = a + b * 2", ["a + b * 2 → (a - b * 2)", "b * 2 → (b / 2)", "2 → 3"]),
        ("x = a and not b", ["a and not b → (a or not b)", "not b → (b)"]),
        ("x = f(True, 0.0)", ["True → False", "0.0 → 1.0"]),
        ("def f(a: int = 3) -> int:\n    return a", ["3 → 4", "return a → return None"]),
        ("@dataclass(frozen=True)\nclass A:\n    '''Has 3.'''\n    x: Literal[3]", []),
        ("x = f'{a + b}'", []),
        ("x = zip(a, b, strict=True)", []),
    ],
)
def test_every_kind_of_change_is_made_and_nothing_that_decides_nothing(mutants, code, changes):
    assert sorted(m.change for m in mutants.mutants_of("choice", "x.py", code)) == sorted(changes)


def test_the_same_seed_draws_the_same_mutants_and_each_changes_its_line(mutants):
    drawn = mutants.drawn(["choice"], 200, 7)
    assert drawn == mutants.drawn(["choice"], 200, 7)
    assert drawn != mutants.drawn(["choice"], 200, 8)
    for mutant in random.Random(1).sample(drawn, 30):
        text = (ROOT / mutant.path).read_text(encoding="utf-8")
        changed = ast.parse(mutant.in_text(text))
        assert ast.dump(changed) != ast.dump(ast.parse(text))
        assert mutant.old in text


def test_a_mutant_that_is_called_equivalent_is_there(mutants):
    for (path, row, change), reason in mutants.EQUIVALENT.items():
        text = (mutants.ROOT / mutants.PACKAGE / path).read_text(encoding="utf-8")
        rows = text.splitlines()
        found = [m for m in mutants.mutants_of("", path, text) if (rows[m.line - 1].strip(), m.change) == (row, change)]
        assert len(found) == 1, (path, row)
        assert reason


@pytest.mark.parametrize(
    ("line", "name"), [(1, ""), (2, ""), (3, "f"), (5, ""), (6, "A.f"), (7, "A.f.<locals>.g"), (8, "A.f"), (9, "")]
)
def test_a_change_is_known_by_the_function_it_stands_in(mutants, line, name):
    code = "import x\ndef f(a=3):\n    return a\nclass A:\n    def f(self): return 1\n"
    code = code.replace("return 1", "\n        def g():\n            return 1\n        return g") + "B = 4\n"
    assert mutants.function_at(code, line) == name


def test_tests_that_call_a_function_come_first_and_the_others_of_their_files_after(mutants):
    called = {
        "a.py::slow": {"m.py:f"},
        "a.py::quick": {"m.py:f", "m.py:g"},
        "a.py::other": set(),
        "b.py::b": {"n.py:h"},
    }
    reach = mutants.Reach(called, {"a.py::slow": 2.0, "a.py::quick": 0.1, "b.py::b": 1.0})
    assert reach.tests_of("m.py", "f") == ["a.py::quick", "a.py::slow"]
    assert reach.beside(["a.py::quick", "a.py::slow"]) == ["a.py::other"]
    assert reach.tests_of("n.py", "") == ["b.py::b"]
    assert set(reach.tests_of("nobody.py", "f")) == set(called)
