"""Shapes of inline SVG. Colours are those of the page, by class; no colour alone tells anything, so
that a print in grey says the same."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

WIDE, LEFT, RIGHT = 400.0, 56.0, 388.0
"""Units of a drawing. A narrow one stays readable when a phone shrinks it."""


def drawing(height: float, label: str, parts: Sequence[str]) -> str:
    """Return a whole drawing; label: what it shows, for those who do not see it."""
    return (
        f'<svg viewBox="0 0 {WIDE:.0f} {height:.0f}" role="img" aria-label="{escape(label)}">'
        f"{''.join(parts)}</svg>"
    )


def rect(kind: str, x: float, y: float, width: float, height: float) -> str:
    """Return a rectangle from its upper left corner."""
    size = f'width="{max(width, 0.5):.1f}" height="{max(height, 0.5):.1f}"'
    return f'<rect class="{kind}" x="{x:.1f}" y="{y:.1f}" {size}/>'


def outline(left: float, top: float, right: float, height: float) -> str:
    """Return the frame around what is marked."""
    return rect("outline", left, top, right - left, height)


def line(kind: str, x1: float, y1: float, x2: float, y2: float) -> str:
    """Return a line."""
    return f'<line class="{kind}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'


def dot(x: float, y: float, *, good: bool, r: float = 3.0) -> str:
    """Return a point: filled for a good one, else a ring."""
    return f'<circle class="{"good" if good else "other"}" cx="{x:.1f}" cy="{y:.1f}" r="{r:g}"/>'


def mark(x: float, y: float, r: float = 7.0) -> str:
    """Return a diamond, which marks what is odd."""
    corners = f"{x:.1f},{y - r:.1f} {x + r:.1f},{y:.1f} {x:.1f},{y + r:.1f} {x - r:.1f},{y:.1f}"
    return f'<polygon class="odd" points="{corners}"/>'


def text(x: float, y: float, text: str, anchor: str = "middle", kind: str = "") -> str:
    """Return a text at its base line."""
    named = f' class="{kind}"' if kind else ""
    return f'<text{named} x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'
