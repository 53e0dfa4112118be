"""The daemon's socket with real clients: the JSON-RPC 2.0 rules, and clients that misbehave."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest

from benchd.io import request_socket
from benchd.io.request_socket import LINES_A_TURN, REQUEST_BYTES_MAX
from tests.io.socket_rig import SENTINEL, SENTINEL_ANSWER, Rig, ask

# Source: JSON-RPC 2.0 specification, section 7; in the file with its own source line.
EXAMPLES = json.loads(
    (Path(__file__).parent.parent / "data" / "jsonrpc2-spec-examples.json").read_text()
)


@pytest.fixture
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a path short enough for a socket."""
    return tmp_path_factory.mktemp("s")


@pytest.fixture
async def rig(folder: Path) -> AsyncIterator[Rig]:
    made = Rig(folder)
    await made.start()
    yield made
    await made.stop()


# The specification.


@pytest.mark.parametrize("case", EXAMPLES["cases"], ids=lambda case: case["req"][:60])
async def test_the_examples_of_the_specification(case: dict[str, Any], rig: Rig) -> None:
    peer = await rig.peer()
    peer.say(case["req"].encode(), SENTINEL)
    if case["res"] is not None:
        assert await peer.hear() == case["res"]
    assert await peer.hear() == SENTINEL_ANSWER


def test_the_codes_are_those_of_the_specification() -> None:
    ours = {
        request_socket.PARSE_ERROR: "Parse error",
        request_socket.INVALID_REQUEST: "Invalid Request",
        request_socket.METHOD_NOT_FOUND: "Method not found",
        request_socket.INVALID_PARAMS: "Invalid params",
        request_socket.INTERNAL_ERROR: "Internal error",
    }
    theirs = EXAMPLES["codes"]
    assert {str(code): word for code, word in ours.items()}.items() <= theirs.items()


async def test_a_batch_is_answered_in_one_piece_without_its_notifications(rig: Rig) -> None:
    peer = await rig.peer()
    batch = [
        {"jsonrpc": "2.0", "method": "sum", "params": [1, 2, 4], "id": "1"},
        {"jsonrpc": "2.0", "method": "notify_hello", "params": [7]},
        {"foo": "boo"},
        {"jsonrpc": "2.0", "method": "foo.get", "params": {"name": "myself"}, "id": "5"},
        ask("fail", 6),
        ask("get_data", "9"),
    ]
    asyncio.get_running_loop().set_exception_handler(lambda *_: None)
    peer.say(batch)
    answers = await peer.hear()
    assert [
        (answer.get("result"), answer.get("error", {}).get("code"), answer["id"])
        for answer in answers
    ] == [
        (7, None, "1"),
        (None, -32600, None),
        (None, -32601, "5"),
        (None, -32603, 6),
        (["hello", 5], None, "9"),
    ]


@pytest.mark.parametrize("ask_id", [0, -1, 1.5, "", "a\nb", None, 2**53])
async def test_the_answer_has_the_number_of_the_request(ask_id: Any, rig: Rig) -> None:
    peer = await rig.peer()
    peer.say(ask("sum", ask_id) | {"params": [2, 3]})
    assert await peer.hear() == {"jsonrpc": "2.0", "result": 5, "id": ask_id}


@pytest.mark.parametrize(
    ("said", "ask_id"),
    [
        (1, None),
        ("x", None),
        (None, None),
        ({}, None),
        (ask("sum") | {"jsonrpc": "1.0"}, 1),
        (ask("sum") | {"jsonrpc": 2.0}, 1),
        ({"method": "sum", "id": 2}, 2),
        (ask("sum") | {"params": None}, 1),
        (ask("sum") | {"params": "x"}, 1),
        (ask("sum") | {"method": None}, 1),
        (ask("sum", True), None),
        (ask("sum", [1]), None),
        (ask("sum", {}), None),
    ],
)
async def test_an_unsound_request_is_told_so(said: Any, ask_id: Any, rig: Rig) -> None:
    peer = await rig.peer()
    peer.say(said, SENTINEL)
    error = {"code": -32600, "message": "Invalid Request"}
    assert await peer.hear() == {"jsonrpc": "2.0", "error": error, "id": ask_id}
    assert await peer.hear() == SENTINEL_ANSWER
    assert [method for _, method in rig.handler.asked] == ["get_data"]


@pytest.mark.parametrize(
    "line", [b"{", b"\xff\xfe", b'"\xff"', b"[" * 100_000, b"NaN", b"{} {}", b"\x00"]
)
async def test_what_is_no_json_is_told_so(line: bytes, rig: Rig) -> None:
    peer = await rig.peer()
    peer.say(line, SENTINEL)
    assert (await peer.hear())["error"]["code"] == -32700
    assert await peer.hear() == SENTINEL_ANSWER


async def test_empty_lines_and_carriage_returns_are_let_pass(rig: Rig) -> None:
    peer = await rig.peer()
    peer.say(b"", b"  ", b"\r", json.dumps(SENTINEL).encode() + b"\r")
    assert await peer.hear() == SENTINEL_ANSWER


async def test_how_bytes_are_cut_makes_no_difference(rig: Rig) -> None:
    peer = await rig.peer()
    data = b"".join(json.dumps(ask("echo", n, word="é" * n)).encode() + b"\n" for n in range(20))
    for byte in data:
        peer.writer.write(bytes([byte]))
        await asyncio.sleep(0)
    assert [await peer.hear() for _ in range(20)] == [
        {"jsonrpc": "2.0", "result": {"word": "é" * n}, "id": n} for n in range(20)
    ]


