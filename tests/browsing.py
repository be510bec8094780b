"""The browser the tests use, and how it is started."""

from __future__ import annotations

import shutil

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
#: No sandbox, since tests may run as root; nothing that speaks to the outside.
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
