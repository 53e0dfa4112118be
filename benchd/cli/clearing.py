"""`benchd clear`: let go of an interlock whose cause is gone, proven where that is asked."""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence
from typing import Any

from benchd.cli.command import OK, Parts, Usage, Wrong, ask_line, asks_daemon, note
from benchd.cli.daemon import connect, show, status_of


def _options(parser: argparse.ArgumentParser) -> None:
    asks_daemon(parser)
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


PARTS = {"clear": Parts(_options, clear)}
