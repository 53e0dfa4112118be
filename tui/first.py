"""The first picture of the screens, drawn before the library that shows them is loaded, which takes
longer than all else: state, energy and what *Watch* tells, without keys. No terminal here."""

from __future__ import annotations

from collections.abc import Mapping
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

from tui import frame
from tui.frame import Line
from tui.model import Model
from tui.screens.watch import Watch

if TYPE_CHECKING:
    from tui.screens.base import Desk

OPENING = "The screens open; keys count in a moment. SPACE pressed now stops then."

ENTER = "\x1b[?1049h\x1b[?25l"
LEAVE = "\x1b[?1049l\x1b[?25h"
"""To the terminal's second page and its cursor hidden, and back (control sequences of xterm)."""


def lines(bench: str, status: Mapping[str, Any], width: int, height: int) -> list[Line]:
    """Return the whole terminal for a status that has just come."""
    model = Model(bench)
    model.changed(True, 0.0)
    model.heard("status", status, 0.0)
    if frame.is_small(width, height):
        return [*frame.strip(model, 0.0, width, height)[:-2], Line(OPENING[:width])]
    watch = Watch(cast("Desk", SimpleNamespace(model=model, cautions={})))
    top = frame.head(model, 0.0, width)
    bottom = [Line("-" * width), Line(OPENING, "strong")]
    room = max(height - len(top) - len(bottom) - 1, 0)
    body = watch.body(0.0, width, room)
    return frame.page(top, watch.name, body, bottom, width, height)


def drawn(picture: list[Line], width: int) -> str:
    """Return what draws these lines on an empty page, without colours."""
    return "\x1b[H\x1b[2J" + "\r\n".join(line.text[:width] for line in picture)
