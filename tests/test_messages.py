"""Every language is whole: each message translated, its places kept, in step with the sources, and of that language."""

from __future__ import annotations

import ast
import importlib.util
import pickle
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from string import Formatter
from types import ModuleType
from typing import get_args

import pytest
from babel.messages.catalog import Catalog, Message

from linewright.core.errors import CannotError, Culprit, UnitError
from linewright.core.formatting import manner, plain
from linewright.core.locale import LANGUAGES, Manner
from linewright.core.messages import say, say_many, written
from linewright.core.nouns.exposure import Method
from linewright.core.nouns.rules import Who
from linewright.present.compose.station import WORDS

ROOT = Path(__file__).parents[1]
SPEAKERS = {"say": 1, "mark": 1, "message": 1, "say_many": 2}
"""Calls that say something, and how many of their arguments are messages."""
WORD = re.compile(r"[^\W\d_]{2,}")
ALIKE = {
    "Drift", "EIRP", "EIRP (95 %)", "ERP", "ERP (95 %)", "{change} dB", "{loss} dB: {what}",
    "Kaiser, β {shape}", "S9+{over} dB", "SWR", "SWR {swr}", "{c} dB, {d} dB", "{value} (SWR)",
    "ZL = Z0 (Zin - Z0 tanh γl)/(Z0 - Zin tanh γl); Z0 = R0 (1 - j (αc - αd)/β)",
    "20 lg(4 π d f/c)",
    "EIRP/(4 π d²)",
    "ICNIRP 2010, Health Physics 99:818-836",
    "{band}: EIRP {eirp}, ERP {erp}",
    "√(30 EIRP)/d",
    "{f} MHz",
    "SWR (95 %)",
    "# GHz S RI R 50", "200 0DQ", "A4, 210 x 297 mm", "Budget", "Filter", "Minus", "Name", "Radials", "Station",
    "Token", '[["10 MHz", "1.5 dB/100m"], ...]',
    "Touchstone", "in {shared}",
    "quarter wave",  # typed as it stands: what reads it knows English only
}  # fmt: skip
"""Messages of names, symbols and units, and words that German writes as English does."""
TYPED = re.compile(
    r"(?:Add|Write|Put|Name one column|Read 25|Check the unit|For a bare scale)\b|\[\[|needs \[|3\.65, 7\.1"
)
"""How messages begin that show what to type: files and fields take a point in every language."""
COMMA = re.compile(r"\d\.\d")
PLACE = re.compile(
    r"\bGleichung(?:en)? \d+\.\d+(?: (?:und|bis) \d+\.\d+)?"
    r"|\bPunkt: 3\.7"
    r"|\b(?:Abschnitt|Tabelle|CFR|IEEE|JCGM 100:2008,) \d+(?:\.\d+)+"
)
"""A place in a book or a law keeps its point, and so does what shows how a point looks."""


def _tool() -> ModuleType:
    spec = importlib.util.spec_from_file_location("messages", ROOT / "tools" / "messages.py")
    assert spec is not None
    assert spec.loader is not None
    tool = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(tool)
    return tool


@pytest.fixture(scope="module")
def tool() -> ModuleType:
    """Return the tool that keeps the catalogues."""
    return _tool()


@pytest.fixture(scope="module")
def german(tool: ModuleType) -> Catalog:
    """Return the German catalogue, brought in step with the sources."""
    return tool.updated(tool.LOCALE / "de" / "LC_MESSAGES" / "linewright.po", tool.template())


def _messages(catalogue: Catalog) -> list[Message]:
    return [message for message in catalogue if message.id]


