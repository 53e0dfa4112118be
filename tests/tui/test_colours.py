"""What a terminal is sent: never more than 16 colours, and none where it has none."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from rich.color import ColorType

from benchd.io import paths
from protocols.status import Abnormal
from tests.bench.screens import Screen
from tests.cli.fake_daemon import FakeDaemon
from tests.quiet_status import told
from tui.paper import STYLES

ABNORMALS = (
    Abnormal("IL-02", 3, "Guard open.", "The drive is off.", "Shut it.", 1, True, "prove"),
    Abnormal("IL-28", 2, "No journal.", "No series.", "Look.", 1, False, "auto"),
)
STYLED = re.compile(rb"\x1b\[([\d;:]*)m")


def test_the_colours_of_marks_are_of_the_sixteen() -> None:
    for mark, style in STYLES.items():
        for colour in (style.color, style.bgcolor):
            assert colour is None or colour.type is ColorType.STANDARD, mark


@pytest.mark.slow
@pytest.mark.parametrize(("terminal", "coloured"), [("xterm-16color", True), ("vt100", False)])
def test_what_is_drawn_has_at_most_sixteen_colours(
    short_folder: Path, monkeypatch: pytest.MonkeyPatch, terminal: str, coloured: bool
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(short_folder))
    path = Path(paths.socket_path("maize"))
    path.parent.mkdir(exist_ok=True)
    peer = FakeDaemon(str(path))
    tripped = told(state="TRIPPED", abnormals=ABNORMALS)
    peer.answers["status"] = tripped
    peer.news = [("status", tripped)]
    environment = {
        name: value
        for name, value in os.environ.items()
        if name not in ("NO_COLOR", "COLORTERM", "TEXTUAL_COLOR_SYSTEM")
    }
    screen = Screen(environment, short_folder, "watch", terminal=terminal)
    try:
        screen.wait_for(b"SPACE = stop now")
        screen.press(b"i")
        screen.wait_for(b"-- Interlocks")
        drawn = screen.drawn
    finally:
        screen.end()
        peer.close()
    codes = {int(n or 0) for one in STYLED.findall(drawn) for n in re.split(rb"[;:]", one)}
    assert not codes & {38, 48}, "a colour of more than 16"
    assert codes & {1, 7} == {1, 7}, "bold and reversed say rank, with or without colour"
    assert bool(codes & {31, 33}) is coloured
