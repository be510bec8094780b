"""What every test shares: how hard the property tests look, a browser, a database server."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from browsing import CHROMIUM, FLAGS

# Everyday: the same examples each time, so a failure is the change's and not the day's. No deadline: a busy machine
# is not a bug, and times are measured by the benchmarks.
settings.register_profile("everyday", derandomize=True, deadline=None, max_examples=50)
# Thorough: other examples each time, and many; for an idle hour and before a release.
settings.register_profile(
    "thorough", deadline=None, max_examples=2000, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
#: How long a page may take to show what a test waits for. It only ends a wait for what will never come.
PATIENCE_MS = 300_000
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "everyday"))


@pytest.fixture(autouse=True, scope="session")
def _no_ledger_of_the_persons_own(tmp_path_factory):
    """Keep every test, and every command a test starts, away from the ledger and the cache of whoever runs them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LINEWRIGHT_LEDGER", str(tmp_path_factory.mktemp("ledger") / "ledger.sqlite"))
        patch.setenv("LINEWRIGHT_FIELD_CACHE", "off")
        yield


@pytest.fixture(scope="session")
def browser():
    """Return the one real browser of a worker; skip without one, but fail where CI is set."""
    if not Path(CHROMIUM).exists():
        words = "chromium is not installed: tools/system.sh installs it"
        pytest.fail(words) if os.environ.get("CI") else pytest.skip(words)
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as maker:
        found = maker.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield Patient(found)
        found.close()


class Patient:
    """A browser whose pages wait for what a test waits for, however busy the machine is."""

    def __init__(self, browser):
        self._browser = browser

    def new_context(self, **how):
        """Return a context of that patience."""
        context = self._browser.new_context(**how)
        context.set_default_timeout(PATIENCE_MS)
        return context


@pytest.fixture(scope="session")
def server():
    """Return the URL of the one PostgreSQL server of a worker."""
    from ledger.server import running

    with running() as url:
        yield url
