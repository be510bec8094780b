"""No sentence is ever a key: what an answer holds is found by what it is of, never by how its English reads."""

from __future__ import annotations

import ast
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

import linewright as lw
from linewright.core.nouns.bench_result import Working
from linewright.files.sheet import read_bench_sheet_text
from linewright.web.bench_presenter import answers_of
from linewright.web.requests import prove

SOURCE = Path(lw.__file__).parent

# The walk over the sources

#: Attributes of results that hold sentences.
WORDED = frozenset(
    {"figure", "formula", "why", "remarks", "cautions", "sentence", "action", "needs", "assumed", "note"}
)
LISTS = frozenset({"remarks", "cautions"})
#: Ways of looking into a text.
LOOKS = frozenset(
    {"startswith", "endswith", "find", "index", "partition", "rpartition", "removeprefix", "removesuffix"}
)
MATCHES = frozenset({"match", "fullmatch", "search"})
#: Words of English rather than a name, a unit or a mark: a small letter with a space behind.
PROSE = re.compile(r"[a-z]\s")
#: Reads what other programs and people wrote: their words are keys there, ours are not.
READERS = "files/"


def _is_worded(node: ast.AST, names: set[str]) -> bool:
    """Return whether an expression is a sentence of a result, or a name that one was bound to in a loop."""
    if isinstance(node, ast.Attribute):
        return node.attr in WORDED
    return isinstance(node, ast.Name) and node.id in names


def _bound(tree: ast.AST) -> set[str]:
    """Return the names that loops bind to sentences: ``for said in budget.remarks``."""
    loops = (n for n in ast.walk(tree) if isinstance(n, (ast.For, ast.comprehension)))
    return {
        n.target.id
        for n in loops
        if isinstance(n.target, ast.Name)
        and any(isinstance(x, ast.Attribute) and x.attr in LISTS for x in ast.walk(n.iter))
    }


def _constants(tree: ast.Module) -> dict[str, ast.expr]:
    """Return what the names of a module stand for."""
    assigned = (n for n in tree.body if isinstance(n, ast.Assign))
    return {t.id: n.value for n in assigned for t in n.targets if isinstance(t, ast.Name)}


def _is_prose(node: ast.expr, constants: dict[str, ast.expr]) -> bool:
    """Return whether an argument is English: a literal, a constant, a message, or a text with such in it."""
    if isinstance(node, ast.Name) and node.id in constants:
        return _is_prose(constants[node.id], {})
    if isinstance(node, ast.Call):
        called = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        return called in ("say", "say_many", "mark") or called.endswith("_start")
    return any(
        isinstance(x, ast.Constant) and isinstance(x.value, str) and bool(PROSE.search(x.value)) for x in ast.walk(node)
    )


def sentences_as_keys(source: str, *, prose: bool = True) -> Iterator[str]:
    """Yield every place of a module where a sentence serves as a key; without ``prose`` only sentences of results."""
    tree = ast.parse(source)
    names, constants = _bound(tree), _constants(tree)
    for node in ast.walk(tree):
        found = False
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            way, inside = node.func.attr, node.func.value
            if way in LOOKS:
                found = _is_worded(inside, names) or (prose and any(_is_prose(a, constants) for a in node.args))
            elif way in MATCHES:
                found = any(_is_worded(a, names) for a in node.args)
        elif isinstance(node, ast.Compare):
            for way, right in zip(node.ops, node.comparators, strict=True):
                inside = isinstance(way, (ast.In, ast.NotIn)) and _is_worded(right, names)
                found |= inside and getattr(right, "attr", "") not in LISTS
                if isinstance(way, (ast.Eq, ast.NotEq, ast.In)):
                    worded = _is_worded(node.left, names) or getattr(node.left, "attr", "") == "name"
                    found |= worded and _is_prose(right, constants)
        if found:
            yield f"{node.lineno}: {ast.unparse(node)}"


@pytest.mark.parametrize(
    "code",
    [
        "found = [w for w in workings if w.figure.startswith(start)]",
        "found = [w for w in workings if f'{piece} at {at}:' in w.figure]",
        "terms = [said for said in budget.remarks if said.startswith(terms)]",
        "plan = [n.removeprefix('To read:') for n in notes if n.startswith('To read: ')]",
        "back = UNDOES.match(change.note)",
        "TERMS = ('Exposure counts', 'Noise ')\nterms = text.startswith(TERMS)",
        "first = text.startswith(say('fault {number}', number=1))",
        "first = text.startswith(fault_start(1))",
        "told = any('impedance' in said for said in header.remarks)",
        "same = w.figure == f'instead of another line: {what}'",
        "lies = option.name == 'as it is'",
    ],
)
def test_the_walk_finds_a_sentence_used_as_a_key(code):
    assert list(sentences_as_keys(code))


