"""What a person writes down at the radio: an SWR, a return loss, and a loss with its interval.

The step of a reading is taken from its digits: "1.3" was read to 0.1, "1.30" to 0.01.
"""

from __future__ import annotations

import re

import numpy as np

from linewright.errors import InputError
from linewright.evidence.through.seen import seen_impedance, seen_return_loss, seen_swr
from linewright.formats.fields import loss, written_number
from linewright.formats.station_fields import impedance
from linewright.model.through import Seen
from linewright.units.quantities import loss_ratio_db, ratio_db

MOST_SWR = 1e6
_DECIMALS = re.compile(r"\d[.,](\d+)")


def step_of(text: str) -> float:
    """Return the step a written number was read to.

    >>> step_of("1.3"), step_of("17.75 dB"), step_of("38-12j")
    (0.1, 0.01, 1.0)
    """
    return 10.0 ** -max((len(found) for found in _DECIMALS.findall(text)), default=0)


def swr(text: str, name: str = "swr") -> float:
    """Return a written SWR, at least 1; "1.3:1" is one too.

    >>> swr("1.3"), swr("1.3:1")
    (1.3, 1.3)
    """
    found = written_number(re.sub(r"\s*:\s*1\s*$", "", text), name)
    if not 1.0 <= found <= MOST_SWR:
        raise InputError(
            name, f"must be at least 1; got {text}", cure="If this is a return loss in dB, give it as a return loss."
        )
    return found


def return_loss_db(text: str, name: str = "return loss") -> float:
    """Return a written return loss, positive and with its unit.

    >>> return_loss_db("17.7 dB")
    17.7
    """
    return loss_ratio_db(text, name)


def loss_with_interval(text: str, name: str = "loss") -> tuple[float, float | None]:
    """Return a written loss in dB and the half width of its 95 % interval, None where none is written.

    >>> loss_with_interval("3 dB"), loss_with_interval("3 dB +- 0.5"), loss_with_interval("2.5 to 3.5 dB")
    ((3.0, None), (3.0, 0.5), (3.0, 0.5))
    """
    low, to, high = text.partition(" to ")
    if to:
        first, last = loss(_with_unit(low), name), loss(_with_unit(high), name)
        if not first < last:
            raise InputError(name, f"must rise from low to high; got {text!r}")
        return (first + last) / 2, (last - first) / 2
    middle, sign, half = re.sub(r"\+/-|\+-", "±", text).partition("±")
    if not sign:
        return loss(text, name), None
    width = ratio_db(_with_unit(half), f"{name} interval")
    if width < 0:
        raise InputError(f"{name} interval", f"must not be negative; got {text!r}")
    return loss(_with_unit(middle), name), width


def _with_unit(text: str) -> str:
    """Return a part of a written range; its unit may stand at the other part alone."""
    return text.strip() if re.search(r"[a-zA-Z]", text) else f"{text.strip()} dB"


def written_seen(kind: str, text: str, hertz: float | None, step: float | None, directivity_db: float | None) -> Seen:
    """Return a single reading as written down.

    Parameters
    ----------
    kind : str
        "shack_swr", "return_loss" or "impedance".
    text : str
        The reading.
    hertz, step, directivity_db : float, optional
        The frequency, the step it was read to (else its last digit), and the bridge's directivity.

    >>> written_seen("shack_swr", "1.30", None, None, None).swr_step
    0.01
    """
    f = None if hertz is None else np.array([hertz])
    read_to = step_of(text) if step is None else step
    if kind == "impedance":
        z = impedance(text, "impedance")
        return seen_impedance(z, read_to, frequency_hz=f, directivity_db=directivity_db)
    if kind == "return_loss":
        loss_db = return_loss_db(text)
        return seen_return_loss(loss_db, read_to, frequency_hz=f, directivity_db=directivity_db)
    return seen_swr(swr(text), read_to, frequency_hz=f, directivity_db=directivity_db)
