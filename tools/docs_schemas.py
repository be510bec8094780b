"""JSON Schemas of what the commands write and read, made from what they really write and really ask for.

What a command writes is written by it here, from the files of the demo; the schema holds the keys that stood in every
document as required, and takes from the annotations of the nouns what may be null and what is whole. What a command
reads is asked key by key of the readers, which name each key, whether it is needed, and which kinds they take.

Schemas stand twice: in the package, ``linewright/files/schemas``, and among the pages, ``docs/reference/schemas``.
``python tools/docs_schemas.py`` writes both, ``--check`` compares.
"""

from __future__ import annotations

import argparse
import importlib
import json
import pkgutil
import re
import shutil
import sqlite3
import sys
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field, fields, is_dataclass
from pathlib import Path
from typing import Any, Literal, get_args, get_origin, get_type_hints

ROOT = Path(__file__).parents[1]
if str(ROOT / "tools") not in sys.path:  # the other tools, whoever loads this one
    sys.path.insert(0, str(ROOT / "tools"))
PLACES = (ROOT / "src" / "linewright" / "files" / "schemas", ROOT / "docs" / "reference" / "schemas")
DIALECT = "https://json-schema.org/draft/2020-12/schema"

# What the commands write

LEDGER = "--ledger kept.sqlite"
WRITTEN = (
    "prove harbour-ridge.toml",
    "prove harbour-ridge-2024.toml",
    "one-end --open 5.2 --short 4.9 --at 50MHz --line RG-213/U --length 30m",
    "one-end --open 5.2 --short 4.9 --at 50MHz --length 30m",
    "through --shack-swr 1.3 --at 144.3MHz --piece 'blue 18' --sheet harbour-ridge.toml",
    "through --shack-swr 1.3 --loss '3 dB'",
    "through --curve beam.csv --line RG-213/U --length 30m",
    "through --curve beam.csv --curve beam.csv --name dry --name wet --line RG-213/U --length 30m",
    "through --curve beam.csv",
    "cut drum.s2p --length 30m --line RG-213/U --to 'quarter wave' --at 145MHz --load '50 ohm'",
    "cut drum.s2p --length 30m --line RG-213/U --stub short --to 'quarter wave' --at 14.1MHz",
    "cut drum.s2p open.s1p+short.s1p --far-end through --far-end open --far-end short --at 145MHz --sets-of 2",
    "sweep drum.s2p --length 30m --line RG-213/U",
    "sweep drum.s2p",
    "sweep open.s1p short.s1p --far-end open --far-end short --length 30m",
    "sweep mast.s1p --far-end load",
    "plan harbour-ridge-station.toml",
    "plan harbour-ridge-station.toml --run 'two-metre beam' --with power=25W",
    "plan harbour-ridge-station.toml --run 'repeater link' --with 'piece 1 = black 20'",
    "reception harbour-ridge-station.toml",
    "exposure harbour-ridge-station.toml --distance 6m",
    "exposure harbour-ridge-station.toml --run 'two-metre beam'",
    "exposure --power 100W --gain 2.15dBi --at 14.2MHz",
    "choose harbour-ridge-station.toml --run 'two-metre beam' --prices harbour-ridge-prices.csv",
    "share harbour-ridge-field-day.toml",
    "meaning 3dB --at 144MHz --signal S7",
    "meaning +6dB",
    "meaning S7 --at 7MHz",
    "meaning '100 W EIRP' --distance 10km --at 144MHz",
    "loss RG-213/U 30m 14.2MHz",
    "lines",
    "lines RG-213/U",
    "connectors",
    "impedance --centre-diameter 2.3mm --dielectric-diameter 7.2mm --velocity-factor 0.66",
    "connectors",
    "practise --seed 7 --level 2 --show",
    "practise --seed 7 --level 5 --truth",
    "practise --seed 7 --level 4 --guess 'cannot tell'",
    "practise --seed 2 --level 5 --guess 'likely misread 3'",
    "chart harbour-ridge.toml --list",
    "chart harbour-ridge.toml --kind loss -o loss.svg",
    "report harbour-ridge.toml -o bench.html --date 2026-03-14",
    "label --list",
    "sheet harbour-ridge.toml -o to-fill-in.csv",
    "check",
    f"shelf add 'red 5' --line RG-58C/U --length 5m {LEDGER}",
    f"shelf file harbour-ridge.toml --on 2026-03-14 {LEDGER}",
    f"shelf file harbour-ridge-2024.toml --on 2024-03-16 {LEDGER}",
    f"shelf file harbour-ridge-2025.toml --on 2025-03-15 {LEDGER}",
    f"shelf file drum.s2p --piece 'black 20' --on 2026-10-03 {LEDGER}",
    f"shelf file harbour-ridge-station.toml {LEDGER}",
    f"shelf change 'red 5' --exposure portable {LEDGER}",
    f"shelf note 'red 5' 'from the junk box' {LEDGER}",
    f"shelf rename 'red 5' 'red 6' {LEDGER}",
    f"shelf cut 'red 6' 2m {LEDGER}",
    f"shelf list --date 2026-12-01 {LEDGER}",
    f"shelf list --due --date 2026-12-01 {LEDGER}",
    f"shelf show 'blue 7' --limit 6dB --at 432.1MHz --date 2026-12-01 {LEDGER}",
    f"shelf calibrate 'pocket meter' --at 144.3MHz --load '25 ohm' 2.1 --load '100 ohm' 1.9 {LEDGER}",
    f"shelf show 'blue 7' --date 2026-12-01 {LEDGER}",
    f"shelf show 'red 6' --date 2026-12-01 {LEDGER}",
    f"shelf runs {LEDGER}",
    f"shelf plan 'portable mast' 'low power' --set power='5 W' {LEDGER}",
    f"shelf plans {LEDGER}",
    f"shelf gear {LEDGER}",
    f"shelf sweeps {LEDGER}",
    f"shelf meters {LEDGER}",
    f"shelf meter 'desk meter' {LEDGER}",
    f"shelf meter 'pocket meter' {LEDGER}",
    f"shelf history 'blue 7' {LEDGER}",
    f"shelf history {LEDGER}",
    f"shelf backup {LEDGER}",
    f"shelf check {LEDGER}",
    f"shelf export whole.zip {LEDGER}",
    "shelf import whole.zip --ledger another.sqlite",
    f"label 'blue 7' --date 2026-03-20 {LEDGER}",
)
"""Commands that between them write every kind of document, run in turn in one folder. More may be added freely."""
SHORT_LIST = re.compile(r'\[\s+((?:"\w+",?\s+)+)\]')
UNWORDED = {"linewright/error/1"}
"""Documents whose keys are no figures: the glossary means other things by the same words."""
BY_DATA = {"chart", "specification", "figures", "body", "before", "after", "fields", "spec", "counts", "rows"}
"""Keys whose values are named by what a person keeps or by the kind of a thing, so that they have no fixed keys."""


