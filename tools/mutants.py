"""Change the code a little, one place at a time, and see whether the tests of its room notice.

    python tools/mutants.py [--count 300] [--seed 1] [--room choice] [--part 1/4] [--seconds 300]

A mutant turns a comparison, an arithmetic sign, a number, a boolean or a returned value into its neighbour. So many are
drawn, by the seed, from all places there are in the rooms. Each is put into a copy of the tree, and the tests of its
room that call the changed function run there, quickest first, until one fails: then the mutant is killed. A test may
find an answer that an earlier one left, so one that passes is tried on all tests of the same files. One that no test
fails on survives, and says that the place is not held by anything; one whose tests take longer than the bound is killed
too. A mutant that changes nothing anybody could see is equivalent: name it in ``EQUIVALENT`` with the reason.
"""

from __future__ import annotations

import argparse
import ast
import copy
import json
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
from importlib.util import cache_from_source
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
EQUIVALENT: Mapping[tuple[str, str, str], str] = {
    ("choice/remedies.py", "share = np.clip(under / np.where(under == over, -1.0, under - over), 0.02, 0.98)",
     "1.0 → 1.5"): "keeps 0/0 out where the loss does not grow with length",
    ("choice/sharing.py", "np.round(short, 6),", "6 → 7"): "a tenth of a micrometre of what a line is short by",
    ("choice/share.py", "if found.buys[k, j] and length > 1e-6:", "1e-6 → 1.5e-06"): "a micrometre of bought line",
    ("core/formulas/l_network.py", "loss = signs[0] / near_q[signs[0] > 0], signs[1] / far_q[signs[1] > 0]",
     "signs[0] > 0 → (signs[0] >= 0)"): "a sign is 1 or -1, never 0",
    ("core/formulas/sparameters.py", "ports = a.shape[-1]", "1 → 2"): "a square matrix has as many rows as columns",
    ("inference/bench/doubts.py",
     "places = 0 if high >= 100 else max(0, min(3, int(np.ceil(1 - np.log10(max(high - low, 1e-3))))))",
     "1e-3 → 0.0015"): "three places at most either way",
    ("inference/bench/findings.py", "rng = np.random.default_rng(SEED + 1)", "1 → 2"): "as good a seed",
    ("inference/bench/trust.py",
     "measured = seen.spread < 0.7 * (post.priors.exponent_in if block.in_band else post.priors.exponent_out)",
     "seen.spread < 0.7 * (post.priors.exponent_in if block.in_band else post.priors.exponent_out) → (seen.spread <= "
     "0.7 * (post.priors.exponent_in if block.in_band else post.priors.exponent_out))"): "no spread is just that",
    ("inference/load/at_analyser.py", "DRAWS = 400", "400 → 401"): "as many draws",
    ("inference/load/curve.py", "own = ~found | (np.arange(at.size) % 2 == 0)",
     "np.arange(at.size) % 2 == 0 → (np.arange(at.size) % 2 != 0)"): "the other half of the draws",
    ("inference/one_end/likelihood.py", "LOAD, LOAD_PHASE, LOAD_DELAY = 12, 13, 14",
     "14 → 15"): "another column of the same draws",
    ("inference/one_end/targets.py", "ABOVE_ALL = 3.0", "3.0 → 4.5"): "beyond all either way",
}  # fmt: skip
"""Mutants that nobody can see, by file, line and change: the reason."""

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


