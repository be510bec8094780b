"""Sentences as values: what they say in English is what they show, and their parts are kept to say it anew.

An engine says what it found once, in English. A report in another language, with a decimal comma or in feet, asks the
same value to write itself in that manner; nothing has to be worked out again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from string import Formatter

from linewright.core.locale import ENGLISH, Manner


class Said(str):
    """A text that can write itself in another manner; as a plain string it is English.

    >>> isinstance(say("It loses {loss}.", loss="3 dB"), str)
    True
    """

    def write(self, manner: Manner) -> str:
        """Return this text in a manner; a text without parts is a name, the same in every language."""
        return str(self)

    def __deepcopy__(self, memo: dict[int, object]) -> Said:
        """Return the text itself: it never changes, and a result holds hundreds."""
        return self


def written(text: str, manner: Manner) -> str:
    """Return a text in a manner; a plain string stays as it is.

    >>> from linewright.core.formatting import digits
    >>> comma = Manner(decimal=",")
    >>> written("RG-58C/U 2.5", comma), written(say("{x} dB", x=digits(2.5)), comma)
    ('RG-58C/U 2.5', '2,5 dB')
    """
    return text.write(manner) if isinstance(text, Said) else text


class Sentence(Said):
    """A pattern of the catalogue of messages with its parts in place."""

    pattern: str
    many: str | None
    how_many: int
    parts: dict[str, str]

    def write(self, manner: Manner) -> str:
        """Return the sentence by the pattern of that language, its parts written in the same manner."""
        return self.in_words_of(manner).format_map({name: written(part, manner) for name, part in self.parts.items()})

    def in_words_of(self, manner: Manner) -> str:
        """Return the pattern in that language, its places open."""
        return manner.message(self.pattern, self.many, self.how_many)


Part = str | int | Path | BaseException
"""What may stand in a place: a text, a count, the path of a file, or the cause of an error."""


def say(pattern: str, **parts: Part) -> str:
    """Return a sentence from a pattern with named places.

    Parameters
    ----------
    pattern : str
        English, with ``{name}`` places and doubled braces for real ones. It is the key of the catalogue of messages,
        so it stands as one literal in the call.
    **parts : Part
        What stands in the places: names as they are, other sentences and figures as ``Said``.

    >>> say("the {meter} reads {level}", meter="desk meter", level="3 W")
    'the desk meter reads 3 W'
    """
    return _sentence(pattern, None, 1, parts)


def say_many(one: str, many: str, count: int, **parts: Part) -> str:
    """Return a sentence that counts: ``one`` for a count of one, else ``many``; the count stands at ``{count}``.

    >>> say_many("{count} reading", "{count} readings", 1), say_many("{count} reading", "{count} readings", 3)
    ('1 reading', '3 readings')
    """
    return _sentence(one, many, count, {**parts, "count": count})


def _sentence(pattern: str, many: str | None, count: int, parts: Mapping[str, Part]) -> str:
    kept = {name: part if isinstance(part, str) else str(part) for name, part in parts.items()}
    text = Sentence((pattern if many is None or count == 1 else many).format_map(kept))
    text.pattern, text.many, text.how_many, text.parts = pattern, many, count, kept
    return text


def mark(message: str) -> str:
    """Return a message as it is: it marks a word kept in a table, so that the catalogue of messages takes it in.

    >>> say(mark("cannot tell"))
    'cannot tell'
    """
    return message


GAP = "…"
"""Stands for a part that is told elsewhere."""


class Frame(Said):
    """A sentence with gaps for its parts."""

    sentence: Sentence

    def write(self, manner: Manner) -> str:
        """Return it in that language."""
        found = Formatter().parse(self.sentence.in_words_of(manner))
        return "".join(text if name is None else text + GAP for text, name, _, _ in found)


class Filling(Said):
    """What stands in one gap of a sentence: the gaps are counted in the order of the language it is written in."""

    sentence: Sentence
    number: int

    def write(self, manner: Manner) -> str:
        """Return it in that manner."""
        return written(self.sentence.parts[_places(self.sentence.in_words_of(manner))[self.number]], manner)


def _places(pattern: str) -> list[str]:
    """Return the names of a pattern's places in their order."""
    return [name for _, name, _, _ in Formatter().parse(pattern) if name]


def taken_apart(text: str) -> tuple[str, tuple[str, ...]]:
    """Return the frame of a sentence and what fills its gaps, so that many of a kind can stand in a table.

    A text that is no sentence, or has no parts, has an empty frame and fills its one gap by itself.

    >>> taken_apart(say("{part} loses {loss}", part="blue 7", loss="3 dB")), taken_apart("blue 7")
    (('… loses …', ('blue 7', '3 dB')), ('', ('blue 7',)))
    """
    if not isinstance(text, Sentence) or not text.parts:
        return "", (text,)
    bare = Frame()
    bare.sentence = text
    frame = Frame(bare.write(ENGLISH))
    frame.sentence = text
    return frame, tuple(_filling(text, i) for i in range(len(_places(text.in_words_of(ENGLISH)))))


def _filling(sentence: Sentence, number: int) -> Filling:
    bare = Filling()
    bare.sentence, bare.number = sentence, number
    text = Filling(bare.write(ENGLISH))
    text.sentence, text.number = sentence, number
    return text


class Joined(Said):
    """Texts one after the other."""

    texts: tuple[str, ...]
    between: str

    def write(self, manner: Manner) -> str:
        """Return the texts in that manner, joined as before."""
        return written(self.between, manner).join(written(text, manner) for text in self.texts)


def together(texts: Iterable[str], between: str = " ") -> str:
    """Return texts joined; empty ones are left out.

    >>> together([say("It is whole."), "", say("It is dry.")])
    'It is whole. It is dry.'
    """
    kept = tuple(text for text in texts if text)
    joined = Joined(between.join(kept))
    joined.texts, joined.between = kept, between
    return joined


class Listed(Said):
    """Names in a row, the last one after "and" or "or"."""

    names: tuple[str, ...]
    last: str

    def write(self, manner: Manner) -> str:
        """Return the names in that manner, with that language's last word between."""
        names = [written(name, manner) for name in self.names]
        if len(names) < 2:
            return "".join(names)
        return manner.message(self.last).format(first=", ".join(names[:-1]), last=names[-1])


def listed(names: Sequence[str], last: str = mark("{first} and {last}")) -> str:
    """Return names in a row: "a, b and c".

    >>> listed(["a"]), listed(["a", "b", "c"]), listed(["a", "b"], EITHER)
    ('a', 'a, b and c', 'a or b')
    """
    row = Listed()
    row.names, row.last = tuple(names), last
    text = Listed(row.write(ENGLISH))
    text.names, text.last = row.names, row.last
    return text


EITHER = mark("{first} or {last}")
"""For a row of which one holds."""
