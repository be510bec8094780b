"""Everything in which systems differ stands in one file, and each of its branches runs, under stand-ins."""

from __future__ import annotations

import ast
import configparser
import errno
import io
import platform
import plistlib
import re
import shlex
import subprocess
import sys
import webbrowser
from collections.abc import Iterator
from functools import cache
from pathlib import Path, PurePosixPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

import linewright
from linewright.core import machine

SOURCE = Path(linewright.__file__).parent
HERE = SOURCE / "core" / "machine.py"
#: Modules that are missing on some system, or do something else on each.
OF_ONE_SYSTEM = {
    "fcntl", "grp", "msvcrt", "posix", "pty", "pwd", "resource", "signal", "syslog", "termios", "tty", "webbrowser",
    "winreg", "winsound", "ctypes", "platform", "plistlib", "nt", "subprocess", "multiprocessing",
}  # fmt: skip
#: Of ``os``: what only some systems have, and what asks which system it is.
OF_SOME = {
    "chown", "chroot", "fork", "forkpty", "getegid", "geteuid", "getgid", "getgroups", "getloadavg", "getpgid",
    "getuid", "kill", "killpg", "lchown", "link", "mkfifo", "mknod", "name", "nice", "openpty", "setsid", "startfile",
    "symlink", "sysconf", "uname", "wait", "waitpid", "O_NOFOLLOW", "O_DIRECTORY", "sched_getaffinity",
}  # fmt: skip
PLACE = re.compile(r"(/(dev|etc|home|lib|opt|proc|root|run|sys|tmp|usr|var|Library|Users)(/|$)|~[/\\]|[A-Za-z]:[\\/])")


@cache
def _trees() -> dict[str, ast.AST]:
    found = (path for path in SOURCE.rglob("*.py") if path != HERE)
    return {path.relative_to(SOURCE).as_posix(): ast.parse(path.read_text(encoding="utf-8")) for path in found}


def _trouble(tree: ast.AST, name: str) -> list[str]:
    """Return what in a file belongs to one system."""
    found = []
    for node in ast.walk(tree):
        match node:
            case ast.Import():
                found += [a.name for a in node.names if a.name.partition(".")[0] in OF_ONE_SYSTEM]
            case ast.ImportFrom(module=str(module)) if module.partition(".")[0] in OF_ONE_SYSTEM:
                found.append(module)
            case ast.ImportFrom(module="os"):
                found += [f"os.{a.name}" for a in node.names if a.name in OF_SOME]
            case ast.Attribute(value=ast.Name(id="os"), attr=attr) if attr in OF_SOME:
                found.append(f"os.{attr}")
            case ast.Attribute(value=ast.Name(id="sys"), attr="platform" | "getwindowsversion"):
                found.append(f"sys.{node.attr}")
            case ast.Constant(value=str(text)) if PLACE.match(text) and "\n" not in text and " " not in text:
                found.append(repr(text))
    return [f"{name}: {what}" for what in found]


def test_no_other_file_knows_a_system():
    assert [what for name, tree in _trees().items() for what in _trouble(tree, name)] == []


@pytest.mark.parametrize(
    "code",
    [
        "import fcntl", "from signal import SIGTERM", "import os\nos.fork()", "from os import getuid",
        "import os.path\nos.name", "import sys\nsys.platform", "x = '/" + "tmp/x'", "x = '~/.config'", "x = 'C:\\\\x'",
        "import webbrowser",
    ],
)  # fmt: skip
def test_what_belongs_to_one_system_is_noticed(code):
    assert _trouble(ast.parse(code), "x")


def test_every_file_is_read_and_written_in_a_named_encoding():
    """On Windows the usual encoding is another; one that is not named reads a person's √ as something else."""
    assert [at for name, tree in _trees().items() for at in _unnamed(tree, name)] == []


def _unnamed(tree: ast.AST, name: str) -> Iterator[str]:
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute | ast.Name):
            continue
        called = node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id
        of_os = isinstance(node.func, ast.Attribute) and ast.unparse(node.func.value) == "os"
        binary = any(isinstance(a, ast.Constant) and "b" in str(a.value) for a in node.args)
        of_file = called in ("write_text", "open") or (called == "read_text" and not node.args)
        if of_file and not of_os and not binary and "encoding" not in {k.arg for k in node.keywords}:
            yield f"{name}:{node.lineno} {called}"


# Names of files


