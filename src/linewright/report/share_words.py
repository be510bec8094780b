"""What a sharing-out says, as sentences that the terminal and the pages share."""

from __future__ import annotations

from linewright.model.share import Bought, Fed, Shared
from linewright.units.said import say, say_many, together
from linewright.units.writing import metres, plain, quantity

PROVED_DB = 1e-3
"""A smaller gap is none."""
COILED_M = 0.05
"""Less left over than this is none."""


def verdict(shared: Shared) -> str:
    """Return the answer first: how many runs are fed, at what loss, how surely that is the best, what to buy."""
    fed = sum(run.short_m == 0 for run in shared.fed)
    loss = plain(shared.weighted_loss_db, 2)
    head = say("{fed} of {runs} runs are fed, {loss} weighted dB in all: {proof}.",
               fed=fed, runs=len(shared.fed), loss=loss, proof=_proof(shared))  # fmt: skip
    spent = say("To buy: {price}.", price=quantity(plain(shared.price, 2), shared.currency)) if shared.price else ""
    return together([head, spent])


def _proof(shared: Shared) -> str:
    if shared.gap_db < PROVED_DB:
        return say("proved best")
    return say("at most {gap} from the best there is", gap=quantity(plain(shared.gap_db, 2), "dB"))


def lies(run: Fed) -> str:
    """Return what feeds a run: its sections, its joints, what is left in coils."""
    sections = [*run.pieces, *([bought(run.bought)] if run.bought else [])]
    if not sections:
        return say("nothing.")
    joints = say_many("{count} joint", "{count} joints", run.joints) if run.joints else ""
    spare = say("{length} over", length=metres(run.spare_m)) if run.spare_m >= COILED_M else ""
    return together([together([together(sections, " + "), joints, spare], ", "), "."], "")


def bought(b: Bought) -> str:
    """Return a section to buy: "12 m of RG-213/U to buy for 30.20"."""
    return say("{length} of {line} to buy for {price}", length=metres(b.length_m), line=b.line,
               price=plain(b.price, 2))  # fmt: skip
