"""What a station's evidence lets one believe of its pieces."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from zlib import crc32

from linewright.errors import CannotError
from linewright.model.belief import Belief
from linewright.model.bench import BenchSheet, Piece
from linewright.model.station import LinePart, Run, Station

Progress = Callable[[float, str], None]


@dataclass(slots=True)
class Beliefs:
    """The beliefs of a station, each sheet judged once and only when a run asks for one of its pieces."""

    station: Station
    draws: int
    progress: Progress | None = None
    _by_sheet: dict[str, Mapping[str, Belief]] = field(default_factory=dict)

    def of_run(self, run: Run) -> tuple[Run, dict[str, Belief]]:
        """Return a run whose pieces have the types found for them, and the beliefs of its pieces by tag.

        Raises
        ------
        CannotError
            If a piece's evidence is of a kind that cannot be judged yet.
        """
        found: dict[str, Belief] = {}
        chain = list(run.chain)
        for i, part in enumerate(chain):
            if isinstance(part, LinePart):
                belief = self._of_piece(part)
                if belief is not None:
                    found[part.piece.tag] = belief
                    chain[i] = replace(part, piece=belief.piece, measured=True)
        return replace(run, chain=tuple(chain)), found

    def _of_piece(self, part: LinePart) -> Belief | None:
        """Return the belief of a piece as long as it is in its run; None where the catalogue's says it all."""
        piece = part.piece
        if not part.measured:
            return _new(piece, self.draws) if piece.connectors and piece.line else None
        if any(e.piece == piece.tag for e in self.station.sweeps):
            raise CannotError(f"A sweep cannot yet be made into a belief of {piece.tag}. Take it out of the evidence.")
        sheet = next((n for n, s in self.station.sheets.items() if piece.tag in {p.tag for p in s.pieces}), None)
        if sheet is None:
            return _new(piece, self.draws) if piece.line else None
        belief = self._judged(sheet)[piece.tag]
        return replace(belief, piece=replace(belief.piece, length_m=piece.length_m))

    def _judged(self, name: str) -> Mapping[str, Belief]:
        from linewright.evidence.bench import beliefs_of

        if name not in self._by_sheet:
            sheet: BenchSheet = self.station.sheets[name]
            self._by_sheet[name] = beliefs_of(sheet, progress=self.progress)
        return self._by_sheet[name]


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
    basis = f"{belief.basis}, with sound connectors" if piece.connectors else belief.basis
    return replace(belief, connector_db_per_sqrt_mhz=ends, basis=basis)
