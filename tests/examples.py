"""How many examples a costly property test draws: few in everyday runs, many in thorough ones."""

from __future__ import annotations

import os
from typing import Any

from hypothesis import settings


def few(everyday: int, thorough: int | None = None, **more: Any) -> settings:
    """Return settings for a dear test: its examples every day, and in thorough runs, twenty times as many if untold."""
    many = thorough or 20 * everyday
    return settings(max_examples=many if os.environ.get("HYPOTHESIS_PROFILE") == "thorough" else everyday, **more)
