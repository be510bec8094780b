"""Fill the generated blocks of the README and of the pages in docs/ from the commands they name, and draw the pictures.

A block is fenced by two comments; the first says what to run::

    <!-- run: linewright loss RG-213/U "30 m" 144MHz -->
    <!-- end -->

``lines=30`` before the command keeps the first thirty lines, ``keep=Losses,Uses`` the sections that start with one of
these words, ``ends=2`` shows how the command fails with that exit status. The commands of one page run in turn in one
fresh folder, with a ledger of its own. It holds the invented files that ``linewright demo`` writes, and every file the
page shows::

    <!-- file: my-bench.toml -->

before a fence puts the fence's text there. A drawing that a command leaves in the folder goes to ``docs/images`` where
the page shows it. What is read off the program rather than run stands between ``<!-- generated: commands -->`` and an
end as well; ``tools/docs_reference.py`` makes it. Run ``python tools/readme.py [PAGE ...]`` to write, ``--check`` to
compare.
"""

from __future__ import annotations

import argparse
import contextlib
import re
import shlex
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
DOCS = ROOT / "docs"
IMAGES = DOCS / "images"
BENCH = ROOT / "src" / "linewright" / "verbs" / "demo_data"
BLOCK = re.compile(
    r"(<!-- run: (?:lines=(?P<lines>\d+) )?(?:keep=(?P<keep>\S+) )?(?:ends=(?P<ends>\d+) )?(?P<command>.+?) -->\n)"
    r".*?(?P<end><!-- end -->)",
    re.DOTALL,
)
GENERATED = re.compile(
    r"(?P<start><!-- generated: (?P<name>[\w-]+)(?: (?P<what>\S+))? -->\n).*?(?P<end><!-- end -->)", re.DOTALL
)
FILE = re.compile(r"<!-- file: (?P<name>\S+) -->\n+```\w*\n(?P<text>.*?)```", re.DOTALL)
PICTURE = re.compile(r"!\[[^\]]*\]\([^)\s]*images/(?P<name>[\w-]+\.svg)\)")
NUMBER = re.compile(r"\d+(?:\.\d+)?")
SCREEN = {"COLUMNS": "100", "LINES": "50", "NO_COLOR": "1", "TERM": "dumb"}


def pages() -> list[Path]:
    """Return the README and every page of docs/."""
    return [README, *sorted(path for path in DOCS.rglob("*.md") if "theme" not in path.parts)]


def ran(command: str, folder: Path, ends: int = 0) -> str:
    """Return what a command shows, run in ``folder``; raise unless it ends with the status ``ends``."""
    from click.testing import CliRunner

    from linewright.cli import main as door

    words = shlex.split(command)
    if words[0] != "linewright":
        raise SystemExit(f"only linewright is run; got {command}")
    screen = {**SCREEN, "LINEWRIGHT_LEDGER": str(folder / "ledger.sqlite")}
    with contextlib.chdir(folder):
        done = CliRunner().invoke(door, words[1:], prog_name="linewright", env=screen)
    if done.exit_code != ends:
        raise SystemExit(f"{command} ended with {done.exit_code}:\n{done.stderr}")
    return (done.stderr if ends else done.stdout).replace(str(folder), "").rstrip()


def shortened(text: str, most: int | None) -> str:
    """Return the first ``most`` lines of a text, and a sign that there are more."""
    lines = [line.rstrip() for line in text.splitlines()]
    return "\n".join(lines if most is None or len(lines) <= most else [*lines[:most], "…"])


def kept(text: str, words: str | None) -> str:
    r"""Return the sections that start with one of some words, and a sign where others are left out.

    >>> kept("Title\n\nLosses\n  1 dB\n\nUses\n  none\n\nCautions", "Title,Cautions").splitlines()
    ['Title', '', '…', '', 'Cautions']
    """
    if words is None:
        return text
    wanted = words.split(",")
    sections = re.split(r"\n\n(?=\S)", text)
    shown = [section if section.split()[0] in wanted else "…" for section in sections]
    return "\n\n".join(part for part, before in zip(shown, ["", *shown], strict=False) if part != "…" or before != "…")


def filled(text: str, folder: Path) -> str:
    """Return a page with every block filled anew, its files and drawings left in ``folder``."""
    for found in FILE.finditer(text):
        (folder / found["name"]).write_text(found["text"], encoding="utf-8")

    def block(found: re.Match[str]) -> str:
        most = int(found["lines"]) if found["lines"] else None
        said = ran(found["command"], folder, int(found["ends"] or 0))
        shown = shortened(kept(said, found["keep"]), most)
        said_too = f"{shown}\n" if shown else ""
        return f"{found[1]}```console\n$ {found['command']}\n{said_too}```\n{found['end']}"

    return BLOCK.sub(block, text)


