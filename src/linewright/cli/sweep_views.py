"""The page of ``linewright sweep``: verdict, loss at the bands, the line itself, what lies along it, its type."""

from __future__ import annotations

from linewright.cli.text import WIDEST, Table, bold, cut, items, page, paragraph, section, workings_view
from linewright.core.formatting import chance, frequency, interval, metres, percent, places_for, plain
from linewright.core.nouns.one_end import MethodLoss, OneEndCheck, OneEndLaw, OneEndLoss, OneEndResult
from linewright.core.nouns.sweep import BandLoss, FaultFinding, Interval, SweepFinding, SweepReport
from linewright.core.nouns.through import ThroughResult
from linewright.present.compose import line_words as words

# The page of ``linewright sweep``: verdict, loss at the bands, the line itself, what lies along it, its type

MOST_TOLD, LEAST_TOLD = 5, 0.02
SLIGHT = 6
"""So many of the smaller marks along a line are listed."""


def sweep_view(report: SweepReport, *, explain: bool = False) -> str:
    """Return what a sweep says, for a terminal."""
    found = report.finding
    parts = [
        [bold(found.name), *paragraph(report.verdict)],
        section("Loss", _losses(found.losses)),
        section("The line", _line(found)),
        section("Along it", _along(report)),
        section("Which type", _types(report)),
        section("To know", items(report.remarks)),
        section("Cautions", items(report.cautions)),
    ]
    return page([*parts, workings_view(report.workings)] if explain else parts)


def _losses(rows: tuple[BandLoss, ...]) -> list[str]:
    insertion = any(row.insertion_loss_db for row in rows)
    out = Table(("", "band", "matched loss (95 %)", "between the ports" if insertion else "", ""), "rldl" + "l")
    for row in rows:
        direct = f"{row.insertion_loss_db.value:.2f} dB" if row.insertion_loss_db else ""
        out.add(frequency(row.frequency_hz), row.band, _said(row.matched_loss_db), direct, "")
    return out.lines()


def _line(found: SweepFinding) -> list[str]:
    out = Table(("", ""), "ll")
    for name, value, scale, unit in (
        ("impedance", found.impedance_ohm, 1.0, "ohm"),
        ("delay, one way", found.delay_s, 1e9, "ns"),
        ("length", found.length_m, 1.0, "m"),
        ("velocity factor", found.velocity_factor, 1.0, ""),
    ):
        if value is not None:
            out.add(name, _said(value.times(scale), unit))
    if found.law is not None:
        out.add("k1, √f part at 1 MHz", _said(found.law.k1_db))
        out.add("k2, f part at 1 MHz", _said(found.law.k2_db))
    for other in found.candidates if len(found.candidates) > 1 else ():
        out.add("delay may be", f"{1e9 * other.delay_s:.2f} ns, {percent(other.probability)}")
    return out.lines()


def _said(x: Interval, unit: str = "dB") -> str:
    return interval(x.value, x.low, x.high, unit)


def _along(report: SweepReport) -> list[str]:
    along = report.along
    if along is None:
        return items([report.along_why])
    out = Table(("at", "(95 %)", "what", "comes back", "sure", ""), "dlldrw")
    for fault in along.faults:
        places = max(1, places_for(fault.low_m, fault.high_m))
        reach = f"({plain(fault.low_m, places)} to {plain(fault.high_m, places)})"
        out.add(f"{plain(fault.distance_m, places)} m", reach, fault.kind, percent(fault.size),
                percent(fault.confidence), fault.why)  # fmt: skip
    nothing = [] if along.faults else ["No fault shows."]
    return [*out.lines(), *items([*nothing, *_marks(along), _reach(along)])]


def _marks(along: FaultFinding) -> list[str]:
    """Return the ends, and how many slight things there are, in sentences."""
    end = [f"{m.why.rstrip('.')}, {m.distance_m:.4g} m out." for m in along.landmarks if m.kind == "far end"]
    slight = [m for m in along.landmarks if m.kind in ("unevenness", "ghost")]
    if not slight:
        return end
    where = ", ".join(f"{m.distance_m:.3g} m ({percent(m.size)})" for m in slight[:SLIGHT])
    more = f" and {len(slight) - SLIGHT} more" if len(slight) > SLIGHT else ""
    return [*end, f"Seen too, and no faults: slight unevenness or re-reflections at {where}{more}."]


def _reach(along: FaultFinding) -> str:
    return (
        f"Two things nearer than {along.cell_m:.2g} m are not told apart, and within {along.blind_m:.2g} m of either "
        f"end a fault hides behind the connector. Less than {percent(along.least_size)} back counts as even."
    )


def _types(report: SweepReport) -> list[str]:
    out = Table(("", "", "chance"), "llr")
    told = [row for row in report.resembles if row.probability >= LEAST_TOLD][:MOST_TOLD]
    for row in told:
        worn = f"worn, {row.worn_ratio:.1f} times the loss" if row.worn_ratio else ""
        out.add(row.line, worn or ("as published" if row.kind == "as published" else ""), percent(row.probability))
    jacket = items([report.jacket]) if report.jacket else []
    return [*jacket, *out.lines(), *items([f"{told[0].line}: {told[0].why}"] if told else [])]


