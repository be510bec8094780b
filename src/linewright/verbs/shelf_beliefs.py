"""What is believed of the pieces on the shelf: from all their evidence, else their stock's, else the catalogue."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from linewright.core.errors import CannotError
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say, together
from linewright.core.nouns.ledger import Item
from linewright.core.nouns.shelf import BelievedLoss, Evidence, PieceBelief, Reminder, Shelf, ShelfPiece, Urgency
from linewright.store import items
from linewright.store import items as derived
from linewright.store.ledger import Ledger, written
from linewright.verbs.once import ENGINE
from linewright.verbs.shelf_evidence import (
    Moment,
    Shelved,
    by_stock,
    meters_of,
    neighbours,
    prepared,
    tellers,
    tests_of,
    year_of,
)
from linewright.verbs.shelf_lives import origins, passed_on
from linewright.verbs.shelf_open import today
from linewright.verbs.shelf_words import by_its_stock, doubted, evidence_name, kept, of_no_type, read_off, words
from linewright.verbs.standing import SHOWN_HZ, standing_of

if TYPE_CHECKING:
    from linewright.core.nouns.belief import Belief
    from linewright.core.nouns.bench import Piece

# What an answer of the shelf rests on, told by a digest: as long as that is the same, so is the answer


class Marks:
    """What an answer rests on, as a digest.

    The day, the piece, its evidence with what showed how the meters of that read, other tests of the pieces that lay
    beside it, its stock's evidence, and the person's line types.
    """

    def __init__(self, shelf: Shelved, day: str) -> None:
        self.shelf, self.day = shelf, day
        self._pieces: dict[str, str] = {}
        self._sheets: dict[str, str] = {}
        self._tellers = tellers(shelf.sheets)

    @classmethod
    def on(cls, shelf: Shelved, day: str) -> Marks:
        """Return those of a day, worked out once for a shelf as it stands."""
        if day not in shelf.marks:
            # What is held must not hold the snapshot it was read from.
            shelf.marks[day] = cls(replace(shelf, snapshot=None, moment=Moment()), day)
        found: Marks = shelf.marks[day]
        return found

    def of(self, item: Item) -> str:
        """Return the digest of one piece."""
        if item.key not in self._pieces:
            self._pieces[item.key] = self._of(item)
        return self._pieces[item.key]

    def _of(self, item: Item) -> str:
        shelf = self.shelf
        parts = [self.day, written(item.body), shelf.own]
        evidence = shelf.evidence(item.key)
        for e in evidence:
            parts.append(self._evidence(e))
            parts += [self._evidence(n) for _, n in (neighbours(shelf, item.key, e) if e.kind == "sheet" else ())]
        if not evidence:
            parts += [self.of(parent) for parent in origins(shelf, item.key)]
        if not evidence and (judge := shelf.judge_by_stock(item.key)):
            parts.append(self._sheet(judge))
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()

    def _evidence(self, e: Evidence) -> str:
        return self._sheet(e.key) if e.kind == "sheet" else written(self.shelf.sweeps[e.key].body)

    def _sheet(self, key: str) -> str:
        """Return the digest of a sheet, of its readings and of the earlier sheets that tell how its meters read."""
        if key not in self._sheets:
            sheet = self.shelf.sheets[key]
            wanted, day = meters_of(sheet), sheet.body["measured_on"]
            shown = [self._sheet(k) for k, here, on in self._tellers if wanted & here and on < day]
            # A digest and not the text: each holds those before it, so that texts would double with every session.
            self._sheets[key] = hashlib.sha256("\n".join([self._alone(key), *shown]).encode()).hexdigest()
        return self._sheets[key]

    def _alone(self, key: str) -> str:
        """Return the digest of a sheet and its own readings, worked out once for as long as none come to it."""
        known = self.shelf.sums
        if key not in known:
            rows = [written({"number": r.number, "cells": r.cells}) for r in self.shelf.kept[key]]
            whole = "\n".join([key, written(self.shelf.sheets[key].body), *rows])
            known[key] = hashlib.sha256(whole.encode()).hexdigest()
        return known[key]


# When to test a piece again: by the weather it lives in and by how it stood last time

MONTHS: Mapping[str, int] = {
    mark("indoors"): 36, mark("outdoors"): 12, mark("buried"): 12, mark("portable"): 12, "": 24
}  # fmt: skip
"""How long a test holds, by where the piece lives; "" where nobody says. Common practice, no source."""
WORN = 1.1
"""From this multiple of its type's loss a piece is looked at twice as often. Common practice, no source."""
SOON_DAYS = 30


