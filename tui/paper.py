"""The one widget there is: lines of text, drawn with their marks."""

from __future__ import annotations

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from tui import frame, view

STYLES: dict[str, Style] = {
    "": Style(),
    "strong": Style(bold=True),
    "stop": Style(bold=True, reverse=True, color="red"),
    "watch": Style(bold=True, color="yellow"),
    "dim": Style(),
}
"""Marks as the terminal shows them. Colour comes on top of words and signs, never alone."""


class Paper(Widget):
    """The whole terminal as lines; only those that changed are drawn again."""

    DEFAULT_CSS = "Paper { width: 100%; height: 100%; background: ansi_default; }"

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[frame.Line] = []

    def put(self, lines: list[frame.Line]) -> None:
        """Show these lines."""
        before, self.lines = self.lines, lines
        if len(before) != len(lines):
            self.refresh()
            return
        changed = [y for y, line in enumerate(lines) if line != before[y]]
        if changed:
            self.refresh(*(Region(0, y, self.size.width, 1) for y in changed))

    def render_line(self, y: int) -> Strip:
        """Return one line as the terminal draws it."""
        width = self.size.width
        line = self.lines[y] if y < len(self.lines) else frame.Line("")
        text = line.text[:width].ljust(width)
        if line.mark != "stop" or not text.startswith(("!", " ")):
            return Strip([Segment(text, STYLES[line.mark])], width)
        # Of an abnormal only its sign stands out, so that its sentence stays easy to read.
        sign = Segment(text[: view.LABEL - 1], STYLES["stop" if text[0] == "!" else ""])
        return Strip([sign, Segment(text[view.LABEL - 1 :], STYLES["strong"])], width)
