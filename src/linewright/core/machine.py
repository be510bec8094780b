"""Where Linux, Windows and macOS differ, all of it: no other file asks which system it runs on, or names its places.

What is done on Linux is tried in every check. The branches of Windows and macOS follow the published rules of those
systems and run in the tests under stand-ins; nobody has tried them on such a machine yet.
"""

from __future__ import annotations

import errno
import io
import os
import re
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import IO, Any, Literal, TextIO

from linewright.core.errors import CannotError, InputError
from linewright.core.frozen import dataclass
from linewright.core.messages import say

System = Literal["linux", "windows", "macos"]
TRIED: tuple[System, ...] = ("linux",)
"""The systems on which this was run for real."""


def system() -> System:
    """Return which system this is; every Unix but macOS counts as Linux.

    >>> system() in ("linux", "windows", "macos")
    True
    """
    if sys.platform in ("win32", "cygwin"):
        return "windows"
    return "macos" if sys.platform == "darwin" else "linux"


# Names of files. They travel on sticks and in mails, so one rule holds on every system

RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³]|conin\$|conout\$)(\..*)?", re.IGNORECASE)
"""Names that Windows keeps for devices, with any ending (Microsoft, "Naming Files, Paths, and Namespaces")."""
FORBIDDEN = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]')
"""Signs that no name may hold there, from the same page."""
LONGEST = 120
"""Most signs of a name: most file systems take 255 bytes, and a sign may take four of them less an ending."""


def is_reserved(name: str) -> bool:
    """Return whether Windows takes a name for a device.

    >>> is_reserved("con.svg"), is_reserved("LPT1"), is_reserved("console.svg")
    (True, True, False)
    """
    return RESERVED.fullmatch(name.rstrip(" .")) is not None


def file_name(text: str, ending: str = "") -> str:
    """Return a name for a file, made of any words, that every system takes; the ending has its dot.

    >>> file_name("blue 7: shack/mast", ".pdf"), file_name("aux", ".svg"), file_name("...", ".txt")
    ('blue 7- shack-mast.pdf', 'aux-.svg', 'unnamed.txt')
    """
    name = FORBIDDEN.sub("-", text)[:LONGEST].strip(" .") or "unnamed"
    return f"{name}{'-' if is_reserved(name) else ''}{ending}"


# The console

REDIRECTED_ENDINGS = {errno.EPIPE, errno.EINVAL}
"""What a write to a pipe that nobody reads ends in on Windows (Python's own tracker, issue 35754: EINVAL there)."""


def steady_console(*streams: TextIO) -> None:
    """Let a console or file whose code page lacks a sign (√, ±) show another instead of ending the command."""
    for stream in streams:
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def lacks_signs(stream: TextIO, signs: str) -> str:
    """Return which signs a stream's encoding cannot write."""
    encoding = getattr(stream, "encoding", None) or "ascii"
    return "".join(sign for sign in signs if not _writes(sign, encoding))


def _writes(sign: str, encoding: str) -> bool:
    try:
        sign.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def encoding_cure() -> str:
    """Return how a console is made to write every sign."""
    if system() == "windows":
        return "Type chcp 65001 in this window, or set the variable PYTHONUTF8=1."
    return "Set a locale in UTF-8, such as LANG=C.UTF-8, or the variable PYTHONUTF8=1."


def reader_left(cause: BaseException) -> bool:
    """Return whether an error says that whoever read the output has gone (``| head``)."""
    if isinstance(cause, BrokenPipeError):
        return True
    return system() == "windows" and isinstance(cause, OSError) and cause.errno in REDIRECTED_ENDINGS


# The browser

SCREENS = ("DISPLAY", "WAYLAND_DISPLAY")


def no_browser() -> str:
    """Return why no browser can be opened here; "" where one can.

    Without a screen Python would start a browser for text, in the terminal where the app itself speaks.
    """
    import webbrowser

    if system() == "linux" and not any(os.environ.get(name) for name in SCREENS):
        return say("no screen is there (neither DISPLAY nor WAYLAND_DISPLAY is set)")
    try:
        webbrowser.get()
    except webbrowser.Error:
        return say("no browser is known here")
    return ""


def open_page(address: str) -> bool:
    """Open an address in the person's browser, and return whether that went well."""
    import webbrowser

    return not no_browser() and webbrowser.open(address)


# Starting the app from a menu, and when the person logs in


def own_command() -> list[str]:
    """Return the words that start linewright again, whatever folder they are said in."""
    import shutil

    if getattr(sys, "frozen", False):
        return [sys.executable]
    ending = ".exe" if system() == "windows" else ""
    beside = Path(sys.executable).with_name(f"linewright{ending}")
    found = str(beside) if beside.is_file() else shutil.which("linewright")
    return [found] if found else [sys.executable, "-m", "linewright"]


