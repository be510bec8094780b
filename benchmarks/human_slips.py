"""What people write down wrongly at a bench, each with its shape. Shares are common practice, no source."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from bench_rig import Read, Rig, power_ratio_db

KINDS = ("misread", "range", "decimal", "digits swapped", "rows swapped", "copied", "wrong piece", "all meters alike")
"""Codes as in the contract's list of causes; ``range`` is a factor of two, two and a half, five or ten."""
SHARES = (0.26, 0.18, 0.1, 0.1, 0.1, 0.1, 0.08, 0.08)
NEGLIGIBLE_DB = 0.02


def slip_some(rig: Rig, reads: list[Read], rng: np.random.Generator, share: float) -> None:
    """Spoil readings in place, about ``share`` of them, and note on each what was wrong and by how much."""
    for row in range(len(reads)):
        if rng.random() < share and not reads[row].kind:
            kind = str(rng.choice(KINDS, p=SHARES))
            SPOIL[kind](rig, reads, row, rng)


def _write(rig: Rig, read: Read, value: float, kind: str) -> None:
    """Write a wrong value, unless it is as good as the right one or is already wrong."""
    meter = rig.instruments[read.meter]
    far = power_ratio_db(meter.watts(value), meter.watts(read.honest))
    if not read.kind and abs(far) > NEGLIGIBLE_DB and _on_scale(rig, read, value):
        read.written, read.kind, read.slip_db = value, kind, far


def _on_scale(rig: Rig, read: Read, value: float) -> bool:
    meter = rig.instruments[read.meter]
    if meter.scale == "card":
        return meter.card[0][0] <= value <= meter.card[-1][0]
    return meter.scale == "dBm" or value >= 0


def _misread(rig: Rig, reads: list[Read], row: int, rng: np.random.Generator) -> None:
    """Count one major mark too many, or look from the side."""
    read = reads[row]
    step = rig.instruments[read.meter].division
    if rng.random() < 0.6:
        value = read.honest + float(rng.choice([-1, 1])) * step * int(rng.choice([2, 5, 10]))
    else:
        value = read.honest * (1 + 0.25 * float(rng.standard_t(3)))
    _write(rig, read, round(round(value / step) * step, 6), "misread")


def _range(rig: Rig, reads: list[Read], row: int, rng: np.random.Generator) -> None:
    """Read the scale of another range."""
    read = reads[row]
    factor = float(rng.choice([2, 0.5, 2.5, 0.4, 5, 0.2, 10, 0.1], p=[0.3, 0.3, 0.1, 0.1, 0.05, 0.05, 0.05, 0.05]))
    if rig.instruments[read.meter].scale in ("dBm", "card"):
        _misread(rig, reads, row, rng)
    else:
        _write(rig, read, round(read.honest * factor, 6), "range")


def _decimal(rig: Rig, reads: list[Read], row: int, rng: np.random.Generator) -> None:
    read = reads[row]
    _write(rig, read, round(read.honest * float(rng.choice([10, 0.1])), 6), "decimal")


def _digits(rig: Rig, reads: list[Read], row: int, rng: np.random.Generator) -> None:
    read = reads[row]
    text = f"{read.honest:.6g}"
    places = [i for i, c in enumerate(text[:-1]) if c.isdigit()]
    pairs = [(i, j) for i in places for j in (i + 1, i + 2) if j < len(text) and text[j].isdigit()]
    pairs = [(i, j) for i, j in pairs if text[i] != text[j] and (j == i + 1 or text[i + 1] == ".")]
    if pairs:
        i, j = pairs[int(rng.integers(len(pairs)))]
        swapped = list(text)
        swapped[i], swapped[j] = swapped[j], swapped[i]
        _write(rig, read, float("".join(swapped)), "digits swapped")


def _rows(rig: Rig, reads: list[Read], row: int, rng: np.random.Generator) -> None:
    del rng
    if row + 1 < len(reads) and reads[row].meter == reads[row + 1].meter and not reads[row + 1].kind:
        one, two = reads[row].honest, reads[row + 1].honest
        _write(rig, reads[row], two, "rows swapped")
        _write(rig, reads[row + 1], one, "rows swapped")


def _copied(rig: Rig, reads: list[Read], row: int, rng: np.random.Generator) -> None:
    del rng
    if row and reads[row].meter == reads[row - 1].meter:
        _write(rig, reads[row], reads[row - 1].written, "copied")


def _other_path(reads: list[Read], row: int, rng: np.random.Generator) -> tuple[str, ...] | None:
    here = reads[row]
    others = sorted({r.path for r in reads} - {here.path})
    return others[int(rng.integers(len(others)))] if others else None


def _piece(rig: Rig, reads: list[Read], row: int, rng: np.random.Generator) -> None:
    read, path = reads[row], _other_path(reads, row, rng)
    if path is not None:
        wrong = rig.again(int(rng.integers(2**31))).read(read.meter, read.frequency_hz, path)
        _write(rig, read, wrong.honest, "wrong piece")


def _alike(rig: Rig, reads: list[Read], row: int, rng: np.random.Generator) -> None:
    """All meters read one path on one band with the same thing wrong: half the power, or another piece in line."""
    here = reads[row]
    same = [r for r in reads if (r.path, r.frequency_hz) == (here.path, here.frequency_hz)]
    path = _other_path(reads, row, rng) if rng.random() < 0.5 else None
    factor = float(rng.choice([0.5, 0.25, 2.0], p=[0.6, 0.2, 0.2]))
    for read in same:
        meter = rig.instruments[read.meter]
        if path is not None:
            value = rig.again(int(rng.integers(2**31))).read(read.meter, read.frequency_hz, path).honest
        else:
            value = meter.rounded(meter.watts(read.honest) * factor)
        _write(rig, read, value, "all meters alike")


SPOIL: dict[str, Callable[[Rig, list[Read], int, np.random.Generator], None]] = {
    "misread": _misread,
    "range": _range,
    "decimal": _decimal,
    "digits swapped": _digits,
    "rows swapped": _rows,
    "copied": _copied,
    "wrong piece": _piece,
    "all meters alike": _alike,
}
