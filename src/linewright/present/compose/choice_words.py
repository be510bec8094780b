"""What a choice of a line says, as sentences that the terminal and the pages share."""

from __future__ import annotations

from linewright.core.formatting import digits, frequencies, metres, plain, quantity, signed
from linewright.core.messages import mark, say, say_many, together
from linewright.core.nouns.choice import Beaten, Bought, Check, Choice, Fed, Option, Remedy, Shared

# What a choice of a line says, as sentences that the terminal and the pages share

KEPT = {True: mark("kept"), False: mark("broken"), None: mark("cannot tell")}
CERTAIN, NEVER = 0.99, 0.01


def choice_verdict(choice: Choice) -> str:
    """Return the answer first: what is cheapest within the limit, how probably, and what the run does now."""
    limits = sorted({b.limit_db for b in choice.as_it_is.bands})
    limit = quantity(digits(limits[0]), "dB") if len(limits) == 1 else say("the limits")
    at = frequencies([b.frequency_hz for b in choice.as_it_is.bands])
    if choice.cheapest is None:
        return together([say("Nothing keeps every limit within {limit} at {at}.", limit=limit, at=at), now(choice)])
    found = say(
        "Cheapest within {limit} at {at}: {name}, {price}; meets it with probability {likely}.",
        limit=limit, at=at, name=choice.cheapest.name, price=price(choice.cheapest, choice.currency),
        likely=likely(choice.cheapest.p_meets),
    )  # fmt: skip
    return together([found, _cautious(choice), now(choice)])


def _cautious(choice: Choice) -> str:
    if choice.cautious is None:
        return say("Nothing meets it with probability 0.9.")
    if choice.cheapest is not None and choice.cautious.name == choice.cheapest.name:
        return ""
    dear = price(choice.cautious, choice.currency)
    return say("To meet it with probability 0.9: {name}, {price}.", name=choice.cautious.name, price=dear)


def now(choice: Choice) -> str:
    """Return what the run loses as it is; empty where it has no line yet."""
    if not choice.as_it_is.stretches:
        return ""
    loss, many = quantity(plain(choice.as_it_is.loss_db, 2), "dB"), len(choice.as_it_is.bands) > 1
    if many and choice.as_it_is.meets:
        return say("The run as it is loses {loss} on average over its bands, and keeps every limit.", loss=loss)
    if many:
        return say("The run as it is loses {loss} on average over its bands.", loss=loss)
    if choice.as_it_is.meets:
        return say("The run as it is loses {loss}, and keeps every limit.", loss=loss)
    return say("The run as it is loses {loss}.", loss=loss)


def price(option: Option, currency: str) -> str:
    """Return what a choice costs: "45.00 EUR"."""
    return say("no price") if option.price is None else money(option.price, currency)


def money(amount: float, currency: str) -> str:
    """Return a sum of money: "45.00 EUR"."""
    return quantity(plain(amount, 2), currency) if currency else plain(amount, 2)


def likely(p: float) -> str:
    """Return a probability out of 48 draws; nothing is certain."""
    if p > CERTAIN:
        return say("> {bound}", bound=plain(0.98, 2))
    return say("< {bound}", bound=plain(0.02, 2)) if p < NEVER else plain(p, 2)


def title(choice: Choice) -> str:
    """Return what is compared: how long the line is, and how much of it the tail."""
    if choice.tail_m:
        return say("The trade-off over {length}, {tail} of it the tail",
                   length=metres(choice.length_m), tail=metres(choice.tail_m))  # fmt: skip
    return say("The trade-off over {length}", length=metres(choice.length_m))


def sections(option: Option) -> tuple[str, str]:
    """Return the line and the tail of a choice; the run as it is has more parts than those."""
    said = [
        say("{name}, {length} on hand", name=s.name, length=metres(s.length_m)) if s.on_hand else s.name
        for s in option.stretches
    ]
    if option.name == "as it is":
        return say("as it is"), ""
    return said[0], said[1] if len(said) > 1 else ""


def check(c: Check) -> str:
    """Return one limit held against a choice, as a sentence."""
    return say("{limit}: {kept}, {said}.", limit=c.limit, kept=say(KEPT[c.ok]), said=c.said)


def remedy(r: Remedy, currency: str) -> str:
    """Return what may be done instead of another line, as a sentence."""
    sent = say("{change} sent", change=quantity(signed(r.transmit_gain_db, 2), "dB"))
    gained = [sent]
    if r.reception_gain_db is not None:
        gained.append(say("{change} heard", change=quantity(signed(r.reception_gain_db, 2), "dB")))
    what = r.what[0].upper() + r.what[1:]
    gains = together(gained, ", ")
    if r.price is None:
        return say("{what}: {gains}; {why}.", what=what, gains=gains, why=r.why)
    costs = money(r.price, currency)
    return say("{what}, {costs}: {gains}; {why}.", what=what, costs=costs, gains=gains, why=r.why)


def beaten(b: Beaten) -> str:
    """Return why no one need make a choice, as a sentence."""
    return say("{name} ({price}, {loss}): {by} {why}.", name=b.name, price=plain(b.price, 2),
               loss=quantity(plain(b.loss_db, 2), "dB"), by=b.by, why=b.why)  # fmt: skip


# What a sharing-out says, as sentences that the terminal and the pages share

PROVED_DB = 1e-3
"""A smaller gap is none."""
COILED_M = 0.05
"""Less left over than this is none."""


def sharing_verdict(shared: Shared) -> str:
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
