"""The schemas: what is written keeps to them, what is read is named by them, and they stand in the package."""

from __future__ import annotations

import json
import re
import tomllib
from importlib.resources import files

import jsonschema_rs
import pytest

import linewright as lw
from demo.tool import ROOT, tool
from linewright.core.errors import LinewrightError
from linewright.files.rules import read_rules_text
from linewright.files.sheet import read_bench_sheet_text
from linewright.files.station import read_station_text
from linewright.files.tables import to_json

readme, made = tool("readme"), tool("docs_schemas")
SHIPPED = files("linewright.files").joinpath("schemas")
SCHEMAS = {path.name: json.loads(path.read_text(encoding="utf-8")) for path in SHIPPED.iterdir()}
DEMO = ROOT / "src" / "linewright" / "verbs" / "demo_data"
QUICK = (
    "loss RG-213/U 30m 14.2MHz",
    "lines RG-58C/U",
    "meaning 3dB",
    "meaning 3dB --at 144MHz --signal S7",
    "impedance --centre-diameter 2mm --spacing 150mm --velocity-factor 0.97",
    "connectors",
    "through --shack-swr 1.3 --loss 3dB --at 144MHz",
    "one-end --open 5.2 --short 4.9 --at 50MHz --length 30m",
    "prove harbour-ridge-2025.toml",
    "sheet harbour-ridge.toml -o to-fill-in.csv",
    "shelf add red --line RG-58C/U --length 5m",
    "shelf list",
    "shelf history red",
    "shelf check",
    "label --list",
)
"""Documents that are quickly written, not all of them those a schema was made from."""


def schema_for(document):
    return SCHEMAS[f"{made.name_of(document['schema'])}.json"]


def breaks(document):
    """Return where a document breaks its schema."""
    checker = jsonschema_rs.validator_for(schema_for(document))
    return [f"{'/'.join(map(str, e.instance_path))}: {e.message}" for e in checker.iter_errors(document)]


def test_the_package_and_the_pages_hold_the_same_schemas():
    published = {path.name: json.loads(path.read_text(encoding="utf-8")) for path in made.PLACES[1].glob("*.json")}
    assert published == SCHEMAS
    assert len(SCHEMAS) >= 35


def test_every_schema_is_one():
    for schema in SCHEMAS.values():
        jsonschema_rs.meta.validate(schema)


def test_every_document_that_the_package_names_has_a_schema():
    source = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "src").rglob("*.py"))
    named = set(re.findall(r"linewright/([a-z-]+)/1\b", source)) | set(re.findall(r'_document\("([a-z-]+)"', source))
    elsewhere = {"ledger"}
    """What stands in an exported ledger."""
    assert named - elsewhere <= {made.name_of(schema["title"]) for schema in SCHEMAS.values() if "/" in schema["title"]}


def test_what_is_quickly_written_keeps_to_its_schema():
    documents = made.ran_documents(QUICK)
    assert {f"{words}: {found}" for words, one in zip(QUICK, documents, strict=True) for found in breaks(one)} == set()


def test_what_the_app_refuses_and_what_is_made_whole_keep_to_their_schemas():
    documents = [document for _, document in (*made.app_documents(), *made.mended_documents())]
    assert [found for one in documents for found in breaks(one)] == []
    assert {made.name_of(one["schema"]) for one in documents} == {"error", "session", "recover"}
    assert not jsonschema_rs.validator_for(SCHEMAS["error.json"]).is_valid({"schema": "linewright/error/1"})


@pytest.mark.slow
def test_whatever_is_written_keeps_to_its_schema_and_every_schema_is_as_it_would_be_made_now():
    documents = [*made.ran_documents(), *(d for _, d in (*made.app_documents(), *made.mended_documents()))]
    assert [found for one in documents for found in breaks(one)] == []
    by_interface = {schema["title"] for schema in made.interface_schemas().values()}
    titles = {schema["title"] for schema in SCHEMAS.values() if "/" in schema["title"]}
    assert {one["schema"] for one in documents} == titles - by_interface
    assert {f"{name}.json": schema for name, schema in made.every().items()} == SCHEMAS


@pytest.mark.parametrize("gone", ["losses", "schema"])
def test_a_document_that_lacks_what_is_promised_is_refused(gone):
    document = json.loads(to_json(lw.line_loss("RG-213/U", 30.0, [14.2e6])))
    assert breaks(document) == []
    whole = schema_for(document)
    del document[gone]
    assert not jsonschema_rs.validator_for(whole).is_valid(document)


def test_a_number_where_a_word_belongs_is_refused():
    document = json.loads(to_json(lw.meaning_of(-3.0)))
    assert breaks(document | {"power_ratio": "half"})


READ = {
    "read-bench-sheet.json": read_bench_sheet_text,
    "read-station.json": read_station_text,
    "read-rules.json": lambda text, _: read_rules_text(text, "rules"),
}


def kind_of(text):
    """Return the schema of a TOML text of a page."""
    found = tomllib.loads(text)
    if "run" in found or "station" in found:
        return "read-station.json"
    return "read-rules.json" if {"limit", "licence"} & found.keys() else "read-bench-sheet.json"


def toml_of_the_pages():
    """Return every TOML text that is a whole file: of the demo, and the blocks of the pages."""
    yield from ((path.name, path.read_text(encoding="utf-8")) for path in sorted(DEMO.glob("*.toml")))
    for page in readme.pages():
        for number, block in enumerate(re.findall(r"```toml\n(.*?)```", page.read_text(encoding="utf-8"), re.DOTALL)):
            if re.search(r"^\[", block, re.MULTILINE) and "..." not in block:
                yield f"{page.name} {number}", block


TOML = dict(toml_of_the_pages())


@pytest.mark.parametrize("name", TOML)
def test_every_file_that_the_demo_and_the_pages_show_keeps_to_the_schema_of_its_kind(name):
    checker = jsonschema_rs.validator_for(SCHEMAS[kind_of(TOML[name])])
    assert [error.message for error in checker.iter_errors(tomllib.loads(TOML[name]))] == []


def test_the_pages_show_files_of_every_kind():
    assert {kind_of(text) for text in TOML.values()} == set(READ)


@pytest.mark.parametrize(("name", "schema"), [(n, s) for n, s in SCHEMAS.items() if n in READ])
def test_schema_and_reader_refuse_the_same_stray_key(name, schema):
    example = made.EXAMPLES[name.removeprefix("read-").removesuffix(".json")]
    text = "\n".join(line.strip() for line in example.splitlines())
    checker = jsonschema_rs.validator_for(schema)
    assert checker.is_valid(tomllib.loads(text))
    READ[name](text, {})
    for table in sorted(set(re.findall(r"^\[+.*\]+$", text, re.MULTILINE))):
        stray = text.replace(table, f"{table}\ncolour = 'red'", 1)
        assert not checker.is_valid(tomllib.loads(stray)), table
        with pytest.raises(LinewrightError, match="colour"):
            READ[name](stray, {})


@pytest.mark.parametrize("name", made.EXAMPLES)
def test_the_schema_of_a_file_names_what_its_reader_asks_for(name):
    assert made.read_schemas()[f"read-{name}"] == SCHEMAS[f"read-{name}.json"], "run tools/docs_schemas.py"
