"""The door for the terminal: parse, call one verb, show, exit."""

from __future__ import annotations

from linewright.cli.main import main

__all__ = ["main"]
