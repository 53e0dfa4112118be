"""A held loop is named while it is held, and a quiet one never."""

from __future__ import annotations

import asyncio
import selectors
import socket
import threading
import time
from pathlib import Path

import pytest

from benchd.io import loop_watch
from benchd.io.loop_watch import HeldTold, LoopWatch
from tests.waiting import until


class Named:
    """What the watch said, and when."""

    def __init__(self) -> None:
        self.said: list[tuple[float, str, str]] = []
        self.came = threading.Event()
        self.stood_s: list[float] = []
        self.is_over = threading.Event()

    def over(self, time_s: float) -> None:
        self.stood_s.append(time_s)
        self.is_over.set()

    def __call__(self, where: str, stack: str) -> None:
        self.said.append((time.monotonic(), where, stack))
        self.came.set()


def hold_the_loop(named: Named) -> None:
    """Hold it until it is named."""
    assert named.came.wait(10.0)


@pytest.mark.slow
async def test_how_long_the_loop_stood_is_told_when_it_comes_round() -> None:
    named = Named()
    watch = LoopWatch(named, named.over)
    watch.start()
    began_s = time.monotonic()
    assert not named.is_over.wait(loop_watch.STOOD_S + 0.2)  # which holds the loop
    await until(named.is_over.is_set)
    watch.end()
    assert loop_watch.STOOD_S < named.stood_s[0] <= time.monotonic() - began_s


@pytest.mark.slow
async def test_what_holds_the_loop_is_named_once_while_it_holds_it() -> None:
    named = Named()
    watch = LoopWatch(named, named.over)
    watch.start()
    hold_the_loop(named)
    await asyncio.sleep(0)
    named.came.clear()
    hold_the_loop(named)
    watch.end()
    assert len(named.said) == 2
    for _, _, stack in named.said:
        assert "in hold_the_loop" in stack
        assert "test_what_holds_the_loop" in stack


async def test_a_loop_that_waits_for_a_processor_is_not_blamed() -> None:
    named = Named()
    watch = LoopWatch(named, named.over)
    waits = selectors.SelectSelector()
    ours, theirs = socket.socketpair()
    waits.register(theirs, selectors.EVENT_READ)
    # A thread that waits in a selector stands for a loop that was not let run.
    waiting = threading.Thread(target=waits.select)
    waiting.start()
    watch._loop_thread = waiting.ident or 0
    watch.start()
    hold_the_loop(named)
    watch.end()
    with ours, theirs:
        ours.send(b"x")
        waiting.join(10.0)
    assert named.said[0][1:] == ("", "")


@pytest.mark.slow
async def test_a_loop_that_comes_round_is_not_named(monkeypatch: pytest.MonkeyPatch) -> None:
    # On a busy machine even an idle loop may answer late; that it answers is what counts here.
    monkeypatch.setattr(loop_watch, "LATE_S", 30.0)
    named = Named()
    watch = LoopWatch(named, named.over)
    watch.start()
    heard = 0

    def answered() -> bool:  # The watch knocks; answering is all that the loop has to do.
        nonlocal heard
        heard += watch._heard.is_set()
        return heard >= 5

    await until(answered)
    watch.end()
    watch._thread.join(10.0)
    assert not watch._thread.is_alive()
    assert named.said == []


async def test_a_watch_ends_with_its_loop() -> None:
    named = Named()
    watch = LoopWatch(named, named.over)
    watch._loop = closed = asyncio.new_event_loop()
    closed.close()
    watch.start()
    watch._thread.join(10.0)
    assert not watch._thread.is_alive()


def test_a_machine_that_is_busy_all_the_time_is_told_of_once(tmp_path: Path) -> None:
    said: list[str] = []
    told = HeldTold(tmp_path, said.append)
    for _ in range(30):
        told("", "")
    told("slow.py:3 think", "a stack")
    assert ["too busy" in said[0], "at slow.py:3 think" in said[1], len(said)] == [True, True, 2]
    (kept,) = tmp_path.iterdir()
    assert kept.read_text() == "a stack"
