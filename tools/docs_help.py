"""The pages as the app serves them under Help: each as the HTML of its text, and a list of them all.

They stand in ``src/linewright/web/help`` and are shipped, so that help needs neither a network nor a renderer. A page
whose blocks are all translated stands under its language, too: ``tools/docs_locale.py``. ``python tools/docs_help.py``
brings the catalogues of the pages in step, writes the pages and says what wants translation; ``--check`` only compares,
and fails if anything is out of date or not translated. ``make pages`` does it last of all.
"""

from __future__ import annotations

import argparse
import json
import posixpath
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog

ROOT = Path(__file__).parents[1]
if str(ROOT / "tools") not in sys.path:  # the other tools, whoever loads this one
    sys.path.insert(0, str(ROOT / "tools"))
DOCS = ROOT / "docs"
HELP = ROOT / "src" / "linewright" / "web" / "help"
LISTED = "pages.json"
LINK = re.compile(r'<a (?P<before>[^>]*?)href="(?P<to>[^"]*)"(?P<after>[^>]*)>(?P<words>.*?)</a>', re.DOTALL)
IN_FULL = re.compile(r"<!-- in full: \S+ -->\n")


def nav() -> Iterator[tuple[str, str, str]]:
    """Yield the part, the title and the file of every page, in the order of the site."""
    import yaml

    entries = yaml.safe_load((ROOT / "mkdocs.yml").read_text(encoding="utf-8"))["nav"]
    for entry in entries:
        ((title, what),) = entry.items()
        if isinstance(what, str):
            yield "", title, what
        else:
            for inner in what:
                ((name, file),) = inner.items()
                yield title, name, file


def address(file: str) -> str:
    """Return where a page stands in the app.

    >>> address("how-to/plan-a-run.md"), address("index.md")
    ('/help/how-to/plan-a-run', '/help')
    """
    bare = file.removesuffix(".md")
    return "/help" if bare == "index" else f"/help/{bare}"


def made() -> dict[str, str]:
    """Return every file of the help by its name: a page for each of the site's, and the list, in every language."""
    import docs_locale

    pages = list(nav())
    known = {file for _, _, file in pages}
    out = {f"{file.removesuffix('.md')}.html": dressed(docs_locale.html(source(file)), file, known) for file in known}
    out |= {f"examples/{path.name}": path.read_text(encoding="utf-8") for path in (DOCS / "examples").glob("*.ipynb")}
    out[LISTED] = listed(pages, {})
    for language in docs_locale.languages():
        titles = {str(m.id): str(m.string) for m in docs_locale.read(language, docs_locale.TITLES) if m.id and m.string}
        out[f"{language}/{LISTED}"] = listed(pages, titles)
        for name in docs_locale.kept(language):
            html = docs_locale.in_language(source(f"{name}.md"), language, name)
            if html is not None:
                out[f"{language}/{name}.html"] = dressed(html, f"{name}.md", known)
    return out


def listed(pages: list[tuple[str, str, str]], titles: dict[str, str]) -> str:
    """Return the list of all pages as JSON, its titles in a language."""
    entries = [
        {"part": titles.get(part, part), "title": titles.get(title, title), "page": file.removesuffix(".md")}
        for part, title, file in pages
    ]
    return json.dumps(entries, indent=1, ensure_ascii=False) + "\n"


def source(file: str) -> str:
    """Return the Markdown of a page without the marks of the tools."""
    import docs_site

    return docs_site.COMMENT.sub("", IN_FULL.sub("", (DOCS / file).read_text(encoding="utf-8")))


def dressed(html: str, file: str, known: set[str]) -> str:
    """Return a page's HTML as the app has it, with its charts and with links inside the app."""
    import docs_site

    html = docs_site.CHART.sub(lambda found: docs_site.chart(found["name"], found["alt"]), html)
    html = docs_site.dressed(html)
    return LINK.sub(lambda found: linked(found, file, known), html) + "\n"


def catalogues() -> dict[Path, Catalog]:
    """Return the catalogue of each page that is kept in another language, and of the titles, in step with the pages."""
    import docs_locale

    titles = dict.fromkeys(name for part, title, _ in nav() for name in (part, title) if name)
    out = {}
    for language in docs_locale.languages():
        for name in (docs_locale.TITLES, *docs_locale.kept(language)):
            found = titles if name == docs_locale.TITLES else docs_locale.blocks(source(f"{name}.md"))
            path = docs_locale.CATALOGUES / language / f"{name}.po"
            out[path] = docs_locale.in_step(language, name, found)
    return out


def untranslated() -> list[str]:
    """Return what wants translation, with its catalogue and the cure."""
    import docs_locale

    said = []
    for path, catalogue in catalogues().items():
        faults = list(docs_locale.faults(catalogue, str(catalogue.locale)))
        said += [f"{path.relative_to(ROOT)}: {fault}" for fault in faults]
        if faults:
            said.append(
                f"{path.relative_to(ROOT)}: run python tools/docs_help.py, translate what is empty, run it again"
            )
    return said


def linked(found: re.Match[str], file: str, known: set[str]) -> str:
    """Return a link as the app has it; one to what the app does not serve becomes its words alone."""
    to, words = found["to"], found["words"]
    if to.startswith("#") or "://" in to:
        return found[0]
    where, _, anchor = to.partition("#")
    there = posixpath.normpath(posixpath.join(posixpath.dirname(file), where))
    if there in known:
        to = address(there) + (f"#{anchor}" if anchor else "")
    elif there.startswith("reference/schemas/"):
        to = f"/help/schemas/{posixpath.basename(there)}"
    elif there.startswith("examples/"):
        to = f"/help/examples/{posixpath.basename(there)}"
    else:
        return words
    return f'<a {found["before"]}href="{to}"{found["after"]}>{words}</a>'


def main() -> int:
    """Write the help, or compare it; return 1 when it is out of date or not translated."""
    import docs_locale

    parser = argparse.ArgumentParser(description="Make the pages that the app serves under Help.")
    parser.add_argument("--check", action="store_true", help="only compare with those on disk")
    asked = parser.parse_args()
    stale = [*put({path: docs_locale.po(words) for path, words in catalogues().items()}, write=not asked.check)]
    files = {HELP / name: text.encode() for name, text in made().items()}
    stale += put(files, write=not asked.check)
    for path in sorted({path for path in HELP.rglob("*") if path.is_file()} - files.keys()):
        stale.append(path)
        if not asked.check:
            path.unlink()
    missing = untranslated()
    sys.stderr.write("".join(f"{path.relative_to(ROOT)} is out of date\n" for path in stale))
    sys.stderr.write("".join(f"{line}\n" for line in missing))
    return int(asked.check and bool(stale or missing))


def put(files: dict[Path, bytes], *, write: bool) -> list[Path]:
    """Return which files differ from those on disk, which are written anew if so wanted."""
    stale = [path for path, text in files.items() if not path.exists() or path.read_bytes() != text]
    for path in stale if write else ():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(files[path])
    return stale


if __name__ == "__main__":
    sys.exit(main())
