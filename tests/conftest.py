"""What every test shares: how hard the property tests look."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from _pytest.runner import runtestprotocol
from hypothesis import HealthCheck, settings

from browsing import CHROMIUM, FLAGS

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


@pytest.fixture(scope="session")
def browser():
    """Return the one real browser of a worker; skip without one, but fail where CI is set."""
    if not Path(CHROMIUM).exists():
        words = "chromium is not installed: tools/system.sh installs it"
        pytest.fail(words) if os.environ.get("CI") else pytest.skip(words)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as maker:
        found = maker.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield found
        found.close()


def pytest_runtest_protocol(item, nextitem):
    """Give a test in the browser a second try: on a loaded machine a page may be slower than any patience."""
    if "browser" not in item.fixturenames:
        return None
    item.ihook.pytest_runtest_logstart(nodeid=item.nodeid, location=item.location)
    reports = runtestprotocol(item, nextitem=nextitem, log=False)
    if any(report.failed for report in reports):
        item._initrequest()
        reports = runtestprotocol(item, nextitem=nextitem, log=False)
    for report in reports:
        item.ihook.pytest_runtest_logreport(report=report)
    item.ihook.pytest_runtest_logfinish(nodeid=item.nodeid, location=item.location)
    return True
