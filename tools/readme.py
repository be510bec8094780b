"""Fill the generated blocks of the README from the commands they name, and draw its pictures.

A block is fenced by two comments; the first says what to run::

    <!-- run: linewright loss RG-213/U "30 m" 144MHz -->
    <!-- end -->

``lines=30`` before the command keeps the first thirty lines, ``keep=Losses,Uses`` the sections that start with one of
these words. Commands run in a fresh folder that holds the invented
bench sheet. Run ``python tools/readme.py`` to write, ``--check`` to compare.
"""

from __future__ import annotations

import argparse
import os
import re
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
IMAGES = ROOT / "docs" / "images"
BENCH = ROOT / "src" / "linewright" / "workflows" / "demo_data"
BLOCK = re.compile(
    r"(<!-- run: (?:lines=(?P<lines>\d+) )?(?:keep=(?P<keep>\S+) )?(?P<command>.+?) -->\n).*?(?P<end><!-- end -->)",
    re.DOTALL,
)
NUMBER = re.compile(r"\d+(?:\.\d+)?")
ENTRY = "import sys; sys.argv[0] = 'linewright'; from linewright.cli import main; sys.exit(main())"
SCREEN = {"COLUMNS": "100", "LINES": "50", "NO_COLOR": "1", "TERM": "dumb", "PYTHONIOENCODING": "utf-8"}


def ran(command: str, folder: Path) -> str:
    """Return what a command writes to its standard output, run in ``folder``; raise if it fails."""
    words = shlex.split(command)
    if words[0] != "linewright":
        raise SystemExit(f"only linewright is run; got {command}")
    program = [sys.executable, "-c", ENTRY]
    environment = {**os.environ, **SCREEN, "PYTHONPATH": str(ROOT / "src")}
    done = subprocess.run(
        [*program, *words[1:]], cwd=folder, env=environment, capture_output=True, encoding="utf-8", check=False
    )
    if done.returncode:
        raise SystemExit(f"{command} ended with {done.returncode}:\n{done.stderr}")
    return done.stdout.replace(str(folder), "").rstrip()


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
    """Return the README with every block filled anew."""

    def block(found: re.Match[str]) -> str:
        most = int(found["lines"]) if found["lines"] else None
        shown = shortened(kept(ran(found["command"], folder), found["keep"]), most)
        return f"{found[1]}```console\n$ {found['command']}\n{shown}\n```\n{found['end']}"

    return BLOCK.sub(block, text)


def pictures() -> dict[Path, str]:
    """Return the README's pictures as SVG text, by file."""
    from linewright.charts.doubts import doubts_chart
    from linewright.charts.loss import loss_chart
    from linewright.charts.pull import pull_chart
    from linewright.charts.render import to_svg
    from linewright.charts.trust import trust_chart
    from linewright.evidence.bench import prove
    from linewright.formats import read_bench_sheet

    sheet = read_bench_sheet(BENCH / "harbour-ridge.toml")
    result = prove(sheet)
    charts = {"loss": loss_chart, "trust": trust_chart, "doubts": doubts_chart, "pull": pull_chart}
    return {IMAGES / f"harbour-ridge-{name}.svg": to_svg(make(result, sheet)) for name, make in charts.items()}


def readme() -> str:
    """Return the README as it should be."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for path in BENCH.glob("harbour-ridge*"):
            (folder / path.name).write_bytes(path.read_bytes())
        return filled(README.read_text(encoding="utf-8"), folder)


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
    """Write README and pictures, or compare the README; return 1 when it is out of date."""
    parser = argparse.ArgumentParser(description="Fill the README from real commands.")
    parser.add_argument("--check", action="store_true", help="only compare the text with the one on disk")
    new = readme()
    stale = differences(README.read_text(encoding="utf-8"), new)
    if parser.parse_args().check:
        sys.stderr.write("\n".join([*stale, f"{len(stale)} lines differ"]) + "\n")
        return int(bool(stale))
    README.write_text(new, encoding="utf-8")
    IMAGES.mkdir(parents=True, exist_ok=True)
    for path, svg in pictures().items():
        path.write_text(svg + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
