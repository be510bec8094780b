"""Readings from an instrument, one number at a time, in the scale of the meter that it is on the bench.

An instrument that is asked speaks lines of text, as SCPI instruments do (IEEE 488.2): over TCP, by convention at port
5025 (IANA, ``scpi-raw``), over a serial port, or by PyVISA, which is an extra. What to ask is up to the instrument's
manual. An instrument that sends by itself, and a pipe, give one number a line.
"""

from __future__ import annotations

import json
import math
import re
import select
import socket
import ssl
import statistics
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import field
from http.client import HTTPException
from pathlib import Path
from typing import IO, Any, Protocol, runtime_checkable
from urllib.error import HTTPError, URLError
from urllib.parse import urlencode
from urllib.request import Request, urlopen

from linewright.core.errors import CannotError, InputError, LinewrightError, UnknownNameError
from linewright.core.formatting import digits, quantity
from linewright.core.frozen import dataclass
from linewright.core.machine import open_serial
from linewright.core.messages import mark, say

PORT = 5025
"""Where instruments take lines of text over TCP (IANA: scpi-raw)."""
WAIT_S = 10.0
"""How long an answer may take; a slow average of an instrument may take some seconds."""
WHO_S = 2.0
"""How long an instrument may take to say what it is; one that never does is read all the same."""
MOST_LINE = 4096
"""Bytes of one line: more is no reading."""
BEYOND = 9.9e37
"""From here on a number says that there is none: 9.9E37 is infinity, 9.91E37 not a number (SCPI-1999, 1, 7.2.1.4)."""
MOST_READINGS = 1000
NUMBER = re.compile(r"\s*([+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-zµ]*)\s*")
WATTS = {"W": 1.0, "mW": 1e-3, "uW": 1e-6, "µW": 1e-6, "kW": 1e3}
VOLTS = {"V": 1.0, "mV": 1e-3, "uV": 1e-6, "µV": 1e-6}
UNITS = (*WATTS, "dBm", "dB", *VOLTS, "scale")


@runtime_checkable
class Channel(Protocol):
    """A line to an instrument."""

    def send(self, text: str) -> None:
        """Send a line."""

    def line(self, most_s: float) -> str | None:
        """Return the next line without its end; None where there will be none.

        Raises
        ------
        CannotError
            If none comes in time, or the line is broken.
        """

    def close(self) -> None:
        """End the connection."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What was taken of an instrument: the median in the meter's scale, its unit, and all that went into it."""

    value: float
    unit: str
    values: tuple[float, ...]

    @property
    def note(self) -> str:
        """What to write beside a reading: of how many it is the median, and how far they lay apart."""
        if len(self.values) < 2:
            return ""
        low, high = (digits(end(self.values), 4) for end in (min, max))
        return say(
            "median of {count}: {low} to {high} {unit}", count=len(self.values), low=low, high=high, unit=self.unit
        )


def take_number(  # noqa: PLR0913 - each of them is a setting of one act
    channel: Channel,
    *,
    scale: str,
    unit: str | None = None,
    ask: str = "",
    readings: int = 1,
    settle_s: float = 0.0,
    pause: Callable[[float], object] = time.sleep,
) -> Taken | None:
    """Take the median of some readings of an instrument; None where no more will come.

    Parameters
    ----------
    channel : Channel
        The line to it; see ``open_channel``.
    scale : str
        The unit of the meter's scale: "W", "mW", "dBm", "dB", "V" or "scale".
    unit : str, optional
        The unit of a bare number. A number that comes with its own keeps that.
    ask : str
        What to send for each reading; "" for an instrument that sends by itself.
    readings : int
        How many to take the median of.
    settle_s : float
        How long to wait before the first, in seconds.
    pause : callable
        What waits.

    Returns
    -------
    Taken or None
        The median, in the unit of the scale.

    Raises
    ------
    InputError
        If what comes is no number, or its unit does not fit the scale or is not known.
    CannotError
        If nothing comes in time.

    >>> class Paper:
    ...     lines = ["8.20", "8.3 W", "8250 mW"]
    ...
    ...     def send(self, text):
    ...         pass
    ...
    ...     def line(self, most_s):
    ...         return self.lines.pop(0)
    ...
    ...     def close(self):
    ...         pass
    >>> take_number(Paper(), scale="W", unit="W", readings=3).value
    8.25
    """
    if not 1 <= readings <= MOST_READINGS:
        raise InputError("readings", say("must be 1 to {most}; got {value}", most=MOST_READINGS, value=readings))
    if settle_s:
        pause(settle_s)
    found: list[float] = []
    while len(found) < readings:
        if ask:
            channel.send(ask)
        line = channel.line(WAIT_S)
        if line is None:
            break
        if line.strip():
            found.append(in_scale(line, scale, unit, listed=bool(ask)))
    return Taken(statistics.median(found), scale, tuple(found)) if found else None


