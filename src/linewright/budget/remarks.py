"""What a person should know of a plan beyond its figures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from linewright.budget.figures import RunFigures
from linewright.budget.reception import Hearing
from linewright.catalogue.connectors import connector
from linewright.model.belief import CATALOGUE
from linewright.model.station import ConnectorPart, LinePart, SplitterPart
from linewright.units.said import say, together
from linewright.units.writing import frequency, plain, quantity

TELLING_SWR = 3.0
"""Where a radio cannot see more than this whatever happens at the antenna, its SWR says little of the antenna."""


def remarks(found: RunFigures, heard: Hearing | None) -> tuple[str, ...]:
    """Return remarks on a run, each once."""
    said = [
        *_antenna(found),
        *_lines(found),
        *_connectors(found),
        *_splitters(found),
        *_radio(found),
        *(heard.outside.remarks if heard else ()),
    ]
    return tuple(dict.fromkeys(said))


def _at(found: RunFigures, which: Iterable[bool]) -> str:
    """Name the frequencies at which something holds; empty where it does nowhere."""
    return together((frequency(f) for f, yes in zip(found.run.frequencies_hz, which, strict=True) if yes), ", ")


def _antenna(found: RunFigures) -> Iterator[str]:
    swr = found.run.antenna.swr
    if swr is not None and any(s > 1.0 for _, s in swr):
        yield say("The phase of the antenna's SWR is not known: intervals cover all phases.")
    highest = found.highest_swr
    if where := _at(found, highest < TELLING_SWR):
        most = plain(float(highest[highest < TELLING_SWR].max()), 1)
        yield say(
            "At {frequencies} the line hides the antenna: even an open or a short there would show the radio no more"
            " than {swr} to 1.",
            frequencies=where, swr=most,
        )  # fmt: skip


def _lines(found: RunFigures) -> Iterator[str]:
    for p in found.parts:
        part, line = p.section.part, p.section.line
        if not isinstance(part, LinePart) or line is None:
            continue
        law = line.belief.law
        if where := _at(found, [not law.covers(f) for f in found.run.frequencies_hz]):
            yield say("{part}: at {frequencies} the loss of its type is an extrapolation.",
                      part=part.name, frequencies=where)  # fmt: skip
        if part.measured and line.belief.basis == CATALOGUE:
            yield say("{part}: no evidence speaks of it, so it is taken as new, and its connectors as lossless.",
                      part=part.name)  # fmt: skip


def _connectors(found: RunFigures) -> Iterator[str]:
    for part in found.run.chain:
        if isinstance(part, ConnectorPart):
            family = connector(part.family)
            if where := _at(found, [f > family.max_hz for f in found.run.frequencies_hz]):
                yield say(
                    "{part}: {family} connectors are meant for up to {most}; used at {frequencies}.",
                    part=part.name, family=family.name, most=frequency(family.max_hz), frequencies=where,
                )  # fmt: skip


def _splitters(found: RunFigures) -> Iterator[str]:
    for part in found.run.chain:
        if isinstance(part, SplitterPart):
            yield say(
                "Beyond {part} powers, voltages and margins are those of one of {ways} branches; losses and heat, and"
                " the power at the antenna, are those of all together.",
                part=part.name, ways=part.ways,
            )  # fmt: skip


def _radio(found: RunFigures) -> Iterator[str]:
    lowered: Sequence[bool] = list(found.share < 0.995)
    for f, share, power, yes in zip(found.run.frequencies_hz, found.share, found.power_w, lowered, strict=True):
        if yes:
            yield say(
                "At {frequency} the radio folds back to {power}, {share} of its power.",
                frequency=frequency(f), power=quantity(plain(float(power), 0), "W"),
                share=quantity(plain(100.0 * float(share), 0), "%"),
            )  # fmt: skip
