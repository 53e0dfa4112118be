"""A board at the far end of a pty, moved on in a thread: its boot loader, or its firmware."""

from __future__ import annotations

import os
import select
import threading
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Protocol

from sim.pty_port import PtyPort

TICK_S = 0.005
FLASH_BYTES = 32_768
ATMEGA328P = b"\x1e\x95\x0f"
"""Its signature, from the data sheet of the chip."""

LENGTHS = {0x41: 1, 0x42: 20, 0x45: 5, 0x55: 2, 0x56: 4, 0x64: 3, 0x74: 3}
"""Bytes that follow a command; a page's own bytes come on top."""


class Firmware(Protocol):
    """What both simulated boards do."""

    @property
    def now_us(self) -> int: ...

    def run_until(self, t_us: int) -> int: ...

    def rx(self, data: bytes) -> int: ...

    def tx(self) -> bytes: ...


class Loader:
    """The usual serial boot loader, as its protocol is published (Atmel application note AVR061,
    "STK500 Communication Protocol"): commands end in a space and are answered between 14 and 10.
    """

    def __init__(self, signature: bytes = ATMEGA328P, *, spoils: int | None = None) -> None:
        self.flash = bytearray(b"\xff" * FLASH_BYTES)
        self.left = False
        self._signature = signature
        self._spoils = spoils
        self._at = 0
        self._rest = b""

    def answers(self, data: bytes) -> bytes:
        """Take bytes as they came; return what the loader says to them."""
        self._rest += data
        said = b""
        while self._rest:
            size = 1 + LENGTHS.get(self._rest[0], 0)
            if self._rest[0] == 0x64 and len(self._rest) >= 3:
                size += self._rest[1] << 8 | self._rest[2]
            if len(self._rest) <= size:
                break
            code, given = self._rest[0], self._rest[1:size]
            self._rest = self._rest[size + 1 :]
            said += b"\x14" + self._do(code, given) + b"\x10"
        return said

    def _do(self, code: int, given: bytes) -> bytes:
        if code == 0x41:
            return b"\x03"
        if code == 0x51:
            self.left = True
        elif code == 0x55:
            self._at = 2 * int.from_bytes(given, "little")
        elif code == 0x56:
            return b"\x00"
        elif code == 0x64:
            self.flash[self._at : self._at + len(given) - 3] = given[3:]
        elif code == 0x74:
            page = self.flash[self._at : self._at + int.from_bytes(given[:2], "big")]
            if self._spoils is not None and self._at <= self._spoils < self._at + len(page):
                page[self._spoils - self._at] ^= 1
            return bytes(page)
        elif code == 0x75:
            return self._signature
        return b""


class FarBoard:
    """A port with a board behind it. `loader` answers until it is left; then the firmware runs."""

    def __init__(
        self, link: Path, firmware: Callable[[], Firmware], loader: Loader | None = None
    ) -> None:
        self.port = PtyPort(link)
        self._make = firmware
        self._loader = loader
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> FarBoard:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._ended.set()
        self._thread.join()
        self.port.unplug()

    def _run(self) -> None:
        fd = self.port.fd
        assert fd is not None
        while self._loader is not None and not self._loader.left and not self._ended.is_set():
            if select.select([fd], (), (), TICK_S)[0]:
                os.write(fd, self._loader.answers(self.port.read()))
        board = self._make()
        while not self._ended.is_set():
            came = select.select([fd], (), (), TICK_S)[0]
            self.port.share()
            board.rx(self.port.read() if came else b"")
            board.run_until(board.now_us + round(TICK_S * 1e6))
            self.port.write(board.tx())
