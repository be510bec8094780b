"""What a station's evidence lets one believe of its pieces."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING
from zlib import crc32

from linewright.model.belief import Belief
from linewright.model.bench import BenchSheet, Piece
from linewright.model.station import LinePart, Run, Station
from linewright.units.said import say
from linewright.workflows.shelf_words import by_its_stock
from linewright.workflows.sweep_beliefs import beyond, looked_at, sweep_beliefs, together

if TYPE_CHECKING:
    from linewright.workflows.shelf_combine import OneTest

Progress = Callable[[float, str], None]


@dataclass(slots=True)
class Beliefs:
    """The beliefs of a station, each sheet and sweep judged once and only when a run asks for one of its pieces.

    ``remarks`` gathers what should be said of the evidence.
    """

    station: Station
    draws: int
    progress: Progress | None = None
    remarks: dict[str, None] = field(default_factory=dict)
    _by_sheet: dict[tuple[str, bool], Mapping[str, Belief]] = field(default_factory=dict)
    _by_piece: dict[str, tuple[Belief | None, tuple[str, ...]]] = field(default_factory=dict)

    def of_run(self, run: Run) -> tuple[Run, dict[str, Belief]]:
        """Return a run whose pieces have the types found for them, and the beliefs of its pieces by tag.

        Raises
        ------
        InputError
            If a sweep cannot be read as one of a cable.
        """
        found: dict[str, Belief] = {}
        chain = list(run.chain)
        for i, part in enumerate(chain):
            if isinstance(part, LinePart):
                belief = self._of_part(part, run.frequencies_hz)
                if belief is not None:
                    found[part.piece.tag] = belief
                    chain[i] = replace(part, piece=belief.piece, measured=True)
        return replace(run, chain=tuple(chain)), found

    def _of_part(self, part: LinePart, frequencies_hz: Sequence[float]) -> Belief | None:
        """Return the belief of a piece as long as it is in its run; None where the catalogue's says it all."""
        piece = part.piece
        belief, said = self._of_piece(piece.tag) if part.measured else (None, ())
        if belief is not None:
            sweeps = [e for e in self.station.sweeps if e.piece == piece.tag]
            self._say(*said, beyond(sweeps, frequencies_hz))
            return replace(belief, piece=replace(belief.piece, length_m=piece.length_m))
        if part.measured:
            self._say(
                say("Nothing was measured of {piece}: it is taken as new, with sound connectors.", piece=piece.tag)
            )
        return _new(piece, self.draws) if piece.line and (part.measured or piece.connectors) else None

    def _say(self, *sentences: str) -> None:
        self.remarks |= dict.fromkeys(s for s in sentences if s)

    def _of_piece(self, tag: str) -> tuple[Belief | None, tuple[str, ...]]:
        """Return what is believed of a piece on hand, None where nothing was measured, and what to say of it."""
        if tag not in self._by_piece:
            kept = self.station.beliefs.get(tag)
            self._by_piece[tag] = (kept.belief, kept.remarks) if kept else self._of_files(tag)
        return self._by_piece[tag]

    def _of_files(self, tag: str) -> tuple[Belief | None, tuple[str, ...]]:
        tests = self._tests(tag)
        if tests:
            belief, said = together(tests)
            return belief, (said,)
        judge = self._of_stock(tag)
        if judge is None:
            return None, ()
        return self._judged(judge)[tag], (by_its_stock(tag, self.station.pieces[tag].stock),)

    def _tests(self, tag: str) -> list[OneTest]:
        """Return what each sheet and sweep says of a piece, in the order the station names them."""
        from linewright.workflows.shelf_combine import OneTest

        sheets = [name for name, sheet in self.station.sheets.items() if tag in {p.tag for p in sheet.pieces}]
        sweeps = [e for e in self.station.sweeps if e.piece == tag]
        swept = sweep_beliefs(self.station.pieces[tag], sweeps) if sweeps else []
        alone = len(sheets) + len(swept) == 1
        found = []
        for name in sheets:
            looked = looked_at(self.station.sheets[name])[tag]
            if alone or len(looked):
                before = None if alone else self._judged(name, before=True)[tag]
                found.append(OneTest(0.0, looked, self._judged(name)[tag], before))
        return found + [OneTest(0.0, looked, belief) for belief, looked in swept]

    def _judged(self, name: str, *, before: bool = False) -> Mapping[str, Belief]:
        """Return what a sheet lets one believe of its pieces, or what was believed before its readings."""
        from linewright.evidence.bench import beliefs_of

        if (name, before) not in self._by_sheet:
            sheet = self.station.sheets[name]
            whole = replace(sheet, pieces=(*sheet.pieces, *self._cousins(sheet)))
            if before:
                whole = replace(whole, readings=(), one_end=())
            self._by_sheet[name, before] = beliefs_of(whole, progress=self.progress)
        return self._by_sheet[name, before]

    def _of_stock(self, tag: str) -> str | None:
        """Return the sheet that judges a piece by the rest of its stock, if there is one."""
        piece = self.station.pieces[tag]
        return next((name for name, sheet in self.station.sheets.items() if piece in self._cousins(sheet)), None)

    def _cousins(self, sheet: BenchSheet) -> list[Piece]:
        """Return the pieces that no sheet speaks of, though this one speaks of their stock."""
        spoken = {p.tag for s in self.station.sheets.values() for p in s.pieces}
        stocks = {p.stock for p in sheet.pieces if p.stock}
        return [p for tag, p in self.station.pieces.items() if tag not in spoken and p.stock in stocks]


def _new(piece: Piece, draws: int) -> Belief:
    """Return what is believed of a piece nobody measured: its type's law, and sound connectors.

    Lines of one type share their draws: what is doubtful in all of them is the same published table.
    """
    import numpy as np

    from linewright.catalogue.belief import catalogue_belief
    from linewright.evidence.findings import connectors_db
    from linewright.evidence.priors import DEFAULT

    assert piece.line is not None
    belief = catalogue_belief(piece, draws, seed=crc32(piece.line.designator.encode()))
    ends = np.full(draws, connectors_db(piece, 1e6, DEFAULT))
    basis = belief.basis
    if piece.connectors:
        basis = say("catalogue, with sound connectors")
    return replace(belief, connector_db_per_sqrt_mhz=ends, basis=basis)
