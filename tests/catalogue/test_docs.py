"""What docs/catalogue.md says of the catalogue is so."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from linewright import catalogue
from linewright.catalogue import tables

PAGE = (Path(__file__).parents[2] / "docs" / "catalogue.md").read_text(encoding="utf-8")
SPREADS = re.findall(r"^\| ([^|]+?) \| (\d+) \| [^|]+ \|$", PAGE, flags=re.MULTILINE)


def test_the_table_of_spreads_is_there():
    assert len(SPREADS) == 10


@pytest.mark.parametrize(("name", "percent"), SPREADS)
def test_a_stated_spread_is_the_shipped_one(name, percent):
    assert f"{100 * catalogue.line_type(name).law.spread:.0f}" == percent


def test_every_data_file_is_described():
    folder = Path(tables.__file__).parent / "data"
    assert {p.name for p in folder.glob("*.csv")} == set(re.findall(r"`(\w+\.csv)`", PAGE))


def test_the_rule_of_thumb_lies_where_the_page_says():
    law = catalogue.line_type("RG-58C/U").law
    below = [100 * (1 - rule / (10 * float(law.db_per_m(f)))) for f, rule in ((30e6, 0.7), (144e6, 1.6), (432e6, 3.1))]
    assert min(below) >= 16.5
    assert max(below) <= 20.5


def test_the_counts_of_points_are_those_of_the_files():
    points = [p for t in catalogue.line_types() for p in t.points]
    read, memory, class_ = (sum(p.provenance.grade == g for p in points) for g in ("read", "memory", "class"))
    assert f"{len(points)} published attenuation points" in PAGE
    assert f"{sum(p.kind == 'set aside' for p in points)} set aside" in PAGE
    assert f"{read} are read, {memory} from memory, {class_} typical of a class" in PAGE


def test_what_the_page_says_of_left_out_sources_is_what_was_kept():
    kept = (Path(__file__).parents[2] / "benchmarks" / "sources_left_out_results.md").read_text(encoding="utf-8")
    rows = {
        m[1]: m.groups()[1:]
        for m in re.finditer(r"^\| ([^|]+) \| (\d+) \| ([\d.]+) \| ([\d.]+) \| \d+ \|$", kept, re.M)
    }
    for ours, theirs in (
        ("types of several sources", "types of several sources"), ("of these, up to 30 MHz", "of these, to 30 MHz"),
        ("clad steel and windowed line", "of these, clad steel and windowed line"),
        ("types of one source, left to their make alone", "types of one source, by their make alone"),
    ):  # fmt: skip
        _, inside, departure = rows[theirs]
        assert f"| {ours} | {inside} % | {departure} % |" in PAGE
    assert re.search(r"median (\d\.\d+)\.", kept)[1] in PAGE
    assert f"{rows['all'][0]} read points" in PAGE


def test_its_example_runs():
    (code,) = re.findall(r"```python\n(.*?)```", PAGE, flags=re.DOTALL)
    names: dict[str, object] = {}
    exec(compile(code, "docs/catalogue.md", "exec"), names)
    assert names["mine"].designator == "club drum"
