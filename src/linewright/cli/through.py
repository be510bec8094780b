"""``linewright through``: the antenna behind a line."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import Reader, answer_options, ledger_kept, lines_option, own_lines
from linewright.core.errors import InputError

if TYPE_CHECKING:
    from linewright.core.nouns.through import LineBehind, Seen

HELP = """\
Say what the SWR is at the antenna, given the SWR at the radio end of a lossy line.

\b
The reading, one of:
  --shack-swr 1.3    --return-loss "17.7 dB"    --impedance "38-12j"
  --curve sweep.csv  (columns frequency_mhz,swr)  or  --curve sweep.s1p; several are compared with the first
The line, one of:
  --loss "3 dB"      --loss "3 dB +- 0.5"       --loss "2.5 to 3.5 dB"
  --line "RG-58C/U" --length "20 m"             --piece "blue 7" --sheet spring.toml
  --piece "blue 7"   (in the ledger)            --run "two-metre beam"   (a whole run in the ledger)

\b
linewright through --shack-swr 1.3 --loss "3 dB"
linewright through --shack-swr 1.3 --run "two-metre beam" --at "144.3 MHz"
linewright through --curve beam.csv --line RG-213/U --length "30 m" --chart beam.svg
linewright through --curve beam.s1p                 (as the analyser shows it; without a line)
linewright through --curve dry.s1p --curve wet.s1p --name dry --name wet --piece "blue 7"
"""
SEEN = ("shack_swr", "return_loss", "impedance", "curve")
LINES = ("loss", "line", "piece", "run")


@click.command(help=HELP, short_help="Say what the SWR is at the antenna, behind a lossy line.")
@click.option("--shack-swr", metavar="SWR", help="SWR shown at the radio.")
@click.option("--return-loss", metavar="DB", help="Return loss shown at the radio.")
@click.option("--impedance", metavar="Z", help="Impedance shown at the radio, ohms.")
@click.option(
    "--curve",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Curve at the radio: CSV or Touchstone; give several to compare them.",
)
@click.option("--name", multiple=True, metavar="NAME", help="Name for each curve: dry, wet.")
@click.option("--loss", metavar="DB", help="Matched loss of the line, with its interval if known.")
@click.option("--line", metavar="TYPE", help="Type of the line.")
@click.option("--length", metavar="LENGTH", help="Length of the line.")
@click.option("--piece", metavar="TAG", help="Tag of a piece on the sheet or in the ledger.")
@click.option("--sheet", type=click.Path(path_type=Path), metavar="SHEET", help="Bench sheet that proves the piece.")
@click.option("--run", metavar="NAME", help="A whole run in the ledger, from the radio to the antenna.")
@click.option("--station", metavar="NAME", help="Which station, if the ledger has several.")
@click.option("--ledger", metavar="PATH", help="The ledger: a file or a PostgreSQL URL (default: the usual place).")
@click.option("--at", metavar="FREQ", help="Frequency of the reading, or of the loss.")
@click.option("--step", type=float, metavar="STEP", help="Smallest step of the reading (default: its last digit).")
@click.option(
    "--directivity", metavar="DB", help="Directivity of the bridge (default: 25 dB, or 40 dB for an analyser)."
)
@click.option("--meter", metavar="NAME", help="Meter that took the reading: use its directivity from the ledger.")
@click.option("--chart", type=click.Path(path_type=Path), metavar="OUT", help="Draw the curve: .svg, .png or .pdf.")
@lines_option
@answer_options()
def through(lines_file: Path | None, reader: Reader, chart: Path | None, **given: Any) -> None:
    """Say what stands at the antenna behind a lossy line."""
    from linewright.present.compose.through import through_document
    from linewright.verbs.results import check_chart_place
    from linewright.verbs.through import see_through

    check_chart_place(chart)
    hertz = _frequency(given["at"])
    curves, told_line = given.pop("curve"), any(given[name] is not None for name in LINES)
    names = given.pop("name")
    if names and len(names) != len(curves):
        raise InputError("--name", f"must be given once for each curve; got {len(names)} for {len(curves)}")
    given["curve"] = curves[0] if curves else None
    if len(curves) > 1 or (curves and not told_line):
        _antenna(curves, names, given, (hertz, lines_file, told_line), chart, reader)
        return
    seen = _seen(given, hertz)
    result = see_through(seen, _line(given, hertz, lines_file), at_hz=hertz if given["curve"] else None)
    if chart is not None:
        _draw(result, chart)
    reader.show(result, through_document)


def _antenna(
    curves: tuple[Path, ...], names: tuple[str, ...], given: dict[str, Any],
    known: tuple[float | None, Path | None, bool], chart: Path | None, reader: Reader,
) -> None:  # fmt: skip
    """Show what sweeps of one antenna say, each for itself and against the first."""
    from linewright.present.charts.overlay import OverlaidCurve, overlay_chart
    from linewright.present.compose.antenna import antenna_document
    from linewright.verbs.antenna import see_antenna
    from linewright.verbs.results import put_chart

    hertz, lines_file, told_line = known
    line = _line(given, hertz, lines_file) if told_line else None
    seen = [_seen({**given, "curve": path}, hertz) for path in curves]
    result = see_antenna(seen, line, names=names or [path.name for path in curves])
    if chart is not None:
        drawn = [OverlaidCurve(x.name, [p.frequency_hz for p in x.points], [p.swr.value or 1e3 for p in x.points])
                 for x in result.sweeps]  # fmt: skip
        put_chart(overlay_chart(drawn, "swr"), chart)
    reader.show(result, antenna_document)


def _frequency(text: str | None) -> float | None:
    from linewright.files.fields import frequency

    return None if text is None else frequency(text, "--at")


def _seen(given: dict[str, Any], hertz: float | None) -> Seen:
    """Return what was seen at the radio."""
    from linewright.core.quantities import loss_ratio_db
    from linewright.files.curve import read_curve, written_seen

    told = [name for name in SEEN if given[name] is not None]
    if len(told) != 1:
        names = ", ".join("--" + name.replace("_", "-") for name in SEEN)
        raise InputError("what was seen", f"must be told by one of {names}; got {len(told)}")
    leak = None if given["directivity"] is None else loss_ratio_db(given["directivity"], "--directivity")
    if given["meter"] is not None:
        from linewright.verbs.meters import directivity_at

        if leak is not None:
            raise InputError("--meter", "brings its directivity", cure="Leave out --directivity.")
        with ledger_kept(given["ledger"]) as found:
            leak = directivity_at(found, given["meter"], hertz)
    step = given["step"]
    if told[0] == "curve":
        return read_curve(given["curve"], step=step, directivity_db=leak)
    return written_seen(told[0], given[told[0]], hertz, step, leak)


def _line(given: dict[str, Any], hertz: float | None, lines_file: Path | None) -> LineBehind:
    """Return what is believed of the line."""
    from linewright.files.curve import loss_with_interval
    from linewright.files.fields import length
    from linewright.verbs.through import line_behind, piece_behind

    if [given["loss"], given["line"], given["piece"], given["run"]].count(None) != 3:
        ways = "--loss, --line with --length, --piece, --run"
        raise InputError("the line", f"must be told by one of {ways}")
    if given["run"] is not None or (given["piece"] is not None and given["sheet"] is None):
        return _kept(given, hertz)
    if given["loss"] is not None:
        db, half = loss_with_interval(given["loss"], "--loss")
        return line_behind(loss_db=db, half_width_db=half, at_hz=hertz)
    if given["piece"] is not None:
        return piece_behind(given["sheet"], given["piece"], own_lines(lines_file))
    if given["length"] is None:
        raise InputError("--length", "is missing", cure="A type needs a length.")
    return line_behind(line=given["line"], length_m=length(given["length"], "--length"), own=own_lines(lines_file))


def _kept(given: dict[str, Any], hertz: float | None) -> LineBehind:
    """Return a piece or a run that the ledger keeps."""
    from linewright.verbs.through import kept_piece_behind, kept_run_behind

    with ledger_kept(given["ledger"]) as found:
        if given["run"] is None:
            return kept_piece_behind(found, given["piece"])
        return kept_run_behind(found, given["run"], station=given["station"], at_hz=hertz)


def _draw(result: Any, path: Path) -> None:
    if not result.curve:
        raise InputError("--chart", "needs a curve", cure="Add --curve FILE.")
    from linewright.present.charts.antenna import antenna_chart
    from linewright.verbs.results import put_chart

    put_chart(antenna_chart(result), path)
