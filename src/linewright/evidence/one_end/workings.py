"""How each figure was worked out, for whoever checks it with a pencil."""

from __future__ import annotations

from linewright.evidence.one_end.by_hand import far_reflection, plain_db
from linewright.evidence.one_end.nuisance import impedance_of
from linewright.evidence.one_end.posterior import Posterior
from linewright.evidence.one_end.targets import directivity_of, range_of, reflection_of
from linewright.model.one_end import OneEndLoss, OneEndReading, OneEndTest
from linewright.model.result import Working
from linewright.units.writing import frequency, interval

ENGINE = "The one-end engine of this project, its prior values in evidence/one_end/priors.py."
HAND = {
    "open and short": (
        "10 lg(1 / |Γ|), half the return loss; |Γ| = (S - 1)/(S + 1)",
        "Common practice, published list posts; any amateur antenna handbook.",
    ),
    "antenna left connected": (
        "at most 10 lg(1 / |Γ|), as no antenna returns more than all",
        "The same formula with |Γ antenna| ≤ 1.",
    ),
    "known load": (
        "10 lg(|Γ load| / |Γ through the line|)",
        "D. M. Pozar, Microwave Engineering, 4th ed., p. 81-82: the reflection shrinks by the loss both ways.",
    ),
    "resonance": (
        "8.686 atanh(R / Z0) where R is low, 8.686 atanh(Z0 / R) where it is high",
        "D. M. Pozar, Microwave Engineering, 4th ed., equation 2.91 with a shorted end, place from memory.",
    ),
}  # fmt: skip


def workings(post: Posterior, found: tuple[OneEndLoss, ...]) -> tuple[Working, ...]:
    """Return the workings of every loss, and of the plain figure of every reading."""
    said = [_loss(post, x) for x in found]
    return (*said, *(_hand(r, post.test) for r in post.test.readings if plain_db(r, post.test) is not None))


def _loss(post: Posterior, x: OneEndLoss) -> Working:
    site = next(s for s in post.sites if s.frequency_hz == x.frequency_hz)
    inputs = [(f"row {s.reading.row}, {s.reading.far_end}", f"|Γ| {_range(s.reading, post.test)}") for s in site.seen]
    inputs += [
        (
            f"{m.method} alone, no catalogue",
            "a limit only" if m.loss_db is None else _method(m.loss_db, m.loss_db_low, m.loss_db_high),
        )
        for m in x.methods
    ]
    inputs += [
        ("directivity", f"{directivity_of(post.test, post.priors):.3f} as a reflection"),
        ("the line's impedance", f"{impedance_of(post.test):g} ohm"),
        ("other frequencies", f"{len(post.sites) - 1}, joined through k1 √f + k2 f"),
    ]  # fmt: skip
    if x.catalogue_db is not None:
        inputs.append(("what its type should lose", f"{x.catalogue_db:.3f} dB"))
    return Working(
        f"loss at {frequency(x.frequency_hz)}: {interval(x.loss_db, x.loss_db_low, x.loss_db_high)}",
        "posterior of A from shown = |D + Γ1/(1 - S Γ1)|, Γ1 = (ρ + Γ)/(1 + ρ* Γ), |Γ| = |Γ far end| 10^(-A/10),"
        " D, S, ρ, phases, scale and detector summed over",
        tuple(inputs),
        ENGINE,
    )


def _method(loss: float, low: float | None, high: float | None) -> str:
    return f"{loss:.3f} dB ({low:.3f} to {high:.3f})"


def _range(r: OneEndReading, test: OneEndTest) -> str:
    low, high = range_of(r.quantity, r.ends, test.reference_ohm)
    if low < -1.0:
        return f"below {high:.4f}"
    return f"above {low:.4f}" if high > 1.0 else f"{low:.4f} to {high:.4f}"


def _hand(r: OneEndReading, test: OneEndTest) -> Working:
    formula, source = HAND[r.method]
    inputs = [("read", f"{r.value:g} {_unit(r)}".strip())]
    if r.quantity == "resistance_ohm":
        inputs.append(("Z0", f"{impedance_of(test):g} ohm"))
    else:
        inputs.append(("|Γ|", f"{abs(reflection_of(r.quantity, r.value, test.reference_ohm)):.4f}"))
    if r.far_end == "load":
        inputs.append(("|Γ load|", f"{far_reflection(r, test):.4f}"))
    said = plain_db(r, test)
    return Working(
        f"by hand, row {r.row} ({r.far_end}) at {frequency(r.frequency_hz)}: {said:.3f} dB",
        formula,
        tuple(inputs),
        source,
    )


def _unit(r: OneEndReading) -> str:
    return {"swr": "(SWR)", "return_loss_db": "dB return loss", "resistance_ohm": "ohm"}[r.quantity]
