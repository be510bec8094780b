"""The figures behind the reference: every line type with where it comes from, every published value with ours."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable
from importlib import import_module
from typing import Any

from docs_reference import code, plain, table

Check = dict[str, Any]
GRADES = "`read`: stands in a public text. `memory`: recalled. `class`: typical of its class."
TOPICS = {
    "catalogue": "catalogue.test_rules",
    "fit": "catalogue.test_fit",
    "coax": "physics.test_published_coax",
    "mismatch": "physics.test_published_mismatch",
    "one_end": "physics.test_one_end",
    "through": "physics.test_through",
    "cut": "evidence.test_lengths",
    "chain": "physics.test_published_chain",
    "noise": "physics.test_noise_published",
    "exposure": "physics.test_exposure_published",
    "near_field": "physics.test_near_field_published",
    "meaning": "physics.test_meaning_published",
    "uncertainty": "physics.test_published_uncertainty",
    "touchstone": "formats.test_touchstone_rules",
}
"""Topics of tests/published, and the module that holds our side of each."""


LISTED_HZ = (14.2e6, 144.3e6, 432.2e6)


def line_types() -> str:
    """Return the types of the catalogue, a row each: what it is, what 100 m lose, how many points stand behind it."""
    from linewright.catalogue import line_types as types
    from linewright.catalogue import tables
    from linewright.core.formatting import frequency

    rows = []
    for kind in types():
        points = tables.by_designator("points").get(kind.designator, ())
        grades = Counter(row["grade"] for row in points)
        losses = [f"{100 * float(kind.law.db_per_m(hz)):.2f}" for hz in LISTED_HZ]
        known = ", ".join(f"{count} {grade}" for grade, count in sorted(grades.items()))
        rows.append((kind.designator, f"{kind.impedance_ohm:g}", f"{kind.velocity_factor:.2f}", *losses,
                     f"{100 * kind.law.spread:.0f} %", known))  # fmt: skip
    heads = ("type", "ohm", "velocity factor", *(f"dB at {frequency(hz)}" for hz in LISTED_HZ), "spread", "points")
    return table(heads, rows)


CARD_TYPES = ("RG-174/U", "RG-58C/U", "RG-8X type", "RG-213/U", "foam low-loss 10 mm", "corrugated 1/2 in foam")
CARD_HZ = (3.6e6, 14.2e6, 28.5e6, 50.1e6, 144.3e6, 432.2e6)


def card_losses() -> str:
    """Return what 10 m of usual types lose when new, for the bench card."""
    from linewright.catalogue import line_type
    from linewright.core.formatting import frequency

    rows = [(name, *(f"{10 * float(line_type(name).law.db_per_m(hz)):.2f}" for hz in CARD_HZ)) for name in CARD_TYPES]
    return table(("type", *(frequency(hz) for hz in CARD_HZ)), rows)


def line_types_in_full() -> str:
    """Return every type of the catalogue: figures, law, attenuation points and power ratings, each with its source."""
    from linewright.catalogue import line_types as types

    return "\n\n".join(_line_type(kind) for kind in types())


def _line_type(kind: Any) -> str:
    from linewright.catalogue import tables

    name, law = kind.designator, kind.law
    figures = [
        (code(row["figure"]), plain(row["value"]), row["grade"], _source(row["sources"]), plain(row["note"]))
        for row in tables.by_designator("figures").get(name, ())
    ]
    points = [
        (_mhz(row["frequency_hz"]), f"{100 * float(row['attenuation_db_per_m']):.4g}", row["table"], row["kind"],
         row["grade"], _source(row["sources"]), plain(row["note"]))
        for row in tables.by_designator("points").get(name, ())
    ]  # fmt: skip
    power = [
        (_mhz(row["frequency_hz"]), plain(row["power_w"]), row["grade"], _source(row["sources"]))
        for row in tables.by_designator("power").get(name, ())
    ]
    parts = [
        f"## {name}",
        drawn_law(kind),
        *_in_full(kind),
        f"From 10 to 500 MHz about {law.k1_db_per_m:.6g} √f + {law.k2_db_per_m:.6g} f, dB per metre, f in MHz. "
        f"Tables and good pieces lie {100 * law.spread:.0f} % from it.",
        table(("figure", "value", "grade", "source", "note"), figures),
        _folded(f"{len(points)} attenuation points",
                table(("MHz", "dB/100 m", "table", "kind", "grade", "source", "note"), points)),
    ]  # fmt: skip
    if power:
        parts.append(_folded(f"{len(power)} power ratings", table(("MHz", "W", "grade", "source"), power)))
    return "\n\n".join(parts)


def _in_full(kind: Any) -> list[str]:
    """Return how a type is made, what it is, what would settle its doubts, and its loss on nine bands."""
    from linewright.catalogue.properties import make_of
    from linewright.core.formatting import frequency, interval, percent
    from linewright.verbs.line_page import facts_of, line_page

    page, make = line_page(kind), make_of(kind)
    said = [str(x) for x in facts_of(page)] + [f"To settle: {x}" for x in page.settled_by]
    if make is not None:
        strands = f", {make.strands} strands" if make.strands > 1 else ""
        apart, around = make.spacing_m, make.dielectric_diameter_m
        rest = f"wires {1e3 * apart:.4g} mm apart" if apart else f"{1e3 * (around or 0.0):.4g} mm, {make.screen}"
        said.insert(
            0, f"Made of {make.centre} {1e3 * make.centre_diameter_m:.4g} mm{strands}; {make.dielectric} {rest}."
        )
    bands = [
        (frequency(x.frequency_hz), interval(x.loss_db, x.loss_db_low, x.loss_db_high),
         " to ".join(percent(v) for v in row.dielectric_share[1:]), "doubtful" if x.extrapolated else "")
        for row in page.rows
        for x in (row.loss,)
    ]  # fmt: skip
    heads = ("at", "100 m lose (95 %)", "in dielectric", "")
    return ["\n".join(f"- {plain(x)}" for x in said), table(heads, bands)]


TICKS_MHZ = (1.8, 7, 28, 144, 432, 1296)
WIDE, HIGH, LEFT, FOOT = 560.0, 240.0, 44.0, 24.0


def drawn_law(kind: Any) -> str:
    """Return a type's law with its 95 % interval and its published points, drawn small: 1 MHz to 3 GHz, dB per 100 m.

    A full dot was read, a ring is from memory, of a class, or a maximum. A hundred of them stand on one page, so they
    are plain lines in the page's own ink; ``linewright lines NAME --chart`` draws one in full.
    """
    import numpy as np

    f = np.geomspace(1e6, 3e9, 60)
    law = 100 * kind.law.db_per_m(f)
    low, high = (100 * np.asarray(side) for side in kind.law.interval_db_per_m(f))
    shown = [p for p in kind.points if p.kind != "set aside" and 1e6 <= p.frequency_hz <= 3e9]
    floor, top = np.log10([0.9 * low.min(), 1.1 * high.max()])

    def at(hertz: Any, db: Any) -> tuple[Any, Any]:
        x = LEFT + (WIDE - LEFT - 8) * np.log10(np.asarray(hertz) / 1e6) / np.log10(3e3)
        return x, 6 + (HIGH - FOOT - 6) * (top - np.log10(db)) / (top - floor)

    def path(hertz: Any, db: Any) -> str:
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in zip(*at(hertz, db), strict=True))

    ink = 'fill="currentColor" font-size="11"'
    marks = [
        f'<text x="{at(1e6 * mhz, 1.0)[0]:.0f}" y="{HIGH - 6:.0f}" text-anchor="middle" {ink}>{mhz:g}</text>'
        for mhz in TICKS_MHZ
    ]
    for db in (d * 10.0**n for n in range(-2, 4) for d in (1, 2, 5)):
        if floor <= np.log10(db) <= top:
            y = float(at(1e6, db)[1])
            marks.append(f'<text x="{LEFT - 6:.0f}" y="{y + 4:.0f}" text-anchor="end" {ink}>{db:g}</text>')
            marks.append(f'<path d="M{LEFT:.0f} {y:.1f}H{WIDE - 8:.0f}" stroke="currentColor" stroke-opacity=".15"/>')
    for p in shown:
        x, y = at(p.frequency_hz, 100 * p.attenuation_db_per_m)
        full = p.provenance.grade in ("read", "person") and p.kind != "max"
        inside = "currentColor" if full else "none"
        marks.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" stroke="currentColor" fill="{inside}"/>')
    band = path(np.concatenate([f, f[::-1]]), np.concatenate([high, low[::-1]]))
    told = (
        f"Loss of 100 m of {kind.designator} in dB from 1 MHz to 3 GHz: the law, its 95 % interval, {len(shown)} points"
    )
    size = f'viewBox="0 0 {WIDE:.0f} {HIGH:.0f}" width="{WIDE:.0f}" style="max-width:100%"'
    return "".join([
        f'<div class="law"><svg {size} role="img" aria-label="{plain(told)}">',
        f'<polygon points="{band}" fill="currentColor" fill-opacity=".15"/>',
        f'<polyline points="{path(f, law)}" fill="none" stroke="currentColor" stroke-width="1.5"/>',
        *marks, "</svg></div>",
    ])  # fmt: skip


def _mhz(frequency_hz: str) -> str:
    return f"{float(frequency_hz) / 1e6:g}"


def _source(keys: str) -> str:
    from linewright.catalogue.tables import source_words

    return plain(source_words(keys)) if keys else ""


def _folded(words: str, body: str) -> str:
    return f'<details markdown="1"><summary>{words}</summary>\n\n{body}\n\n</details>'


def check_values(name: str) -> str:
    """Return the check values of a topic with their source, beside what the code gives now; or how many are what."""
    if name in OTHERS:
        return OTHERS[name]()
    return _checked(name, _way(name, import_module(TOPICS[name])))


KINDS = {
    "published": "read in a source, or quoted by one, that address and place lead to",
    "reader": "read, but the source is not named here or has no address: nobody else can look it up",
    "recomputed": "worked out by this project, another way, from a published formula or published inputs",
    "memory": "recalled, not seen",
    "common practice": "a rule of the trade without a source",
    "own estimate": "another estimator of ours on the same measured file",
}


def _counts() -> str:
    """Return how many checks are what."""
    from published.reader import checks, kind

    found = Counter(kind(check) for name in (*TOPICS, "sweeps") for check in checks(name))
    rows = [(name, str(found.pop(name, 0)), words) for name, words in KINDS.items()]
    if found:
        raise SystemExit(f"no words for {', '.join(found)}")
    return table(("kind", "checks", "what it is"), rows)


def _checked(name: str, ours: Callable[[Check], Any]) -> str:
    from published.reader import checks, kind

    rows = [
        (code(check["function"]), plain(_inputs(check["inputs"])), check["printed"], _given(ours(check), check),
         plain(f"{check['source']}; {check.get('place', '')}"), kind(check), plain(check.get("why", "")))
        for check in checks(name)
    ]  # fmt: skip
    return table(("figure", "inputs", "printed", "ours", "source and place", "kind", "why wider"), rows)


def _way(name: str, module: Any) -> Callable[[Check], Any]:
    """Return what works a check out on our side: the same functions that the tests compare with the print."""
    if name == "chain":
        return lambda check: _chain(module, check)
    if name == "touchstone":
        return lambda check: module.value(
            check["function"], module.read(check["inputs"]["text"], check["inputs"]["file"])
        )
    return lambda check: module.FUNCTIONS[check["function"]](check["inputs"])


def _chain(module: Any, check: Check) -> Any:
    inputs = {"load_ohm": [50.0, 0.0], **check["inputs"]}
    return module.FIGURES[check["function"]](inputs, *module._walked(inputs))


def _given(value: Any, check: Check) -> str:
    """Return our value with one digit more than is printed."""
    decimals = len(check["printed"].partition(".")[2]) if "e" not in check["printed"].lower() else 6
    return f"{float(value):.{min(decimals + 1, 15)}f}"


def _inputs(inputs: dict[str, Any]) -> str:
    return ", ".join(f"{name} {_short(value)}" for name, value in inputs.items())


def _short(value: Any) -> str:
    """Return an input as text; of a long list how many it holds."""
    words = value if isinstance(value, str) else json.dumps(value)
    if len(words) <= 60:
        return words
    return f"{len(value)} values" if isinstance(value, list) else f"{words[:57]}…"


def _sweeps() -> str:
    """Return the reference numbers of the measured sweeps; the tests hold each of them inside our interval."""
    from published.reader import checks

    rows = [
        (code(check["inputs"].get("figure", check["function"])), plain(_short(check["inputs"].get("files", ""))),
         check["printed"], plain(f"{check['source']}; {check['place']}"))
        for check in checks("sweeps")
    ]  # fmt: skip
    return table(("figure", "files", "printed", "source and place"), rows)


OTHERS = {"sweeps": _sweeps, "counts": _counts}
