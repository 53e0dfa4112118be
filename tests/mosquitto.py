"""A real broker for tests, Debian's mosquitto on loopback in a folder of its own; and a watcher."""

from __future__ import annotations

import os
import queue
import select
import shutil
import signal
import socket
import ssl
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import paho.mqtt.client as paho
import pytest

from protocols import senml
from tests.waiting import WAIT_S

# A user's PATH on Debian has no folder of system programs.
PROGRAM = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin")


def need_mosquitto() -> str:
    """Return the broker's program; skip where there is none, and fail with CI=true."""
    if PROGRAM is None:
        text = "mosquitto is not installed (Debian package 'mosquitto')"
        if os.environ.get("CI") == "true":
            raise AssertionError(text)
        pytest.skip(text)
    return PROGRAM


def free_port() -> int:
    """Return a port of loopback that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class Mosquitto:
    """A broker that can be started, frozen, ended, and started again on the same port."""

    def __init__(self, folder: Path, *settings: str, anonymous: bool = True) -> None:
        self.port = free_port()
        self._program = need_mosquitto()
        self._config = folder / "mosquitto.conf"
        self.log = folder / "mosquitto.log"
        lines = [
            f"listener {self.port} 127.0.0.1",
            f"allow_anonymous {'true' if anonymous else 'false'}",
            # As root it would become a user who may not read the test's folder.
            "user root",
            "persistence false",
            "log_dest stderr",
            f"log_dest file {self.log}",
            *(f"log_type {kind}" for kind in ("error", "notice", "information", "subscribe")),
            *settings,
        ]
        self._config.write_text("\n".join(lines) + "\n")
        self._process: subprocess.Popen[bytes] | None = None
        self.start()

    def start(self) -> None:
        """Start it and wait until it listens."""
        self._process = subprocess.Popen(
            [self._program, "-c", str(self._config)], stderr=subprocess.PIPE, bufsize=0
        )
        assert self._process.stderr is not None
        said = b""
        end_s = time.monotonic() + WAIT_S
        while b"running" not in said:
            left_s = end_s - time.monotonic()
            ready = select.select([self._process.stderr], [], [], max(left_s, 0))[0]
            data = os.read(self._process.stderr.fileno(), 65_536) if ready else b""
            if not data:
                raise AssertionError(f"mosquitto does not run: {said.decode()}")
            said += data

    def freeze(self) -> None:
        """Stop it where it stands: connections stay open, nothing is read."""
        self._signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        self._signal(signal.SIGCONT)

    def end(self) -> None:
        """End it, frozen or not."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait(WAIT_S)
            assert process.stderr is not None
            process.stderr.close()

    def _signal(self, number: int) -> None:
        assert self._process is not None
        self._process.send_signal(number)


class Heard(NamedTuple):
    """A message as a watcher got it: values by the end of their names, and how it came."""

    topic: str
    values: dict[str, Any]
    time_s: float | None
    retained: bool

    @property
    def word(self) -> str:
        """The last level of the topic."""
        return self.topic.rpartition("/")[2]


class Watcher:
    """A subscriber to everything, with a library's thread of its own."""

    def __init__(
        self, port: int, *, user: str = "", password: str = "", tls: ssl.SSLContext | None = None
    ) -> None:
        self.heard: list[Heard] = []
        self._queue: queue.Queue[Heard] = queue.Queue()
        self._ready: queue.Queue[bool] = queue.Queue()
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        if user:
            self._client.username_pw_set(user, password)
        if tls is not None:
            self._client.tls_set_context(tls)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_connect = lambda client, *_: client.subscribe("#", qos=1)
        self._client.on_subscribe = lambda *_: self._ready.put(True)
        self._client.on_message = lambda _client, _data, message: self._queue.put(_read(message))
        # It must not take a broker that a test has frozen for gone, and come back too late.
        self._client.connect("localhost" if tls else "127.0.0.1", port, keepalive=3600)
        self._client.loop_start()
        self._ready.get(timeout=WAIT_S)

    def wait_for(self, word: str, right: Callable[[Heard], bool] = lambda _: True) -> Heard:
        """Wait for a message of a topic that is right; what came before counts, once."""
        for heard in self.heard:
            if heard.word == word and right(heard):
                self.heard.remove(heard)
                return heard
        end_s = time.monotonic() + WAIT_S
        while True:
            try:
                heard = self._queue.get(timeout=max(end_s - time.monotonic(), 0.001))
            except queue.Empty:
                raise AssertionError(
                    f"no '{word}' within {WAIT_S} s; heard {self.heard[-5:]}"
                ) from None
            if heard.word == word and right(heard):
                return heard
            self.heard.append(heard)

    def collect(self, words: set[str], last: Callable[[Heard], bool]) -> list[Heard]:
        """Return messages of these words in their order, up to and with the one that is last."""
        found = []
        while True:
            heard = self._queue.get(timeout=WAIT_S)
            if heard.word in words:
                found.append(heard)
                if last(heard):
                    return found

    def end(self) -> None:
        """Go away."""
        self._client.disconnect()
        self._client.loop_stop()


def _read(message: paho.MQTTMessage) -> Heard:
    records = senml.resolve(senml.decode(message.payload), 0.0)
    values: dict[str, Any] = {}
    for one in records:
        assert one.name is not None
        assert one.name.startswith(f"{message.topic}/")
        value = next(v for v in (one.value, one.text, one.truth) if v is not None)
        values[one.name.removeprefix(f"{message.topic}/")] = value
    return Heard(message.topic, values, records[0].time_s or None, message.retain)