@dataclass(slots=True)
class Seen:
    """What was seen at one place of documents."""

    kinds: set[str] = field(default_factory=set)
    objects: int = 0
    keys: dict[str, Seen] = field(default_factory=dict)
    times: dict[str, int] = field(default_factory=dict)
    entries: Seen | None = None

    def add(self, value: Any) -> None:
        """Take in one more value."""
        self.kinds.add(kind(value))
        if isinstance(value, dict):
            self.objects += 1
            for name, inner in value.items():
                self.times[name] = self.times.get(name, 0) + 1
                self.keys.setdefault(name, Seen()).add(inner)
        elif isinstance(value, list):
            self.entries = self.entries or Seen()
            for inner in value:
                self.entries.add(inner)


def kind(value: Any) -> str:
    """Return the JSON type of a value.

    >>> [kind(value) for value in (True, 1, 1.5, None, "a", [], {})]
    ['boolean', 'integer', 'number', 'null', 'string', 'array', 'object']
    """
    return {bool: "boolean", int: "integer", float: "number", str: "string", list: "array", dict: "object"}.get(
        type(value), "null"
    )


def written_schemas(commands: Sequence[str] = WRITTEN) -> dict[str, dict[str, Any]]:
    """Return a schema for every kind of document that some commands write, by its name."""
    seen: dict[str, Seen] = {}
    first: dict[str, str] = {}
    written = [(f"linewright {words.removesuffix(LEDGER).strip()} --json", words) for words in commands]
    told = zip([command for command, _ in written], ran_documents(commands), strict=True)
    for command, document in (*told, *app_documents(), *mended_documents()):
        name = document["schema"]
        seen.setdefault(name, Seen()).add(document)
        first.setdefault(name, command)
    hints, bare = Hints(), Hints(worded=False)
    return {
        name_of(name): schema_of(name, found, first[name], bare if name in UNWORDED else hints)
        for name, found in sorted(seen.items())
    }


