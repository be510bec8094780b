"""Both ends of a line drawn: every antenna's wave is pressed into a low window at the radio.

Height is the share of the wave that comes back, one scale at both ends; along a matched line it falls by equal ratios.
What lies above the window cannot be seen from the radio, whatever stands at the antenna.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from linewright.core.errors import InputError
from linewright.core.formatting import plain, swr
from linewright.core.messages import say, together
from linewright.core.nouns.through import Estimate, ThroughResult

WIDE, TOP, FOOT, STEPS = 760.0, 12.0, 372.0, 24
LEAST = 1e-3
"""A share below this is drawn as nothing."""
ANTENNAS = (1.5, 2.0, 3.0, 5.0, 10.0)
NEAR_PX = 20.0
"""Marks of an axis stand no nearer."""
UNBOUND = 1e3
"""An SWR from here on is written as one without bound."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark of one axis: its words, and its height in per cent of the drawing."""

    words: str
    y: float


@dataclass(frozen=True, slots=True)
class Squeeze:
    """The drawing: paths of a box of 760 by 384, and the marks of either axis."""

    antennas: tuple[str, ...]
    wall: str
    wedge: str
    between: str
    middle: str
    out: str
    back: str
    left: tuple[Mark, ...]
    right: tuple[Mark, ...]
    at_radio: float
    at_antenna: float
    radio: str
    antenna: str
    reach: str
    radio_share: str
    antenna_share: str


@dataclass(frozen=True, slots=True)
class Telling:
    """Something that would tell more, or not, and the address that has it so."""

    what: str
    there: str = ""


def share(value: float) -> float:
    """Return the share of the wave that an SWR sends back.

    >>> share(3.0)
    0.5
    """
    return 1.0 if value == float("inf") else (value - 1.0) / (value + 1.0)


def squeeze(r: ThroughResult, step: float, leak: float) -> Squeeze:
    """Return the drawing of a reading seen through a line; ``step`` is that of its scale, ``leak`` the bridge's own."""
    loss = r.loss_db.value or 0.0
    low, high = (loss if x is None else x for x in (r.loss_db.low, r.loss_db.high))
    radio, swing = share(r.radio_swr), leak + 0.25 * step
    ends = [_share_of(x) for x in (r.antenna_swr.value, r.antenna_swr.low, r.antenna_swr.high)]
    value, least, most = ends[0], ends[1], ends[2]
    upper = _way(radio + swing, most)
    lower = _way(max(0.0, radio - swing), least)
    kept = 10 ** (-loss / 20)
    return Squeeze(
        tuple(_line(_way(share(s) * 10 ** (-loss / 10), share(s))) for s in ANTENNAS),
        f"M0 {TOP:g}H{WIDE:g}{_joined(reversed(_way(10 ** (-low / 10), 1.0)))}Z",
        f"{_line(_way(10 ** (-low / 10), 1.0))}{_joined(reversed(_way(10 ** (-high / 10), 1.0)))}Z",
        f"{_line(upper)}{_joined(reversed(lower))}Z",
        _line(_way(radio, value)),
        _out(kept),
        _back(kept, value),
        _marks(10 ** (-loss / 10)),
        _marks(1.0),
        _high(radio),
        _high(value),
        swr(r.radio_swr),
        written(r.antenna_swr.value),
        reach_of(r.antenna_swr),
        say("{n} of every 100 come back", n=round(100 * radio)),
        say(
            "{n} of every 100 come back ({low} to {high})",
            n=round(100 * value),
            low=round(100 * least),
            high=round(100 * most),
        ),
    )


def _share_of(value: float | None) -> float:
    return 1.0 if value is None else share(max(1.0, value))


def _y(part: float) -> float:
    return FOOT - (FOOT - TOP) * min(1.0, max(0.0, part))


def _high(part: float) -> float:
    return round(100 * _y(part) / 384.0, 2)


def _way(at_radio: float, at_antenna: float) -> list[tuple[float, float]]:
    a, b = max(at_radio, LEAST), max(at_antenna, LEAST)
    return [(WIDE * t / STEPS, _y(a * (b / a) ** (t / STEPS))) for t in range(STEPS + 1)]


def _joined(points: object) -> str:
    return "".join(f"L{x:.1f} {y:.1f}" for x, y in points)  # type: ignore[attr-defined]


def _line(points: Sequence[tuple[float, float]]) -> str:
    return f"M{_joined(points)[1:]}"


def _out(kept: float) -> str:
    """Return the wave that goes out, as high as its amplitude, in a box of 760 by 124."""
    top = [(WIDE * t / STEPS, 72 - 72 * kept ** (t / STEPS)) for t in range(STEPS + 1)]
    return f"M0 72{_joined(top)}L{WIDE:g} 72Z"


