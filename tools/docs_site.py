"""What the builder of the site does beside its own work: `mkdocs.yml` names this file under ``hooks``.

It lists every page, fills what only the site has in full, brings the benchmarks' pages in, lays charts into the
page so that they take its inks, lets wide things scroll inside themselves, and writes the search index as a script,
which a page opened as a file may load.
"""

from __future__ import annotations

import json
import re
import sys
from html import escape
from pathlib import Path
from typing import Any

from mkdocs.config.defaults import MkDocsConfig
from mkdocs.structure.files import File, Files
from mkdocs.structure.pages import Page

ROOT = Path(__file__).parents[1]

COMMENT = re.compile(r"<!-- (?:run|file|generated|app): .*? -->\n|<!-- (?:end|sheet) -->\n?")
IN_FULL = re.compile(r"<!-- in full: (?P<name>[\w-]+) -->\n.*?<!-- end -->\n?", re.DOTALL)
OUTSIDE = re.compile(r"\]\((?P<up>(?:\.\./)+)(?P<path>[\w./-]+)(?P<at>#[\w-]+)?\)")
CHART = re.compile(r'<p><img alt="(?P<alt>[^"]*)" src="[^"]*images/(?P<name>[\w-]+)\.svg" /></p>')
FENCED = re.compile(r"<pre><code(?= class)")
COMMAND = re.compile(r"<pre><code(?=>(?:linewright|python) )")
EQUATION = re.compile(r"<pre><code>(?P<text>.*?)</code></pre>", re.DOTALL)
BELOW = re.compile(r"_(?:\{(?P<braced>[^}]*)\}|(?P<bare>[A-Za-z0-9\u0370-\u03ff′]+))")
ABOVE = re.compile(r"\^(?:\{(?P<braced>(?:[^{}])*)\}|\((?P<round>[^()]*)\))")
BENCHMARKS = "benchmarks"


def on_config(config: MkDocsConfig) -> MkDocsConfig:
    """Put the tools, the tests and the package within reach, and let the theme say which version it speaks of."""
    sys.path[:0] = [str(ROOT / part) for part in ("tools", "tests", "src")]
    from linewright import __version__

    config.extra["version"] = __version__
    _list_all(config.nav or [], Path(config.docs_dir))
    return config


def _list_all(nav: list[dict[str, Any]], docs: Path) -> None:
    """Put the pages that nobody has listed last under the part that says how it works."""
    listed = json.dumps(nav)
    part = next(entry["How it works"] for entry in nav if "How it works" in entry)
    part += [page.name for page in sorted(docs.glob("*.md")) if f'"{page.name}"' not in listed]


def on_files(files: Files, config: MkDocsConfig) -> Files:
    """Bring in the pages of the benchmarks with their pictures, and the style sheet of the inks."""
    for page in sorted(p for p in (ROOT / BENCHMARKS).iterdir() if p.suffix in (".md", ".svg")):
        files.append(File.generated(config, f"{BENCHMARKS}/{page.name}", content=page.read_text(encoding="utf-8")))
    files.append(File.generated(config, "css/inks.css", content=inks()))
    return files


def on_page_markdown(markdown: str, page: Page, config: MkDocsConfig, files: Files) -> str:
    """Return a page's text without the marks of the tools, its links inside the site."""
    import docs_reference

    depth = page.file.src_uri.count("/")
    text = IN_FULL.sub(lambda found: docs_reference.part(found["name"], None), markdown)
    return OUTSIDE.sub(lambda found: f"]({_inside(found, page.file.src_uri, depth)})", COMMENT.sub("", text))


def _inside(found: re.Match[str], here: str, depth: int) -> str:
    """Return a link as the site has it: what stands beside docs/ in the work tree stands inside the site."""
    path, at = found["path"], found["at"] or ""
    if here.startswith(f"{BENCHMARKS}/") and path.startswith("docs/"):
        return f"../{path.removeprefix('docs/')}{at}"
    if path.startswith(f"{BENCHMARKS}/") and found["up"].count("../") > depth:
        return f"{'../' * depth}{path}{at}"
    return f"{found['up']}{path}{at}"


def on_page_content(html: str, page: Page, config: MkDocsConfig, files: Files) -> str:
    """Return a page with charts in its own inks, equations set as such, and wide things that scroll by themselves."""
    return dressed(CHART.sub(lambda found: chart(found["name"], found["alt"]), html))


def dressed(html: str) -> str:
    """Return a page whose equations are set as such and whose wide things scroll by themselves."""
    html = html.replace("<table>", '<div class="scroll" tabindex="0"><table>').replace("</table>", "</table></div>")
    html = COMMAND.sub('<pre><code class="language-text"', html)
    html = EQUATION.sub(lambda found: equation(found["text"]), html)
    return FENCED.sub('<pre tabindex="0"><code', html)


def equation(text: str) -> str:
    """Return an indented block as an equation: ``_`` sets what follows below the line, ``^{}`` and ``^()`` above it.

    >>> equation("y_i = 10^(-A/10)")
    '<pre class="equation" tabindex="0">y<sub>i</sub> = 10<sup>-A/10</sup></pre>'
    """
    text = BELOW.sub(lambda found: f"<sub>{found['braced'] or found['bare']}</sub>", text)
    text = ABOVE.sub(lambda found: f"<sup>{found['braced'] or found['round']}</sup>", text)
    return f'<pre class="equation" tabindex="0">{text.rstrip()}</pre>'


def chart(name: str, words: str) -> str:
    """Return a chart of docs/images as part of the page: one picture with words of its own.

    Its clips are named apart from those of other charts, and its marks do not speak one by one.
    """
    svg = (ROOT / "docs" / "images" / f"{name}.svg").read_text(encoding="utf-8").strip()
    svg = re.sub(r"\bclip(\d+)\b", rf"{name}-clip\1", svg)
    svg = re.sub(r' (?:role|aria-\w+)="[^"]*"', "", svg)
    svg = re.sub(r"^<svg ", f'<svg role="img" aria-label="{escape(words, quote=True)}" ', svg)
    return f'<figure class="chart" tabindex="0">{svg}</figure>'


def inks() -> str:
    """Return the style sheet that gives the page the charts' inks, and the charts the page's."""
    from dataclasses import asdict

    from linewright.present.charts.theme import DARK, LIGHT

    more = {"leaf": ("#fffdf8", "#34312d"), "edge": ("#8b8474", "#8f887b")}
    light = asdict(LIGHT) | {name: pair[0] for name, pair in more.items()}
    dark = asdict(DARK) | {name: pair[1] for name, pair in more.items()}

    def inked(palette: dict[str, str]) -> str:
        return "".join(f" --{name}: {ink};" for name, ink in palette.items())

    swaps = "\n".join(
        f'.chart svg [{where}="{ink}"] {{ {where}: var(--{name}); }}'
        for name, ink in asdict(LIGHT).items()
        for where in ("fill", "stroke")
    )
    dark_rule = f"@media (prefers-color-scheme: dark) {{ :root {{{inked(dark)} }} }}"
    return f":root {{ color-scheme: light dark;{inked(light)} }}\n{dark_rule}\n{swaps}\n"


def on_post_build(config: MkDocsConfig) -> None:
    """Write the search index once more, as a script."""
    folder = Path(config.site_dir) / "search"
    index = json.loads((folder / "search_index.json").read_text(encoding="utf-8"))
    words = json.dumps({"docs": index["docs"]}, ensure_ascii=False, separators=(",", ":"))
    (folder / "search_index.js").write_text(f"window.linewrightPages = {words};\n", encoding="utf-8")
