"""The sign of each mark: its shape tells it apart where ink does not."""

from __future__ import annotations

from collections.abc import Mapping

from linewright.report.document import Mark

SIGNS: Mapping[Mark, str] = {"": "", "good": "●", "doubt": "◐", "over": "▲", "unknown": "○"}
