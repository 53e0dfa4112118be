"""A scale on a serial port: opened, read, and opened again when it was away."""

from __future__ import annotations

import asyncio
import contextlib
import os
import termios
import threading
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from benchd.config.scale import ScaleLine
from benchd.core.scale_line import Lines, Pan, Weight, read_line
from benchd.io.serial_link import Link, LinkError, open_port, watched

if TYPE_CHECKING:
    from serial import Serial

AGAIN_S = 2.0
"""Time between two tries to open the port."""

STRANGE_TOLD = 20
"""Lines in a row that are no reading after which that is said."""


class ScalePort:
    """Weights of a scale, as they are complete. It never waits and never writes to the scale.

    on_weight: gets each weight. say: gets sentences for the person at the daemon.
    """

    def __init__(
        self,
        card: ScaleLine,
        *,
        on_weight: Callable[[Weight], None],
        say: Callable[[str], None],
    ) -> None:
        self._card = card
        self._on_weight = on_weight
        self._say = say
        self._pan = Pan(once=card.once, least_kg=card.least_kg, step_kg=card.readability_kg)
        self._lines = Lines()
        # What lies there now may have been weighed before this daemon began.
        self._pan.forget()
        self._link: Link | None = None
        self._ended = False
        self._again: asyncio.TimerHandle | None = None
        self._told = ""
        self._strange = 0

    def start(self) -> None:
        """Open the port; where it is away, say so once and try again.

        It is opened by a thread that nobody waits for: the bench may be moving, and an address or
        a port that is in use takes its time.
        """
        self._again = None
        loop = asyncio.get_running_loop()
        threading.Thread(target=self._open, args=(loop,), name="scale", daemon=True).start()

    def _open(self, loop: asyncio.AbstractEventLoop) -> None:
        port, board = self._card.port, self._card.board_port
        try:
            # The card's check sees names alone, and a name leads anywhere once all is plugged in.
            if os.path.realpath(port) == os.path.realpath(board):
                raise LinkError(
                    f"{port} leads to the board's own port {board} and is not opened: give the "
                    "scale's as 'scale.port' of the card."
                )
            handle = open_port(port, self._card.baud)
        except LinkError as error:
            then = partial(self._lost, str(error))
        else:
            bits, parity, stops = list(self._card.frame)
            with contextlib.suppress(OSError, termios.error):
                handle.bytesize, handle.parity, handle.stopbits = int(bits), parity, int(stops)
            then = partial(self._opened, handle)
        with contextlib.suppress(RuntimeError):  # The loop has ended; nobody weighs any more.
            loop.call_soon_threadsafe(then)

    def _opened(self, handle: Serial) -> None:
        if self._ended:
            handle.close()
            return
        try:
            self._link = watched(
                self._card.port, handle, on_bytes=self._on_bytes, on_closed=self._lost
            )
        except LinkError as error:
            self._lost(str(error))
            return
        self._told, self._strange = "", 0
        self._lines = Lines()
        self._say(f"The scale's port {self._card.port} is open.")

    def end(self) -> None:
        """Close the port."""
        self._ended = True
        if self._again is not None:
            self._again.cancel()
        if self._link is not None:
            self._link.close()
            self._link = None

    def _lost(self, reason: str) -> None:
        self._link = None
        if self._ended:
            return
        self._pan.forget()
        if reason != self._told:
            self._told = reason
            self._say(f"The scale: {reason} Weights can be typed meanwhile.")
        self._again = asyncio.get_running_loop().call_later(AGAIN_S, self.start)

    def _on_bytes(self, data: bytes, t_ns: int) -> None:
        for line in self._lines.take(data):
            reading = read_line(line, self._card.pattern, self._card.unit)
            if reading is None:
                self._strange += 1
                if self._strange == STRANGE_TOLD:
                    self._say(
                        f"The scale's lines do not fit 'scale.pattern' of the card, the last one "
                        f"was {line[:60]!r}: no weight is taken from them."
                    )
                continue
            self._strange = 0
            weight = self._pan.take(reading, t_ns)
            if weight is not None:
                self._on_weight(weight)


def taken(told: dict[str, Any]) -> str:
    """Return the sentence on a weight that the core took."""
    return f"The scale: portion {told['portion']}, {told['mass_kg'] * 1e3:.1f} g."


def not_taken(weight: Weight, message: str) -> str:
    """Return the sentence on a weight that the core did not take, or asks about."""
    return (
        f"The scale's {weight.mass_kg * 1e3:.1f} g was not taken: {message} If it is right, record "
        "it with 'benchd weigh'."
    )
