"""`benchd cut`: one dry stroke in two steps, arm, then fire within 3 s."""

from __future__ import annotations

import argparse
import sys

from benchd.cli.command import OK, WRONG, Parts, Wrong, caution, confirm, moves, note
from benchd.cli.daemon import connect, move, now, patiently, show, status_of
from tui.view import guard_text

FIRE_WITHIN_S = 3.0


def cut(options: argparse.Namespace) -> int:
    """Arm, ask once more, fire."""
    caution("cut")
    with connect(options, None) as client:
        status = status_of(client)
        confirm(
            f"will arm one dry stroke of the cutter; {guard_text(status)}; air {status.air}",
            yes=options.yes,
        )
        patiently(client, "arm")
        if not options.yes:
            _wait_for_fire()
        result = move(client, "fire", {})
        text = f"{stroke_text(result)} {now(client)}"
    show(options, result, text)
    return OK if result["outcome"] == "complete" else WRONG


def _wait_for_fire() -> None:
    """Return when the person fires within the time.

    Raises: Wrong when not.
    """
    import select

    note(f"Armed for {FIRE_WITHIN_S:g} s. Type f and ENTER to fire; anything else lets it lapse.")
    ready, _, _ = select.select([sys.stdin], [], [], FIRE_WITHIN_S)
    if not ready or sys.stdin.readline().strip().lower() != "f":
        raise Wrong(
            "Not fired, because no f came in time; the arming lapses by itself, 'benchd cut' arms "
            "again."
        )


def stroke_text(result: dict[str, object]) -> str:
    """Return how a dry stroke went, in words."""
    times = result.get("cutter")
    words = {"start_delay_s": "start", "stroke_s": "stroke", "return_s": "return"}
    shown = ""
    if isinstance(times, dict):
        shown = ", ".join(
            f"{word} {times[name] * 1e3:.0f} ms"
            for name, word in words.items()
            if times.get(name) is not None
        )
    text = f"Dry stroke {result['outcome']}" + (f": {shown}." if shown else ", not timed.")
    if result.get("trimmed"):
        text += f" What portion {result['trimmed']} left at the nozzle is cut off: it is waste."
    return text


PARTS = {"cut": Parts(moves, cut)}