@given(st.text(max_size=300))
def test_any_words_make_a_name_that_every_system_takes(text):
    name = machine.file_name(text, ".pdf")
    assert not machine.FORBIDDEN.search(name)
    assert not machine.is_reserved(name)
    assert name == name.strip(" .")
    assert PurePosixPath(name).name == name
    assert 4 < len(name) <= machine.LONGEST + 5


@pytest.mark.parametrize("name", ["CON", "con.txt", "Lpt9.a.b", "nul ", "aux.", "com¹"])
def test_names_of_devices_are_reserved(name):
    assert machine.is_reserved(name)


# The three systems, stood in for


@pytest.fixture(params=["linux", "win32", "darwin"])
def system(request, monkeypatch, tmp_path):
    monkeypatch.setattr("sys.platform", request.param)
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "APPDATA"):
        monkeypatch.delenv(name, raising=False)
    return machine.system()


def test_each_system_is_told(system):
    assert system in ("linux", "windows", "macos")
    assert machine.encoding_cure()


COMMAND = ["/srv/my club/50% $more/linewright"]
OPTIONS = ["--port", "8799", "--ledger", '/srv/a b/it\'s "our" ledger.sqlite']


def test_what_starts_the_app_lies_in_the_persons_own_folders_and_says_the_command(system, tmp_path):
    found = machine.starter(COMMAND, OPTIONS, b"<svg/>")
    assert all(path.is_relative_to(tmp_path) for path in found.files)
    served = [*COMMAND, "serve", *OPTIONS]
    for path, content in found.files.items():
        if path.suffix != ".svg":
            words = _words_of(path, content)
            assert words in (served, [*served, "--open"]), path
    assert {path.suffix for path in found.files} <= {".svg", ".desktop", ".service", ".cmd", ".plist", ".command"}
    assert found.runnable <= set(found.files)


def _words_of(path: Path, content: bytes) -> list[str]:
    """Read the words of a command back by the rules of each kind of file, written anew here."""
    text = content.decode()
    if path.suffix == ".plist":
        return plistlib.loads(content)["ProgramArguments"]
    if path.suffix == ".command":
        return shlex.split(text.splitlines()[1].removeprefix("exec "))
    if path.suffix == ".cmd":
        line = text.splitlines()[1].removeprefix('@start "linewright" /min ').replace("%%", "%")
        return _as_windows_splits(line)
    parsed = configparser.RawConfigParser(strict=True)
    parsed.optionxform = str
    parsed.read_string(text)
    if path.suffix == ".service":
        return shlex.split(parsed["Service"]["ExecStart"].replace("$$", "$").replace("%%", "%"))
    # The value is a string first (\\ is \), then Exec's own quoting holds.
    value = re.sub(r"\\\\", r"\\", parsed["Desktop Entry"]["Exec"])
    return [word.replace("%%", "%") for word in shlex.split(re.sub(r"\\([$`])", r"\1", value))]


def _as_windows_splits(line: str) -> list[str]:
    """Split as CommandLineToArgvW does: two backslashes before a quote are one, a backslash and a quote are a quote."""
    words, word, quoted, at = [], "", False, 0
    while at < len(line):
        slashes = len(line[at:]) - len(line[at:].lstrip("\\"))
        if slashes and line[at + slashes : at + slashes + 1] == '"':
            word += "\\" * (slashes // 2)
            at += slashes
            if slashes % 2:
                word, at = word + '"', at + 1
            continue
        sign = line[at]
        if sign == '"':
            quoted = not quoted
        elif sign == " " and not quoted:
            words, word = [*words, word], ""
        else:
            word += sign
        at += 1
    return [*words, word]


def test_the_command_is_found_again(system, monkeypatch, tmp_path):
    monkeypatch.setattr("sys.executable", str(tmp_path / "python"))
    monkeypatch.setattr("shutil.which", lambda name: None)
    assert machine.own_command() == [str(tmp_path / "python"), "-m", "linewright"]
    beside = tmp_path / ("linewright.exe" if system == "windows" else "linewright")
    beside.touch()
    assert machine.own_command() == [str(beside)]
    monkeypatch.setattr("sys.frozen", True, raising=False)
    assert machine.own_command() == [str(tmp_path / "python")]


def test_a_reader_that_left_is_told_from_trouble(system):
    assert machine.reader_left(BrokenPipeError())
    assert machine.reader_left(OSError(errno.EINVAL, "x")) == (system == "windows")
    assert not machine.reader_left(OSError(errno.ENOSPC, "x"))


def test_a_browser_needs_a_screen_on_linux_alone(system, monkeypatch):
    asked = []
    monkeypatch.setattr(webbrowser, "get", lambda: None)
    monkeypatch.setattr(webbrowser, "open", lambda address: asked.append(address) or True)
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    assert machine.open_page("http://localhost:1/") == (system != "linux")
    monkeypatch.setenv("DISPLAY", ":0")
    assert machine.open_page("http://localhost:2/")
    assert asked[-1] == "http://localhost:2/"


def test_without_any_browser_that_is_said(system, monkeypatch):
    def none():
        raise webbrowser.Error

    monkeypatch.setenv("DISPLAY", ":0")
    monkeypatch.setattr(webbrowser, "get", none)
    assert machine.no_browser() == "no browser is known here"
    assert not machine.open_page("http://localhost:1/")


@pytest.mark.parametrize("encoding", ["cp437", "cp850", "cp1252", "ascii"])
def test_an_old_code_page_shows_another_sign_instead_of_ending(encoding):
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding=encoding)
    machine.steady_console(stream)
    stream.write("k1, √f part: 3.7 dB ± 0.2 …")
    stream.flush()
    assert b"3.7 dB" in raw.getvalue()
    assert machine.lacks_signs(stream, "a√") == ("" if encoding == "cp437" else "√")


