"""What a station's runs do to reception: why, the noise by its parts, and what each remedy would leave."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from linewright.core.formatting import capitalized, frequency, interval, noise, plain, quantity, signed
from linewright.core.messages import listed, mark, say, together
from linewright.core.nouns.plan import (
    RECEPTION,
    BandFinding,
    Budget,
    Plan,
    ReceptionFinding,
    ReceptionState,
    belonging,
)
from linewright.present.compose.plan_words import assumptions, noise_scale, noises, remarks_of, shown, unshown
from linewright.present.compose.provenance import worked
from linewright.present.document import (
    Cautions,
    Column,
    Document,
    Part,
    Row,
    Table,
    points,
    section,
    sections,
)

NOTHING_DB = 0.05
"""An interval that ends below it is written as none."""
COLUMNS = 5
"""Bands side by side in a table of remedies."""
MOST_NAMED = 8
"""Of more frequencies in one sentence, how many there are."""

Heard = Sequence[tuple[BandFinding, ReceptionFinding]]


def heard_of(budget: Budget) -> Heard:
    """Return the bands of a run of which something can be said."""
    return [(x, x.reception) for x in shown(budget) if x.reception is not None]


def reception_document(plan: Plan) -> Document:
    """Return what the runs of a station do to reception."""
    title = say("Reception at {station}", station=plan.station)
    remedies = (section(say("{run}: signal-to-noise lost, dB", run=b.run), *remedy_tables(b)) for b in plan.budgets)
    workings = [w for b in plan.budgets for w in belonging(b, RECEPTION)]
    return Document("reception", title, sections=sections(
        section("", points(reasons(plan))),
        section(say("Noise at the antenna's terminals, and what the run costs"), noise_table(plan)),
        section(say("The run as a receiver: everything from the antenna's terminals on"), chain_table(plan)),
        section(say("What each part adds there, where the loss can be heard"), cascade_table(plan)),
        *remedies,
        section(say("What the remedies need"), points(needs(plan))),
        section("", points(unsaid(plan))),
        section(say("Assumed"), points(assumptions(plan.budgets))),
        section(say("Remarks"), points((*unshown(plan), *remarks_of(plan.budgets, lambda b: b.remarks)))),
        section(say("Cautions"), Cautions(plan.cautions)),
        worked(workings),
    ))  # fmt: skip


# Sentences

STATES: dict[ReceptionState, str] = {
    "hidden": mark("At {frequencies} external noise hides the line's loss on reception."),
    "amplified": mark("At {frequencies} the preamplifier makes up for the line's loss on reception."),
    "little": mark("At {frequencies} the line costs little on reception."),
    "no loss": mark("At {frequencies} nothing before the receiver loses enough to speak of."),
}


def reasons(plan: Plan) -> tuple[str, ...]:
    """Return why each run costs what it costs, with the run where there are several."""
    several = len(plan.budgets) > 1
    return tuple(
        say("{run}: {remark}", run=budget.run, remark=said) if several else said
        for budget in plan.budgets
        for said in reasons_of([(x.frequency_hz, r) for x, r in heard_of(budget)])
    )


def reasons_of(found: Sequence[tuple[float, ReceptionFinding]]) -> Iterator[str]:
    """Yield why a run costs what it costs: a sentence a band where it can be heard, one a reason for the others."""
    for _, r in found:
        if r.state == "heard":
            yield r.why
    for state, said in STATES.items():
        hertz = [f for f, r in found if r.state == state]
        if hertz:
            yield say(said, frequencies=_named(hertz))


def _named(hertz: Sequence[float]) -> str:
    if len(hertz) > MOST_NAMED:
        return say("{count} of the frequencies", count=str(len(hertz)))
    return listed([frequency(f) for f in hertz])


def needs(plan: Plan) -> Iterator[str]:
    """Yield what each remedy needs, once for all bands and runs."""
    found = {m.what: m.needs for b in plan.budgets for _, r in heard_of(b) for m in r.remedies if m.needs}
    for what, some in found.items():
        yield capitalized(say("{remedy} needs {needs}.", remedy=what, needs=listed(some)))


def unsaid(plan: Plan) -> Iterator[str]:
    """Yield the runs of which nothing can be said, and what would tell."""
    deaf = [b.run for b in plan.budgets if not heard_of(b)]
    if deaf:
        yield say(
            "No figures for {runs}: add receiver = {example} to the run, and noise = ... to the station or "
            "sky_temperature = ... to the run.",
            runs=together(deaf, ", "), example="{noise_figure = ...}",
        )  # fmt: skip


# Tables


def noise_table(plan: Plan) -> Table:
    """Return noise from outside and with what the run adds, and what the run costs."""
    columns = (
        Column("", "right"), Column(say("outside (95 %)"), "figure"), Column(say("system"), "figure"),
        Column(say("signal-to-noise lost (95 %)"), "figure"),
    )  # fmt: skip
    notes = tuple(noise_scale(r for b in plan.budgets for _, r in heard_of(b)))
    caption = say("Noise at the antenna's terminals, and what the run costs in signal-to-noise")
    return Table(caption, columns, _by_run(plan, lambda x, r: (frequency(x.frequency_hz), *noises(r), lost(r))), notes)


def chain_table(plan: Plan) -> Table:
    """Return noise temperature and noise figure of all from the antenna's terminals on, and G/T where a gain is known.

    The table is empty where nothing is known.
    """
    columns = (
        Column("", "right"), Column(say("noise temperature"), "figure"), Column(say("noise figure"), "figure"),
        Column("G/T", "figure"),
    )  # fmt: skip
    return Table(say("Everything from the antenna's terminals on"), columns, _by_run(plan, _chain))


def _by_run(plan: Plan, row: Callable[[BandFinding, ReceptionFinding], tuple[str, ...]]) -> tuple[Part, ...]:
    several = len(plan.budgets) > 1
    return tuple(
        Part(b.run if several else "", tuple(Row(row(x, r)) for x, r in heard_of(b)))
        for b in plan.budgets
        if heard_of(b)
    )


def _chain(x: BandFinding, r: ReceptionFinding) -> tuple[str, ...]:
    merit = "" if r.g_over_t_db_per_kelvin is None else quantity(signed(r.g_over_t_db_per_kelvin, 1), "dB/K")
    figure = quantity(plain(r.noise_figure_db, 2), "dB")
    return frequency(x.frequency_hz), noise(r.noise_temperature_kelvin, loud=False), figure, merit


def lost(r: ReceptionFinding) -> str:
    """Return the loss of signal-to-noise with its interval."""
    if r.reception_loss_db_high < NOTHING_DB:
        return quantity(plain(0.0, 1), "dB")
    return interval(r.reception_loss_db, r.reception_loss_db_low, r.reception_loss_db_high)


def cascade_table(plan: Plan) -> Table:
    """Return what each part adds at the antenna's terminals, on the band of each run where the line costs most."""
    columns = (
        Column(""), Column(say("gain"), "figure"), Column(say("at"), "figure"), Column(say("adds by itself"), "figure"),
        Column(say("counts for"), "figure"),
    )  # fmt: skip
    parts = []
    for b in plan.budgets:
        audible = [(x, r) for x, r in heard_of(b) if r.state in ("heard", "amplified")]
        if audible:
            x, r = max(audible, key=lambda pair: pair[1].reception_loss_db)
            name = say("{run}, {frequency}", run=b.run, frequency=frequency(x.frequency_hz))
            parts.append(Part(name if len(plan.budgets) > 1 else frequency(x.frequency_hz), tuple(_sources(r))))
    return Table(say("What each part adds to the noise, from the antenna on"), columns, tuple(parts))


