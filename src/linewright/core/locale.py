"""The manner a person reads in: language, decimal mark and unit of length."""

from __future__ import annotations

import gettext
from functools import lru_cache
from pathlib import Path
from typing import Literal

from linewright.core.frozen import dataclass

LOCALE = Path(__file__).parent.parent / "locale"
"""Catalogues of messages, a folder a language, made by ``tools/messages.py``."""

LANGUAGES = {"en": ".", "de": ","}
"""The languages that are complete, and the decimal mark each uses."""

FEET_PER_METRE = 1.0 / 0.3048
"""The international foot is 0.3048 m exactly (NIST SP 811, appendix B.6)."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How figures and sentences are written.

    >>> Manner(decimal=",").number("3.7")
    '3,7'
    """

    language: str = "en"
    decimal: Literal[".", ","] = "."
    lengths: Literal["m", "ft"] = "m"

    def number(self, digits: str) -> str:
        """Return digits with this manner's decimal mark."""
        return digits.replace(".", self.decimal)

    def message(self, pattern: str, many: str | None = None, count: int = 1) -> str:
        """Return a message in this language; one the catalogue lacks stays English."""
        messages = _messages(self.language)
        return messages.gettext(pattern) if many is None else messages.ngettext(pattern, many, count)


ENGLISH = Manner()
"""What every text shows before another manner is asked of it."""


@lru_cache
def _messages(language: str) -> gettext.NullTranslations:
    if language == "en":
        return gettext.NullTranslations()
    return gettext.translation("linewright", LOCALE, [language])
