"""What an answer of the shelf rests on, told by a digest: as long as that is the same, so is the answer."""

from __future__ import annotations

import hashlib

from linewright.ledger.store import written
from linewright.model.ledger import Item
from linewright.workflows.shelf_evidence import Shelved


class Marks:
    """What an answer rests on, as a digest: the piece, its evidence, its stock's, and the person's line types."""

    def __init__(self, shelf: Shelved) -> None:
        self.shelf = shelf
        self._sheets: dict[str, str] = {}

    def of(self, item: Item) -> str:
        """Return the digest of one piece."""
        shelf = self.shelf
        parts = [written(item.body), shelf.own]
        evidence = shelf.evidence(item.key)
        for e in evidence:
            parts.append(self._sheet(e.key) if e.kind == "sheet" else written(shelf.sweeps[e.key].body))
        if not evidence and (judge := shelf.judge_by_stock(item.key)):
            parts.append(self._sheet(judge))
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()

    def _sheet(self, key: str) -> str:
        if key not in self._sheets:
            rows = [written({"number": r.number, "cells": r.cells}) for r in self.shelf.kept[key]]
            self._sheets[key] = "\n".join([key, written(self.shelf.sheets[key].body), *rows])
        return self._sheets[key]
