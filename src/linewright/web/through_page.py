"""The antenna behind a line, and a line with one end in hand: their documents' words, with figures that open."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from linewright.core.nouns.bench_result import Key, Working
from linewright.core.nouns.one_end import OneEndLoss, OneEndResult
from linewright.core.nouns.through import ThroughResult
from linewright.core.quantities import loss_ratio_db
from linewright.files.curve import step_of
from linewright.present.compose import one_end, through
from linewright.present.compose.through_words import flat_remark, point_workings
from linewright.web.drawing import bar
from linewright.web.through_drawing import Squeeze, Telling, headline, hidden, reach_of, squeeze, tellings
from linewright.web.workings import Opens, OpenTable, open_table

OF_FIGURE: dict[through.Figure, Key] = {
    "swr": ("antenna SWR",), "return loss": ("return loss",), "impedance": ("impedance",), "best swr": ("best SWR",),
    "width": ("width",),
}  # fmt: skip
"""The working that each figure opens to."""


@dataclass(frozen=True, slots=True)
class ThroughShown:
    """The antenna behind a line; ``flat`` is empty where the curve is not too flat to be true."""

    verdict: str
    figures: OpenTable
    curve: OpenTable
    flat: str
    alternatives: tuple[str, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class OneEndShown:
    """What a line with one end in hand loses."""

    verdict: str
    losses: OpenTable
    readings: OpenTable
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class BothEnds:
    """A reading seen through a line, drawn: the answer, what would tell more, and where one goes from here."""

    headline: str
    reach: str
    hidden: str
    drawn: Squeeze
    tellings: tuple[Telling, ...]
    run: str
    piece: str


def sentence_of(given: Mapping[str, str]) -> dict[str, str]:
    """Return what the sentence holds: of piece, run, type and stated loss only the one that it speaks of."""
    told = dict(given)
    behind = told["behind"] or ("loss:" if told["loss"] else "type:" if told["line"] or told["length"] else "")
    told["behind"] = behind
    if behind != "loss:":
        told["loss"] = ""
    if behind != "type:":
        told["line"] = told["length"] = ""
    return told


def both_ends(
    r: ThroughResult, given: Mapping[str, str], kept: Sequence[tuple[str, str]],
    ask: Callable[[Mapping[str, str]], ThroughResult],
) -> BothEnds:  # fmt: skip
    """Return a reading seen through a line as its page draws it."""
    leak = (
        10 ** (-loss_ratio_db(given["directivity"], "directivity") / 20) if given["directivity"] else 10 ** (-25 / 20)
    )
    step = float(given["step"].replace(",", ".")) if given["step"] else step_of(given["shack_swr"])
    others = [pair for pair in kept if pair[0] != given["behind"] and pair[0].startswith("piece:")]

    def there(told: Mapping[str, str]) -> str:
        return f"/sweeps/through?{urlencode({k: v for k, v in told.items() if v})}"

    kind, _, name = given["behind"].partition(":")
    return BothEnds(
        headline(r), reach_of(r.antenna_swr), hidden(r), squeeze(r, step, leak),
        tuple(tellings(r, ask, given, there, others)),
        name if kind == "run" else "", name if kind == "piece" else "",
    )  # fmt: skip


def through_shown(r: ThroughResult) -> ThroughShown:
    """Return what stands behind a line, as its page shows it."""
    flat = r.flat_warning if r.flat_warning is not None and r.flat_warning.is_flat else None
    keys: list[tuple[Key, ...]] = [((), (), OF_FIGURE[of]) for of, *_ in through.named_figures(r)]
    return ThroughShown(
        r.verdict, open_table(through.figures(r), r.workings, keys), _curve(r),
        flat.why if flat else "", flat.alternatives if flat else (), r.cautions,
        tuple(said for said in r.remarks if not (flat and said == flat_remark(r))), r.workings,
    )  # fmt: skip


def _curve(r: ThroughResult) -> OpenTable:
    """Return the curve; each point opens to workings of its own."""
    bare = open_table(through.curve(r), (), ())
    rows = []
    for row, point in zip(bare.rows, through.curve_points(r), strict=True):
        at, radio, *figures = row.cells
        worked = (Opens(f.words, (w,)) for f, w in zip(figures, point_workings(point), strict=True))
        rows.append(replace(row, cells=(at, radio, *worked)))
    return replace(bare, rows=tuple(rows))


def one_end_shown(result: OneEndResult) -> OneEndShown:
    """Return what a test with one end in hand says, as its page shows it."""
    top = max((x.loss_db_high for x in result.losses), default=1.0)
    bars = [bar(x.loss_db, x.loss_db_low, x.loss_db_high, top) for x in result.losses]
    losses = [_of_loss(x) for x in result.losses]
    readings: list[tuple[Key, ...]] = [((), (), (), (), (), *[("reading", c.row)] * 2) for c in result.readings]
    return OneEndShown(
        one_end.verdict(result), open_table(one_end.losses(result), result.workings, losses, bars, drawn=1),
        open_table(one_end.readings(result), result.workings, readings),
        result.remarks, result.cautions, result.workings,
    )  # fmt: skip


def _of_loss(x: OneEndLoss) -> tuple[Key, ...]:
    kinds = ("loss", "mean by hand", "arrives", "should lose", "times")
    return (), *((kind, x.frequency_hz) for kind in kinds)