# The answer of ``linewright through`` on a terminal


def through_view(result: ThroughResult, *, explain: bool = False) -> str:
    """Return what stands behind a line, for a terminal."""
    head = [bold(words.title(result))]
    parts = [
        head,
        paragraph(result.verdict),
        _figures(result),
        _curve(result),
        items(result.remarks),
        section("Cautions", items(result.cautions)),
    ]
    if explain:
        parts.append(workings_view(result.workings))
    return page(parts)


def _figures(r: ThroughResult) -> list[str]:
    table = Table(("", "at the radio", "at the antenna (95 %)"), "lll")
    for row in words.figures(r):
        table.add(*row)
    return table.lines()


def _curve(r: ThroughResult) -> list[str]:
    table = Table(("", "at the radio", "at the antenna (95 %)", "plain formula", "most the radio can show"), "lrllr")
    for row in words.curve(r):
        table.add(*row)
    return table.lines()


# The terminal view of a test with one end in hand: the verdict, the losses, the readings, and what to heed


def one_end_view(result: OneEndResult, *, explain: bool = False) -> str:
    """Return what a test says, for a terminal, no line wider than 100 columns."""
    return page([
        [bold(cut(_title(result), WIDEST))],
        paragraph(f"{result.verdict}: {result.why}"),
        section("Loss, one way", _one_end_losses(result.losses)),
        section("Each method by itself", _methods(result.losses)),
        section("The law of the whole line", _law(result.law)),
        section("Readings", _readings(result.readings)),
        section("Remarks", items(result.remarks)),
        section("Cautions", items(result.cautions)),
        workings_view(result.workings) if explain else [],
    ])  # fmt: skip


def _title(result: OneEndResult) -> str:
    length = "" if result.length_m is None else f", {metres(result.length_m)}"
    kind = "" if result.line is None else f" of {result.line}"
    return f"{result.tag}{kind}{length}: one end in hand"


def _one_end_losses(found: tuple[OneEndLoss, ...]) -> list[str]:
    known = any(x.catalogue_db is not None for x in found)
    heads = ("", "loss (95 %)", "by hand", "arrives", *(("should lose", "times that") if known else ()))
    table = Table(heads, "rddr" + ("dd" if known else ""))
    for x in found:
        hand = "" if x.by_hand_db is None else f"{plain(x.by_hand_db, 2)} dB"
        cells = [frequency(x.frequency_hz), _interval(x), hand, percent(x.delivered_fraction)]
        table.add(*cells, *(_against(x) if known else ()))
    return table.lines()


def _interval(x: OneEndLoss) -> str:
    return interval(x.loss_db, x.loss_db_low, x.loss_db_high)


def _against(x: OneEndLoss) -> tuple[str, str]:
    if x.catalogue_db is None or x.ratio is None or x.ratio_low is None or x.ratio_high is None:
        return "", ""
    return f"{plain(x.catalogue_db, 2)} dB", interval(x.ratio, x.ratio_low, x.ratio_high, "")


def _methods(found: tuple[OneEndLoss, ...]) -> list[str]:
    if all(len(x.methods) < 2 for x in found):
        return []
    table = Table(("", "", "by itself (95 %)", "by hand"), "rldd")
    for x in found:
        for m in x.methods:
            hand = "" if m.by_hand_db is None else f"{plain(m.by_hand_db, 2)} dB"
            table.add(frequency(x.frequency_hz), m.method, _method(m), hand)
    return table.lines()


def _method(m: MethodLoss) -> str:
    if m.loss_db is not None and m.loss_db_low is not None and m.loss_db_high is not None:
        return interval(m.loss_db, m.loss_db_low, m.loss_db_high)
    if m.loss_db_high is not None:
        return f"{plain(m.loss_db_high, 1)} dB at most"
    return "cannot tell" if m.loss_db_low is None else f"{plain(m.loss_db_low, 1)} dB at least"


def _law(law: OneEndLaw | None) -> list[str]:
    if law is None:
        return []
    k1 = f"{law.k1_db:.3g} dB ({law.k1_db_low:.3g} to {law.k1_db_high:.3g})"
    k2 = f"{law.k2_db:.2g} dB ({law.k2_db_low:.2g} to {law.k2_db_high:.2g})"
    return [f"  √f part, at 1 MHz  {k1}", f"  f part, at 1 MHz   {k2}"]


def _readings(found: tuple[OneEndCheck, ...]) -> list[str]:
    table = Table(("", "", "", "", "read", "expected (95 %)", "wrong"), "rlrlddr")
    for c in found:
        table.add(
            f"row {c.row}", c.far_end, frequency(c.frequency_hz), words.NAME[c.quantity],
            words.read(c), words.expected(c), chance(c.p_wrong) if c.checked else "",
        )  # fmt: skip
        if c.p_wrong > words.DOUBT:
            table.under(c.why)
    return table.lines()
