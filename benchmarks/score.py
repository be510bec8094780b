"""Scores of results against known truth."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from by_hand import plain_losses
from linewright.core.nouns.bench_result import BenchResult, ReadingFinding
from worlds import World

Row = NDArray[np.float64]
LOSS = (
    "truth", "loss", "low", "high", "ratio", "p11", "p125", "ratio_low", "ratio_high", "engine_hand", "plain",
    "plain_u", "alone_low", "alone_high",
)  # fmt: skip
READING = ("slip", "p_wrong", "checked", "inside")
PIECE = ("ratio", "verdict", "largest", "p11")
METER = ("exponent", "low", "high")
VERDICTS = ("good", "worn", "bad", "cannot tell")


@dataclass(slots=True)
class Tally:
    """What one or many worlds gave, as tables: columns are named by LOSS, READING, PIECE and METER."""

    losses: Row
    readings: Row
    pieces: Row
    meters: Row

    @classmethod
    def join(cls, tallies: Iterable[Tally]) -> Tally:
        """Return many tallies as one."""
        all_ = list(tallies)
        return cls(*(np.concatenate([getattr(t, n) for t in all_]) for n in cls.__slots__))

    def loss(self, name: str) -> Row:
        """Return one column of the losses."""
        return self.losses[:, LOSS.index(name)]


def _nan(value: float | None) -> float:
    return float("nan") if value is None else float(value)


def tally(world: World, result: BenchResult) -> Tally:
    """Return the tables of one world."""
    plain, truth = plain_losses(world.sheet), world.truth
    losses = []
    for f in result.losses:
        key = (f.piece, f.frequency_hz)
        if key not in truth.loss_db:
            continue
        hand = float(np.mean([h.loss_db for h in f.by_hand])) if f.by_hand else float("nan")
        losses.append(
            (truth.loss_db[key], f.loss_db, f.loss_db_low, f.loss_db_high, _nan(truth.ratio[key]), _nan(f.p_worse_1_1),
             _nan(f.p_worse_1_25), _nan(f.ratio_low), _nan(f.ratio_high), hand, *plain.get(key, (np.nan, np.nan)),
             _nan(f.without_catalogue_db_low), _nan(f.without_catalogue_db_high))
        )  # fmt: skip
    readings = [(truth.slip_db.get(r.row, 0.0), r.p_wrong, float(r.checked), _inside(r)) for r in result.readings]
    pieces = []
    for p in result.pieces:
        ratio, largest = _piece_ratio(world, p.piece)
        pieces.append((ratio, float(VERDICTS.index(p.verdict)), largest, _surest(result, p.piece)))
    meters = [
        (truth.exponent[m.meter, m.frequency_hz], _nan(m.exponent_low), _nan(m.exponent_high))
        for m in result.meters if (m.meter, m.frequency_hz) in truth.exponent
    ]  # fmt: skip
    tables = ((losses, LOSS), (readings, READING), (pieces, PIECE), (meters, METER))
    return Tally(*(np.array(rows, float).reshape(-1, len(names)) for rows, names in tables))


def _inside(r: ReadingFinding) -> float:
    """Return whether a reading lies in what the rest of the bench expects, nan where it expects nothing."""
    if r.expected_low is None or r.expected_high is None:
        return float("nan")
    return float(min(r.expected_low, r.expected_high) <= r.reading <= max(r.expected_low, r.expected_high))


def _piece_ratio(world: World, tag: str) -> tuple[float, float]:
    """Return the median and the largest true ratio of a piece."""
    ratios = [r for (t, _), r in world.truth.ratio.items() if t == tag and r is not None]
    return (float(np.median(ratios)), max(ratios)) if ratios else (float("nan"), float("nan"))


def _surest(result: BenchResult, tag: str) -> float:
    """Return the largest P(worse than 1.1x) of a piece over its bands."""
    return max((f.p_worse_1_1 for f in result.losses if f.piece == tag and f.p_worse_1_1 is not None), default=np.nan)


def auc(score: ArrayLike, positive: ArrayLike) -> float:
    """Return the chance that a positive scores above a negative, ties counting half; nan when one side is empty."""
    s, y = np.asarray(score, float), np.asarray(positive, bool)
    if y.all() or not y.any():
        return float("nan")
    _, where, counts = np.unique(s, return_inverse=True, return_counts=True)
    rank = (np.cumsum(counts) - (counts - 1) / 2)[where]
    n = int(y.sum())
    return float((rank[y].sum() - n * (n + 1) / 2) / (n * (len(y) - n)))


def coverage(truth: Row, low: Row, high: Row) -> float:
    """Return the share of intervals that hold the truth, those that exist."""
    ok = np.isfinite(truth) & np.isfinite(low) & np.isfinite(high)
    return float(((low <= truth) & (truth <= high))[ok].mean()) if ok.any() else float("nan")


def rmse(error: Row) -> float:
    """Return the root mean square."""
    return float(np.sqrt(np.mean(error**2))) if len(error) else float("nan")


def _over(a: float, b: float) -> float:
    return a / b if b > 0 else float("nan")


def _share(hit: NDArray[np.bool_], among: NDArray[np.bool_]) -> float:
    return float(hit[among].mean()) if among.any() else float("nan")


def reliability(
    t: Tally, edges: tuple[float, ...] = (0, 0.05, 0.2, 0.5, 0.8, 0.95, 1.0001)
) -> list[tuple[str, int, float, float]]:
    """Return for each band of P(worse than 1.1x): its name, how many, the mean P, and how often it was true."""
    p, worse = t.loss("p11"), t.loss("ratio") > 1.1
    out = []
    for low, high in pairwise(edges):
        inside = (p >= low) & (p < high) & np.isfinite(t.loss("ratio"))
        if inside.any():
            out.append(
                (
                    f"{low:.2f} to {min(high, 1):.2f}",
                    int(inside.sum()),
                    float(p[inside].mean()),
                    float(worse[inside].mean()),
                )
            )
    return out


def verdict_table(t: Tally, edges: tuple[float, ...] = (0.0, 1.05, 1.1, 1.25, 1.6, np.inf)) -> NDArray[np.int_]:
    """Return counts of pieces, shape (bands of true ratio, verdicts)."""
    known = t.pieces[np.isfinite(t.pieces[:, 0])]
    counts: NDArray[np.int_] = np.histogram2d(known[:, 0], known[:, 1], bins=(np.array(edges), np.arange(5) - 0.5))[
        0
    ].astype(int)
    return counts


def scores(t: Tally) -> dict[str, float]:
    """Return every score by name. A slip counts as a blunder from 0.7 dB; 0.15 to 0.7 dB counts as neither."""
    truth, loss, ratio, p11, plain = (t.loss(n) for n in ("truth", "loss", "ratio", "p11", "plain"))
    both = np.isfinite(plain) & np.isfinite(loss)
    hand, plain_u = t.loss("engine_hand"), t.loss("plain_u")
    hand_ok = both & np.isfinite(hand)
    engine, by_hand = rmse((loss - truth)[both]), rmse((plain - truth)[both])
    certain = p11 > 0.95
    out = {
        "losses": float(len(truth)),
        "readings": float(len(t.readings)),
        "coverage": coverage(truth, t.loss("low"), t.loss("high")),
        "coverage by hand": coverage(truth, plain - 1.96 * plain_u, plain + 1.96 * plain_u),
        "coverage without catalogue": coverage(truth, t.loss("alone_low"), t.loss("alone_high")),
        "coverage of ratio": coverage(ratio, t.loss("ratio_low"), t.loss("ratio_high")),
        "coverage of exponent": coverage(*t.meters.T) if len(t.meters) else float("nan"),
        "rmse": engine,
        "rmse by hand": by_hand,
        "rmse over by hand": _over(engine, by_hand),
        "rmse over own by hand": _over(rmse((loss - truth)[hand_ok]), rmse((hand - truth)[hand_ok])),
        "rmse of all": rmse((loss - truth)[np.isfinite(loss)]),
        "p95 error": float(np.percentile(np.abs(loss - truth)[both], 95)) if both.any() else float("nan"),
        "p95 error by hand": float(np.percentile(np.abs(plain - truth)[both], 95)) if both.any() else float("nan"),
        "median width": float(np.nanmedian(t.loss("high") - t.loss("low"))),
        "median width by hand": float(np.nanmedian(2 * 1.96 * plain_u)),
        "false worse, ratio to 1.10": _share(certain, ratio <= 1.1),
        "false worse, ratio to 1.05": _share(certain, ratio <= 1.05),
        "power 1.4 to 1.6": _share(certain, (ratio >= 1.4) & (ratio <= 1.6)),
        "power 1.4 to 1.6, excess over 0.2 dB": _share(certain, (ratio >= 1.4) & (ratio <= 1.6) & _excess(t, 0.2)),
        "power 1.4 to 1.6, excess over 0.5 dB": _share(certain, (ratio >= 1.4) & (ratio <= 1.6) & _excess(t, 0.5)),
        "power 1.2 to 1.3": _share(certain, (ratio >= 1.2) & (ratio <= 1.3)),
        "false worse by hand": _share(_hand_worse(t), (ratio <= 1.1) & both),
        "power 1.4 to 1.6 by hand": _share(_hand_worse(t), (ratio >= 1.4) & (ratio <= 1.6) & both),
    }
    return out | _by_piece(t) | _blunders(t)


def _by_piece(t: Tally) -> dict[str, float]:
    """Return power and false alarms by piece: a piece is found when it is found on some band."""
    ratio, verdict, largest, p11 = t.pieces.T
    return {
        "pieces": float(len(ratio)),
        "verdict worn or bad on 1.4 to 1.6": _share(np.isin(verdict, (1.0, 2.0)), (ratio >= 1.4) & (ratio <= 1.6)),
        "verdict worn or bad on good": _share(np.isin(verdict, (1.0, 2.0)), largest <= 1.1),
        "verdict good on 1.4 and above": _share(verdict == 0.0, ratio >= 1.4),
        "power 1.4 to 1.6, by piece": _share(p11 > 0.95, (ratio >= 1.4) & (ratio <= 1.6)),
        "false worse, by piece": _share(p11 > 0.95, largest <= 1.1),
    }


def _excess(t: Tally, least_db: float) -> NDArray[np.bool_]:
    """Return where the loss lies beyond the catalogue by so many decibels: where there is something to see."""
    return np.asarray(t.loss("truth") * (1 - 1 / t.loss("ratio")) > least_db)


def _hand_worse(t: Tally) -> NDArray[np.bool_]:
    """Return where the plain figure lies beyond 1.1x by more than 1.645 of its uncertainty (one-sided 95 %)."""
    limit = 1.1 * t.loss("truth") / t.loss("ratio")
    return np.asarray(t.loss("plain") - 1.645 * t.loss("plain_u") > limit)


def _blunders(t: Tally) -> dict[str, float]:
    clear = (t.readings[:, 0] >= 0.7) | (t.readings[:, 0] <= 0.15)
    slip, p, checked, inside = t.readings[clear].T
    wrong, seen = slip >= 0.7, checked > 0.5
    small = (t.readings[:, 0] > 0.15) & (t.readings[:, 0] < 0.7)
    return {
        "blunder auc, checked": auc(p[seen], wrong[seen]),
        "blunder auc, all": auc(p, wrong),
        "blunder recall": _share(p > 0.5, wrong),
        "blunder recall, checked": _share(p > 0.5, wrong & seen),
        "blunder precision": _share(wrong, p > 0.5),
        "right readings flagged": _share(p > 0.5, ~wrong),
        "small slip recall": _share(t.readings[:, 1] > 0.5, small),
        "right readings as expected": _share(inside > 0.5, ~wrong & np.isfinite(inside)),
        "wrong readings as expected": _share(inside > 0.5, wrong & np.isfinite(inside)),
        "readings checked": float(t.readings[:, 2].mean()) if len(t.readings) else float("nan"),
    }
