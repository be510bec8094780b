"""A meter's correction card: what its decibels and its watts are worth, band by band, to print and keep with it."""

from __future__ import annotations

from collections.abc import Iterator

from linewright.core.formatting import frequency, interval, plain
from linewright.core.messages import listed, say
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.shelf import MeterBand, MeterKnown
from linewright.present.compose.provenance import Made, repeat_section, workings_section
from linewright.present.compose.shelf import FORWARD
from linewright.present.document import Column, Document, Paragraph, Row, Section, Table, sections, table

SHOWN_DB = (1.0, 3.0, 10.0)
"""Drops that the card translates."""


def meter_card(known: MeterKnown, made: Made) -> Document:
    """Return the correction card of a meter.

    Parameters
    ----------
    known : MeterKnown
        How it reads, band by band.
    made : Made
        The date, what went in, the command.

    Returns
    -------
    Document
        What a drop that it shows is in truth, and what to multiply its watts by; a page.
    """
    return Document(
        kind="meter",
        title=known.meter,
        subtitle=say("Correction card of a meter, {day}", day=made.day),
        day=made.day,
        maker=made.maker,
        sections=sections(
            Section(say("What it shows, and what that is"), tuple(_card(known))),
            Section(say("In words"), tuple(Paragraph(b.why) for b in known.bands)),
            workings_section(tuple(_workings(known))),
            repeat_section(made, METHOD, ASSUMED, ("docs/how-histories-work.md",)),
        ),
        names=(known.meter,),
    )


METHOD = (
    say("The detector's exponent comes from known attenuators and from a second meter beside it, over all sessions."),
    say("The gain comes from readings of the reference with two meters in one session."),
)
ASSUMED = (
    say("Both drift over the years; the interval widens with the time since the last session."),
    say("Within a band the meter is taken to read alike over three per cent of frequency."),
)


def _card(known: MeterKnown) -> Iterator[Paragraph | Table]:
    if not known.bands:
        yield Paragraph(
            say(
                "Nothing shows how it reads yet: measure known attenuators with it, or read a better meter beside "
                "it, and file the sheet."
            )
        )
        return
    heads = (say("{db} dB is", db=plain(db, 0)) for db in SHOWN_DB)
    columns = (Column(say("band"), "right"), *(Column(head) for head in heads), Column(say("watts times")),
               Column(say("as reads")), Column(say("since")))  # fmt: skip
    unknown = any(b.exponent is None or _times(b) is None for b in known.bands)
    notes = [say("What it shows as a drop of 1, 3 or 10 dB is so many decibels in truth.")]
    notes += [say("Intervals in brackets hold the true value with 95 % probability.")]
    notes += [FORWARD]
    notes += [say("A dash means that no session showed it: it may be right or wrong.")] if unknown else []
    yield table(columns, (Row(_cells(b)) for b in known.bands), notes)


def _cells(b: MeterBand) -> tuple[str, ...]:
    drops: list[str] = ["–"] * len(SHOWN_DB)
    if b.exponent is not None and b.exponent_low is not None and b.exponent_high is not None:
        drops = [interval(db / b.exponent, db / b.exponent_high, db / b.exponent_low, "") for db in SHOWN_DB]
    times = _times(b)
    return (frequency(b.frequency_hz), *drops, times or "–", (b.against or "–") if times else "–", b.since)


def _times(b: MeterBand) -> str | None:
    """Return what to multiply the watts of a meter by; None where no better meter read beside it."""
    if b.both_rated or b.gain_db is None or b.gain_db_low is None or b.gain_db_high is None:
        return None
    middle, low, high = (10.0 ** (-g / 10.0) for g in (b.gain_db, b.gain_db_high, b.gain_db_low))
    return interval(middle, low, high, "")


def _workings(known: MeterKnown) -> Iterator[Working]:
    for b in known.bands:
        inputs = ((say("sessions"), listed(b.sources)),)
        at = frequency(b.frequency_hz)
        if b.exponent is not None:
            yield Working(
                say("exponent at {f}: {value}", f=at, value=plain(b.exponent, 2)),
                say("true dB = shown dB / exponent"), inputs, "docs/how-histories-work.md",
                ("exponent", known.meter, b.frequency_hz),
            )  # fmt: skip
        if b.gain_db is not None:
            yield Working(
                say("gain at {f}: {value} dB beside {other}", f=at, value=plain(b.gain_db, 1), other=b.against or ""),
                say("true power = shown power · 10^(-gain / 10)"), inputs, "docs/how-histories-work.md",
                ("gain", known.meter, b.frequency_hz),
            )  # fmt: skip
