"""From the command line to an exit code; the only place where an error ends a command."""

from __future__ import annotations

import importlib
import os
import re
import sys
from collections.abc import Sequence

from benchd.cli.command import (
    OK,
    USAGE,
    WRONG,
    Parts,
    Row,
    Usage,
    Wrong,
    make_parser,
    nobody_reads,
    note,
    say,
)
from benchd.cli.table import COMMANDS
from benchd.io import paths
from benchd.io.request_errors import NoDaemon, Refused

_NEGATIVE = re.compile(r"-[\d.,]")


def run(arguments: Sequence[str]) -> int:
    """Run one command; return 0 when done, 1 when refused or found wrong, 2 when not understood."""
    try:
        return _run(arguments)
    except Usage as error:
        note(str(error))
        return USAGE
    except (Wrong, NoDaemon) as error:
        note(str(error))
        return WRONG
    except KeyboardInterrupt:
        note("Ended by Ctrl-C.")
        return WRONG
    except BrokenPipeError:
        nobody_reads(sys.stdout)
        return WRONG
    except Exception as error:
        note(_unexpected(error))
        return WRONG


def _run(arguments: Sequence[str]) -> int:
    if not arguments:
        note(overview())
        return USAGE
    name, *rest = arguments
    if name in ("-h", "--help", "help"):
        say(overview())
        return OK
    if name == "--version":
        from benchd.cli.versions import versions

        say(versions())
        return OK
    if name == "--complete":
        from benchd.cli.completing import answer

        return answer(rest)
    row = next((row for row in COMMANDS if row.name == name), None)
    if row is None:
        raise Usage(f"There is no command '{name}'; the nearest is '{_nearest(name)}'. {TRY_HELP}")
    return _command(row, rest)


TRY_HELP = "Try 'benchd --help'."


def _command(row: Row, rest: Sequence[str]) -> int:
    module = importlib.import_module(f"benchd.cli.{row.module}")
    parts: Parts = module.PARTS[row.name]
    parser = make_parser(row, parts)
    # A leading blank keeps '-5mm' from being taken for an option; quantities ignore it.
    words = [f" {word}" if _NEGATIVE.match(word) else word for word in rest]
    try:
        options = parser.parse_args(words)
    except SystemExit:  # Only --help ends this way.
        return OK
    try:
        return parts.run(options)
    except Refused as error:
        if getattr(options, "json", False):
            import json

            say(json.dumps({"refused": error.message, "code": error.code, "data": error.data}))
        note(_refused(error))
        return WRONG


def _refused(error: Refused) -> str:
    """Return a refusal as the daemon gives it, with the interlock that it does not name itself."""
    data = error.data if isinstance(error.data, dict) else {}
    code = str(data.get("condition") or "")
    if not code.startswith("IL-") or code in error.message:
        return f"Refused: {error.message}"
    hint = "" if "'benchd " in error.message else " 'benchd status' says what to do."
    return f"Refused by {code}: {error.message}{hint}"


def overview() -> str:
    """Return the list of all commands."""
    lines = [
        "benchd runs, watches and explains a bench that portions dough.",
        "",
        "  benchd COMMAND --help    explains one command, with an example",
        "",
    ]
    width = max(len(row.name) for row in COMMANDS)
    lines += [f"  {row.name:<{width}} {row.summary}" for row in COMMANDS]
    return "\n".join(lines)


def _nearest(name: str) -> str:
    import difflib

    return difflib.get_close_matches(name, [row.name for row in COMMANDS], 1, 0.0)[0]


def _unexpected(error: Exception) -> str:
    """Write the details of an error of ours down, and return one sentence that says where."""
    import tempfile
    import traceback

    text = "".join(traceback.format_exception(error))
    for folder in (os.path.join(paths.state_home(), "benchd"), tempfile.gettempdir()):
        try:
            os.makedirs(folder, mode=0o700, exist_ok=True)
            handle, where = tempfile.mkstemp(".txt", "error-", folder)
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
        except OSError:
            continue
        return (
            f"benchd met an error of its own and did not finish ({type(error).__name__}); look at "
            f"the bench, then at the details in {where}."
        )
    return f"benchd met an error of its own and did not finish ({type(error).__name__}: {error})."