def reminder_of(piece: ShelfPiece, on: str) -> Reminder:
    """Return when a piece should be tested again, seen from a day."""
    if piece.tested_on is None:
        return Reminder(piece.tag, on, "due", say("It was never tested."))
    months = MONTHS[piece.exposure]
    worn = any(x.ratio_low is not None and x.ratio_low > WORN for x in piece.losses)
    months = months // 2 if worn else months
    due = date.fromisoformat(piece.tested_on) + timedelta(days=round(months * 30.437))
    left = (due - date.fromisoformat(on)).days
    urgency: Urgency = "due" if left <= 0 else "soon" if left <= SOON_DAYS else "later"
    return Reminder(piece.tag, due.isoformat(), urgency, _why_due(piece.exposure, worn, months, piece.tested_on))


def _why_due(exposure: str, worn: bool, months: int, tested_on: str) -> str:
    said: dict[str, str | int] = {"months": months, "day": tested_on}
    if exposure and worn:
        return say(
            "It is kept {where}, and it is worn: test it every {months} months; last on {day} (common practice, no"
            " source).",
            where=say(exposure), **said,
        )  # fmt: skip
    if exposure:
        return say("It is kept {where}: test it every {months} months; last on {day} (common practice, no source).",
                   where=say(exposure), **said)  # fmt: skip
    if worn:
        return say(
            "Its place is not stated, and it is worn: test it every {months} months; last on {day} (common practice, "
            "no source).",
            **said,
        )  # fmt: skip
    return say(
        "Its place is not stated: test it every {months} months; last on {day} (common practice, no source).",
               **said)  # fmt: skip


# What is believed of the pieces on the shelf: from all their evidence, else their stock's, else the catalogue

Answers = dict[str, tuple[str, dict[str, Any]]]
Progress = Callable[[float, str], None]
DRAWS = 1000


def evidence_of(ledger: Ledger, tag: str) -> tuple[Evidence, ...]:
    """Return the sheets and sweeps that speak of a piece, oldest first.

    Raises
    ------
    UnknownNameError
        If there is no such piece.
    """
    with ledger.reads() as snapshot:
        items.needed(snapshot, "piece", tag)
        return Shelved.of(snapshot).evidence(tag)


def belief_of_piece(ledger: Ledger, tag: str, *, on: date | None = None) -> PieceBelief:
    """Return what every sheet and sweep together let one believe of a piece on a day.

    All tests up to that day count together; from the last of them on, ageing is carried forward. Without any, the piece
    is judged by the rest of its stock, or taken as new.

    Parameters
    ----------
    tag : str
        The piece, on the shelf or put away.
    on : date, optional
        The day; without it, today, with every test that is kept.

    Returns
    -------
    PieceBelief
        ``belief`` holds draws of shape (draws,) of what its loss is made of; None where not even its type is known.

    Raises
    ------
    UnknownNameError
        If there is no such piece.
    InputError
        If a kept sweep cannot be read as one of a cable.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     found = belief_of_piece(ledger, "blue 7")
    ...     len(found.evidence), found.belief.growth.ndim
    (2, 1)
    """
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "piece", tag)
        shelf = Shelved.of(snapshot)
        return believed(shelf, *shelf.nouns([item]), on=on)


def believed(shelf: Shelved, piece: Piece, *, on: date | None = None) -> PieceBelief:
    """Return what is believed of one piece of a shelf on a day."""
    found = measured(shelf, piece, on=on)
    if found is not None:
        return found
    if piece.line is None:
        return PieceBelief(None, (), (of_no_type(piece.tag),))
    return PieceBelief(_new(piece), (), ())


def measured(shelf: Shelved, piece: Piece, *, on: date | None = None) -> PieceBelief | None:
    """Return what the tests of a piece, or of its stock, let one believe of it on a day; None where there are none."""
    from linewright.verbs.combine import combined

    evidence = evidence_until(shelf, piece.tag, on)
    tests = tests_of(shelf, piece, evidence)
    if not tests:
        return passed_on(shelf, piece, lambda parent: believed(shelf, parent, on=on)) or _by_stock(shelf, piece)
    found = combined([t for _, t in tests], year_of(today(on)))
    names = [evidence_name(e.kind, e.key) for e, _ in tests]
    basis = together((name for i, name in enumerate(names) if i not in found.doubted), say(" and "))
    remarks = (*(doubted(names[i]) for i in found.doubted), *(read_off(names[i], by) for i, by in found.off))
    return PieceBelief(replace(found.belief, basis=basis), evidence, remarks)


