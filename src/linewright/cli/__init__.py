"""The door for the terminal: parse, call one verb, show, exit."""

from __future__ import annotations

from linewright.cli.door import main

__all__ = ["main"]
