"""An invented result and its sheet, of any size, for tests that need the nouns and not the engine."""

from __future__ import annotations

import numpy as np

from linewright.core.nouns.bench import BenchSheet, Meter, Piece, Reading
from linewright.core.nouns.bench_result import (
    BenchResult,
    ByHand,
    LossFinding,
    MeterFinding,
    PieceFinding,
    Prediction,
    ReadingFinding,
)
from linewright.core.nouns.line import AttenuationLaw, LineType

THIN = LineType("RG-58C/U", 50.0, 0.66, AttenuationLaw(0.0142, 0.00013, spread=0.06, valid_hz=(10e6, 2.4e9)))
BANDS = (14.2e6, 28.5e6, 144.3e6, 432.1e6, 7.1e6, 50.1e6, 21.2e6, 1296e6, 3.6e6, 10.1e6, 18.1e6, 24.9e6)
AMATEUR = tuple(f * 1e6 for f in (1.9, 3.6, 7.1, 10.1, 14.2, 18.1, 21.2, 24.9, 28.5, 50.1, 70.2, 144.3, 432.1, 1296))
METERS = ("desk meter", "pocket meter", "card meter")
LONG = "the long grey one from the old tower with tape at both ends and a doubtful plug"


def made_up_bench(
    pieces: int = 3, bands: int = 4, meters: int = 3, *, long_names: bool = False, seed: int = 7, name: str = ""
) -> tuple[BenchResult, BenchSheet]:
    """Return a result and the sheet it could have come from. Ageing, errors and doubts are drawn from the seed.

    A name given is that of the first piece and of the first meter.
    """
    rng = np.random.default_rng(seed)
    frequencies = sorted(BANDS[:bands])
    tail = " of the club, borrowed in March" if long_names else ""
    names = [f"{m}{tail}" for m in (*METERS, *"defghij")][:meters]
    tags = [f"{LONG} {i}" if long_names else f"blue {i + 7}" for i in range(pieces)]
    if name:
        names[0] = tags[0] = name
    nouns = [
        Piece(tag, float(rng.uniform(3, 25)), THIN if i != 2 else None, stock="drum") for i, tag in enumerate(tags)
    ]
    found, losses, predictions = [], [], []
    for noun in nouns:
        age = float(rng.uniform(0.95, 2.2))
        rel = float(rng.uniform(0.03, 0.12))
        for f in AMATEUR:
            good = noun.length_m * float(THIN.law.db_per_m(f)) + 0.0034 * np.sqrt(f / 1e6)
            loss = age * good
            if f not in frequencies:
                predictions.append(Prediction(noun.tag, f, loss, loss * (1 - 2 * rel), loss * (1 + 2 * rel)))
                continue
            hands = tuple(
                ByHand(m, loss + float(rng.normal(0, 0.12 * loss + 0.05)), 0.05 * loss + 0.06)
                for m in names
                if rng.random() > 0.15
            )
            typed = noun.line is not None
            alone = loss * (1 + float(rng.normal(0, rel)))
            losses.append(
                LossFinding(
                    noun.tag,
                    f,
                    loss,
                    loss * (1 - 1.5 * rel),
                    loss * (1 + 1.5 * rel),
                    10 ** (-loss / 10),
                    good if typed else None,
                    age if typed else None,
                    age * (1 - 1.5 * rel) if typed else None,
                    age * (1 + 1.5 * rel) if typed else None,
                    0.9,
                    0.5,
                    hands,
                    alone,
                    alone * (1 - 2.4 * rel),
                    alone * (1 + 2.4 * rel),
                    loss - alone,
                )
            )
        found.append(
            PieceFinding(
                noun.tag, noun.length_m, 0.0142 * age, 0.00013 * age, age, age * 0.9, age * 1.1, "worn", (), ""
            )
        )
    findings, readings, row = [], [], 1
    for m in names:
        for f in frequencies:
            g = float(np.exp(rng.normal(0, 0.1)))
            trust = str(rng.choice(["good", "good", "doubtful", "none", "unknown"]))
            known = trust != "unknown" and rng.random() > 0.1
            findings.append(MeterFinding(m, f, trust, *((g, g * 0.9, g * 1.1) if known else (None, None, None)), ""))
            for tag in ("", *tags):
                row += 1
                wrong = float(rng.random() > 0.94)
                value = float(rng.uniform(1, 9))
                ask = round(value * (1.4 if wrong else 1.0), 1)
                readings.append(
                    ReadingFinding(
                        row,
                        m,
                        f,
                        tag or "reference",
                        ask,
                        value,
                        value * 0.95,
                        value * 1.06,
                        0.97 * wrong,
                        True,
                        "The other meter says 1.3 dB less." if wrong else "",
                    )
                )
    sheet = BenchSheet(
        "Made up",
        tuple(Meter(m, rated_hz=(1.8e6, 60e6) if i == 0 else None) for i, m in enumerate(names)),
        tuple(nouns),
        tuple(
            Reading(r.row, r.meter, r.frequency_hz, () if r.path == "reference" else (r.path,), r.reading)
            for r in readings
        ),
    )
    parts = (losses, found, readings, findings, predictions)
    return BenchResult("Made up", *(tuple(part) for part in parts), (), ()), sheet