def evidence_until(shelf: Shelved, tag: str, on: date | None) -> tuple[Evidence, ...]:
    """Return what speaks of a piece up to a day, oldest first; for today and later, all of it."""
    found = shelf.evidence(tag)
    return (
        found if on is None or on.isoformat() >= today() else tuple(e for e in found if e.measured_on <= on.isoformat())
    )


def _by_stock(shelf: Shelved, piece: Piece) -> PieceBelief | None:
    found = by_stock(shelf, piece)
    if found is None:
        return None
    key, belief = found
    basis = say("stock, sheet {key}", key=key)
    return PieceBelief(replace(belief, basis=basis), (), (by_its_stock(piece.tag, piece.stock),))


def _new(piece: Piece) -> Belief:
    """Return what is believed of a piece taken as new: its type's law, and sound connectors."""
    import numpy as np

    from linewright.catalogue.belief import catalogue_belief
    from linewright.inference.bench.findings import connectors_db
    from linewright.inference.priors import DEFAULT

    ends = np.full(DRAWS, connectors_db(piece, 1e6, DEFAULT))
    belief = replace(catalogue_belief(piece, DRAWS), connector_db_per_sqrt_mhz=ends)
    return replace(belief, basis=say("catalogue, taken as new"))


def list_shelf(
    ledger: Ledger, *, archived: bool = False, on: date | None = None, progress: Progress | None = None
) -> Shelf:
    """Return the pieces on the shelf by tag, each with its belief, and which to test again.

    What was worked out before is remembered in the ledger, and worked out anew when evidence or engine has changed.

    Parameters
    ----------
    archived : bool
        Whether to list the pieces that are put away instead.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done, as each sheet is judged.

    Returns
    -------
    Shelf
        Pieces with their loss in dB by band (95 % interval), and reminders.

    Raises
    ------
    CannotError
        If the ledger cannot be read or written.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     [piece.tag for piece in list_shelf(ledger).pieces]
    ['black 20', 'blue 18', 'blue 7']
    """
    with ledger.reads() as snapshot:
        shelf = Shelved.of(snapshot)
        found = _Remembered.of(shelf, shelf.listed(archived=archived), on)
        new = found.anew(found.behind, progress)
    remember_answers(ledger, "belief", new if is_now(on) else {})
    return _listed(found.rows(new), on)


def glance_at_shelf(ledger: Ledger, *, on: date | None = None) -> tuple[Shelf, tuple[str, ...]]:
    """Return the shelf without waiting, and the pieces shown as they were before the newest evidence.

    A piece of which nothing is remembered, or which was itself changed since, is worked out at once.
    """
    with ledger.reads() as snapshot:
        shelf = Shelved.of(snapshot)
        found = _Remembered.of(shelf, shelf.listed(archived=False), on)
        new = found.anew([i for i in found.behind if found.version(i) != i.version])
    remember_answers(ledger, "belief", new if is_now(on) else {})
    return _listed(found.rows(new), on), tuple(i.key for i in found.behind if i.key not in new)


def _listed(found: Sequence[ShelfPiece], on: date | None) -> Shelf:
    due = (reminder_of(p, today(on)) for p in found if not p.archived)
    return Shelf(tuple(found), tuple(sorted((r for r in due if r.urgency != "later"), key=lambda r: r.due_on)))


def show_piece(ledger: Ledger, tag: str, *, on: date | None = None, progress: Progress | None = None) -> ShelfPiece:
    """Return a piece with what is believed of it on a day; without one, today.

    Parameters
    ----------
    tag : str
        The piece, on the shelf or put away.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done, as each sheet is judged.

    Returns
    -------
    ShelfPiece
        What it is, and its loss in dB by band with its 95 % interval.

    Raises
    ------
    UnknownNameError
        If there is no such piece.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     show_piece(ledger, "blue 7").tag
    'blue 7'
    """
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "piece", tag)
        found = _Remembered.of(Shelved.of(snapshot), [item], on)
        new = found.anew(found.behind, progress)
    remember_answers(ledger, "belief", new if is_now(on) else {})
    return found.rows(new)[0]


