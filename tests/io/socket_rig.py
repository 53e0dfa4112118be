"""A server of requests with a handler and clients for its tests."""

from __future__ import annotations

import asyncio
import contextlib
import json
from pathlib import Path
from typing import Any

from benchd.io import request_socket
from benchd.io.request_socket import Params, Refuse, Reply, Server, serve

SOON_S = 5.0
SENTINEL = {"jsonrpc": "2.0", "method": "get_data", "id": "sentinel"}
SENTINEL_ANSWER = {"jsonrpc": "2.0", "result": ["hello", 5], "id": "sentinel"}


class Sums:
    """The methods of the specification's examples, some that answer later, and a book of calls."""

    def __init__(self) -> None:
        self.asked: list[tuple[int, str]] = []
        self.gone: list[int] = []
        self.held: list[tuple[Reply, Refuse]] = []
        self.large = ""

    def on_request(
        self, client_id: int, method: str, params: Params, reply: Reply, refuse: Refuse
    ) -> None:
        self.asked.append((client_id, method))
        match method:
            case "subtract":
                first, second = (
                    params
                    if isinstance(params, list)
                    else (params["minuend"], params["subtrahend"])
                )
                reply(first - second)
            case "sum":
                reply(sum(params))
            case "get_data":
                reply(["hello", 5])
            case "echo":
                reply(params)
            case "large":
                reply(self.large)
            case "update" | "notify_sum" | "notify_hello":
                pass
            case "later":
                self.held.append((reply, refuse))
            case "twice":
                reply(1)
                reply(2)
                refuse(-32602, "Invalid params", None)
            case "refuse":
                refuse(-32001, "Not done.", {"condition": "IL-09"})
            case "fail":
                raise RuntimeError("a bug")
            case _:
                refuse(request_socket.METHOD_NOT_FOUND, "Method not found", None)

    def on_gone(self, client_id: int) -> None:
        self.gone.append(client_id)


class Peer:
    """One client of the tests."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader = reader
        self.writer = writer

    def say(self, *lines: Any) -> None:
        for line in lines:
            data = line if isinstance(line, bytes) else json.dumps(line).encode()
            self.writer.write(data + b"\n")

    async def hear(self) -> Any:
        line = await asyncio.wait_for(self.reader.readline(), SOON_S)
        assert line.endswith(b"\n"), "the connection was closed"
        return json.loads(line)

    async def closed(self) -> bool:
        try:
            return await asyncio.wait_for(self.reader.read(), SOON_S) == b""
        except ConnectionResetError:
            return True


class Rig:
    """A server in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.path = str(folder / "s")
        self.handler = Sums()
        self.peers: list[Peer] = []

    async def start(self, **how: Any) -> Server:
        self.server = await serve(self.path, self.handler, bench="maize", **how)
        return self.server

    async def peer(self) -> Peer:
        made = Peer(*await asyncio.open_unix_connection(self.path, limit=2**24))
        self.peers.append(made)
        return made

    async def until(self, true: Any) -> None:
        async with asyncio.timeout(SOON_S):
            while not true():
                await asyncio.sleep(0)

    async def stop(self) -> None:
        await self.server.close()
        for peer in self.peers:
            peer.writer.close()
            with contextlib.suppress(OSError):
                await peer.writer.wait_closed()


def ask(method: str, ask_id: Any = 1, **params: Any) -> dict[str, Any]:
    return {"jsonrpc": "2.0", "method": method, "params": params, "id": ask_id}
