"""How the command behaves in a shell: short when asked, as wide as asked, paged, completed, with a manual."""

from __future__ import annotations

import os
import pty
import re
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cli.doors import DATA, DEMO_SHEET, ask, run
from linewright.cli import main
from linewright.cli.completion import VARIABLE
from linewright.cli.manual import manual_lines
from linewright.cli.short import MOST_LINES, short
from linewright.core.nouns.bench_result import BenchResult, NextReading, PieceFinding, ReadingFinding
from linewright.present.writers.terminal import MEASURE, Grid, items, room_of, width, wrapped

STATION = str(DATA / "harbour-ridge-station.toml")
BEAM = ("--run", "two-metre beam")
LONG = {
    "prove": ("prove", str(DEMO_SHEET)),
    "plan": ("plan", STATION, *BEAM),
    "what-if": ("plan", STATION, *BEAM, "--with", "power = 10 W"),
    "reception": ("reception", STATION, *BEAM),
    "exposure": ("exposure", STATION, *BEAM),
    "sweep": ("sweep", str(DATA / "drum.s2p"), "--length", "30 m"),
    "through": ("through", "--shack-swr", "1.3", "--loss", "3 dB"),
    "share": ("share", str(DATA / "harbour-ridge-field-day.toml")),
    "choose": ("choose", STATION, *BEAM, "--prices", str(DATA / "harbour-ridge-prices.csv")),
}
SAYS = {
    "prove": ("blue 7", "worn", "1.39", "row 19", "Next:"),
    "plan": ("two-metre beam", "26 W of 50 W", "black 20", "Next:"),
    "what-if": ("power",),
    "reception": ("two-metre beam", "preamplifier"),
    "exposure": ("3.30 to 3.38 m", "ICNIRP", "licensed practice decide"),
    "sweep": ("3.41 dB",),
    "through": ("SWR",),
    "share": ("proved best", "black 20"),
    "choose": ("corrugated",),
}


# Short


@pytest.fixture(scope="module", params=LONG)
def shortened(request):
    done = ask(*LONG[request.param], "--short")
    assert done.exit_code == 0, done.output
    return request.param, done.stdout


def test_a_short_answer_says_the_verdict_in_twelve_lines(shortened):
    name, text = shortened
    assert 2 <= len(text.splitlines()) <= 12
    assert all(words in " ".join(text.split()) for words in SAYS[name])
    assert max(map(width, text.splitlines())) <= 100


def test_a_short_answer_never_hides_that_there_are_cautions(shortened):
    assert re.search(r"Read the \d+ cautions: leave out --short\.", shortened[1])


def test_json_is_whole_however_short_it_is_asked():
    assert ask(*LONG["through"], "--json").stdout == ask(*LONG["through"], "--json", "--short").stdout


@given(
    st.lists(st.lists(st.just("  row"), min_size=1, max_size=4), max_size=30),
    st.lists(st.text("ab ", max_size=400), max_size=3),
    st.integers(0, 30),
)
def test_nothing_makes_a_short_answer_longer(blocks, asides, cautions):
    shown = short("Title", blocks, asides, cautions).splitlines()
    assert len(shown) <= MOST_LINES
    fit = sum(map(len, blocks)) <= MOST_LINES - 1 - 2 * len(asides) - (cautions > 1)
    assert not fit or not any("more: leave out" in line for line in shown)


def _bench(verdicts, odd, following):
    pieces = tuple(PieceFinding(f"piece {n}", 7.0, 0.1, 0.0, 1.2, 1.1, 1.3, v, (), "") for n, v in enumerate(verdicts))
    readings = tuple(
        ReadingFinding(n + 1, "desk meter", 14e6, "piece 0", 1.0, 2.0, 1.9, 2.1, p, True, "") for n, p in enumerate(odd)
    )
    steps = tuple(NextReading(a, None, None, None, 0.1, "") for a in following)
    return BenchResult("Bench", (), pieces, readings, (), (), steps, ())


def test_of_many_pieces_the_worst_stand_first_and_none_is_lost_unsaid():
    from linewright.cli.short import short_bench

    text = short_bench(_bench(["good"] * 20 + ["bad"], [0.1, 0.9, 0.7], ["Read it again."]))
    lines = text.splitlines()
    assert lines[1].split()[:3] == ["piece", "20", "bad"]
    assert any(re.search(r"And \d+ more: leave out --short", line) for line in lines)
    assert "row 2" in text
    assert "And 1 more." in text
    assert "Next: Read it again." in text


def test_the_answer_says_when_no_reading_is_odd():
    from linewright.cli.short import short_bench

    assert "No reading stands out" in short_bench(_bench(["good"], [0.1], []))


# As wide as asked


