"""The port on real pseudo-terminals: what a pty cannot show is DTR, baud errors, and adapters."""

from __future__ import annotations

import asyncio
import fcntl
import os
import random
import struct
import subprocess
import termios
import threading
import time
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path

import pytest
import serial

from benchd.io import ports, serial_link
from benchd.io.outbox import OUTBOX_BYTES_MAX
from benchd.io.serial_link import Link, LinkError, open_link

SOON_S = 5.0
"""Longest wait for something that must happen; a shared machine may be slow."""


class Far:
    """The far end of a pty, as the board would be: `path` is the port."""

    def __init__(self) -> None:
        self.master, self.slave = os.openpty()
        self.path = os.ttyname(self.slave)

    def unplug(self) -> None:
        """Take the far end away."""
        for fd in (self.master, self.slave):
            if fd >= 0:
                os.close(fd)
        self.master = self.slave = -1

    def say(self, data: bytes) -> None:
        """Bytes for the host."""
        os.write(self.master, data)

    async def hear(self, ready: Callable[[bytes], bool]) -> bytes:
        """Read what the host wrote until `ready` says that it is enough."""
        loop = asyncio.get_running_loop()
        done: asyncio.Future[None] = loop.create_future()
        heard = bytearray()

        def read() -> None:
            heard.extend(os.read(self.master, 65_536))
            if ready(bytes(heard)) and not done.done():
                done.set_result(None)

        os.set_blocking(self.master, False)
        loop.add_reader(self.master, read)
        try:
            await asyncio.wait_for(done, SOON_S)
        finally:
            loop.remove_reader(self.master)
        return bytes(heard)


class Near:
    """What the link told."""

    def __init__(self) -> None:
        self.data = b""
        self.times: list[int] = []
        self.reasons: list[str] = []
        self._changed = asyncio.Event()

    def on_bytes(self, data: bytes, t_ns: int) -> None:
        self.data += data
        self.times.append(t_ns)
        self._changed.set()

    def on_closed(self, reason: str) -> None:
        self.reasons.append(reason)
        self._changed.set()

    def open(self, port: str, baud: int = 250_000) -> Link:
        return open_link(port, baud, on_bytes=self.on_bytes, on_closed=self.on_closed)

    async def until(self, true: Callable[[], bool]) -> None:
        async with asyncio.timeout(SOON_S):
            while not true():
                await self._changed.wait()
                self._changed.clear()

    async def closed(self) -> str:
        await self.until(lambda: bool(self.reasons))
        return self.reasons[0]


@pytest.fixture
def far() -> Iterator[Far]:
    made = Far()
    yield made
    made.unplug()


@pytest.fixture
async def near() -> Near:
    return Near()


def fd_of(link: Link) -> int:
    assert isinstance(link, serial_link._PortLink)
    return link._fd


async def settle(turns: int = 5) -> None:
    """Let the event loop go round."""
    for _ in range(turns):
        await asyncio.sleep(0)


# Opening.


async def test_bytes_go_both_ways_unchanged(far: Far, near: Near) -> None:
    link = near.open(far.path)
    every = bytes(range(256))
    far.say(every)
    await near.until(lambda: len(near.data) >= 256)
    assert near.data == every
    assert link.write(b"hello D26E\n")
    assert await far.hear(lambda data: b"\n" in data) == b"hello D26E\n"
    assert link.port == far.path
    link.close()


async def test_the_time_is_that_of_the_clock_given(far: Far, near: Near) -> None:
    link = open_link(
        far.path, 9600, on_bytes=near.on_bytes, on_closed=near.on_closed, now_ns=lambda: 77
    )
    far.say(b"x")
    await near.until(lambda: bool(near.data))
    assert near.times == [77]
    link.close()


