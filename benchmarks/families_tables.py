"""Scores of made-up benches as markdown tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from bench_families_score import Score

BINS = (0.0, 0.05, 0.2, 0.5, 0.8, 0.95, 1.0)
SLIP_DB, NOTHING_DB = 0.3, 0.1
"""A slip counts from the first; what is off by less than the second is none; what lies between counts neither way."""


def share(hits: Iterable[bool], digits: int = 2) -> str:
    """Return a share with its count: ".93 (41)"; a dash where there is nothing to count."""
    found = list(hits)
    return f"{np.mean(found):.{digits}f} ({len(found)})" if found else "-"


def clustered(groups: Sequence[Sequence[bool]]) -> tuple[float, float]:
    """Return a share over all groups and its standard error over groups."""
    sizes = np.array([len(g) for g in groups], float)
    hits = np.array([sum(g) for g in groups], float)
    if sizes.sum() == 0:
        return float("nan"), float("nan")
    p = hits.sum() / sizes.sum()
    return float(p), float(np.sqrt(np.sum((hits - p * sizes) ** 2)) / sizes.sum())


def rms(values: Sequence[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if len(values) else float("nan")


def _to_hand(scores: Sequence[Score], *, slips: bool) -> str:
    pairs = [(x["error"], x["hand"]) for s in scores if s.slips == slips for x in s.losses if x["hand"] is not None]
    return f"{rms([e for e, _ in pairs]) / rms([h for _, h in pairs]):.2f}" if pairs else "-"


def auc(p: Sequence[float], wrong: Sequence[bool]) -> float:
    """Return the chance that a wrong reading is ranked above a right one, ties counted half."""
    p, w = np.asarray(p, float), np.asarray(wrong, bool)
    if not w.any() or w.all():
        return float("nan")
    order = np.argsort(p, kind="stable")
    ranks = np.empty(len(p))
    ranks[order] = np.arange(1, len(p) + 1)
    for value in np.unique(p):
        ranks[p == value] = ranks[p == value].mean()
    n = w.sum()
    return float((ranks[w].sum() - n * (n + 1) / 2) / (n * (len(p) - n)))


def _row(cells: Iterable[Any]) -> str:
    return "| " + " | ".join(str(c) for c in cells) + " |"


def markdown_table(heads: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    return "\n".join([_row(heads), _row("---" for _ in heads), *(_row(r) for r in rows)])


def number(value: float, digits: int = 3) -> str:
    return "-" if np.isnan(value) else f"{value:.{digits}f}"


def _power(pieces: Sequence[dict[str, Any]]) -> str:
    return share(p["verdict"] in ("worn", "bad") for p in pieces if 1.4 <= p["middle"] <= 1.6)


LOSS_HEADS = (
    "family", "benches", "losses", "coverage", "se", "bias dB", "median width dB", "RMSE / by hand, no slips",
    "with slips", "false worse", "power 1.4-1.6", "with a witness", "and above 3 dB",
    "cannot tell", "exponents covered",
)  # fmt: skip


def loss_row(name: str, scores: Sequence[Score]) -> list[str]:
    """Return what one family shows of losses and verdicts."""
    losses = [x for s in scores for x in s.losses]
    pieces = [p for s in scores for p in s.pieces]
    covered, se = clustered([[x["in"] for x in s.losses] for s in scores])
    errors, widths = [x["error"] for x in losses], [x["width"] for x in losses]
    return [
        name, str(len(scores) - sum(bool(s.refused) for s in scores)), str(len(losses)), number(covered), number(se),
        f"{np.mean(errors):+.3f}" if errors else "-", number(float(np.median(widths)), 2) if widths else "-",
        _to_hand(scores, slips=False), _to_hand(scores, slips=True),
        share((p["verdict"] in ("worn", "bad") for p in pieces if p["within"]), 3),
        _power(pieces),
        _power([p for p in pieces if p["witness"]]),
        _power([p for p in pieces if p["witness"] and p["most_db"] > 3]),
        share(p["verdict"] == "cannot tell" for p in pieces),
        share(x for s in scores for x in s.exponents),
    ]  # fmt: skip


SLIP_HEADS = (
    "family", "readings", "slips from 0.3 dB", "AUC", "found", "precision above .5", "named right", "quotes right",
    "piece's cause right", "wrong type or length named", "falsely named",
)  # fmt: skip


def slip_row(name: str, scores: Sequence[Score]) -> list[str]:
    """Return what one family shows of readings, quotes and causes."""
    readings = [r for s in scores for r in s.readings if r["off"] >= SLIP_DB or r["off"] < NOTHING_DB]
    wrong = [r["off"] >= SLIP_DB for r in readings]
    flagged = [r for r in readings if r["p"] > 0.5]
    pieces = [p for s in scores for p in s.pieces]
    claims = ("other type", "other impedance", "other length")
    matters = [p for p in pieces if p["cause"] in claims and not 0.8 < p["off"] < 1.25]
    return [
        name, str(len(readings)), str(sum(wrong)), number(auc([r["p"] for r in readings], wrong)),
        share(r["p"] > 0.5 for r in readings if r["off"] >= SLIP_DB),
        share(r["off"] >= SLIP_DB for r in flagged),
        share(r["first"] == r["kind"] for r in flagged if r["off"] >= SLIP_DB),
        share(q for s in scores for q in s.quotes),
        share(p["first"] == p["cause"] for p in pieces if p["cause"] not in ("none", "wear", *claims)),
        share(p["length"] if p["cause"] == "other length" else p["type"] for p in matters),
        share((p["type"] or p["length"] for p in pieces if p["cause"] not in claims), 3),
    ]  # fmt: skip


def bins_table(pairs: Sequence[tuple[float, bool]], name: str) -> str:
    """Return a reliability table of probabilities against what was true."""
    rows = []
    for low, high in pairwise(BINS):
        inside = [(p, t) for p, t in pairs if low <= p < high or (high == 1.0 and p == 1.0)]
        if inside:
            said, true = np.mean([p for p, _ in inside]), np.mean([t for _, t in inside])
            se = np.sqrt(max(true * (1 - true), said * (1 - said)) / len(inside))
            rows.append((f"{low:g} to {high:g}", len(inside), f"{said:.3f}", f"{true:.3f}", f"{se:.3f}"))
    return markdown_table((name, "count", "said", "true", "se"), rows)


ADVICE_HEADS = ("family", "benches", "nothing proposed", "before", "advised", "random", "advised / random (se)",
                "narrowing / promised")  # fmt: skip


def advice_row(name: str, scores: Sequence[Score]) -> list[str]:
    """Return what following the advice was worth: mean log errors before, with it, and with random readings.

    The error of their ratio is that of a ratio estimate over benches (Cochran, Sampling Techniques, 3rd ed., 2.11, from
    memory).
    """
    told = [s.advice for s in scores if s.advice]
    promises = [p for s in scores for p in s.promises]
    middle = f"{np.median(promises):.2f} ({len(promises)})" if promises else "-"
    silent = str(sum(1 for advice in told if not advice["taken"]))
    if not told:
        return [name, "0", silent, "-", "-", "-", "-", middle]
    before, advised, random = (np.array([a[key] for a in told]) for key in ("before", "advised", "random"))
    means = [f"{x.mean():.3f}" for x in (before, advised, random)]
    ratio = advised.mean() / random.mean()
    se = np.std(advised - ratio * random) / random.mean() / np.sqrt(len(told))
    return [name, str(len(told)), silent, *means, f"{ratio:.2f} ({se:.2f})", middle]


def tables(scores: Sequence[Score], names: Sequence[str], heading: str) -> str:
    """Return every table, one family a row and all together."""
    groups = [(name, [s for s in scores if s.family == name]) for name in names]
    groups.append(("all", list(scores)))
    refused = sorted({f"{s.family}: {s.refused}" for s in scores if s.refused})
    readings = [r for s in scores for r in s.readings if r["off"] >= SLIP_DB or r["off"] < NOTHING_DB]
    losses = [x for s in scores for x in s.losses if x["p"] is not None]
    seconds = [s.seconds for s in scores if s.seconds]
    parts = [
        "# Families of benches", "", heading + ". What is counted stands in `bench_families_score.py`.", "",
        "## Losses and verdicts", "", markdown_table(LOSS_HEADS, [loss_row(n, g) for n, g in groups]), "",
        "## Readings, quotes and causes", "", markdown_table(SLIP_HEADS, [slip_row(n, g) for n, g in groups]), "",
        "## Probabilities", "", bins_table([(r["p"], r["off"] >= SLIP_DB) for r in readings], "a reading is wrong"), "",
        bins_table([(x["p"], x["worse"]) for x in losses], "a loss is above 1.1 times"), "",
        "## What to read next",
        "", "Three advised pairs against three random ones, on benches that leave a loss open: the mean of",
        "|ln(loss / truth)| over the losses left open before. A promise kept is 1.", "",
        markdown_table(ADVICE_HEADS, [advice_row(n, g) for n, g in groups]), "",
    ]  # fmt: skip
    parts += [f"Refused, {len([s for s in scores if s.refused])} benches:", ""] if refused else []
    parts += [f"- {text}" for text in refused[:4]]
    parts += (
        [
            "",
            f"Median time to prove on a machine with other work {np.median(seconds):.2f} s, most {max(seconds):.1f} s.",
        ]
        if seconds
        else []
    )
    return "\n".join(parts) + "\n"
