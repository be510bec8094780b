"""The figures of a run over its frequencies, draws summed up: what the findings and their workings are written from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linewright.budget.chain import Walk, highest_swr
from linewright.budget.sections import SYSTEM_OHM, Section
from linewright.budget.spread import Spread, mean_spread, median_spread, upper
from linewright.budget.stress import stresses
from linewright.model.station import LinePart, Run
from linewright.physics.mismatch import swr_from_reflection
from linewright.physics.two_port import State

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PartFigures:
    """One part over the frequencies (f,). Powers are for the radio's full power; ``heat_w`` is the average."""

    section: Section
    loss_db: Spread
    matched_db: Floats
    power_in_w: Floats
    power_out_w: Floats
    heat_w: Floats
    swr_in: Floats
    peak_voltage_v: Floats
    heat_w_per_m: Floats | None
    alike_w: Floats | None


@dataclass(frozen=True, slots=True)
class RunFigures:
    """A run over its frequencies (f,). ``share`` is what of its power the radio gives into the SWR it sees."""

    run: Run
    frequency_hz: Floats
    walked: Walk
    matched_db: Floats
    total_db: Spread
    swr_at_radio: Spread
    swr_at_antenna: Floats
    highest_swr: Floats
    share: Floats
    power_w: Floats
    at_antenna_w: Spread
    parts: tuple[PartFigures, ...]

    @property
    def on_air(self) -> float:
        """Average over peak power: duty times the mode's factor."""
        return self.run.duty * self.run.mode_factor


def figures_of(run: Run, walked: Walk) -> RunFigures:
    """Return the figures of a walked run."""
    swr = swr_from_reflection(walked.states[0].reflection(SYSTEM_OHM))
    seen, total = median_spread(swr), mean_spread(walked.total_db)
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
        matched_db=walked.matched_db.mean(axis=-1),
        total_db=total,
        swr_at_radio=seen,
        swr_at_antenna=np.median(_swr_at_antenna(run, walked.states[-1]), axis=-1),
        highest_swr=np.median(highest_swr(walked.sections, frequencies), axis=-1),
        share=share,
        power_w=power,
        at_antenna_w=Spread(middle, np.minimum(arrives.low, middle), np.maximum(arrives.high, middle)),
        parts=_parts(run, walked, power, given_w),
    )


def fold_back(run: Run, swr: Floats) -> Floats:
    """Return the share of its power the radio gives into an SWR: straight lines, level beyond the ends of the curve."""
    if not run.fold_back:
        return np.ones_like(swr)
    at, share = zip(*run.fold_back, strict=True)
    return np.asarray(np.interp(swr, at, share))


def line_ohm(run: Run) -> float:
    """Return the impedance of the line that ends at the antenna; 50 ohms where none is."""
    kinds = [p.piece.line for p in run.chain if isinstance(p, LinePart)]
    return kinds[-1].impedance_ohm if kinds and kinds[-1] else SYSTEM_OHM


def _swr_at_antenna(run: Run, state: State) -> Floats:
    return swr_from_reflection(state.reflection(line_ohm(run)))


def _parts(run: Run, walked: Walk, power_w: Floats, given_w: Floats) -> tuple[PartFigures, ...]:
    out, here, branches = [], power_w, 1
    for i, (section, stress) in enumerate(zip(walked.sections, stresses(walked), strict=True)):
        loss = mean_spread(walked.loss_db[i])
        left = here * 10.0 ** (-loss.middle / 10.0)
        average_w = run.duty * run.mode_factor * given_w
        swr = swr_from_reflection(walked.states[i].reflection(section.ohm))
        out.append(
            PartFigures(
                section=section,
                loss_db=loss,
                matched_db=section.matched_db.mean(axis=-1),
                power_in_w=here,
                power_out_w=left / section.ways,
                heat_w=run.duty * run.mode_factor * branches * (here - left),
                swr_in=np.median(swr, axis=-1),
                peak_voltage_v=upper(stress.voltage_v * np.sqrt(given_w)),
                heat_w_per_m=None if stress.heat_per_m is None else upper(stress.heat_per_m * average_w),
                alike_w=None if stress.alike_w is None else upper(stress.alike_w * average_w),
            )
        )
        here, branches = left / section.ways, branches * section.ways
    return tuple(out)
