"""`benchd clear`, `seen` and `shelve`: let go of an interlock whose cause is gone; say what
was made of an alarm."""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence
from typing import Any

from benchd.cli.command import (
    OK,
    Parts,
    Usage,
    Wrong,
    ask_line,
    asks_daemon,
    note,
    quantity_of,
    takes_control,
)
from benchd.cli.daemon import connect, show, status_of
from tui.sentences import seen_text


def _options(parser: argparse.ArgumentParser) -> None:
    takes_control(parser)
    parser.add_argument("interlock", type=interlock_number, help="its code, such as IL-09")
    parser.add_argument("--name", default="", help="who looked, where a proof is asked")
    parser.add_argument(
        "--words", default="", help="the three words of the proof with commas, for scripts"
    )


def interlock_number(text: str) -> int:
    """Return the number of an interlock written as IL-09, il9 or 9."""
    found = re.fullmatch(r"(?:il-?)?0?(\d{1,2})", text.strip(), re.IGNORECASE)
    if found is None or not 1 <= int(found[1]) <= 30:
        raise argparse.ArgumentTypeError(
            f"'{text}' is no interlock; write its code, IL-01 to IL-30"
        )
    return int(found[1])


def clear(options: argparse.Namespace) -> int:
    """Ask for the proof if there is one, then clear."""
    with connect(options) as client:
        params: dict[str, Any] = {"interlock": options.interlock}
        code = f"IL-{options.interlock:02d}"
        up = any(one.code == code for one in status_of(client).abnormals)
        # Nobody is asked to prove what is not up; the daemon then says so.
        statements = client.call("proofs", params)["statements"] if up else ()
        if statements:
            given = [word.strip() for word in options.words.split(",") if word.strip()]
            params["name"] = options.name or _name(given)
            params["words"] = given or _confirmations(statements)
        result = client.call("clear", params)
    show(options, result, f"{code} is cleared. Nothing moves until you say so.")
    return OK


def _name(given: Sequence[str]) -> str:
    if given:
        raise Usage("Nothing was cleared: a proof carries the name of who looked; add --name NAME.")
    note("This interlock is cleared by a person who looked. Each answer is journalled.")
    name = ask_line("Your name:")
    if not name:
        raise Wrong("Nothing was cleared: a proof carries the name of who looked; clear it again.")
    return name


def _confirmations(statements: Sequence[dict[str, str]]) -> list[str]:
    words = []
    for number, one in enumerate(statements, 1):
        note(f"{number} of {len(statements)}: {one['statement']}")
        typed = ask_line(f"If that is so, type the word {one['word']}:")
        if typed.lower() != one["word"]:
            raise Wrong(
                f"Nothing was cleared: '{typed}' is not '{one['word']}'. Look again, then clear it "
                "once more."
            )
        words.append(typed)
    return words


def _seen_options(parser: argparse.ArgumentParser) -> None:
    asks_daemon(parser)
    parser.add_argument(
        "interlock", type=interlock_number, nargs="?", help="its code; all alarms if not given"
    )
    parser.add_argument("--name", default="", help="who has seen it")


def seen(options: argparse.Namespace) -> int:
    """Say that alarms were seen."""
    with connect(options) as client:
        result = client.call("seen", {"interlock": options.interlock, "name": options.name})
    show(options, result, seen_text(result))
    return OK


def _shelve_options(parser: argparse.ArgumentParser) -> None:
    asks_daemon(parser)
    parser.add_argument("interlock", type=interlock_number, help="its code, such as IL-28")
    parser.add_argument(
        "--for", dest="for_s", type=quantity_of("time", "min"), metavar="TIME",
        help="how long, at most 60min",
    )  # fmt: skip
    parser.add_argument("--name", default="", help="who shelves it")
    parser.add_argument("--reason", default="", help="why")
    parser.add_argument("--end", action="store_true", help="take it back from the shelf")


def shelve(options: argparse.Namespace) -> int:
    """Put an alarm aside for a while, or take it back."""
    code = f"IL-{options.interlock:02d}"
    if options.end:
        with connect(options) as client:
            result = client.call("unshelve", {"interlock": options.interlock})
        show(options, result, f"{code} is back from the shelf.")
        return OK
    if options.for_s is None or not options.name or not options.reason:
        raise Usage(
            "Nothing was shelved: say how long, who and why, with --for 15min --name NAME "
            '--reason "...".'
        )
    params = {
        "interlock": options.interlock,
        "for_s": options.for_s,
        "name": options.name,
        "reason": options.reason,
    }
    with connect(options) as client:
        result = client.call("shelve", params)
    minutes = f"{options.for_s / 60:g} min"
    show(options, result, f"{code} is shelved for {minutes}; the interlock goes on as it is.")
    return OK


PARTS = {
    "clear": Parts(_options, clear),
    "seen": Parts(_seen_options, seen),
    "shelve": Parts(_shelve_options, shelve),
}
