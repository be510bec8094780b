"""The engine agrees with a general sampler: NUTS on the same model, five benches, its outcome kept in a file.

The reference is made by ``benchmarks/nuts.py --write`` (numpyro's NUTS; M. D. Hoffman and A. Gelman, "The No-U-Turn
Sampler", Journal of Machine Learning Research 15, 2014). Both sides take the priors kept with it.
"""

import json

import pytest

from nuts import KEPT, benches, compare

REFERENCE = json.loads(KEPT.read_text(encoding="utf-8"))
SHEETS = dict(benches(len(REFERENCE)))


@pytest.mark.parametrize("number", sorted(SHEETS))
def test_losses_lie_where_the_sampler_puts_them(number: int) -> None:
    c = compare(SHEETS[number], REFERENCE[str(number)])
    assert c["losses"] == len(REFERENCE[str(number)]["losses"])
    assert c["median"] < 0.35
    assert c["worst"] < 0.7
    assert 0.8 < c["width"] < 1.4


def test_the_sampler_had_settled() -> None:
    rhat = [loss["rhat"] for bench in REFERENCE.values() for loss in bench["losses"].values()]
    assert max(rhat) < 1.1
    assert len(REFERENCE) == 5
