"""Change the code a little, one place at a time, and see whether the tests of its room notice.

    python tools/mutants.py [--count 300] [--seed 1] [--room choice] [--seconds 300]

A mutant turns a comparison, an arithmetic sign, a number, a boolean or a returned value into its neighbour. So many are
drawn, by the seed, from all places there are in the rooms. Each is put into a copy of the tree, and the tests of its
room run there until the first one fails: then the mutant is killed. One that no test fails on survives, and says that
the place is not held by anything; one whose tests take longer than the bound is killed too. A mutant that changes
nothing anybody could see is equivalent: name it in ``EQUIVALENT`` with the reason.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGE = Path("src") / "linewright"
ROOMS: Mapping[str, tuple[str, ...]] = {
    "core/formulas": ("tests/physics",),
    "inference": ("tests/evidence",),
    "choice": ("tests/choice",),
    "store": ("tests/ledger",),
}
"""Where mutants are drawn, and the tests of each room; the examples in its own docstrings are tests too."""
COPIED = ("src", "tests", "tools", "pyproject.toml", "README.md", "CHANGELOG.md")
EQUIVALENT: Mapping[tuple[str, str], str] = {}
"""Mutants that nobody can see, by file and change: the reason."""

SWAPS: Mapping[type, type] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult, ast.Mod: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip
LEFT_ALONE = frozenset({"annotation", "returns", "decorator_list"})
"""Parts of the tree that decide nothing: types and decorators."""
SAME_EITHER_WAY = frozenset({"strict", "dtype", "frozen", "slots"})
"""Keywords whose value shows only where something else is wrong already."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change: in which file, from which characters to which, what stood there and what stands there now."""

    room: str
    path: str
    line: int
    begin: int
    end: int
    old: str
    new: str

    @property
    def change(self) -> str:
        """The change in one line: "a < b → a <= b"."""
        old, new = (" ".join(text.split()) for text in (self.old, self.new))
        return f"{old} → {new}"

    def in_text(self, text: str) -> str:
        """Return the file with the change made."""
        return text[: self.begin] + self.new + text[self.end :]


# Drawing


def mutants_of(room: str, path: str, text: str) -> Iterator[Mutant]:
    r"""Yield every mutant of a file.

    >>> [m.change for m in mutants_of("choice", "x.py", "def f(a):\n    return a < 3\n")]
    ['return a < 3 → return None', 'a < 3 → (a <= 3)', '3 → 4']
    """
    starts = [0]
    for row in text.splitlines(keepends=True):
        starts.append(starts[-1] + len(row))
    rows = text.split("\n")

    def place(line: int, column: int) -> int:
        return starts[line - 1] + len(rows[line - 1].encode()[:column].decode())

    for node, new in _changed(ast.parse(text)):
        begin, end = place(node.lineno, node.col_offset), place(node.end_lineno or 0, node.end_col_offset or 0)
        yield Mutant(room, path, node.lineno, begin, end, text[begin:end], new)


def _changed(node: ast.AST) -> Iterator[tuple[ast.stmt | ast.expr, str]]:
    """Yield what can be changed below a node, each with what takes its place."""
    if isinstance(node, ast.JoinedStr) or (isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"):
        return
    if isinstance(node, (ast.expr, ast.Return)):
        yield from ((node, new) for new in _neighbours(node))
    for name, value in ast.iter_fields(node):
        if name in LEFT_ALONE or (isinstance(node, ast.keyword) and node.arg in SAME_EITHER_WAY):
            continue
        for inner in value if isinstance(value, list) else [value]:
            if isinstance(inner, ast.AST):
                yield from _changed(inner)


def _neighbours(node: ast.expr | ast.Return) -> Iterator[str]:
    if isinstance(node, ast.Return) and node.value is not None and ast.unparse(node.value) != "None":
        yield "return None"
    elif isinstance(node, ast.Compare) and len(node.ops) == 1:
        yield _with(node, "ops", [SWAPS[type(node.ops[0])]()])
    elif isinstance(node, (ast.BinOp, ast.BoolOp)) and type(node.op) in SWAPS:
        yield _with(node, "op", SWAPS[type(node.op)]())
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, (ast.Not, ast.USub)):
        yield f"({ast.unparse(node.operand)})"
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield str(not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, (int, float)):
        yield repr(node.value + 1 if isinstance(node.value, int) else node.value * 1.5 or 1.0)


def _with(node: ast.expr, field: str, value: object) -> str:
    new = copy.copy(node)
    setattr(new, field, value)
    return f"({ast.unparse(new)})"