@dataclass(frozen=True, slots=True)
class _Remembered:
    """Pieces, what is remembered of them, and the digest of what each answer should rest on now."""

    shelf: Shelved
    chosen: Sequence[Item]
    known: Answers
    marks: Mapping[str, str]
    on: date | None

    @classmethod
    def of(cls, shelf: Shelved, chosen: Sequence[Item], on: date | None = None) -> _Remembered:
        """Look it up; for a day that somebody names, nothing is remembered."""
        marks = Marks.on(shelf, today(on))
        known = derived.known(shelf.reading, "belief", ENGINE) if is_now(on) else {}
        return cls(shelf, chosen, known, {i.key: marks.of(i) for i in chosen}, on)

    @property
    def behind(self) -> list[Item]:
        """The pieces of which nothing is remembered, or which something has changed since."""
        return [i for i in self.chosen if i.key not in self.known or self.known[i.key][0] != self.marks[i.key]]

    def version(self, item: Item) -> int:
        """Return the version of a piece that an answer was remembered of, 0 without any."""
        return int(self.known[item.key][1].get("version", 0)) if item.key in self.known else 0

    def anew(self, chosen: Sequence[Item], progress: Progress | None = None) -> Answers:
        """Work out what is believed of pieces."""
        if not chosen:
            return {}
        for done in prepared(self.shelf, [i.key for i in chosen]):
            if progress:
                progress(done, say("judging what was measured"))
        found = zip(chosen, self.shelf.nouns(chosen), strict=True)
        return {
            i.key: (self.marks[i.key], {"version": i.version, **summary(believed(self.shelf, noun, on=self.on), noun)})
            for i, noun in found
        }

    def rows(self, new: Answers) -> list[ShelfPiece]:
        """Return the pieces with what is believed of each; new answers go before those remembered."""
        return [_row(i, (new.get(i.key) or self.known[i.key])[1]) for i in self.chosen]


def is_now(on: date | None) -> bool:
    """Return whether a day is today, of which answers are remembered."""
    return on is None or on.isoformat() == today()


def remember_answers(ledger: Ledger, kind: str, new: Answers) -> None:
    """Remember answers, where the ledger can be written to: they may be worked out again at any time."""
    if new:
        from datetime import UTC, datetime

        with suppress(CannotError), ledger.writes(datetime.now(UTC)) as w:
            derived.remember(w, kind, ENGINE, new)


def summary(found: PieceBelief, piece: Piece) -> dict[str, Any]:
    """Return what a shelf shows of a belief, as plain data."""
    belief, evidence, stand = found.belief, found.evidence, standing_of(found, piece)
    return {
        "basis": kept(belief.basis if belief else say("nothing")),
        "tests": len(evidence),
        "tested_on": evidence[-1].measured_on if evidence else None,
        "losses": [list(_at(belief, piece, f)) for f in SHOWN_HZ] if belief else [],
        "remarks": [kept(remark) for remark in found.remarks],
        "standing": stand.standing,
        "times": [stand.ratio, stand.ratio_low, stand.ratio_high],
    }


def _at(belief: Belief, piece: Piece, frequency_hz: float) -> tuple[float | None, ...]:
    import numpy as np

    from linewright.inference.bench.findings import catalogue_db
    from linewright.inference.priors import DEFAULT

    low, middle, high = (float(v) for v in np.quantile(belief.loss_db(frequency_hz), [0.025, 0.5, 0.975]))
    if piece.line is None:
        return frequency_hz, middle, low, high, None, None, None
    new = catalogue_db(piece, frequency_hz, DEFAULT)
    return frequency_hz, middle, low, high, middle / new, low / new, high / new


def _row(item: Item, said: dict[str, Any]) -> ShelfPiece:
    body = item.body
    return ShelfPiece(
        item.key, body.get("line"), length_of(item), body.get("connectors", 2), body.get("stock"),
        body.get("exposure", ""), item.version, item.archived, words(said["basis"]), said["tests"], said["tested_on"],
        tuple(BelievedLoss(*row) for row in said["losses"]), tuple(words(remark) for remark in said["remarks"]),
        said["standing"], *said["times"],
    )  # fmt: skip


def length_of(item: Item) -> float:
    """Return the length of a kept piece, in metres."""
    from linewright.core.quantities import length_m

    return length_m(item.body["length"])
