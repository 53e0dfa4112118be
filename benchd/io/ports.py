"""The serial ports of this machine: their stable names, what they are, who holds them, who may.

Looking changes nothing: no port is opened. Linux tells holders in /proc; elsewhere, and for
processes of other users, they stay unknown.
"""

from __future__ import annotations

import contextlib
import errno
import grp
import os
import pwd
import stat
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from serial.tools.list_ports_common import ListPortInfo

BY_ID = "/dev/serial/by-id"
"""Names after maker, kind and serial number: they stay, wherever the device is plugged in."""
BY_PATH = "/dev/serial/by-path"
"""Names after the socket that the device is plugged into."""
PTYS = ("/dev/pts/", "/dev/ttys")
"""Where ptys lie, on Linux and on macOS."""
COMMAND_CHARACTERS = 60


class Holder(NamedTuple):
    """A process that has a port open."""

    pid: int
    name: str

    def __str__(self) -> str:
        return f"{self.name} (process {self.pid})"


class FoundPort(NamedTuple):
    """A serial port: its most stable name first; empty or None where the system does not tell."""

    name: str
    device: str
    description: str
    maker: str
    serial_number: str
    usb_id: str
    """Vendor and product number, such as 2341:0043."""
    holders: tuple[Holder, ...]
    allowed: bool
    """Whether this user may open it."""


# Who holds a port.


def holders(port: str) -> tuple[Holder, ...]:
    """Return the processes that have a port open, as far as this user may see."""
    try:
        device = os.stat(port).st_rdev
    except OSError:
        return ()
    return tuple(_holders_of({device}).get(device, ()))


def _holders_of(devices: set[int]) -> dict[int, list[Holder]]:
    found: dict[int, list[Holder]] = {}
    try:
        processes = sorted(int(entry) for entry in os.listdir("/proc") if entry.isdigit())
    except OSError:
        return found
    for pid in processes:
        # A process may end at any moment, and those of others may not be looked into.
        with contextlib.suppress(OSError):
            for device in sorted(devices & set(_open_devices(pid))):
                found.setdefault(device, []).append(Holder(pid, _name_of(pid)))
    return found


def _open_devices(pid: int) -> Iterator[int]:
    with os.scandir(f"/proc/{pid}/fd") as entries:
        for entry in entries:
            with contextlib.suppress(OSError):
                status = entry.stat()
                if stat.S_ISCHR(status.st_mode):
                    yield status.st_rdev


def _name_of(pid: int) -> str:
    """Return what a person started: for an interpreter the script, which says more."""
    with open(f"/proc/{pid}/comm", encoding="utf-8", errors="replace") as file:
        name = file.read().strip()
    if not name.startswith("python"):
        return name
    with open(f"/proc/{pid}/cmdline", encoding="utf-8", errors="replace") as file:
        words = file.read().split("\0")
    script = [] if words[1:2] == ["-c"] else [os.path.basename(word) for word in words[1:4]]
    shown = " ".join([name, *script]).strip()[:COMMAND_CHARACTERS]
    return "".join(sign if " " <= sign <= "~" else "?" for sign in shown)


def busy_sentence(port: str) -> str:
    """Return the sentence for a port that somebody else has open."""
    who = holders(port)
    if who:
        names = " and ".join(str(one) for one in who)
        return f"The port {port} is in use by {names}: end that program, then try again."
    return (
        f"The port {port} is in use by another program, which this user may not see: "
        f"'sudo fuser -v {port}' names it; end it, then try again."
    )


# Who may open a port.


def may_open(port: str) -> bool:
    """Return whether this user may open a port."""
    return os.access(port, os.R_OK | os.W_OK, effective_ids=os.access in os.supports_effective_ids)


def no_permission_sentence(port: str) -> str:
    """Return the sentence for a port that this user may not open: who may, and how to get it."""
    try:
        status = os.stat(port)
    except OSError:
        return f"There is something at {port} that this user may not look at: ask its owner."
    user = _user_name(os.geteuid())
    group, members = _group(status.st_gid)
    gives = status.st_mode & (stat.S_IRGRP | stat.S_IWGRP) == stat.S_IRGRP | stat.S_IWGRP
    start = f"{user} may not use the port {port}"
    if not gives or status.st_gid == 0:
        return (
            f"{start}, which belongs to {_user_name(status.st_uid)} alone: let a udev rule give it "
            "to the group dialout, plug it in again, then try again."
        )
    if user in members:
        return (
            f"{start}: it belongs to group {group}, which {user} has joined since this session "
            "began; log out and in again, then try again."
        )
    return (
        f"{start}, which belongs to group {group}: run 'sudo usermod -aG {group} {user}', log out "
        "and in again, then try again."
    )


def _user_name(number: int) -> str:
    try:
        return pwd.getpwuid(number).pw_name
    except KeyError:  # Numbers without a name stay numbers.
        return str(number)


def _group(number: int) -> tuple[str, list[str]]:
    try:
        entry = grp.getgrgid(number)
    except KeyError:
        return str(number), []
    return entry.gr_name, entry.gr_mem


# What is no port.


def no_port_sentence(port: str) -> str:
    """Return the sentence for a name with nothing behind it."""
    where = (
        "the board is not plugged in, or it has another name; 'benchd ports' lists what is there"
        if is_real(port)
        else "a board is listed by 'benchd ports', and a simulated bench is there while 'benchd "
        "simulate' runs"
    )
    return f"There is no port {port}: {where}."


