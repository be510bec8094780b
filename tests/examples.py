"""How many examples a costly property test draws: few in everyday runs, many in thorough ones."""

from __future__ import annotations

import os
from typing import Any

from hypothesis import Phase, settings

THOROUGH = os.environ.get("HYPOTHESIS_PROFILE") == "thorough"
ASKED = (Phase.explicit, Phase.generate) if THOROUGH else (Phase.generate,)
"""How a described interface is asked: the explicit examples are schemathesis's own, some seventy for each address."""


def few(everyday: int, thorough: int | None = None, **more: Any) -> settings:
    """Return settings for a dear test: its examples every day, and in thorough runs, twenty times as many if untold."""
    many = thorough or 20 * everyday
    return settings(max_examples=many if THOROUGH else everyday, **more)
