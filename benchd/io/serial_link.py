"""The serial port: opened, locked, read and written without ever waiting.

pyserial opens, sets the line and locks; then the event loop watches the descriptor itself, which
costs a third of the processor time of reading through pyserial (measured: 0.45 us a line against
1.4). A port is ours alone among programs that lock (flock) and, unless they run as root, among all
others (TIOCEXCL). A program that had the port open before and does not lock cannot be kept out, so
a real port that somebody else has open is refused; where this user may not see who has it, it shows
as a burst of bad lines.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import fcntl
import os
import stat
import termios
import threading
from collections.abc import Callable, Iterator
from typing import Protocol

import serial

from benchd.io import ports
from benchd.io.clock import boottime_ns
from benchd.io.outbox import Outbox

OnBytes = Callable[[bytes, int], None]
OnClosed = Callable[[str], None]

_READ_BYTES = 65_536
_POLL_S = 0.1


class LinkError(Exception):
    """The port cannot be used; the text says in one sentence why and what to do."""


class PortBusyError(LinkError):
    """Somebody else has the port."""


class Link(Protocol):
    """An open port."""

    @property
    def port(self) -> str:
        """The name it was opened by."""
        ...

    def write(self, data: bytes, urgent: bool = False) -> bool:
        """Send whole lines; urgent ones drop those that the port has not taken yet.

        Never waits. Returns False, and sends nothing of `data`, when the port takes nothing any
        more and the queue is full, or when the link is closed.
        """
        ...

    def close(self) -> None:
        """Close the port; `on_closed` is not called for it. May be called again."""
        ...


def open_link(
    port: str,
    baud: int,
    *,
    on_bytes: OnBytes,
    on_closed: OnClosed,
    now_ns: Callable[[], int] = boottime_ns,
) -> Link:
    """Open a port and let the running event loop watch it.

    `port` is a device path, best one under /dev/serial/by-id, or a pyserial URL such as
    socket://host:port; `baud` in bit/s. `on_bytes(data, t_ns)` gets bytes as they come, with the
    time at which they were read. `on_closed(sentence)` is called once if the port hangs up; the
    descriptor is closed by then, so that the same name can be opened again.

    Raises: LinkError.
    """
    handle = open_port(port, baud)
    return watched(port, handle, on_bytes=on_bytes, on_closed=on_closed, now_ns=now_ns)


def open_port(port: str, baud: int) -> serial.Serial:
    """Open a port as `open_link` does, without watching it; for an address this may take seconds.

    Raises: LinkError; PortBusyError, which is one, when somebody else has the port.
    """
    if "://" not in port:
        _look_at(port)
    try:
        handle = serial.serial_for_url(port, baudrate=baud, timeout=_POLL_S, do_not_open=True)
        if "://" not in port:
            handle.exclusive = True
        handle.open()
    except (OSError, ValueError, termios.error) as error:
        raise _refused(port, error) from error
    if _is_shared(port):
        _close_quietly(handle)
        raise PortBusyError(ports.busy_sentence(port))
    return handle


def watched(
    port: str,
    handle: serial.Serial,
    *,
    on_bytes: OnBytes,
    on_closed: OnClosed,
    now_ns: Callable[[], int] = boottime_ns,
) -> Link:
    """Let the running event loop watch a port that `open_port` opened; else as `open_link`.

    Raises: LinkError; the port is closed then.
    """
    loop = asyncio.get_running_loop()
    try:
        fd = handle.fileno()
    except (AttributeError, OSError):  # io.UnsupportedOperation is an OSError
        return _BridgedLink(port, handle, loop, on_bytes, on_closed, now_ns)
    try:
        _set_up(handle, fd)
    except (OSError, termios.error) as error:
        _close_quietly(handle)
        raise _refused(port, error) from error
    return _PortLink(port, handle, fd, loop, on_bytes, on_closed, now_ns)


def _set_up(handle: serial.Serial, fd: int) -> None:
    os.set_blocking(fd, False)
    if not os.isatty(fd):
        return
    fcntl.ioctl(fd, termios.TIOCEXCL)
    settings = termios.tcgetattr(fd)
    # pyserial leaves VMIN at 0, and then a read gives b"" both when idle and after a hang-up.
    settings[6][termios.VMIN] = 1
    settings[6][termios.VTIME] = 0
    # Closing shall not drop DTR, which resets most boards.
    settings[2] &= ~termios.HUPCL
    termios.tcsetattr(fd, termios.TCSANOW, settings)
    # Adapters hold bytes for up to 16 ms unless told not to; a pty or a plain UART knows no such
    # mode.
    with contextlib.suppress(OSError, ValueError, AttributeError, NotImplementedError):
        handle.set_low_latency_mode(True)
    termios.tcflush(fd, termios.TCIFLUSH)


def _is_shared(port: str) -> bool:
    """Return whether another program has a port open: each byte would reach only one of the two.

    The maker of a pty keeps both of its ends, so a pty is never looked at. A look at all programs
    takes its time: not for the event loop while anything moves.
    """
    mine = os.getpid()
    return (
        "://" not in port
        and ports.is_real(port)
        and any(one.pid != mine for one in ports.holders(port))
    )


def _close_quietly(handle: serial.Serial) -> None:
    # Flushing a device that is gone raises termios.error, which is no OSError.
    with contextlib.suppress(OSError, termios.error, AttributeError, TypeError):
        handle.close()


@contextlib.contextmanager
def held(port: str) -> Iterator[None]:
    """Keep a port from every program that locks, while a program started from here uses it.

    Opening it restarts most boards. Raises: LinkError when it is not there, or somebody else's.
    """
    _look_at(port)
    try:
        fd = os.open(port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    except OSError as error:
        raise _refused(port, error) from error
    try:
        try:
            termios.tcgetattr(fd)
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except (OSError, termios.error) as error:
            raise _refused(port, error) from error
        yield
    finally:
        os.close(fd)


class _PortLink:
    """A port with a descriptor: the event loop says when to read and when to write."""

    def __init__(
        self,
        port: str,
        handle: serial.Serial,
        fd: int,
        loop: asyncio.AbstractEventLoop,
        on_bytes: OnBytes,
        on_closed: OnClosed,
        now_ns: Callable[[], int],
    ) -> None:
        self.port = port
        self._handle = handle
        self._fd = fd
        self._loop = loop
        self._on_bytes = on_bytes
        self._on_closed = on_closed
        self._now_ns = now_ns
        self._outbox = Outbox()
        self._open = True
        loop.add_reader(fd, self._read)

    def _read(self) -> None:
        try:
            data = os.read(self._fd, _READ_BYTES)
        except (BlockingIOError, InterruptedError):
            return
        except OSError as error:
            self._lose(error)
            return
        if data:
            self._on_bytes(data, self._now_ns())
        else:
            self._lose(None)

    def write(self, data: bytes, urgent: bool = False) -> bool:
        if not self._open or not self._outbox.add(data, urgent):
            return False
        if len(self._outbox) == len(data):
            self._flush()
            if self._open and self._outbox:
                self._loop.add_writer(self._fd, self._flush)
        return True

    def _flush(self) -> None:
        try:
            while head := self._outbox.head():
                self._outbox.taken(os.write(self._fd, head))
        except (BlockingIOError, InterruptedError):
            return
        except OSError as error:
            self._lose(error)
            return
        self._loop.remove_writer(self._fd)

    def _lose(self, error: OSError | None) -> None:
        self.close()
        # Not from within `write`, whose caller is in the middle of something.
        self._loop.call_soon(self._on_closed, _hung_up(self.port, error))

    def close(self) -> None:
        if self._open:
            self._open = False
            self._loop.remove_reader(self._fd)
            self._loop.remove_writer(self._fd)
            _close_quietly(self._handle)


class _BridgedLink:
    """A port without a descriptor, such as rfc2217://: two threads carry the bytes."""

    def __init__(
        self,
        port: str,
        handle: serial.Serial,
        loop: asyncio.AbstractEventLoop,
        on_bytes: OnBytes,
        on_closed: OnClosed,
        now_ns: Callable[[], int],
    ) -> None:
        self.port = port
        self._handle = handle
        self._loop = loop
        self._on_bytes = on_bytes
        self._on_closed = on_closed
        self._now_ns = now_ns
        self._outbox = Outbox()
        self._open = True
        self._changed = threading.Condition()
        for work in (self._read, self._write):
            threading.Thread(target=work, name=f"{work.__name__} {port}", daemon=True).start()

    def _read(self) -> None:
        try:
            while self._open:
                data = self._handle.read(self._handle.in_waiting or 1)
                if data:
                    self._loop.call_soon_threadsafe(self._deliver, data, self._now_ns())
        except Exception as error:  # URL handlers raise what their sockets and parsers raise.
            self._lose_from_thread(error)

    def _deliver(self, data: bytes, t_ns: int) -> None:
        if self._open:
            self._on_bytes(data, t_ns)

    def write(self, data: bytes, urgent: bool = False) -> bool:
        with self._changed:
            taken = self._open and self._outbox.add(data, urgent)
            self._changed.notify()
        return taken

    def _write(self) -> None:
        try:
            while self._open:
                with self._changed:
                    while self._open and not self._outbox:
                        self._changed.wait()
                    line = self._outbox.head()
                    self._outbox.taken(len(line))
                if line:
                    self._handle.write(line)
        except Exception as error:  # As in _read.
            self._lose_from_thread(error)

    def _lose_from_thread(self, error: Exception) -> None:
        with contextlib.suppress(RuntimeError):  # The loop has ended, and nobody listens.
            self._loop.call_soon_threadsafe(self._lose, error)

    def _lose(self, error: Exception) -> None:
        if self._open:
            self.close()
            self._on_closed(_hung_up(self.port, error))

    def close(self) -> None:
        with self._changed:
            was_open, self._open = self._open, False
            self._changed.notify()
        if was_open:
            _close_quietly(self._handle)


