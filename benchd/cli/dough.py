"""`benchd tube` and `benchd eye`: getting dough in and out, and seeing it."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from benchd.cli import quantity
from benchd.cli.command import (
    OK,
    WRONG,
    Parser,
    Parts,
    Usage,
    Wrong,
    ask_line,
    caution,
    confirm,
    moves,
    note,
    quantity_of,
    takes_control,
)
from benchd.cli.daemon import Client, connect, move, now, questioned, show, status_of
from benchd.io import clock
from tui import view
from tui.ended import moved_text
from tui.view import guard_text


def _temperature(text: str) -> float:
    try:
        return quantity.temperature_c(text)
    except quantity.QuantityError as error:
        raise argparse.ArgumentTypeError(str(error).rstrip(".")) from None


def _tube_name(text: str) -> str:
    if not text.strip():
        raise argparse.ArgumentTypeError("a tube has a name, such as T7")
    return text.strip()


def _time_opened(text: str) -> str:
    """Read a time of day, the last one that was, or a whole time; the daemon judges it."""
    read = re.fullmatch(r"([01]?\d|2[0-3]):([0-5]\d)", text.strip())
    if read is None:
        return text.strip()
    today = datetime.fromtimestamp(clock.wall_us() / 1e6).astimezone()
    at = today.replace(hour=int(read[1]), minute=int(read[2]), second=0, microsecond=0)
    return (at if at <= today else at - timedelta(days=1)).isoformat()


def _above_zero(kind: str) -> Callable[[str], float]:
    read = quantity_of(kind)

    def read_above_zero(text: str) -> float:
        value = read(text)
        if value <= 0:
            raise argparse.ArgumentTypeError(f"'{text.strip()}' is not above 0")
        return value

    return read_above_zero


def _tube_options(parser: argparse.ArgumentParser) -> None:
    ways = parser.add_subparsers(dest="way", required=True, parser_class=Parser)
    enter = ways.add_parser("in", help="open its record, feed to contact, prime")
    moves(enter)
    enter.add_argument("id", type=_tube_name, help="name of the tube, such as T7")
    enter.add_argument("--lot", default="", help="lot of the dough")
    enter.add_argument("--net", type=_above_zero("mass"), help="net mass, such as 450g")
    enter.add_argument("--temperature", type=_temperature, help="of the dough, such as 6C")
    enter.add_argument(
        "--opened",
        type=_time_opened,
        default="",
        help="when it was opened: 08:30, or RFC 3339; now if left out",
    )
    enter.add_argument("--column", type=_above_zero("length"), help="length of the dough, 190mm")
    enter.add_argument(
        "--record-only", action="store_true", help="open the record and move nothing"
    )
    again = ways.add_parser("prime", help="feed the tube that is in to contact, and prime again")
    moves(again)
    for way in (enter, again):
        way.add_argument(
            "--touches",
            action="store_true",
            help="somebody looked: the plunger touches the dough (where no thrust is measured)",
        )
    leave = ways.add_parser("out", help="relieve, back out, close its record")
    moves(leave)
    leave.add_argument("--heel", type=_above_zero("mass"), help="weight of what stayed in: 23g")


def tube(options: argparse.Namespace) -> int:
    """Put a tube in, prime it again, or take it out."""
    if options.way == "in" and options.record_only:
        with connect(options) as client:
            result = _open_record(client, options)
        show(options, result, f"The record of tube {options.id} is open.")
        return OK
    caution("tube")
    with connect(options, None) as client:
        return _tube_out(client, options) if options.way == "out" else _tube_in(client, options)


def _open_record(client: Client, options: argparse.Namespace) -> Any:
    return questioned(
        lambda given: client.call("tube_in", given),
        _record(options),
        yes=options.yes,
        prompt="Open the record as it is?",
        otherwise="No record was opened, because the answer was not yes: look at the id and --net.",
    )


def _record(options: argparse.Namespace) -> dict[str, Any]:
    given = {
        "id": options.id,
        "lot": options.lot,
        "net_mass_kg": options.net,
        "opened_at": options.opened,
        "temperature_c": options.temperature,
        "column_m": options.column,
    }
    return {name: value for name, value in given.items() if value not in (None, "")}


def _tube_in(client: Client, options: argparse.Namespace) -> int:
    status = status_of(client)
    if status.eye_counts is not None and status.eye_sees is None and not view.is_old(status):
        raise Wrong(
            "Nothing was moved: the eye was never taught, so no dough would ever be seen and the "
            "feed would push on. Teach it first: 'benchd eye --empty', then bring a strand with "
            "'benchd jog' and 'benchd eye --dough'."
        )
    measured = "thrust" not in status.not_watched
    if not measured and options.yes and not (options.touches or status.eye_sees):
        raise Usage(
            "Nothing was moved: no sensor measures contact here, and with --yes nobody is asked; "
            "bring the plunger to the dough with 'benchd jog', look, then add --touches."
        )
    way = "forward to the dough" if measured else "toward the dough, asking before each 2 mm"
    confirm(
        f"will feed {way}, then prime until the strand is continuous; "
        f"{guard_text(status)}; barrel {status.barrel}; Ctrl-C stops it",
        yes=options.yes,
    )
    if options.way == "in":
        _open_record(client, options)
        note(f"The record of tube {options.id} is open.")
    touched = _to_contact(client) if measured else _to_touch(client, options)
    if touched["ending"] != "contact":
        text = "No contact with the dough: look whether the tube is in, then 'benchd tube prime'."
        show(options, touched, f"{text} {now(client)}")
        return WRONG
    primed = move(client, "prime", {})
    text = _told("Primed", primed) if _flows(primed) else no_flow(primed)
    show(options, primed, f"{text} {now(client)}")
    return OK if _flows(primed) else WRONG


def _told(what: str, moved: dict[str, Any]) -> str:
    text = moved_text(moved)
    return f"{what}: {text[0].lower()}{text[1:]}"


def _to_contact(client: Client) -> dict[str, Any]:
    touched: dict[str, Any] = move(client, "approach", {})
    note(_told("To contact", touched))
    return touched


def _to_touch(client: Client, options: argparse.Namespace) -> dict[str, Any]:
    """Feed in small steps until the person says that the plunger touches, or the eye sees dough.

    Raises: Wrong when the person says neither, Refused when the longest way is fed.
    """
    while not options.touches and not status_of(client).eye_sees:
        word = ask_line(
            "No sensor measures contact: look at the plunger. Type touches if it touches the "
            "dough, or more for 2 mm more:"
        ).lower()
        if word == "touches":
            break
        if word != "more":
            raise Wrong(
                f"Nothing more was moved, because the answer '{word}' was neither touches nor "
                "more: go on with 'benchd tube prime'."
            )
        step: dict[str, Any] = move(client, "approach", {})
        note(moved_text(step))
        if step["ending"] != "reached":
            return step
    client.call("contact")
    return {"ending": "contact"}


def _flows(result: dict[str, Any]) -> bool:
    return bool(result["ending"] == "flowing")


def no_flow(result: dict[str, Any]) -> str:
    """Return what it means that a prime ended without a continuous strand."""
    if result["ending"] != "no-flow":
        return f"Not primed ({result['ending']}): {moved_text(result)}"
    return (
        f"No dough after {abs(result['moved_m']) * 1e3:.0f} mm: casing not open, plunger past the "
        "tube, or nozzle blocked. Do not keep pushing, the barrel stores force: 'benchd relieve', "
        "then look."
    )


def _tube_out(client: Client, options: argparse.Namespace) -> int:
    status = status_of(client)
    confirm(
        f"will relieve the barrel and back the plunger out; {guard_text(status)}; "
        f"barrel {status.barrel}; Ctrl-C stops it",
        yes=options.yes,
    )
    params = {} if options.heel is None else {"heel_kg": options.heel}
    result = move(client, "tube_out", params)
    text = f"Backed out ({result['ending']}). {now(client)}"
    if result.get("open"):
        text += f" {result['open']}"
    show(options, result, text)
    return OK if result["ending"] in ("reached", "relieved") else WRONG


def _eye_options(parser: argparse.ArgumentParser) -> None:
    takes_control(parser)
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--empty", action="store_true", help="teach the level without dough")
    what.add_argument("--dough", action="store_true", help="teach the level with dough")


def eye(options: argparse.Namespace) -> int:
    """Show the level, or teach one."""
    with connect(options, 60.0) as client:
        if not (options.empty or options.dough):
            status = status_of(client)
            row = view.eye_row(status)
            shown = {
                "counts": status.eye_counts,
                "sees": status.eye_sees,
                "taught": status.eye_taught,
            }
            show(options, shown, row.text if row is not None else "No eye is read now.")
            return OK if row is not None else WRONG
        what = "empty" if options.empty else "dough"
        before = "nothing may stand" if options.empty else "dough must stand"
        note(f"Reading the eye for some seconds: {before} before it, and nothing may move.")
        result = client.call("teach", {"what": what})
    reads = "Without dough" if options.empty else "With dough"
    other = (
        "bring a strand before it with 'benchd jog', then 'benchd eye --dough'"
        if options.empty
        else "take the dough away, then 'benchd eye --empty'"
    )
    rest = "" if result["both"] else f" The other level is missing: {other}."
    text = (
        f"{reads} the eye reads {result['mean']:.0f} counts (spread {result['spread']:.1f}).{rest}"
    )
    show(options, result, text)
    return OK


PARTS = {"tube": Parts(_tube_options, tube), "eye": Parts(_eye_options, eye)}
