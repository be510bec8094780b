"""Made-up answers of choosing and sharing; every figure is invented."""

from __future__ import annotations

from linewright.core.nouns.choice import Bought, Choice, ChosenBand, Fed, FedLoss, LongestRun, Option, Shared, Stretch

BANDS_HZ = (3.65e6, 7.1e6, 14.2e6, 28.5e6, 50.2e6, 145e6, 432e6, 1296e6)
NAMES = ("RG-58C/U", "RG-8X", "RG-213/U", "10 mm foam", "13 mm foam", "1/2 inch corrugated", "7/8 inch corrugated")


def _lost(middle_db):
    return [FedLoss(f, middle_db * s, 0.9 * middle_db * s, 1.1 * middle_db * s, 1.06 * middle_db * s)
            for f, s in ((14.2e6, 0.4), (145e6, 1.0))]  # fmt: skip


def made_shared(runs=5, *, long_names=False, gap_db=0.0):
    """Return a sharing-out with a joined run, a bought section, a short one and one not fed at all, in turn."""
    tail = " on the far side of the harbour behind the old boat shed" if long_names else ""
    fed = []
    for i in range(runs):
        kind, route, name = i % 5, 12.0 + 7.5 * i, f"run {i + 1}{tail}"
        loss = tuple(_lost(0.4 + 0.3 * i))
        if kind == 0:
            fed.append(Fed(name, route, (f"blue {i}",), None, 0, 3.2, 0.0, loss, ""))
        elif kind == 1:
            fed.append(Fed(name, route, (f"grey {i}", f"short tail {i}"), None, 1, 0.5, 0.0, loss, ""))
        elif kind == 2:
            bought = Bought("RG-213/U", route - 10.0, 2.1 * route)
            fed.append(Fed(name, route, (f"old {i}",), bought, 1, 0.0, 0.0, loss, ""))
        elif kind == 3:
            fed.append(Fed(name, route, (f"long {i}",), None, 0, 0.0, 9.0, loss, ""))
        else:
            fed.append(Fed(name, route, (), None, 0, 0.0, route, (), ""))
    paid = sum(f.bought.price for f in fed if f.bought)
    return Shared(tuple(fed), ("stub", "tv drop"), 3.21, gap_db, paid, "EUR")


def made_lengths(shared):
    """Return the length of every piece that is used; the first of two joined pieces is the longer."""
    out = {}
    for fed in shared.fed:
        bought = fed.bought.length_m if fed.bought else 0.0
        total = fed.route_m + fed.spare_m - fed.short_m - bought
        for tag, part in zip(fed.pieces, (0.7, 0.3) if len(fed.pieces) == 2 else (1.0,), strict=False):
            out[tag] = part * total
    return out


def _option(name, price, loss_db, p_meets, bands=BANDS_HZ):
    stretches = tuple(Stretch(part, 20.0, price) for part in name.split(" + "))
    each = tuple(
        ChosenBand(f, loss_db, 0.9 * loss_db, 1.1 * loss_db, 1.07 * loss_db, 1.0, p_meets, 80.0, loss_db) for f in bands
    )
    meets = p_meets >= 0.5
    return Option(name, stretches, price, loss_db, 1.07 * loss_db, loss_db + 0.2, p_meets, each, (), meets)


def made_choice(options=6, bands=8, lines=5, *, long_names=False, reception=True):
    """Return a choice of so many options on a trade-off, so many bands and lines."""
    tail = " with a flexible tail of the softest kind there is" if long_names else ""
    trade = tuple(
        _option(f"{NAMES[i % 7]}{tail} {i}", 20.0 * 1.7**i, 3.2 * 0.72**i, min(1.0, 0.05 + 0.16 * i))
        for i in range(options)
    )
    if not reception:
        trade = tuple(_without_reception(o) for o in trade)
    good = [o for o in trade if o.meets]
    longest = tuple(
        LongestRun(f"{NAMES[k % 7]}{tail}", f, 1.0, m, 0.9 * m, 1.12 * m)
        for k in range(lines)
        for f in BANDS_HZ[:bands]
        for m in [(20.0 + 14.0 * k) * (145e6 / f) ** 0.5]
    )
    sure = [o for o in good if o.p_meets >= 0.9]
    now = _option("as it is", 0.0, 2.6, 0.1)
    return Choice(
        "vhf beam", "EUR", 28.0, 2.0, 100.0, now, trade, good[0] if good else None, sure[0] if sure else None,
        () if good else ("144 MHz: over by 0.4 dB",), (), (), (), longest, (), (), (),
    )  # fmt: skip


def _without_reception(option):
    from dataclasses import replace

    return replace(option, reception_loss_db=None)