@pytest.mark.parametrize("cells", [40, 60, 80])
def test_no_line_is_wider_than_asked(cells):
    done = ask("prove", str(DEMO_SHEET), "--width", str(cells))
    assert done.exit_code == 0, done.output
    assert max(map(width, done.stdout.splitlines())) <= cells
    assert all(figure in done.stdout for figure in ("432.1 MHz", "3.8 dB", "41 %", "2.77 dB"))


def test_a_width_holds_for_one_answer_alone():
    before = ask("loss", "RG-58C/U", "7 m", "14 MHz").stdout
    ask("loss", "RG-58C/U", "7 m", "14 MHz", "--width", "40")
    assert ask("loss", "RG-58C/U", "7 m", "14 MHz").stdout == before


@pytest.mark.parametrize("cells", ["39", "401", "wide"])
def test_a_width_that_nobody_reads_is_refused(cells):
    assert ask("loss", "RG-58C/U", "7 m", "14 MHz", "--width", cells).exit_code == 2


CELL = st.text("ab 1.2", min_size=1, max_size=14)


@settings(max_examples=30)
@given(st.lists(st.tuples(CELL, CELL, CELL), min_size=1, max_size=5), st.integers(40, 120))
def test_a_table_keeps_every_figure_at_any_width(rows, cells):
    table = Grid(("", "loss (95 %)", "arrives", "times that"), "lddd", cells)
    for row in rows:
        table.add("piece", *row)
    shown = click.unstyle("\n".join(table.lines())).splitlines()
    assert max(map(width, shown)) <= cells
    text = " ".join(" ".join(shown).split())
    assert all(" ".join(cell.split()) in text for row in rows for cell in row)


def test_sentences_keep_to_what_reads_well_however_wide_the_page():
    with room_of(300):
        assert max(map(width, wrapped("word " * 100))) <= MEASURE
    with room_of(50):
        assert max(map(width, items(["word " * 100]))) <= 50


# On a terminal: paged, and without colour where none is wanted


def on_a_terminal(*words: str, lines: int = 24, columns: int = 80, **environment: str) -> str:
    """Run the command on a terminal of its own and return what appears there."""
    import fcntl
    import struct
    import termios

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))
    known = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "PAGER", "LESS", "COLUMNS", "LINES")}
    done = subprocess.Popen(
        [sys.executable, "-m", "linewright", *words], stdin=theirs, stdout=theirs, stderr=subprocess.DEVNULL,
        env={**known, "TERM": "xterm", **environment},
    )  # fmt: skip
    os.close(theirs)
    seen = b""
    while True:
        try:
            chunk = os.read(ours, 65536)
        except OSError:
            break
        if not chunk:
            break
        seen += chunk
    os.close(ours)
    done.wait()
    return seen.decode().replace("\r\n", "\n")


@pytest.fixture(scope="module")
def pager(tmp_path_factory):
    """A pager that says it was there."""
    path = tmp_path_factory.mktemp("pager") / "pager"
    path.write_text("#!/bin/sh\necho PAGED\ncat\n", encoding="utf-8")
    path.chmod(0o755)
    return str(path)


def test_a_long_answer_on_a_terminal_goes_through_the_pager_and_a_short_one_does_not(pager):
    asked = ("loss", "RG-58C/U", "7 m", "14 MHz")
    assert on_a_terminal(*asked, lines=5, PAGER=pager).startswith("PAGED")
    assert "PAGED" not in on_a_terminal(*asked, lines=60, PAGER=pager)


def test_what_goes_into_a_pipe_or_file_is_never_paged(pager):
    assert "PAGED" not in run("lines", PAGER=pager).stdout


def test_bold_shows_on_a_terminal_and_not_where_no_colour_is_wanted():
    asked = ("loss", "RG-58C/U", "7 m", "14 MHz")
    assert "\x1b[1m" in on_a_terminal(*asked, lines=60)
    assert "\x1b" not in on_a_terminal(*asked, lines=60, NO_COLOR="1")
    assert "\x1b" not in run(*asked).stdout


def test_a_narrow_terminal_gets_narrow_lines():
    shown = on_a_terminal("loss", "RG-58C/U", "7 m", "14 MHz", lines=200, columns=48, NO_COLOR="1")
    assert max(map(width, shown.splitlines())) <= 48


# Completed by the shell


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    place = tmp_path_factory.mktemp("ledger") / "ledger.sqlite"
    for words in (("shelf", "add", "blue 7", "--length", "7m"), ("shelf", "add", "green 3", "--length", "3m"),
                  ("shelf", "import", STATION)):  # fmt: skip
        assert ask(*words, "--ledger", str(place)).exit_code == 0
    return str(place)


