"""What a chain may speak of."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from linewright.formats.tables import Table
from linewright.model.bench import Piece
from linewright.model.line import LineType
from linewright.model.station import Part
from linewright.model.sweep import Sweep

Parts = tuple[Part, ...]


@dataclass(slots=True)
class Known:
    """What a chain may speak of: pieces by tag, named parts, line types of the person's own, and sweep files.

    ``on_hand`` are the pieces of a ledger, for what neither the station nor its evidence describes. ``faulty`` are tags
    and names whose own tables are wrong and complained of; ``done`` and ``trail`` are the named parts read so far, and
    those being read.
    """

    pieces: dict[str, Piece]
    line: Callable[[Any, str], LineType]
    sweep: Callable[[str, int], Sweep]
    named: dict[str, Table] = field(default_factory=dict)
    faulty: set[str] = field(default_factory=set)
    remarks: list[str] = field(default_factory=list)
    done: dict[str, Parts] = field(default_factory=dict)
    trail: list[str] = field(default_factory=list)
    on_hand: Mapping[str, Piece] = field(default_factory=dict)

    def piece(self, tag: str) -> Piece | None:
        """Return the piece of a tag: the station's own, else the one of the ledger, which thereby joins it."""
        if tag not in self.pieces and tag in self.on_hand:
            piece = self.on_hand[tag]
            return self.pieces.setdefault(piece.tag, piece)
        return self.pieces.get(tag)
