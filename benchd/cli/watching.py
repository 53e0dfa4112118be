"""`benchd status` and `benchd watch`: what the bench is at."""

from __future__ import annotations

import argparse
import json
import os
import sys

from benchd.cli.command import OK, WRONG, Parts, Usage, Wrong, asks_daemon, nobody_reads, note, say
from benchd.cli.daemon import Client, NoDaemon, Refused, bench_of, connect
from benchd.io import paths
from tui import view

UNMEASURED = (
    "Until then nobody measures anything: the barrel counts as loaded, the air as live, and the "
    "drive may have power."
)


FIRST_WITHIN_S = 0.3
"""How long the status for the first picture is waited for."""

ENDED = (
    "The daemon ended, so nothing is known of the bench any more: look at the bench, then at what "
    "'benchd serve' said last."
)


def _options(parser: argparse.ArgumentParser) -> None:
    asks_daemon(parser)
    parser.add_argument(
        "--follow", action="store_true", help="go on with one line a change, until Ctrl-C"
    )


def status(options: argparse.Namespace) -> int:
    """Show the snapshot once, or follow it."""
    try:
        client = connect(options)
    except NoDaemon as none:
        raise Wrong(f"{none} {UNMEASURED}") from None
    with client:
        if not options.follow:
            data = client.call("status")
            lines = [json.dumps(data)] if options.json else view.status_lines(view.from_json(data))
            for line in lines:
                say(line)
            return OK
        from tui.one_line import status_line

        shown = ""
        try:
            for _, data in client.follow(["status"]):
                line = json.dumps(data) if options.json else status_line(view.from_json(data))
                if line != shown:
                    say(line)
                shown = line
        except KeyboardInterrupt:
            return OK
    note(ENDED)
    return WRONG


def _watch_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--bench", metavar="NAME", help="which bench, where more than one runs")
    parser.add_argument(
        "--plain", action="store_true", help="say changes as sentences, for logs and screen readers"
    )


def screens_fit() -> bool:
    """Whether there is a terminal that can show screens."""
    placed = os.environ.get("TERM", "dumb") not in ("dumb", "unknown")
    return placed and sys.stdin.isatty() and sys.stdout.isatty()


def _without_colour() -> bool:
    """Whether the terminal is known to have no colours."""
    import curses

    try:
        curses.setupterm()
        return curses.tigetnum("colors") < 8
    except curses.error:
        return False


def watch(options: argparse.Namespace) -> int:
    """Open the screens, or say changes as sentences."""
    if options.plain:
        return _say_changes(options)
    if not screens_fit():
        raise Usage(
            "The screens need a terminal that can place text: 'benchd watch --plain' says the "
            "changes as sentences."
        )
    return screens(bench_of(options), os.getcwd())


def _say_changes(options: argparse.Namespace) -> int:
    """Say each change as a sentence, until Ctrl-C or the daemon's end."""
    from tui.sentences import changes, news_sentence

    before = None
    try:
        with connect(options) as client:
            for topic, data in client.follow():
                if topic == "status":
                    after = view.from_json(data)
                    for sentence in changes(before, after):
                        say(sentence)
                    before = after
                elif topic != "control" and not (topic == "trip" and data.get("up")):
                    # Of those the status tells, with what to do.
                    sentence = news_sentence(topic, data)
                    if sentence:
                        say(sentence)
    except KeyboardInterrupt:
        return OK
    note(ENDED)
    return WRONG


def _first_picture(bench: str) -> str:
    """Draw what the bench is at, before the library of the screens is loaded; return what was
    drawn, "" where nothing could be."""
    from tui import first

    terminal = sys.__stderr__  # The screens are drawn there too.
    try:
        if terminal is None or not terminal.isatty():
            return ""
        width, height = os.get_terminal_size(terminal.fileno())
        with Client(bench, FIRST_WITHIN_S) as client:
            picture = first.lines(bench, client.call("status"), width, height)
    except (NoDaemon, Refused, OSError):
        return ""
    opening = first.drawn(picture, width)
    terminal.write(first.ENTER + opening)
    terminal.flush()
    return opening


def screens(bench: str, folder: str) -> int:
    """Show the screens of a bench until the person leaves; cards are looked for in `folder`."""
    opening = _first_picture(bench)
    try:
        code = _run_screens(bench, folder, opening)
        for stream in (sys.stdout, sys.stderr):
            try:
                stream.flush()
            except OSError:  # The terminal was closed, which ends the screens as `q` does.
                nobody_reads(stream)
        return code
    except BaseException:
        if opening:
            from tui import first

            sys.stderr.write(first.LEAVE)
        raise


def _run_screens(bench: str, folder: str, opening: str) -> int:
    from benchd.cli.cautions import CAUTIONS
    from benchd.cli.journals import time_of_day
    from benchd.io import clock
    from tui import app

    if _without_colour():
        os.environ.setdefault("NO_COLOR", "1")
    return app.run(
        bench,
        paths.socket_path(bench),
        cautions=CAUTIONS,
        folder=folder,
        time_of_day=lambda: time_of_day(clock.wall_us()),
        # Past journals are read by a process of their own: never by the daemon, nor by these
        # screens, whose stop key must not wait.
        study=(sys.executable, "-P", "-m", "benchd.cli.studying", paths.state_dir(bench)),
        opening=opening,
    )


PARTS = {"status": Parts(_options, status), "watch": Parts(_watch_options, watch)}
