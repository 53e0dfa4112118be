"""Brokers that want proof, and brokers that are away, frozen, deaf or refusing."""

from __future__ import annotations

import os
import random
import socket
import ssl
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import trustme

from benchd.io import mqtt_broker
from benchd.io.mqtt_broker import PAUSE_S, PAUSE_S_MAX, Trouble, pause_s
from benchd.io.mqtt_follow import Cursor, load_cursor
from tests.io.mqtt_rig import Rig, broker_at, has_gap, once, portion_of
from tests.mosquitto import Heard, Mosquitto, Watcher, need_mosquitto

SECRET = "corn-husk-4711"
MakeRig = Callable[..., Rig]


@pytest.fixture
def make_rig(tmp_path: Path) -> Iterator[MakeRig]:
    rigs: list[Rig] = []

    def make(port: int, **changes: Any) -> Rig:
        folder = tmp_path / "bench"
        folder.mkdir(exist_ok=True)
        rigs.append(Rig(folder, broker_at(port, **changes)))
        return rigs[-1]

    yield make
    for rig in rigs:
        rig.end()


@pytest.fixture
def start_broker(tmp_path: Path) -> Iterator[Callable[..., Mosquitto]]:
    brokers: list[Mosquitto] = []

    def start(*settings: str, anonymous: bool = True) -> Mosquitto:
        folder = tmp_path / "broker"
        folder.mkdir()
        brokers.append(Mosquitto(folder, *settings, anonymous=anonymous))
        return brokers[-1]

    yield start
    for broker in brokers:
        broker.end()


def has_trouble(rig: Rig, text: str) -> Callable[[], bool]:
    return lambda: text in rig.out.status.trouble and not rig.out.status.connected


def is_portion(number: int) -> Callable[[Heard], bool]:
    return lambda heard: portion_of(heard) == number


def assert_no_secret(rig: Rig) -> None:
    """The secret is in nothing that the bench keeps, says or shows."""
    rig.end()
    kept = [path.read_bytes() for path in rig.folder.rglob("*") if path.is_file()]
    assert kept
    shown = [*rig.said, repr(rig.out.status), repr(rig.out._orders)]
    assert not [
        text for text in (*kept, *(one.encode() for one in shown)) if SECRET.encode() in text
    ]


def with_password(tmp_path: Path) -> tuple[str, ...]:
    """Settings of a broker that lets the user 'bench' in."""
    need_mosquitto()
    path = tmp_path / "users"
    subprocess.run(["mosquitto_passwd", "-c", "-b", path, "bench", SECRET], check=True)
    return (f"password_file {path}",)


@pytest.mark.slow
def test_user_and_password_from_a_file(
    tmp_path: Path, start_broker: Callable[..., Mosquitto], make_rig: MakeRig
) -> None:
    broker = start_broker(*with_password(tmp_path), anonymous=False)
    (tmp_path / "secret").write_text(f"{SECRET}\n")
    rig = make_rig(broker.port, user="bench", password_file=str(tmp_path / "secret"))
    watcher = Watcher(broker.port, user="bench", password=SECRET)
    assert watcher.wait_for("online").values["online"]
    watcher.end()
    assert_no_secret(rig)


