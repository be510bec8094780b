"""Progress speaks only when the work is long and somebody watches, and leaves a clean line."""

from __future__ import annotations

import io

from linewright.cli.progress import Progress, progress_line


class Screen(io.StringIO):
    def __init__(self, watched):
        super().__init__()
        self._watched = watched

    def isatty(self):
        return self._watched


def _worked(watched, seconds, step=0.05):
    now = [0.0]
    screen = Screen(watched)
    with Progress(screen, lambda: now[0]) as progress:
        for i in range(int(seconds / step)):
            now[0] = i * step
            progress(i * step / seconds, "weighing readings")
    return screen.getvalue()


def test_short_work_says_nothing():
    assert _worked(True, 0.9) == ""
    assert _worked(False, 0.9) == ""


def test_long_work_draws_a_bar_and_wipes_it():
    shown = _worked(True, 5.0)
    assert "weighing readings" in shown
    assert "s left" in shown
    assert shown.endswith("\r")
    assert "\n" not in shown
    assert shown.split("\r")[-2].strip() == ""


def test_where_nobody_watches_nothing_is_said():
    assert _worked(False, 20.0) == ""


def test_the_guess_of_the_time_left_is_what_the_share_says():
    assert "about 9 s left" in progress_line(0.25, "x", 3.0)
    assert "about 5 min left" in progress_line(0.5, "x", 300.0)
    assert "left" not in progress_line(0.0, "x", 3.0)


def test_the_bar_is_as_long_as_the_share_done():
    bars = [progress_line(share / 8, "x", 3.0).split(" ")[0] for share in range(9)]
    assert [bar.count("#") for bar in bars] == [3 * i for i in range(9)]
    assert {len(bar) for bar in bars} == {24}


def test_a_long_step_name_stays_on_its_line():
    assert len(progress_line(0.5, "w" * 300, 3.0)) < 100
