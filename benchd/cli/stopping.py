"""`benchd stop`, `pause`, `finish`: taken from anyone, and never asked about."""

from __future__ import annotations

import argparse

from benchd.cli.command import OK, Parts, asks_daemon
from benchd.cli.daemon import connect, show, status_of


def _stop_options(parser: argparse.ArgumentParser) -> None:
    asks_daemon(parser)
    parser.add_argument(
        "--drop-power", action="store_true", help="take power off the drive as well"
    )


def stop(options: argparse.Namespace) -> int:
    """Stop now."""
    with connect(options) as client:
        result = client.call("stop", {"level": 1 if options.drop_power else 0})
        status = status_of(client)
    text = f"Stop was sent. Barrel: {status.barrel}. Air: {status.air}. Coils: {status.coils}."
    show(options, result, text)
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
    show(options, result, "The series ends after this portion.")
    return OK


PARTS = {
    "stop": Parts(_stop_options, stop),
    "pause": Parts(asks_daemon, pause),
    "finish": Parts(asks_daemon, finish),
}
