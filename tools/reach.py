"""A plugin of pytest that writes down which functions of a room each test calls, and how long it takes.

``tools/mutants.py`` runs the tests of a room with it once: a change in a function is tried on the tests that call it.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from collections.abc import Generator
from pathlib import Path
from types import FrameType

import pytest

ROOM = os.environ.get("REACH_ROOM", "")
called: dict[str, list[str]] = {}
took: dict[str, float] = {}
now: set[str] = set()


def _note(frame: FrameType, event: str, _: object) -> None:
    code = frame.f_code
    if code.co_filename.startswith(ROOM):
        now.add(f"{code.co_filename[len(ROOM) :].lstrip(os.sep)}:{code.co_qualname}")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Generator[None, object, object]:
    """Listen to every call while a test and its fixtures run."""
    now.clear()
    sys.settrace(_note)
    threading.settrace(_note)
    try:
        return (yield)
    finally:
        sys.settrace(None)
        threading.settrace(None)
        called[item.nodeid] = sorted(now)


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Add up what a test took."""
    took[report.nodeid] = took.get(report.nodeid, 0.0) + report.duration


def pytest_sessionfinish() -> None:
    """Write both down."""
    Path(os.environ["REACH_FILE"]).write_text(json.dumps({"called": called, "took": took}), encoding="utf-8")