def completed(line: str, ledger: str) -> list[str]:
    """Ask as bash does: the words of the line, the last of them being typed."""
    words = line.split(" ")
    answer = run(
        LINEWRIGHT_LEDGER=ledger, COMP_WORDS=line, COMP_CWORD=str(len(words) - 1), **{VARIABLE: "bash_complete"}
    )
    assert answer.stderr == ""
    return [row.partition(",")[2] for row in answer.stdout.splitlines() if row]


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("linewright pl", ["plan"]),
        ("linewright shelf show ", ["black 20", "blue 18", "blue 7", "green 3"]),
        ("linewright shelf show g", ["green 3"]),
        ("linewright label blue", ["blue 18", "blue 7"]),
        ("linewright plan two", ["two-metre beam"]),
        ("linewright choose --run rep", ["repeater link"]),
        ("linewright through --piece gr", ["green 3"]),
        ("linewright plan --station Har", ["Harbour Ridge station (invented)"]),
        ("linewright loss rg-213", ["RG-213/U", "RG-213 foam type"]),
        ("linewright lines RG-9B", ["RG-9B/U"]),
        ("linewright prove --sho", ["--short"]),
    ],
)
def test_a_shell_completes_commands_and_the_names_of_the_ledger(line, found, ledger):
    assert completed(line, ledger) == found


@pytest.mark.parametrize("place", ["nowhere.sqlite", "postgresql://x@localhost:1/y", __file__])
def test_without_a_ledger_that_can_be_read_nothing_is_completed_and_nothing_is_said(place):
    assert completed("linewright shelf show ", place) == []
    assert not Path("nowhere.sqlite").exists()


def test_completing_loads_neither_numbers_nor_the_database(ledger):
    code = "import sys\nfrom linewright.cli import main\nmain(prog_name='linewright', standalone_mode=False)"
    look = f"import sys\ntry:\n exec({code!r})\nexcept SystemExit: pass\nprint(*sys.modules, file=sys.stderr)"
    asked = {"LINEWRIGHT_LEDGER": ledger, "COMP_WORDS": "linewright shelf show ", "COMP_CWORD": "3",
             VARIABLE: "bash_complete"}  # fmt: skip
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, env={**os.environ, **asked},
                          check=False)  # fmt: skip
    assert "blue 7" in done.stdout
    assert not {"numpy", "scipy", "sqlalchemy", "fastapi"} & set(done.stderr.split())


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_script_of_a_shell_is_one_that_the_shell_reads(shell, tmp_path):
    script = tmp_path / "script"
    script.write_text(ask("completion", shell).stdout, encoding="utf-8")
    assert VARIABLE in script.read_text(encoding="utf-8")
    if shutil.which(shell) is None:
        pytest.skip(f"no {shell} here")
    subprocess.run([shell, "-n", str(script)], check=True)


def test_bash_itself_completes_a_piece_with_a_space_in_its_name(ledger, tmp_path):
    (tmp_path / "linewright").write_text(f'#!/bin/sh\nexec {sys.executable} -m linewright "$@"\n', encoding="utf-8")
    (tmp_path / "linewright").chmod(0o755)
    script = (
        'eval "$(linewright completion bash)"; COMP_WORDS=(linewright shelf show gr); COMP_CWORD=3; '
        'COMP_LINE="linewright shelf show gr"; _linewright_completion linewright; printf "%s\\n" "${COMPREPLY[@]}"'
    )
    known = {**os.environ, "PATH": f"{tmp_path}:{os.environ['PATH']}", "LINEWRIGHT_LEDGER": ledger}
    done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, env=known, check=True)
    assert done.stdout.strip().replace("\\", "") == "green 3"


# The manual


def test_the_manual_tells_every_command_and_option():
    page = "\n".join(manual_lines(main)).replace(r"\-", "-")

    def every(command, name):
        yield name, command
        for below in command.commands if isinstance(command, click.Group) else ():
            yield from every(command.commands[below], f"{name} {below}")

    for name, command in every(main, "linewright"):
        assert f'.SS "{name}"' in page or command is main
        options = [o for p in command.params if isinstance(p, click.Option) for o in p.opts if not p.hidden]
        assert [o for o in options if o not in page] == []


def test_the_manual_is_plain_ascii_and_no_line_of_it_is_a_request_by_chance():
    lines = list(manual_lines(main))
    assert all(line.isascii() for line in lines)
    known = {".TH", ".SH", ".SS", ".TP", ".PP", ".B", ".I", ".nf", ".fi", ".RS", ".RE"}
    assert {line.split(" ")[0] for line in lines if line.startswith((".", "'"))} <= known


def test_man_finds_nothing_to_complain_of(tmp_path):
    if shutil.which("mandoc") is None:
        pytest.skip("no mandoc here")
    page = tmp_path / "linewright.1"
    page.write_text("\n".join(manual_lines(main)) + "\n", encoding="ascii")
    done = subprocess.run(
        ["mandoc", "-T", "lint", "-W", "error", str(page)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (0, "")
