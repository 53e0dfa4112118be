"""`benchd status`: what the bench is at."""

from __future__ import annotations

import argparse
import json

from benchd.cli.command import OK, WRONG, Parts, asks_daemon, note, say
from benchd.cli.daemon import connect
from tui import view


def _options(parser: argparse.ArgumentParser) -> None:
    asks_daemon(parser)
    parser.add_argument(
        "--follow", action="store_true", help="go on with one line a change, until Ctrl-C"
    )


def status(options: argparse.Namespace) -> int:
    """Show the snapshot once, or follow it."""
    with connect(options) as client:
        if not options.follow:
            data = client.call("status")
            lines = [json.dumps(data)] if options.json else view.status_lines(view.from_json(data))
            for line in lines:
                say(line)
            return OK
        shown = ""
        try:
            for _, data in client.follow(["status"]):
                line = json.dumps(data) if options.json else view.status_line(view.from_json(data))
                if line != shown:
                    say(line)
                shown = line
        except KeyboardInterrupt:
            return OK
    note(
        "The daemon ended, so nothing is known of the bench any more: look at the bench, then at "
        "what 'benchd serve' said last."
    )
    return WRONG


PARTS = {"status": Parts(_options, status)}
