"""A language without words: what still reads as English in it was glued from bare text, not said."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from itertools import chain
from string import Formatter

from linewright.core.locale import Manner
from linewright.core.messages import written

SENTENCES = {"why", "weakest", "remarks", "cautions", "action", "sentence"}
"""Fields of results that hold sentences."""
SYMBOLS = (
    "k0, k1, k2", "Z0", "|Γ|", "dB/m", "dBm", "dBi", "dB", "ohm", "kW", "mW", "GHz", "MHz", "kHz", "kV", "ns", "e+",
    "W", "V", "A", "K", "m", "s",
)  # fmt: skip
"""What is the same in every language: symbols of formulas, and units."""

ADDRESS = re.compile(r"\b[\w-]+(\.[\w-]+)+/\S+")


class Wordless(Manner):
    """A language in which every pattern is brackets around its places, with no words of its own."""

    def message(self, pattern: str, many: str | None = None, count: int = 1) -> str:
        """Return the places of a pattern in brackets."""
        places = [f"{{{name}}}" for _, name, _, _ in Formatter().parse(pattern) if name]
        return f"⟦{' '.join(places)}⟧"


def texts(noun: object) -> Iterator[str]:
    """Yield every sentence in a result: its words, and figure, formula and inputs of its workings."""
    for field in fields(noun):  # type: ignore[arg-type]
        value = getattr(noun, field.name)
        entries = value if isinstance(value, tuple) else (value,)
        if field.name == "remedies":
            yield from (said for remedy in entries for said in (remedy.what, *remedy.needs))
        elif field.name == "workings":
            yield from (said for w in entries for said in (w.figure, w.formula, *chain.from_iterable(w.inputs)))
        elif field.name in SENTENCES:
            yield from entries
        else:
            yield from chain.from_iterable(texts(x) for x in entries if is_dataclass(x))


def english(text: str, names: set[str]) -> str:
    """Return the letters a text keeps in the language without words, its names, units and symbols taken out."""
    said = ADDRESS.sub(" ", written(text, Wordless()))
    for known in sorted({*names, *SYMBOLS}, key=len, reverse=True):
        said = said.replace(known, " ")
    return "".join(c for c in said if c.isalpha())


def stays_english(found: Iterator[str] | list[str], names: set[str]) -> dict[str, str]:
    """Return the texts that keep letters of English, and which."""
    return {text: left for text in found if (left := english(text, names))}
