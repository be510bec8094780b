"""What to mind: the usual cautions, one list a subject, and which subjects each verb touches.

All of it is common practice, no source. Local codes, the licence and qualified people decide.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

from linewright.core.messages import say

Subject = Literal[
    "keying", "RF burns", "instruments", "inputs", "overload", "mains", "height", "lightning", "preamplifier",
    "exposure",
]  # fmt: skip

CAUTIONS: Final[Mapping[Subject, tuple[str, ...]]] = {
    "keying": (
        say("Tune and test into a dummy load within its power and time rating; transmit only within your licence."),
    ),
    "RF burns": (say("Switch the transmitter off before you open or touch a connector: RF burns."),),
    "instruments": (
        say(
            "Connect only a low-power instrument made for this. Never transmit into an open or shorted line: "
            "voltage and current can damage the transmitter and the line, and RF burns."),
    ),
    "inputs": (
        say(
            "An instrument's input takes far less power than a transmitter delivers: key only through an "
            "attenuator or a coupler rated for that power, and set the instrument's range first."),
    ),
    "overload": (
        say("A line's voltage, power and temperature ratings hold whatever its loss; a lossy line turns the power into"
            " heat."),
        say(
            "Ratings here are from tables and typical parts: what the maker of your own line or part states "
            "overrides them."),
    ),
    "mains": (
        say(
            "Mains and generators kill. Unplug a power supply or an amplifier before you open it, and beware of "
            "the charge left in its capacitors; mains wiring is work for a qualified person, by local code."),
    ),
    "height": (
        say("Keep everything you raise clear of power lines, by at least its whole length in case it falls."),
        say("Climb only by local rules, with every transmitter on the mast switched off."),
    ),
    "lightning": (
        say(
            "An antenna on a mast collects static charge: discharge the line to earth before you connect an "
            "instrument, and stay away from it when thunder is near."),
        say("Earthing and surge protection must follow local code and be done by a qualified person."),
    ),
    "preamplifier": (
        say("A preamplifier in a line that also transmits must be bypassed on transmit before power reaches it,"
            " or it is destroyed. At the antenna it also needs a supply, and protection against surges."),
    ),
    "exposure": (
        say(
            "Exposure figures are estimates and do not cover touching: local rules and licensed practice decide."),
    ),
}  # fmt: skip

RUN: Final[tuple[Subject, ...]] = (
    "keying", "RF burns", "overload", "mains", "height", "lightning", "preamplifier", "exposure",
)  # fmt: skip
CALIBRATING: Final[tuple[Subject, ...]] = ("keying", "RF burns", "overload")
"""Subjects of holding a meter against known loads."""
VERBS: Final[Mapping[str, tuple[Subject, ...]]] = {
    "prove": ("keying", "RF burns", "overload", "mains"),
    "sheet": ("keying", "RF burns", "mains"),
    "listen": ("keying", "RF burns", "inputs", "mains"),
    "plan": RUN,
    "reception": RUN,
    "exposure": RUN,
    "one-end": ("instruments", "lightning", "height"),
    "through": ("keying", "RF burns", "instruments", "lightning"),
    "sweep": ("instruments", "lightning", "height"),
    "choose": ("RF burns", "overload", "height", "lightning", "preamplifier"),
    "share": ("RF burns", "overload", "mains", "height", "lightning"),
    "cut": ("instruments", "RF burns", "overload"),
    "loss": ("overload",),
    "lines": ("overload",),
    "impedance": ("overload",),
    "connectors": ("RF burns", "overload"),
    "meaning": ("exposure",),
    "practise": ("keying", "RF burns", "instruments"),
    "shelf show": ("keying", "RF burns"),
}
"""The subjects of every verb whose answer touches one. A report and a page carry those of the verb they show.
``meaning`` carries its own where it speaks of fields; a ratio in words touches nothing."""


def cautions(*subjects: Subject) -> tuple[str, ...]:
    """Return the cautions of some subjects, each once.

    >>> cautions("RF burns", "RF burns")
    ('Switch the transmitter off before you open or touch a connector: RF burns.',)
    """
    return tuple(dict.fromkeys(said for subject in subjects for said in CAUTIONS[subject]))


def cautions_of(verb: str, *more: Subject) -> tuple[str, ...]:
    """Return the cautions of a verb, and of further subjects that one answer of it touches.

    >>> len(cautions_of("sweep")) > 3
    True
    """
    return cautions(*VERBS[verb], *more)
