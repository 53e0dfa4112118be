"""`benchd here`, `drive`, `jog`, `relieve`: the feed by hand."""

from __future__ import annotations

import argparse
from typing import Any

from benchd.cli.command import (
    OK,
    WRONG,
    Parts,
    Usage,
    caution,
    confirm,
    moves,
    quantity_of,
    takes_control,
)
from benchd.cli.daemon import connect, move, now, show, status_of
from protocols.limits import JOG_MAX_M
from tui.ended import moved_text
from tui.view import guard_text


def _here_options(parser: argparse.ArgumentParser) -> None:
    takes_control(parser)
    parser.add_argument(
        "position", type=quantity_of("length"), help="way from the rear end of travel, such as 0mm"
    )


def here(options: argparse.Namespace) -> int:
    """Say where the feed stands."""
    with connect(options) as client:
        result = client.call("here", {"position_m": options.position})
    show(options, result, f"The feed stands at {options.position * 1e3:.1f} mm.")
    return OK


def _drive_options(parser: argparse.ArgumentParser) -> None:
    moves(parser)
    parser.add_argument("power", choices=("on", "off"))


def drive(options: argparse.Namespace) -> int:
    """Give power to the drive or take it away."""
    on = options.power == "on"
    with connect(options) as client:
        if on:
            status = status_of(client)
            confirm(f"will put power on the drive; {guard_text(status)}", yes=options.yes)
        result = client.call("drive", {"on": on})
    off_text = "The drive has no power; a loaded barrel stays loaded."
    show(options, result, "The drive has power." if on else off_text)
    return OK


def _jog_options(parser: argparse.ArgumentParser) -> None:
    moves(parser)
    parser.add_argument(
        "distance", type=quantity_of("length"), help="+2.5mm forward, -5mm in reverse"
    )
    parser.add_argument(
        "--speed",
        type=quantity_of("speed"),
        help="such as 2mm/s; the card's jog speed if not given",
    )


def jog(options: argparse.Namespace) -> int:
    """One bounded feed move; Ctrl-C stops it."""
    if options.distance == 0:
        raise Usage("A jog of 0 mm moves nothing; write +2.5mm or -5mm.")
    if abs(options.distance) > JOG_MAX_M:
        raise Usage(
            f"A jog goes {JOG_MAX_M * 1e3:.0f} mm at most, and each is looked at: make several "
            "for a longer way."
        )
    if options.speed is not None and options.speed <= 0:
        raise Usage(
            "A speed has no sign and is above 0; the distance says the direction: --speed 2mm/s."
        )
    caution("jog")
    way = "forward" if options.distance > 0 else "in reverse"
    with connect(options, None) as client:
        status = status_of(client)
        confirm(
            f"will feed {abs(options.distance) * 1e3:.4g} mm {way}; {guard_text(status)}; "
            f"barrel {status.barrel}; Ctrl-C stops it",
            yes=options.yes,
        )
        params: dict[str, Any] = {"distance_m": options.distance}
        if options.speed is not None:
            params["speed_m_s"] = options.speed
        result = move(client, "jog", params)
        text = f"{moved_text(result)} {now(client)}"
    show(options, result, text)
    return OK if result["ending"] == "reached" else WRONG


def relieve(options: argparse.Namespace) -> int:
    """Let the barrel's pressure off; Ctrl-C stops it."""
    with connect(options, None) as client:
        status = status_of(client)
        caution("relieve")
        confirm(
            f"will feed in reverse to let the pressure off; {guard_text(status)}; "
            f"barrel {status.barrel}; Ctrl-C stops it",
            yes=options.yes,
        )
        result = move(client, "relieve", {})
        text = f"{moved_text(result)} {now(client)}"
    show(options, result, text)
    return OK if result["ending"] in ("reached", "relieved") else WRONG


PARTS = {
    "here": Parts(_here_options, here),
    "drive": Parts(_drive_options, drive),
    "jog": Parts(_jog_options, jog),
    "relieve": Parts(moves, relieve),
}