def in_scale(line: str, scale: str, unit: str | None, *, listed: bool = False) -> float:
    """Return the number of a line in the unit of a scale.

    Where ``listed``, a comma stands between numbers, as SCPI has it, and never for a decimal point.

    Raises
    ------
    InputError
        If it is no single number, says that there is none, or its unit is missing or of another kind.

    >>> in_scale("+1.0E+01", "W", "dBm"), in_scale("8,25 W", "mW", None), round(in_scale("20 mW", "dBm", None), 3)
    (0.01, 8250.0, 13.01)
    """
    found = NUMBER.fullmatch(line)
    if found is None or (listed and "," in found[1]):
        cure = say("Ask the instrument for one number.") if "," in line else say("See its manual for what to ask.")
        raise InputError("reading", say("must be one number; got {value}", value=repr(line.strip()[:80])), cure=cure)
    value, own = float(found[1].replace(",", ".")), found[2] or unit
    if not math.isfinite(value) or abs(value) >= BEYOND:
        said = repr(line.strip()[:40])
        rule = say("must be a number; the instrument says by {value} that it has none", value=said)
        raise InputError("reading", rule, cure=say("Mind its range and its input, then read again."))
    if own is None:
        cure = say('Add --unit "{scale}".', scale=scale)
        raise InputError("unit", say("must be known: the number comes without one"), cure=cure)
    return _converted(value, own, scale)


def _converted(value: float, unit: str, scale: str) -> float:
    if unit == scale:
        return value
    power = _watts(value, unit)
    if power is not None and scale in WATTS:
        return power / WATTS[scale]
    if power is not None and power > 0 and scale == "dBm":
        return 10 * math.log10(power * 1e3)
    if unit in VOLTS and scale in VOLTS:
        return value * VOLTS[unit] / VOLTS[scale]
    got = quantity(digits(value), unit)
    rule = say("must fit the meter's scale, which is in {scale}; got {value}", scale=scale, value=got)
    raise InputError("unit", rule, cure=say("Known are {units}.", units=", ".join(UNITS)))


def _watts(value: float, unit: str) -> float | None:
    if unit.lower() == "dbm":
        return 1e-3 * 10 ** (value / 10) if abs(value) < 300 else None
    return value * WATTS[unit] if unit in WATTS else None


# Lines to instruments: a socket, a serial port, a file or a pipe, and whatever PyVISA reaches


class Socket:
    """An instrument over TCP."""

    def __init__(self, host: str, port: int) -> None:
        try:
            self._line = socket.create_connection((host, port), WAIT_S)
        except OSError as cause:
            words = say(
                "Nothing answers at {host}, port {port}: {why}. Is the instrument on, and its network set up?",
                host=host, port=str(port), why=str(cause.strerror or cause),
            )  # fmt: skip
            raise CannotError(words) from cause
        self._rest = b""

    def send(self, text: str) -> None:
        """Send a line; what came unasked before is an old answer, and forgotten."""
        self._rest = b""
        with _told_of(INSTRUMENT):
            self._line.setblocking(False)
            with suppress(BlockingIOError):
                while self._line.recv(MOST_LINE):
                    continue
            self._line.settimeout(WAIT_S)
            self._line.sendall(f"{text}\n".encode())

    def line(self, most_s: float) -> str | None:
        """Return the next line."""
        end_s = time.monotonic() + most_s
        while b"\n" not in self._rest:
            self._line.settimeout(max(end_s - time.monotonic(), 0.001))
            with _told_of(INSTRUMENT):
                came = self._line.recv(MOST_LINE)
            if not came:
                return None
            self._rest = _bounded(self._rest + came)
        found, _, self._rest = self._rest.partition(b"\n")
        return found.decode(errors="replace")

    def close(self) -> None:
        """Hang up."""
        self._line.close()


