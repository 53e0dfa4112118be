"""`benchd guide`: pages for the person at the bench, also where there is no network."""

from __future__ import annotations

import argparse
import os
import re
import shutil
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from benchd.cli.command import OK, Parts, Usage, say

if TYPE_CHECKING:
    from benchd.cli.guide_pages import Found, Topic

WIDTHS = (24, 100)
"""Narrowest and widest lines; longer ones are tiring to read."""


def _options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "words",
        nargs="*",
        metavar="TOPIC",
        help="a page, or straight to an entry: an interlock's code, a command, a card key, an "
        "event, a record, a word; the list of pages if left out",
    )


def guide(options: argparse.Namespace) -> int:
    """Show the list of pages, a page, or an entry."""
    from benchd.cli import guide_pages

    columns, screen = shutil.get_terminal_size((80, 24))
    width = min(max(columns, WIDTHS[0]), WIDTHS[1])
    words = [word.strip() for word in options.words if word.strip()]
    if not words:
        lines = _listed(guide_pages.topics(), width)
    elif (topic := guide_pages.topic_of(" ".join(words))) is not None:
        lines = _page(topic, width)
    else:
        lines = _entries(words, width)
    _show(lines, screen)
    return OK


def _listed(topics: Sequence[Topic], width: int) -> list[str]:
    from benchd.cli.guide_text import Block, parse, render

    rows = tuple((topic.name, topic.summary) for topic in topics)
    return render(
        [
            *parse("This tool does not make the bench safe: read `benchd guide cautions` first."),
            Block("table", rows=(("", ""), *rows)),
            *parse(
                "Read one with `benchd guide job`. Straight to an entry: `benchd guide IL-09`, "
                "or a command, a card key, an event, a record, a word."
            ),
        ],
        width,
    )


def _page(topic: Topic, width: int) -> list[str]:
    from benchd.cli.guide_pages import blocks
    from benchd.cli.guide_text import render
    from benchd.cli.table import COMMANDS

    lines = render(blocks(topic), width, bold=_bold())
    if any(row.name == topic.name for row in COMMANDS):
        lines += ["", f"The command of this name: benchd guide commands {topic.name}"]
    return lines


def _entries(words: Sequence[str], width: int) -> list[str]:
    """Return the entries of these words, of one page where the first word names it.

    Raises: Usage with the nearest names when there is none.
    """
    from benchd.cli import guide_pages

    among = guide_pages.index()
    found = guide_pages.find(" ".join(words), among)
    if not found and len(words) > 1:
        page = guide_pages.topic_of(words[0])
        if page is not None:
            among = [one for one in among if one.topic == page.name]
            found = guide_pages.find(" ".join(words[1:]), among)
    if not found:
        asked = " ".join(words)
        near = ", ".join(f"'{name}'" for name in guide_pages.nearest(words[-1], among))
        raise Usage(f"The guide has nothing called '{asked}'; the nearest: {near}.")
    return _found(found, width)


def _found(found: Sequence[Found], width: int) -> list[str]:
    from benchd.cli.guide_text import render

    lines: list[str] = []
    for one in found:
        lines += [*([""] if lines else []), f"[{one.topic}]"]
        lines += render(one.entry.blocks, width, bold=_bold())
    return lines


def _bold() -> bool:
    """Whether headings are shown bold: on a terminal, unless that is unwanted."""
    unwanted = os.environ.get("NO_COLOR") or os.environ.get("TERM", "dumb") == "dumb"
    return sys.stdout.isatty() and not unwanted


def _show(lines: Sequence[str], screen: int) -> None:
    """Print the lines; through $PAGER where a terminal is too short for them."""
    text = "\n".join(lines)
    pager = os.environ.get("PAGER", "")
    if pager and sys.stdout.isatty() and len(lines) >= screen:
        # Not every pager knows bold.
        if _paged(pager, re.sub(r"\x1b\[\d*m", "", text)):
            return
    say(text)


def _paged(pager: str, text: str) -> bool:
    """Show a text in the pager; return False when there is no such program."""
    import shlex
    import subprocess

    try:
        subprocess.run(shlex.split(pager), input=f"{text}\n", text=True, check=False)
    except (OSError, ValueError):
        return False
    return True


PARTS = {"guide": Parts(_options, guide)}
