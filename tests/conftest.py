"""What every test shares: how hard the property tests look, a browser, a database server."""

from __future__ import annotations

import gc
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from browsing import CHROMIUM, FLAGS, PATIENCE_MS, Patient, whole_first

# Everyday: the same examples each time, so a failure is the change's and not the day's. No deadline: a busy machine
# is not a bug, and times are measured by the benchmarks.
settings.register_profile("everyday", derandomize=True, deadline=None, max_examples=50)
# Thorough: other examples each time, and many; for an idle hour and before a release.
settings.register_profile(
    "thorough", deadline=None, max_examples=2000, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "everyday"))


def pytest_xdist_auto_num_workers():
    """Start half as many workers again as there are cores: a test in the browser waits about a third of its time."""
    return max(2, round(1.5 * (os.cpu_count() or 1)))


@pytest.hookimpl(wrapper=True)
def pytest_collection():
    """Look for no garbage among what is collected: it stays to the end, and looking costs a third of collecting."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


@pytest.fixture(autouse=True, scope="session")
def _no_ledger_of_the_persons_own(tmp_path_factory):
    """Keep every test, and every command a test starts, away from the ledger and the cache of whoever runs them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LINEWRIGHT_LEDGER", str(tmp_path_factory.mktemp("ledger") / "ledger.sqlite"))
        patch.setenv("LINEWRIGHT_FIELD_CACHE", "off")
        yield


@pytest.fixture(scope="session")
def browser(request):
    """Return the one real browser of a worker; skip without one, but fail where CI is set."""
    if not Path(CHROMIUM).exists():
        words = "chromium is not installed: tools/system.sh installs it"
        pytest.fail(words) if os.environ.get("CI") else pytest.skip(words)
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as maker, pytest.MonkeyPatch.context() as patch:
        whole_first(patch)
        found = maker.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield Patient(found, lambda: request.session.testsfailed)
        found.close()


@pytest.fixture(scope="session")
def server():
    """Return the URL of the one PostgreSQL server of a worker."""
    from ledger.server import running

    with running() as url:
        yield url
