"""Where the manual tells of a figure: what stands behind "how it was worked out"."""

from __future__ import annotations

from linewright.core.nouns.bench_result import Working

START = "/help/what-the-figures-mean"
PAGES = {
    "what-the-figures-mean#a-loss-with-its-interval": "loss",
    "what-the-figures-mean#by-hand": "by hand, mean by hand",
    "what-the-figures-mean#times-what-it-should-lose": "should lose, times",
    "what-the-figures-mean#decibels-and-power-that-arrives": "arrives",
    "what-the-figures-mean#which-meter-to-believe": "exponent",
    "how-one-end-works#the-methods": "reading",
    "how-one-end-works#swr-seen-through-a-line": "best SWR, plain formula, return loss, highest SWR, width",
    "how-one-end-works#too-flat-to-be-true": "flatness",
    "chain-equations#a-length-of-line": "matched loss, part loss, part length",
    "chain-equations#from-the-antenna-to-the-radio":
        "extra loss, total loss, radio SWR, antenna SWR, radio power, antenna power",
    "chain-equations#voltage-and-heat": "heat, heat margin, voltage margin, part heat, part voltage",
    "chain-equations#noise": "external noise, system noise, reception loss, noise figure, G/T",
    "how-a-plan-works#exposure": "EIRP, ERP, distance",
    "how-a-plan-works#what-if": "change of power, change of signal-to-noise",
    "how-a-choice-works#how-a-line-is-chosen": "longest, remedy",
    "how-a-choice-works": "assignment, joint, cuts",
    "how-histories-work#what-happened": "drift",
    "how-to/know-a-decibel":
        "power ratio, equivalent power, S units, free space, plane earth, signal voltage, S reading, field, "
        "power density, path loss, received level",
}  # fmt: skip
"""Places of the manual, and the kinds of figures whose workings they explain (the first word of a working's key)."""
PLACE = {kind: page for page, kinds in PAGES.items() for kind in kinds.split(", ")}


def address(page: str) -> str:
    """Return where a page of the manual stands.

    >>> address("how-to/plan-a-run"), address("index")
    ('/help/how-to/plan-a-run', '/help')
    """
    return "/help" if page == "index" else f"/help/{page}"


def behind(working: Working) -> str:
    """Return where the manual tells of a figure: its own place, else what the figures mean.

    >>> behind(Working("", "", (), "", ("heat", 7e6))), behind(Working("", "", (), "", ()))
    ('/help/chain-equations#voltage-and-heat', '/help/what-the-figures-mean')
    """
    place = PLACE.get(str(working.key[0])) if working.key else None
    return address(place) if place else START
