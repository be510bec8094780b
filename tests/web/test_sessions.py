"""Who is let in, who is remembered, who waits: with the time as an argument."""

from __future__ import annotations

from linewright.web.sessions import FADE_S, IDLE_S, MAX_ADMITTED, MAX_AGE_S, MAX_VISITORS, Sessions, Settings, Tries

PHRASE = "amber cove reed oak wren"


def inside(sessions: Sessions, number: int = 0) -> str:
    return sessions.admit("", PHRASE, f"10.0.0.{number}", 0.0).session


def test_a_cookie_of_another_start_or_made_up_is_not_ours():
    sessions, other = Sessions(PHRASE), Sessions(PHRASE)
    session, fresh = sessions.of(None)
    assert fresh
    assert sessions.of(session) == (session, False)
    for cookie in (other.of(None)[0], f"{session}x", "", ".", "é.é", session.replace(".", "")):
        assert sessions.of(cookie)[1]


def test_a_stranger_costs_no_memory():
    sessions = Sessions(PHRASE)
    for _ in range(3):
        session, _ = sessions.of(None)
        assert not sessions.admitted(session, 0.0)
    assert not sessions._admitted


def test_of_more_than_are_remembered_the_one_longest_away_is_forgotten():
    sessions = Sessions(PHRASE)
    first, second = inside(sessions), inside(sessions)
    for _ in range(MAX_ADMITTED - 2):
        inside(sessions)
    assert sessions.admitted(first, 0.0)
    inside(sessions)
    assert sessions.admitted(first, 0.0)
    assert not sessions.admitted(second, 0.0)


def waits(times: int, every_s: float) -> list[float]:
    """Return how long a visitor waits after each of some wrong phrases."""
    tries, at_s, found = Tries(), 0.0, []
    for _ in range(times):
        tries.add("a", at_s)
        found.append(tries.wait_s("a", at_s))
        at_s += max(every_s, found[-1])
    return found


def test_delays_double_up_to_five_minutes():
    assert waits(16, 0.0)[:9] == [0, 0, 0, 0, 1, 2, 4, 8, 16]
    assert max(waits(60, 0.0)) == 300


def test_nobody_tries_more_often_than_thirteen_times_an_hour_for_long():
    tries, at_s, said = Tries(), 0.0, []
    while at_s < 24 * 3600:
        tries.add("a", at_s)
        said.append(at_s)
        at_s += max(tries.wait_s("a", at_s), 0.1)
    assert sum(at > 3600 for at in said) <= 13 * 23


def test_wrong_tries_fade():
    tries = Tries()
    for _ in range(5):
        tries.add("a", 0.0)
    assert tries.count("a", 0.0) == 5
    assert tries.count("a", FADE_S) == 4
    assert tries.count("a", 5 * FADE_S) == 0
    assert tries.wait_s("a", 0.5) == 0.5
    assert tries.wait_s("a", 1.0) == 0
    tries.add("a", 3 * FADE_S)
    assert tries.wait_s("a", 3 * FADE_S) == 0


def test_while_one_waits_the_right_phrase_is_not_looked_at_and_nothing_is_counted():
    sessions = Sessions(PHRASE)
    for _ in range(5):
        sessions.admit("", "guess", "a", 0.0)
    assert sessions.admit("", PHRASE, "a", 0.4).wait_s == 0.6
    assert sessions.admit("", "guess", "a", 0.9).wait_s > 0
    assert sessions.admit("", PHRASE, "b", 0.4).session
    assert sessions.admit("", PHRASE, "a", 1.0).session
    assert sessions.wait_s("a", 1.0) == 0


def test_what_is_remembered_of_visitors_is_bounded_and_the_silent_go_first():
    tries = Tries()
    for number in range(MAX_VISITORS + 1):
        tries.add(f"v{number}", 0.0)
    assert tries.count("v0", 0.0) == 0
    assert tries.count("v1", 0.0) == 1


def test_a_device_that_is_silent_for_long_is_signed_out_and_one_that_speaks_is_not():
    sessions = Sessions(PHRASE)
    silent, speaking = inside(sessions), inside(sessions)
    assert sessions.admitted(speaking, IDLE_S)
    assert not sessions.admitted(silent, IDLE_S + 1)
    assert sessions.admitted(speaking, IDLE_S + 1)
    assert list(sessions.devices(IDLE_S + 1)) == [sessions.device_of(speaking)]
    assert not sessions.devices(3 * IDLE_S)


def test_after_a_month_the_busiest_device_says_the_phrase_again():
    sessions = Sessions(PHRASE)
    busy = inside(sessions)
    at_s = 0.0
    while at_s + IDLE_S < MAX_AGE_S:
        at_s += IDLE_S
        assert sessions.admitted(busy, at_s)
    assert not sessions.admitted(busy, MAX_AGE_S + 1)


def test_a_device_signed_out_is_outside_and_no_other():
    sessions = Sessions(PHRASE)
    first, second = inside(sessions), inside(sessions)
    sessions.sign_out(sessions.device_of(first))
    assert not sessions.admitted(first, 0.0)
    assert sessions.admitted(second, 0.0)


def test_the_name_of_a_device_signs_nobody_in():
    sessions = Sessions(PHRASE)
    assert not sessions.admitted(sessions.device_of(inside(sessions)), 0.0)


def test_the_key_of_the_picture_lets_in_and_no_key_is_no_key():
    assert Sessions(PHRASE, "k" * 22).admit("", "k" * 22, "a", 0.0).session
    assert not Sessions(PHRASE, "k" * 22).admit("", "k" * 21, "a", 0.0).session
    assert not Sessions(PHRASE).admit("", "", "a", 0.0).session


def test_two_ledgers_or_two_ports_have_cookies_of_their_own():
    names = {Settings(ledger, port).cookie for ledger in ("a.sqlite", "b.sqlite") for port in (8731, 8732)}
    assert len(names) == 4