def _sources(r: ReceptionFinding) -> Iterator[Row]:
    yield Row((say("from outside"), "", "", "", _small(r.external_noise_kelvin)))
    for s in r.sources:
        gain = quantity(signed(s.gain_db, 2), "dB") if s.gain_db else ""
        warm = "" if s.temperature_kelvin is None else quantity(plain(s.temperature_kelvin, 0), "K")
        yield Row((s.name, gain, warm, _small(s.noise_temperature_kelvin), _small(s.noise_kelvin)))


def _small(kelvin: float) -> str:
    """Return a noise temperature: below ten kelvin with a decimal."""
    return quantity(plain(kelvin, 1), "K") if kelvin < 10.0 else noise(kelvin, loud=False)


def remedy_tables(budget: Budget) -> Iterator[Table]:
    """Yield the loss left with each remedy, a column a band; nothing where no remedy wins anything."""
    heard = heard_of(budget)
    if not any(r.remedies for _, r in heard):
        return
    for start in range(0, len(heard), COLUMNS):
        some = heard[start : start + COLUMNS]
        columns = (Column(""), *(Column(frequency(x.frequency_hz), "figure") for x, _ in some))
        yield Table("", columns, (Part("", tuple(remedy_rows([r for _, r in some]))),))


def remedy_rows(heard: Sequence[ReceptionFinding]) -> Iterator[Row]:
    """Yield the loss as it is, and what is left with each remedy; a band where it wins nothing stays empty."""
    yield Row((say("as it is"), *(plain(r.reception_loss_db, 2) for r in heard)))
    for what in dict.fromkeys(m.what for r in heard for m in r.remedies):
        left = ({m.what: m.reception_loss_db for m in r.remedies}.get(what) for r in heard)
        yield Row((say("with {remedy}", remedy=what), *("" if db is None else plain(db, 2) for db in left)))
