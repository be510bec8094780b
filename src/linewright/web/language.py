"""The manner pages are written in: what a person likes, kept by their browser, and templates whose words are messages.

Every run of words in a template is a message of the catalogue, with the expressions in it as places: nobody has to mark
it. A word inside an expression is marked by ``say``. What a page's context holds writes itself in the same manner.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from contextvars import ContextVar
from dataclasses import asdict, dataclass, fields
from html import unescape
from typing import Any

from jinja2 import Environment
from jinja2.ext import Extension
from jinja2.filters import do_join
from jinja2.nodes import EvalContext
from jinja2.utils import pass_eval_context
from markupsafe import Markup, escape

from linewright.core.formatting import manner
from linewright.core.locale import ENGLISH, LANGUAGES, Manner
from linewright.core.messages import say, say_many, written

# What a person likes, kept by their browser

TASTE = "taste"
"""The cookie that keeps it."""


@dataclass(frozen=True, slots=True)
class Taste:
    """How a person reads: each "" is the language's, the browser's or the system's own."""

    language: str = ""
    lengths: str = "m"
    decimal: str = ""
    look: str = ""
    sheet: str = "a4"
    motion: str = ""

    @property
    def cookie(self) -> str:
        """What the cookie holds: what differs from the usual, in letters that need no quotes.

        >>> Taste(language="de", lengths="ft").cookie
        'language-de.lengths-ft'
        """
        usual = asdict(Taste())
        return ".".join(f"{name}-{value}" for name, value in asdict(self).items() if value != usual[name])


CHOICES: Mapping[str, tuple[str, ...]] = {
    "language": ("", *LANGUAGES),
    "lengths": ("m", "ft"),
    "decimal": ("", "point", "comma"),
    "look": ("", "light", "dark"),
    "sheet": ("a4", "letter"),
    "motion": ("", "still"),
}
"""What each may be."""


def taste_from(given: Mapping[str, str]) -> Taste:
    """Return a taste from a form; what is not known stays as usual.

    >>> taste_from({"language": "de", "look": "purple"})
    Taste(language='de', lengths='m', decimal='', look='', sheet='a4', motion='')
    """
    return Taste(**{name: given[name] for name, known in CHOICES.items() if given.get(name) in known})


def taste_of(cookies: Mapping[str, str]) -> Taste:
    """Return the taste that a browser kept."""
    pairs = (part.split("-", 1) for part in cookies.get(TASTE, "")[:200].split(".") if "-" in part)
    return taste_from(dict(pairs))


def asked_language(accepted: str) -> str:
    """Return which of our languages a browser likes best (RFC 9110, 12.5.4); English where it names none.

    >>> asked_language("de-AT,de;q=0.9,en;q=0.8"), asked_language("fr,en;q=0.5,de;q=0.7"), asked_language("")
    ('de', 'de', 'en')
    """
    best = ("en", 0.0)
    for part in accepted[:200].split(","):
        name, _, weight = part.strip().partition(";q=")
        language = name.partition("-")[0].lower()
        liked = float(weight) if re.fullmatch(r"[01](\.\d{0,3})?", weight) else float(not weight)
        if language in LANGUAGES and liked > best[1]:
            best = (language, liked)
    return best[0]


def manner_of(taste: Taste, accepted: str = "") -> Manner:
    """Return the manner a person reads in: as they chose, else as their browser asks."""
    return manner(taste.language or asked_language(accepted), taste.decimal or None, taste.lengths)


_MANNER: ContextVar[Manner] = ContextVar("manner of the page being written", default=ENGLISH)


def speak(chosen: Manner) -> None:
    """Write what follows in this request in a manner."""
    _MANNER.set(chosen)


def spoken() -> Manner:
    """Return the manner of the request being answered."""
    return _MANNER.get()


def now_written(text: str) -> str:
    """Return a text in the manner of the request being answered, a plain string."""
    return str(written(text, _MANNER.get()))


# Words that stand for something in what is typed


def spelled(text: str, words: Iterable[str]) -> str:
    """Return a text with these of its words in the language of the request.

    >>> spelled("400 W power", ("power",))
    '400 W power'
    """
    return _swapped(text, {word: now_written(say(word)) for word in words})


def unspelled(text: str, words: Iterable[str]) -> str:
    """Return a text with these words as they are stored, whether it has them so or in the language of the request."""
    return _swapped(text, {now_written(say(word)): word for word in words})


def _swapped(text: str, pairs: Mapping[str, str]) -> str:
    if not pairs:
        return text
    known = {old.lower(): new for old, new in pairs.items()}
    for_any = "|".join(re.escape(old) for old in sorted(known, key=len, reverse=True))
    return re.sub(rf"(?<!\w)(?:{for_any})(?!\w)", lambda found: known[found[0].lower()], text, flags=re.IGNORECASE)


