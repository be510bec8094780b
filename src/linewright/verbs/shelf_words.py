"""What the shelf says of a piece, and how a ledger remembers a sentence: by its pattern and its parts."""

from __future__ import annotations

from typing import Any

from linewright.core.messages import Joined, Sentence, say, together


def evidence_name(kind: str, key: str) -> str:
    """Return the name of a sheet or sweep, "sheet 3"."""
    return say("sheet {key}", key=key) if kind == "sheet" else say("sweep {key}", key=key)


def left_out(test: str) -> str:
    """Return why a test does not count."""
    return say(
        "{test} contradicts what came later and is left out: the piece has changed, or one of the tests is wrong.",
        test=test,
    )


def at_odds(test: str) -> str:
    """Return what is said of a test that contradicts another of the same day."""
    return say(
        "{test} contradicts another test of that day: one of them is wrong, or of another piece. Both count, and the"
        " interval is wide enough for both.",
        test=test,
    )


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
