"""How many examples a costly property test draws: few in everyday runs, twenty times as many in thorough ones."""

from __future__ import annotations

import os
from typing import Any

from hypothesis import settings


def few(everyday: int, **more: Any) -> settings:
    """Return settings for a test that is dear: the number of examples of everyday runs, and what else it needs."""
    times = 20 if os.environ.get("HYPOTHESIS_PROFILE") == "thorough" else 1
    return settings(max_examples=times * everyday, **more)
