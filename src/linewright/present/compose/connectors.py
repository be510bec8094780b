"""Connectors and adapters, as a document."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from linewright.catalogue.tables import worded
from linewright.core.formatting import frequency, plain, quantity
from linewright.core.messages import mark, say, together
from linewright.core.nouns.connector_list import ConnectorFamily, ConnectorList
from linewright.core.nouns.line import Figure
from linewright.present.compose.line import BRIEF, GRADES
from linewright.present.document import Cautions, Column, Document, points, section, sections, table

TOLD = {
    "loss": mark("loss"), "measured_loss": mark("measured loss"), "power": mark("power"), "swr": mark("SWR"),
    "torque": mark("torque"), "mating": mark("mating"), "remark": mark("remark"),
}  # fmt: skip
"""Figures that are told in words, with the name each goes by."""


def connectors_document(found: ConnectorList) -> Document:
    """Return what every family takes and bears, then adapters and the like."""
    shown, sources = shown_hz(found), sources_of(found)
    columns = (
        Column(""), Column("ohm", "right"), *(Column(frequency(f), "right") for f in shown),
        Column(say("to"), "right"), Column(say("bears"), "right"), Column(say("loss known by")),
    )  # fmt: skip
    return Document("connectors", say("Connectors and adapters"), sections=sections(
        section(say("Loss of a mated pair, dB"), table(columns, (family_row(c, shown) for c in found.families))),
        section("", points(notes())),
        *(section(worded(one.name), points(told(one.figures, sources))) for one in found.each),
        section(say("Sources"), points(f"[{i}] {source}" for i, source in enumerate(sources, start=1))),
        section(say("Cautions"), Cautions(found.cautions)),
    ))  # fmt: skip


def notes() -> Iterator[str]:
    """Yield what the losses are."""
    yield say(
        "Between matched ends. What the impedance step of the UHF family reflects is counted; in a line with standing"
        " waves it may be more or less. An adapter counts as one more pair of each family at its ends."
    )
    yield say("Volts are rms at the interface; the cable entry and the altitude may allow less.")


def shown_hz(found: ConnectorList) -> list[float]:
    """Return the frequencies of the table."""
    return [x.frequency_hz for x in max(found.families, key=lambda c: len(c.losses)).losses]


def family_row(one: ConnectorFamily, shown: Sequence[float]) -> tuple[str, ...]:
    """Return a family's row: impedance, losses ("" where it is not used), limits, and how its loss is known."""
    lost = {x.frequency_hz: x.loss_db for x in one.losses}
    known = BRIEF[one.figures["heat_db"].provenance.grade]
    return (
        one.name, plain(one.impedance_ohm, 0), *(plain(lost[f], 3) if f in lost else "" for f in shown),
        frequency(one.max_hz), quantity(plain(one.voltage_v, 0), "V"),
        say(known),
    )  # fmt: skip


def sources_of(found: ConnectorList) -> list[str]:
    """Return the sources of what is told in words, each once."""
    told = (one.figures[name] for one in found.each for name in TOLD if name in one.figures)
    return list(dict.fromkeys(figure.provenance.source for figure in told))


def told(figures: Mapping[str, Figure], sources: Sequence[str]) -> Iterator[str]:
    """Yield what is told of a connector or an adapter in words, how it is known, and the number of its source."""
    for name, words in TOLD.items():
        if name in figures:
            known = figures[name].provenance
            yield say(
                "{what}: {value} ({known}, [{number}])", what=say(words),
                value=together([worded(str(figures[name].value)), *([worded(known.note)] if known.note else [])], "; "),
                known=say(GRADES[known.grade]), number=str(sources.index(known.source) + 1),
            )  # fmt: skip
