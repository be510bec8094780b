"""A choice of a line and a sharing-out of pieces, as documents."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from linewright.core.formatting import (
    capitalized,
    digits,
    frequencies,
    frequency,
    interval,
    length,
    metres,
    plain,
    quantity,
    signed,
)
from linewright.core.messages import mark, say, say_many, together
from linewright.core.nouns.choice import Beaten, Bought, Check, Choice, Fed, LongestRun, Option, Remedy, Shared
from linewright.present.compose.provenance import worked
from linewright.present.document import (
    Cautions,
    Column,
    Document,
    Paragraph,
    Points,
    Table,
    Verdict,
    points,
    section,
    sections,
    table,
)

# Which line to lay: the verdict, the trade-off, how long each line may be, what else may be done

KEPT = {True: mark("kept"), False: mark("broken"), None: mark("cannot tell")}
CERTAIN, NEVER = 0.99, 0.01
MOST_BEATEN = 8
"""Of the choices that others beat, so many are explained."""


def choose_document(choice: Choice) -> Document:
    """Return a choice of a line for a run."""
    best = choice.cheapest or (choice.trade_off[-1] if choice.trade_off else choice.as_it_is)
    return Document("choose", say("A line for {run}", run=choice.run), sections=sections(
        section("", Paragraph(choice_verdict(choice))),
        section(say("What stands in the way"), points(choice.binding)),
        section(trade_off_title(choice), trade_off(choice)),
        section(say("Band by band: {line}", line=best.name), bands(best, choice.power_w)),
        section(say("Limits"), points(map(check, best.checks))),
        section(say("The longest run within the limit"), longest(choice.longest)),
        section(say("Instead of another line"), points(remedy(r, choice.currency) for r in choice.remedies)),
        section(say("Worth measuring first"), points(m.why for m in choice.measure)),
        section(say("Left out"), barred(choice)),
        section(say("Beaten by another"), beaten(choice.beaten)),
        section(say("Without a price"), options(choice.unpriced, choice.currency)),
        section(say("Remarks"), points(choice.remarks)),
        section(say("Cautions"), Cautions(choice.cautions)),
        worked(choice.workings),
    ))  # fmt: skip


def choice_verdict(choice: Choice) -> str:
    """Return the main answer: the cheapest choice within the limit, its probability, and the present loss."""
    limits = sorted({b.limit_db for b in choice.as_it_is.bands})
    limit = quantity(digits(limits[0]), "dB") if len(limits) == 1 else say("the limits")
    at = frequencies([b.frequency_hz for b in choice.as_it_is.bands])
    if choice.cheapest is None:
        return together([say("No choice meets every limit within {limit} at {at}.", limit=limit, at=at), now(choice)])
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
        return say("The run as it is loses {loss} on average over its bands, and meets every limit.", loss=loss)
    if many:
        return say("The run as it is loses {loss} on average over its bands.", loss=loss)
    if choice.as_it_is.meets:
        return say("The run as it is loses {loss}, and meets every limit.", loss=loss)
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


def trade_off_title(choice: Choice) -> str:
    """Return what is compared: how long the line is, how much of it the tail, and what the figures are."""
    long = metres(choice.length_m)
    if choice.tail_m:
        long = say("{length}, {tail} of it the tail", length=long, tail=metres(choice.tail_m))
    return say("The trade-off over {length} (dB, means over the bands; heard: lost on reception)", length=long)


def trade_off(choice: Choice) -> Table:
    """Return the run as it is and the choices worth making, with what each decibel costs."""
    per_db = {step.to_name: plain(step.price_per_db, 0) for step in choice.steps}
    now = choice.as_it_is if choice.as_it_is.stretches else None
    return options((*([now] if now else []), *choice.trade_off), choice.currency, per_db, now)


def options(
    found: Sequence[Option], currency: str, per_db: Mapping[str, str] | None = None, now: Option | None = None
) -> Table:
    """Return choices: what each is, its price and that of a decibel, its losses, how probably it meets the limit.

    The run as it is, ``now``, has more parts than a line and a tail.
    """
    columns = (
        Column(say("line")), Column(say("tail")), Column(currency or say("price"), "figure"),
        Column(say("per dB"), "right"), Column(say("loss"), "figure"), Column("90 %", "figure"),
        Column(say("heard"), "figure"), Column(say("meets limit"), "right"),
    )  # fmt: skip
    return table(columns, (
        (*((say("as it is"), "") if o is now else stretches(o)),
         "?" if o.price is None else plain(o.price, 2), (per_db or {}).get(o.name, ""),
         plain(o.loss_db, 2), plain(o.loss_db_90, 2),
         "" if o.reception_loss_db is None else plain(o.reception_loss_db, 2), likely(o.p_meets))
        for o in found
    ))  # fmt: skip


def stretches(option: Option) -> tuple[str, str]:
    """Return the line and the tail of a choice."""
    said = [
        say("{name}, {length} on hand", name=s.name, length=metres(s.length_m)) if s.on_hand else s.name
        for s in option.stretches
    ]
    return said[0], said[1] if len(said) > 1 else ""


def bands(option: Option, power_w: float) -> Table:
    """Return what a choice does on each band."""
    columns = (
        Column("", "right"), Column(say("loss (95 %)"), "figure"), Column(say("limit"), "figure"),
        Column(say("meets limit"), "right"), Column(say("at the antenna"), "figure"),
    )  # fmt: skip
    return table(columns, (
        (frequency(b.frequency_hz), interval(b.loss_db, b.loss_db_low, b.loss_db_high),
         quantity(digits(b.limit_db), "dB"), likely(b.p_meets),
         say("{part} W of {whole} W", part=plain(b.power_at_antenna_w, 1), whole=digits(power_w)))
        for b in option.bands
    ))  # fmt: skip


def check(c: Check) -> str:
    """Return one limit held against a choice, as a sentence."""
    return say("{limit}: {kept}, {said}.", limit=c.limit, kept=say(KEPT[c.ok]), said=c.said)


def longest(runs: Sequence[LongestRun]) -> Table:
    """Return how long each line may be on each band; a line's name stands once."""
    columns = (
        Column(say("line")), Column("", "right"), Column(say("limit"), "figure"),
        Column(say("longest (95 %)"), "figure"),
    )  # fmt: skip
    names = [r.line for r in runs]
    return table(columns, (
        ("" if r.line == before else r.line, frequency(r.frequency_hz), quantity(digits(r.limit_db), "dB"),
         length(r.length_m, 1, r.length_m_low, r.length_m_high))
        for r, before in zip(runs, ["", *names], strict=False)
    ))  # fmt: skip


