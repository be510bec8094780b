"""A text that would keep the parser busy for long is refused with the limit named, before the parser sees it."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import pytest

import linewright
from linewright.core.errors import InputError, SheetError
from linewright.files import read_bench_sheet_text
from linewright.files.station import read_station_text
from linewright.files.tables import MAX_PROBLEMS
from linewright.files.toml_reader import parse_toml
from linewright.verbs.changes import read_change

MEMORY_BYTES = 50_000_000


def refused(text: str, read=lambda text: parse_toml(text, "sheet.toml")) -> InputError:
    """Return the refusal of a text, which took little memory."""
    tracemalloc.start()
    try:
        with pytest.raises(InputError) as caught:
            read(text)
        assert tracemalloc.get_traced_memory()[1] < MEMORY_BYTES
    finally:
        tracemalloc.stop()
    return caught.value


def depth(parts: int) -> str:
    return ".".join(["a"] * parts)


def tables(names: int) -> str:
    return "".join(f"[a{i}]\n" for i in range(names))


# What has just as much as is allowed, and what has one more; each limit as it is told.
AT_THE_LIMIT = {
    "a dotted key": (lambda n: f"{depth(n)} = 1", 16, "keys of at most 16 parts"),
    "a dotted header": (lambda n: f"[{depth(n)}]", 16, "keys of at most 16 parts"),
    "a dotted key in braces": (lambda n: f"x = {{{depth(n)} = 1}}", 16, "keys of at most 16 parts"),
    "a dotted key in quotes": (lambda n: '"a".' * (n - 1) + "'a' = 1", 16, "keys of at most 16 parts"),
    "lists": (lambda n: f"x = {'[' * n}{']' * n}", 32, "at most 32 deep"),
    "tables": (tables, 200, "at most 200 different names of tables"),
    "a number": (lambda n: f"x = {'1' * n}", 100, "at most 100 characters"),
    "lines": (lambda n: "\n" * n, 500_000, "at most 500,000 lines; got 500,001"),
    "values": (lambda n: f"x = [{'1,' * (n - 2)}]", 400_000, "at most 400,000 equals signs"),
    "characters": (lambda n: "#" * n, 10_000_000, "at most 10,000,000 characters; got 10,000,001"),
}


@pytest.mark.parametrize("what", AT_THE_LIMIT)
def test_a_limit_is_kept_and_named(what):
    make, most, said = AT_THE_LIMIT[what]
    parse_toml(make(most), "sheet.toml")
    error = refused(make(most + 1))
    assert said in error.rule
    assert error.where.file == "sheet.toml"


DOTTED = f"{'a.' * 20_000}a = 1\n"
DOORS = {
    "a sheet": lambda text: read_bench_sheet_text(text, {}),
    "a station": lambda text: read_station_text(text, {}),
    "a sheet that a station names": lambda text: read_station_text(
        'evidence = "s.toml"\n[[run]]\nname = "beam"\n', {"s.toml": text}
    ),
    "own types that a sheet names": lambda text: read_bench_sheet_text('lines = "own.toml"', {"own.toml": text}),
}


@pytest.mark.parametrize("text", [DOTTED, tables(5_000)], ids=["one dotted key of 40 kB", "5,000 unknown tables"])
@pytest.mark.parametrize("door", DOORS)
def test_every_door_refuses_what_would_keep_the_parser_busy(door, text):
    error = refused(text, DOORS[door])
    told = [p.rule for p in getattr(error, "problems", ()) or (error,)]
    assert any("at most" in rule for rule in told), told


def test_a_change_that_is_no_value_within_bounds_is_taken_as_text():
    change = read_change(f"line = {'{a.' + 'a.' * 20_000}a = 1}}")
    assert isinstance(change.value, str)


def test_only_one_place_calls_the_parser():
    house = Path(linewright.__file__).parent
    callers = [p.name for p in house.rglob("*.py") if "tomllib" in p.read_text(encoding="utf-8")]
    assert callers == ["toml_reader.py"]


@pytest.mark.parametrize(
    "text",
    [
        "x = [\n" + ' ["1 MHz", "1 dB"],\n' * 300 + "]",
        'x = """\n' + "".join(f"[a{i}]\n" for i in range(300)) + '"""',
        "x = '''\n" + "[" * 40 + "'''",
        f'x = "{depth(40)}"',
        f"# {depth(40)} {'[' * 40}",
        'x = "\\"' + "[" * 40 + '"',
        "[[a]]\n" * 20_000,
    ],
    ids=["a card", "a text of lines", "a text of brackets", "a text", "a comment", "a quote in a text", "one name"],
)
def test_what_stands_in_texts_and_cards_counts_for_nothing(text):
    parse_toml(text, "sheet.toml")


@pytest.mark.parametrize("text", ['x = """' + '\\"' * 200_000, "x = '''" + "''" * 200_000, '"' * 400_000])
def test_a_quote_left_open_costs_little(text):
    refused(text)


def test_of_very_many_problems_the_first_are_told_and_that_there_are_more():
    text = "".join(f"a{i} = 1\n" for i in range(5_000))
    error = refused(text, DOORS["a sheet"])
    assert isinstance(error, SheetError)
    assert [p.where.row for p in error.problems[1:MAX_PROBLEMS]] == list(range(1, 100))
    assert len(error.problems) == MAX_PROBLEMS + 1
    assert "has more problems; the first 100 are told" in str(error.problems[-1])


@pytest.mark.parametrize("what", AT_THE_LIMIT)
def test_the_page_on_files_names_the_limit(what):
    page = (Path(__file__).parents[2] / "docs" / "reference" / "files.md").read_text(encoding="utf-8")
    assert f"{AT_THE_LIMIT[what][1]:,}" in page


@pytest.mark.parametrize(
    ("text", "cure"),
    [
        ("title = Spring", "Text goes in quotes."),
        ("title = ", "Write a value after the equals sign."),
        ("x = 1\nx = 2", "keep one of the two"),
        ("[a]\n[a]", "keep one"),
        ("Spring", "Write key = value."),
        ("[source", "Close the bracket"),
        ("x = {a = 1", "Close the bracket or brace."),
        ('x = "a" "b"', "One key and its value stand on a line"),
        ('x = "\\q"', "two backslashes"),
        ('x = """a', "Close the quotes."),
        ('x = "\x07"', "Take it out"),
    ],
)
def test_each_fault_has_its_own_cure_and_row(text, cure):
    with pytest.raises(SheetError) as told:
        parse_toml(f"first = 1\n{text}", "spring.toml")
    assert cure in told.value.cure
    assert told.value.where.row == 2 + text.count("\n")