def interface_schemas() -> dict[str, dict[str, Any]]:
    """Return a schema for every kind of document that the interface for programs alone writes, by its name."""
    from linewright.web.api.models import WRITTEN as DOCUMENTS

    found = {}
    for model, place in DOCUMENTS.items():
        body = model.model_json_schema(by_alias=True)
        name = body["properties"]["schema"]["const"]
        head = {"$schema": DIALECT, "$id": f"urn:{name.replace('/', ':')}", **body, "title": name, "$comment": place}
        found[name_of(name)] = head
    return found


def name_of(schema: str) -> str:
    """Return the name of a document without the house and the version.

    >>> name_of("linewright/bench-result/1")
    'bench-result'
    """
    return schema.split("/")[1]


def schema_of(name: str, seen: Seen, command: str, hints: Hints) -> dict[str, Any]:
    """Return the schema of one kind of document; its comment is a command that writes one."""
    body = drawn(seen, "", hints)
    body["properties"]["schema"] = {"const": name}
    head = {"$schema": DIALECT, "$id": f"urn:{name.replace('/', ':')}", "title": name, "$comment": command}
    return {**head, **body}


def drawn(seen: Seen, name: str, hints: Hints, of: Annotations | None = None) -> dict[str, Any]:
    """Return what was seen at a place as a schema; ``of`` are the annotations of the noun it stands in."""
    kinds = widened(name, seen.kinds, hints.of(name, of))
    out: dict[str, Any] = {"type": sorted(kinds) if len(kinds) > 1 else next(iter(kinds))}
    told = hints.told(name, of)
    if told:
        out["description"] = told
    if "object" in kinds:
        if name in BY_DATA or not seen.keys:
            out["additionalProperties"] = True
        else:
            inside = hints.noun(set(seen.keys))
            out["properties"] = {key: drawn(inner, key, hints, inside) for key, inner in seen.keys.items()}
            out["required"] = [key for key, times in seen.times.items() if times == seen.objects]
    if "array" in kinds and seen.entries is not None and seen.entries.kinds:
        out["items"] = drawn(seen.entries, f"{name}[]", hints)
    return out


GIVEN = {"frequency_hz", "length_m"}
"""What is never worked out, so that it is always a finite number where the noun has one."""


def widened(name: str, kinds: set[str], annotated: Sequence[Any]) -> set[str]:
    """Return the types that a value may have: those seen, with what the annotations allow besides."""
    out = set(kinds)
    words = [str(hint) for hint in annotated]
    if any("None" in word for word in words):
        out.add("null")
    if kinds == {"null"} and any(hint == str | None for hint in annotated):
        out.add("string")
    if "integer" in out and (not words or any("float" in word or "Estimate" in word for word in words)):
        out.add("number")
    if "number" in out:
        # What is not a finite number is written as null.
        out = (out | (set() if name in GIVEN and words else {"null"})) - {"integer"}
    return out


