"""The bench engine: what crude readings really say about each cable, each meter and each other."""

from __future__ import annotations

from linewright.catalogue.cautions import VERBS, cautions_of
from linewright.evidence.doubts import reading_findings
from linewright.evidence.findings import belief_of, loss_findings, predictions, strand_draws
from linewright.evidence.from_one_end import with_one_end
from linewright.evidence.growth import growth_finding
from linewright.evidence.layout import lay_out
from linewright.evidence.next_reading import next_readings
from linewright.evidence.observations import Block, blocks_of
from linewright.evidence.posterior import Posterior, infer
from linewright.evidence.priors import DEFAULT, Priors
from linewright.evidence.remarks import remarks
from linewright.evidence.settle import Progress
from linewright.evidence.stocks import typed_by_stock
from linewright.evidence.trust import meter_findings
from linewright.evidence.verdicts import piece_finding
from linewright.evidence.workings import workings
from linewright.model.belief import Belief
from linewright.model.bench import BenchSheet, Piece
from linewright.model.growth import GrowthFinding
from linewright.model.result import BenchResult


def prove(
    sheet: BenchSheet, *, progress: Progress | None = None, priors: Priors = DEFAULT, explained: bool = True
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
    explained : bool
        Whether to write down how every figure was worked out. The figures are the same without.

    Returns
    -------
    BenchResult
        Losses with 95 % intervals, verdicts, readings and meters to doubt, and what to measure next. The same sheet
        always gives the same answer.
    """
    cautions = cautions_of("prove", *(VERBS["one-end"] if sheet.one_end else ()))
    sheet, typed = typed_by_stock(with_one_end(sheet, priors))
    blocks = blocks_of(sheet)
    post = _posterior(sheet, blocks, priors, progress)
    strands = strand_draws(post, post.draws)
    beliefs = {p.tag: belief_of(post, p) for p in sheet.pieces}
    readings = reading_findings(post, blocks)
    meters = meter_findings(post, blocks, readings)
    found = loss_findings(post, blocks, strands)
    doubt = {i: r.p_wrong for i, r in enumerate(readings)}
    return BenchResult(
        title=sheet.title,
        losses=found,
        pieces=tuple(piece_finding(post, p, strands, beliefs[p.tag]) for p in sheet.pieces),
        readings=readings,
        meters=meters,
        predictions=predictions(post, beliefs),
        next=next_readings(post, blocks, beliefs, strands, doubt),
        cautions=cautions,
        remarks=(*remarks(post, blocks, found), *typed),
        workings=workings(post, blocks, found, meters, beliefs) if explained else (),
        growth=tuple(_growth(post, p, beliefs[p.tag]) for p in sheet.pieces),
    )


def beliefs_of(sheet: BenchSheet, *, progress: Progress | None = None, priors: Priors = DEFAULT) -> dict[str, Belief]:
    """Return what a bench sheet lets one believe of each of its pieces, by tag: draws, for whatever is made of them."""
    sheet, _ = typed_by_stock(with_one_end(sheet, priors))
    post = _posterior(sheet, blocks_of(sheet), priors, progress)
    return {p.tag: belief_of(post, p) for p in sheet.pieces}


def _growth(post: Posterior, piece: Piece, belief: Belief) -> GrowthFinding:
    strands, at = post.lay.strands, post.lay.sheet.pieces.index(piece)
    return growth_finding(belief, [float(f) for f in strands.frequency_hz[strands.piece == at]])


def _posterior(sheet: BenchSheet, blocks: list[Block], priors: Priors, progress: Progress | None) -> Posterior:
    return infer(lay_out(sheet, [b for b in blocks if not b.dead], priors), priors, progress)
