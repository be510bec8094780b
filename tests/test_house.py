"""The house keeps its own rules: a light start, rooms that know little, words that stay inside."""

from __future__ import annotations

import ast
import importlib.util
import os
import pkgutil
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import linewright

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "linewright"
PINNED = sorted(ROOT.glob("requirements*.txt"))
#: What a foundation room may import besides Python itself and the rooms below it.
MAY_IMPORT = {
    "core/errors.py": set(),
    "core/quantities.py": {"numpy"},
    "core/messages.py": set(),
    "core/nouns": {"numpy"},
    "core/formulas": {"numpy", "scipy"},
}
#: Too slow to load before a command knows that it needs them.
HEAVY = {"numpy", "scipy", "vl_convert", "skrf", "pandas", "linewright.inference.bench", "linewright.present.charts"}


def _modules() -> list[str]:
    found = pkgutil.walk_packages(linewright.__path__, "linewright.")
    return sorted(item.name for item in found if not item.name.endswith("__main__"))


def _loaded_after(statement: str) -> set[str]:
    code = f"import sys; {statement}; print(*sys.modules, file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return set(done.stderr.split())


def _needs_the_command_line() -> None:
    if importlib.util.find_spec("linewright.cli") is None:
        pytest.skip("the command line is not there yet")


THREADS = {
    "library": "import linewright as lw; lw.prove_cable(lw.read_bench_sheet({sheet!r}))",
    "command": "from linewright.cli import main; main(['prove', {sheet!r}, '--json'], standalone_mode=False)",
}


def _threads_after(code: str, **said: str) -> int:
    """Return how many threads a process that says nothing of threads but ``said`` has after a bench was proved."""
    sheet = str(SOURCE / "verbs" / "demo_data" / "harbour-ridge.toml")
    count = "import os, sys; print(len(os.listdir('/proc/self/task')), file=sys.stderr)"
    silent = {n: value for n, value in os.environ.items() if not n.endswith("_THREADS")}
    done = subprocess.run(
        [sys.executable, "-c", f"{code.format(sheet=sheet)}; {count}"],
        env=silent | said, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return int(done.stderr.split()[-1])


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="threads are counted as Linux lists them")
@pytest.mark.parametrize("door", THREADS)
def test_numbers_are_worked_out_on_one_thread(door: str) -> None:
    assert _threads_after(THREADS[door]) == 1


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="threads are counted as Linux lists them")
@pytest.mark.skipif(os.cpu_count() == 1, reason="with one core there is one thread whoever decides")
@pytest.mark.parametrize("name", ["OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"])
def test_whoever_sets_the_number_of_threads_decides(name: str) -> None:
    assert _threads_after(THREADS["library"], **{name: "2"}) > 1


def _at_import(body: list[ast.stmt]) -> Iterator[ast.Import | ast.ImportFrom]:
    """Yield the imports that are carried out when a module is first loaded: none in functions or for types alone."""
    for node in body:
        if isinstance(node, ast.Import | ast.ImportFrom):
            yield node
        elif isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            yield from _at_import(node.orelse)
        elif not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            for part in ("body", "orelse", "finalbody"):
                yield from _at_import(getattr(node, part, []))
            for handler in getattr(node, "handlers", []):
                yield from _at_import(handler.body)


def _needed_first() -> dict[str, set[str]]:
    """Return for every module of ours those that it must find loaded, or loads, before its own body is done."""
    files = {".".join(p.relative_to(SOURCE.parent).with_suffix("").parts): p for p in SOURCE.rglob("*.py")}
    modules = {name.removesuffix(".__init__"): path for name, path in files.items()}
    needs: dict[str, set[str]] = {}
    for name, path in modules.items():
        found: set[str] = set()
        for node in _at_import(ast.parse(path.read_text(encoding="utf-8")).body):
            if isinstance(node, ast.Import):
                found |= {alias.name for alias in node.names}
            else:
                full = {f"{node.module}.{alias.name}" for alias in node.names}
                found |= {one if one in modules else str(node.module) for one in full}
        needs[name] = (found & set(modules)) - {name}
    return needs


def test_every_module_can_be_imported_first():
    needs = _needed_first()
    assert len(needs["linewright.verbs.prove"]) > 3
    TopologicalSorter(needs).prepare()  # raises CycleError, with the circle, if there is one


def _by_the_standard(path: Path) -> bool:
    """Return whether a file has frozen classes with slots that the standard decorator makes."""
    text = path.read_text(encoding="utf-8")
    light = re.search(r"^from linewright\.core\.frozen import dataclass$", text, re.MULTILINE)
    return "@dataclass(frozen=True, slots=True" in text and light is None


@pytest.mark.parametrize("room", ["core", "catalogue", "inference", "link", "choice", "store", "files", "present",
                                  "verbs", "cli"])  # fmt: skip
def test_frozen_classes_are_made_sooner_than_by_the_standard_decorator(room):
    files = sorted((SOURCE / room).rglob("*.py"))
    assert files
    assert [str(f.relative_to(SOURCE)) for f in files if _by_the_standard(f) and f.name != "frozen.py"] == []


def test_importing_the_package_loads_nothing_heavy():
    assert not _loaded_after("import linewright") & HEAVY


def test_importing_the_command_line_loads_nothing_heavy():
    _needs_the_command_line()
    assert not _loaded_after("import linewright.cli") & HEAVY


def test_asking_for_help_loads_nothing_heavy():
    _needs_the_command_line()
    ask = "from linewright.cli import main; main(['--help'], standalone_mode=False)"
    assert not _loaded_after(ask) & HEAVY