def remedy(r: Remedy, currency: str) -> str:
    """Return what may be done instead of another line, as a sentence."""
    gained = [say("{change} sent", change=quantity(signed(r.transmit_gain_db, 2), "dB"))]
    if r.reception_gain_db is not None:
        gained.append(say("{change} heard", change=quantity(signed(r.reception_gain_db, 2), "dB")))
    what, gains = capitalized(r.what), together(gained, ", ")
    if r.price is None:
        return say("{what}: {gains}; {why}.", what=what, gains=gains, why=r.why)
    costs = money(r.price, currency)
    return say("{what}, {costs}: {gains}; {why}.", what=what, costs=costs, gains=gains, why=r.why)


def barred(choice: Choice) -> Points:
    """Return what breaks a limit whatever it is joined to."""
    return points(say("{name}: {why}.", name=b.name, why=b.why) for b in choice.barred)


def beaten(found: Sequence[Beaten]) -> Points:
    """Return why no one need make the first of the beaten choices, and how many more there are."""
    said = [
        say("{name} ({price}, {loss}): {by} {why}.", name=b.name, price=plain(b.price, 2),
            loss=quantity(plain(b.loss_db, 2), "dB"), by=b.by, why=b.why)
        for b in found[:MOST_BEATEN]
    ]  # fmt: skip
    more = len(found) - MOST_BEATEN
    return points([*said, say_many("And {count} more.", "And {count} more.", more) if more > 0 else ""])