# Sentences for people.


def _hung_up(port: str, error: Exception | None) -> str:
    why = f" ({error.strerror})" if isinstance(error, OSError) and error.strerror else ""
    return (
        f"The port {port} hung up{why}: the board was unplugged, lost power, or its adapter was "
        "reset; check the cable."
    )


def _look_at(port: str) -> None:
    """Refuse what plainly is no serial port, before pyserial opens it and changes its settings."""
    try:
        mode = os.stat(port).st_mode
    except OSError as error:
        raise _refused(port, error) from error
    if not stat.S_ISCHR(mode):
        raise LinkError(ports.not_serial_sentence(port))


def _refused(port: str, error: Exception) -> LinkError:
    number = _errno_of(error)
    if number in (errno.EBUSY, errno.EAGAIN):
        return PortBusyError(ports.busy_sentence(port))
    return LinkError(_why_not(port, number, error))


def _why_not(port: str, number: int | None, error: Exception) -> str:
    if port.startswith(ports.ADDRESSES):
        return ports.nobody_sentence(port, number)
    if number in ports.NO_PORT:
        return ports.no_port_sentence(port)
    if number in (errno.EACCES, errno.EPERM):
        return ports.no_permission_sentence(port)
    if number == errno.ENOTTY:
        return ports.not_serial_sentence(port)
    why = str(error) if number is None else os.strerror(number)
    return f"The port {port} cannot be opened ({why}): check its name and the speed."


def _errno_of(error: BaseException | None) -> int | None:
    """Return the first error number in the chain: pyserial wraps one in another without it."""
    while error is not None:
        if isinstance(error, OSError) and error.errno is not None:
            return error.errno
        if isinstance(error, termios.error):
            return int(error.args[0])
        error = error.__cause__ or error.__context__
    return None
