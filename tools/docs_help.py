"""The pages as the app serves them under Help: each as the HTML of its text, and a list of them all.

They stand in ``src/linewright/web/help`` and are shipped, so that help needs neither a network nor a renderer. ``python
tools/docs_help.py`` writes them, ``--check`` compares; ``make pages`` does it last of all.
"""

from __future__ import annotations

import argparse
import json
import posixpath
import re
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
if str(ROOT / "tools") not in sys.path:  # the other tools, whoever loads this one
    sys.path.insert(0, str(ROOT / "tools"))
DOCS = ROOT / "docs"
HELP = ROOT / "src" / "linewright" / "web" / "help"
LISTED = "pages.json"
EXTENSIONS = ("admonition", "attr_list", "md_in_html", "toc", "tables", "fenced_code")
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
    """Return every file of the help by its name: a page for each of the site's, and the list."""
    pages = list(nav())
    known = {file for _, _, file in pages}
    out = {f"{file.removesuffix('.md')}.html": fragment(file, known) for _, _, file in pages}
    listed = [{"part": part, "title": title, "page": file.removesuffix(".md")} for part, title, file in pages]
    out |= {f"examples/{path.name}": path.read_text(encoding="utf-8") for path in (DOCS / "examples").glob("*.ipynb")}
    return {**out, LISTED: json.dumps(listed, indent=1, ensure_ascii=False) + "\n"}


def fragment(file: str, known: set[str]) -> str:
    """Return the HTML of a page's text."""
    import docs_site
    import markdown

    text = (DOCS / file).read_text(encoding="utf-8")
    text = docs_site.COMMENT.sub("", IN_FULL.sub("", text))
    html = markdown.markdown(text, extensions=list(EXTENSIONS), output_format="xhtml")
    html = docs_site.CHART.sub(lambda found: docs_site.chart(found["name"], found["alt"]), html)
    html = docs_site.dressed(html)
    return LINK.sub(lambda found: linked(found, file, known), html) + "\n"


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
    """Write the help, or compare it; return 1 when it is out of date."""
    parser = argparse.ArgumentParser(description="Make the pages that the app serves under Help.")
    parser.add_argument("--check", action="store_true", help="only compare with those on disk")
    asked = parser.parse_args()
    files = made()
    there = {str(path.relative_to(HELP)) for path in HELP.rglob("*") if path.is_file()}
    stale = [name for name, text in files.items() if name not in there or (HELP / name).read_text("utf-8") != text]
    gone = sorted(there - files.keys())
    sys.stderr.write("".join(f"{name} is out of date\n" for name in [*stale, *gone]))
    if not asked.check:
        for name in gone:
            (HELP / name).unlink()
        for name in stale:
            (HELP / name).parent.mkdir(parents=True, exist_ok=True)
            (HELP / name).write_text(files[name], encoding="utf-8")
    return int(asked.check and bool(stale or gone))


if __name__ == "__main__":
    sys.exit(main())