class Hints:
    """What the annotations of the nouns, and the glossary if it is ``worded``, say of a key."""

    def __init__(self, *, worded: bool = True) -> None:
        import docs_reference

        from linewright.web.api.models import Trouble

        self._words = docs_reference.glossary() if worded else {}
        self._nouns = [*([] if worded else [get_type_hints(Trouble)]), *(hints_of(noun) for noun in nouns())]

    def noun(self, keys: set[str]) -> Annotations | None:
        """Return the annotations of the noun whose fields are most like some keys, if one is like them."""

        def alike(noun: Annotations) -> float:
            return len(keys & noun.keys()) / len(keys | noun.keys())

        best = max(self._nouns, key=alike)
        return best if alike(best) > 0.6 else None

    def of(self, name: str, noun: Annotations | None) -> list[Any]:
        """Return the annotations of a key in a noun, else anywhere; those of its value for an end of an interval."""
        bare = re.sub(r"_(low|high|u)$", "", name)
        for known in ([noun] if noun else [], self._nouns):
            for word in (name, bare):
                found = [hints[word] for hints in known if word in hints]
                if found:
                    return found
        return []

    def told(self, name: str, noun: Annotations | None) -> str:
        """Return unit and meaning of a key, and the words it may be."""
        unit, meaning = self._words.get(name) or self._words.get(re.sub(r"_(low|high|u)$", "", name)) or ("", "")
        chosen = list(dict.fromkeys(w for hint in self.of(name, noun) for w in literals(hint)))
        parts = [meaning.replace("\\|", "|"), f"in {unit}" if unit not in {"", "1"} else ""]
        return "; ".join([*(p for p in parts if p), *([f"one of {', '.join(map(repr, chosen))}"] if chosen else [])])


Annotations = dict[str, Any]


def hints_of(noun: type) -> dict[str, Any]:
    """Return the annotations of a noun; as text where one names what is imported for the type checker alone."""
    try:
        return get_type_hints(noun)
    except NameError:
        return {item.name: item.type for item in fields(noun)}  # type: ignore[arg-type]


def literals(hint: Any) -> Iterator[str]:
    """Yield the words that an annotation allows.

    >>> list(literals(Literal["open", "short"] | None))
    ['open', 'short']
    """
    if get_origin(hint) is Literal:
        yield from (str(word) for word in get_args(hint))
    else:
        for part in get_args(hint):
            yield from literals(part)


def nouns() -> list[type]:
    """Return every noun of the package that is a dataclass."""
    from linewright import core
    from linewright.core import nouns as room

    assert core
    modules = [
        importlib.import_module(f"{room.__name__}.{found.name}") for found in pkgutil.iter_modules(room.__path__)
    ]
    found = [noun for module in modules for noun in vars(module).values() if isinstance(noun, type)]
    return [noun for noun in dict.fromkeys(found) if is_dataclass(noun) and fields(noun)]


def ran_documents(commands: Sequence[str] = WRITTEN) -> list[dict[str, Any]]:
    """Return what some commands write with ``--json``, run in turn in one folder."""
    import readme

    with readme.workplace() as folder:
        shutil.copy(readme.BENCH / "harbour-ridge-truth.csv", folder)
        return [json.loads(readme.ran(f"linewright {words} --json", folder)) for words in commands]


# What the app alone writes, and what is written of a damaged ledger

HOME = "http://localhost:8731"
REFUSED: tuple[dict[str, Any], ...] = (
    {"path": "loss", "params": {"line": "RG-213/U", "length": "30", "frequency": "14.2 MHz"}},
    {"path": "loss", "params": {"line": "RG-999", "length": "30 m", "frequency": "14.2 MHz"}},
    {"path": "loss", "params": {"line": "RG-213/U"}},
    {"path": "prove", "json": {"sheet": "title = 3\n[[piece]]\ntag = 'a'\nlength = 7\n"}},
    {"path": "prove", "content": b"{", "headers": {"content-type": "application/json"}},
    {"path": "nothing", "params": {}},
)
"""Questions that the interface refuses: a value, an unknown name, a key that lacks, a file of many faults, a body."""


