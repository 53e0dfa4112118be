"""Which daemon a command talks to, and the few ways in which commands ask it."""

from __future__ import annotations

import argparse
import json
import socket
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from benchd.cli.command import Usage, Wrong, note, say, says_yes
from benchd.io import paths
from benchd.io.request_client import Client
from benchd.io.request_errors import NoDaemon, Refused
from tui import view

if TYPE_CHECKING:
    from protocols.status import BenchStatus

QUESTION = -32002
NO_SUCH_REQUEST = -32601
"""Error codes of `protocols.requests`, which loads slowly (a test compares), and JSON-RPC 2.0."""

RESTING = ("IL-03", "IL-04")
"""Interlocks that ask for a time at rest: the feed's, the cutter's at home; values in ms."""
STOPPED = "stopped"
"""Condition of a refusal that means: begun, then stopped by somebody."""

NOT_HEARD = f"No word comes from the board, so nobody here can say that it stopped: {view.URGENT}."

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


class _Asking(Client):
    """A connection that asks the person before it takes control from another terminal."""

    yes = False

    def call(self, method: str, params: dict[str, Any] | None = None) -> Any:
        """As `Client.call`. Raises: Wrong and Usage besides, where control is not taken."""
        try:
            return super().call(method, params)
        except Refused as no:
            if no.code != QUESTION or _condition(no) != "control":
                raise
            note(no.message)
        if not self.yes and not says_yes("Take control?"):
            raise Wrong("Nothing was done: control stays where it was.")
        super().call("control")
        return super().call(method, params)


def connect(options: argparse.Namespace, timeout_s: float | None = 10.0) -> Client:
    """Return a connection to the bench that is meant.

    Raises: NoDaemon, Usage.
    """
    client = _Asking(bench_of(options), timeout_s, on_wait=_tick)
    client.yes = getattr(options, "yes", False)
    return client


def _tick(method: str, seconds: float) -> None:
    from benchd.cli import progress

    progress.tick(method, seconds)


def status_of(client: Client) -> BenchStatus:
    """Return what the bench is at."""
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
        if _condition(no) != STOPPED:
            raise
        # It was begun and may have moved, which "refused" would deny.
        raise Wrong(f"Stopped from elsewhere; {_stands(status_of(client))}") from None


def _condition(no: Refused) -> Any:
    return no.data.get("condition") if isinstance(no.data, dict) else ""


def patiently(client: Client, method: str, params: dict[str, Any] | None = None) -> Any:
    """Ask; when only a moment of rest is missing, wait for it and ask once more.

    A command typed right after a move, or by a script, would else be refused for a few
    milliseconds that nobody can see.

    Raises: Refused, NoDaemon.
    """
    try:
        return client.call(method, params)
    except Refused as no:
        rest_s = _rest_s(no)
        if not 0 <= rest_s <= PATIENCE_S:
            raise
    time.sleep(rest_s + 0.01)
    return client.call(method, params)


def _rest_s(no: Refused) -> float:
    """Return how much rest is missing by a refusal, in s; negative when it is not that."""
    if _condition(no) not in RESTING:
        return -1.0
    return (float(no.data["bound"]) - float(no.data["value"])) / 1000


def questioned(
    ask: Callable[[dict[str, Any]], Any],
    params: dict[str, Any],
    *,
    yes: bool,
    prompt: str,
    otherwise: str,
) -> Any:
    """Ask; what the daemon questions is put to the person, or taken as it is with `yes`.

    Raises: Wrong with `otherwise` when the person takes it back, Usage when nobody can be asked,
    Refused.
    """
    try:
        return ask(params)
    except Refused as error:
        if error.code != QUESTION:
            raise
        note(error.message)
    if not yes and not says_yes(prompt):
        raise Wrong(otherwise)
    return ask({**params, "confirmed": True})


def stop(client: Client) -> str:
    """Stop the bench over the same connection, and return what can be said of it then."""
    note("Stopping.")
    client.call("stop", {"level": 0})
    status = after_stop(client, drop_power=False)
    if not_heard(status):
        return f"Stop was asked for by Ctrl-C. {NOT_HEARD}"
    if not stopped(status, drop_power=False):
        said = f"but the board still says {status.state}: {view.URGENT}."
        return f"Stop was asked for by Ctrl-C, {said}"
    return f"Stopped by Ctrl-C; {_stands(status)}"


def after_stop(client: Client, *, drop_power: bool) -> BenchStatus:
    """Return the first status that shows the stop, or the last one within the time for it."""
    deadline_s = time.monotonic() + view.ANSWER_S
    status = status_of(client)
    while not stopped(status, drop_power=drop_power) and time.monotonic() < deadline_s:
        time.sleep(0.05)
        status = status_of(client)
    return status


def stopped(status: BenchStatus, *, drop_power: bool) -> bool:
    """Return whether the bench shows that a stop was done."""
    at_rest = status.state not in view.MOVING
    return at_rest and not (drop_power and status.pins.get("drive"))


def not_heard(status: BenchStatus) -> bool:
    """Whether the board is silent, so that nobody can say what it does."""
    return view.is_old(status)


def _stands(status: BenchStatus) -> str:
    if status.position_known and status.position_m is not None:
        where = f"the feed stands at {status.position_m * 1e3:.1f} mm"
    else:
        where = "where the feed stands is doubtful"
    return f"{where}; the barrel: {status.barrel}."


def now(client: Client) -> str:
    """Return what is loaded or live now and what latched, as the sentences after a move."""
    status = status_of(client)
    codes = ", ".join(one.code for one in status.abnormals if one.latched)
    up = f" {codes} is up: 'benchd status' says what to do." if codes else ""
    return f"Now {view.energy_row(status).text}.{up}"


__all__ = [
    "QUESTION",
    "Client",
    "NoDaemon",
    "Refused",
    "connect",
    "move",
    "not_heard",
    "now",
    "patiently",
    "questioned",
    "show",
    "stop",
]
