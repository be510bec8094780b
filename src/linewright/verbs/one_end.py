"""The loss of a line whose far end is out of reach: proved, and kept as a test of its piece."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from linewright.core.errors import InputError
from linewright.core.messages import say
from linewright.core.nouns.one_end import OneEndResult, OneEndTest
from linewright.verbs.shelf_open import By, today, writing

if TYPE_CHECKING:
    from linewright.core.nouns.shelf import Kept
    from linewright.store.ledger import Ledger


def prove_one_end(test: OneEndTest) -> OneEndResult:
    """Prove a line from readings at its near end.

    Parameters
    ----------
    test : OneEndTest
        Readings with the far end open, shorted, on a load of known SWR or on the antenna; and the instrument.

    Returns
    -------
    OneEndResult
        Loss at each frequency with its 95 % interval, what each method says, the law, a verdict where type and length
        are known, and which reading not to believe.

    Raises
    ------
    InputError
        If a reading cannot be one: an SWR below 1, a return loss below 0, a load nothing is known of.

    References
    ----------
    Return loss of an open and a shorted line, twice the loss: D. M. Pozar, Microwave Engineering, 4th ed., pages 81 to
    82; the other methods: ``docs/how-one-end-works.md``.

    >>> from linewright.core.nouns.one_end import OneEndReading
    >>> pair = (OneEndReading(1, "open", 144e6, "swr", 7.1), OneEndReading(2, "short", 144e6, "swr", 6.8))
    >>> (loss,) = prove_one_end(OneEndTest(pair)).losses
    >>> 1.1 < loss.loss_db < 1.4, round(loss.by_hand_db, 2)
    (True, 1.26)
    """
    from linewright.inference.one_end.prove import prove_test
    from linewright.present.compose.one_end_words import worded

    return prove_test(test, worded=worded)


def test_of_piece(ledger: Ledger, tag: str, test: OneEndTest) -> OneEndTest:
    """Return a test as one of a kept piece: with its tag, and the type, length and connectors kept of it.

    Raises
    ------
    UnknownNameError
        If there is no such piece.
    InputError
        If a reading is of another piece.
    """
    from linewright.store import items
    from linewright.verbs.shelf_evidence import Shelved

    with ledger.reads() as snapshot:
        (piece,) = Shelved.of(snapshot).nouns([items.needed(snapshot, "piece", tag)])
    other = next((r for r in test.readings if r.piece not in (None, piece.tag)), None)
    if other is not None:
        raise InputError(
            "piece",
            say(
                "must be one and the same; reading {row} is of {piece}, not {tag}",
                row=other.row,
                piece=repr(other.piece),
                tag=repr(tag),
            ),
        )
    return replace(
        test, tag=piece.tag, line=piece.line, length_m=piece.length_m, connectors=piece.connectors,
        readings=tuple(replace(r, piece=piece.tag) for r in test.readings),
    )  # fmt: skip


test_of_piece.__test__ = False  # type: ignore[attr-defined]  # what is tested here is a cable


def keep_one_end(ledger: Ledger, test: OneEndTest, *, on: date | None = None, by: By | None = None) -> Kept:
    """Keep a test of a piece as a bench sheet of its own; from now on it counts in all that is believed of the piece.

    Parameters
    ----------
    test : OneEndTest
        As ``test_of_piece`` returns it.
    on : date, optional
        When it was read; without it, today.

    Raises
    ------
    InputError
        If it rests on an impedance of its own, which a sheet cannot hold.
    """
    from linewright.files.one_end import one_end_sheet
    from linewright.store import items
    from linewright.verbs.shelf_filing import sheet_into
    from linewright.verbs.shelf_nouns import PIECE_KEYS

    if test.impedance_ohm is not None:
        rule = say("cannot be kept with a test: a piece has the impedance of its type")
        raise InputError("impedance", rule, cure=say("Leave it out, or keep a line type of your own and name it."))
    by = by or By()
    day = today(on) if on else by.day
    with writing(ledger, by) as w:
        body = items.needed(w.connection, "piece", test.tag).body
        text = one_end_sheet(test, {k: body[k] for k in PIECE_KEYS if k in body}, day)
        return sheet_into(w, {f"{test.tag}, one end.toml": text.encode()}, day)