class Stream:
    """A serial port, a file or a pipe."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._stream, self._asked = stream, False

    def send(self, text: str) -> None:
        """Send a line."""
        self._asked = True
        with _told_of(LINE):
            self._stream.write(f"{text}\n".encode())
            self._stream.flush()

    def line(self, most_s: float) -> str | None:
        """Return the next line; one that was not asked for may take as long as whoever is at the bench."""
        with _told_of(LINE):
            if self._asked and not select.select([self._stream], [], [], most_s)[0]:
                raise TimeoutError
            found = _bounded(self._stream.readline(MOST_LINE + 1))
        return found.decode(errors="replace").rstrip("\r\n") if found else None

    def close(self) -> None:
        """Let go of it."""
        self._stream.close()


class Visa:
    """Whatever PyVISA reaches, by its resource name ("TCPIP::192.0.2.7::INSTR")."""

    def __init__(self, resource: str) -> None:
        try:
            import pyvisa
        except ImportError as cause:
            words = say("Resources of this kind need PyVISA: install linewright[instruments]. Over TCP, tcp:HOST goes"
                        " without.")  # fmt: skip
            raise CannotError(words) from cause
        self._trouble: Any = pyvisa.errors.Error
        try:
            ends = {"read_termination": "\n", "write_termination": "\n"}
            self._found: Any = pyvisa.ResourceManager().open_resource(resource, **ends)
        except (self._trouble, ValueError, OSError) as cause:
            raise CannotError(say("{resource} cannot be opened: {why}.", resource=resource, why=str(cause))) from cause

    def send(self, text: str) -> None:
        """Send a line."""
        try:
            self._found.write(text)
        except (self._trouble, OSError) as cause:
            raise CannotError(say("The instrument takes nothing: {why}.", why=str(cause))) from cause

    def line(self, most_s: float) -> str | None:
        """Return the next line."""
        self._found.timeout = 1000 * most_s
        try:
            return str(self._found.read())[:MOST_LINE].rstrip("\r\n")
        except (self._trouble, OSError) as cause:
            raise CannotError(say("The instrument does not answer: {why}.", why=str(cause))) from cause

    def close(self) -> None:
        """End the session."""
        self._found.close()


INSTRUMENT = (
    mark("The instrument does not answer in time. See its manual for what to ask."),
    mark("The line to the instrument is broken: {why}."),
)
LINE = (
    mark("The port does not answer in time. See the instrument's manual for what to ask."),
    mark("The line to the port is broken: {why}."),
)
"""What is said where an end of the line is silent, and where the line breaks."""


@contextmanager
def _told_of(end: tuple[str, str]) -> Iterator[None]:
    silent, broken = end
    try:
        yield
    except TimeoutError as cause:
        raise CannotError(say(silent)) from cause
    except (OSError, ValueError) as cause:
        raise CannotError(say(broken, why=str(cause))) from cause


def _bounded(found: bytes) -> bytes:
    if len(found) > MOST_LINE and b"\n" not in found:
        rule = say("must be a line of at most {most} bytes", most=MOST_LINE)
        raise InputError("reading", rule, cure=say("Is that the right port?"))
    return found


def open_channel(where: str, typed: IO[bytes]) -> Channel:
    """Return the line to an instrument.

    Parameters
    ----------
    where : str
        "tcp:HOST", "tcp:HOST:PORT", "serial:PORT", "serial:PORT@BAUD", "visa:RESOURCE", "-" for what is typed or
        piped in, else the path of a file or a pipe.
    typed : binary stream
        Standard input.

    Returns
    -------
    Channel
        The open line; close it at the end.

    Raises
    ------
    InputError
        If it names nothing that is there.
    CannotError
        If nothing answers.

    >>> from io import BytesIO
    >>> open_channel("-", BytesIO(b"8.2 W")).line(1.0)
    '8.2 W'
    """
    kind, _, rest = where.partition(":")
    if where == "-":
        return Stream(typed)
    if kind == "tcp" and rest:
        host, _, port = rest.rpartition(":") if not rest.endswith("]") else (rest, "", "")
        host, port = (host, port) if host and port.isascii() and port.isdigit() else (rest, str(PORT))
        if not 0 < int(port[:9]) < 65536:
            raise InputError("from", say("must have a port from 1 to 65535; got {value}", value=port[:9]))
        return Socket(host.strip("[]"), int(port))
    if kind == "serial" and rest:
        name, _, baud = rest.rpartition("@") if "@" in rest else (rest, "", "")
        return Stream(open_serial(name, baud or "9600"))
    if kind == "visa" and rest:
        return Visa(rest)
    try:
        return Stream(Path(where).open("rb"))
    except OSError as cause:
        cure = say("Write tcp:HOST, serial:PORT, visa:RESOURCE, - for a pipe, or the path of a file.")
        rule = say("must be an instrument or a file; {value}: {why}", value=repr(where), why=str(cause.strerror))
        raise InputError("from", rule, cure=cure) from cause


def who(channel: Channel) -> str:
    """Return what an instrument says it is (IEEE 488.2, 10.14), "" where it does not say."""
    try:
        channel.send("*IDN?")
        return " ".join((channel.line(WHO_S) or "").split())[:200]
    except CannotError:
        return ""


# Where a reading goes: the next field of a session, of an app by its interface or of a ledger

TRIES = 3
"""How often a reading is sent again without an answer; its key ensures that it is stored once."""
AGAIN_S = 1.0


class ReadingSink(Protocol):
    """Where readings go."""

    def next(self, meter: str | None, passed: int) -> dict[str, Any] | None:
        """Return the next empty field, past some that were passed over; None once there is none."""

    def put(self, place: dict[str, Any], cells: dict[str, str]) -> dict[str, Any]:
        """Keep a reading in a field, and return it as it stands."""


@dataclass(slots=True)
class RemoteSession:
    """A session of an app that runs somewhere, by a token that may write.

    Attributes
    ----------
    address : str
        Where the app is: "http://localhost:8731".
    token : str
        The token.
    session : str
        What the session is called; "" for the newest.
    certificate : str, optional
        A file with the certificate to trust, for an app that made its own.
    """

    address: str
    token: str
    session: str = ""
    certificate: str | None = None
    _context: ssl.SSLContext | None = field(default=None, repr=False)

    def begin(self) -> str:
        """Return the session that is fed; the newest if none was named."""
        if not self.address.startswith(("http://", "https://")):
            raise InputError("station", say("must be an address"), cure=say("Write it as http://localhost:8731."))
        if self.address.startswith("https://"):
            try:
                self._context = ssl.create_default_context(cafile=self.certificate)
            except (OSError, ValueError) as cause:
                raise InputError("certificate", say("cannot be read: {why}", why=str(cause))) from cause
        found = self._asked("GET", "/api/bench/sessions")["sessions"]
        self.session = newest_session(self.session, [s["key"] for s in found])
        return self.session

    def next(self, meter: str | None, passed: int) -> dict[str, Any] | None:
        """Return the next empty field."""
        asked = {"session": self.session, "passed": passed} | ({"meter": meter} if meter else {})
        found: dict[str, Any] | None = self._asked("GET", f"/api/bench/next?{urlencode(asked)}")["field"]
        return found

    def put(self, place: dict[str, Any], cells: dict[str, str]) -> dict[str, Any]:
        """Keep a reading in a field."""
        path = f"/api/bench/readings?{urlencode({'session': self.session})}"
        kept: dict[str, Any] = self._asked("POST", path, cells, place["key"])["readings"][0]
        return kept

    def _asked(self, method: str, path: str, body: object = None, key: str = "") -> dict[str, Any]:
        for left in range(TRIES, 0, -1):
            try:
                return self._once(method, path, body, key)
            except (URLError, TimeoutError, HTTPException, ConnectionError) as cause:
                why = getattr(cause, "reason", cause)
                if left == 1:
                    silent = say("The station at {address} does not answer: {why}.", address=self.address, why=str(why))
                    raise CannotError(silent) from cause
                time.sleep(AGAIN_S)
        raise AssertionError  # pragma: no cover

    def _once(self, method: str, path: str, body: object, key: str) -> dict[str, Any]:
        head = {"Authorization": f"Bearer {self.token}", "Accept": "application/json"}
        data = None if body is None else json.dumps(body).encode()
        head |= {"Content-Type": "application/json"} if data else {}
        head |= {"Idempotency-Key": key} if key else {}
        request = Request(self.address.rstrip("/") + path, data, head, method=method)
        try:
            with urlopen(request, timeout=WAIT_S, context=self._context) as answer:
                found: dict[str, Any] = json.loads(answer.read(MOST_ANSWER))
                return found
        except HTTPError as cause:
            raise _refused(cause) from cause


MOST_ANSWER = 4 << 20


def _refused(cause: HTTPError) -> LinewrightError:
    """Return what the station says is wrong, as it would be said here."""
    try:
        told = json.loads(cause.read(MOST_ANSWER))
        message, argument = str(told["message"]), told.get("argument")
    except (ValueError, KeyError, TypeError):
        return CannotError(say("The station answers with {status}.", status=f"{cause.code} {cause.reason}"))
    if argument:
        return InputError(str(argument), str(told.get("rule")), cure=str(told.get("cure") or ""))
    return CannotError(message)


def newest_session(named: str, there: Sequence[str]) -> str:
    """Return the session that is meant of those there are, the newest first.

    Raises
    ------
    InputError
        If there is none, or none of that name.
    """
    if not there:
        raise InputError("SESSION", say("must be begun first"), cure=say("Begin one on the page Bench."))
    if named and named not in there:
        from difflib import get_close_matches

        near = get_close_matches(named, there, 3, 0.3) or list(there[:3])
        rule = say("must be one that is there; got {value}", value=repr(named))
        raise UnknownNameError("SESSION", rule, cure=say("There is {names}.", names="; ".join(near)))
    return named or there[0]