def drawn(rooms: Sequence[str], count: int, seed: int, root: Path = ROOT) -> list[Mutant]:
    """Return so many mutants of some rooms, the same for the same seed and sources."""
    found: list[Mutant] = []
    for room in rooms:
        for path in sorted((root / PACKAGE / room).rglob("*.py")):
            text = path.read_text(encoding="utf-8")
            found += mutants_of(room, path.relative_to(root).as_posix(), text)
    random.Random(seed).shuffle(found)
    return sorted(found[:count], key=lambda m: (m.room, m.path, m.begin))


# Running


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a mutant: killed by which test, or survived."""

    killed: bool
    by: str
    seconds: float


def tried(tree: Path, targets: Sequence[str], bound_s: float) -> Outcome:
    """Return what the tests say of a tree as it stands."""
    command = [sys.executable, "-m", "pytest", "-n", "0", "-q", "-x", "-p", "no:cacheprovider", "-m", "not slow"]
    quiet = {"PYTHONPATH": str(tree / "src"), "PYTHONDONTWRITEBYTECODE": "1", "OMP_NUM_THREADS": "1"}
    began = time.monotonic()
    try:
        done = subprocess.run(
            [*command, *targets], cwd=tree, env=os.environ | quiet, capture_output=True, text=True, timeout=bound_s,
            check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return Outcome(True, f"took more than {bound_s:.0f} s", bound_s)
    failed = re.search(r"^(?:FAILED|ERROR) (\S+)", done.stdout, re.MULTILINE)
    by = failed[1] if failed else "" if done.returncode == 0 else done.stdout.strip().splitlines()[-1][:80]
    return Outcome(done.returncode != 0, by, time.monotonic() - began)


def targets_of(mutant: Mutant, tree: Path) -> list[str]:
    """Return what to run for a mutant, the likeliest to fail first: its own examples, then tests that name its file."""
    name = Path(mutant.path).stem
    files = [path for folder in ROOMS[mutant.room] for path in sorted((tree / folder).glob("test_*.py"))]
    near = {path: name in path.stem or f".{name} import" in path.read_text(encoding="utf-8") for path in files}
    ordered = sorted(files, key=lambda path: not near[path])
    return [mutant.path, *(path.relative_to(tree).as_posix() for path in ordered)]


def run(mutants: Sequence[Mutant], bound_s: float) -> Iterator[tuple[Mutant, Outcome]]:
    """Yield what became of each mutant."""
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        tree = Path(folder)
        for name in COPIED:
            if (ROOT / name).is_dir():
                shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__", "*.egg-info"))
            else:
                shutil.copy(ROOT / name, tree / name)
        for room in sorted({m.room for m in mutants}):
            plain = tried(tree, [f"{PACKAGE.as_posix()}/{room}", *ROOMS[room]], 10 * bound_s)
            if plain.killed:
                raise SystemExit(f"The tests of {room} fail before anything is changed: {plain.by}")
        for mutant in mutants:
            path = tree / mutant.path
            text = path.read_text(encoding="utf-8")
            path.write_text(mutant.in_text(text), encoding="utf-8")
            yield mutant, tried(tree, targets_of(mutant, tree), bound_s)
            path.write_text(text, encoding="utf-8")


def main() -> None:
    """Draw mutants, try each, and print a table."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--count", type=int, default=300)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--room", action="append", choices=ROOMS, help="draw from this room only; may be given again")
    ask.add_argument("--seconds", type=float, default=300, help="how long the tests of one mutant may take")
    asked = ask.parse_args()
    mutants = drawn(asked.room or list(ROOMS), asked.count, asked.seed)
    print(f"{len(mutants)} mutants, seed {asked.seed}\n", flush=True)
    print("| place | change | outcome | s |\n|---|---|---|---|", flush=True)
    counts: Counter[tuple[str, str]] = Counter()
    for mutant, outcome in run(mutants, asked.seconds):
        reason = EQUIVALENT.get((mutant.path, mutant.change), "")
        what = "killed" if outcome.killed else "equivalent" if reason else "survived"
        counts[mutant.room, what] += 1
        said = f"{what}: {outcome.by or reason}" if outcome.by or reason else f"**{what}**"
        place = f"{mutant.path.removeprefix(PACKAGE.as_posix() + '/')}:{mutant.line}"
        print(f"| {place} | `{mutant.change[:70]}` | {said} | {outcome.seconds:.0f} |", flush=True)
    print("\n| room | killed | survived | equivalent | share killed |\n|---|---|---|---|---|")
    for room in sorted({m.room for m in mutants}):
        killed, survived, same = (counts[room, what] for what in ("killed", "survived", "equivalent"))
        print(f"| {room} | {killed} | {survived} | {same} | {killed / max(1, killed + survived):.0%} |")


if __name__ == "__main__":
    main()
