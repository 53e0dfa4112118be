"""The daemon's Unix socket: JSON-RPC 2.0, one object or batch a line.

Any number of clients; none is ever waited for. What is asked is told to a handler, which answers
at once or later, such as after a commit. Watchers are clients that asked to `follow`.
"""

from __future__ import annotations

import asyncio
import contextlib
import fcntl
import os
import socket
import struct
from collections import deque
from collections.abc import Callable
from typing import Any, Protocol

import msgspec

REQUEST_BYTES_MAX = 1024 * 1024
"""A longer request is dropped and answered with an error."""

UNSENT_BYTES_MAX = 1024 * 1024
"""A client that lets more than this lie unread is dropped."""

GATHER_S = 0.02
"""News of so much time go out together: most of what a watcher costs is the call for each piece."""

LINES_A_TURN = 32
"""Requests of one client handled before the event loop serves others."""

PARSE_ERROR = -32700
INVALID_REQUEST = -32600
METHOD_NOT_FOUND = -32601
INVALID_PARAMS = -32602
INTERNAL_ERROR = -32603

Params = dict[str, Any] | list[Any]
Reply = Callable[[Any], None]
Refuse = Callable[[int, str, Any], None]
_encode = msgspec.json.Encoder().encode


class DaemonRunning(Exception):
    """Another daemon serves this bench; the text says so in one sentence."""


class Handler(Protocol):
    """Whoever answers requests."""

    def on_request(
        self, client_id: int, method: str, params: Params, reply: Reply, refuse: Refuse
    ) -> None:
        """Take a request; call one of `reply(result)`, `refuse(code, message, data)`, once.

        At once or later; after the client is gone both do nothing. For a notification, which wants
        no answer, they do nothing either.
        """
        ...

    def on_gone(self, client_id: int) -> None:
        """The client closed its connection, or was dropped; told once for each."""
        ...


class Server:
    """An open socket with its clients."""

    def __init__(self, path: str, handler: Handler, lock: int) -> None:
        self.path = path
        self.dropped = 0
        self._handler = handler
        self._lock = lock
        self._clients: dict[int, _Client] = {}
        self._next_id = 1
        self._kept: dict[str, bytes] = {}
        self._news: list[tuple[str, bytes]] = []
        self._listener: asyncio.Server | None = None

    @property
    def client_count(self) -> int:
        """Clients connected now."""
        return len(self._clients)

    def publish(self, topic: str, payload: bytes, *, keep: bool = False) -> None:
        """Send news, a JSON value, to all that follow the topic, within GATHER_S; never waits.

        With `keep`, a client that begins to follow later gets the last of it at once.
        """
        line = b'{"jsonrpc":"2.0","method":%b,"params":%b}\n' % (_encode(topic), payload)
        if keep:
            self._kept[topic] = line
        if not self._news:
            asyncio.get_running_loop().call_later(GATHER_S, self.send_news)
        self._news.append((topic, line))

    def send_news(self) -> None:
        """Send what was published since the last time, in one piece to each client."""
        news, self._news = self._news, []
        if not news:
            return
        everything = b"".join(line for _, line in news)
        for client in [*self._clients.values()]:
            follows = client.follows
            if follows is None:
                continue
            if follows:
                client.write(b"".join(line for topic, line in news if topic in follows))
            else:
                client.write(everything)

    def handle(self, client_id: int, ask: _Ask) -> None:
        """Give a sound request to the handler, or answer it here."""
        if ask.method == "follow":
            self._follow(client_id, ask)
            return
        try:
            self._handler.on_request(client_id, ask.method, ask.params, ask.reply, ask.refuse)
        except Exception as error:
            # The client gets an answer, the daemon's log the traceback; the bench goes on.
            ask.refuse(INTERNAL_ERROR, "Internal error", None)
            context = {"message": f"Request '{ask.method}' failed.", "exception": error}
            asyncio.get_running_loop().call_exception_handler(context)

    def _follow(self, client_id: int, ask: _Ask) -> None:
        topics = ask.params.get("topics", []) if isinstance(ask.params, dict) else ask.params
        if not isinstance(topics, list) or not all(isinstance(topic, str) for topic in topics):
            ask.refuse(INVALID_PARAMS, "Invalid params: 'topics' is a list of words.", None)
            return
        client = self._clients[client_id]
        client.follows = frozenset(topics)
        ask.reply(True)
        for topic, line in self._kept.items():
            if not topics or topic in topics:
                client.write(line)

    def connect(self) -> _Client:
        """Make the protocol object of a new connection."""
        client = _Client(self, self._next_id)
        self._next_id += 1
        return client

    def add(self, client: _Client) -> None:
        """A connection is open."""
        self._clients[client.id] = client

    def remove(self, client: _Client) -> None:
        """A connection is closed."""
        del self._clients[client.id]
        self._handler.on_gone(client.id)

    async def listen(self, bound: socket.socket) -> None:
        """Begin to take connections."""
        loop = asyncio.get_running_loop()
        self._listener = await loop.create_unix_server(self.connect, sock=bound, backlog=64)

    async def close(self) -> None:
        """Close the socket and all connections; the path is free for another daemon then."""
        if self._listener is not None:
            self._listener.close()
            self.send_news()
            for client in [*self._clients.values()]:
                client.close()
            self._listener = None
            with contextlib.suppress(FileNotFoundError):
                os.unlink(self.path)
            os.close(self._lock)
        await asyncio.sleep(0)


