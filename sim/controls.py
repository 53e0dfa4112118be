"""What can be typed to a running simulated bench; apart from `sim.bench`, so that help is quick."""

from __future__ import annotations

CONTROLS = """\
press NAME on|off   press a switch or let go of it: forward, reverse, button,
                    stop; or shut the guard (press guard on) and open it (press
                    guard off)
load                put in a fresh tube; the feed must be backed out. It happens
                    by itself a second after the feed was backed out to its
                    rear end: a script waits for that before it says that
                    the next tube is in
reset [CAUSE]       restart the board: power, button, watchdog, lowvolt or
                    unknown
unplug              pull the cable out
plug                put it in again"""
"""The lines that `benchd simulate` takes on standard input, one a line."""