def _imported(path: Path) -> set[str]:
    """Return the top-level names a file imports, at its head or inside a function."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            names.add((node.module or "").partition(".")[0])
    return names


@pytest.mark.parametrize("room", sorted(MAY_IMPORT))
def test_a_foundation_room_imports_only_what_it_may(room):
    place = SOURCE / room
    assert place.exists()
    files = [place] if place.is_file() else sorted(place.rglob("*.py"))
    allowed = MAY_IMPORT[room] | {"linewright"} | sys.stdlib_module_names
    strangers = {f"{file.relative_to(SOURCE)}: {name}" for file in files for name in _imported(file) - allowed}
    assert not strangers


SHOWN = re.compile(r"^>>> from linewright\.core\.formulas\.\w+ import (.+)$", re.MULTILINE)
SIMPLER = {"solve"}
"""``near_field.solve`` is ``solve_over`` for one ground; the equations are told there."""


def _formulas_in_use(path: Path) -> set[str]:
    """Return the formulas that a file imports or calls by their module."""
    text = path.read_text(encoding="utf-8")
    if "core.formulas" not in text and path.parent.name != "formulas":
        return set()
    nodes = list(ast.walk(ast.parse(text)))
    imports = [node for node in nodes if isinstance(node, ast.ImportFrom)]
    found = {a.name for n in imports if str(n.module).startswith("linewright.core.formulas.") for a in n.names}
    topics = {a.asname or a.name for n in imports if n.module == "linewright.core.formulas" for a in n.names}
    if path.parent.name == "formulas":
        found |= {node.id for node in nodes if isinstance(node, ast.Name)}
    return found | {
        node.attr
        for node in nodes
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in topics
    }


def test_a_class_name_names_one_class():
    named: dict[str, list[str]] = {}
    for path in sorted((ROOT / "src" / "linewright").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                named.setdefault(node.name, []).append(path.name)
    assert {name: places for name, places in named.items() if len(places) > 1} == {}


def test_every_formula_serves_an_answer_or_is_shown_on_a_page():
    used = {name for path in SOURCE.rglob("*.py") for name in _formulas_in_use(path)}
    pages = " ".join(page.read_text(encoding="utf-8") for page in (ROOT / "docs").rglob("*.md"))
    shown = {name.strip() for names in SHOWN.findall(pages) for name in names.split(",")}
    formulas = {
        node.name
        for path in (SOURCE / "core" / "formulas").glob("*.py")
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    }
    assert len(formulas) > 70
    assert formulas - used - shown == SIMPLER


def _tracked() -> list[Path]:
    asked = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False)
    if asked.returncode:
        pytest.skip("not a git work tree: nothing tells which files are the project's")
    return [ROOT / name for name in asked.stdout.split("\0") if name and (ROOT / name).is_file()]


# Joined from pieces, so that this file does not hold the words it looks for.
UNWANTED = {
    "a home directory or work place of one machine": "|".join(
        rf"(?<![\w.])/{place}/\w" for place in ("home", "ro" + "ot", "wo" + "rk", "Us" + "ers", "op" + "t", "tm" + "p")
    ),
    "the host of a package index": "|".join(
        ("py" + r"pi\.org", "python" + r"hosted\.org", "np" + r"mjs\.(org|com)", "deb" + r"ian\.org/debian")
    ),
    "a word about how the project was asked for": (
        "se"
        + r"ed[ _-]docu"
        + r"ment|\bsha"
        + "red/(desi"
        + "gn|refer"
        + "ence|da"
        + r"ta)|\biss"
        + r"ues? (#|sh"
        + "ow )"
    ),
}


@pytest.mark.parametrize("what", sorted(UNWANTED))
def test_no_tracked_file_holds(what):
    wanted = re.compile(UNWANTED[what], re.IGNORECASE)
    hits = []
    for path in _tracked():
        text = path.read_bytes().decode("utf-8", errors="ignore")
        hits += [f"{path.relative_to(ROOT)}: {hit.group()}" for hit in wanted.finditer(text)]
    assert not hits


@pytest.mark.parametrize(
    "text",
    [
        "see /ho" + "me/ann/x",
        "/wo" + "rk/main",
        "https://py" + "pi.org/simple",
        "the se" + "ed document",
        "is" + "sue #2",
    ],
)
def test_the_search_for_unwanted_words_finds_them(text):
    assert any(re.search(pattern, text, re.IGNORECASE) for pattern in UNWANTED.values())


@pytest.mark.parametrize("path", PINNED, ids=lambda path: path.name)
def test_pins_hold_versions_and_hashes_and_nothing_else(path):
    lines = [line.strip() for line in path.read_text(encoding="utf-8").splitlines()]
    lines = [line for line in lines if line and not line.startswith("#")]
    pin = re.compile(r"[a-z0-9][a-z0-9._-]*==\S+( ;[^\\]+)? \\")
    digest = re.compile(r"--hash=sha256:[0-9a-f]{64}( \\)?")
    assert lines
    assert [line for line in lines if not (pin.fullmatch(line) or digest.fullmatch(line))] == []


@pytest.mark.parametrize("name", ["requirements.txt", "requirements-bench.txt"])
def test_what_only_tests_compare_with_is_pinned_for_contributors_alone(name):
    pinned = {p: (ROOT / p).read_text(encoding="utf-8") for p in (name, "requirements-dev.txt")}
    for oracle in ("scikit-rf", "pandas"):
        assert f"\n{oracle}==" not in pinned[name]
        assert f"\n{oracle}==" in pinned["requirements-dev.txt"]


def test_every_dependency_is_pinned():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wanted = project["project"]["dependencies"] + project["build-system"]["requires"]
    names = {re.split(r"[<>=~!;\[ ]", line)[0] for line in wanted}
    pinned = set(re.findall(r"^([a-z0-9._-]+)==", (ROOT / "requirements.txt").read_text(encoding="utf-8"), re.M))
    assert names <= pinned
