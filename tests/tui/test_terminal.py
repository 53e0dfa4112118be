"""Our terminal on the driver of the library as it is installed."""

from __future__ import annotations

import os
import threading

from textual.message import Message

from tui.terminal import KeyMany, StopTerminal

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


def test_the_driver_reads_keys_by_our_parser() -> None:
    """By a name in its module: no check of types sees when it goes by another one."""
    driver = Piped(b"abcd")
    try:
        driver.run_input_thread()
    finally:
        driver.close()
    assert [type(one) for one in driver.read] == [KeyMany] * 4, OTHERWISE
