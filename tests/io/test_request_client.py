"""The blocking client of the commands against the real server, and against daemons that fail."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from benchd.io import request_client, request_socket
from benchd.io.paths import make_private, runtime_dir, socket_path
from benchd.io.request_client import Client, call
from benchd.io.request_errors import NoDaemon, Refused
from benchd.io.request_socket import Params, Refuse, Reply, Server

SOON_S = 5.0


class Daemon:
    """A real server on an event loop of its own, in a thread."""

    def __init__(self, path: str) -> None:
        self.loop = asyncio.new_event_loop()
        self.gone = threading.Semaphore(0)
        self.server: Server
        started = threading.Event()

        async def start() -> None:
            self.server = await request_socket.serve(path, self)
            started.set()

        def run() -> None:
            self.loop.run_until_complete(start())
            self.loop.run_forever()

        self._thread = threading.Thread(target=run)
        self._thread.start()
        assert started.wait(SOON_S)

    def on_request(
        self, client_id: int, method: str, params: Params, reply: Reply, refuse: Refuse
    ) -> None:
        match method:
            case "echo":
                self.server.publish("status", b"1")
                reply(params)
            case "refuse":
                refuse(-32001, "Not done: the guard is open.", {"condition": "IL-02"})
            case "news":
                reply(None)
                for n in (b"1", b"2"):
                    self.server.publish("trip", n)

    def on_gone(self, client_id: int) -> None:
        self.gone.release()

    def do(self, work: Callable[[], object]) -> None:
        self.loop.call_soon_threadsafe(work)

    def stop(self) -> None:
        if self._thread.is_alive():
            asyncio.run_coroutine_threadsafe(self.server.close(), self.loop).result(SOON_S)
            self.loop.call_soon_threadsafe(self.loop.stop)
            self._thread.join(SOON_S)
            self.loop.close()


@pytest.fixture
def runtime(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A runtime folder of the test's own, with a path short enough for a socket."""
    folder = tmp_path_factory.mktemp("r")
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(folder))
    make_private(runtime_dir())
    return folder


@pytest.fixture
def daemon(runtime: Path) -> Iterator[Daemon]:
    made = Daemon(socket_path("maize"))
    yield made
    made.stop()


@contextlib.contextmanager
def answering(*answers: bytes) -> Iterator[None]:
    """A daemon that gives these answers whatever is asked, and then closes."""
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(socket_path("maize"))
        listener.listen()
        listener.settimeout(SOON_S)

        def run() -> None:
            connection, _ = listener.accept()
            with connection:
                connection.settimeout(SOON_S)
                connection.recv(65_536)
                for answer in answers:
                    with contextlib.suppress(OSError):
                        connection.sendall(answer)

        thread = threading.Thread(target=run)
        thread.start()
        yield
        thread.join(SOON_S)


# Asking.


def test_a_result_comes_back(daemon: Daemon) -> None:
    assert call("maize", "echo", {"word": "é", "list": [1, None, 2.5]}) == {
        "word": "é", "list": [1, None, 2.5]
    }  # fmt: skip
    assert call("maize", "echo") == {}
    with Client("maize", path=socket_path("maize")) as client:
        assert [client.call("echo", {"n": n})["n"] for n in range(5)] == [0, 1, 2, 3, 4]


def test_the_daemon_hears_when_the_client_is_done(daemon: Daemon) -> None:
    """What stops a jog whose command was interrupted."""
    call("maize", "echo")
    assert daemon.gone.acquire(timeout=SOON_S)


def test_a_refusal_has_code_sentence_and_data(daemon: Daemon) -> None:
    with pytest.raises(Refused) as caught:
        call("maize", "refuse")
    assert caught.value.code == -32001
    assert str(caught.value) == caught.value.message == "Not done: the guard is open."
    assert caught.value.data == {"condition": "IL-02"}


def test_a_large_answer_comes_whole(daemon: Daemon) -> None:
    text = "x" * 900_000
    assert call("maize", "echo", {"text": text}) == {"text": text}


# Following.


