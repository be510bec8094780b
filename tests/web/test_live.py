"""Changes are told to all who listen, whoever makes them; the streams are bounded and end with the app."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from http.client import HTTPConnection
from urllib.parse import quote, urlencode

import pytest

from linewright.verbs.shelf import add, add_reading, open_ledger, undo
from linewright.web import live as module
from linewright.web.live import Live, of_session
from web.bench_helpers import bench_of
from web.conftest import ran

PATIENCE_S = 300.0
CELLS = {"meter": "desk meter", "frequency": "14.2 MHz", "path": "reference", "reading": "9.4"}


@pytest.fixture
def ledger(tmp_path):
    where = tmp_path / "ledger.sqlite"
    key = bench_of(where)
    with open_ledger(where) as found:
        yield found, key


def heard(events: list[bytes]) -> list[tuple[str, dict]]:
    lines = [e.decode().splitlines() for e in events]
    found = [{k: v for k, _, v in (line.partition(": ") for line in one)} for one in lines]
    return [(e["event"], json.loads(e["data"])) for e in found if "event" in e]


@contextmanager
def listening(address: str, headers: dict[str, str] | None = None, **asked: str) -> Iterator[Iterator[tuple]]:
    """Open the stream for programs, and give its events as they come."""
    line = HTTPConnection(address.removeprefix("http://"), timeout=PATIENCE_S)
    try:
        line.request("GET", f"/api/events?{urlencode(asked)}", headers=headers or {})
        answer = line.getresponse()
        assert answer.status == 200, answer.read()
        yield (found for part in iter(lambda: _part(answer), b"") for found in heard([part]))
    finally:
        line.close()


def _part(answer) -> bytes:
    """Return what stands before the next empty line; nothing at the end."""
    found = b""
    while line := answer.readline():
        found += line
        if line == b"\n":
            break
    return found


async def listened(live: Live, session: str, does, many: int) -> list[tuple[str, dict]]:
    """Return the first events of a session while something is done once the stream has begun."""
    found: list[bytes] = []
    stream = live.events(of_session(session), session)
    async with asyncio.timeout(PATIENCE_S):
        found.append(await anext(stream))
        await asyncio.to_thread(does)
        while len(found) < many:
            found.append(await anext(stream))
    await stream.aclose()
    return heard(found)


def test_a_reading_is_told_whoever_writes_it_and_nothing_of_others(ledger):
    kept, key = ledger

    def work() -> None:
        add(kept, "piece", {"tag": "red 5", "length": "5 m"})
        reading = add_reading(kept, key, CELLS)
        assert reading.number == 1
        from linewright.verbs.shelf import changes

        undo(kept, changes(kept, kind="reading", most=1).changes[0].id)

    told = ran(listened(Live(lambda: kept), key, work, 3))
    assert [name for name, _ in told] == ["hello", "change", "change"]
    assert told[1][1]["after"]["reading"] == "9.4"
    assert told[1][1]["number"] == told[0][1]["number"] + 2
    assert told[2][1]["after"] is None
    assert told[2][1]["undoes"] == told[1][1]["number"]


def test_what_is_in_no_ledger_is_told_to_its_topic_alone(ledger):
    kept, key = ledger
    live = Live(lambda: kept)

    def work() -> None:
        live.tell("another", "hands", {"hands": []})
        live.tell(key, "hands", {"hands": ["B"]})

    told = ran(listened(live, key, work, 2))
    assert told[1] == ("hands", {"hands": ["B"]})


def test_streams_end_when_the_app_does_and_no_more_begin(ledger):
    kept, key = ledger
    live = Live(lambda: kept)

    async def rest() -> list[bytes]:
        stream = live.events(of_session(key), key)
        first = await anext(stream)
        await asyncio.to_thread(live.close)
        return [first, *[e async for e in stream]]

    assert [name for name, _ in heard(ran(asyncio.wait_for(rest(), PATIENCE_S)))] == ["hello"]
    assert live.full
    assert not live._listeners


def test_a_listener_that_falls_behind_is_cut_off_and_others_are_not(ledger, monkeypatch):
    kept, key = ledger
    monkeypatch.setattr(module, "MOST_WAITING", 2)
    live = Live(lambda: kept)

    async def both() -> tuple[int, bool]:
        slow, quick = (live.events(of_session(key), key) for _ in range(2))
        await anext(slow)
        await anext(quick)
        for n in range(4):
            live.tell(key, "hands", {"n": n})
            await anext(quick)
        seen = [e async for e in slow]
        return len(seen), live.full

    seen, full = ran(asyncio.wait_for(both(), PATIENCE_S))
    assert seen <= 2
    assert not full


def test_only_so_many_listen(ledger, monkeypatch):
    kept, key = ledger
    monkeypatch.setattr(module, "MOST_LISTENERS", 1)
    live = Live(lambda: kept)

    async def one() -> tuple[bool, bool]:
        stream = live.events(of_session(key), key)
        await anext(stream)
        full = live.full
        await stream.aclose()
        return full, live.full

    assert ran(asyncio.wait_for(one(), PATIENCE_S)) == (True, False)


def test_a_program_hears_readings_and_what_they_make_of_the_verdicts(site):
    key = bench_of(site.ledger, "To be judged")
    with open_ledger(site.ledger) as kept, listening(site.address, session=key) as told:
        assert next(told)[0] == "hello"
        for path, watts in (("reference", "10.0"), ("blue 7", "8.4"), ("blue 18", "6.2"), ("reference", "10.0")):
            add_reading(kept, key, CELLS | {"path": path, "reading": watts})
        seen, pieces = [], []
        while len([name for name, _ in seen if name == "change"]) < 4 or not pieces:
            seen.append(next(told))
            pieces = seen[-1][1].get("pieces", pieces)
        assert [d["reading"] for name, d in seen if name == "change"] == [1, 2, 3, 4]
        assert {p["piece"] for p in pieces} == {"blue 7", "blue 18"}
        verdicts = {p["verdict"] for p in pieces}
        assert verdicts <= {"good", "worn", "bad", "cannot tell"}


def test_the_stream_of_a_whole_ledger_goes_on_from_the_last_event_seen(site):
    key = bench_of(site.ledger, "Whole")
    with open_ledger(site.ledger) as kept:
        with listening(site.address) as told:
            _, hello = next(told)
        add(kept, "piece", {"tag": "red 5", "length": "5 m"})
        add_reading(kept, key, CELLS)
        with listening(site.address, {"Last-Event-ID": str(hello["number"])}) as told:
            kinds = [d.get("kind") for _, d in (next(told), next(told), next(told))]
    assert kinds == [None, "piece", "reading"]


def test_a_stream_ends_soon_after_its_token_is_revoked(site, monkeypatch):
    from linewright.verbs.tokens import make_token, revoke_token, tokens

    with open_ledger(site.ledger) as kept:
        secret = make_token(kept, "wall screen", "read")
        with listening(site.address, {"Authorization": f"Bearer {secret}"}) as told:
            assert next(told)[0] == "hello"
            monkeypatch.setattr(module, "BEAT_S", 0.0)
            (token,) = [t for t in tokens(kept) if t.name == "wall screen"]
            revoke_token(kept, token.id)
            add(kept, "piece", {"tag": "last heard", "length": "5 m"})
            assert [name for name, _ in told][1:] == []


def test_a_crowded_stream_says_so_as_data(site, monkeypatch):
    monkeypatch.setattr(module, "MOST_OF_ONE", 0)
    line = HTTPConnection(site.address.removeprefix("http://"), timeout=PATIENCE_S)
    line.request("GET", "/api/events")
    answer = line.getresponse()
    assert answer.status == 503
    assert json.loads(answer.read())["schema"] == "linewright/error/1"
    line.close()


def test_the_page_of_a_session_hears_of_a_reading_over_the_wire(site):
    import http.client

    key = bench_of(site.ledger, "Wire")
    host = site.address.removeprefix("http://")
    asked = http.client.HTTPConnection(host, timeout=PATIENCE_S)
    asked.request("GET", f"/bench/live/{quote(key)}")
    answer = asked.getresponse()
    assert (answer.status, answer.getheader("content-type").partition(";")[0]) == (200, "text/event-stream")
    while not answer.readline().startswith(b"data:"):
        continue
    with open_ledger(site.ledger) as kept:  # as the command line does, past the app
        add_reading(kept, key, CELLS)
    while b"event: change" not in answer.readline():
        continue
    assert json.loads(answer.readline().partition(b": ")[2])["after"]["reading"] == "9.4"
    asked.close()


async def first(stream, many: int) -> list[tuple[str, dict]]:
    """Return the first events of a stream, and end it."""
    async with asyncio.timeout(PATIENCE_S):
        found = [await anext(stream) for _ in range(many)]
    await stream.aclose()
    return heard(found)


def test_who_comes_back_is_told_what_was_missed_in_order_and_nothing_twice(ledger):
    kept, key = ledger
    live = Live(lambda: kept)
    ((_, hello),) = ran(first(live.events(of_session(key), key), 1))
    for watts in ("9.1", "9.2", "9.3"):
        add_reading(kept, key, CELLS | {"reading": watts})
    add(kept, "piece", {"tag": "red 5", "length": "5 m"})

    async def again() -> list[tuple[str, dict]]:
        stream = live.events(of_session(key), key, after=hello["number"] + 1)
        told = [await anext(stream) for _ in range(3)]
        await asyncio.to_thread(add_reading, kept, key, CELLS | {"reading": "9.4"})
        return [*heard(told), *await first(stream, 1)]

    told = ran(again())
    assert [name for name, _ in told] == ["hello", "change", "change", "change"]
    assert told[0][1] == {"number": hello["number"] + 4, "missed": 0}
    assert [d["after"]["reading"] for _, d in told[1:]] == ["9.2", "9.3", "9.4"]
    assert [(d["session"], d["reading"]) for _, d in told[1:]] == [(key, 2), (key, 3), (key, 4)]
    live.close()
    live.wait()


@pytest.mark.parametrize("after", [0, 10_000])
def test_who_missed_more_than_is_told_and_who_saw_what_is_gone_are_told_so(ledger, monkeypatch, after):
    kept, _ = ledger
    monkeypatch.setattr(module, "MOST_CHANGES", 2)
    ((name, told),) = ran(first(Live(lambda: kept).events(lambda _: False, after=after), 1))
    assert name == "hello"
    assert told["missed"] > 0


def test_one_visitor_leaves_room_for_others(ledger, monkeypatch):
    kept, _ = ledger
    monkeypatch.setattr(module, "MOST_OF_ONE", 1)
    live = Live(lambda: kept)

    async def one() -> tuple[bool, bool]:
        stream = live.events(lambda _: True, visitor="192.0.2.7")
        await anext(stream)
        found = live.full_for("192.0.2.7"), live.full_for("192.0.2.8")
        await stream.aclose()
        return found

    assert ran(one()) == (True, False)


def test_a_stream_ends_once_its_listener_may_not_listen(ledger, monkeypatch):
    kept, key = ledger
    monkeypatch.setattr(module, "BEAT_S", 0.05)
    asked = iter([True, False])

    async def rest() -> list[bytes]:
        return [told async for told in Live(lambda: kept).events(of_session(key), key, may=lambda: next(asked))]

    assert [name for name, _ in heard(ran(asyncio.wait_for(rest(), PATIENCE_S)))] == ["hello"]


def test_two_servers_of_one_ledger_tell_each_other_what_happens(server):
    """A reading by the ledger itself, and what is in no ledger by the server's own call."""
    with open_ledger(server) as here, open_ledger(server) as there:
        one, two = Live(lambda: here), Live(lambda: there)

        async def both() -> list[list[tuple[str, dict]]]:
            streams = [live.events(lambda c: c.kind == "piece", "spring") for live in (one, two)]
            told = [[await anext(stream)] for stream in streams]
            await asyncio.to_thread(one.tell, "spring", "said", {"words": "Key."})
            for found, stream in zip(told, streams, strict=True):
                found.append(await anext(stream))
            await asyncio.to_thread(add, here, "piece", {"tag": f"red {told[0][0]!r:.60}", "length": "5 m"})
            for found, stream in zip(told, streams, strict=True):
                found.append(await anext(stream))
                await stream.aclose()
            return [heard(found) for found in told]

        mine, theirs = ran(asyncio.wait_for(both(), PATIENCE_S))
        assert [name for name, _ in mine] == [name for name, _ in theirs] == ["hello", "said", "change"]
        assert mine == theirs
        for live in (one, two):
            live.close()
            live.wait()


