"""What a station's evidence lets one believe of its pieces."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING
from zlib import crc32

from linewright.core import messages as words
from linewright.core.formatting import digits, frequency
from linewright.core.messages import say
from linewright.core.nouns.belief import Belief, OneTest
from linewright.core.nouns.bench import BenchSheet, Piece
from linewright.core.nouns.station import LinePart, Run, Station, SweepEvidence
from linewright.verbs.shelf_words import by_its_stock

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from linewright.core.nouns.sweep import Agreement, FarEnd, Sweep, SweepFinding
    from linewright.inference.bench.pieces import SheetMessages

    Floats = NDArray[np.float64]

# What sheets and sweeps say of a piece, and what several of them say together where no ledger dates them

MANY = 6
"""A sweep is heard at this many of its frequencies, spread evenly over the decades."""


def looked_at(sheet: BenchSheet) -> dict[str, Floats]:
    """Return the frequencies at which a sheet holds readings of each of its pieces, rising."""
    import numpy as np

    return {
        p.tag: np.array(sorted(
            {r.frequency_hz for r in sheet.readings if p.tag in r.path}
            | {r.frequency_hz for t in sheet.one_end if t.tag == p.tag for r in t.readings}
        ))
        for p in sheet.pieces
    }  # fmt: skip


def sweep_beliefs(piece: Piece, evidence: Iterable[SweepEvidence]) -> list[tuple[Belief, Floats]]:
    """Return a belief for every sweep through a piece, and one for those from an end, open and shorted together.

    Each comes with the frequencies at which it is heard.

    Raises
    ------
    InputError
        If a sweep cannot be read as one of a cable.
    """
    from linewright.inference.sweep.belief import law_belief

    return [(law_belief(finding, piece), _heard_at(sweeps)) for finding, sweeps in _findings(piece, list(evidence))]


def _findings(piece: Piece, evidence: Sequence[SweepEvidence]) -> list[tuple[SweepFinding, list[Sweep]]]:
    from linewright.inference.sweep.one_port import read_one_port
    from linewright.inference.sweep.two_port import read_two_port

    through = [e.sweep for e in evidence if e.far_end == "through"]
    from_an_end: dict[FarEnd, Sweep] = {e.far_end: e.sweep for e in evidence if e.far_end != "through"}
    found = [(read_two_port(s, length_m=piece.length_m, line=piece.line), [s]) for s in through]
    if from_an_end:
        both = read_one_port(from_an_end, length_m=piece.length_m, line=piece.line)
        found.append((both, list(from_an_end.values())))
    return found


def _heard_at(sweeps: Sequence[Sweep]) -> Floats:
    import numpy as np

    low, high = max(s.frequency_hz[0] for s in sweeps), min(s.frequency_hz[-1] for s in sweeps)
    return np.geomspace(max(low, 1e6), max(high, 1e6), MANY)


def together(tests: Sequence[OneTest]) -> tuple[Belief, str]:
    """Return one belief made of several tests of one piece, and what to say of it.

    They are joined as the tests of a ledger are (``combine.combined``). Nobody says when the files of a station
    were written, so they count as tests of one day: where they contradict each other, the likeliest cause is said and
    the joint belief is wide.
    """
    if len(tests) == 1:
        return tests[0].belief, ""
    from linewright.verbs.combine import combined

    found = combined(tests)
    basis = words.together(dict.fromkeys(t.belief.basis for t in tests), say(" and "))
    said = [say("{piece} is known from {evidence}, taken together.", piece=found.belief.piece.tag, evidence=basis)]
    said += [_contradiction(tests[i], tests[-1 if i < len(tests) - 1 else 0]) for i in found.doubted]
    if not found.doubted and len(tests) == 2:  # neither of two is likelier wrong, however far apart they are
        held = _held(*tests)
        said += [_contradiction(*tests)] if held is not None and held.contradicts else []
    return replace(found.belief, basis=basis), words.together(said)


def _contradiction(one: OneTest, other: OneTest) -> str:
    """Return that two tests contradict each other, with the likeliest cause where they can be held side by side."""
    found = _held(one, other)
    if found is None or not found.contradicts:
        return say("They contradict each other: one of them is wrong, or of another piece.")
    return say("The two contradict each other (p = {p}). {why}", p=digits(found.p_value, 1), why=found.why)


def _held(one: OneTest, other: OneTest) -> Agreement | None:
    """Return how two tests agree where both reach; None where they share no frequency."""
    from linewright.inference.sweep.belief import agree

    low = max(t.frequencies_hz[0] for t in (one, other))
    high = min(t.frequencies_hz[-1] for t in (one, other))
    shared = sorted({float(f) for t in (one, other) for f in t.frequencies_hz if 0.97 * low <= f <= 1.03 * high})
    return agree(one.belief, other.belief, shared) if shared else None


def beyond(evidence: Iterable[SweepEvidence], frequencies_hz: Sequence[float]) -> str:
    """Return what to say where a piece's sweeps do not reach over the frequencies of a run."""
    sweeps = [e.sweep for e in evidence]
    missed = [f for f in frequencies_hz if not any(s.covers(f) for s in sweeps)]
    if not sweeps or not missed:
        return ""
    names = words.together(dict.fromkeys(s.name for s in sweeps), say(" and "))
    at = words.together((frequency(f) for f in missed), ", ")
    return say("{sweeps} does not reach {frequencies}: there the law it shows is carried on.",
               sweeps=names, frequencies=at)  # fmt: skip