def tried(tree: Path, targets: Sequence[str], bound_s: float, **more: str) -> Outcome:
    """Return what the tests say of a tree as it stands."""
    command = [sys.executable, "-m", "pytest", "-n", "0", "-q", "-x", "-p", "no:cacheprovider", "-m", "not slow"]
    quiet = {"PYTHONPATH": f"{tree / 'src'}{os.pathsep}{tree / 'tools'}", "OMP_NUM_THREADS": "1"}
    plugin = ["-p", "reach"] if "REACH_FILE" in more else []
    began = time.monotonic()
    try:
        done = subprocess.run(
            [*command, *plugin, *targets], cwd=tree, env=os.environ | quiet | more, capture_output=True, text=True,
            timeout=bound_s, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return Outcome(True, f"took more than {bound_s:.0f} s", bound_s)
    failed = re.search(r"^(?:FAILED|ERROR) (\S+)", done.stdout, re.MULTILINE)
    by = failed[1] if failed else "" if done.returncode == 0 else done.stdout.strip().splitlines()[-1][:80]
    return Outcome(done.returncode != 0, by, time.monotonic() - began)


@dataclass(frozen=True, slots=True)
class Reach:
    """Which functions the tests of a room call, each as "file:name", and how long each test takes."""

    called: Mapping[str, frozenset[str]]
    took: Mapping[str, float]

    def tests_of(self, path: str, function: str) -> list[str]:
        """Return the tests that call a function, or without a name any of a file, the quickest first."""
        mine = f"{path}:{function}"
        found = [
            test for test, calls in self.called.items()
            if (mine in calls if function else any(c.startswith(f"{path}:") for c in calls))
        ]  # fmt: skip
        return sorted(found or self.called, key=lambda test: self.took.get(test, 0.0))

    def beside(self, tests: Sequence[str]) -> list[str]:
        """Return the other tests of the files these stand in."""
        files = {test.partition("::")[0] for test in tests}
        return [test for test in self.called if test.partition("::")[0] in files and test not in tests]


def reach_of(tree: Path, room: str, bound_s: float) -> Reach:
    """Run the tests of a room as it stands, each file in a process of its own, and return what they call."""
    called: dict[str, frozenset[str]] = {}
    took: dict[str, float] = {}
    for path in sorted(p for folder in ROOMS[room] for p in (tree / folder).glob("test_*.py")):
        kept = tree / "reach.json"
        more = {"REACH_ROOM": str(tree / PACKAGE), "REACH_FILE": str(kept), "PYTHONDONTWRITEBYTECODE": ""}
        plain = tried(tree, [path.relative_to(tree).as_posix()], 10 * bound_s, **more)
        if plain.killed:
            raise SystemExit(f"The tests of {room} fail before anything is changed: {plain.by}")
        found = json.loads(kept.read_text(encoding="utf-8"))
        called |= {test: frozenset(calls) for test, calls in found["called"].items()}
        took |= found["took"]
    return Reach(called, took)


def function_at(text: str, line: int) -> str:
    r"""Return the function that a line stands in the body of, as Python calls it; nothing outside of all.

    >>> function_at("class A:\n    def f(self):\n        def g():\n            return 1\n", 4)
    'A.f.<locals>.g'
    """
    found = ""

    def walk(node: ast.AST, prefix: str) -> None:
        nonlocal found
        for inner in ast.iter_child_nodes(node):
            if isinstance(inner, (ast.FunctionDef, ast.AsyncFunctionDef)):
                name = prefix + inner.name
                if inner.body[0].lineno <= line <= (inner.end_lineno or 0):
                    found = name
                walk(inner, f"{name}.<locals>.")
            else:
                walk(inner, f"{prefix}{inner.name}." if isinstance(inner, ast.ClassDef) else prefix)

    walk(ast.parse(text), "")
    return found


def run(mutants: Sequence[Mutant], bound_s: float) -> Iterator[tuple[Mutant, Outcome]]:
    """Yield what became of each mutant."""
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        tree = Path(folder)
        for name in COPIED:
            if (ROOT / name).is_dir():
                shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__", "*.egg-info"))
            else:
                shutil.copy(ROOT / name, tree / name)
        reach = {room: reach_of(tree, room, bound_s) for room in sorted({m.room for m in mutants})}
        for mutant in mutants:
            path = tree / mutant.path
            text = path.read_text(encoding="utf-8")
            path.write_text(mutant.in_text(text), encoding="utf-8")
            Path(cache_from_source(str(path))).unlink(missing_ok=True)
            yield mutant, _judged(tree, mutant, text, reach[mutant.room], bound_s)
            path.write_text(text, encoding="utf-8")


def _judged(tree: Path, mutant: Mutant, text: str, reach: Reach, bound_s: float) -> Outcome:
    """Return what the examples of the changed file say, the tests that call what was changed, and those beside them."""
    name = mutant.path.removeprefix(f"{PACKAGE.as_posix()}/")
    near = reach.tests_of(name, function_at(text, mutant.line))
    spent = 0.0
    for some in ([mutant.path, *near], reach.beside(near)):
        found = tried(tree, some, bound_s, PYTHONDONTWRITEBYTECODE="1") if some else Outcome(False, "", 0.0)
        spent += found.seconds
        if found.killed:
            break
    return Outcome(found.killed, found.by, spent)


def main() -> None:
    """Draw mutants, try each, and print a table."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--count", type=int, default=300)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--room", action="append", choices=ROOMS, help="draw from this room only; may be given again")
    ask.add_argument("--part", default="1/1", help="try only every fourth of them, from the first: 1/4")
    ask.add_argument("--seconds", type=float, default=300, help="how long the tests of one mutant may take")
    asked = ask.parse_args()
    first, parts = map(int, asked.part.split("/"))
    mutants = drawn(asked.room or list(ROOMS), asked.count, asked.seed)[first - 1 :: parts]
    print(f"{len(mutants)} mutants, seed {asked.seed}, part {asked.part}\n", flush=True)
    print("| place | change | outcome | s |\n|---|---|---|---|", flush=True)
    counts: Counter[tuple[str, str]] = Counter()
    for mutant, outcome in run(mutants, asked.seconds):
        path = mutant.path.removeprefix(PACKAGE.as_posix() + "/")
        row = (ROOT / mutant.path).read_text(encoding="utf-8").splitlines()[mutant.line - 1].strip()
        reason = EQUIVALENT.get((path, row, mutant.change), "")
        what = "killed" if outcome.killed else "equivalent" if reason else "survived"
        counts[mutant.room, what] += 1
        said = f"{what}: {outcome.by or reason}" if outcome.by or reason else f"**{what}**"
        print(f"| {path}:{mutant.line} | `{mutant.change[:70]}` | {said} | {outcome.seconds:.0f} |", flush=True)
    print("\n| room | killed | survived | equivalent | share killed |\n|---|---|---|---|---|")
    for room in sorted({m.room for m in mutants}):
        killed, survived, same = (counts[room, what] for what in ("killed", "survived", "equivalent"))
        print(f"| {room} | {killed} | {survived} | {same} | {killed / max(1, killed + survived):.0%} |")


if __name__ == "__main__":
    main()
