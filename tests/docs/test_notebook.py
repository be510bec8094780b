"""The notebook of the examples: each cell runs, and shows what it shows now."""

from __future__ import annotations

import ast
import json

import pytest

from demo.tool import ROOT

NOTEBOOKS = sorted((ROOT / "docs" / "examples").glob("*.ipynb"))


def ran(source, names):
    """Run a cell and return what a notebook would show of its last expression."""
    body = ast.parse(source).body
    shown = body.pop() if isinstance(body[-1], ast.Expr) else None
    exec(compile(ast.Module(body, []), "cell", "exec"), names)
    return None if shown is None else repr(eval(compile(ast.Expression(shown.value), "cell", "eval"), names))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_every_cell_runs_and_shows_what_is_kept(path):
    names = {}
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    code = [cell for cell in cells if cell["cell_type"] == "code"]
    assert len(code) >= 4
    for number, cell in enumerate(code, start=1):
        kept = ["".join(one["data"]["text/plain"]) for one in cell["outputs"]]
        assert cell["execution_count"] == number
        shown = ran("".join(cell["source"]), names)
        assert kept == ([] if shown is None else [shown])


def test_the_notebook_says_that_it_is_invented():
    assert all("invented" in path.read_text(encoding="utf-8") for path in NOTEBOOKS)
