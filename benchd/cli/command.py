"""What all commands share: table row, parser, talking to the person, and how they fail."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from typing import NamedTuple, NoReturn, TextIO

OK, WRONG, USAGE = 0, 1, 2
"""Exit codes: done; refused or found wrong; not understood."""


HELP_WIDTH = 80
"""Columns of help texts."""

ENDLESS = 2**31
"""A limit from here on is one of the computer's, which a person need not read."""

FOLD_LEAST = 40
"""Columns below which nothing is folded: there is no terminal so narrow."""


class Row(NamedTuple):
    """One command in the table: name, module that has it, what it does, an example."""

    name: str
    module: str
    summary: str
    example: str


class Parts(NamedTuple):
    """What a module gives for one command: how its options are added, and what it does."""

    options: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]


class Wrong(Exception):
    """It was not done, or something was found wrong; the text is one sentence. Exit code 1."""


class Usage(Exception):
    """The command was not understood; the text says what would be. Exit code 2."""


class Parser(argparse.ArgumentParser):
    """A parser whose complaints are one sentence and a hint."""

    def error(self, message: str) -> NoReturn:
        """Say what was wrong, and end with the code for that."""
        raise Usage(f"{message[:1].upper()}{message[1:]}. Try '{self.prog} --help'.")


def make_parser(row: Row, parts: Parts) -> argparse.ArgumentParser:
    """Return the parser of one command, with the options that every command has."""
    parser = Parser(
        prog=f"benchd {row.name}",
        description=f"{row.summary[:1].upper()}{row.summary[1:]}.",
        epilog=f"Example:  {row.example}\n\n"
        "Exit code: 0 done, 1 refused or found wrong, 2 not understood.",
        # With a width of its own it need not load what asks the terminal.
        formatter_class=lambda prog: argparse.RawDescriptionHelpFormatter(prog, width=HELP_WIDTH),
        allow_abbrev=False,
    )
    parts.options(parser)
    return parser


def asks_daemon(parser: argparse.ArgumentParser) -> None:
    """Add the options of every command that asks a daemon."""
    parser.add_argument("--bench", metavar="NAME", help="which bench, where more than one runs")
    parser.add_argument("--json", action="store_true", help="print the answer as JSON")


def takes_control(parser: argparse.ArgumentParser) -> None:
    """Add the options of a command that moves nothing and yet needs control."""
    asks_daemon(parser)
    text = "take control from another terminal without asking, for scripts"
    parser.add_argument("--yes", action="store_true", help=text)


def moves(parser: argparse.ArgumentParser) -> None:
    """Add the options of a command that moves something."""
    asks_daemon(parser)
    parser.add_argument("--yes", action="store_true", help="go ahead without asking, for scripts")


def quantity_of(kind: str, default_unit: str = "") -> Callable[[str], float]:
    """Return an argument type that reads a quantity of this kind into SI."""

    def read(text: str) -> float:
        from benchd.cli import quantity

        try:
            return quantity.parse(text, kind, default_unit)
        except quantity.QuantityError as error:
            raise argparse.ArgumentTypeError(str(error).rstrip(".")) from None

    return read


def whole_from(low: int, high: int) -> Callable[[str], int]:
    """Return an argument type that reads a whole number in a range."""

    def read(text: str) -> int:
        if not text.strip().lstrip("+").isdecimal() or not low <= int(text) <= high:
            span = f"from {low} to {high}" if high < ENDLESS else f"from {low} up"
            raise argparse.ArgumentTypeError(f"'{text}' is not a whole number {span}")
        return int(text)

    return read


def nobody_reads(stream: TextIO) -> None:
    """Whoever read this has gone: nothing more can be said there, also not at the very end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def note(text: str) -> None:
    """Say something to the person; standard output stays for the answer."""
    _end_progress()
    sys.stderr.write(f"{folded(text, sys.stderr)}\n")
    sys.stderr.flush()


def say(text: str, *, whole: bool = False) -> None:
    """Print a line of the answer; `whole` where it is there to be copied."""
    _end_progress()
    sys.stdout.write(f"{text if whole else folded(text, sys.stdout)}\n")
    sys.stdout.flush()


def folded(text: str, stream: TextIO) -> str:
    """Return text with its long lines broken between words at the edge of the stream's terminal.

    What is no terminal gets whole lines, and so does JSON: both are read by programs.
    """
    if len(text) < FOLD_LEAST or text.startswith(("{", "[")) or not stream.isatty():
        return text
    from tui import view

    try:
        width = os.get_terminal_size(stream.fileno()).columns or HELP_WIDTH
    except (OSError, ValueError):
        width = HELP_WIDTH
    lines = []
    for line in text.split("\n"):
        inset = len(line) - len(line.lstrip(" "))
        hang = " " * (inset + 2 if inset or line.startswith("! ") else 0)
        # Paths and hashes stay whole, so that they can be copied.
        lines += view.wrapped(line, max(width, FOLD_LEAST), hang, break_long_words=False) or [""]
    return "\n".join(lines)


def _end_progress() -> None:
    # Only where it was loaded can a line of it be in the way.
    progress = sys.modules.get("benchd.cli.progress")
    if progress is not None:
        progress.clear()


def caution(command: str) -> None:
    """Show the cautions of a command."""
    from benchd.cli.cautions import CAUTIONS

    for text in CAUTIONS[command]:
        note(f"! {text}")


def ask_line(question: str) -> str:
    """Return what a person types on one line; what was typed before the question is thrown away.

    Raises: Usage when nobody can be asked, Wrong when the person ends the input.
    """
    if not sys.stdin.isatty():
        raise Usage(
            "Nothing was done: nobody can be asked here, for there is no terminal; --help names "
            "the options that answer instead."
        )
    _drop_type_ahead()
    _end_progress()
    sys.stderr.write(f"{question} ")
    sys.stderr.flush()
    line = sys.stdin.readline()
    if not line:
        raise Wrong("Nothing was done, because the input ended before an answer.")
    return line.strip()


def says_yes(question: str) -> bool:
    """Return whether a person answers with yes. Raises: as `ask_line`."""
    return ask_line(f"{question} Type yes:").lower() in ("yes", "y")


def _drop_type_ahead() -> None:
    import contextlib
    import termios

    with contextlib.suppress(OSError, termios.error):
        termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)


def confirm(consequence: str, *, yes: bool) -> None:
    """Show what will happen, and go on only when the person says so.

    Raises: Wrong when the person does not, Usage when nobody can be asked.
    """
    note(f"{consequence[:1].upper()}{consequence[1:]}.")
    if yes:
        return
    if not sys.stdin.isatty():
        raise Usage(
            "Nothing was done: nobody can be asked here; add --yes to go ahead without asking."
        )
    if not says_yes("Go ahead?"):
        raise Wrong("Nothing was done, because the answer was not yes.")
