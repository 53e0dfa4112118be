"""Ports listed, held and refused, on real ptys; what a USB descriptor says is put in."""

from __future__ import annotations

import errno
import grp
import os
import pwd
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from benchd.io import ports
from benchd.io.ports import Holder


class Pty:
    def __init__(self) -> None:
        self.master, self.slave = os.openpty()
        self.path = os.ttyname(self.slave)

    def close(self) -> None:
        for fd in (self.master, self.slave):
            os.close(fd)


@pytest.fixture
def port() -> Iterator[str]:
    pty = Pty()
    yield pty.path
    pty.close()


# Who holds a port.


def test_our_own_process_is_found_as_a_holder(port: str) -> None:
    (holder,) = ports.holders(port)
    assert holder.pid == os.getpid()
    assert holder.name
    assert "\n" not in holder.name


def test_a_script_is_named_rather_than_its_interpreter(port: str, tmp_path: Path) -> None:
    script = tmp_path / "hold_it.py"
    script.write_text(
        "import sys\nheld = open(sys.argv[1])\nprint('open', flush=True)\nsys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, str(script), port], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == b"open\n"
        names = {holder.pid: holder.name for holder in ports.holders(port)}
        assert "hold_it.py" in names[other.pid]
        sentence = ports.busy_sentence(port)
        assert f"(process {other.pid})" in sentence
        assert " and " in sentence
        other.communicate()


def test_a_port_that_nobody_holds_or_that_is_not_there_has_no_holder(port: str) -> None:
    assert ports.holders("/no/such/port") == ()
    assert ports.holders("/dev/full") == ()


def test_what_may_not_be_looked_into_is_left_out(
    port: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def listdir(_: str) -> list[str]:
        return ["self", "1000000000", str(os.getpid())]

    def refuse(_: str) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("benchd.io.ports.os.listdir", listdir)
    assert [holder.pid for holder in ports.holders(port)] == [os.getpid()]
    monkeypatch.setattr("benchd.io.ports.os.scandir", refuse)
    assert ports.holders(port) == ()
    assert f"'sudo fuser -v {port}' names it" in ports.busy_sentence(port)


def test_without_proc_nobody_is_named(port: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(_: str) -> list[str]:
        raise FileNotFoundError(2, "No such file or directory", "/proc")

    monkeypatch.setattr("benchd.io.ports.os.listdir", gone)
    assert "another program, which this user may not see" in ports.busy_sentence(port)


# Who may open a port.


def stat_of(**fields: int) -> Any:
    return lambda *_, **__: SimpleNamespace(**fields)


GROUP = next((entry for entry in grp.getgrall() if entry.gr_name == "dialout"), grp.getgrall()[-1])
READ_WRITE = stat.S_IFCHR | 0o660


@pytest.mark.parametrize(
    ("mode", "gid", "members", "says"),
    [
        (READ_WRITE, GROUP.gr_gid, [], ("group {group}: run 'sudo usermod -aG {group} {user}'",)),
        (READ_WRITE, GROUP.gr_gid, ["{user}"], ("has joined since", "log out and in again")),
        (READ_WRITE, 4_000_000_000, [], ("group 4000000000: run",)),
        (READ_WRITE, 0, [], ("belongs to root alone", "udev rule", "dialout")),
        (stat.S_IFCHR | 0o640, GROUP.gr_gid, [], ("belongs to root alone", "udev rule")),
    ],
)
def test_no_permission_says_how_to_get_it(
    mode: int, gid: int, members: list[str], says: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    user = pwd.getpwuid(os.geteuid()).pw_name
    monkeypatch.setattr("benchd.io.ports.os.stat", stat_of(st_mode=mode, st_gid=gid, st_uid=0))

    def group(number: int) -> Any:
        if number == 4_000_000_000:
            raise KeyError(number)
        names = [member.format(user=user) for member in members]
        return SimpleNamespace(gr_name=GROUP.gr_name, gr_mem=names)

    monkeypatch.setattr("benchd.io.ports.grp.getgrgid", group)
    sentence = ports.no_permission_sentence("/dev/ttyACM0")
    for part in says:
        assert part.format(group=GROUP.gr_name, user=user) in sentence
    assert sentence.endswith(".")


def test_a_folder_that_may_not_be_looked_into_is_said() -> None:
    assert "ask its owner" in ports.no_permission_sentence("/no/such/port")


# What is real.


@pytest.mark.parametrize(
    ("name", "real"),
    [
        ("socket://10.0.0.7:4000", True),
        ("loop://", False),
        ("/dev/ttyACM77", True),
        ("/dev/serial/by-id/usb-board", True),
        ("/dev/pts/9999", False),
        ("/dev/ttys004", False),
        ("./bench-port", False),
    ],
)
def test_a_port_is_real_by_its_name_where_nothing_is_there(name: str, real: bool) -> None:
    assert ports.is_real(name) is real


@pytest.mark.parametrize(
    ("port", "whole"),
    [
        ("socket://bench.local:4000", True),
        ("rfc2217://[::1]:1?logging=debug", True),
        ("socket://host", False),
        ("socket://:4000", False),
        ("socket://host:0", False),
        ("socket://host:99999", False),
        ("rfc2217://[::1:4000", False),
        ("loop://", True),
        ("/dev/ttyACM77", True),
    ],
)
def test_an_address_has_host_and_number(port: str, whole: bool) -> None:
    scheme = port.partition(":")[0]
    sentence = ports.address_sentence(port)
    assert (sentence == "") is whole
    assert whole or f"such as {scheme}://bench.local:4000." in sentence


def test_where_nobody_listens_the_sentence_names_host_and_number() -> None:
    reasons = ((errno.ECONNREFUSED, "Connection refused"), (-2, "no host is"), (None, "no answer"))
    for number, why in reasons:
        said = ports.nobody_sentence("socket://[::1]:4000", number)
        assert said.startswith(f"Nothing listens at ::1, port 4000 ({why}")
    assert "is no whole address" in ports.nobody_sentence("socket://host", None)


def test_where_nothing_is_there_a_simulated_bench_is_no_board_that_was_unplugged() -> None:
    assert "not plugged in" in ports.no_port_sentence("/dev/ttyACM77")
    simulated = ports.no_port_sentence("./bench-port")
    assert "plugged" not in simulated
    assert "'benchd simulate' runs" in simulated


def test_a_link_is_as_real_as_what_it_leads_to(port: str, tmp_path: Path) -> None:
    name = tmp_path / "bench-port"
    for target, real in ((port, False), ("/dev/ttyACM77", True), (str(tmp_path / "no"), False)):
        name.unlink(missing_ok=True)
        name.symlink_to(target)
        assert ports.is_real(str(name)) is real


def test_a_terminal_device_is_real() -> None:
    # No machine is sure to have a serial port: any character device outside the ptys stands in.
    assert ports.is_real("/dev/null")


# What is there.


def descriptor(device: str, **fields: Any) -> Any:
    empty = {"description": "n/a", "product": None, "manufacturer": None, "serial_number": None}
    return SimpleNamespace(device=device, **(empty | {"vid": None, "pid": None} | fields))


def test_ports_are_listed_by_their_most_stable_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    by_id, by_path = tmp_path / "by-id", tmp_path / "by-path"
    by_id.mkdir()
    by_path.mkdir()
    first, second, third = Pty(), Pty(), Pty()
    (by_id / "usb-board_42-if00").symlink_to(first.path)
    (by_path / "pci-0:1").symlink_to(first.path)
    (by_path / "pci-0:2").symlink_to(second.path)
    told = [
        descriptor(third.path),
        descriptor(
            first.path, description="Board - CDC", product="Board", manufacturer="Maker",
            serial_number="42", vid=0x2341, pid=0x43,
        ),
    ]  # fmt: skip
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: told)
    found = ports.found_ports(str(by_id), str(by_path))
    assert [one.name for one in found] == [
        str(by_id / "usb-board_42-if00"), str(by_path / "pci-0:2"), third.path
    ]  # fmt: skip
    board, bare, unnamed = found
    assert board.device == first.path
    assert (board.description, board.maker, board.serial_number) == ("Board", "Maker", "42")
    assert board.usb_id == "2341:0043"
    assert [holder.pid for holder in board.holders] == [os.getpid()]
    assert board.allowed
    assert (bare.device, bare.description, bare.usb_id) == (second.path, "", "")
    assert (unnamed.name, unnamed.description) == (third.path, "")
    for pty in (first, second, third):
        pty.close()


def test_a_machine_without_ports_lists_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("serial.tools.list_ports.comports", list)
    assert ports.found_ports("/no/such/folder", "/no/such/folder") == []


def test_a_link_to_what_was_unplugged_meanwhile_is_left_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "usb-gone").symlink_to("/dev/ttyACM77")
    monkeypatch.setattr("serial.tools.list_ports.comports", list)
    assert ports.found_ports(str(tmp_path), "/no/such/folder") == []


def test_a_holder_is_written_with_its_number() -> None:
    assert str(Holder(7, "console")) == "console (process 7)"


def test_how_long_an_adapter_holds_bytes_is_read_where_its_driver_tells(tmp_path: Path) -> None:
    device = tmp_path / "ttyX1" / "device"
    device.mkdir(parents=True)
    port, system = "/dev/ttyX1", str(tmp_path)
    assert ports.adapter_wait_ms(port, system) is None
    assert ports.slow_sentence(port, system) == ""
    (device / "latency_timer").write_text("16\n")
    assert ports.adapter_wait_ms(port, system) == 16
    told = ports.slow_sentence(port, system)
    assert "up to 16 ms" in told
    assert f"'echo 1 | sudo tee {device}/latency_timer'" in told
    for wait_ms in (ports.WAIT_MAX_MS, ports.WAIT_MAX_MS + 1):
        (device / "latency_timer").write_text(f"{wait_ms}\n")
        assert bool(ports.slow_sentence(port, system)) is (wait_ms > ports.WAIT_MAX_MS)
    (device / "latency_timer").write_text("soon\n")
    assert ports.adapter_wait_ms(port, system) is None