@dataclass(frozen=True, slots=True)
class Starter:
    """What starts the app on one system: files, and the commands that make them count or take that away again."""

    files: Mapping[Path, bytes]
    after: tuple[tuple[str, ...], ...] = ()
    before_removal: tuple[tuple[str, ...], ...] = ()
    runnable: frozenset[Path] = frozenset()


def starter(command: Sequence[str], options: Sequence[str], mark: bytes) -> Starter:
    """Return what starts the app from the menu and at login.

    Parameters
    ----------
    command : sequence of str
        The words that start linewright.
    options : sequence of str
        The words after ``serve`` that both get.
    mark : bytes
        The app's picture, SVG.
    """
    served = [*command, "serve", *options]
    return {"linux": _linux, "windows": _windows, "macos": _macos}[system()](served, [*served, "--open"], mark)


DESKTOP = """\
[Desktop Entry]
Type=Application
Version=1.4
Name=Linewright
Comment=Know what each coax line loses on every band
Exec={command}
Icon={icon}
Terminal=false
Categories=Utility;HamRadio;
Keywords=coax;SWR;feed line;amateur radio;
"""
"""Desktop Entry Specification 1.4 (freedesktop.org)."""
UNIT = """\
[Unit]
Description=Linewright, the web app on this machine

[Service]
ExecStart={command}
Restart=on-failure

[Install]
WantedBy=default.target
"""
"""systemd.service(5) and systemd.unit(5)."""


def _linux(served: list[str], opened: list[str], mark: bytes) -> Starter:
    data = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    config = Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config")
    icon = data / "icons" / "hicolor" / "scalable" / "apps" / "linewright.svg"
    unit = config / "systemd" / "user" / "linewright.service"
    entry = DESKTOP.format(command=" ".join(map(_of_entry, opened)), icon="linewright")
    control = ("systemctl", "--user")
    return Starter(
        {
            icon: mark,
            data / "applications" / "linewright.desktop": entry.encode(),
            unit: UNIT.format(command=" ".join(map(_of_unit, served))).encode(),
        },
        after=((*control, "daemon-reload"), (*control, "enable", "--now", unit.name)),
        before_removal=((*control, "disable", "--now", unit.name),),
    )


def _of_entry(word: str) -> str:
    r"""Return a word of Exec=, quoted by section "The Exec key"; the string type escapes every backslash once more.

    >>> _of_entry("/srv/my club/linewright"), _of_entry("100%")
    ('"/srv/my club/linewright"', '100%%')
    """
    escaped = word.replace("%", "%%")
    if re.fullmatch(r"[\w./:=@%+,-]+", escaped):
        return escaped
    return '"' + re.sub(r'(["`$\\])', r"\\\1", escaped).replace("\\", "\\\\") + '"'


def _of_unit(word: str) -> str:
    r"""Return a word of ExecStart=, quoted as systemd.service(5), "Command lines", says.

    >>> _of_unit("/srv/my club/linewright"), _of_unit("a$b%")
    ('"/srv/my club/linewright"', '"a$$b%%"')
    """
    escaped = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    return escaped if re.fullmatch(r"[\w./:=@+,-]+", escaped) else f'"{escaped}"'


def _windows(served: list[str], opened: list[str], _mark: bytes) -> Starter:
    roaming = Path(os.environ.get("APPDATA") or Path.home() / "AppData" / "Roaming")
    programs = roaming / "Microsoft" / "Windows" / "Start Menu" / "Programs"
    # A batch file is read in the console's code page; 65001 is UTF-8. In it a lone % would begin a variable.
    batch = '@chcp 65001 >nul\r\n@start "linewright" /min {}\r\n'
    return Starter(
        {
            programs / "Linewright.cmd": batch.format(_of_batch(opened)).encode(),
            programs / "Startup" / "Linewright.cmd": batch.format(_of_batch(served)).encode(),
        },
    )


def _of_batch(words: Sequence[str]) -> str:
    import subprocess

    return subprocess.list2cmdline(words).replace("%", "%%")


LABEL = "org.linewright.serve"


def _macos(served: list[str], opened: list[str], _mark: bytes) -> Starter:
    import plistlib
    import shlex

    agent = Path.home() / "Library" / "LaunchAgents" / f"{LABEL}.plist"
    told = {"Label": LABEL, "ProgramArguments": served, "RunAtLoad": True, "ProcessType": "Interactive"}
    double_click = Path.home() / "Applications" / "Linewright.command"
    return Starter(
        {agent: plistlib.dumps(told), double_click: f"#!/bin/sh\nexec {shlex.join(opened)}\n".encode()},
        after=(("launchctl", "load", "-w", str(agent)),),
        before_removal=(("launchctl", "unload", "-w", str(agent)),),
        runnable=frozenset({double_click}),
    )