# What a station's evidence lets one believe of its pieces

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
    _by_sheet: dict[str, SheetMessages] = field(default_factory=dict)
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
                    factor = self.velocity_factor(part)
                    chain[i] = replace(part, piece=belief.piece, measured=True, velocity_factor=factor)
        return replace(run, chain=tuple(chain)), found

    def share(self, other: Beliefs) -> None:
        """Take over what was judged of another station that has the same pieces, sheets and sweeps, the very same."""
        mine, theirs = self.station, other.station
        if mine.sheets == theirs.sheets and mine.pieces == theirs.pieces and not (mine.sweeps or theirs.sweeps):
            self._by_sheet, self._by_piece = other._by_sheet, other._by_piece

    def velocity_factor(self, part: LinePart) -> float | None:
        """Return the velocity factor that the sweeps of a piece tell, for the length it had then; None without one."""
        tag = part.piece.tag
        sweeps = [(e.far_end, e.sweep) for e in self.station.sweeps if e.piece == tag] if part.measured else []
        whole = self.station.pieces.get(tag)
        if not sweeps or whole is None:
            return None
        from linewright.verbs.swept_line import swept_factor

        return swept_factor(whole, sweeps)

    def _of_part(self, part: LinePart, frequencies_hz: Sequence[float]) -> Belief | None:
        """Return the belief of a piece at its length in the run; None where the catalogue's is enough."""
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
        return self._judged(judge).beliefs[tag], (by_its_stock(tag, self.station.pieces[tag].stock),)

    def _tests(self, tag: str) -> list[OneTest]:
        """Return what each sheet and sweep says of a piece, in the order the station names them."""
        sheets = [name for name, sheet in self.station.sheets.items() if tag in {p.tag for p in sheet.pieces}]
        sweeps = [e for e in self.station.sweeps if e.piece == tag]
        swept = sweep_beliefs(self.station.pieces[tag], sweeps) if sweeps else []
        alone = len(sheets) + len(swept) == 1
        found = []
        for name in sheets:
            said, looked = self._judged(name), looked_at(self.station.sheets[name])[tag]
            if alone or tag in said.losses:
                frequencies_hz, log_loss = looked, None
                if tag in said.losses:
                    frequencies_hz, *pair = said.losses[tag]
                    log_loss = (pair[0], pair[1])
                found.append(
                    OneTest(0.0, frequencies_hz, said.beliefs[tag], None, log_loss, doubt=said.doubts.get(tag))
                )
        return found + [OneTest(0.0, looked, belief) for belief, looked in swept]

    def _judged(self, name: str) -> SheetMessages:
        """Return what a sheet says of its pieces."""
        from linewright.inference.bench.pieces import messages_of

        if name not in self._by_sheet:
            sheet = self.station.sheets[name]
            whole = replace(sheet, pieces=(*sheet.pieces, *self._cousins(sheet)))
            self._by_sheet[name] = messages_of(whole, progress=self.progress)
        return self._by_sheet[name]

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
    from linewright.inference.bench.findings import connectors_db
    from linewright.inference.priors import DEFAULT

    assert piece.line is not None
    belief = catalogue_belief(piece, draws, seed=crc32(piece.line.designator.encode()))
    ends = np.full(draws, connectors_db(piece, 1e6, DEFAULT))
    basis = belief.basis
    if piece.connectors:
        basis = say("catalogue, with sound connectors")
    return replace(belief, connector_db_per_sqrt_mhz=ends, basis=basis)
