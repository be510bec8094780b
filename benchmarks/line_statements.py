"""Hold what is said of sweeps and of tests from one end against made-up lines: what is said, and whether it is true.

The lines are those of ``sweep_lines.py`` (half of the sweeps with the length given), the tests those of
``one_end_worlds.py``. A statement is (what, the chance it was made with or None, whether it is true).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from linewright.core.nouns.one_end import OneEndResult
from linewright.inference.one_end.prove import prove_test
from one_end_worlds import KINDS as WAYS
from one_end_worlds import World, world
from sweeps_claims import Judged, judge, tasks

Statement = tuple[str, float | None, bool]
PART = "## Sweeps and tests from one end"
LIKELY = 0.8
KINDS = {
    "joint": {"bad joint", "step", "gap"}, "crushed": {"pinch", "section"}, "water": {"water", "section"},
    "insert": {"insert", "section"}, "break": {"open"}, "short": {"short"},
    "far connector": {"bad joint", "pinch", "unclear"},
}  # fmt: skip
"""What each damage may fairly be called: a section is said to be water or other line, which cannot be told."""


def sweep_tasks(each: int, seed: int) -> list[tuple[str, str, str, str, int, bool]]:
    """Return the sweeps to be judged."""
    return tasks(each, seed)


def of_sweep(task: tuple[str, str, str, str, int, bool]) -> list[Statement]:
    """Return the statements of one sweep."""
    return list(_of_sweep(judge(task)))


def _of_sweep(one: Judged) -> Iterator[Statement]:
    for claim in one.claims:
        if claim.kind == "fault":
            yield "a sweep: a fault is there", claim.p, claim.true
        elif claim.kind == "type" and (claim.p or 0.0) >= LIKELY:
            none = claim.note == "none of these"
            yield "a sweep: no type of the catalogue" if none else "a sweep: this type", claim.p, claim.true
        elif claim.kind != "type":
            yield f"a sweep: {claim.kind}", claim.p, claim.true
    if one.place_inside is not None:
        yield "a sweep: the fault lies in its interval", 0.95, one.place_inside
        yield "a sweep: the fault is of this kind", None, one.kind in KINDS[one.damage]
    if one.looked and not any(claim.kind == "fault" for claim in one.claims):
        yield "a sweep: no fault shows", None, one.damage in ("", "far connector")
    for inside in one.losses:
        yield "a sweep: a loss lies in its interval", 0.95, inside
    if one.delay_wrong is not None:
        yield "a sweep: the delay is this", None, not one.delay_wrong


def of_one_end(task: tuple[str, int, int]) -> list[Statement]:
    """Return the statements of one test from one end: (way, number, seed)."""
    way, number, seed = task
    rng = np.random.default_rng([seed, number, WAYS.index(way)])
    made = world(rng, way, analyser=bool(number % 2), several=bool(number // 2 % 2))
    return list(_of_one_end(made, prove_test(made.test)))


def _of_one_end(made: World, found: OneEndResult) -> Iterator[Statement]:
    ratios = []
    for row in found.losses:
        truth, new = made.loss_db[row.frequency_hz], made.new_db[row.frequency_hz]
        yield "one end: a loss lies in its interval", 0.95, row.loss_db_low <= truth <= row.loss_db_high
        if new:
            ratios.append(truth / new)
    if ratios and found.verdict != "cannot tell":
        ratio = float(np.exp(np.mean(np.log(ratios))))
        true = {"good": ratio <= 1.25, "worn": ratio > 1.1, "bad": ratio > 1.5}[found.verdict]
        yield f"one end: {found.verdict}", 0.95, bool(true)
    for check in found.readings:
        if check.p_wrong > LIKELY:
            yield "one end: a reading is wrong", check.p_wrong, check.row in made.misread
        elif check.checked and check.p_wrong < 0.05:
            yield "one end: a reading stands", 1.0 - check.p_wrong, check.row not in made.misread


def part(table: str, heading: str) -> str:
    """Return the part of the page on sweeps and tests from one end."""
    return (
        f"{PART}\n\n"
        "Made-up lines from the physics: catalogue types and lines of none, sound ones and damaged ones, swept by\n"
        "analysers of five qualities, half of them with the length given; and installed lines read from one end.\n"
        "A type, or none of the catalogue, counts where it has 80 % or more. What an analyser cannot tell apart\n"
        f"counts as right: a section that may be water or other line.\n\n{heading}\n\n{table}\n"
    )
