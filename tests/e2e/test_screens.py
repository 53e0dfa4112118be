"""The screens in a real terminal, on the real daemon and the simulated bench."""

from __future__ import annotations

import os
import select
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.bench.screens import Screen, shown_bench, take_control
from tests.e2e.conftest import RealBench, Terminal
from tests.waiting import WAIT_S, between_presses

pytestmark = pytest.mark.slow

RIGHT = b"\x1b[C"


def test_a_key_nudges_and_the_stop_key_stops_on_the_wire(tmp_path: Path) -> None:
    with shown_bench(tmp_path) as (wire, screen, hand):
        take_control(screen)
        screen.press(b"3")
        screen.press(RIGHT)
        move = hand.wait_for("move", lambda move: move["ending"] == "reached")
        assert move["moved_m"] == pytest.approx(0.002, abs=1e-5)
        screen.wait_for(b"Moved +2.00 mm (reached)")
        hand.ask("control")
        hand.news.clear()
        hand.send("jog", distance_m=0.02, speed_m_s=0.002)
        hand.wait_for("status", lambda status: status["state"] == "NUDGING")
        # This terminal watches until the other one's move is over.
        screen.forget()
        refused = b"Control changes hands only at rest"
        for _ in range(10):  # A busy machine may keep a key for too long.
            screen.press(RIGHT)
            if screen.shows(refused, 0.4):
                break
        assert refused in screen.drawn
        wire.stopped.clear()
        screen.press(b" ")
        assert wire.stopped.wait(30)
        move = hand.wait_for("move", lambda move: move["ending"] == "stopped")
        assert 0.002 < move["position_m"] < 0.022
        screen.wait_for(b"The board has answered")
        hand.news.clear()
        take_control(screen)
        handed = hand.wait_for("control", lambda _: True)
        assert handed["before"] is not None
        assert handed["client"] != handed["before"]
        lost = hand.wait_for("message", lambda _: True)
        assert lost["text"].endswith(f"client {handed['before']} watches now.")
        hand.ask("status")
        assert not [said for topic, said in hand.news if topic == "move"], "nothing moved by that"
        screen.press(RIGHT)
        hand.wait_for("move", lambda move: move["ending"] == "reached")
        screen.wait_for(b"(reached)")  # Before that it asks whether the move is to be left.
        screen.press(b"q")
        assert screen.process.wait(30) == 0
        hand.ask("status")


def repeated(screen: Screen, hand: Terminal, key: bytes, until: Callable[[], bool]) -> None:
    """Hold a key in a terminal that only repeats it, until something is so.

    A busy machine may keep its first press for too long, and none of its repeats counts then: it is
    let go now and then, and held once more.
    """
    end_s = time.monotonic() + WAIT_S
    presses = 0
    while not until():
        assert time.monotonic() < end_s, screen.drawn[-3000:]
        screen.press(key)
        presses += 1
        between_presses(0.033 if presses % 60 else 0.4)
        hand.ask("status")


def feeds_on(news: tuple[str, Any]) -> bool:
    """Whether the feed goes on beyond a nudge, or a busy machine has ended that already."""
    said = news[1]
    return said.get("kind") == "held" or (
        said.get("state") == "NUDGING" and said["position_m"] > 0.0004
    )


def test_a_key_held_feeds_on_while_it_repeats_steadily_or_until_it_is_let_go(
    tmp_path: Path,
) -> None:
    with shown_bench(tmp_path) as (_, screen, hand):
        # A terminal that tells of no release: its repeats are tested first.
        hand.ask("jog", distance_m=0.0001)
        take_control(screen)
        found = b"This terminal repeats a key every"
        repeated(screen, hand, b"k", lambda: found in screen.drawn)
        hand.news.clear()
        repeated(screen, hand, RIGHT, lambda: any(map(feeds_on, hand.news)))
        move = hand.wait_for("move", lambda move: move["kind"] == "held")
        assert move["ending"] in ("stopped", "lapsed")
        assert move["position_m"] < 0.0205
        # One that does.
        hand.news.clear()
        screen.forget()
        screen.press(b"\x1b[102;1:3u")
        screen.wait_for(b"tells when a key is let go")
        screen.press(b"\x1b[1;1:1C")
        screen.wait_for(b"Moved +0.10 mm (reached)")
        hand.ask("status")  # What is told of the nudge has come before the answer.
        hand.news.clear()
        moving = False
        while not moving:
            screen.press(b"\x1b[1;1:2C")
            between_presses(0.033)
            hand.ask("status")
            moving = any(said.get("state") == "NUDGING" for _, said in hand.news)
        screen.press(b"\x1b[1;1:3C")
        # A busy machine may keep the repeats for longer than each of them counts: that ends it too.
        move = hand.wait_for("move", lambda move: move["kind"] == "held")
        assert move["ending"] in ("stopped", "lapsed")
        assert 0.0001 < move["position_m"] < 0.0201


def test_a_terminal_that_is_closed_ends_the_screens_and_not_the_bench(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Without, what is left to be written is written at the very end, where nobody takes it.
    monkeypatch.delenv("PYTHONUNBUFFERED", raising=False)
    with shown_bench(tmp_path) as (_, screen, hand):
        screen.close()
        # Nothing tells it so: this terminal controls no session.
        assert screen.process.wait(WAIT_S) == 0
        hand.ask("status")


def test_the_process_that_reads_past_journals_ends_with_the_screens(tmp_path: Path) -> None:
    """Also when they are killed, and can end nothing themselves."""
    with shown_bench(tmp_path) as (_, screen, hand):
        screen.press(b"v")
        screen.wait_for(b"REPLAY - nothing moves")
        # The open journal was read, beside the daemon that writes it.
        screen.wait_for(b"no portion is in it")
        tasks = Path(f"/proc/{screen.process.pid}/task").glob("*/children")
        (study,) = [int(pid) for one in tasks for pid in one.read_text().split()]
        assert b"benchd.cli.studying" in Path(f"/proc/{study}/cmdline").read_bytes()
        ended = os.pidfd_open(study)
        screen.process.kill()
        assert select.select([ended], [], [], WAIT_S)[0]
        os.close(ended)
        hand.ask("status")


def test_the_demo_opens_the_screens_in_a_terminal_and_ends_its_processes(
    short_folder: Path,
) -> None:
    environment = {**os.environ, "TMPDIR": str(short_folder)}
    demo = Screen(environment, short_folder, "demo", "--count", "2")
    try:
        demo.wait_for(b"Series    0 of 2")
        demo.press(b"q")
        demo.wait_for(b"The bench is left with")
        demo.wait_for(b"Bench and daemon are ended")
        assert demo.process.wait(WAIT_S) == 0
    finally:
        demo.end()


def test_plain_says_what_happens_as_sentences(real_bench: RealBench) -> None:
    real_bench.simulate()
    daemon = real_bench.serve()
    plain = real_bench.start("watch", "--plain")
    plain.wait_for("Energy: barrel")
    terminal = real_bench.terminal()
    real_bench.prove(terminal)
    plain.wait_for("IL-20 is gone.")
    terminal.ask("jog", distance_m=0.002)
    plain.wait_for("Moved +2.00 mm (reached)")
    daemon.end()
    plain.wait_for("nothing is known of the bench any more")
    assert plain.end(signal.SIGTERM) == 1
