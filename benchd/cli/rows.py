"""Texts for a person as lines within 80 columns."""

from __future__ import annotations

from tui import view

WIDTH = 80
LABEL = 12


def row(label: str, text: str) -> list[str]:
    """Return a labelled text as lines within 80 columns."""
    return wrap(f"{label:<{LABEL}}{text}", inset=2, hang=LABEL + 2)


def wrap(text: str, *, inset: int = 0, hang: int | None = None) -> list[str]:
    """Return a text as plain lines within 80 columns."""
    again = " " * (inset if hang is None else hang)
    return view.wrapped(view.plain(" " * inset + text), WIDTH, again, break_long_words=True)