def _back(kept: float, value: float) -> str:
    """Return the wave that comes back, from the antenna to the radio."""
    foot = [(WIDE * t / STEPS, 76 + 48 * value * kept * kept ** (1 - t / STEPS)) for t in range(STEPS + 1)]
    return f"M0 76{_joined(foot)}L{WIDE:g} 76Z"


def _marks(most: float) -> tuple[Mark, ...]:
    """Return the marks of an axis that reaches up to a share, none too near to another."""
    top = (1 + most) / (1 - most) if most < 0.999 else float("inf")
    wanted = [1.0, *([top] if top != float("inf") else []), 2.0, 1.5, 3.0, 5.0, 10.0, 1.2, 20.0]
    placed: list[tuple[float, str]] = [(_y(1.0), "∞")] if top == float("inf") else []
    for s in wanted:
        y = _y(share(s))
        if s <= top and all(abs(y - other) >= NEAR_PX for other, _ in placed):
            placed.append((y, swr(s) if s == top else f"{s:g}"))
    return tuple(Mark(words, round(100 * y / 384.0, 2)) for y, words in sorted(placed))


def written(value: float | None) -> str:
    """Return an SWR as it is written; without bound where it can be anything."""
    if value is None or value >= UNBOUND:
        return say("any")
    return plain(value, 2 if value < 1.995 else 1 if value < 9.95 else 0)


def reach_of(x: Estimate) -> str:
    """Return the interval of an SWR in brackets."""
    if x.low is None:
        return ""
    return say(
        "({low} to {high})",
        low=written(x.low),
        high=written(x.high) if (x.high or UNBOUND) < UNBOUND else say("anything"),
    )


def headline(r: ThroughResult) -> str:
    """Return the answer, as one sentence without its interval."""
    if r.antenna_swr.value is None:
        return say("The SWR at the antenna cannot be told from here")
    return say("At the antenna it is {swr}", swr=written(r.antenna_swr.value))


def hidden(r: ThroughResult) -> str:
    """Return what the line does to the wave, in a sentence."""
    low, high = r.loss_db.low, r.loss_db.high
    reach = "" if low is None or high is None else say(" ({low} to {high})", low=plain(low, 1), high=plain(high, 1))
    alike = r.antenna_swr.low is not None and r.antenna_swr.low < 1.005
    line = say(
        "The line hides it: {loss} dB{reach} weakens the reflection twice, on the way there and on the way back.",
        loss=plain(r.loss_db.value or 0.0, 1),
        reach=reach,
    )
    return together([line, say("With a dummy load there the radio might show the same.") if alike else ""])


Ask = Callable[[Mapping[str, str]], ThroughResult]


def tellings(
    r: ThroughResult,
    ask: Ask,
    given: Mapping[str, str],
    there: Callable[[Mapping[str, str]], str],
    lines: Sequence[tuple[str, str]],
) -> list[Telling]:
    """Return what would tell more: a better bridge, a finer reading, another line; each asked of the engine."""
    out = []
    now = _width(r)
    for name, value in (("directivity", "40 dB"), ("step", "0.01")):
        if given.get(name) == value:
            continue
        try:
            new = ask({**given, name: value})
        except InputError:
            continue
        helps = _width(new) < 0.85 * now
        out.append(Telling(_told(name, helps, new), there({**given, name: value}) if helps else ""))
    for value, words in lines[:1]:
        try:
            new = ask({**given, "behind": value, "loss": "", "line": "", "length": ""})
        except InputError:
            continue
        out.append(
            Telling(
                say(
                    "With another line: through {line}, the same {radio} would mean {swr} {reach}.",
                    line=words,
                    radio=swr(r.radio_swr),
                    swr=written(new.antenna_swr.value),
                    reach=reach_of(new.antenna_swr),
                )
            )
        )
    return out


def _told(name: str, helps: bool, r: ThroughResult) -> str:
    parts = {"swr": written(r.antenna_swr.value), "reach": reach_of(r.antenna_swr)}
    if name == "directivity":
        if helps:
            return say(
                "A better bridge: one of 40 dB directivity, such as a small analyser, would give {swr} {reach}.",
                **parts,
            )
        return say("A better bridge does not help: one of 40 dB would still give {swr} {reach}.", **parts)
    if helps:
        return say("Reading finer: to 0.01 it would be {swr} {reach}.", **parts)
    return say("Reading finer does not help: to 0.01 it is still {swr} {reach}.", **parts)


def _width(r: ThroughResult) -> float:
    return _share_of(r.antenna_swr.high) - _share_of(r.antenna_swr.low)