def not_serial_sentence(port: str) -> str:
    """Return the sentence for something that is no serial port."""
    return (
        f"{port} is not a serial port: give the board's port; 'benchd ports' lists what is there."
    )


ADDRESSES = ("socket://", "rfc2217://")
"""Beginnings of ports that another machine has: host and number follow."""


def address_of(port: str) -> tuple[str, int] | None:
    """Return host and number of a port that another machine has, None where either is missing."""
    from urllib.parse import urlsplit  # Only an address pays for loading it.

    try:
        parts = urlsplit(port)
        number = parts.port
    except ValueError:
        return None
    return (parts.hostname, number) if parts.hostname and number else None


def address_sentence(port: str) -> str:
    """Return the sentence for an address that lacks host or number; empty for any other port."""
    if not port.startswith(ADDRESSES) or address_of(port) is not None:
        return ""
    scheme = port.partition("://")[0]
    return (
        f"{port} is no whole address: write host and number (1 to 65535) of the port, such as "
        f"{scheme}://bench.local:4000."
    )


def nobody_sentence(port: str, number: int | None) -> str:
    """Return the sentence for an address that could not be reached, with the error's number."""
    address = address_of(port)
    if address is None:
        return address_sentence(port)
    if number is None:
        why = "no answer"
    elif number < 0:  # Looking a name up has numbers of its own.
        why = "no host is known by that name"
    else:
        why = os.strerror(number)
    return (
        f"Nothing listens at {address[0]}, port {address[1]} ({why}): start what passes the bytes "
        "on there, or check host and number."
    )


NO_PORT = frozenset({errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.ENOTDIR})
"""Errors of opening that mean that nothing is there."""


def is_real(port: str) -> bool:
    """Return whether a real board may be behind this name: a terminal device that is no pty, or
    an address such as socket://host:port, since nobody can see what is behind it.

    Where nothing is there yet, a name that leads into /dev counts as real.
    """
    if "://" in port:
        return not port.startswith("loop://")
    path = os.path.realpath(port)
    if path.startswith(PTYS):
        return False
    try:
        return stat.S_ISCHR(os.stat(path).st_mode)
    except OSError:
        return path.startswith("/dev/")


# How long an adapter holds what came.

WAIT_MAX_MS = 5
"""An adapter that holds bytes longer than this blurs times and delays every answer (house rule)."""


def _latency_timer(port: str, system: str) -> str:
    return f"{system}/{os.path.basename(os.path.realpath(port))}/device/latency_timer"


def adapter_wait_ms(port: str, system: str = "/sys/class/tty") -> int | None:
    """Return how long a USB adapter holds bytes before it passes them on [ms]; None where its
    driver tells none. system: where the drivers tell of terminal devices."""
    try:
        with open(_latency_timer(port, system), encoding="ascii") as file:
            return int(file.read())
    except (OSError, ValueError):
        return None


def slow_sentence(port: str, system: str = "/sys/class/tty") -> str:
    """Return the sentence for an adapter that holds bytes too long; empty for any other."""
    wait_ms = adapter_wait_ms(port, system)
    if wait_ms is None or wait_ms <= WAIT_MAX_MS:
        return ""
    return (
        f"The adapter at {port} holds bytes for up to {wait_ms} ms, so times are less exact and "
        f"answers late: 'echo 1 | sudo tee {_latency_timer(port, system)}' makes it 1 ms."
    )


# What is there.


def found_ports(by_id: str = BY_ID, by_path: str = BY_PATH) -> list[FoundPort]:
    """Return every serial port there is, those with a stable name first, in order of names."""
    from serial.tools.list_ports import comports

    names = _links(by_path) | _links(by_id)
    told = {info.device: info for info in comports()}
    numbers = {device: _number(device) for device in {*told, *names}}
    devices = sorted(device for device, number in numbers.items() if number)
    who = _holders_of(set(numbers.values()))
    found = [
        FoundPort(
            names.get(device, device),
            device,
            *_described(told.get(device)),
            holders=tuple(who.get(numbers[device], ())),
            allowed=may_open(device),
        )
        for device in devices
    ]
    return sorted(found, key=lambda port: (port.name == port.device, port.name))


def _described(info: ListPortInfo | None) -> tuple[str, str, str, str]:
    """Return what a USB descriptor says: product, maker, serial number, vendor and product id."""
    if info is None:
        return "", "", "", ""
    product = info.product or ("" if info.description == "n/a" else info.description) or ""
    usb_id = f"{info.vid:04x}:{info.pid:04x}" if info.vid is not None else ""
    return product, info.manufacturer or "", info.serial_number or "", usb_id


def _links(folder: str) -> dict[str, str]:
    """Return device to the name that leads to it from a folder of links."""
    try:
        names = sorted(os.listdir(folder), reverse=True)
    except OSError:
        return {}
    paths = (os.path.join(folder, name) for name in names)
    return {os.path.realpath(path): path for path in paths}


def _number(device: str) -> int:
    """Return the number by which the system knows a device; 0 when it is there no more."""
    try:
        return os.stat(device).st_rdev
    except OSError:
        return 0