async def test_the_port_is_set_as_the_board_needs_it(far: Far, near: Near) -> None:
    link = near.open(far.path)
    settings = termios.tcgetattr(fd_of(link))
    assert settings[6][termios.VMIN] == b"\x01" or settings[6][termios.VMIN] == 1
    assert not settings[2] & termios.HUPCL
    assert not settings[3] & (termios.ECHO | termios.ICANON | termios.ISIG)
    if hasattr(termios, "TCGETS2") or os.uname().sysname == "Linux":
        # struct termios2 of Linux: four flags, line, 19 control characters, speeds in and out.
        found = fcntl.ioctl(fd_of(link), 0x802C542A, b"\0" * 44)
        assert struct.unpack("4IB19s2I", found)[-2:] == (250_000, 250_000)
    link.close()


async def test_an_idle_port_is_not_taken_for_a_hang_up(far: Far, near: Near) -> None:
    link = near.open(far.path)
    with pytest.raises(BlockingIOError):
        os.read(fd_of(link), 1)
    assert isinstance(link, serial_link._PortLink)
    link._read()  # As after a wake-up for nothing.
    await settle()
    assert near.reasons == []
    link.close()


async def test_stale_bytes_are_dropped_at_opening(far: Far, near: Near) -> None:
    far.say(b"half a line of an earlier li")
    link = near.open(far.path)
    far.say(b"fresh\n")
    await near.until(lambda: bool(near.data))
    assert near.data == b"fresh\n"
    link.close()
    far.say(b"stale\n")
    link = near.open(far.path)
    far.say(b"again\n")
    await near.until(lambda: b"again" in near.data)
    assert near.data == b"fresh\nagain\n"
    link.close()


# Who may open.


async def test_a_second_opener_is_refused_and_told_by_whom(far: Far, near: Near) -> None:
    link = near.open(far.path)
    with pytest.raises(LinkError) as caught:
        near.open(far.path)
    assert str(caught.value).startswith(f"The port {far.path} is in use by ")
    assert f"(process {os.getpid()}): end that program, then try again." in str(caught.value)
    link.close()
    near.open(far.path).close()


async def test_an_opener_that_does_not_lock_is_out_of_our_power(far: Far, near: Near) -> None:
    """Opened before us: nothing keeps it out. After us: TIOCEXCL does, but not from root."""
    early = os.open(far.path, os.O_RDWR | os.O_NOCTTY)
    link = near.open(far.path)
    os.close(early)
    if os.geteuid() == 0:
        os.close(os.open(far.path, os.O_RDWR | os.O_NOCTTY))
    else:
        with pytest.raises(OSError, match="busy"):
            os.open(far.path, os.O_RDWR | os.O_NOCTTY)
    link.close()


async def test_a_real_port_that_an_unlocked_program_has_open_is_refused(
    far: Far, near: Near, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ports, "is_real", lambda port: True)
    before = len(os.listdir("/proc/self/fd"))
    with subprocess.Popen(["sleep", "60"], stdin=far.slave) as other:
        try:
            with pytest.raises(LinkError, match=rf"in use by .*sleep \(process {other.pid}\): end"):
                near.open(far.path)
        finally:
            other.kill()
    assert len(os.listdir("/proc/self/fd")) <= before


def as_nobody(far: Far) -> Callable[[], None]:
    """Give up the right to open the port; returns what takes it back."""
    if os.geteuid() != 0:
        os.chmod(far.path, 0)
        return lambda: os.chmod(far.path, 0o600)
    os.chmod(far.path, 0o600)
    os.seteuid(65_534)
    return lambda: os.seteuid(0)


async def test_no_permission_says_which_group_to_join(far: Far, near: Near) -> None:
    back = as_nobody(far)
    try:
        with pytest.raises(
            LinkError, match=r"may not use the port .* which belongs to .* then try again"
        ):
            near.open(far.path)
    finally:
        back()


async def test_what_is_no_port_is_told_apart(tmp_path: Path, near: Near) -> None:
    file = tmp_path / "file"
    file.touch()
    for port, sentence in (
        (str(tmp_path / "gone"), "There is no port "),
        (f"{file}/x", "There is no port "),
        (str(file), "is not a serial port: give the board's port"),
        (str(tmp_path), "is not a serial port"),
        ("/dev/null", "is not a serial port"),
        ("socket://127.0.0.1:1", "Nothing listens at 127.0.0.1, port 1 (Connection refused): "),
        ("nonsense://x", "cannot be opened (invalid URL"),
    ):
        with pytest.raises(LinkError) as caught:
            near.open(port)
        assert sentence in str(caught.value), port
        assert str(caught.value).endswith(".")
        assert "\n" not in str(caught.value)