def _said() -> Iterator[str]:
    """Yield every literal that a call of the sources says."""
    for path in sorted((ROOT / "src" / "linewright").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                texts = node.args[: SPEAKERS.get(ast.unparse(node.func).rpartition(".")[2], 0)]
                yield from (text.value for text in texts if isinstance(text, ast.Constant))


def test_the_tool_misses_no_sentence(german):
    known = {english for message in _messages(german) for english, _ in _forms(message)}
    assert [text for text in _said() if text not in known] == []


@pytest.mark.parametrize("word", [*get_args(Who), *(m for m in get_args(Method) if m != "none")])
def test_a_word_of_a_finding_is_a_message(german, word):
    assert word in WORDS
    assert german.get(word).string


def _forms(message: Message) -> list[tuple[str, str]]:
    """Return each English form with its translation."""
    if isinstance(message.id, str):
        return [(message.id, str(message.string))]
    return list(zip(message.id, message.string, strict=True))


def _names(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


FOR_PROGRAMS = (
    "cli/", "core/formulas/", "core/arguments.py", "core/machine.py", "link/draws.py", "link/chain.py",
    "link/sections.py", "verbs/listen.py", "verbs/results.py", "verbs/demo.py", "web/api/", "web/serving.py",
    "web/certificates.py", "catalogue/fit.py", "catalogue/construction.py", "catalogue/properties.py",
    "catalogue/belief.py", "catalogue/noise_sites.py", "catalogue/exposure_limits.py", "choice/sharing.py",
    "present/compose/figures.py", "core/errors.py",
)  # fmt: skip
"""Where errors arise that no page shows: on the terminal, in ``/api``, or because a function was called wrongly."""
CANNOT = {"CannotError", "ConflictError", "DamagedError"}
ERRORS = {"InputError", "UnitError", "UnknownNameError", "SheetError", *CANNOT}
TWO_WORDS = re.compile(r"[^\W\d_]{2,} [^\W\d_]{2,}")


def _unsaid_errors() -> Iterator[str]:
    """Yield the words of errors that a page may show and that are no message."""
    for path in sorted((ROOT / "src" / "linewright").rglob("*.py")):
        place = str(path.relative_to(ROOT / "src" / "linewright"))
        if place.startswith(FOR_PROGRAMS):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            name = getattr(node.func, "id", "") if isinstance(node, ast.Call) else ""
            if name in ERRORS:
                words = [k.value for k in node.keywords if k.arg in ("rule", "cure")]
                words += node.args[:1] if name in CANNOT else node.args[1:2]
                yield from (f"{place}:{node.lineno}: {bare}" for text in words for bare in _unsaid(text))


def _unsaid(text: ast.expr) -> Iterator[str]:
    """Yield the words of an expression that stand outside a message."""
    if isinstance(text, ast.JoinedStr | ast.Constant):
        parts = [part.value for part in getattr(text, "values", [text]) if isinstance(part, ast.Constant)]
        yield from filter(TWO_WORDS.search, ["".join(map(str, parts))])
    elif isinstance(text, ast.IfExp | ast.BoolOp | ast.BinOp):
        yield from (bare for part in ast.iter_child_nodes(text) if isinstance(part, ast.expr) for bare in _unsaid(part))


def test_what_an_error_says_on_a_page_is_a_message():
    assert list(_unsaid_errors()) == []


def test_an_error_keeps_its_messages_beside_its_english():
    error = UnitError("length", say("needs a unit; got {value}", value="'5'"), where=Culprit("a.toml", 3, "piece 1"))
    assert str(error) == "length needs a unit; got '5' (row 3 of piece 1 of a.toml)."
    assert written(str(error), Bracketed()) == "⟦length⟧ ⟦needs a unit; got '5'⟧ (⟦⟦⟦row 3⟧ of piece 1⟧ of a.toml⟧)."
    again = pickle.loads(pickle.dumps(error))
    assert written(str(again), Bracketed()) == written(str(error), Bracketed())
    assert written(str(CannotError(say("It is full."))), Bracketed()) == "⟦It is full.⟧"


class Bracketed(Manner):
    """A language that is English in brackets."""

    def message(self, pattern, many=None, count=1):
        return f"⟦{pattern if many is None or count == 1 else many}⟧"


def test_the_catalogues_are_whole_and_in_step(tool, capsys, monkeypatch):
    monkeypatch.setattr("sys.argv", ["messages.py", "--check"])
    assert tool.main() == 0, capsys.readouterr().err
    assert {path.name for path in tool.LOCALE.iterdir() if path.is_dir()} == set(LANGUAGES) - {"en"}


def test_every_pattern_takes_the_same_parts_in_both_languages(german):
    wrong = []
    for message in _messages(german):
        for english, other in _forms(message):
            if _names(english) != _names(other):
                wrong.append(english)
            english.format_map(dict.fromkeys(_names(english), "x"))
            other.format_map(dict.fromkeys(_names(other), "x"))
    assert wrong == []
    assert len(_messages(german)) > 1000


def _bare(text: str) -> str:
    return "".join(literal for literal, _, _, _ in Formatter().parse(text))


def test_no_message_stays_english(german):
    same = {
        english
        for message in _messages(german)
        for english, other in _forms(message)
        if english == other and WORD.search(_bare(english))
    }
    assert same == ALIKE


def test_german_has_a_decimal_comma_and_promises_nothing(german):
    told = [other for message in _messages(german) for english, other in _forms(message) if not TYPED.match(english)]
    assert [text for text in told if COMMA.search(PLACE.sub("", text))] == []
    texts = [other for message in _messages(german) for _, other in _forms(message)]
    assert [text for text in texts if re.search(r"\b(?:ist|sind) sicher\b", text)] == []


def test_a_sentence_is_written_in_german():
    german = manner("de")
    kept = say("Signal-to-noise ratio is {change} worse.", change=plain(1.5, 1))
    assert written(kept, german) != str(kept)
    assert "1,5" in written(kept, german)
    one, three = (say_many("{count} reading is doubted.", "{count} readings are doubted.", n) for n in (1, 3))
    assert written(one, german) == "1 Ablesung ist angezweifelt."
    assert written(three, german) == "3 Ablesungen sind angezweifelt."


@pytest.mark.parametrize(
    ("german", "flags", "said"),
    [
        ("", (), "not translated"),
        ("Dämpfung {lost}", (), "other places"),
        ("Dämpfung {loss}", ("fuzzy",), "fuzzy"),
        ("Dämpfung {loss}", (), ""),
    ],
)
def test_the_tool_finds_what_is_wrong_with_a_message(tool, german, flags, said):
    catalogue = Catalog(locale="de")
    catalogue.add("loses {loss}", german, flags=flags)
    found = tool.faults(catalogue)
    assert bool(found) is bool(said)
    assert all(said in text for text in found)


def test_a_catalogue_out_of_step_fails(tool, tmp_path, monkeypatch, capsys):
    shutil.copytree(tool.LOCALE, tmp_path / "src" / "locale")
    monkeypatch.setattr(tool, "LOCALE", tmp_path / "src" / "locale")
    monkeypatch.setattr(tool, "ROOT", tmp_path)
    monkeypatch.setattr("sys.argv", ["messages.py", "--check"])
    path = tool.LOCALE / "de" / "LC_MESSAGES" / "linewright.po"
    path.write_text(path.read_text(encoding="utf-8").replace("Ablesung", "Lesung"), encoding="utf-8")
    assert tool.main() == 1
    assert "out of step" in capsys.readouterr().err
