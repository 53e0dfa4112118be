"""`benchd stop`, `pause`, `finish`: taken from anyone, and never asked about."""

from __future__ import annotations

import argparse

from benchd.cli.command import OK, WRONG, Parts, asks_daemon
from benchd.cli.daemon import (
    NOT_HEARD,
    after_stop,
    connect,
    not_heard,
    show,
    stopped,
)
from tui import view


def _stop_options(parser: argparse.ArgumentParser) -> None:
    asks_daemon(parser)
    parser.add_argument(
        "--drop-power", action="store_true", help="take power off the drive as well"
    )


def stop(options: argparse.Namespace) -> int:
    """Stop now."""
    with connect(options) as client:
        result = client.call("stop", {"level": 1 if options.drop_power else 0})
        status = after_stop(client, drop_power=options.drop_power)
    energy = f"Now {view.energy_row(status).text}."
    if not_heard(status):
        show(options, {**result, "heard": False}, f"Stop was asked for. {NOT_HEARD} {energy}")
        return WRONG
    if not stopped(status, drop_power=options.drop_power):
        text = f"Stop was sent, but the board still says {status.state}: {view.URGENT}. {energy}"
        show(options, {**result, "heard": True}, text)
        return WRONG
    show(options, {**result, "heard": True}, f"Stop was sent. {energy}")
    return OK


def pause(options: argparse.Namespace) -> int:
    """Pause at the next safe point."""
    with connect(options) as client:
        result = client.call("pause")
    show(options, result, "The series pauses at the next safe point. Go on with 'benchd resume'.")
    return OK


def finish(options: argparse.Namespace) -> int:
    """End the series after the portion under way."""
    with connect(options) as client:
        result = client.call("finish")
    text = "The series ends; a portion under way is made to its end first."
    show(options, result, text)
    return OK


PARTS = {
    "stop": Parts(_stop_options, stop),
    "pause": Parts(asks_daemon, pause),
    "finish": Parts(asks_daemon, finish),
}
