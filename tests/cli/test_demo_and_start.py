"""The demo ends with a folder and its verdict; the command itself starts at once."""

from __future__ import annotations

import json
import subprocess
import sys

from cli.doors import ask, words_of


def test_the_demo_shows_the_verdict_and_names_its_folder(tmp_path):
    folder = tmp_path / "bench"
    done = ask("demo", str(folder))
    assert done.exit_code == 0
    assert "invented" in done.stdout.splitlines()[0]
    assert "what-is-here.md" in words_of(done.stdout)
    assert (folder / "what-is-here.md").is_file()
    assert "Judging" in done.stderr
    assert ask("prove", str(folder / "harbour-ridge.toml")).stdout.rstrip() in done.stdout


def test_the_demo_as_json_is_the_result_file(tmp_path):
    done = ask("demo", str(tmp_path), "--json")
    assert json.loads(done.stdout) == json.loads((tmp_path / "harbour-ridge-result.json").read_text(encoding="utf-8"))


def test_a_demo_folder_that_is_a_file_is_the_persons_error(tmp_path):
    (tmp_path / "taken").write_text("mine", encoding="utf-8")
    done = ask("demo", str(tmp_path / "taken"))
    assert done.exit_code == 2
    assert (tmp_path / "taken").read_text(encoding="utf-8") == "mine"


def test_help_of_every_command_loads_no_numbers():
    for words in (["--help"], ["prove", "--help"], ["loss", "--help"], ["lines", "--help"], ["demo", "--help"]):
        ask_for_help = f"from linewright.cli import main; main({words!r}, standalone_mode=False)"
        code = f"import sys; {ask_for_help}; sys.exit('numpy' in sys.modules)"
        assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0