# Templates whose words are messages

ATTRIBUTES = ("aria-label", "placeholder", "title", "alt", "data-words")
"""Attributes that a person reads."""
VERBATIM = ("script", "style", "code", "pre", "textarea")
UNITS = frozenset({"dB", "MHz", "kHz", "Hz", "ohm", "SWR", "CSV", "TOML", "SVG", "PNG", "JSON", "linewright", "EIRP"})
"""What is the same in every language."""
_VALUE = r"\"(?:\{\{.*?\}\}|\{%.*?%\}|[^\"])*\""
_TAG = rf"<!?/?[a-zA-Z](?:\{{\{{.*?\}}\}}|\{{%.*?%\}}|{_VALUE}|'[^']*'|[^<>\"'])*>"
_WHOLE = "|".join(rf"<{name}\b.*?</{name}>" for name in VERBATIM)
_TOKEN = re.compile(rf"(\{{#.*?#\}}|\{{%.*?%\}}|<!--.*?-->|{_WHOLE}|{_TAG})", re.DOTALL)
_EXPRESSION = re.compile(r"\{\{(.*?)\}\}", re.DOTALL)
_READ = re.compile(rf"(\s(?:{'|'.join(ATTRIBUTES)})=\")((?:\{{\{{.*?\}}\}}|[^\"{{]|\{{(?![{{%]))*)(\")", re.DOTALL)
_WORD = re.compile(r"[^\W\d_]{2,}")
_NAME = re.compile(r"\s*(?:\w+\.)*([a-z]\w*)\s*(?:\||$)")


class Worded(Extension):
    """Turns every run of words in a template into a message before the template is compiled."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """Return the template with its words as calls of ``in_words``."""
        return "".join(_worded(part, i % 2 == 1) for i, part in enumerate(_TOKEN.split(source)))


def _worded(part: str, is_token: bool) -> str:
    if not is_token:
        return _run(part)
    if part.startswith("<") and not part.startswith(("<!", *(f"<{name}" for name in VERBATIM))):
        return _READ.sub(lambda found: found[1] + _run(found[2], quoted=True) + found[3], part)
    return part


def _run(text: str, *, quoted: bool = False) -> str:
    """Return a run of text and expressions as one call, where there are words in it; its outer space stays outside."""
    bare = unescape(_EXPRESSION.sub(" ", text))
    if all(word in UNITS for word in _WORD.findall(bare)):
        return text
    inner = text.strip()
    start = text.index(inner)
    pieces = _EXPRESSION.split(" ".join(inner.split()))
    names: dict[str, str] = {}
    pattern = "".join(
        unescape(piece).replace("{", "{{").replace("}", "}}") if i % 2 == 0 else "{" + _place(piece, names) + "}"
        for i, piece in enumerate(pieces)
    )
    parts = "".join(f", {name}=({expression})" for name, expression in names.items())
    mark = "'" if quoted else '"'
    told = pattern.replace("\\", "\\\\").replace(mark, "\\" + mark)
    return f"{text[:start]}{{{{ in_words({mark}{told}{mark}{parts}) }}}}{text[start + len(inner) :]}"


def _place(expression: str, names: dict[str, str]) -> str:
    """Return the name of an expression's place: its own last word, else a letter; one name, one expression."""
    found = _NAME.match(expression)
    name = base = found[1] if found else "x"
    number = 2
    while names.get(name, expression) != expression:
        name, number = f"{base}{number}", number + 1
    names[name] = expression
    return name


def in_words(pattern: str, /, **parts: Any) -> Markup:
    """Return a message of a template in the manner of the request, what stands in its places escaped."""
    told = escape(_MANNER.get().message(pattern))
    return told.format(**{name: _shown(part) for name, part in parts.items()}) if parts or "{" in pattern else told


def _shown(value: Any) -> Any:
    """Return a value as a page shows it: a text in the manner of the request."""
    return written(value, _MANNER.get()) if isinstance(value, str) and not isinstance(value, Markup) else value


@pass_eval_context
def _joined(context: EvalContext, values: Iterable[Any], d: str = "", attribute: str | int | None = None) -> str:
    return str(do_join(context, (_shown(v) for v in values) if attribute is None else values, _shown(d), attribute))


def teach(templates: Environment) -> None:
    """Let templates write themselves in the manner of the request."""
    templates.add_extension(Worded)
    templates.finalize = _shown
    templates.globals |= {"in_words": in_words, "say": say, "say_many": say_many, "spoken": spoken}
    templates.filters |= {"join": _joined, "spelled": lambda text, words: spelled(now_written(text), words)}


assert set(CHOICES) == {item.name for item in fields(Taste)}
