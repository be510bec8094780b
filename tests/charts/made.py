"""The charts under test, and what can be read back from a drawn one."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

from hypothesis import strategies as st

from linewright.present.charts.doubts import doubts_chart
from linewright.present.charts.loss import loss_chart
from linewright.present.charts.pull import pull_chart
from linewright.present.charts.trust import trust_chart
from made_up_bench import made_up_bench

CHARTS = {"loss": loss_chart, "trust": trust_chart, "doubts": doubts_chart, "pull": pull_chart}
WIDTHS = (360, 660)
SVG = "{http://www.w3.org/2000/svg}"


@st.composite
def benches(draw):
    """Draw a made-up result and its sheet, of any size up to the largest anyone would draw."""
    return made_up_bench(
        draw(st.integers(1, 5)),
        draw(st.integers(1, 12)),
        draw(st.integers(1, 6)),
        long_names=draw(st.booleans()),
        seed=draw(st.integers(0, 10_000)),
    )


def _shift(transform: str) -> tuple[float, float]:
    got = re.match(r"translate\(([-\d.e]+),?\s*([-\d.e]*)\)", transform)
    return (float(got[1]), float(got[2] or 0)) if got else (0.0, 0.0)


def texts(svg: str) -> list[tuple[str, float, float, float]]:
    """Return every text of a drawing: its words, its left and right end by a mean letter width, and its height."""
    found: list[tuple[str, float, float, float]] = []

    def walk(node: ET.Element, x: float, y: float) -> None:
        dx, dy = _shift(node.get("transform", ""))
        here_x, here_y = x + dx, y + dy
        if node.tag == f"{SVG}text" and node.get("opacity") != "0":
            letter = 0.5 * float(re.sub("px$", "", node.get("font-size", "11")))
            anchor = node.get("text-anchor", "start")
            for line, down in [(node.text or "", 0.0), *((s.text or "", float(s.get("dy", "0"))) for s in node)]:
                wide = letter * len(line)
                here_y += down
                left = here_x - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
                if line.strip():
                    found.append((line, left, left + wide, here_y))
        for child in node:
            walk(child, here_x, here_y)

    walk(ET.fromstring(svg), 0.0, 0.0)
    return found


def drawn(svg: str, kind: str) -> int:
    """Return how many marks of a kind ("symbol", "rule", "text") a drawing holds, axes left out."""
    groups = [
        g
        for g in ET.fromstring(svg).iter(f"{SVG}g")
        if {f"mark-{kind}", "role-mark"} <= set(g.get("class", "").split())
    ]
    return sum(len(list(group)) for group in groups)


def size(svg: str) -> tuple[float, float]:
    """Return width and height of a drawing, pixels."""
    root = ET.fromstring(svg)
    return float(root.get("width", "0")), float(root.get("height", "0"))


def marks(spec: dict) -> list[dict]:
    """Return every mark of a specification with its rows, whatever it is nested in."""
    found = [spec] if "mark" in spec else []
    for part in ("layer", "vconcat", "concat", "hconcat"):
        for inner in spec.get(part, []):
            found += marks(inner)
    return found
