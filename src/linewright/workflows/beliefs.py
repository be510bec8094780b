"""What a station's evidence lets one believe of its pieces."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from zlib import crc32

from linewright.model.belief import Belief
from linewright.model.bench import BenchSheet, Piece
from linewright.model.station import LinePart, Run, Station
from linewright.units.said import say
from linewright.workflows.shelf_words import by_its_stock
from linewright.workflows.sweep_beliefs import beyond, sweep_beliefs, together

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
    _by_sheet: dict[str, Mapping[str, Belief]] = field(default_factory=dict)
    _by_piece: dict[str, list[Belief]] = field(default_factory=dict)

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
        known = self._of_piece(piece.tag) if part.measured else []
        if known:
            sweeps = [e for e in self.station.sweeps if e.piece == piece.tag]
            belief, said = together(known, sweeps, frequencies_hz)
            self._say(said, beyond(sweeps, frequencies_hz))
            return replace(belief, piece=replace(belief.piece, length_m=piece.length_m))
        if part.measured:
            self._say(
                say("Nothing was measured of {piece}: it is taken as new, with sound connectors.", piece=piece.tag)
            )
        return _new(piece, self.draws) if piece.line and (part.measured or piece.connectors) else None

    def _say(self, *sentences: str) -> None:
        self.remarks |= dict.fromkeys(s for s in sentences if s)

    def _of_piece(self, tag: str) -> list[Belief]:
        """Return every belief there is of a piece on hand."""
        if tag not in self._by_piece:
            sweeps = [e for e in self.station.sweeps if e.piece == tag]
            sheets = [name for name, sheet in self.station.sheets.items() if tag in {p.tag for p in sheet.pieces}]
            judges = sheets or ([] if sweeps else self._of_stock(tag))
            found = [self._judged(name)[tag] for name in judges]
            self._by_piece[tag] = [*found, *(sweep_beliefs(self.station.pieces[tag], sweeps) if sweeps else [])]
        return self._by_piece[tag]

    def _judged(self, name: str) -> Mapping[str, Belief]:
        from linewright.evidence.bench import beliefs_of

        if name not in self._by_sheet:
            sheet = self.station.sheets[name]
            whole = replace(sheet, pieces=(*sheet.pieces, *self._cousins(sheet)))
            self._by_sheet[name] = beliefs_of(whole, progress=self.progress)
        return self._by_sheet[name]

    def _of_stock(self, tag: str) -> list[str]:
        """Return the sheet that judges a piece by the rest of its stock, if there is one."""
        piece = self.station.pieces[tag]
        found = [name for name, sheet in self.station.sheets.items() if piece in self._cousins(sheet)]
        if found:
            self._say(by_its_stock(tag, piece.stock))
        return found[:1]

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