class _Ask:
    """One request: what is asked, and where its answer goes. `put` is None for a notification."""

    def __init__(
        self, method: str, params: Params, ask_id: Any, put: Callable[[bytes], None] | None
    ) -> None:
        self.method = method
        self.params = params
        self._id = ask_id
        self._put = put

    def reply(self, result: Any) -> None:
        """Answer with a result; only the first answer counts."""
        self._answer({"jsonrpc": "2.0", "result": result, "id": self._id})

    def refuse(self, code: int, message: str, data: Any = None) -> None:
        """Answer with an error; only the first answer counts."""
        self._answer(_error(self._id, code, message, data))

    def _answer(self, answer: dict[str, Any]) -> None:
        if self._put is not None:
            encoded = _encode(answer)
            put, self._put = self._put, None
            put(encoded)


def _error(ask_id: Any, code: int, message: str, data: Any = None) -> dict[str, Any]:
    error = {"code": code, "message": message}
    if data is not None:
        error["data"] = data
    return {"jsonrpc": "2.0", "error": error, "id": ask_id}


class _Batch:
    """Collects the answers to a batch, in the order asked; sends them when the last is there."""

    def __init__(self, send: Callable[[bytes], None]) -> None:
        self._send = send
        self._answers: list[bytes] = []
        self._missing = 1

    def place(self) -> Callable[[bytes], None]:
        """Reserve a place; what is returned takes its answer."""
        place = len(self._answers)
        self._answers.append(b"")
        self._missing += 1

        def put(answer: bytes) -> None:
            self._answers[place] = answer
            self.end()

        return put

    def end(self) -> None:
        """One thing less to wait for; the last call is that every member has been read."""
        self._missing -= 1
        if not self._missing and self._answers:
            self._send(b"[" + b",".join(self._answers) + b"]")