async def test_a_speed_that_the_port_cannot_do_is_told(far: Far, near: Near) -> None:
    with pytest.raises(LinkError, match="cannot be opened"):
        near.open(far.path, -1)


async def test_a_port_lost_while_it_is_set_up_is_closed_again(
    far: Far, near: Near, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(*_: object) -> None:
        raise termios.error(5, "Input/output error")

    before = len(os.listdir("/proc/self/fd"))
    monkeypatch.setattr("benchd.io.serial_link._set_up", gone)
    with pytest.raises(LinkError, match="cannot be opened"):
        near.open(far.path)
    assert len(os.listdir("/proc/self/fd")) <= before


# Hang-up.


async def test_a_hang_up_is_noticed_at_once_and_leaves_nothing_behind(near: Near) -> None:
    delays = []
    for _ in range(5):
        far = Far()
        link = near.open(far.path)
        fd = fd_of(link)
        began = time.perf_counter()
        far.unplug()
        reason = await near.closed()
        delays.append(time.perf_counter() - began)
        assert reason.startswith(f"The port {far.path} hung up")
        assert not asyncio.get_running_loop().remove_reader(fd)
        with pytest.raises(OSError, match="Bad file"):
            os.fstat(fd)
        assert not link.write(b"stop 0 746D\n", urgent=True)
        link.close()
        await settle()
        assert len(near.reasons) == 1
        near.reasons.clear()
    assert min(delays) < 0.010, delays


@pytest.mark.parametrize(
    ("error", "sentence"),
    [(None, "hung up: the board was"), (OSError(5, "Input/output error"), "hung up (Input/out")],
)
async def test_empty_reads_and_errors_are_both_hang_ups(
    error: OSError | None,
    sentence: str,
    far: Far,
    near: Near,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Which of the two a port shows depends on the system and the driver."""

    def read(*_: object) -> bytes:
        if error is not None:
            raise error
        return b""

    near.open(far.path)
    monkeypatch.setattr("benchd.io.serial_link.os.read", read)
    far.say(b"x")
    assert sentence in await near.closed()


async def test_writing_to_a_port_that_is_gone_is_told_once_and_later(near: Near) -> None:
    far = Far()
    link = near.open(far.path)
    far.unplug()
    link.write(b"hello D26E\n")
    assert near.reasons == []
    await near.closed()
    await settle()
    assert len(near.reasons) == 1


async def test_our_own_close_is_not_told(far: Far, near: Near) -> None:
    link = near.open(far.path)
    link.close()
    link.close()
    await settle()
    assert near.reasons == []
    assert not link.write(b"hello D26E\n")


async def unplug_at_random(times: int, chance: random.Random) -> None:
    near = Near()
    for _ in range(times):
        far = Far()
        near.reasons.clear()
        link = near.open(far.path)
        for _ in range(chance.randrange(4)):
            match chance.randrange(3):
                case 0:
                    far.say(b"x" * chance.randrange(1, 200) + b"\n")
                case 1:
                    link.write(b"y" * chance.randrange(1, 60) + b"\n", chance.random() < 0.2)
                case _:
                    await settle(chance.randrange(3))
        far.unplug()
        if chance.random() < 0.3:
            link.write(b"after\n")
        await near.closed()
        assert len(near.reasons) == 1


@pytest.mark.parametrize("times", [20, pytest.param(1000, marks=pytest.mark.slow)])
async def test_unplugging_at_any_point_leaks_nothing(times: int, seed: int) -> None:
    chance = random.Random(seed)
    await unplug_at_random(2, chance)
    before = sorted(os.listdir("/proc/self/fd"))
    await unplug_at_random(times, chance)
    assert len(os.listdir("/proc/self/fd")) <= len(before)


async def test_a_name_that_points_elsewhere_after_a_replug(tmp_path: Path, near: Near) -> None:
    """As /dev/serial/by-id does: the name stays, the device behind it changes."""
    name = tmp_path / "board"
    for word in (b"first\n", b"second\n"):
        far = Far()
        name.unlink(missing_ok=True)
        name.symlink_to(far.path)
        near.open(str(name))
        far.say(word)
        await near.until(lambda word=word: near.data.endswith(word))  # type: ignore[misc]
        far.unplug()
        await near.closed()
        near.reasons.clear()
    assert near.data == b"first\nsecond\n"


# A peer that does not read.


async def test_a_peer_that_never_reads_costs_bounded_memory_and_a_stop_passes(
    far: Far, near: Near
) -> None:
    link = near.open(far.path)
    sent = 0
    while link.write(b"%05d %s\n" % (sent, b"." * 40)):
        sent += 1
        assert sent < 10_000
    assert isinstance(link, serial_link._PortLink)
    assert len(link._outbox) <= OUTBOX_BYTES_MAX
    await settle()
    assert not link.write(b"x\n" * 100)
    assert link.write(b"stop 0 746D\n", urgent=True)
    heard = await far.hear(lambda data: data.endswith(b"stop 0 746D\n"))
    lines = heard.splitlines()
    # Whole lines in order, then the stop: what the kernel had not taken before it is gone.
    assert lines[:-1] == [b"%05d %s" % (number, b"." * 40) for number in range(len(lines) - 1)]
    assert len(lines) - 1 < sent
    assert link.write(b"hello D26E\n")
    assert await far.hear(lambda data: b"\n" in data) == b"hello D26E\n"
    link.close()


@pytest.mark.slow
async def test_two_megabytes_arrive_whole(far: Far, near: Near) -> None:
    """Speed is measured elsewhere; here every byte must arrive, in order."""
    near.open(far.path)
    whole = b"".join(b"%07d 0123456789012345678901234567890\n" % line for line in range(50_000))

    def write() -> None:
        view = memoryview(whole)
        while view:
            view = view[os.write(far.master, view[:4000]) :]

    writer = threading.Thread(target=write)
    writer.start()
    await near.until(lambda: len(near.data) >= len(whole))
    writer.join()
    assert near.data == whole


# Ports that are no devices.


async def serving(
    answer: Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]],
) -> str:
    server = await asyncio.start_server(answer, "127.0.0.1", 0)
    host, port = server.sockets[0].getsockname()
    return f"socket://{host}:{port}"


async def test_a_port_over_the_network(near: Near) -> None:
    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"you said " + await reader.readline())
        writer.close()

    link = near.open(await serving(answer))
    assert link.write(b"hello\n")
    assert "hung up" in await near.closed()
    assert near.data == b"you said hello\n"


def bridging() -> list[threading.Thread]:
    return [thread for thread in threading.enumerate() if thread.name.endswith("loop://")]


async def test_a_port_without_a_descriptor_is_bridged_by_threads(near: Near) -> None:
    link = near.open("loop://")
    assert bridging()
    assert link.write(b"one\ntwo\n")
    assert link.write(b"three\n", urgent=True)
    await near.until(lambda: near.data.endswith(b"three\n"))
    link.close()
    link.close()
    assert not link.write(b"x\n")
    await settle()
    assert near.reasons == []
    for thread in bridging():
        await asyncio.to_thread(thread.join, SOON_S)
    assert not bridging()


@pytest.mark.parametrize("method", ["read", "write"])
async def test_a_bridged_port_that_fails_is_told_once(
    method: str, near: Near, monkeypatch: pytest.MonkeyPatch
) -> None:
    from serial.urlhandler import protocol_loop

    def fail(*_: object) -> bytes:
        raise serial.SerialException(5, "gone")

    monkeypatch.setattr(protocol_loop.Serial, method, fail)
    link = near.open("loop://")
    link.write(b"x\n")
    assert "The port loop:// hung up" in await near.closed()
    assert not link.write(b"x\n")
    await settle()
    assert len(near.reasons) == 1