@pytest.mark.slow
def test_user_and_password_from_the_environment(
    tmp_path: Path,
    start_broker: Callable[..., Mosquitto],
    make_rig: MakeRig,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    broker = start_broker(*with_password(tmp_path), anonymous=False)
    monkeypatch.setenv("BENCH_BROKER_WORD", SECRET)
    rig = make_rig(broker.port, user="bench", password_env="BENCH_BROKER_WORD")
    rig.wait_for(lambda: rig.out.status.connected)
    assert_no_secret(rig)


@pytest.mark.slow
def test_a_wrong_password_is_said_and_the_right_one_taken_without_a_restart(
    tmp_path: Path, start_broker: Callable[..., Mosquitto], make_rig: MakeRig
) -> None:
    broker = start_broker(*with_password(tmp_path), anonymous=False)
    (tmp_path / "secret").write_text("wrong\n")
    rig = make_rig(broker.port, user="bench", password_file=str(tmp_path / "secret"))
    rig.wait_for(has_trouble(rig, "refuses this user or password"))
    rig.weigh([1])
    rig.wait_for(lambda: rig.out.status.waiting == 1)
    (tmp_path / "secret").write_text(SECRET)
    rig.wait_for(lambda: rig.out.status.connected and rig.out.status.waiting == 0)
    assert_no_secret(rig)


@pytest.mark.slow
def test_a_missing_password_is_said(tmp_path: Path, make_rig: MakeRig) -> None:
    rig = make_rig(1, user="bench", password_file=str(tmp_path / "nowhere"))
    rig.wait_for(has_trouble(rig, "cannot be read"))


def test_a_variable_that_is_not_set_is_said() -> None:
    with pytest.raises(Trouble, match="has no 'BENCH_NOT_THERE'"):
        mqtt_broker.password(broker_at(1, user="bench", password_env="BENCH_NOT_THERE"))


@pytest.fixture
def certificates(tmp_path: Path) -> dict[str, str]:
    """Files of a broker's certificate for "localhost", its key, its authority, and another."""
    authority, other = trustme.CA(), trustme.CA()
    server = authority.issue_cert("localhost")
    parts = {
        "ca": authority.cert_pem,
        "other": other.cert_pem,
        "cert": server.cert_chain_pems[0],
        "key": server.private_key_pem,
    }
    for name, part in parts.items():
        part.write_to_path(tmp_path / f"{name}.pem")
    return {name: str(tmp_path / f"{name}.pem") for name in parts}


@pytest.fixture
def tls_broker(certificates: dict[str, str], start_broker: Callable[..., Mosquitto]) -> Mosquitto:
    return start_broker(f"certfile {certificates['cert']}", f"keyfile {certificates['key']}")


@pytest.mark.slow
def test_tls_with_a_certificate_of_our_own(
    certificates: dict[str, str], tls_broker: Mosquitto, make_rig: MakeRig
) -> None:
    rig = make_rig(tls_broker.port, host="localhost", tls=True, ca_file=certificates["ca"])
    trusted = ssl.create_default_context(cafile=certificates["ca"])
    watcher = Watcher(tls_broker.port, tls=trusted)
    assert watcher.wait_for("online").values["online"]
    rig.weigh([1])
    assert portion_of(watcher.wait_for("weight")) == 1
    rig.die()
    gone = watcher.wait_for("online", lambda heard: not heard.values["online"])
    assert gone.values["why"] == "gone without a word"
    watcher.end()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("host", "tls", "ca", "says"),
    [
        ("localhost", True, "other", "not trusted"),
        ("127.0.0.1", True, "ca", "not trusted"),
        ("localhost", True, "key", "cannot be used"),
        ("localhost", False, "", "does not answer"),
    ],
)
def test_tls_that_does_not_fit_is_said(
    host: str,
    tls: bool,
    ca: str,
    says: str,
    certificates: dict[str, str],
    tls_broker: Mosquitto,
    make_rig: MakeRig,
) -> None:
    rig = make_rig(tls_broker.port, host=host, tls=tls, ca_file=certificates.get(ca, ""))
    rig.wait_for(has_trouble(rig, says))


@pytest.mark.slow
def test_a_broker_that_was_away_is_told_what_it_missed(
    start_broker: Callable[..., Mosquitto], make_rig: MakeRig
) -> None:
    broker = start_broker()
    rig = make_rig(broker.port)
    watcher = Watcher(broker.port)
    rig.weigh([1])
    first = watcher.wait_for("weight")
    watcher.end()
    # What the broker passed on and did not acknowledge would go out once more.
    rig.wait_for(lambda: rig.out.status.waiting == 0)
    broker.end()
    rig.wait_for(has_trouble(rig, "The broker 127.0.0.1"))
    rig.weigh([2, 3, 4])
    rig.wait_for(lambda: rig.out.status.waiting == 3)
    broker.start()
    watcher = Watcher(broker.port)
    rig.weigh([5])
    # Of a watcher that came with the broker, or a moment later, what it misses shows as a gap.
    heard = once(watcher.collect({"weight"}, is_portion(5)))
    assert [portion_of(one) for one in heard] == list(range(6 - len(heard), 6))
    assert has_gap([first, *heard]) == (len(heard) < 4)
    assert rig.out.status.dropped == 0
    rig.wait_for(lambda: rig.out.status.connected and rig.out.status.waiting == 0)
    watcher.end()


