"""The pages of the manual in other languages, block by block, for ``tools/docs_help.py``.

A block is what a heading, a paragraph, an item of a list, a cell of a table or a title holds, as Markdown with its
white space joined. ``docs/locale/LANGUAGE/PAGE.po`` has the blocks of a page; the file says that the page is kept in
that language. ``titles.po`` beside it has the titles of the list. Code, output, formulas and charts stay as they are. A
block without words needs no translation. ``docs/translating.md`` tells how to add a page.
"""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from functools import cache
from pathlib import Path
from textwrap import shorten
from xml.etree.ElementTree import Element

import markdown
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po
from markdown.treeprocessors import Treeprocessor
from markdown.util import HTML_PLACEHOLDER_RE, AtomicString

from linewright.core.locale import LANGUAGES
from linewright.web.language import UNITS

ROOT = Path(__file__).parents[1]
CATALOGUES = ROOT / "docs" / "locale"
TITLES = "titles"
EXTENSIONS = ("admonition", "attr_list", "md_in_html", "toc", "tables", "fenced_code")
FIRST = 25
"""Before the builder reads what is inside a block, which it does at 20."""
HEAD = (b'"Language:', b'"MIME', b'"Content')
"""Lines of a catalogue's head that are kept: the others change from day to day or say nothing."""
CODE = re.compile(r"(`+).+?\1")
TARGET = re.compile(r"\]\(([^)]*)\)|\{[#.:][^}]*\}")
LABEL = re.compile(r"\*\*(.+?)\*\*|(?<![*\w])\*([^*]+)\*(?!\*)")
WORD = re.compile(r"[^\W\d_]{2,}")
SAME = UNITS - {"ohm"}
"""Words that are written alike in every language."""
SPACE = re.compile(r"[ \t\n]+")
POINT = re.compile(r"(?<=\d)\.(?=\d)")
PLACE = re.compile(
    r"\b(?:Gleichung(?:en)?|Abschnitt|Tabelle|Bild|Kapitel|Aufgabe|Erfolgskriterium|CFR|IEEE|Python|Version)\s"
    r"\d+(?:\.\d+)+(?: (?:und|bis) \d+\.\d+)?|\b4\.3-10\b"
)
"""A place in a book, in a law or among versions keeps its point, and so does the name of a connector."""
HEADING = re.compile(r'<h[1-6][^>]* id="([^"]+)"')


def kept(language: str) -> list[str]:
    """Return the names of the pages that are kept in a language."""
    folder = CATALOGUES / language
    names = [path.relative_to(folder).with_suffix("").as_posix() for path in folder.rglob("*.po")]
    return sorted(set(names) - {TITLES})


def languages() -> list[str]:
    """Return the languages other than English that some page is kept in."""
    return sorted(path.name for path in CATALOGUES.iterdir() if path.name in LANGUAGES)


# A page as blocks


class _Blocks(Treeprocessor):
    """Hands every block of a page to a function and puts what it returns in its place."""

    def __init__(self, builder: markdown.Markdown, write: Callable[[str], str], anchors: Iterable[str]) -> None:
        super().__init__(builder)
        self.write, self.anchors = write, iter(anchors)

    def run(self, root: Element) -> None:
        for at in root.iter():
            if re.fullmatch("h[1-6]", at.tag) and (anchor := next(self.anchors, None)):
                at.set("id", anchor)
            if HTML_PLACEHOLDER_RE.sub("", at.tail or "").strip():
                raise ValueError(f"text after an element, which is no block: {at.tail!r}")
            if at.tag not in {"pre", "code"} and not isinstance(at.text, AtomicString) and (at.text or "").strip():
                at.text = self._written(at.text or "")

    def _written(self, text: str) -> str:
        if not HTML_PLACEHOLDER_RE.search(text):
            return self.write(joined(text))
        if HTML_PLACEHOLDER_RE.sub("", text).strip():
            raise ValueError(f"text beside HTML or code, with no empty line between: {text!r}")
        return text


def html(text: str, write: Callable[[str], str] | None = None, anchors: Iterable[str] = ()) -> str:
    """Return a page as HTML, its blocks as a function writes them, its headings with anchors given in their order."""
    builder = markdown.Markdown(extensions=list(EXTENSIONS), output_format="xhtml")
    if write:
        builder.treeprocessors.register(_Blocks(builder, write, anchors), "blocks", FIRST)
    return builder.convert(text)


def joined(text: str) -> str:
    r"""Return a block's text on one line.

    >>> joined(" two\n  words")
    'two words'
    """
    return SPACE.sub(" ", text).strip()


def wants_words(block: str) -> bool:
    """Return whether a block has words, besides code, addresses and units.

    >>> wants_words("0.5 dB"), wants_words("`--at`"), wants_words("0.5 dB lost")
    (False, False, True)
    """
    return any(word not in SAME for word in WORD.findall(bare(block)))


def bare(block: str) -> str:
    """Return a block without code, addresses and attributes."""
    return TARGET.sub(" ", CODE.sub(" ", block))


def blocks(text: str) -> list[str]:
    """Return the blocks of a page that want translation, each once, in their order."""
    found: dict[str, None] = {}

    def take(block: str) -> str:
        found.update({block: None} if wants_words(block) else {})
        return block

    html(text, take)
    return list(found)


