"""A pseudo terminal in the place of a board's serial port, under a path that people know."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import struct
import termios
import tty
from pathlib import Path

STALE_BYTES = 3_072
"""With so much unread nobody is listening, and what is old is dropped, as on a real port."""

TIOCGEXCL = 0x80045440
"""Linux's request for the mark that TIOCEXCL sets (asm-generic/ioctls.h); `termios` lacks it."""

_READ_BYTES = 4_096


class PortError(Exception):
    """The port cannot be made; its text is one sentence for a person."""


class PtyPort:
    """Both ends of a pseudo terminal, and a symbolic link to the host's end.

    The host's end stays open here, so that a host may close and open it as it likes. `fd` is what
    to wait for; None while unplugged.
    """

    def __init__(self, link: Path) -> None:
        """Make the port and its link. Raises PortError."""
        self.link = link
        self.fd: int | None = None
        self._host_fd = -1
        self._name = ""
        self.plug()

    def plug(self) -> None:
        """Make the port, if it is not there. Raises PortError when the link cannot be set."""
        if self.fd is not None:
            return
        self.fd, self._host_fd = os.openpty()
        # A fresh terminal echoes, and the board would hear itself.
        tty.setraw(self._host_fd)
        os.set_blocking(self.fd, False)
        self._name = os.ttyname(self._host_fd)
        try:
            self._set_link()
        except PortError:
            self._hang_up()
            raise

    def unplug(self) -> None:
        """Take the port away; a host that has it open sees a hang-up."""
        if self.fd is None:
            return
        with contextlib.suppress(OSError):
            # Somebody else may have set the link anew meanwhile; then it is theirs.
            if os.readlink(self.link) == self._name:
                self.link.unlink()
        self._hang_up()

    def read(self) -> bytes:
        """Return what the host wrote, b"" if nothing."""
        if self.fd is None:
            return b""
        try:
            return os.read(self.fd, _READ_BYTES)
        except BlockingIOError:
            return b""

    def write(self, data: bytes) -> None:
        """Send bytes to the host; those that nobody takes are lost."""
        if self.fd is None or not data:
            return
        if self._unread() > STALE_BYTES:
            termios.tcflush(self._host_fd, termios.TCIFLUSH)
        with contextlib.suppress(BlockingIOError):
            os.write(self.fd, data)

    def share(self) -> bool:
        """Let the next host in: since the host's end stays open here, a claim that the last host
        made would outlive it. Return whether one was made since the last call, which a host does
        when it opens the port."""
        if self.fd is None:
            return False
        claimed = False
        with contextlib.suppress(OSError):  # Other systems have no such request.
            claimed = self._ask(TIOCGEXCL) != 0
        fcntl.ioctl(self._host_fd, termios.TIOCNXCL)
        return claimed

    def _unread(self) -> int:
        return self._ask(termios.FIONREAD)

    def _ask(self, request: int) -> int:
        return int(struct.unpack("i", fcntl.ioctl(self._host_fd, request, bytes(4)))[0])

    def _set_link(self) -> None:
        new = self.link.with_name(f".{self.link.name}.{os.getpid()}")
        try:
            if os.path.lexists(self.link) and not self.link.is_symlink():
                raise PortError(
                    f"{self.link} is a file, and the simulated bench replaces nothing but a link; "
                    "give another path with --link."
                )
            with contextlib.suppress(FileNotFoundError):
                new.unlink()
            new.symlink_to(self._name)
            new.replace(self.link)
        except OSError as error:
            why = os.strerror(error.errno or errno.EIO).lower()
            raise PortError(
                f"The link {self.link} cannot be made ({why}); give another path with --link."
            ) from None

    def _hang_up(self) -> None:
        if self.fd is not None:
            os.close(self._host_fd)
            os.close(self.fd)
        self.fd, self._host_fd = None, -1
