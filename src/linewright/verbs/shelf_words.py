"""What the shelf says of a piece, and how a ledger remembers a sentence: by its pattern and its parts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from linewright.core.formatting import plain
from linewright.core.messages import Joined, Sentence, say, together

if TYPE_CHECKING:
    from linewright.inference.history.posterior import Change


def evidence_name(kind: str, key: str) -> str:
    """Return the name of a sheet or sweep, "sheet 3"."""
    return say("sheet {key}", key=key) if kind == "sheet" else say("sweep {key}", key=key)


def doubted(test: str) -> str:
    """Return what is said of a test that does not fit the others."""
    return say("{test} does not fit the other tests and hardly counts: it is wrong, or of another piece.", test=test)


def change_words(change: Change, test: str, first: str, last: str, *, unsure: bool = False) -> str:
    """Return what is said of one thing that may have happened to a piece.

    Parameters
    ----------
    change : Change
        The code, its chance and its rate.
    test : str
        The name of the test it speaks of.
    first, last : str
        The days between which it happened.
    unsure : bool
        Whether a single test on one side of a step is all that shows it.
    """
    said = {"first": first, "last": last, "p": plain(change.p, 2)}
    if change.kind == "ageing" and change.rate_per_year is not None:
        low, high = max(change.rate_low or 0.0, 0.0), change.rate_high or 0.0
        return say(
            "It aged steadily between {first} and {last}, by about {rate} % a year ({low} to {high}; probability {p}).",
            rate=plain(100 * change.rate_per_year, 0), low=plain(100 * low, 0), high=plain(100 * high, 0), **said,
        )  # fmt: skip
    if change.kind == "step" and unsure:
        return say(
            "Its loss changed at once between {first} and {last} (probability {p}): look for water, a blow, or a plug"
            " made anew. One test alone shows it: test again, to tell it from a wrong tag.",
            **said,
        )
    if change.kind == "step":
        return say(
            "Its loss changed at once between {first} and {last} (probability {p}): look for water, a blow, or a plug"
            " made anew.",
            **said,
        )
    if change.kind == "other piece":
        return say(
            "{test} of {first} does not seem to be of this piece (probability {p}): its loss does not fit the other"
            " tests. Check the tag; a test again would tell.",
            test=test, **said,
        )  # fmt: skip
    return say("Nothing shows that its loss changed between {first} and {last} (probability {p}).", **said)


def by_its_stock(tag: str, stock: str | None) -> str:
    """Return what is said of a piece judged by its stock."""
    return say("Nothing was measured of {piece} itself: it is judged by the rest of {stock}.",
               piece=tag, stock=stock or "")  # fmt: skip


def of_no_type(tag: str) -> str:
    """Return what is said of a piece of which nothing is known."""
    return say("{piece} is of no known type and was not measured: nothing can be said of its loss yet.", piece=tag)


def kept(text: str) -> Any:
    """Return a sentence of names as plain data that ``words`` makes a sentence of again; figures stay English.

    >>> kept(say("sheet {key}", key="a"))
    {'say': 'sheet {key}', 'parts': {'key': 'a'}}
    """
    if isinstance(text, Sentence):
        return {"say": text.pattern, "parts": {name: kept(part) for name, part in text.parts.items()}}
    if isinstance(text, Joined):
        return {"together": [kept(part) for part in text.texts], "between": kept(text.between)}
    return str(text)


def words(data: Any) -> str:
    """Return the sentence that ``kept`` gave; a plain text stays as it is.

    >>> words(kept(of_no_type("blue 7"))) == of_no_type("blue 7")
    True
    """
    if isinstance(data, str):
        return data
    if "together" in data:
        return together([words(part) for part in data["together"]], words(data["between"]))
    pattern, parts = data["say"], data["parts"]
    return say(pattern, **{name: words(part) for name, part in parts.items()})
