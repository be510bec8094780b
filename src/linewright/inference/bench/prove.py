"""The bench engine: what crude readings really say about each cable, each meter and each other."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from linewright.catalogue.cautions import VERBS, cautions_of
from linewright.core.arrays import Floats
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import BenchSheet, Piece
from linewright.core.nouns.bench_result import (
    BenchResult,
    GrowthFinding,
    Lacking,
    LossFinding,
    MeterFinding,
    PieceFinding,
    Working,
)
from linewright.inference.bench.causes import OF_THE_CLAIM
from linewright.inference.bench.doubts import reading_findings
from linewright.inference.bench.findings import (
    belief_of,
    growth_finding,
    loss_findings,
    predictions,
    strand_draws,
)
from linewright.inference.bench.next_reading import LossDraws, LossesInDoubt, next_readings
from linewright.inference.bench.observations import BESIDE, Block, blocks_of, typed_by_stock
from linewright.inference.bench.pieces import SheetMessages, messages_in, posterior_of, with_one_end
from linewright.inference.bench.posterior import Posterior
from linewright.inference.bench.remarks import remarks
from linewright.inference.bench.search import Progress
from linewright.inference.bench.trust import meter_findings
from linewright.inference.bench.verdicts import piece_finding
from linewright.inference.priors import DEFAULT, Priors

Explain = Callable[
    [Posterior, list[Block], tuple[LossFinding, ...], tuple[MeterFinding, ...], dict[str, Belief]], tuple[Working, ...]
]


def prove(
    sheet: BenchSheet,
    *,
    progress: Progress | None = None,
    priors: Priors = DEFAULT,
    explain: Explain | None = None,
    known: Mapping[str, Belief] = MappingProxyType({}),
    lacking: Collection[Lacking] = (),
) -> BenchResult:
    """Prove every piece on a bench sheet.

    Parameters
    ----------
    sheet : BenchSheet
        Meters, pieces and readings, as written down.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done, for benches large enough to wait for.
    priors : Priors
        What is believed before the first reading.
    explain : callable, optional
        Writes down how every figure was worked out. The figures are the same without.
    known : mapping
        Beliefs by tag that hold the tests of other days as well as this sheet: losses, verdicts and predictions of
        these pieces are read from them.
    lacking : collection of str
        Gear that nobody has: no reading is proposed that needs it.

    Returns
    -------
    BenchResult
        Losses with 95 % intervals, verdicts, readings and meters to doubt, and what to measure next. The same sheet
        always gives the same answer.
    """
    return _judged(sheet, _How(progress, priors, explain, known, lacking))[0]


def prove_and_tell(
    sheet: BenchSheet,
    *,
    progress: Progress | None = None,
    explain: Explain | None = None,
    lacking: Collection[Lacking] = (),
) -> tuple[BenchResult, SheetMessages]:
    """Prove every piece on a bench sheet, and return with it what the sheet says to other days: judged once for both.

    The parameters are those of ``prove``; the messages are those of ``pieces.messages_of``.
    """
    result, post, beliefs = _judged(sheet, _How(progress, explain=explain, lacking=lacking))
    return result, messages_in(post, beliefs)


class _How(NamedTuple):
    """How a sheet is judged; see ``prove``."""

    progress: Progress | None = None
    priors: Priors = DEFAULT
    explain: Explain | None = None
    known: Mapping[str, Belief] = MappingProxyType({})
    lacking: Collection[Lacking] = ()


def _judged(sheet: BenchSheet, how: _How) -> tuple[BenchResult, Posterior, dict[str, Belief]]:
    """Return what a sheet says, all that is believed of it, and what is believed of each of its pieces."""
    progress, priors, explain, known, lacking = how
    cautions = cautions_of("prove", *(VERBS["one-end"] if sheet.one_end else ()))
    sheet, typed = typed_by_stock(with_one_end(sheet, priors))
    blocks = blocks_of(sheet)
    post = posterior_of(sheet, blocks, priors, progress)
    strands = _of_all_days(post, strand_draws(post), known)
    beliefs = {p.tag: known.get(p.tag) or belief_of(post, p) for p in sheet.pieces}
    readings = reading_findings(post, blocks)
    meters = meter_findings(post, blocks, readings)
    found = loss_findings(post, blocks, strands)
    pieces = tuple(piece_finding(post, p, strands, beliefs[p.tag]) for p in sheet.pieces)
    doubt = LossesInDoubt(post, strands, found, {p.piece for p in pieces if p.verdict == "cannot tell"})
    result = BenchResult(
        title=sheet.title,
        losses=found,
        pieces=pieces,
        readings=tuple(r for r in readings if r.meter != BESIDE),
        meters=meters,
        predictions=predictions(post, beliefs),
        next=next_readings(post, blocks, LossDraws(post, beliefs, strands), doubt, lacking),
        cautions=cautions,
        remarks=(*remarks(post, blocks, found), *typed),
        workings=explain(post, blocks, found, meters, beliefs) if explain else (),
        growth=tuple(_growth(post, p, beliefs[p.tag], f) for p, f in zip(sheet.pieces, pieces, strict=True)),
    )
    return result, post, beliefs


def _of_all_days(post: Posterior, strands: Floats, known: Mapping[str, Belief]) -> Floats:
    """Return draws of every strand's loss, those of pieces that are known from other days as well read from that."""
    if not known:
        return strands
    out, s = strands.copy(), post.lay.strands
    for i, piece in enumerate(post.lay.sheet.pieces):
        if piece.tag in known and (mine := np.flatnonzero(s.piece == i)).size:
            out[:, mine] = known[piece.tag].loss_db(s.frequency_hz[mine]).T
    return out


def _growth(post: Posterior, piece: Piece, belief: Belief, found: PieceFinding) -> GrowthFinding:
    strands, at = post.lay.strands, post.lay.sheet.pieces.index(piece)
    causes = [(found.cause, found.p or 0.0), *((c.cause, c.p) for c in found.rivals)]
    other = sum(p for cause, p in causes if cause in OF_THE_CLAIM)
    return growth_finding(belief, [float(f) for f in strands.frequency_hz[strands.piece == at]], max(0.0, 1.0 - other))
