"""What a decibel means on the air, what a signal is, what an EIRP is at a distance, as documents."""

from __future__ import annotations

from collections.abc import Iterator

from linewright.core.formatting import away, digits, frequency, plain, prefixed, quantity
from linewright.core.formatting import signed as change
from linewright.core.messages import say
from linewright.core.nouns.meaning import Level, Meaning, Radiated, Signal
from linewright.present.compose.provenance import worked
from linewright.present.document import Cautions, Column, Document, Paragraph, Row, points, section, sections, table


def meant(found: Meaning | Level | Radiated) -> Document:
    """Return what was asked of decibels on the air."""
    match found:
        case Meaning():
            return meaning_document(found)
        case Level():
            return level_document(found)
        case Radiated():
            return radiated_document(found)


# What a change of so many decibels means


def meaning_document(found: Meaning) -> Document:
    """Return what a change means."""
    size = digits(round(abs(found.change_db), 2) or abs(found.change_db), 6)
    title = say("{change} dB", change=size)
    if found.change_db:
        title = say("{change} dB less", change=size) if found.change_db < 0 else say("{change} dB more", change=size)
    columns = (
        Column(""), Column(say("before"), "right"), Column(say("after"), "right"), Column(say("change"), "right"),
    )  # fmt: skip
    return Document("meaning", title, sections=sections(
        section("", Paragraph(found.text)),
        section("", table(columns, _changes(found))),
        section("", points(found.remarks)),
        worked(found.workings),
    ))  # fmt: skip


def _changes(found: Meaning) -> Iterator[Row | tuple[str, ...]]:
    before, after = (prefixed(w, "W") for w in (found.power_w, found.equivalent_power_w))
    yield say("transmitter power"), before, after, _times(found.power_ratio)
    units = say("{units} S units", units=change(found.s_units, 2))
    if found.signal_before and found.signal_after:
        yield say("signal"), found.signal_before.reading, found.signal_after.reading, units
        if found.signal_before.level_dbm is not None:
            yield say("across 50 ohm"), _volts(found.signal_before), _volts(found.signal_after), ""
            by = quantity(change(found.change_db, 1), "dB")
            yield say("level"), _level(found.signal_before), _level(found.signal_after), by
    else:
        yield say("signal"), "", "", units
    yield say("range in free space"), "", "", _times(found.free_space_range_ratio)
    last = say("range over plane earth"), "", "", _times(found.plane_earth_range_ratio)
    note = ""
    if found.s9_dbm is not None and found.frequency_hz is not None:
        note = say("S9 is {level} dBm at {f}.", level=plain(found.s9_dbm, 0), f=frequency(found.frequency_hz))
    yield Row(last, note=note)


def _times(ratio: float) -> str:
    return say("{ratio} times", ratio=digits(ratio, 3))


def _level(signal: Signal) -> str:
    return quantity(plain(signal.level_dbm or 0.0, 1), "dBm")


def _volts(signal: Signal) -> str:
    return prefixed(signal.voltage_v or 0.0, "V", least=1e-6)


# What one signal is


def level_document(found: Level) -> Document:
    """Return what a received signal is at the receiver's input."""
    columns = (
        Column(""), Column(say("S reading"), "right"), Column(say("level"), "right"),
        Column(say("across 50 ohm"), "right"),
    )  # fmt: skip
    return Document("meaning", found.asked, sections=sections(
        section("", Paragraph(found.text)),
        section("", table(columns, _levels(found))),
        section("", points(found.remarks)),
        worked(found.workings),
    ))  # fmt: skip


def _levels(found: Level) -> Iterator[tuple[str, ...]]:
    names = (say("below 30 MHz"), say("from 30 MHz up"))
    for name, signal in zip(names, (found.below_30_mhz, found.from_30_mhz), strict=True):
        if signal is not None:
            where = name if found.frequency_hz is None else frequency(found.frequency_hz)
            yield where, signal.reading, _level(signal), _volts(signal)


# What an EIRP is at a distance


def radiated_document(found: Radiated) -> Document:
    """Return what an EIRP is at a distance in free space."""
    title = say("{power} EIRP at {distance}", power=quantity(digits(found.eirp_w, 4), "W"),
                distance=away(found.distance_m))  # fmt: skip
    return Document("meaning", title, sections=sections(
        section("", Paragraph(found.text)),
        section("", table((Column(""), Column("", "right")), _radiated(found))),
        section("", points(found.remarks)),
        section(say("Cautions"), Cautions(found.cautions)),
        worked(found.workings),
    ))  # fmt: skip


def _radiated(found: Radiated) -> Iterator[tuple[str, str]]:
    yield say("ERP, over a dipole"), quantity(digits(found.erp_w, 4), "W")
    yield say("electric field, rms"), prefixed(found.field_v_per_m, "V/m")
    yield say("power density"), prefixed(found.density_w_per_m2, "W/m²")
    if found.received is not None and found.path_loss_db is not None:
        yield say("free-space loss"), quantity(plain(found.path_loss_db, 1), "dB")
        gain = quantity(digits(found.gain_dbi), "dBi")
        yield say("taken up by an antenna of {gain}", gain=gain), _level(found.received)
        yield say("across 50 ohm"), _volts(found.received)
        yield say("S reading"), found.received.reading
