"""The daemon's log on real pipes: plain or as objects, quiet by default, and never in the way."""

from __future__ import annotations

import json
import os
import select
from collections.abc import Iterator

import pytest

from benchd.io.log import LINES_MAX, Log

WALL_US = 1_700_000_000_123_456
"""2023-11-14T22:13:20.123456Z, by `date -u -d @1700000000`."""
SOON_S = 5.0


class Pipe:
    def __init__(self) -> None:
        self.reader, self.writer = os.pipe()

    def log(self, **options: bool) -> Log:
        return Log(lambda: WALL_US, fd=self.writer, **options)

    def lines(self, log: Log) -> list[str]:
        """End the log and return all that it wrote."""
        log.close()
        os.set_blocking(self.reader, False)
        try:
            return os.read(self.reader, 1_000_000).decode().splitlines()
        except BlockingIOError:
            return []


@pytest.fixture
def pipe() -> Iterator[Pipe]:
    made = Pipe()
    yield made
    for fd in (made.reader, made.writer):
        try:
            os.close(fd)
        except OSError:
            continue


def test_by_default_only_sentences_are_written(pipe: Pipe) -> None:
    log = pipe.log()
    log.detail("request", method="jog")
    log.say("The port is open.")
    assert pipe.lines(log) == ["The port is open."]


def test_more_comes_as_names_and_values(pipe: Pipe) -> None:
    log = pipe.log(verbose=True)
    log.detail("request", client=3, method="jog", text='a "b"', none="")
    assert pipe.lines(log) == [
        '2023-11-14T22:13:20.123Z request client=3 method=jog text="a \\"b\\"" none=""'
    ]


def test_as_json_every_line_is_an_object_with_time_and_event(pipe: Pipe) -> None:
    log = pipe.log(as_json=True, verbose=True)
    log.say("One.\nTwo.")
    log.detail("request", client=3)
    time = "2023-11-14T22:13:20.123Z"
    assert [json.loads(line) for line in pipe.lines(log)] == [
        {"time": time, "event": "said", "text": "One.\nTwo."},
        {"time": time, "event": "request", "client": 3},
    ]


def test_as_json_alone_is_as_quiet(pipe: Pipe) -> None:
    log = pipe.log(as_json=True)
    log.detail("request", client=3)
    assert pipe.lines(log) == []


def test_a_reader_that_never_reads_holds_nobody(pipe: Pipe) -> None:
    log = pipe.log()
    os.set_blocking(pipe.writer, False)
    full = b"x" * 65_536
    os.write(pipe.writer, full)
    os.set_blocking(pipe.writer, True)
    for number in range(3 * LINES_MAX):
        log.say(f"line {number}")  # Returns, though the thread waits in its write.
    assert select.select([pipe.reader], [], [], SOON_S)[0]
    heard = b""
    told: list[int] = []
    left_out = 0
    while len(told) + left_out < 3 * LINES_MAX:
        assert select.select([pipe.reader], [], [], SOON_S)[0], heard[-200:]
        heard += os.read(pipe.reader, 65_536)
        lines = heard.removeprefix(full).decode().split("\n")[:-1]
        told = [int(line.split()[1]) for line in lines if line.startswith("line ")]
        left_out = sum(int(line.split()[0]) for line in lines if "were left out" in line)
    log.close()
    assert left_out >= LINES_MAX
    assert told == sorted(set(told))


def test_a_reader_that_went_away_is_no_error(pipe: Pipe) -> None:
    log = pipe.log()
    os.close(pipe.reader)
    log.say("Is there anybody?")
    log.close()
    log.say("Nobody.")
    assert not log._thread.is_alive()
