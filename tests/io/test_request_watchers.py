"""Watchers of the daemon's socket, who may connect, and one daemon for a bench."""

from __future__ import annotations

import os
import socket
import stat
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest

from benchd.io import request_socket
from benchd.io.request_socket import UNSENT_BYTES_MAX, DaemonRunning, serve
from tests.io.socket_rig import SENTINEL, SENTINEL_ANSWER, Peer, Rig, Sums, ask


@pytest.fixture
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a path short enough for a socket."""
    return tmp_path_factory.mktemp("s")


@pytest.fixture
async def rig(folder: Path) -> AsyncIterator[Rig]:
    made = Rig(folder)
    await made.start()
    yield made
    await made.stop()


# Watchers.


async def following(rig: Rig, *topics: str) -> Peer:
    peer = await rig.peer()
    peer.say(ask("follow", topics=list(topics)))
    assert (await peer.hear())["result"] is True
    return peer


async def test_news_go_to_those_who_follow_the_topic(rig: Rig) -> None:
    everything = await following(rig)
    trips = await following(rig, "trip", "weight")
    nothing = await rig.peer()
    rig.server.publish("status", b'{"n":1}')
    rig.server.publish("trip", b'{"n":2}')
    rig.server.publish("portion", b"[3]")
    told = [await everything.hear() for _ in range(3)]
    assert told == [
        {"jsonrpc": "2.0", "method": "status", "params": {"n": 1}},
        {"jsonrpc": "2.0", "method": "trip", "params": {"n": 2}},
        {"jsonrpc": "2.0", "method": "portion", "params": [3]},
    ]
    assert await trips.hear() == told[1]
    for peer in (trips, nothing):
        peer.say(SENTINEL)
        assert await peer.hear() == SENTINEL_ANSWER


async def test_news_published_before_an_answer_arrive_before_it(rig: Rig) -> None:
    peer = await following(rig)
    rig.server.publish("trip", b"1")
    peer.say(SENTINEL)
    assert (await peer.hear())["method"] == "trip"
    assert await peer.hear() == SENTINEL_ANSWER


async def test_a_late_follower_gets_the_last_that_is_kept(rig: Rig) -> None:
    for n in (b"1", b"2"):
        rig.server.publish("status", n, keep=True)
        rig.server.publish("trip", n)
    rig.server.send_news()
    everything, trips = await following(rig), await following(rig, "trip")
    assert (await everything.hear())["params"] == 2
    for peer in (everything, trips):
        peer.say(SENTINEL)
        assert await peer.hear() == SENTINEL_ANSWER


@pytest.mark.parametrize("params", [{"topics": "status"}, {"topics": [1]}, [1], {"topics": None}])
async def test_topics_are_a_list_of_words(params: Any, rig: Rig) -> None:
    peer = await rig.peer()
    peer.say(ask("follow") | {"params": params})
    assert (await peer.hear())["error"]["code"] == -32602
    rig.server.publish("status", b"1")
    rig.server.send_news()
    peer.say(ask("follow") | {"params": ["status"]})
    assert (await peer.hear())["result"] is True
    rig.server.publish("status", b"2")
    assert (await peer.hear())["params"] == 2


async def test_a_watcher_that_never_reads_is_dropped_and_holds_up_nobody(rig: Rig) -> None:
    deaf, good = await following(rig), await following(rig)
    deaf.writer.transport.pause_reading()  # type: ignore[attr-defined]
    payload = b'"' + b"x" * 10_000 + b'"'
    published = 0
    while not rig.server.dropped:
        rig.server.publish("status", payload)
        rig.server.send_news()
        published += 1
        assert published * len(payload) < 3 * UNSENT_BYTES_MAX, "nobody was dropped"
        assert len((await good.hear())["params"]) == 10_000
    await rig.until(lambda: rig.handler.gone == [1])
    assert rig.server.client_count == 1
    good.say(SENTINEL)
    assert await good.hear() == SENTINEL_ANSWER


# One daemon for a bench.


async def test_a_second_daemon_is_refused_and_told_by_whom(rig: Rig) -> None:
    before = os.listdir("/proc/self/fd")
    for lock_is_there in (True, False):
        if not lock_is_there:
            os.unlink(f"{rig.path}.lock")
        with pytest.raises(DaemonRunning) as caught:
            await serve(rig.path, Sums(), bench="maize")
        sentence = (
            f"A daemon for bench maize is already running (process {os.getpid()}): use that one, "
            "or end it first."
        )
        assert str(caught.value) == sentence
    await rig.until(lambda: len(rig.handler.gone) >= 2)
    assert len(os.listdir("/proc/self/fd")) <= len(before)


async def test_a_daemon_that_has_just_begun_is_told_without_its_number(folder: Path) -> None:
    rig = Rig(folder)
    await rig.start()
    os.unlink(rig.path)
    sentence = r"A daemon for bench maize is already running: use that one, or end it first\.$"
    with pytest.raises(DaemonRunning, match=sentence):
        await serve(rig.path, Sums(), bench="maize")
    await rig.stop()


async def test_the_socket_of_a_dead_daemon_is_replaced(folder: Path) -> None:
    path = str(folder / "s")
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(path)
        dead.listen()
    assert stat.S_ISSOCK(os.stat(path).st_mode)
    assert request_socket.peer_process(path) is None
    rig = Rig(folder)
    await rig.start()
    peer = await rig.peer()
    peer.say(SENTINEL)
    assert await peer.hear() == SENTINEL_ANSWER
    assert request_socket.peer_process(path) == os.getpid()
    await rig.stop()


async def test_only_the_same_user_may_connect(folder: Path) -> None:
    rig = Rig(folder)
    await rig.start()
    assert stat.S_IMODE(os.stat(rig.path).st_mode) == 0o600
    await rig.stop()


async def test_closing_ends_every_client_and_frees_the_path(folder: Path) -> None:
    rig = Rig(folder)
    for turn in (1, 2):
        server = await rig.start()
        peer = await following(rig)
        server.publish("status", b"7")
        await server.close()
        await server.close()
        assert (await peer.hear())["params"] == 7
        assert await peer.closed()
        await rig.until(lambda turn=turn: len(rig.handler.gone) == turn)
        assert not os.path.exists(rig.path)


async def test_a_path_that_cannot_be_used_leaves_nothing_open(folder: Path) -> None:
    before = len(os.listdir("/proc/self/fd"))
    with pytest.raises(FileNotFoundError):
        await serve(str(folder / "no" / "folder" / "s"), Sums())
    with pytest.raises(OSError, match="too long"):
        await serve(str(folder / ("x" * 120)), Sums())
    assert len(os.listdir("/proc/self/fd")) <= before
