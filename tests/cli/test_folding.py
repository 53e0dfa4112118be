"""Sentences broken between words at the edge of the terminal, and only there."""

from __future__ import annotations

import fcntl
import os
import pty
import struct
import termios
from collections.abc import Iterator
from io import StringIO
from typing import TextIO

import pytest

from benchd.cli.cautions import CAUTIONS
from benchd.cli.command import folded

LONG = "The port hung up: the board was unplugged, lost power, or its adapter was reset; look."


@pytest.fixture
def terminal(request: pytest.FixtureRequest) -> Iterator[TextIO]:
    """The near end of a terminal with as many columns as the test says."""
    far, near = pty.openpty()
    fcntl.ioctl(near, termios.TIOCSWINSZ, struct.pack("HHHH", 24, request.param, 0, 0))
    with os.fdopen(near, "w") as stream:
        yield stream
    os.close(far)


@pytest.mark.parametrize("terminal", [60, 80, 132], indirect=True)
def test_no_line_passes_the_edge_and_no_word_is_lost(terminal: TextIO) -> None:
    width = os.get_terminal_size(terminal.fileno()).columns
    for text in (LONG, *CAUTIONS["serve"]):
        lines = folded(f"! {text}", terminal).split("\n")
        assert all(len(line) <= width for line in lines)
        assert " ".join(" ".join(lines).split()) == f"! {text}"
        assert all(line.startswith("  ") for line in lines[1:])


@pytest.mark.parametrize("terminal", [80], indirect=True)
def test_what_stands_in_columns_keeps_its_inset(terminal: TextIO) -> None:
    shown = folded(f"  short\n\n   +3.9 s   {LONG}", terminal).split("\n")
    assert shown[:2] == ["  short", ""]
    assert shown[2].startswith("   +3.9 s   The port")
    assert shown[3].startswith("     ")
    assert shown[3][5] != " "


@pytest.mark.parametrize("terminal", [80], indirect=True)
def test_json_stays_one_line(terminal: TextIO) -> None:
    assert folded('{"a": "' + LONG + '"}', terminal).count("\n") == 0


@pytest.mark.parametrize("terminal", [0], indirect=True)
def test_a_terminal_that_does_not_know_its_size_counts_as_usual(terminal: TextIO) -> None:
    assert max(len(line) for line in folded(LONG, terminal).split("\n")) <= 80


def test_what_is_no_terminal_gets_whole_lines() -> None:
    assert folded(LONG, StringIO()) == LONG