def test_a_command_of_the_system_says_why_it_failed(monkeypatch):
    assert machine.done(["no-such-command-here"]) == "there is no no-such-command-here here"
    ended = subprocess.CompletedProcess([], 3, "", " bus:\n none ")
    monkeypatch.setattr(subprocess, "run", lambda *_, **__: ended)
    assert machine.done(["x"]) == "bus: none"


def test_a_command_that_hangs_is_ended_and_told(monkeypatch):
    def hang(*_, **__):
        raise subprocess.TimeoutExpired("x", 1.0)

    monkeypatch.setattr(subprocess, "run", hang)
    assert machine.done(["x"], 1.0) == "x: x did not end within 1 s"


def test_a_private_file_is_private_where_bits_say_so(system, tmp_path):
    path = tmp_path / "key.pem"
    path.write_bytes(b"old and open to all")
    machine.make_private(path)
    assert path.read_bytes() == b""
    assert system == "windows" or path.stat().st_mode & 0o077 == 0


def test_processes_are_forks_of_a_server_where_there_are_forks_and_load_everything_elsewhere(monkeypatch):
    import multiprocessing

    assert machine.processes(["json"]).get_start_method() == "forkserver"
    monkeypatch.setattr(multiprocessing, "get_all_start_methods", lambda: ["spawn"])
    assert machine.processes(["json"]).get_start_method() == "spawn"


def test_nobody_is_kept_to_anything_where_the_system_sees_to_none_of_it(monkeypatch):
    monkeypatch.setattr(machine, "system", lambda: "windows")
    monkeypatch.setattr(machine.os, "nice", None)
    machine.keep_to(1, 1, 1)  # this process goes on as it was


MEMORY = """
import sys
from pathlib import Path
from linewright.core import machine

def used_mb():
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096 / 2**20

if "shared" in sys.argv:
    machine.share_heaps()
large = bytearray(20 << 20)
del large  # unless told otherwise, blocks of this size lie in the heap from now on
blocks = [bytearray(8 << 20) for _ in range(10)]
small = [bytes(2000) for _ in range(40_000)]
del blocks
print(used_mb())
del small[:-1]
print(used_mb())
machine.give_back()
print(used_mb())
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="the options are those of glibc")
def test_what_is_freed_goes_back_to_the_system():
    kept, shared = (
        [float(mb) for mb in subprocess.check_output([sys.executable, "-c", MEMORY, *more], text=True).split()]
        for more in ((), ("shared",))
    )
    assert kept[0] - shared[0] > 70  # ten blocks of 8 MB
    assert shared[1] - shared[2] > 50  # small ones, 80 MB, held by the last of them


def test_a_c_library_without_such_options_goes_on_as_it_was(monkeypatch):
    monkeypatch.setattr("ctypes.CDLL", lambda _: object())
    machine.share_heaps()
    machine.give_back()


def test_an_interrupt_passes_a_process_by_that_ends_with_its_parent():
    code = "import signal; from linewright.core import machine; machine.pass_interrupts_by()"
    told = [sys.executable, "-c", f"{code}; signal.raise_signal(signal.SIGINT); print(1)"]
    assert subprocess.check_output(told, text=True).split() == ["1"]
