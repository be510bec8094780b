"""An antenna's sweeps at once: as the analyser shows them, behind a line where one is known, and what changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import InputError
from linewright.core.formatting import digits, plain
from linewright.core.messages import say
from linewright.core.nouns.antenna import AntennaResult, AntennaSweep
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.through import LineBehind, Seen
from linewright.verbs.through import see_through

MOST_SWEEPS = 6


def see_antenna(
    sweeps: Sequence[Seen | Path | str], line: LineBehind | None = None, *, names: Sequence[str] = ()
) -> AntennaResult:
    """Return what sweeps of one antenna show at the analyser, behind a line, and against the first of them.

    Parameters
    ----------
    sweeps : sequence of Seen or Path or str
        Curves of SWR or return loss (CSV), or Touchstone files; the first is what the others are compared with.
    line : LineBehind, optional
        What lies between the analyser and the antenna; see ``line_behind``.
    names : sequence of str, optional
        What to call them: "dry", "wet"; else by their files.

    Raises
    ------
    InputError
        If there is no sweep, too many, one is a single reading, or a file breaks a rule.

    >>> from linewright.verbs.examples import demo_file
    >>> [sweep.name for sweep in see_antenna([demo_file("mast.s1p")]).sweeps]
    ['mast.s1p']
    """
    from linewright.files.curve import read_curve
    from linewright.inference.load.at_analyser import changes
    from linewright.present.compose.antenna import verdict

    if not 1 <= len(sweeps) <= MOST_SWEEPS:
        raise InputError(
            "curve", say("must be one to {most_sweeps} sweeps; got {value}", most_sweeps=MOST_SWEEPS, value=len(sweeps))
        )
    if names and len(names) != len(sweeps):
        raise InputError(
            "names", say("must be one for each sweep; got {value} for {count}", value=len(names), count=len(sweeps))
        )
    seen = [x if isinstance(x, Seen) else read_curve(x) for x in sweeps]
    called = _called([str(n) for n in names] or [str(s.name) for s in seen])
    found = [_one(replace(s, name=n), line) for s, n in zip(seen, called, strict=True)]
    bare = AntennaResult(
        "", tuple(found), changes(found), "" if line is None else line.name, cautions_of("through"),
        _remarks(found, line), tuple(w for x in found for w in (*_at_analyser(x), *_behind(x))),
    )  # fmt: skip
    return replace(bare, verdict=verdict(bare))


def _called(names: Sequence[str]) -> list[str]:
    """Return names of which no two are alike."""
    return [n if names.count(n) == 1 else f"{n} ({i})" for i, n in enumerate(names, start=1)]


def _one(seen: Seen, line: LineBehind | None) -> AntennaSweep:
    from linewright.inference.load.at_analyser import at_analyser

    found = at_analyser(seen)
    return found if line is None else replace(found, behind=see_through(seen, line))


def _remarks(found: Sequence[AntennaSweep], line: LineBehind | None) -> tuple[str, ...]:
    said = []
    if line is None:
        said.append(say(
            "A lossy line before the antenna flatters all of this: name it, by piece, run, type and length, or loss, to"
            " see behind it."
        ))  # fmt: skip
    if any(x.resistance_ohm.value is None for x in found):
        said.append(say("A curve of SWR has no phase: resistance and reactance need a Touchstone file."))
    if len(found) > 1:
        said.append(say(
            "Each sweep is doubted by itself: with one calibration and the same cables changes are surer."
        ))  # fmt: skip
    behind = (r for x in found if x.behind is not None for r in x.behind.remarks)
    return tuple(dict.fromkeys([*said, *behind]))


# How the figures of an antenna's sweeps were worked out

ENGINE = "inference/load/at_analyser.py, inference/load/curve.py"


def _at_analyser(x: AntennaSweep) -> list[Working]:
    drawn = say("draws of Γ shown - D, D a leak all points share; 1/(1 - |Γ|²) is a parabola at a dip")
    best = (say("lowest point shown"), say("{f} MHz", f=plain(x.best_hz / 1e6, 3)))
    points = (say("points"), digits(len(x.points)))
    out = [
        Working(say("{sweep} at the analyser", sweep=x.name), drawn, (best, points), ENGINE, ("best SWR", x.name)),
        Working(say("{sweep}: resistance and reactance", sweep=x.name), "Z = 50 (1 + Γ)/(1 - Γ)", (points,),
                "D. M. Pozar, Microwave Engineering, 4th ed., equation 2.35 (from memory).", ("impedance", x.name)),
    ]  # fmt: skip
    for w in x.widths:
        name = say("{sweep}: width at SWR {swr}", sweep=x.name, swr=digits(w.swr))
        how = say("where each draw of the curve first rises through it, both ways from its lowest point")
        out.append(Working(name, how, (best,), ENGINE, ("width", x.name, w.swr)))
    return out


def _behind(x: AntennaSweep) -> list[Working]:
    if x.behind is None:
        return []
    return [replace(w, key=("behind", x.name, *w.key)) for w in x.behind.workings]