@dataclass(frozen=True, slots=True)
class Page:
    """A page as it should be, and the drawings that its commands made for it, as SVG text by file."""

    text: str
    drawings: dict[Path, str]


def page(path: Path) -> Page:
    """Return a page as it should be. Nothing is run for a page without blocks."""
    text = generated(path.read_text(encoding="utf-8"))
    if not BLOCK.search(text):
        return Page(text, {})
    with workplace() as folder:
        new = filled(text, folder)
        shown = {found["name"] for found in PICTURE.finditer(text)}
        made = [folder / name for name in sorted(shown) if (folder / name).exists()]
        return Page(new, {IMAGES / svg.name: svg.read_text(encoding="utf-8").rstrip() for svg in made})


def generated(text: str) -> str:
    """Return a page with every generated part filled anew."""
    sys.path[:0] = [str(ROOT / part) for part in ("tools", "tests") if str(ROOT / part) not in sys.path]
    import docs_reference

    def filled_in(found: re.Match[str]) -> str:
        return f"{found['start']}\n{docs_reference.part(found['name'], found['what'])}\n\n{found['end']}"

    return GENERATED.sub(filled_in, text)


@contextlib.contextmanager
def workplace() -> Iterator[Path]:
    """Make the fresh folder in which a page's commands run, with what the demo ships; take it away afterwards."""
    from linewright.verbs.demo import GIVEN_FILES

    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        for name in GIVEN_FILES:
            (folder / name).write_bytes((BENCH / name).read_bytes())
        yield folder


def pictures() -> dict[Path, str]:
    """Return the README's pictures as SVG text, by file."""
    from linewright.files import read_bench_sheet
    from linewright.inference.bench.prove import prove
    from linewright.present.charts.doubts import doubts_chart
    from linewright.present.charts.loss import loss_chart
    from linewright.present.charts.pull import pull_chart
    from linewright.present.charts.render import to_svg
    from linewright.present.charts.trust import trust_chart

    sheet = read_bench_sheet(BENCH / "harbour-ridge.toml")
    result = prove(sheet)
    charts = {"loss": loss_chart, "trust": trust_chart, "doubts": doubts_chart, "pull": pull_chart}
    return {IMAGES / f"harbour-ridge-{name}.svg": to_svg(make(result, sheet)) for name, make in charts.items()}


def readme() -> str:
    """Return the README as it should be."""
    return page(README).text


def differences(old: str, new: str) -> list[str]:
    """Return where two texts differ. Another machine's arithmetic may move a number by one in its last digit.

    >>> differences("4.71 dB", "4.72 dB"), differences("4.71 dB", "4.75 dB"), differences("4.71 dB", "4.71 W")
    ([], ['4.71 dB -> 4.75 dB'], ['4.71 dB -> 4.71 W'])
    """
    was, now = old.splitlines(), new.splitlines()
    if len(was) != len(now):
        return [f"{len(was)} lines -> {len(now)} lines"]
    return [f"{a} -> {b}" for a, b in zip(was, now, strict=True) if not _alike(a, b)]


def _alike(a: str, b: str) -> bool:
    if a == b:
        return True
    if NUMBER.sub("#", a).split() != NUMBER.sub("#", b).split():
        return False
    pairs = zip(NUMBER.findall(a), NUMBER.findall(b), strict=True)
    return all(abs(float(x) - float(y)) <= 1.01 * 10.0 ** -_decimals(x) for x, y in pairs)


def _decimals(number: str) -> int:
    return len(number.partition(".")[2])


def main() -> int:
    """Write pages and pictures, or compare the pages; return 1 when one is out of date."""
    parser = argparse.ArgumentParser(description="Fill the pages from real commands.")
    parser.add_argument("--check", action="store_true", help="only compare the pages with those on disk")
    parser.add_argument("pages", nargs="*", type=Path, help="these pages; all of them if none is named")
    asked = parser.parse_args()
    stale = 0
    for path in [given.resolve() for given in asked.pages] or pages():
        new = page(path)
        found = differences(path.read_text(encoding="utf-8"), new.text)
        stale += len(found)
        sys.stderr.write("".join(f"{path.relative_to(ROOT)}: {line}\n" for line in found))
        if not asked.check:
            path.write_text(new.text, encoding="utf-8")
            _keep(new.drawings)
    if not asked.check and not asked.pages:
        _keep(pictures())
    return int(asked.check and stale > 0)


def _keep(drawings: dict[Path, str]) -> None:
    IMAGES.mkdir(parents=True, exist_ok=True)
    for path, svg in drawings.items():
        path.write_text(svg + "\n", encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
