"""The terminal view of a test with one end in hand: the verdict, the losses, the readings, and what to heed."""

from __future__ import annotations

from linewright.cli.cells import WIDEST, cut
from linewright.cli.layout import bold, items, page, paragraph, section
from linewright.cli.table import Table
from linewright.cli.workings_view import workings_view
from linewright.model.one_end import MethodLoss, OneEndCheck, OneEndLaw, OneEndLoss, OneEndResult
from linewright.report import one_end_words as words
from linewright.units.writing import chance, frequency, interval, metres, percent, plain


def one_end_view(result: OneEndResult, *, explain: bool = False) -> str:
    """Return what a test says, for a terminal, no line wider than 100 columns."""
    return page([
        [bold(cut(_title(result), WIDEST))],
        paragraph(f"{result.verdict}: {result.why}"),
        section("Loss, one way", _losses(result.losses)),
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


def _losses(found: tuple[OneEndLoss, ...]) -> list[str]:
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
