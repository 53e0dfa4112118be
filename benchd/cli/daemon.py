"""Which daemon a command talks to, and the few ways in which commands ask it."""

from __future__ import annotations

import argparse
import json
import socket
import time
from typing import TYPE_CHECKING, Any

from benchd.cli.command import Usage, Wrong, note, say
from benchd.io import paths
from benchd.io.request_client import Client, NoDaemon, Refused

if TYPE_CHECKING:
    from protocols.status import BenchStatus

QUESTION = -32002
NO_SUCH_REQUEST = -32601
"""Error codes of `protocols.requests`, which loads slowly (a test compares), and JSON-RPC 2.0."""

RESTING = ("IL-03", "IL-04")
"""Interlocks that ask for a time at rest: the feed's, the cutter's at home; values in ms."""
STOPPED = "stopped"
"""Condition of a refusal that means: begun, then stopped by somebody."""

NOT_HEARD = (
    "No word comes from the board, so nobody here can say that it stopped: press the emergency "
    "stop, shut and vent the air."
)

PATIENCE_S = 0.5
"""How long a command waits for that rest before it gives up and says so."""


def bench_of(options: argparse.Namespace) -> str:
    """Return which bench is meant: the one named, else the only one that runs.

    Raises: NoDaemon when none runs, Usage when several do.
    """
    if options.bench:
        return str(options.bench)
    names = paths.benches()
    if len(names) > 1:
        names = [name for name in names if _listens(name)]
    if not names:
        raise NoDaemon("No daemon is running: start one with 'benchd serve bench.yaml'.")
    if len(names) > 1:
        raise Usage(f"More than one bench runs ({', '.join(names)}): say which with --bench NAME.")
    return names[0]


def _listens(name: str) -> bool:
    """Whether somebody serves this socket; a daemon that was killed leaves it behind."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.settimeout(1.0)
        try:
            probe.connect(paths.socket_path(name))
        except (OSError, paths.PathError):
            return False
        return True


def connect(options: argparse.Namespace, timeout_s: float | None = 10.0) -> Client:
    """Return a connection to the bench that is meant.

    Raises: NoDaemon, Usage.
    """
    return Client(bench_of(options), timeout_s, on_wait=_tick)


def _tick(method: str, seconds: float) -> None:
    from benchd.cli import progress

    progress.tick(method, seconds)


def status_of(client: Client) -> BenchStatus:
    """Return what the bench is at."""
    from tui import view

    return view.from_json(client.call("status"))


def show(options: argparse.Namespace, result: Any, text: str) -> None:
    """Print an answer: as JSON when asked for, else as text."""
    say(json.dumps(result) if options.json else text)


def move(client: Client, method: str, params: dict[str, Any]) -> Any:
    """Ask for something that moves and wait for its end; Ctrl-C stops the bench.

    Raises: Wrong after Ctrl-C or when somebody else stopped it, Refused, NoDaemon.
    """
    try:
        return patiently(client, method, params)
    except KeyboardInterrupt:
        raise Wrong(stop(client)) from None
    except Refused as no:
        if not isinstance(no.data, dict) or no.data.get("condition") != STOPPED:
            raise
        # It was begun and may have moved, which "refused" would deny.
        raise Wrong(f"Stopped from elsewhere; {_stands(status_of(client))}") from None


def patiently(client: Client, method: str, params: dict[str, Any] | None = None) -> Any:
    """Ask; when only a moment of rest is missing, wait for it and ask once more.

    A command typed right after a move, or by a script, would else be refused for a few
    milliseconds that nobody can see.

    Raises: Refused, NoDaemon.
    """
    try:
        return client.call(method, params)
    except Refused as no:
        rest_s = _rest_s(no.data)
        if not 0 <= rest_s <= PATIENCE_S:
            raise
    time.sleep(rest_s + 0.01)
    return client.call(method, params)


def _rest_s(data: Any) -> float:
    """Return how much rest is missing by a refusal's data, in s; negative when it is not that."""
    if not isinstance(data, dict) or data.get("condition") not in RESTING:
        return -1.0
    return (float(data["bound"]) - float(data["value"])) / 1000


def stop(client: Client) -> str:
    """Stop the bench over the same connection, and return what can be said of it then."""
    note("Stopping.")
    client.call("stop", {"level": 0})
    status = status_of(client)
    if not_heard(status):
        return f"Stop was asked for by Ctrl-C. {NOT_HEARD}"
    return f"Stopped by Ctrl-C; {_stands(status)}"


def not_heard(status: BenchStatus) -> bool:
    """Whether the board is silent, so that nobody can say what it does."""
    from tui import view

    return view.is_old(status)


def _stands(status: BenchStatus) -> str:
    if status.position_known and status.position_m is not None:
        where = f"the feed stands at {status.position_m * 1e3:.1f} mm"
    else:
        where = "where the feed stands is doubtful"
    return f"{where}; the barrel: {status.barrel}."


def now(client: Client) -> str:
    """Return what is loaded or live now and what latched, as the sentences after a move."""
    from tui import view

    status = status_of(client)
    codes = ", ".join(one.code for one in status.abnormals if one.latched)
    up = f" {codes} is up: 'benchd status' says what to do." if codes else ""
    return f"Now {view.energy_row(status).text}.{up}"


def guard(status: BenchStatus) -> str:
    """Return the guard, and what nobody watches, in words for a consequence line."""
    if "guard" in status.not_watched:
        shown = "guard not watched"
    elif status.state == "NO LINK":
        shown = "guard not known"
    else:
        shown = "guard shut" if status.pins.get("guard") else "guard open"
    others = [part for part in status.not_watched if part != "guard"]
    return f"{shown}; nobody watches {', '.join(others)}" if others else shown


__all__ = [
    "QUESTION",
    "Client",
    "NoDaemon",
    "Refused",
    "connect",
    "guard",
    "move",
    "not_heard",
    "now",
    "patiently",
    "show",
    "stop",
]
