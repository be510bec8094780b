"""How sure a result may be of what the engine finds: as often as it was so on made-up benches.

The engine's chances hold where its model does. On benches whose trouble it was not built for it is surer than it is
right, so what it finds is weighed down to how often it was true there. Learnt on seeds 101 to 105 of
``benchmarks/bench_families.py``; ``benchmarks/statements.py`` holds what is said against the truth in bins.
"""

from __future__ import annotations

from collections.abc import Mapping

from linewright.core.nouns.bench_result import Cause

WRONG_MOST, WRONG_POWER = 0.965, 1.08
"""A reading that the engine is sure is wrong was so often wrong; one it is less sure of less often still."""


def of_wrong(p: float) -> float:
    """Return how often a reading was wrong that the engine gave this chance.

    >>> [round(of_wrong(p), 3) for p in (0.0, 0.5, 1.0)]
    [0.0, 0.456, 0.965]
    """
    return WRONG_MOST * float(p**WRONG_POWER)


WORSE_MOST, WORSE_LESS = 0.99, 0.6
"""How often a loss was above a limit that the engine is sure of, and by how much a small chance of it is less than the
engine's: many cables are as new. Learnt on seeds 101 to 106."""


def of_worse(p: float) -> float:
    """Return how often a loss was above a limit that the engine gave this chance.

    >>> [round(of_worse(p), 3) for p in (0.0, 0.2, 0.5, 1.0)]
    [0.0, 0.122, 0.421, 0.99]
    """
    return WORSE_MOST * p * (1.0 - WORSE_LESS * (1.0 - p) ** 2)


CAUSE_POWER: Mapping[Cause, float] = {"braid": 1.7}
"""A cause that the engine is less sure of was so less often still; 1 where it is not named."""
TAKEN_FOR: Mapping[Cause, Mapping[Cause, float]] = {
    "braid": {"braid": 0.79, "water": 0.03, "resistive joint": 0.05, "wet connector": 0.04},
    "water": {"water": 0.35, "wet connector": 0.50, "braid": 0.10},
    "other type": {"other type": 0.80},
}
"""What was the matter where the engine was sure of a cause: its share, and those of what it took for it. The rest to 1
is no growth at all: another type or length, or nothing. A cause that is not named here was what it was found to be."""


def of_causes(found: Mapping[Cause, float]) -> dict[Cause, float]:
    """Return how often each cause was at work where the engine gave them these chances.

    >>> of_causes({"braid": 1.0})["braid"], of_causes({"open conductor": 0.9})
    (0.79, {'open conductor': 0.9})
    """
    out: dict[Cause, float] = dict.fromkeys(found, 0.0)
    for cause, p in found.items():
        sure = float(p ** CAUSE_POWER.get(cause, 1.0))
        for true, share in TAKEN_FOR.get(cause, {cause: 1.0}).items():
            out[true] = out.get(true, 0.0) + share * sure
    return out


NONE_MOST = 0.96
"""How often nothing worth a name was lost beyond new where the engine is sure of it."""


SHAPES: Mapping[Cause, float] = {
    "misread": 0.62, "digits swapped": 0.85, "wrong piece": 0.60, "all meters alike": 0.87,
}  # fmt: skip
"""How often a slip had the shape it was found to have, over how often it was found to; 1 where it is not named."""


def of_slip(cause: Cause, p: float) -> float:
    """Return how often a slip was of a shape that the engine gave this chance.

    >>> of_slip("misread", 0.5), of_slip("range", 0.5)
    (0.31, 0.5)
    """
    return SHAPES.get(cause, 1.0) * p