@pytest.mark.parametrize(
    "code",
    [
        "found = workings_of(workings, ('loss', piece, hz))",
        "left = [said for said in report.remarks if said not in grave]",
        "comment = line.startswith('#')",
        "odd = argument.startswith('linewright/ledger/')",
        "shown = any(r.why for r in rows)",
        "first = limit.standard.startswith('ICNIRP 2020')",
    ],
)
def test_the_walk_leaves_alone_what_is_no_key(code):
    assert not list(sentences_as_keys(code))


def test_no_sentence_is_a_key():
    files = {p.relative_to(SOURCE).as_posix(): p.read_text(encoding="utf-8") for p in SOURCE.rglob("*.py")}
    assert len(files) > 200
    walked = ((name, sentences_as_keys(text, prose=not name.startswith(READERS))) for name, text in files.items())
    assert not [f"{name}:{hit}" for name, hits in walked for hit in hits]


# Keys of real answers

DEMO = SOURCE / "verbs" / "demo_data"


def alike_named():
    """Return the invented bench with one piece's name inside another's, and a meter called like a piece."""
    texts = {p.name: p.read_text(encoding="utf-8") for p in DEMO.glob("harbour-ridge.*")}
    texts = {n: t.replace("blue 18", "7").replace("pocket meter", "blue 7") for n, t in texts.items()}
    return read_bench_sheet_text(texts.pop("harbour-ridge.toml"), texts)


def test_a_figure_opens_the_workings_of_its_own_piece_alone():
    sheet = alike_named()
    result = lw.prove_cable(sheet)
    said = answers_of(result, sheet, ())
    assert {v.piece for v in said.verdicts} >= {"7", "blue 7"}
    for verdict in said.verdicts:
        for x in verdict.losses:
            figures = [w.figure for w in x.workings]
            assert all(f" {verdict.piece} " in f and f"blue {verdict.piece} " not in f for f in figures), figures
            assert sum("loss of" in f for f in figures) == 1
    exponents = {m.meter: m.how.figure for m in said.meters if m.how}
    assert "blue 7" in exponents
    assert all(f"exponent of the {meter} at" in figure for meter, figure in exponents.items())


def _bench() -> tuple[Working, ...]:
    return lw.prove_cable(alike_named()).workings


def _runs() -> Iterator[tuple[Working, ...]]:
    found = lw.plan_station(DEMO / "harbour-ridge-station.toml")
    return (b.workings for b in found.budgets)


def _choice() -> tuple[Working, ...]:
    prices = lw.read_prices(DEMO / "harbour-ridge-prices.csv")
    return lw.choose_for(DEMO / "harbour-ridge-station.toml", "two-metre beam", prices).workings


def _sharing() -> tuple[Working, ...]:
    return lw.share_shelf(DEMO / "harbour-ridge-field-day.toml").workings


def _sweep() -> tuple[Working, ...]:
    return lw.read_sweep([DEMO / "drum.s2p"]).workings


def _faults() -> tuple[Working, ...]:
    return lw.read_sweep([DEMO / "open.s1p", DEMO / "short.s1p"], ["open", "short"]).workings


def _one_end() -> tuple[Working, ...]:
    rows = [{"frequency": "144 MHz", "far_end": e, "swr": v} for e, v in (("open", "7.1"), ("short", "6.8"))]
    return prove(rows, {"line": "RG-58C/U", "length": "15 m"}).workings


def _change() -> tuple[Working, ...]:
    return lw.what_if(DEMO / "harbour-ridge-station.toml", ["two-metre beam: line 1 length = 3 m"]).workings


ANSWERS = {
    "bench": _bench, "choice": _choice, "sharing": _sharing, "sweep": _sweep, "faults": _faults, "one end": _one_end,
    "change": _change, "loss": lambda: lw.line_loss("RG-213/U", 30.0, [7e6, 144e6]).workings,
    "gain": lambda: lw.meaning_of(3.0, signal="S7", frequency_hz=7e6).workings,
}  # fmt: skip


@pytest.mark.parametrize("answer", ANSWERS)
def test_every_working_has_a_key_of_its_own(answer):
    _are_told_apart(ANSWERS[answer]())


def test_every_working_of_a_run_has_a_key_of_its_own():
    for workings in _runs():
        _are_told_apart(workings)


def _are_told_apart(workings: tuple[Working, ...]) -> None:
    counted = Counter(w.key for w in workings)
    assert counted
    assert () not in counted
    assert not [key for key, many in counted.items() if many > 1]
