"""A bench session for programs: its fields in the order they are read, and the next that is empty."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice
from typing import Any

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import UnknownNameError
from linewright.core.messages import say
from linewright.core.nouns.ledger import Body, KeptReading
from linewright.store import items
from linewright.store import items as readings
from linewright.store.ledger import Ledger
from linewright.verbs.shelf import By, add_reading, notes_of, sheet_of_rows
from linewright.web.bench_rows import Slot, bands_of, insertions_of, plan_in


@dataclass(frozen=True, slots=True)
class SheetField:
    """A field of a session's sheet, and the unit of the meter it is read on."""

    slot: Slot
    unit: str

    def to_dict(self) -> dict[str, str]:
        """Return where it is, in which unit it is read, and the key that puts a reading there once."""
        slot = self.slot
        return {
            "meter": slot.meter, "frequency": slot.frequency, "path": slot.path, "label": slot.label,
            "scale": self.unit, "key": slot.token,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Feed:
    """A session that a program feeds: all of its fields in the order they are read."""

    session: str
    fields: tuple[SheetField, ...]

    def next(self, meter: str | None = None, passed: int = 0) -> SheetField | None:
        """Return the first field that holds nothing, of a meter if one is named, past so many such fields."""
        empty = (f for f in self.fields if f.slot.kept is None and meter in (None, f.slot.meter))
        return next(islice(empty, passed, None), None)

    def document(self, meter: str | None = None, passed: int = 0) -> dict[str, Any]:
        """Return the document of schema ``linewright/next-field/1``.

        Raises
        ------
        UnknownNameError
            If there is no such meter.
        """
        there = dict.fromkeys(f.slot.meter for f in self.fields)
        if meter is not None and meter not in there:
            rule = say("must be one of the session's; got {value}", value=repr(meter))
            raise UnknownNameError(
                "meter", rule, cure=say("There is {known}.", known=", ".join(there)) if there else ""
            )
        found = self.next(meter, passed)
        return {
            "schema": "linewright/next-field/1",
            "session": self.session,
            "field": None if found is None else found.to_dict(),
            "read": sum(f.slot.kept is not None for f in self.fields),
            "fields": len(self.fields),
            "cautions": list(cautions_of("listen")),
        }


def feed_of(ledger: Ledger, session: str) -> Feed:
    """Return a session's fields; those of a meter on a band it is not made for are left out until one is read.

    Raises
    ------
    UnknownNameError
        If there is no such session.
    """
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "sheet", session)
        rows: tuple[KeptReading, ...] = tuple(readings.all_of(snapshot, [session]))
    notes: tuple[Body, ...] = tuple(n.body for n in notes_of(ledger, "sheet", session))
    plan = plan_in(notes)
    bands = bands_of(sheet_of_rows(ledger, item, rows), plan, rows)
    ordered = (SheetField(s.slot, s.column.unit) for i in insertions_of(bands, plan.order) for s in i.steps)
    return Feed(session, tuple(ordered))


@dataclass(slots=True)
class KeptBench:
    """A session of an open ledger that an instrument feeds, without an app."""

    ledger: Ledger
    session: str

    def next(self, meter: str | None, passed: int) -> dict[str, Any] | None:
        """Return the next empty field."""
        found: dict[str, Any] | None = feed_of(self.ledger, self.session).document(meter, passed)["field"]
        return found

    def put(self, place: dict[str, Any], cells: dict[str, str]) -> dict[str, Any]:
        """Keep a reading in a field; the same field again adds nothing."""
        found = add_reading(self.ledger, self.session, cells, token=place["key"], by=By(who="instrument"))
        return {"number": found.number, "version": found.version, "at": found.at, "cells": found.cells}
