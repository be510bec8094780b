"""Which engine works an answer out."""

from __future__ import annotations

from linewright import __version__

ENGINE = f"{__version__}/17"
"""What worked out a remembered answer: raise the last number whenever an engine or what follows from it changes."""
