"""A language without words: what still reads as English in it was glued from bare text, not said."""

from __future__ import annotations

import re
from ast import literal_eval
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from functools import cache
from importlib import import_module
from pkgutil import iter_modules
from string import Formatter
from typing import Literal, get_args, get_origin

from linewright.core import nouns
from linewright.core.locale import Manner
from linewright.core.messages import Said, written
from linewright.core.nouns.bench import REFERENCE
from linewright.core.nouns.bench_result import USES

KEYS = {"key", "kind", "source"}
"""Fields that are no words of ours: keys, and the titles of sources."""
CATALOGUE = {"law", "note", "points", "provenance", "table"}
"""Fields of a line type in which a source is quoted."""
SYMBOLS = (
    "k0, k1, k2", "Z0", "|Γ|", "dB/m", "dBm", "dBi", "dB", "ohm", "kW", "mW", "GHz", "MHz", "kHz", "kV", "ns", "e+",
    "W", "V", "A", "K", "cm", "m", "s",
)  # fmt: skip
"""What is the same in every language: symbols of formulas, and units."""

LITERAL = re.compile(r"Literal\[([^\]]*)\]")
ADDRESS = re.compile(r"\b[\w-]+(\.[\w-]+)+/\S+")


class Wordless(Manner):
    """A language in which every pattern is brackets around its places, with no words of its own."""

    def message(self, pattern: str, many: str | None = None, count: int = 1) -> str:
        """Return the places of a pattern in brackets."""
        places = [f"{{{name}}}" for _, name, _, _ in Formatter().parse(pattern) if name]
        return f"⟦{' '.join(places)}⟧"


@cache
def contract() -> frozenset[str]:
    """Return the words that stand for a case in a document, as the nouns list them: a reader's language names them."""
    found: set[str] = {REFERENCE, "none of these", *USES}
    for file in iter_modules(nouns.__path__):
        for value in vars(import_module(f"{nouns.__name__}.{file.name}")).values():
            if get_origin(value) is Literal:
                found |= {word for word in get_args(value) if isinstance(word, str)}
            for listed in LITERAL.findall(" ".join(map(str, getattr(value, "__annotations__", {}).values()))):
                found |= set(literal_eval(f"({listed},)"))
    return frozenset(found)


def texts(answer: object, field: str = "") -> Iterator[str]:
    """Yield every text of a result, whatever field it stands in, but for keys and the words of its contract."""
    if isinstance(answer, str):
        if field not in KEYS and (isinstance(answer, Said) or answer not in contract()):
            yield answer
    elif isinstance(answer, (tuple, list)):
        for entry in answer:
            yield from texts(entry, field)
    elif is_dataclass(answer):
        for item in fields(answer):
            if item.name not in CATALOGUE:
                yield from texts(getattr(answer, item.name), item.name)


def english(text: str, names: set[str]) -> str:
    """Return the letters a text keeps in the language without words, its names, units and symbols taken out."""
    said = ADDRESS.sub(" ", written(text, Wordless()))
    for known in sorted({*names, *SYMBOLS}, key=len, reverse=True):
        said = said.replace(known, " ")
    return "".join(c for c in said if c.isalpha())


def stays_english(found: Iterator[str] | list[str], names: set[str]) -> dict[str, str]:
    """Return the texts that keep letters of English, and which."""
    return {text: left for text in found if (left := english(text, names))}
