"""Send the result of a bench session to its listeners as soon as it changes."""

from __future__ import annotations

import threading
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from linewright.core.errors import LinewrightError
from linewright.core.nouns.bench_result import BenchResult
from linewright.core.nouns.ledger import Change
from linewright.present.compose.bench_words import DOUBT
from linewright.web.bench_cache import Judgements
from linewright.web.ledgers import Opened
from linewright.web.live import Live, session_of

EVENT = "verdict"


@dataclass(slots=True)
class Verdicts:
    """Has sessions judged that somebody listens to, one after the other, each anew once it was changed."""

    live: Live
    opened: Opened
    judged: Judgements
    _due: dict[str, None] = field(default_factory=dict)
    _told: dict[str, dict[str, Any]] = field(default_factory=dict)
    _works: bool = False
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def after(self, change: Change) -> None:
        """Have the session of a change judged, if somebody listens to it."""
        session = session_of(change)
        if not session or not self.live.heard(session):
            return
        with self._lock:
            self._due[session] = None
            if self._works:
                return
            self._works = True
        threading.Thread(target=self._work, name="verdicts", daemon=True).start()

    def _work(self) -> None:
        try:
            self._judge_all()
        except BaseException:
            self._works = False
            raise

    def _judge_all(self) -> None:
        while True:
            with self._lock:
                session = next(iter(self._due), None)
                if session is None or self.live.closed:
                    self._works = False
                    return
                del self._due[session]
            with suppress(LinewrightError):  # it cannot be judged as it stands; its page says why
                self._judge(session)

    def _judge(self, session: str) -> None:
        """Tell what a session says, if it is news; what is still worked out is asked for again."""
        found = self.judged.bench(self.opened.ledger(), session)
        if found.pending is not None:
            if found.pending.wanted:
                found.pending.wait()
                with self._lock:
                    self._due[session] = None
            return
        told = verdict(session, found.result)
        if told != self._told.get(session):
            self._told[session] = told
            self.live.tell_here(session, EVENT, told)


def verdict(session: str, result: BenchResult | None) -> dict[str, Any]:
    """Return what a session says, in short: each piece's verdict, the doubted readings, what to read next."""
    if result is None:
        return {"session": session, "pieces": [], "doubted": [], "next": []}
    return {
        "session": session,
        "pieces": [{"piece": p.piece, "verdict": p.verdict} for p in result.pieces],
        "doubted": [r.row for r in result.readings if r.checked and r.p_wrong > DOUBT],
        "next": [
            {"action": n.action, "meter": n.meter, "frequency_hz": n.frequency_hz, "path": n.path, "why": n.why}
            for n in result.next[:1]
        ],
    }
