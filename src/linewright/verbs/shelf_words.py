"""What the shelf says of a piece, and how a ledger remembers a sentence: by its pattern and its parts."""

from __future__ import annotations

from math import expm1
from typing import TYPE_CHECKING, Any

from linewright.core.formatting import chance, digits, frequency, plain, quantity
from linewright.core.messages import Joined, Sentence, say, together

if TYPE_CHECKING:
    from linewright.inference.history.posterior import PieceEvent


LIKELY = 0.5
"""Below this probability an explanation is called possible."""
HARDLY = 0.10
"""Under this chance of passing a limit within five years, that is said to be hardly so."""


def evidence_name(kind: str, key: str) -> str:
    """Return the name of a sheet or sweep, "sheet 3"."""
    return say("sheet {key}", key=key) if kind == "sheet" else say("sweep {key}", key=key)


def doubted(test: str) -> str:
    """Return what is said of a test that does not fit the others."""
    return say(
        "{test} does not fit the other tests and hardly counts: it is wrong, or a test of another piece.", test=test
    )


def read_off(test: str, by_log: float) -> str:
    """Return what is said of a session whose meters read off that day, by so much of the loss (ln)."""
    percent = plain(abs(100.0 * expm1(by_log)), 0)
    cure = say("The figures allow for that; a known attenuator read on its meters would confirm it.")
    told = {"test": test, "percent": percent}
    high = say("{test} shows the loss of all its pieces about {percent} % too high.", **told)
    low = say("{test} shows the loss of all its pieces about {percent} % too low.", **told)
    return together([high if by_log > 0.0 else low, cure])


def passing_words(
    frequency_hz: float, limit_db: float, years: tuple[float | None, ...], chances: tuple[float, float]
) -> str:
    """Return when a loss passes a limit: the ends and the middle of the years until then, and how likely it has.

    ``chances`` are those of today and of five years on; a year of None lies beyond the horizon.
    """
    low, _, high = years
    now, five = chances
    said = {"limit": quantity(digits(limit_db), "dB"), "f": frequency(frequency_hz)}
    if high == 0.0:
        return say("It already loses more than {limit} on {f}.", **said)
    if low is None:
        return say("It will not pass {limit} on {f} within twenty years, if it goes on like this.", **said)
    if high is not None and low > 0.0:
        return say("It will pass {limit} on {f} in {low} to {high} years, if it goes on like this.",
                   low=plain(low, 0 if low >= 2 else 1), high=plain(high, 0 if high >= 2 else 1), **said)  # fmt: skip
    if five < HARDLY:
        return say(
            "It is unlikely to pass {limit} on {f} within five years (probability {five}), if it goes on like this.",
                   five=chance(five), **said)  # fmt: skip
    if low > 0.0:
        return say(
            "It may pass {limit} on {f} from {low} years on, with a probability of {five} within five, if it goes on "
            "like this. Test again after a season.",
            low=plain(low, 0 if low >= 2 else 1), five=chance(five), **said,
        )  # fmt: skip
    return say(
        "Cannot tell when it passes {limit} on {f}: the probability that it has is {now}, and that it will have in "
        "five years {five}, if it goes on like this. Test again after a season.",
        now=chance(now), five=chance(five), **said,
    )  # fmt: skip


def change_words(change: PieceEvent, test: str, first: str, last: str, *, unsure: bool = False) -> str:
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
    if change.p < LIKELY and change.kind != "steady":
        return _perhaps(change, test, said)
    if change.kind == "ageing" and change.rate_per_year is not None:
        low, high = max(change.rate_low or 0.0, 0.0), change.rate_high or 0.0
        return say(
            "It aged steadily from {first} to {last}, by about {rate} % a year ({low} to {high}; probability {p}).",
            rate=plain(100 * change.rate_per_year, 0), low=plain(100 * low, 0), high=plain(100 * high, 0), **said,
        )  # fmt: skip
    if change.kind == "step" and unsure:
        return say(
            "Its loss changed in one step between {first} and {last} (probability {p}): look for water, a blow, or a "
            "new plug. Only one test shows it: test again, to rule out a wrong tag.",
            **said,
        )
    if change.kind == "step":
        return say(
            "Its loss changed in one step between {first} and {last} (probability {p}): look for water, a blow, or a "
            "new plug.",
            **said,
        )
    if change.kind == "other piece":
        return say(
            "{test} of {first} seems to be a test of another piece (probability {p}): its loss does not fit the "
            "other tests. Check the tag, and test again.",
            test=test, **said,
        )  # fmt: skip
    return say("Nothing shows that its loss changed between {first} and {last} (probability {p}).", **said)


def _perhaps(change: PieceEvent, test: str, said: dict[str, str]) -> str:
    """Return what is said of a thing that is less likely than not."""
    if change.kind == "ageing":
        return say("It may have aged steadily between {first} and {last} (probability {p}).", **said)
    if change.kind == "step":
        return say("Its loss may have changed in one step between {first} and {last} (probability {p}).", **said)
    return say("{test} of {first} may be a test of another piece (probability {p}).", test=test, **said)


def by_its_stock(tag: str, stock: str | None) -> str:
    """Return what is said of a piece judged by its stock."""
    return say("{piece} itself was not measured: it is judged by the rest of {stock}.",
               piece=tag, stock=stock or "")  # fmt: skip


def of_no_type(tag: str) -> str:
    """Return what is said of a piece of which nothing is known."""
    return say("{piece} is of unknown type and was not measured: nothing can be said about its loss yet.", piece=tag)


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
