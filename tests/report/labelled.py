"""Labels to set, sound ones and some with names nobody should give."""

from __future__ import annotations

from linewright.core.nouns.paper import Label
from linewright.core.nouns.shelf import BelievedLoss
from report.made import HOSTILE

MHZ = (1.85, 3.65, 7.1, 10.1, 14.2, 18.1, 21.2, 24.9, 28.5, 50.1, 144.3, 432.1)


def made_label(tag, bands=4, **more):
    losses = (
        tuple(BelievedLoss(f * 1e6, 0.1 * f**0.6, 0.09 * f**0.6, 0.12 * f**0.6) for f in MHZ[-bands:]) if bands else ()
    )
    told = {
        "line": "RG-58C/U", "length_m": 7.2, "losses": losses, "standing": "worn", "ratio": 1.7, "ratio_low": 1.5,
        "ratio_high": 1.9, "tested_on": "2026-04-02", "retest_on": "2027-04-02", "diameter_m": 0.00495,
    }  # fmt: skip
    return Label(tag, **(told | more))


def bare_label(tag):
    return Label(tag, None, 3.0)


SOUND = [made_label("blue 7"), made_label("black 20", 12, line="RG-213/U", diameter_m=0.0103), bare_label("unknown 3")]
ODD = [*SOUND, *(made_label(name, 3, line=name) for name in HOSTILE), made_label("x" * 200, 12, line="word " * 40)]
