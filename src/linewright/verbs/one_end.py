"""The loss of a line whose far end is out of reach."""

from __future__ import annotations

from linewright.core.nouns.one_end import OneEndResult, OneEndTest


def prove_one_end(test: OneEndTest) -> OneEndResult:
    """Prove a line from readings at its near end.

    Parameters
    ----------
    test : OneEndTest
        Readings with the far end open, shorted, on a load of known SWR or on the antenna; and the instrument.

    Returns
    -------
    OneEndResult
        Loss at each frequency with its 95 % interval, what each method says, the law, a verdict where type and length
        are known, and which reading not to believe.

    Raises
    ------
    InputError
        If a reading cannot be one: an SWR below 1, a return loss below 0, a load nothing is known of.

    >>> from linewright.core.nouns.one_end import OneEndReading
    >>> pair = (OneEndReading(1, "open", 144e6, "swr", 7.1), OneEndReading(2, "short", 144e6, "swr", 6.8))
    >>> (loss,) = prove_one_end(OneEndTest(pair)).losses
    >>> 1.1 < loss.loss_db < 1.4, round(loss.by_hand_db, 2)
    (True, 1.26)
    """
    from linewright.inference.one_end.prove import prove_test

    return prove_test(test)