def in_language(text: str, language: str, name: str) -> str | None:
    """Return a page as HTML in a language, with the anchors of the English; None unless all its blocks are translated.

    Figures in blocks without words take the language's decimal mark.
    """
    if name not in kept(language):
        return None
    said = {str(message.id): str(message.string) for message in read(language, name) if not message.fuzzy}
    if not all(said.get(block) for block in blocks(text)):
        return None

    def write(block: str) -> str:
        return said[block] if wants_words(block) else marked(block, LANGUAGES[language])

    return html(text, write, HEADING.findall(html(text)))


def marked(block: str, decimal: str) -> str:
    """Return a block without words with another decimal mark, outside code.

    >>> marked("1.5 dB, `1.5`", ",")
    '1,5 dB, `1.5`'
    """
    pieces = re.split(r"(`+[^`]*`+|\]\([^)]*\))", block)
    return "".join(piece if i % 2 else POINT.sub(decimal, piece) for i, piece in enumerate(pieces))


# Catalogues


def read(language: str, name: str) -> Catalog:
    """Return the catalogue of a page, or of the titles; an empty file is an empty catalogue."""
    with (CATALOGUES / language / f"{name}.po").open("rb") as file:
        return read_po(file, locale=language)


def in_step(language: str, name: str, found: Iterable[str]) -> Catalog:
    """Return a page's catalogue with the blocks found in it.

    What another page has translated is taken from there. A block whose English has changed a little keeps its
    translation, marked fuzzy until somebody has seen it.
    """
    labels, known = of_the_app(language), elsewhere(language)
    fresh = Catalog(project="linewright", charset="utf-8")
    for block in found:
        named = [label for label in called(block) if label in labels]
        fresh.add(block, auto_comments=[f"in the app: {label} = {labels[label]}" for label in named])
    catalogue = read(language, name)
    catalogue.update(fresh)
    catalogue.obsolete.clear()
    for message in catalogue:
        message.flags -= {"python-format", "python-brace-format"}
        if message.id and (message.fuzzy or not message.string) and (said := known.get(str(message.id))):
            message.string, message.previous_id = said, []
            message.flags.discard("fuzzy")
    return catalogue


@cache
def elsewhere(language: str) -> dict[str, str]:
    """Return every block that some page has in a language, and the app's own sentences; a word may have two senses."""
    pages = [read(language, name) for name in kept(language)]
    sentences = {block: said for block, said in of_the_app(language).items() if block.endswith(".")}
    return sentences | {str(m.id): str(m.string) for page in pages for m in page if m.id and m.string and not m.fuzzy}


@cache
def of_the_app(language: str) -> dict[str, str]:
    """Return the sentences of the app itself."""
    with (ROOT / f"src/linewright/locale/{language}/LC_MESSAGES/linewright.po").open("rb") as file:
        return {m.id: str(m.string) for m in read_po(file, locale=language) if m.id and isinstance(m.id, str)}


def po(catalogue: Catalog) -> bytes:
    """Return the bytes of a catalogue, in the order of its page; the same blocks give the same bytes."""
    written = io.BytesIO()
    write_po(written, catalogue, width=100, include_previous=True)
    head, _, rest = written.getvalue().partition(b"\n\n")
    lines = [line for line in head.splitlines() if not line.startswith((b'"', b"#")) or line.startswith(HEAD)]
    return b"\n".join(lines) + b"\n\n" + rest


def faults(catalogue: Catalog, language: str) -> Iterator[str]:
    """Yield what keeps a catalogue from being complete."""
    for message in catalogue:
        block, said = str(message.id), str(message.string)
        if block:
            yield from (
                f"{fault}: {shorten(block, 90)}" for fault in faults_of(block, said, language, fuzzy=message.fuzzy)
            )


def faults_of(block: str, said: str, language: str, *, fuzzy: bool = False) -> Iterator[str]:
    """Yield what is wrong with the translation of a block."""
    if not said:
        yield "not translated"
        return
    if fuzzy:
        yield "marked fuzzy (its English has changed: correct it, then delete the mark)"
    for what, of in (("code", code), ("links", links), ("figures", figures)):
        if of(block) != of(said):
            yield f"other {what} than the English"
    if LANGUAGES[language] != "." and POINT.search(PLACE.sub(" ", bare(said))):
        yield "a decimal point"
    labels, theirs = of_the_app(language), called(said)
    for label in called(block, bold=True):
        if label in labels and labels[label].rstrip(".") not in theirs:
            yield f"the app has “{labels[label]}” for **{label}**"


def code(text: str) -> Counter[str]:
    """Return the code in a block."""
    return Counter(found[0] for found in CODE.finditer(text))


def links(text: str) -> Counter[str]:
    """Return the addresses of links and pictures in a block, and the marks of attributes."""
    return Counter(found[0] for found in TARGET.finditer(CODE.sub(" ", text)))


def figures(text: str) -> Counter[str]:
    """Return the digits in a block, outside code and addresses.

    >>> figures("1.5 dB in 20 m") == figures("1,5 dB auf 20 m")
    True
    """
    return Counter(re.findall(r"\d+", bare(text)))


def called(text: str, *, bold: bool = False) -> list[str]:
    """Return what a block has in bold or, unless only that is wanted, in italics.

    >>> called("Open **Bench**, then *Put in*."), called("Open **Bench**, then *Put in*.", bold=True)
    (['Bench', 'Put in'], ['Bench'])
    """
    return [(strong or soft).rstrip(".") for strong, soft in LABEL.findall(CODE.sub(" ", text)) if strong or not bold]