def app_documents() -> list[tuple[str, dict[str, Any]]]:
    """Return what the app writes beside the commands' documents: its token, and refusals; each with its question."""
    from starlette.testclient import TestClient

    from linewright.web.app import create_app
    from linewright.web.sessions import Settings

    asks = TestClient(create_app(Settings(None)), base_url=HOME)
    token = asks.get("/api/session").json()
    asks.headers["x-linewright-token"] = token["token"]
    found = [("GET /api/session", token)]
    for question in REFUSED:
        path, rest = f"/api/{question['path']}", {k: v for k, v in question.items() if k != "path"}
        answer = asks.get(path, **rest) if "params" in rest else asks.post(path, **rest)
        assert answer.status_code >= 400, answer.text
        found.append((f"{'GET' if 'params' in rest else 'POST'} {path}", answer.json()))
    del asks.headers["x-linewright-token"]
    return [*found, ("POST /api/prove", asks.post("/api/prove", json={}).json())]


def mended_documents() -> list[tuple[str, dict[str, Any]]]:
    """Return what is written when a ledger is made whole again: one with a copy, and one whose copies are gone."""
    import readme

    command = "linewright shelf recover --json"
    found = []
    with readme.workplace() as folder:
        for name, copied in (("copied", True), ("alone", False)):
            ledger = folder / f"{name}.sqlite"
            given = f"--ledger {ledger.name}"
            readme.ran(f"linewright shelf add 'red 5' --line RG-58C/U --length 5m {given}", folder)
            if copied:
                readme.ran(f"linewright shelf backup {given}", folder)
            _zero_page(ledger, "change")
            found.append((command, json.loads(readme.ran(f"{command} {given}", folder))))
    return found


