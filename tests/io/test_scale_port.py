"""A scale on a real pty: opened beside the event loop, read, away and back."""

from __future__ import annotations

import asyncio
import os
import re
import threading
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import pytest

from benchd.config.scale import ScaleLine
from benchd.core.scale_line import Weight
from benchd.io import scale_port
from benchd.io.scale_port import STRANGE_TOLD, ScalePort
from benchd.io.serial_link import LinkError

SOON_S = 5.0
PATTERN = re.compile(r"(?P<settled>ST)?,(?P<mass>[0-9.]+) g")


class Told:
    """What came of a scale: its weights, and what was said."""

    def __init__(self) -> None:
        self.weights: list[Weight] = []
        self.said: list[str] = []
        self._changed = asyncio.Event()

    def weigh(self, weight: Weight) -> None:
        self.weights.append(weight)
        self._changed.set()

    def say(self, text: str) -> None:
        self.said.append(text)
        self._changed.set()

    async def until(self, ready: Callable[[], bool]) -> None:
        """Wait until something came that makes this true."""

        async def wait() -> None:
            while not ready():
                self._changed.clear()
                await self._changed.wait()

        await asyncio.wait_for(wait(), SOON_S)


def scale(port: str, told: Told, board_port: str = "/dev/board") -> ScalePort:
    """A scale at this port, by the card."""
    card = ScaleLine(port, 9600, "8N1", PATTERN, "g", False, 0.002, 1e-4, board_port)
    return ScalePort(card, on_weight=told.weigh, say=told.say)


@pytest.fixture
async def far() -> AsyncIterator[tuple[int, str]]:
    """The scale's end of a pty, and the name of ours."""
    master, slave = os.openpty()
    yield master, os.ttyname(slave)
    os.close(master)
    os.close(slave)


async def test_what_lies_there_as_the_daemon_begins_is_not_taken(far: tuple[int, str]) -> None:
    """The daemon before may have taken it."""
    told = Told()
    one = scale(far[1], told)
    one.start()
    await told.until(lambda: f"The scale's port {far[1]} is open." in told.said)
    os.write(far[0], b"ST,31.8 g\r\nST,31.8 g\r\nST,0.0 g\r\nST,29.6 g\r\n")
    await told.until(lambda: bool(told.weights))
    assert [weight.text for weight in told.weights] == ["ST,29.6 g"]
    one.end()


async def test_lines_that_do_not_fit_are_told_of_once_there_were_many_in_a_row(
    far: tuple[int, str],
) -> None:
    told = Told()
    one = scale(far[1], told)
    one.start()
    await told.until(lambda: bool(told.said))
    strange = b"GROSS 31.8\r\n"
    os.write(far[0], strange * (STRANGE_TOLD - 1) + b"ST,0.0 g\r\n" + strange + b"ST,29.6 g\r\n")
    await told.until(lambda: bool(told.weights))
    assert len(told.said) == 1
    os.write(far[0], strange * (2 * STRANGE_TOLD) + b"ST,0.0 g\r\nST,30.1 g\r\n")
    await told.until(lambda: len(told.weights) == 2)
    (sentence,) = told.said[1:]
    assert "do not fit 'scale.pattern' of the card, the last one was 'GROSS 31.8'" in sentence
    one.end()


async def test_another_name_of_the_boards_port_is_not_opened(
    far: tuple[int, str], tmp_path: Path
) -> None:
    name = tmp_path / "scale"
    name.symlink_to(far[1])
    told = Told()
    one = scale(str(name), told, board_port=far[1])
    one.start()
    await told.until(lambda: bool(told.said))
    assert "leads to the board's own port" in told.said[0]
    scale_port.open_port(far[1], 9600).close()
    one.end()


async def test_a_port_that_takes_its_time_to_open_keeps_nobody_waiting(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    answers = threading.Event()

    def slow(port: str, baud: int) -> None:
        assert answers.wait(SOON_S)
        raise LinkError("Nobody answers.")

    monkeypatch.setattr(scale_port, "open_port", slow)
    told = Told()
    one = scale("socket://scale:1", told)
    one.start()
    assert not told.said
    answers.set()
    await told.until(lambda: bool(told.said))
    assert told.said == ["The scale: Nobody answers. Weights can be typed meanwhile."]
    one.end()


async def test_a_port_that_opens_after_the_end_is_closed_again(
    far: tuple[int, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    goes_on, closed = threading.Event(), asyncio.Event()
    open_port = scale_port.open_port

    def slow(port: str, baud: int) -> object:
        assert goes_on.wait(SOON_S)
        handle = open_port(port, baud)
        close = handle.close

        def told_close() -> None:
            close()
            closed.set()

        handle.close = told_close
        return handle

    monkeypatch.setattr(scale_port, "open_port", slow)
    told = Told()
    one = scale(far[1], told)
    one.start()
    one.end()
    goes_on.set()
    await asyncio.wait_for(closed.wait(), SOON_S)
    assert not told.said
