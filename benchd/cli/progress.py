"""Something to look at while a command takes longer than a second: one line that counts seconds.

On a terminal the line is written over and gone when something else is said. Elsewhere, and on a
terminal that cannot go back in its line, it is said once. There is no colour in it, nor anywhere
else in what commands print.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, RLock, Thread

AFTER_S = 1.0
"""What is done sooner needs no progress."""

WORDS: dict[str, str] = {
    "jog": "The feed moves",
    "relieve": "The feed reverses",
    "approach": "Feeding to contact",
    "prime": "Priming",
    "tube_out": "Backing out",
    "fire": "The blade moves",
    "portion": "The portion is made",
    "series": "The series runs",
    "resume": "The series runs",
    "teach": "The eye is read",
}
"""Request to what happens while its answer is waited for."""

_lock = RLock()
_shown = ""


def tick(method: str, seconds: float) -> None:
    """Show that an answer of the daemon is waited for; called about once a second."""
    show(WORDS.get(method, f"Waiting for the daemon's answer to '{method}'"), seconds)


def show(label: str, seconds: float) -> None:
    """Show what goes on and for how long already."""
    global _shown
    with _lock:
        if _goes_back():
            text = f"{label} ... {seconds:.0f} s"
            _write(f"\r{text:<{len(_shown)}}")
            _shown = text
        elif _shown != label:
            _write(f"{label} ...\n")
            _shown = label


def clear() -> None:
    """Take the line away, before something else is said and at the end."""
    global _shown
    with _lock:
        if _shown and _goes_back():
            _write(f"\r{' ' * len(_shown)}\r")
            _shown = ""


@contextmanager
def working(label: str) -> Iterator[None]:
    """Show progress while something is computed."""
    done = Event()

    def count() -> None:
        seconds = 0.0
        while not done.wait(AFTER_S):
            seconds += AFTER_S
            with _lock:
                if not done.is_set():
                    show(label, seconds)

    thread = Thread(target=count, name="progress", daemon=True)
    thread.start()
    try:
        yield
    finally:
        with _lock:
            done.set()
            forget()


def forget() -> None:
    """Take the line away, and let the next wait speak again where it is said once."""
    global _shown
    clear()
    _shown = ""


def _goes_back() -> bool:
    return sys.stderr.isatty() and os.environ.get("TERM", "") not in ("", "dumb")


def _write(text: str) -> None:
    sys.stderr.write(text)
    sys.stderr.flush()