def ran(command: Sequence[str], most_s: float = 20.0) -> tuple[int, str, str]:
    """Run another program, and return its status and what it said on standard output and standard error.

    Raises
    ------
    OSError
        If it cannot be run, or takes longer than it may.
    """
    import subprocess

    try:
        ended = subprocess.run(command, capture_output=True, text=True, errors="replace", timeout=most_s, check=False)
    except subprocess.TimeoutExpired as cause:
        raise TimeoutError(errno.ETIMEDOUT, f"{command[0]} did not end within {most_s:.0f} s") from cause
    return ended.returncode, ended.stdout, ended.stderr


def done(command: Sequence[str], most_s: float = 20.0) -> str:
    """Run a command of the system, and return why it failed; "" if it did not."""
    try:
        status, out, err = ran(command, most_s)
    except FileNotFoundError:
        return f"there is no {command[0]} here"
    except OSError as cause:
        return f"{command[0]}: {cause.strerror or cause}"
    said = " ".join((err or out).split())
    return "" if status == 0 else said or f"{command[0]} ended with {status}"


def make_private(path: Path) -> None:
    """Make an empty file that nobody else may read, not even while it is being filled.

    On Windows a file is as private as the folder of the person's data that it lies in: there are no such bits.

    Raises
    ------
    OSError
        If it cannot be made.
    """
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600))
    if system() != "windows":
        path.chmod(0o600)


M_ARENA_MAX, ARENAS = -8, 2
"""The option of glibc's ``mallopt`` (malloc.h), and how many heaps the threads share. One for each of forty threads
keeps what it has freed."""
M_MMAP_THRESHOLD, LARGE_BYTES = -3, 1 << 20
"""What is larger goes back to the system as soon as it is freed. Unset, the bound rises to the largest freed so far."""


def share_heaps() -> None:
    """Let the threads share a few heaps, and none keep large blocks, where the C library has such options."""
    _c_library("mallopt", M_ARENA_MAX, ARENAS)
    _c_library("mallopt", M_MMAP_THRESHOLD, LARGE_BYTES)


def give_back() -> None:
    """Give the system back what is free in the heaps, where the C library can (glibc's ``malloc_trim``)."""
    _c_library("malloc_trim", 0)


def _c_library(name: str, *given: int) -> None:
    import ctypes

    with suppress(AttributeError, OSError, TypeError):
        getattr(ctypes.CDLL(None), name)(*given)


# Serial ports


def open_serial(port: str, baud: str) -> IO[bytes]:
    """Return a serial port, opened for lines of text: 8 bits, no parity, one stop bit, no flow control.

    Raises
    ------
    InputError
        If there is no such port, or it does not know the rate.
    CannotError
        On Windows, whose ports want a library.
    """
    if system() == "windows":
        raise CannotError(
            say("A serial port here needs PyVISA: install linewright[instruments], and name visa:ASRL3::INSTR.")
        )
    import termios
    import tty

    rate = getattr(termios, f"B{baud}", None) if baud.isascii() and baud.isdigit() else None
    if not rate:
        rule = say("must be a rate that serial ports have; got {value}", value=repr(baud[:20]))
        raise InputError("baud", rule, cure=say("9600 is usual."))
    try:
        found = os.open(port, os.O_RDWR | os.O_NOCTTY)
        try:
            tty.setraw(found)
            told = termios.tcgetattr(found)
            told[2] = (told[2] & ~(termios.PARENB | termios.CSTOPB | termios.CSIZE)) | termios.CS8 | termios.CLOCAL
            told[4] = told[5] = rate
            termios.tcsetattr(found, termios.TCSANOW, told)
        except BaseException:
            os.close(found)
            raise
    except (OSError, termios.error) as cause:
        rule = say("must be a serial port; {port}: {why}", port=port, why=str(cause.args[-1]))
        raise InputError("from", rule, cure=say("Is it plugged in, and may you use it?")) from cause
    return os.fdopen(found, "r+b", buffering=0)


def processes(loaded: Sequence[str]) -> Any:
    """Return what begins processes of our own, with some modules loaded where a server of forks begins them.

    A fork of a process with threads may find their locks taken for ever, so the fork is made of a server without any.
    Windows has no forks: there each process loads what it needs.
    """
    import multiprocessing

    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(list(loaded))
    return context


def keep_to(most_mb: int, most_s: int, nice: int) -> None:
    """Let this process stand behind others, and have no more memory and time, as far as the system sees to it.

    Windows sees to none of it; macOS not to the memory.
    """
    if system() == "windows":
        return
    import resource

    os.nice(nice)
    for what, most in ((resource.RLIMIT_DATA, most_mb << 20), (resource.RLIMIT_CPU, most_s)):
        with suppress(ValueError, OSError):
            resource.setrlimit(what, (most, most))


def pass_interrupts_by() -> None:
    """Let what interrupts a command on its terminal pass this process by: it ends with its parent."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)