# Which piece goes to which run: who gets what and why, what is left, what to buy, what to measure

PROVED_DB = 1e-3
"""A smaller gap is none."""
COILED_M = 0.05
"""Less left over than this is none."""


def share_document(shared: Shared) -> Document:
    """Return a sharing-out of pieces."""
    return Document("share", say("Which piece goes to which run"), sections=sections(
        section("", Paragraph(sharing_verdict(shared))),
        section(say("Who gets what"), *map(_run, shared.fed)),
        section(say("Losses"), losses(shared)),
        section(say("To buy"), to_buy(shared)),
        section(say("Left over"), Paragraph(left_over(shared))),
        section(say("Where the cautious plan, by 90th-percentile losses, differs"), *map(_run, shared.cautious)),
        section(say("Worth measuring first"), points(w.why for w in shared.worth)),
        section(say("Remarks"), points(shared.remarks)),
        section(say("Cautions"), Cautions(shared.cautions)),
        worked(shared.workings),
    ))  # fmt: skip


def _run(run: Fed) -> Verdict:
    lead = say("{run}, {route}:", run=run.run, route=metres(run.route_m))
    return Verdict(lead, together([lies(run), run.why]))


def losses(shared: Shared) -> Table:
    """Return what each run loses on each band; a run's name stands once."""
    columns = (
        Column(say("run")), Column("", "right"), Column(say("loss (95 %)"), "figure"),
        Column(say("90th percentile"), "figure"),
    )  # fmt: skip
    return table(columns, _losses(shared.fed))


def _losses(fed: Sequence[Fed]) -> Iterator[tuple[str, str, str, str]]:
    for run in fed:
        for i, x in enumerate(run.losses):
            loss, ninety = interval(x.loss_db, x.loss_db_low, x.loss_db_high), quantity(plain(x.loss_db_90, 2), "dB")
            yield "" if i else run.run, frequency(x.frequency_hz), loss, ninety


def to_buy(shared: Shared) -> Points:
    """Return what to buy, for which run, at what price."""
    return points(
        say("{length} of {line}, for {run}: {price}", length=metres(run.bought.length_m), line=run.bought.line,
            run=run.run, price=money(run.bought.price, shared.currency))
        for run in shared.fed if run.bought
    )  # fmt: skip


def left_over(shared: Shared) -> str:
    """Return the pieces that no run needs."""
    return together(shared.left_over, ", ")


def sharing_verdict(shared: Shared) -> str:
    """Return the answer first: how many runs are fed, at what loss, how surely that is the best, what to buy."""
    fed = sum(run.short_m == 0 for run in shared.fed)
    loss = plain(shared.weighted_loss_db, 2)
    head = say("{fed} of {runs} runs can be fed, with {loss} weighted dB in all: {proof}.",
               fed=fed, runs=len(shared.fed), loss=loss, proof=_proof(shared))  # fmt: skip
    spent = say("To buy: {price}.", price=money(shared.price, shared.currency)) if shared.price else ""
    return together([head, spent])


def _proof(shared: Shared) -> str:
    if shared.gap_db < PROVED_DB:
        return say("proved best")
    return say("at most {gap} from the best there is", gap=quantity(plain(shared.gap_db, 2), "dB"))


def lies(run: Fed) -> str:
    """Return what feeds a run: its sections, its joints, what is left in coils."""
    fed_by = [*run.pieces, *([bought(run.bought)] if run.bought else [])]
    if not fed_by:
        return say("nothing.")
    joints = say_many("{count} joint", "{count} joints", run.joints) if run.joints else ""
    spare = say("{length} over", length=metres(run.spare_m)) if run.spare_m >= COILED_M else ""
    return together([together([together(fed_by, " + "), joints, spare], ", "), "."], "")


def bought(b: Bought) -> str:
    """Return a section to buy: "12 m of RG-213/U to buy for 30.20"."""
    return say("{length} of {line} to buy for {price}", length=metres(b.length_m), line=b.line,
               price=plain(b.price, 2))  # fmt: skip