# Answers.


async def test_answers_may_come_later_and_in_another_order(rig: Rig) -> None:
    peer = await rig.peer()
    peer.say(ask("later", 1), ask("later", 2), SENTINEL)
    assert await peer.hear() == SENTINEL_ANSWER
    (first, _), (_, second) = rig.handler.held
    second(-32001, "Not done.", {"value": 3})
    first({"done": True})
    data = {"code": -32001, "message": "Not done.", "data": {"value": 3}}
    assert await peer.hear() == {"jsonrpc": "2.0", "error": data, "id": 2}
    assert await peer.hear() == {"jsonrpc": "2.0", "result": {"done": True}, "id": 1}


async def test_a_batch_waits_for_its_last_answer_and_keeps_its_order(rig: Rig) -> None:
    peer = await rig.peer()
    peer.say([ask("later", 1), ask("refuse", 2), ask("later", 3)], SENTINEL)
    assert await peer.hear() == SENTINEL_ANSWER
    for reply, _ in reversed(rig.handler.held):
        reply("late")
    answers = await peer.hear()
    assert [answer["id"] for answer in answers] == [1, 2, 3]
    assert answers[1]["error"] == {
        "code": -32001, "message": "Not done.", "data": {"condition": "IL-09"}
    }  # fmt: skip


async def test_only_the_first_answer_counts(rig: Rig) -> None:
    peer = await rig.peer()
    peer.say(ask("twice", 1), SENTINEL)
    assert (await peer.hear())["result"] == 1
    assert await peer.hear() == SENTINEL_ANSWER


async def test_an_answer_to_a_notification_or_to_nobody_is_let_drop(rig: Rig) -> None:
    peer = await rig.peer()
    peer.say({"jsonrpc": "2.0", "method": "later"}, ask("later"), SENTINEL)
    await peer.hear()
    rig.handler.held[0][0]("for nobody")
    peer.writer.close()
    await rig.until(lambda: rig.handler.gone)
    rig.handler.held[1][0]("too late")
    other = await rig.peer()
    other.say(SENTINEL)
    assert await other.hear() == SENTINEL_ANSWER


async def test_a_handler_that_fails_answers_and_is_told_to_the_loop(rig: Rig) -> None:
    told: list[dict[str, Any]] = []
    asyncio.get_running_loop().set_exception_handler(lambda _, context: told.append(context))
    peer = await rig.peer()
    peer.say(ask("fail"), SENTINEL)
    error = {"code": -32603, "message": "Internal error"}
    assert await peer.hear() == {"jsonrpc": "2.0", "error": error, "id": 1}
    assert await peer.hear() == SENTINEL_ANSWER
    (context,) = told
    assert str(context["exception"]) == "a bug"


# Clients that misbehave.


async def test_a_request_too_large_is_dropped_and_the_next_is_heard(rig: Rig) -> None:
    peer = await rig.peer()
    largest = ask("sum") | {"params": [0]}
    padding = REQUEST_BYTES_MAX - len(json.dumps(largest))
    peer.say(json.dumps(largest).encode() + b" " * padding)
    assert (await peer.hear())["result"] == 0
    peer.say(b" " * (REQUEST_BYTES_MAX + 1), SENTINEL)
    assert (await peer.hear())["error"]["message"] == "Invalid Request: over 1 MiB."
    assert await peer.hear() == SENTINEL_ANSWER
    peer.say(b"x" * (3 * REQUEST_BYTES_MAX), SENTINEL)
    assert (await peer.hear())["error"]["code"] == -32600
    assert await peer.hear() == SENTINEL_ANSWER


async def test_a_flood_is_answered_in_order_and_lets_others_in_between(rig: Rig) -> None:
    flood, other = await rig.peer(), await rig.peer()
    count = 10 * LINES_A_TURN
    # In one piece, so that it is all there at once; the other client comes right behind it.
    flood.writer.write(b"".join(json.dumps(ask("echo", n)).encode() + b"\n" for n in range(count)))
    other.say(SENTINEL)
    assert await other.hear() == SENTINEL_ANSWER
    assert [(await flood.hear())["id"] for _ in range(count)] == list(range(count))
    clients = [client for client, _ in rig.handler.asked]
    assert clients.index(2) <= 4 * LINES_A_TURN


async def test_a_client_that_asks_and_never_reads_is_dropped(rig: Rig) -> None:
    peer = await rig.peer()
    peer.writer.transport.pause_reading()  # type: ignore[attr-defined]
    # Many small questions in one piece, each with a large answer: more than one turn's work.
    rig.handler.large = "x" * 100_000
    count = 3 * LINES_A_TURN
    peer.writer.write(json.dumps(ask("large")).encode() + b"\n")
    await rig.until(lambda: rig.handler.asked)
    peer.writer.write((json.dumps(ask("large")).encode() + b"\n") * count)
    await rig.until(lambda: rig.handler.gone == [1])
    assert rig.server.dropped == 1
    assert len(rig.handler.asked) <= 2 * LINES_A_TURN, "the rest was still worked off"


async def test_each_client_that_goes_is_told_once(rig: Rig) -> None:
    peers = [await rig.peer() for _ in range(3)]
    await rig.until(lambda: rig.server.client_count == 3)
    peers[1].writer.close()
    await rig.until(lambda: rig.server.client_count == 2)
    assert rig.handler.gone == [2]
