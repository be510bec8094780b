"""How the tests knock: the command in this process, or as a person runs it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from click.testing import CliRunner, Result

from linewright.cli import main

DATA = Path(__file__).parents[2] / "src" / "linewright" / "verbs" / "demo_data"
DEMO_SHEET = DATA / "harbour-ridge.toml"


def ask(*words: str) -> Result:
    """Run the command here."""
    return CliRunner().invoke(main, list(words))


def run(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the command as a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "linewright", *words],
        capture_output=True,
        encoding="utf-8",
        check=False,
        env={**os.environ, "PYTHONIOENCODING": "utf-8", **environment},
    )


def words_of(text: str) -> str:
    """Return a text on one line, as if it had never been wrapped."""
    return " ".join(text.split())