def _zero_page(ledger: Path, table: str) -> None:
    """Zero the first page of a table."""
    with closing(sqlite3.connect(ledger)) as raw:
        ((page,),) = raw.execute("SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)).fetchall()
        ((size,),) = raw.execute("PRAGMA page_size").fetchall()
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with ledger.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(bytes(size))


# What the commands read


EXAMPLES = {
    "bench-sheet": """
        title = "Every table (invented)"
        frequencies = ["14.2 MHz"]
        joined = ["a+b"]
        [source]
        power = "10 W"
        [reference]
        line = "RG-58C/U"
        length = "0.9 m"
        in_place = "replaced"
        [[meter]]
        name = "card meter"
        rated = "100 MHz to 470 MHz"
        scale = "card"
        division = 1
        swr = 1.2
        card = [[0, "0 W"], [100, "12.5 W"]]
        [[piece]]
        tag = "a"
        line = "drum"
        length = "7 m"
        connectors = 2
        stock = "red drum"
        [[piece]]
        tag = "b"
        length = "9 m"
        [[attenuator]]
        tag = "pad"
        loss = "3 dB"
        tolerance = "0.1 dB"
        [limits]
        home = "1 dB"
        portable = "3 dB"
        receive = "6 dB"
        [analyser]
        directivity = "30 dB"
        swr = 1.1
        [[line]]
        name = "drum"
        impedance = "50 ohm"
        velocity_factor = 0.66
        steel_centre = false
        points = [["10 MHz", "4 dB/100m"], ["100 MHz", "14 dB/100m"]]
        [[reading]]
        meter = "card meter"
        frequency = "144 MHz"
        path = "reference"
        reading = 80
        [[reading]]
        meter = "card meter"
        frequency = "144 MHz"
        path = "a"
        reading = 70
    """,
    "station": """
        [station]
        name = "Every table (invented)"
        noise = "residential"
        limits = ["ICNIRP 2020"]
        own_limits = "electric field 28 V/m"
        licence = ["40 m: 100 W power"]
        [[line]]
        name = "drum"
        points = [["10 MHz", "4 dB/100m"], ["100 MHz", "14 dB/100m"]]
        [[piece]]
        tag = "a"
        line = "RG-58C/U"
        length = "7 m"
        connectors = 2
        stock = "red drum"
        [[radio]]
        name = "desk rig"
        power = "100 W"
        mode = "SSB"
        duty = 0.5
        fold_back = [[1.5, "100 %"], [3, "50 %"]]
        receiver = {noise_figure = "6 dB"}
        [[antenna]]
        name = "beam"
        swr = 1.5
        gain = "11 dBi"
        size = "4 m"
        [[radio]]
        name = "old rig"
        mode = "CW"
        [[antenna]]
        name = "load"
        impedance = "38-12j"
        [[antenna]]
        name = "wire"
        impedance = [["14.2 MHz", "38-12j"], ["21.2 MHz", "50+9j"]]
        gain = "2 dBi"
        [[antenna]]
        name = "whip"
        swr = [["14.2 MHz", 1.5], ["21.2 MHz", 2]]
        [[part]]
        name = "shack end"
        chain = [{line = "RG-58C/U", length = "1 m"}]
        [[part]]
        name = "arrestor"
        loss = "0.1 dB"
        swr = 1.1
        voltage = "600 V"
        power = "400 W"
        [[run]]
        name = "one"
        radio = "desk rig"
        antenna = "beam"
        bands = ["2 m"]
        temperature = "35 °C"
        sky_temperature = "200 K"
        route = "20 m"
        weight = 2
        preamplifier = {gain = "18 dB", noise_figure = "0.8 dB", at = "antenna"}
        exposure = {limits = ["ICNIRP 2020"], ground_factor = 2.56, antenna_size = "4 m", window = "5 m"}
        chain = [
          {part = "shack end"},
          {part = "arrestor"},
          {piece = "a", name = "mast line"},
          {connector = "N", pairs = 2},
          {tuner = "tuner", q_inductor = 180, q_capacitor = 1000, match = "50 ohm", power = "200 W", voltage = "1 kV"},
          {transformer = "4:1", loss = "0.2 dB"},
          {line = "RG-213/U", length = "20 m", cut = "half wave", temperature = "30 °C"},
          {splitter = 2, kind = "tee", loss = "0.1 dB"},
        ]
        [run.choose]
        limit = "1 dB"
        budget = 120
        outdoors = true
        preamplifier = {gain = "18 dB", noise_figure = "0.8 dB"}
        [[run]]
        name = "two"
        frequencies = ["14.2 MHz"]
        power = "100 W"
        over = {on = "3 min", off = "5 min"}
        antenna = {impedance = "38-12j"}
        gain = "2 dBi"
        chain = [{line = "drum", length = "9 m"}, {part = "trap", loss = [["14 MHz", "0.1 dB"], ["22 MHz", "0.2 dB"]]}]
        [[run]]
        name = "three"
        frequencies = "14.2 MHz"
        power = "100 W"
        antenna = {swr = [["14.2 MHz", 1.5], ["21.2 MHz", 2]]}
        chain = [{transformer = "1:1", loss = [["14 MHz", "0.1 dB"], ["22 MHz", "0.2 dB"]]}]
        exposure = {limits = "ICNIRP 2020", ground_factor = "none", people = "8 m"}
        [[run]]
        name = "four"
        bands = "20 m"
        power = "100 W"
        route = "30 m"
        antenna = {impedance = [["14 MHz", "38-12j"], ["21.5 MHz", "50+9j"]]}
        [run.choose]
        limit = [["14.2 MHz", "1 dB"], ["21.2 MHz", "1 dB"]]
    """,
    "rules": """
        [[limit]]
        name = "A limit"
        who = "public"
        from = "100 kHz"
        to = "30 MHz"
        electric_field = "300/f^0.7 V/m"
        magnetic_field = "2.2/f A/m"
        power_density = "2 W/m2"
        averaging = "6 min"
        source = "invented"
        [[licence]]
        band = "60 m"
        eirp = "15 W"
        source = "invented"
        [[licence]]
        from = "7 MHz"
        to = "7.2 MHz"
        power = "100 W"
        erp = "90 W"
    """,
    "lines": """
        [[line]]
        name = "drum"
        impedance = "50 ohm"
        velocity_factor = 0.66
        points = [["10 MHz", "4 dB/100m"], ["100 MHz", "14 dB/100m"]]
    """,
}
"""For each kind of file that is read an invented one with every table, so that its reader asks for every key."""
SHAPES = (
    'kind = "dipole", length = "20 m", height = "10 m", feed = 0.5, wire = "2 mm", loss = "10 ohm"',
    'kind = "inverted v", length = "20 m", height = "10 m", end_height = "3 m"',
    'kind = "end-fed", length = "20 m", height = "10 m", counterpoise = "3 m"',
    'kind = "vertical", length = "10 m", base = "3 m", radials = 4, radial_length = "5 m", top = "5 m", coil = "4 m"',
    'kind = "loop", diameter = "1 m", height = "3 m"',
    'kind = "beam", elements = [["0 m", "10.4 m"], ["3.8 m", "9.96 m"]], height = "10 m", driven = 2',
)
"""One antenna of each kind by its lengths, as the demo's station file would have it."""


@dataclass(slots=True)
class Asked:
    """What a reader asked of one table: which keys it needs each time, which it may have, what stood there."""

    needed: set[str] | None = None
    keys: dict[str, set[str]] = field(default_factory=dict)


def asked_of(kind_of_file: str, texts: Sequence[str]) -> dict[str, Asked]:
    """Return what the reader of a kind of file asks of each of its tables, by the path of the table."""
    from linewright.files import own_lines, rules, sheet, station, tables

    readers = {
        "bench-sheet": lambda text: sheet.read_bench_sheet_text(text, {}),
        "station": lambda text: station.read_station_text(text, {}),
        "rules": lambda text: rules.read_rules_text(text, "rules"),
        "lines": lambda text: own_lines.read_lines_text(text, "lines.toml"),
    }
    found: dict[str, Asked] = {}
    needed: dict[int, tuple[tables.TomlTable, set[str]]] = {}
    begin, take, close = tables.TomlTable.__init__, tables.TomlTable.take, tables.TomlTable.close
    written: dict[int, dict[str, str]] = {}

    def beginning(table: tables.TomlTable, *given: Any, **named: Any) -> None:
        begin(table, *given, **named)
        needed[id(table)] = (table, set())
        written[id(table)] = {key: kind(value) for key, value in table.content.items()}

    def taking(table: tables.TomlTable, key: str, read: Any, default: Any = tables._NEEDED) -> Any:
        if default is tables._NEEDED:
            needed[id(table)][1].add(key)
        return take(table, key, read, default)

    def closing(table: tables.TomlTable) -> None:
        here = found.setdefault(path_of(table.label), Asked())
        wanted = needed[id(table)][1] & written[id(table)].keys()
        here.needed = wanted if here.needed is None else here.needed & wanted
        for key in table._known:
            here.keys.setdefault(key, set())
            if key in written[id(table)]:
                here.keys[key].add(written[id(table)][key])
        close(table)

    tables.TomlTable.__init__, tables.TomlTable.take, tables.TomlTable.close = beginning, taking, closing  # type: ignore
    try:
        for words in texts:
            readers[kind_of_file](words)
    finally:
        tables.TomlTable.__init__, tables.TomlTable.take, tables.TomlTable.close = begin, take, close  # type: ignore
    return found


def path_of(label: str) -> str:
    """Return what a table is called whichever of its kind it is; the entries of any chain are called alike.

    >>> path_of("run 2 part 3"), path_of("part 1 entry 2"), path_of("meter 1"), path_of("run 1 choose preamplifier")
    ('chain', 'chain', 'meter', 'run choose preamplifier')
    """
    bare = re.sub(r" \d+", "", label)
    return "chain" if bare in {"run part", "part entry"} else bare


def read_schemas() -> dict[str, dict[str, Any]]:
    """Return a schema for every kind of file that is read, by its name."""
    from textwrap import dedent

    antenna = 'antenna = {impedance = "38-12j"}'
    out = {}
    for name, text in EXAMPLES.items():
        shapes = [text.replace(antenna, antenna[:-1] + ", " + more + "}") for more in SHAPES if antenna in text]
        out[f"read-{name}"] = file_schema(name, asked_of(name, [dedent(words) for words in (text, *shapes)]))
    return out


def file_schema(name: str, asked: dict[str, Asked]) -> dict[str, Any]:
    """Return the schema of a kind of file."""
    defs = {path: table_schema(path, found, asked) for path, found in asked.items() if path}
    head = {"$schema": DIALECT, "$id": f"urn:linewright:read-{name}:1", "title": f"{name} (TOML)"}
    return {**head, **table_schema("", asked[""], asked), "$defs": defs}


def table_schema(path: str, found: Asked, asked: dict[str, Asked]) -> dict[str, Any]:
    """Return the schema of one table of a file: a key that is not named is refused."""
    properties: dict[str, Any] = {}
    for key, kinds in found.keys.items():
        inner = "chain" if key == "chain" else f"{path} {key}".strip()
        types = {"number" if one == "integer" else one for one in kinds}
        if types & {"string", "number"}:
            # A quantity is text with its unit, "5 W"; where a bare number does, text does too.
            types |= {"string", "number"}
        if inner in asked:
            table = {"$ref": f"#/$defs/{inner.replace(' ', '%20')}"}
            listed = "array" in types
            both = {"anyOf": [table, {"type": sorted(types - {"object"})}]}
            properties[key] = {"type": "array", "items": table} if listed else both if types - {"object"} else table
        else:
            properties[key] = {"type": sorted(types) if len(types) > 1 else next(iter(types))} if types else {}
    out: dict[str, Any] = {"type": "object", "properties": properties, "additionalProperties": False}
    return {**out, "required": sorted(found.needed)} if found.needed else out


def every() -> dict[str, dict[str, Any]]:
    """Return every schema by its name."""
    return {**written_schemas(), **interface_schemas(), **read_schemas()}


def main() -> int:
    """Write the schemas, or compare them; return 1 when one is out of date."""
    parser = argparse.ArgumentParser(description="Write the JSON Schemas.")
    parser.add_argument("--check", action="store_true", help="only compare with those on disk")
    asked = parser.parse_args()
    texts = {f"{name}.json": text(schema) for name, schema in every().items()}
    stale = [name for name in texts if any(read(place / name) != texts[name] for place in PLACES)]
    sys.stderr.write("".join(f"{name} is out of date\n" for name in stale))
    if not asked.check:
        for place in PLACES:
            place.mkdir(parents=True, exist_ok=True)
            for name, words in texts.items():
                (place / name).write_text(words, encoding="utf-8")
    return int(asked.check and bool(stale))


def text(schema: dict[str, Any]) -> str:
    """Return a schema as it stands in its file."""
    words = json.dumps(schema, indent=1, ensure_ascii=False)
    return SHORT_LIST.sub(lambda found: f"[{' '.join(found[1].split())}]", words) + "\n"


def read(path: Path) -> str:
    """Return what stands in a file; nothing where there is none."""
    return path.read_text(encoding="utf-8") if path.exists() else ""


if __name__ == "__main__":
    sys.exit(main())
