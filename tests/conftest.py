"""What every test shares: how hard the property tests look."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

# Everyday: the same examples each time, so a failure is the change's and not the day's. No deadline: a busy machine
# is not a bug, and times are measured by the benchmarks.
settings.register_profile("everyday", derandomize=True, deadline=None, max_examples=50)
# Thorough: other examples each time, and many; for an idle hour and before a release.
settings.register_profile(
    "thorough", deadline=None, max_examples=2000, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "everyday"))
