"""Ports that a person has agreed to, remembered in the bench's folder."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from benchd.io import known_ports, paths


@pytest.fixture(autouse=True)
def _folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))


def test_a_port_is_agreed_to_for_one_bench() -> None:
    port = "/dev/serial/by-id/usb-board"
    assert not known_ports.agreed("maize", port)
    known_ports.agree("maize", port, 1)
    known_ports.agree("maize", "/dev/ttyACM0", 2)
    assert known_ports.agreed("maize", port)
    assert known_ports.agreed("maize", "/dev/ttyACM0")
    assert not known_ports.agreed("maize", "/dev/ttyACM1")
    assert not known_ports.agreed("barley", port)


def test_a_relative_name_is_the_same_port_from_everywhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    known_ports.agree("maize", "./board", 1)
    monkeypatch.chdir("/")
    assert known_ports.agreed("maize", str(tmp_path / "board"))
    assert not known_ports.agreed("maize", "./board")


@pytest.mark.parametrize("text", ["", "{", "[1]", "\x00\xff"])
def test_a_damaged_file_asks_again_and_can_be_written(text: str) -> None:
    known_ports.agree("maize", "/dev/ttyACM0", 1)
    file = Path(paths.state_dir("maize")) / known_ports.FILE
    file.write_text(text, "latin-1")
    assert not known_ports.agreed("maize", "/dev/ttyACM0")
    known_ports.agree("maize", "/dev/ttyACM0", 2)
    assert known_ports.agreed("maize", "/dev/ttyACM0")


def test_a_folder_that_cannot_be_written_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", os.devnull)
    with pytest.raises(OSError, match="Not a directory"):
        known_ports.agree("maize", "/dev/ttyACM0", 1)
