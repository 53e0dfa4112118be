"""`benchd ports`: the serial ports of this machine, by the name to put into the bench card."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING

from benchd.cli.command import OK, Parts, say
from tui import view

if TYPE_CHECKING:
    from benchd.io.ports import FoundPort

NONE_FOUND = (
    "There is no serial port on this machine: plug the board in with a cable that carries data, "
    "then look again."
)


def _options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print the ports as a JSON list")


def ports(options: argparse.Namespace) -> int:
    """List the ports; none is opened."""
    from benchd.io.ports import found_ports

    found = found_ports()
    if options.json:
        rows = [one._asdict() | {"holders": _holders_json(one)} for one in found]
        say(json.dumps(rows))
        return OK
    if not found:
        say(NONE_FOUND)
    for one in found:
        for line in lines(one):
            say(view.plain(line))
    if found:
        say("Put the name of the board's port into the bench card: port: NAME")
    return OK


def _holders_json(port: FoundPort) -> list[dict[str, object]]:
    return [one._asdict() for one in port.holders]


def lines(port: FoundPort) -> list[str]:
    """Return what a person reads of one port: its name, then what it is and who has it."""
    from benchd.io.ports import no_permission_sentence

    shown = [port.name]
    if port.name != port.device:
        shown.append(f"  now {port.device}")
    what = ", ".join(part for part in (port.description, port.maker) if part)
    what = what or "the system does not say what it is"
    ids = ", ".join(
        f"{word} {value}"
        for word, value in (("serial number", port.serial_number), ("USB", port.usb_id))
        if value
    )
    shown.append(f"  {what}{f'; {ids}' if ids else ''}")
    if port.name == port.device:
        shown.append("  no name of its own: another device may get this one after replugging")
    if port.holders:
        shown.append(f"  in use by {' and '.join(map(str, port.holders))}")
    if not port.allowed:
        shown.append(f"  {no_permission_sentence(port.device)}")
    return shown


PARTS = {"ports": Parts(_options, ports)}
