"""What a command must not load before it answers: libraries that its answer does not need cost more than the answer."""

from __future__ import annotations

import subprocess
import sys
from importlib.resources import files

import pytest

DEMO = files("linewright.verbs.demo_data")
ALWAYS = {
    "scipy",
    "pandas",
    "sqlalchemy",
    "fastapi",
    "jinja2",
    "typst",
    "vl_convert",
    "numpy.ma",
    "numpy.testing",
    "unittest",
}
"""Masked arrays and test tools come with NumPy and SciPy only where somebody reaches for them."""
NEVER = {
    "prove": ALWAYS | {
        "importlib.resources", "tempfile", "statistics", "difflib", "platformdirs", "linewright.core.nouns.paper",
        "linewright.core.nouns.shelf", "linewright.files.one_end", "linewright.inference.history",
        "linewright.inference.one_end", "linewright.present.compose.bench_workings", "linewright.present.compose.bench",
        "linewright.present.charts",
    },
    "plan": ALWAYS | {
        "importlib.resources", "linewright.core.nouns.cut", "linewright.core.nouns.paper",
        "linewright.core.nouns.shelf", "linewright.core.nouns.sweep", "linewright.inference.one_end",
        "linewright.inference.bench.prove", "linewright.inference.history", "linewright.inference.sweep",
        "linewright.core.formulas.uncertainty", "linewright.present.compose.plan_workings",
        "linewright.verbs.changes", "linewright.verbs.report", "linewright.verbs.what_if",
    },
}  # fmt: skip
FILE = {"prove": "harbour-ridge.toml", "plan": "harbour-ridge-station.toml"}


@pytest.mark.parametrize("command", NEVER)
def test_a_command_loads_nothing_its_answer_does_not_need(command, tmp_path):
    for name in ("harbour-ridge.toml", "harbour-ridge.csv", "harbour-ridge-station.toml"):
        (tmp_path / name).write_bytes(DEMO.joinpath(name).read_bytes())
    code = f"import sys; from linewright.cli import main; main([{command!r}, {FILE[command]!r}], standalone_mode=False)"
    done = subprocess.run([sys.executable, "-c", f"{code}; print(*sys.modules, file=sys.stderr)"], cwd=tmp_path,
                          capture_output=True, text=True, check=True)  # fmt: skip
    loaded = set(done.stderr.split())
    assert "numpy" in loaded
    assert sorted(NEVER[command] & loaded) == []
