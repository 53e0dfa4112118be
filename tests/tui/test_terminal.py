"""Our terminal on the driver of the library as it is installed."""

from __future__ import annotations

import os
import threading

import pytest
from textual import events
from textual.message import Message

from tui.keys import is_stop
from tui.terminal import KeyMany, KeysParser, StopTerminal

OTHERWISE = (
    "textual's driver does not make the parser that tui/terminal.py puts in its place: late keys, "
    "bursts and releases would go unseen; see how its run_input_thread makes one now."
)


class Piped(StopTerminal):
    """The driver's reading of keys, on a pipe."""

    def __init__(self, sent: bytes) -> None:
        # None of what the driver sets up else has a part in reading.
        self.fileno, written = os.pipe()
        os.write(written, sent)
        self._written = written
        self._debug = False
        self.exit_event = threading.Event()
        self.read: list[Message] = []

    def process_message(self, message: Message) -> None:
        """Keep what was read."""
        self.read.append(message)
        self.exit_event.set()

    def close(self) -> None:
        """Close the pipe."""
        os.close(self.fileno)
        os.close(self._written)


def read_of(sent: bytes) -> list[Message]:
    """What the driver makes of bytes."""
    driver = Piped(sent)
    try:
        driver.run_input_thread()
    finally:
        driver.close()
    return driver.read


def test_the_driver_reads_keys_by_our_parser() -> None:
    """By a name in its module: no check of types sees when it goes by another one."""
    assert [type(one) for one in read_of(b"abcd")] == [KeyMany] * 4, OTHERWISE


def test_a_byte_that_is_no_letter_does_not_end_the_thread_that_reads_keys() -> None:
    keys = [one.key for one in read_of(b"\xe9 ") if isinstance(one, events.Key)]
    assert keys == ["replacement_character", "space"]


@pytest.mark.parametrize(
    "sent",
    [
        ["\x1b[200~hello "],
        ["\x1b[20", "0~hello", " "],
        ["\x1b", " "],
        ["\x1b", "x", "y", " "],
        ["\x1b[1;1", " "],
        ["\x1b "],
        ["\x00"],
        ["\x1b[32;2u"],
        ["\x1b[32;5:1u"],
        ["\x1b[32;3u"],
    ],
    ids=repr,
)
def test_the_stop_key_waits_for_the_end_of_nothing(sent: list[str]) -> None:
    """Neither of a paste nor of a sequence, and whatever is held down beside it."""
    parser = KeysParser()
    (*_, last) = [one for data in sent for one in parser.feed(data)]
    assert type(last) is events.Key
    assert is_stop(last.key)


def test_alt_and_the_stop_key_are_not_escape_as_well() -> None:
    (one,) = KeysParser().feed("\x1b ")
    assert isinstance(one, events.Key)
    assert one.key == "space"


def test_what_is_pasted_comes_as_keys() -> None:
    driver, written = Piped(b""), []
    driver.write = written.append  # type: ignore[method-assign]
    driver._enable_bracketed_paste()
    driver.close()
    assert written == ["\x1b[?2004l"]
