"""What every test shares: how hard the property tests look."""

from __future__ import annotations

import os

import pytest
from hypothesis import HealthCheck, settings

# Everyday: the same examples each time, so a failure is the change's and not the day's. No deadline: a busy machine
# is not a bug, and times are measured by the benchmarks.
settings.register_profile("everyday", derandomize=True, deadline=None, max_examples=50)
# Thorough: other examples each time, and many; for an idle hour and before a release.
settings.register_profile(
    "thorough", deadline=None, max_examples=2000, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "everyday"))


@pytest.fixture(autouse=True, scope="session")
def _no_ledger_of_the_persons_own(tmp_path_factory):
    """Keep every test, and every command a test starts, away from the ledger of whoever runs them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LINEWRIGHT_LEDGER", str(tmp_path_factory.mktemp("ledger") / "ledger.sqlite"))
        yield