async def hands_at(stream) -> list[tuple[str, str]]:
    """Return who is where by the next event that tells."""
    while True:
        ((name, told),) = heard([await anext(stream)]) or ((None, None),)
        if name == "hands":
            return sorted((hand["letter"], hand["place"]) for hand in told["hands"])


def test_who_types_where_is_told_at_once_and_forgotten_when_they_leave(ledger):
    kept, key = ledger
    live = Live(lambda: kept)

    async def two() -> list[list[tuple[str, str]]]:
        ann, ben = (live.events(of_session(key), key, who) for who in ("ann", "ben"))
        await anext(ann)
        found = [await hands_at(ann)]
        await anext(ben)
        found += [await hands_at(ben), await hands_at(ann)]
        live.place(key, "ben", "r1")
        live.place(key, "nobody who listens", "r2")
        found.append(await hands_at(ann))
        await ben.aclose()
        found.append(await hands_at(ann))
        await ann.aclose()
        return found

    assert ran(asyncio.wait_for(two(), PATIENCE_S)) == [
        [("A", "")], [("A", ""), ("B", "")], [("A", ""), ("B", "")], [("A", ""), ("B", "r1")], [("A", "")],
    ]  # fmt: skip
    assert not live._hands
    live.close()
    live.wait()


def test_those_at_another_server_are_seen_beside_ones_own(server):
    with open_ledger(server) as here, open_ledger(server) as there:
        one, two = Live(lambda: here), Live(lambda: there)

        async def both() -> list[list[tuple[str, str]]]:
            ann, ben = one.events(of_session("s"), "s", "ann"), two.events(of_session("s"), "s", "ben")
            await anext(ann)
            await anext(ben)
            await hands_at(ben)
            while len(found := await hands_at(ann)) < 2:
                continue
            await asyncio.to_thread(two.place, "s", "ben", "r7")
            told = [found, await hands_at(ann)]
            await ben.aclose()
            told.append(await hands_at(ann))
            await ann.aclose()
            return told

        async def patient() -> list[list[tuple[str, str]]]:
            return await asyncio.wait_for(both(), PATIENCE_S)

        assert ran(patient()) == [[("A", ""), ("B", "")], [("A", ""), ("B", "r7")], [("A", "")]]
        for live in (one, two):
            live.close()
            live.wait()


def test_who_listens_in_many_windows_can_still_look_at_pages(site):
    from linewright.web.guard import AT_ONCE

    with ExitStack() as open_streams:
        mine = HTTPConnection(site.address.removeprefix("http://"), timeout=PATIENCE_S)
        mine.request("GET", "/bench")
        first = mine.getresponse()
        first.read()
        cookie = {"Cookie": first.getheader("set-cookie").partition(";")[0]}
        for _ in range(AT_ONCE + 2):
            open_streams.enter_context(listening(site.address, cookie))
        mine.request("GET", "/bench", headers=cookie)
        assert mine.getresponse().status == 200
        mine.close()
