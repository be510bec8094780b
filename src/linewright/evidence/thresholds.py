"""From where on a verdict is given, and how sure one must be of it."""

from __future__ import annotations

SURE, HARDLY = 0.95, 0.05
SECOND_LOOK, WORN, BAD, IMPOSSIBLE = 1.25, 1.1, 1.5, 0.8
"""Multiples of the type's loss: from 1.25 look twice, from 1.5 no home-station cable (common practice, no source)."""
