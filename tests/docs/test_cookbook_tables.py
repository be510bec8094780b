"""The cookbook's table goes into whichever library of tables is installed, and stays rows where none is."""

from __future__ import annotations

import re
import sys

import pytest

from demo.tool import ROOT

BLOCKS = re.findall(r"```python\n(.*?)```", (ROOT / "docs" / "cookbook.md").read_text(encoding="utf-8"), re.DOTALL)
TABLE = next(block for block in BLOCKS if "import polars" in block)


@pytest.mark.parametrize("installed", ["pandas", "polars", None])
def test_the_table_of_the_cookbook_is_made_with_what_is_installed(installed, monkeypatch):
    if installed is not None:
        pytest.importorskip(installed)
    for name in {"pandas", "polars"} - {installed}:
        monkeypatch.setitem(sys.modules, name, None)
    names: dict[str, object] = {}
    exec(TABLE, names)
    assert type(names["table"]).__module__.split(".")[0] == (installed or "builtins")
