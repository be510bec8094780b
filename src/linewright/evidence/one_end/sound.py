"""Whether a test can be one at all: clear errors for what no instrument shows."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf, isfinite, isnan

from linewright.errors import Culprit, InputError, gathered
from linewright.model.one_end import OneEndReading, OneEndTest

LEAST = {"swr": 1.0, "return_loss_db": 0.0, "resistance_ohm": 0.0}
CURE = {
    "swr": "An SWR of 1 is a perfect match; if this is a return loss, write it with dB.",
    "return_loss_db": "Write a return loss as a positive number of dB.",
    "resistance_ohm": "A resistance at resonance is a positive number of ohms.",
}


def sound(test: OneEndTest) -> None:
    """Raise for what cannot be: an SWR below 1, a negative return loss, a load nothing is known of.

    Raises
    ------
    InputError
        The first problem, the others beside it; each with the row of its reading.
    """
    problems = [*_test(test)]
    for reading in test.readings:
        where = Culprit(test.source, reading.row)
        problems += [error.at(where) for error in _reading(reading)]
    if problems:
        raise gathered(problems)


def _test(test: OneEndTest) -> Iterator[InputError]:
    if not test.readings:
        yield InputError("readings", "must hold at least one", cure="Give an SWR with the far end open or shorted.")
    positive = {
        "length_m": test.length_m, "impedance_ohm": test.impedance_ohm, "reference_ohm": test.reference_ohm,
        "directivity_db": test.directivity_db,
    }  # fmt: skip
    for name, value in positive.items():
        if value is not None and not (isfinite(value) and value > 0.0):
            yield InputError(name, f"must be above zero and finite; got {value:g}")
    if test.source_swr is not None and not 1.0 <= test.source_swr < inf:
        yield InputError("source_swr", f"must be at least 1 and finite; got {test.source_swr:g}")


def _reading(r: OneEndReading) -> Iterator[InputError]:
    if not (isfinite(r.frequency_hz) and r.frequency_hz > 0.0):
        yield InputError("frequency_hz", f"must be above zero and finite; got {r.frequency_hz:g}")
    values = {r.quantity: r.value} if r.direct is None else {r.quantity: r.value, "direct": r.direct}
    for name, value in values.items():
        if isnan(value) or value < LEAST[r.quantity]:
            yield InputError(name, f"must be at least {LEAST[r.quantity]:g}; got {value:g}", cure=CURE[r.quantity])
    if r.value == inf and r.quantity != "swr":
        yield InputError(r.quantity, "must be finite", cure='Write a limit instead, as "over 40 dB".')
    if r.direct == inf:
        yield InputError("direct", "must be finite", cure="A load that reflects everything is an open or a short.")
    for name, step in (("step", r.step), ("direct_step", r.direct_step)):
        if step is not None and not (isfinite(step) and step >= 0.0):
            yield InputError(name, f"must be zero or more and finite; got {step:g}")
    yield from _load(r)


def _load(r: OneEndReading) -> Iterator[InputError]:
    if r.quantity == "resistance_ohm" and r.far_end not in ("open", "short"):
        yield InputError("resistance_ohm", f"goes with an open or shorted far end; got {r.far_end}")
    if r.far_end != "load":
        return
    if r.load_swr is None and r.direct is None:
        cure = "Say its SWR (load:3), or what the instrument shows with the load right at it."
        yield InputError("load", "must be known", cure=cure)
    if r.load_swr is not None and not 1.0 < r.load_swr < inf:
        cure = "A matched load returns nothing that could be measured; use one of SWR 2 to 5."
        yield InputError("load_swr", f"must be above 1 and finite; got {r.load_swr:g}", cure=cure)