class _Client(asyncio.Protocol):
    """One connection."""

    def __init__(self, server: Server, client_id: int) -> None:
        self.id = client_id
        self.follows: frozenset[str] | None = None
        self._server = server
        self._transport: asyncio.Transport | None = None
        self._rest = b""
        self._skipping = False
        self._lines: deque[bytes] = deque()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        self._server.add(self)

    def connection_lost(self, exc: Exception | None) -> None:
        self._transport = None
        self._lines.clear()
        self._server.remove(self)

    def close(self) -> None:
        """Close the connection once what was written is out."""
        if self._transport is not None:
            self._transport.close()

    def write(self, line: bytes) -> None:
        """Send lines, or drop the client if it has stopped reading."""
        transport = self._transport
        if not line or transport is None or transport.is_closing():
            return
        transport.write(line)
        if transport.get_write_buffer_size() > UNSENT_BYTES_MAX:
            self._server.dropped += 1
            transport.abort()

    def _send(self, answer: bytes) -> None:
        # What was published before an answer also arrives before it.
        self._server.send_news()
        self.write(answer + b"\n")

    def data_received(self, data: bytes) -> None:
        lines = (self._rest + data).split(b"\n")
        self._rest = lines.pop()
        if self._skipping and lines:
            del lines[0]
            self._skipping = False
        if self._skipping or len(self._rest) > REQUEST_BYTES_MAX:
            if not self._skipping:
                self._skipping = True
                lines.append(self._rest)
            self._rest = b""
        idle = not self._lines
        self._lines.extend(lines)
        if idle:
            self._work()

    def _work(self) -> None:
        for _ in range(LINES_A_TURN):
            if not self._lines:
                break
            self._line(self._lines.popleft())
        transport = self._transport
        if transport is None or transport.is_closing():
            return
        if self._lines:
            transport.pause_reading()
            asyncio.get_running_loop().call_soon(self._work)
        else:
            transport.resume_reading()

    def _line(self, line: bytes) -> None:
        if len(line) > REQUEST_BYTES_MAX:
            self._send(_encode(_error(None, INVALID_REQUEST, "Invalid Request: over 1 MiB.")))
            return
        if not line.strip():
            return
        try:
            said = msgspec.json.decode(line)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
            self._send(_encode(_error(None, PARSE_ERROR, "Parse error")))
            return
        if not isinstance(said, list):
            self._one(said, self._send)
        elif not said:
            self._send(_encode(_error(None, INVALID_REQUEST, "Invalid Request")))
        else:
            batch = _Batch(self._send)
            for member in said:
                self._one(member, batch.place() if _wants_answer(member) else None)
            batch.end()

    def _one(self, said: Any, put: Callable[[bytes], None] | None) -> None:
        ask_id = said.get("id") if isinstance(said, dict) else None
        if not _is_sound(said):
            assert put is not None
            put(
                _encode(
                    _error(ask_id if _is_id(ask_id) else None, INVALID_REQUEST, "Invalid Request")
                )
            )
            return
        ask = _Ask(said["method"], said.get("params", {}), ask_id, put if "id" in said else None)
        self._server.handle(self.id, ask)


def _is_id(value: Any) -> bool:
    return value is None or type(value) in (str, int, float)


def _is_sound(said: Any) -> bool:
    return (
        isinstance(said, dict)
        and said.get("jsonrpc") == "2.0"
        and isinstance(said.get("method"), str)
        and isinstance(said.get("params", {}), dict | list)
        and _is_id(said.get("id"))
    )


def _wants_answer(said: Any) -> bool:
    return not _is_sound(said) or "id" in said


async def serve(path: str, handler: Handler, *, bench: str = "") -> Server:
    """Listen at `path` for clients of this bench, which must be the same user's.

    The socket file of a daemon that died is replaced.

    Raises: DaemonRunning when another daemon listens there; OSError when the path cannot be used.
    """
    lock = os.open(f"{path}.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
    try:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise DaemonRunning(_running(bench or path, peer_process(path))) from None
        # The lock's file may have been cleared away under a living daemon.
        process = peer_process(path)
        if process is not None:
            raise DaemonRunning(_running(bench or path, process))
        bound = _bind(path)
    except BaseException:
        os.close(lock)
        raise
    server = Server(path, handler, lock)
    await server.listen(bound)
    return server


def _bind(path: str) -> socket.socket:
    # Nobody listens and the lock is ours: what lies here was left by a daemon that died.
    with contextlib.suppress(FileNotFoundError):
        os.unlink(path)
    bound = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        bound.bind(path)
        # Nobody can connect before it listens, so nobody slips in before this.
        os.chmod(path, 0o600)
    except OSError:
        bound.close()
        raise
    return bound


def _running(bench: str, process: int | None) -> str:
    who = f" (process {process})" if process else ""
    return f"A daemon for bench {bench} is already running{who}: use that one, or end it first."


def peer_process(path: str) -> int | None:
    """The number of the process that listens at a socket; None if none does or none is told."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        try:
            probe.settimeout(1.0)
            probe.connect(path)
            # macOS has another way for this, which is not worth the code here.
            credentials = probe.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, 12)
        except (OSError, AttributeError):
            return None
        process: int = struct.unpack("3i", credentials)[0]
        return process
