"""Fields of a station file that hold several values: curves over frequency, fold-back, lists."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from linewright.errors import InputError
from linewright.formats import fields, station_fields
from linewright.model.station import Curve

Read = Callable[[Any, str], float]


def points(value: Any, name: str, read: Callable[[Any, str], Any]) -> tuple[tuple[float, Any], ...]:
    """Return pairs of (frequency, value), their frequencies rising, as ``read`` has the values."""
    if not isinstance(value, list) or not value:
        raise InputError(name, f"must be a list of points; got {value!r}", cure='Write [["14.2 MHz", ...], ...].')
    found: list[tuple[float, Any]] = []
    for i, pair in enumerate(value, start=1):
        if not isinstance(pair, list) or len(pair) != 2:
            raise InputError(name, f"must be pairs of frequency and value; point {i} is {pair!r}")
        at = fields.frequency(pair[0], f"{name}, frequency of point {i}")
        if found and at <= found[-1][0]:
            raise InputError(name, f"must rise in frequency from point to point; point {i} is {pair!r}")
        found.append((at, read(pair[1], f"{name}, value of point {i}")))
    return tuple(found)


def curve(read: Read) -> Callable[[Any, str], Curve]:
    """Return a reader of one value for all frequencies, or of a list of [frequency, value]."""

    def reader(value: Any, name: str) -> Curve:
        return points(value, name, read) if isinstance(value, list) else ((0.0, read(value, name)),)

    return reader


def fold_back(value: Any, name: str) -> Curve:
    """Return how a radio lowers its power: pairs of (SWR, share of power), the SWR rising, the share not."""
    example = 'Write [[1.5, "100 %"], [3, "50 %"]].'
    if not isinstance(value, list) or not value:
        raise InputError(name, f"must be a list of SWR and share; got {value!r}", cure=example)
    found: list[tuple[float, float]] = []
    for i, pair in enumerate(value, start=1):
        if not isinstance(pair, list) or len(pair) != 2:
            raise InputError(name, f"must be pairs of SWR and share; point {i} is {pair!r}", cure=example)
        point = (
            fields.swr(pair[0], f"{name}, SWR of point {i}"),
            station_fields.share(pair[1], f"{name}, share of point {i}"),
        )
        if found and not (point[0] > found[-1][0] and point[1] <= found[-1][1]):
            raise InputError(name, f"must rise in SWR and fall in share; point {i} is {pair!r}", cure=example)
        found.append(point)
    return tuple(found)


def one_or_more(read: Read) -> Callable[[Any, str], tuple[float, ...]]:
    """Return a reader of one value or a list of them."""

    def reader(value: Any, name: str) -> tuple[float, ...]:
        values = value if isinstance(value, list) else [value]
        return tuple(read(v, name) for v in values)

    return reader


def texts(value: Any, name: str) -> tuple[str, ...]:
    """Return one text or a list of them."""
    return tuple(fields.text(v, name) for v in (value if isinstance(value, list) else [value]))