@pytest.mark.slow
def test_of_what_a_frozen_broker_missed_the_newest_arrive_and_the_gap_shows(
    start_broker: Callable[..., Mosquitto], make_rig: MakeRig
) -> None:
    broker = start_broker()
    rig = make_rig(broker.port, keep=5)
    watcher = Watcher(broker.port)
    rig.weigh([1])
    first = watcher.wait_for("weight")
    # Not before the broker has said that it took it, else it waits to go out once more.
    rig.wait_for(lambda: load_cursor(rig.folder) == Cursor("a", 1, 0))
    broker.freeze()
    rig.wait_for(has_trouble(rig, "does not answer"))
    rig.weigh(range(2, 22))
    rig.wait_for(lambda: rig.out.status.dropped == 15)
    assert rig.out.status.waiting == 5
    broker.thaw()
    heard = once(watcher.collect({"weight"}, is_portion(21)))
    assert [portion_of(one) for one in heard] == [17, 18, 19, 20, 21]
    assert has_gap([first, *heard])
    assert not has_gap(heard)
    watcher.wait_for(
        "state", lambda heard: (heard.values["waiting"], heard.values["dropped"]) == (0, 15)
    )
    # A connection that the broker had not seen end, and its will, come before the new one.
    watcher.wait_for("online", lambda heard: heard.values["online"])
    watcher.end()


class Deaf:
    """A listener that takes connections, and either says nothing or hangs up."""

    def __init__(self, *, hangs_up: bool) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self.taken: list[socket.socket] = []
        self._hangs_up = hangs_up
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            self.taken.append(connection)
            if self._hangs_up:
                connection.close()

    def end(self) -> None:
        """Hang up on everybody."""
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._thread.join()
        for connection in self.taken:
            connection.close()


@pytest.mark.slow
@pytest.mark.parametrize("hangs_up", [False, True])
def test_each_try_leaves_nothing_behind(hangs_up: bool, make_rig: MakeRig) -> None:
    deaf = Deaf(hangs_up=hangs_up)
    rig = make_rig(deaf.port)
    rig.wait_for(lambda: len(deaf.taken) == 2)
    rig.wait_for(has_trouble(rig, "does not answer"))
    files = Path(f"/proc/{rig.out.pid}/fd")
    if files.exists():
        before = len(os.listdir(files))
        rig.wait_for(lambda: len(deaf.taken) == 3)
        # A try that is under way holds a few; what it leaves would never be let go of.
        rig.wait_for(lambda: len(os.listdir(files)) <= before)
    rig.weigh([1])
    rig.wait_for(lambda: rig.out.status.waiting == 1)
    deaf.end()


@pytest.mark.slow
def test_a_port_where_nobody_listens(make_rig: MakeRig) -> None:
    rig = make_rig(1)
    rig.wait_for(has_trouble(rig, "is not running"))
    (text,) = rig.said
    assert text.startswith("MQTT: The broker 127.0.0.1, port 1, is not running")


def test_pauses_grow_and_differ(seed: int) -> None:
    chance = random.Random(seed)
    for tries in range(100):
        whole_s = min(PAUSE_S * 2**tries, PAUSE_S_MAX)
        assert whole_s / 2 <= pause_s(tries, chance.random()) <= whole_s
    assert pause_s(0, 0.0) == 0.25
    assert pause_s(10**6, 1.0) == PAUSE_S_MAX
