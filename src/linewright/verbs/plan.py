"""Plan a station's runs: from the radio to the antenna, on every band."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import UnknownNameError
from linewright.core.formatting import digits
from linewright.core.formulas.exposure import on_air_share
from linewright.core.messages import say, together
from linewright.core.nouns.exposure import SumFinding
from linewright.core.nouns.line import LineType
from linewright.core.nouns.plan import Budget, Plan
from linewright.core.nouns.station import LinePart, Run, Station
from linewright.link.draws import DRAWS
from linewright.link.exposure import together as together_of
from linewright.link.plan import plan_run
from linewright.present.compose.exposure_words import licence
from linewright.verbs.beliefs import Beliefs

if TYPE_CHECKING:
    from linewright.verbs.changes import StationChange

__all__ = ["DRAWS", "plan_run", "plan_station", "planned", "read", "the_run"]


def plan_station(
    station: Station | Path | str,
    *,
    changes: Sequence[str | StationChange] = (),
    run: str | None = None,
    own: Sequence[LineType] = (),
    progress: Callable[[float, str], None] | None = None,
    explained: bool = True,
) -> Plan:
    """Plan the runs of a station.

    Parameters
    ----------
    station : Station or Path or str
        The station, or the TOML file it stands in.
    changes : sequence of str or Change
        Changes to make first, such as "line 2 = RG-213/U".
    run : str, optional
        The only run to plan.
    own : sequence of LineType
        The person's own line types, for a station that is still to be read.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done, while a bench sheet is judged.
    explained : bool
        Whether to write down how every figure was worked out. The figures are the same without.

    Returns
    -------
    Plan
        Per run and frequency: losses, watts, standing waves, heat, voltage, reception, exposure; intervals are 95 %.

    Raises
    ------
    InputError
        If the station breaks a rule, or has no such run; several problems come in one ``SheetError``.

    References
    ----------
    As of ``plan_run``.

    >>> from linewright.verbs.examples import demo_file
    >>> plan = plan_station(demo_file("harbour-ridge-station.toml"), run="repeater link")
    >>> band = plan.budgets[0].bands[0]
    >>> 10 < band.total_loss_db < 12, band.power_at_antenna_w_low < band.power_at_antenna_w < 1.2  # 10 W go in
    (True, True)
    """
    known = read(station, own)
    only = None if run is None else the_run(known, run).name
    if changes:
        from linewright.verbs.changes import changed

        known = changed(known, changes, only)
    else:
        from linewright.files.station_run import check_covered

        check_covered(known.runs)
    return planned(known, only, Beliefs(known, DRAWS, progress), worked=explained)


def planned(station: Station, only: str | None, beliefs: Beliefs, *, worked: bool = True) -> Plan:
    """Return the plan of a station's runs, or of one of them, with beliefs that may have served before.

    ``worked`` is whether it says how each figure was worked out.
    """
    runs = tuple(r for r in station.runs if only in (None, r.name))
    if any(r.antenna.shape is not None for r in runs):
        from linewright.verbs.fields_kept import keep_fields

        keep_fields()
    budgets = tuple(_budget(r, station, beliefs, worked=worked) for r in runs)
    remarks = (*station.remarks, *_shared(runs), *beliefs.remarks)
    return Plan(station.name, budgets, cautions_of("plan"), remarks, _together(budgets))


def _together(budgets: Sequence[Budget]) -> tuple[SumFinding, ...]:
    """Return what the runs use up of each limit where they are all on the air at once; nothing for a run alone."""
    near = [(b.run, [d for x in b.bands for d in x.density]) for b in budgets if any(x.density for x in b.bands)]
    return together_of(near) if len(near) > 1 else ()


def _budget(run: Run, station: Station, beliefs: Beliefs, *, worked: bool) -> Budget:
    explain = None
    if worked:
        from linewright.present.compose.plan_workings import workings

        explain = workings
    rules, draws = station.rules, beliefs.draws
    found = plan_run(*beliefs.of_run(run), noise=station.noise, draws=draws, rules=rules, explain=explain)
    told = [licence(x.frequency_hz, c) for x in found.bands for c in x.licence if c.verdict != "within"]
    return replace(found, remarks=(*told, *found.remarks), terms=tuple(exposure_terms(run, found)))


def exposure_terms(run: Run, found: Budget) -> Iterator[str]:
    """Yield what exposure is reckoned with, in sentences."""
    methods = {e.method for x in found.bands for e in x.exposure}
    if not methods - {"none"}:
        return
    yield _duty(run)
    if "far field" in methods:
        yield say("Far-field exposure assumes that the ground multiplies the power density by {ground}.",
                  ground=digits(run.exposure.ground_factor))  # fmt: skip
    if "near field" in methods:
        yield say(
            "Exposure by the near field counts distances from the wires, the farthest over none, perfect and"
            " average ground; the highest place is held against levels that are meant as averages over a body."
        )
        if run.antenna.loss_ohm is None and any(e.distance_m_low is not None for x in found.bands for e in x.exposure):
            yield say("Exposure to a short antenna hangs on its losses, and none is stated: where two distances are"
                      " given, the first is with losses such antennas commonly have, the second with those of the wire"
                      " alone.")  # fmt: skip


def _duty(run: Run) -> str:
    if run.over is None:
        return say(
            "Exposure uses an average of {share} % of the power (duty {duty}, mode {mode}).",
            share=digits(100 * run.duty * run.mode_factor, 3), duty=digits(run.duty), mode=digits(run.mode_factor),
        )  # fmt: skip
    shares = [100 * run.mode_factor * on_air_share(run.over.on_s, run.over.off_s, t) for t in (360.0, 1800.0)]
    return say(
        "Exposure counts {six} % of the power as the average over 6 minutes and {thirty} % over 30 (overs of {on} s,"
        " pauses of {off} s, mode {mode}).",
        six=digits(shares[0], 3), thirty=digits(shares[1], 3), on=digits(run.over.on_s), off=digits(run.over.off_s),
        mode=digits(run.mode_factor),
    )  # fmt: skip


def read(station: Station | Path | str, own: Sequence[LineType] = ()) -> Station:
    """Return a station, read from its file if it is not one already."""
    from linewright.files.station import read_station

    return station if isinstance(station, Station) else read_station(station, own)


def the_run(station: Station, name: str) -> Run:
    """Return the run of this name; raise InputError if there is none."""
    found = next((r for r in station.runs if r.name.lower() == " ".join(name.lower().split())), None)
    if found is None:
        cure = say("Known are {known}.", known=", ".join(r.name for r in station.runs))
        raise UnknownNameError(
            "run", say("must be a run of {whole}; got {value}", whole=station.name, value=repr(name)), cure=cure
        )
    return found


def _shared(runs: Sequence[Run]) -> tuple[str, ...]:
    """Return which pieces are wanted by two runs."""
    places: dict[str, list[str]] = {}
    for run in runs:
        for part in run.chain:
            if isinstance(part, LinePart) and part.measured:
                places.setdefault(part.piece.tag, []).append(run.name)
    return tuple(
        say("{piece} lies in {count} runs ({runs}): it serves one at a time.",
            piece=tag, count=len(names), runs=together(names, ", "))
        for tag, names in places.items()
        if len(names) > 1
    )  # fmt: skip