def test_news_come_as_topic_and_data_until_the_daemon_ends(daemon: Daemon) -> None:
    with Client("maize") as client:
        news = client.follow(["trip"])
        daemon.do(lambda: daemon.server.publish("status", b'{"n":0}'))
        daemon.do(lambda: daemon.server.publish("trip", b'{"n":1}'))
        assert next(news) == ("trip", {"n": 1})
        daemon.do(lambda: daemon.server.publish("trip", b'{"n":2}'))
        assert next(news) == ("trip", {"n": 2})
        daemon.stop()
        assert list(news) == []


def test_without_topics_all_news_come(daemon: Daemon) -> None:
    with Client("maize") as client:
        news = client.follow()
        daemon.do(lambda: daemon.server.publish("status", b"1"))
        daemon.do(lambda: daemon.server.publish("trip", b"2"))
        assert [next(news), next(news)] == [("status", 1), ("trip", 2)]


def test_news_between_question_and_answer_are_left_out(daemon: Daemon) -> None:
    with Client("maize") as client:
        news = client.follow()
        assert client.call("echo", {"n": 1}) == {"n": 1}
        assert client.call("news") is None
        assert [next(news), next(news)] == [("trip", 1), ("trip", 2)]


# When nobody answers.


def sentence_of(bench: str = "maize", method: str = "echo", timeout_s: float = SOON_S) -> str:
    with pytest.raises(NoDaemon) as caught:
        call(bench, method, timeout_s=timeout_s)
    sentence = str(caught.value)
    assert sentence.endswith(".")
    assert "\n" not in sentence
    return sentence


def test_no_daemon_is_one_sentence(runtime: Path) -> None:
    expected = "No daemon for bench maize is running: start it with 'benchd serve'."
    assert sentence_of() == expected
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(socket_path("maize"))
    assert sentence_of() == expected


def test_a_name_too_long_for_a_socket_is_one_sentence(runtime: Path) -> None:
    assert "too long for a socket" in sentence_of("x" * 100)


def test_a_daemon_of_another_user_is_one_sentence(daemon: Daemon) -> None:
    path = socket_path("maize")
    os.chmod(path, 0)
    root = os.geteuid() == 0
    try:
        if root:
            # The folder belongs to root too, and nobody may not look into it.
            os.seteuid(65_534)
        assert sentence_of() == (
            "The daemon of bench maize belongs to another user: ask that user for access."
        )
    finally:
        if root:
            os.seteuid(0)
        os.chmod(path, 0o600)


def test_a_silent_daemon_is_given_up_after_the_time_allowed(daemon: Daemon) -> None:
    assert sentence_of(method="never", timeout_s=0.02) == (
        "The daemon of bench maize did not answer within 0.02 s: what was asked may or may not "
        "be done; look at the bench, then at its daemon."
    )


@pytest.mark.parametrize(
    "answer",
    [
        b"",
        b"not json\n",
        b"[1]\n",
        b"1\n",
        b"\xff\n",
        b'{"id": 1, "result"',
        pytest.param(b"x" * (17 * 1024 * 1024), id="endless", marks=pytest.mark.slow),
    ],
)
def test_a_daemon_that_ends_or_talks_nonsense_is_one_sentence(answer: bytes, runtime: Path) -> None:
    with answering(answer):
        assert sentence_of().startswith(
            "The daemon of bench maize closed the connection: what was asked may or may not"
        )


def test_answers_to_other_questions_are_let_pass(runtime: Path) -> None:
    stray = [{"jsonrpc": "2.0", "id": 7, "result": 1}, {"jsonrpc": "2.0", "method": "x", "id": 1}]
    good = {"jsonrpc": "2.0", "id": 1, "result": "mine"}
    with answering(*(json.dumps(line).encode() + b"\n" for line in [*stray, good])):
        assert call("maize", "echo", timeout_s=SOON_S) == "mine"


# Light to start.


@pytest.mark.slow
def test_importing_the_client_loads_no_event_loop_and_no_codec() -> None:
    code = "import sys, benchd.io.request_client; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded: set[Any] = set(done.stdout.split())
    assert request_client.__name__ in loaded
    heavy = {"asyncio", "msgspec", "serial", "sqlite3", "logging", "pathlib", "subprocess"}
    assert not loaded & heavy
