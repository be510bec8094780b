"""The figures of a run over its frequencies, draws summed up: what the findings and their workings are written from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.core.arrays import Floats, median
from linewright.core.formulas.lossy_line import swr_in
from linewright.core.formulas.two_port import VoltageCurrent
from linewright.core.frozen import dataclass
from linewright.core.nouns.station import Run, SplitterPart, TransformerPart, TunerPart
from linewright.link.chain import Walk, highest_swr
from linewright.link.draws import IntervalByBand, mean_spread, median_spread, spread, upper
from linewright.link.ratings import Rating, rating_of, stresses
from linewright.link.sections import SYSTEM_OHM, Line, RunSection


@dataclass(frozen=True, slots=True)
class PartFigures:
    """One part over the frequencies (f,), with what it bears at each.

    Powers are for the radio's full power; ``heat_w`` is the average.
    """

    section: RunSection
    loss_db: IntervalByBand
    matched_db: Floats
    power_in_w: Floats
    power_out_w: Floats
    heat_w: Floats
    swr_in: Floats
    peak_voltage_v: Floats
    heat_w_per_m: Floats | None
    alike_w: Floats | None
    ratings: tuple[Rating, ...]


@dataclass(frozen=True, slots=True)
class RunFigures:
    """A run over its frequencies (f,). ``share`` is what of its power the radio gives into the SWR it sees."""

    run: Run
    frequency_hz: Floats
    walked: Walk
    matched_db: Floats
    total_db: IntervalByBand
    swr_at_radio: IntervalByBand
    swr_at_antenna: Floats
    highest_swr: Floats
    share: Floats
    power_w: Floats
    at_antenna_w: IntervalByBand
    parts: tuple[PartFigures, ...]

    @property
    def on_air(self) -> float:
        """Average over peak power: duty times the mode's factor."""
        return self.run.duty * self.run.mode_factor


def figures_of(run: Run, walked: Walk) -> RunFigures:
    """Return the figures of a walked run."""
    swr = swr_on(walked.states[0], None)
    seen, total = median_spread(swr), walked.whole_db
    share = fold_back(run, seen.middle)
    power = run.power_w * share
    given_w = run.power_w * fold_back(run, swr)
    arrives = mean_spread(given_w * 10.0 ** (-walked.total_db / 10.0))
    middle = power * 10.0 ** (-total.middle / 10.0)
    frequencies = len(run.frequencies_hz)
    return RunFigures(
        run=run,
        frequency_hz=np.asarray(run.frequencies_hz, dtype=np.float64),
        walked=walked,
        matched_db=walked.matched_db,
        total_db=total,
        swr_at_radio=seen,
        swr_at_antenna=median(swr_on(walked.states[-1], line_at_antenna(walked.sections)), axis=-1),
        highest_swr=median(highest_swr(walked.sections, frequencies), axis=-1),
        share=share,
        power_w=power,
        at_antenna_w=IntervalByBand(middle, np.minimum(arrives.low, middle), np.maximum(arrives.high, middle)),
        parts=_parts(run, walked, power, given_w),
    )


def fold_back(run: Run, swr: Floats) -> Floats:
    """Return the share of its power the radio gives into an SWR: straight lines, level beyond the ends of the curve."""
    if not run.fold_back:
        return np.ones_like(swr)
    at, share = zip(*run.fold_back, strict=True)
    return np.asarray(np.interp(swr, at, share))


def line_at_antenna(sections: Sequence[RunSection]) -> Line | None:
    """Return the line that ends at the antenna; None where nothing, or something that transforms, lies between."""
    for section in reversed(sections):
        if section.line is not None:
            return section.line
        if isinstance(section.part, (TransformerPart, TunerPart, SplitterPart)):
            return None
    return None


def swr_on(state: VoltageCurrent, line: Line | None) -> Floats:
    """Return the SWR of a state on a line, in its complex impedance; in 50 ohms without a line.

    Where the complex impedance has no SWR (a load so reactive that |Γ| reaches 1), it is that in R0.
    """
    z = state.impedance_ohm
    if line is None:
        return swr_in(z, SYSTEM_OHM)
    swr = swr_in(z, line.impedance_ohm * (1.0 - 1j * line.skew))
    return np.where(np.isfinite(swr), swr, swr_in(z, line.impedance_ohm))


def _parts(run: Run, walked: Walk, power_w: Floats, given_w: Floats) -> tuple[PartFigures, ...]:
    out, here, branches, middles = [], power_w, 1, walked.parts_db
    for i, (section, stress) in enumerate(zip(walked.sections, stresses(walked), strict=True)):
        loss = spread(walked.loss_db[i], middles[i])
        left = here * 10.0 ** (-loss.middle / 10.0)
        average_w = run.duty * run.mode_factor * given_w
        out.append(
            PartFigures(
                section=section,
                loss_db=loss,
                matched_db=median(section.matched_db, axis=-1),
                power_in_w=here,
                power_out_w=left / section.ways,
                heat_w=run.duty * run.mode_factor * branches * (here - left),
                swr_in=median(swr_on(walked.states[i], section.line), axis=-1),
                peak_voltage_v=upper(stress.voltage_v * np.sqrt(given_w)),
                heat_w_per_m=None if stress.heat_per_m is None else upper(stress.heat_per_m * average_w),
                alike_w=None if stress.alike_w is None else upper(stress.alike_w * average_w),
                ratings=tuple(rating_of(section.part, f, run.temperature_celsius) for f in run.frequencies_hz),
            )
        )
        here, branches = left / section.ways, branches * section.ways
    return tuple(out)
