"""`benchd init` and `benchd check`: cards to begin with, what a card means, what changed in it."""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from benchd.cli.command import OK, WRONG, Parts, Usage, Wrong, confirm, note, say

if TYPE_CHECKING:
    from benchd.config import BenchCard
    from benchd.config.changes import Change
    from benchd.config.summary import Meaning

EXAMPLES = ("bench.yaml", "smallest.yaml", "masa.yaml")
"""The full example bench, the smallest bench, and a dough for either."""

CHECK_USAGE = (
    "The bench card comes first, then one dough card if any: 'benchd check bench.yaml masa.yaml'."
)
DIFF_USAGE = "Two cards of a kind are compared: 'benchd check --diff old.yaml new.yaml'."

LABEL_WIDTH = 16


def _init_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", nargs="?", default=".", help="where to; this folder if left out")
    parser.add_argument("--json", action="store_true", help="print the names as JSON")


def init(options: argparse.Namespace) -> int:
    """Write the example cards; a file that is there is never touched."""
    import benchd

    source = os.path.join(os.path.dirname(benchd.__file__), "examples")
    there = [name for name in EXAMPLES if os.path.lexists(os.path.join(options.folder, name))]
    if there:
        where = "this folder" if options.folder == "." else options.folder
        raise Wrong(
            f"Nothing was written, for {where} already has {', '.join(there)}: give another "
            "folder, or move what is there away."
        )
    written = []
    try:
        os.makedirs(options.folder, exist_ok=True)
        for name in EXAMPLES:
            with open(os.path.join(source, name), encoding="utf-8") as file:
                text = file.read()
            path = os.path.normpath(os.path.join(options.folder, name))
            # "x" fails where somebody else was quicker.
            with open(path, "x", encoding="utf-8") as file:
                file.write(text)
            written.append(path)
    except OSError as error:
        done = f" ({', '.join(written)} is written)" if written else ""
        raise Wrong(
            f"The cards cannot be written to {options.folder}: "
            f"{(error.strerror or str(error)).lower()}{done}; look at the folder."
        ) from None
    if options.json:
        say(json.dumps({"written": written}))
        return OK
    bench, smallest, dough = written
    say(f"{bench}: the example bench, simulated, every sensor fitted.")
    say(f"{smallest}: the smallest bench; put your own measured values in.")
    say(f"{dough}: the example dough.")
    say(f"Read the cautions on top of each, then 'benchd check {bench} {dough}'.")
    return OK


def _check_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("cards", nargs="+", metavar="CARD", help="bench card, then a dough card")
    parser.add_argument(
        "--diff", action="store_true", help="show what changed from the first card to the second"
    )
    parser.add_argument("--json", action="store_true", help="print the outcome as JSON")


def check(options: argparse.Namespace) -> int:
    """Check cards and say what they mean, or what changed between two."""
    if len(options.cards) > 2 or (options.diff and len(options.cards) != 2):
        raise Usage(DIFF_USAGE if options.diff else CHECK_USAGE)
    from benchd.config.errors import CardError

    mistakes: list[str] = []
    texts = []
    for path in options.cards:
        try:
            texts.append(_read(path))
        except CardError as error:
            mistakes += error.sentences
    if mistakes:
        return _wrong(options, mistakes)
    return _diff(options, *texts) if options.diff else _check(options, texts)


def _read(path: str) -> str:
    from benchd.config.text import read_card

    return read_card(path)


def _wrong(options: argparse.Namespace, mistakes: list[str]) -> int:
    """Print every mistake; they are the answer."""
    if options.json:
        say(json.dumps({"ok": False, "mistakes": mistakes}))
        return WRONG
    for sentence in mistakes:
        say(sentence)
    many = "1 mistake" if len(mistakes) == 1 else f"{len(mistakes)} mistakes"
    note(f"{many}: nothing can run by {'this card' if len(options.cards) == 1 else 'these cards'}.")
    return WRONG


def _check(options: argparse.Namespace, texts: list[str]) -> int:
    from benchd.config.bench import bench_card
    from benchd.config.changes import kind_of
    from benchd.config.dough import dough, dough_values
    from benchd.config.errors import CardError, Problems
    from benchd.config.summary import of_bench, of_dough

    for path, text, other in zip(options.cards, texts, ("dough", "bench"), strict=False):
        if kind_of(text) == other:
            raise Usage(f"{path} is a {other} card. {CHECK_USAGE}")
    bench_path, *dough_paths = options.cards
    mistakes: list[str] = []
    card = None
    try:
        card = bench_card(texts[0], bench_path)
    except CardError as error:
        mistakes += error.sentences
    made = None
    for path, text in zip(dough_paths, texts[1:], strict=True):
        try:
            if card is not None:
                made = dough(text, path, card.facts)
            else:  # What can be said without a bench.
                problems = Problems(path)
                dough_values(text, problems)
                problems.raise_if_any()
        except CardError as error:
            mistakes += error.sentences
    if mistakes or card is None:
        return _wrong(options, mistakes)
    bench_means = of_bench(card) if made is None else of_bench(card, made.density_kg_m3)
    dough_means = [] if made is None else of_dough(made, card.facts)
    _show_meaning(options, card, bench_means, dough_means)
    return OK


def _show_meaning(
    options: argparse.Namespace,
    card: BenchCard,
    bench_means: list[Meaning],
    dough_means: list[Meaning],
) -> None:
    from benchd.config.summary import numbers

    digests = {group: f"{value:08x}" for group, value in card.facts.digests.items()}
    if options.json:
        result: dict[str, Any] = {
            "ok": True,
            "mistakes": [],
            "bench": {**numbers(bench_means), "digests": digests},
        }
        if dough_means:
            result["dough"] = numbers(dough_means)
        say(json.dumps(result))
        return
    for meaning in [*bench_means, *dough_means]:
        say(f"{meaning.label:<{LABEL_WIDTH}} {meaning.text}")
    groups = ", ".join(f"{group} {digest}" for group, digest in digests.items())
    say(f"{'digests':<{LABEL_WIDTH}} {groups}")
    say("No mistakes were found in what is written; whether it is so, only measuring tells.")


class Compared(NamedTuple):
    """What two cards of a kind differ in; or what is wrong with them."""

    mistakes: list[str]
    changes: list[Change]
    void: list[str]
    """Groups of the bench card whose proof the change voids."""

    def lines(self) -> list[str]:
        """Return it for people."""
        if self.mistakes:
            return self.mistakes
        shown = [f"{'*' if change.asks else ' '} {change.line()}" for change in self.changes]
        asks = sum(change.asks for change in self.changes)
        void = [group for group in self.void if group != "eye"]
        return [*shown, _verdict(len(self.changes), asks, void)]


def compared(names: Sequence[str], texts: Sequence[str]) -> Compared:
    """Return what changed from the first card to the second; their names stand in mistakes.

    Raises: Usage when they are not of one kind.
    """
    from benchd.config.bench import bench_card
    from benchd.config.changes import changes, kind_of, read_values
    from benchd.config.errors import CardError

    kinds = set(map(kind_of, texts)) - {""}
    if len(kinds) == 2:
        raise Usage(f"One is a bench card and the other a dough card. {DIFF_USAGE}")
    read, mistakes = [], list[str]()
    groups: list[dict[str, int]] = []
    for name, text in zip(names, texts, strict=True):
        try:
            if kinds == {"dough"}:
                read.append(read_values(text, name, "dough"))
            else:
                card = bench_card(text, name)
                read.append(card.read)
                groups.append(card.facts.digests)
        except CardError as error:
            mistakes += error.sentences
    if mistakes:
        return Compared(mistakes, [], [])
    void = [group for group in groups[0] if groups[0][group] != groups[1][group]] if groups else []
    return Compared([], changes(*read), void)


def _diff(options: argparse.Namespace, before: str, after: str) -> int:
    told = compared(options.cards, (before, after))
    if told.mistakes:
        return _wrong(options, told.mistakes)
    if options.json:
        say(json.dumps({
            "ok": True,
            "changes": [{**change._asdict(), "asks": change.asks} for change in told.changes],
            "groups": told.void,
        }))  # fmt: skip
        return OK
    for line in told.lines():
        say(line)
    return OK


def _verdict(changed: int, asks: int, void: list[str]) -> str:
    if not changed:
        return "Nothing changed: both cards say the same."
    text = f"{changed} changed"
    if asks:
        text += f", {asks} of them (*) by so much that they are asked about before use"
    if void:
        text += f"; the bench is to be proven again (IL-15: {', '.join(void)})"
    return f"{text}."


def ask_before_serving(card: BenchCard, *, yes: bool) -> None:
    """Ask the person where a bench card is far from that of the bench's newest journal.

    Raises: Wrong when the person takes it back, Usage when nobody can be asked.
    """
    from pathlib import Path

    from benchd.analysis.reader import JournalReader, newest
    from benchd.config.changes import changes, read_values
    from benchd.config.errors import CardError
    from benchd.io import paths
    from benchd.io.journal_format import JournalError

    last = newest(Path(paths.state_dir(card.facts.name)))
    if last is None:
        return
    try:
        text = JournalReader(last.path).meta.get("card", "")
        found = changes(read_values(text, "card of the last journal", "bench"), card.read)
    except JournalError:
        return  # The daemon says so itself, and begins anew.
    except CardError as error:
        found = []
        note(f"The card served last cannot be read any more: {error.sentences[0]}")
        far = ["it cannot be compared with this one"]
    else:
        far = [change.line() for change in found if change.asks]
        if not far:
            return
    note(f"This bench card differs from the one served last ({last.path.name}):")
    for line in far:
        note(f"  {line}")
    small = len([change for change in found if not change.asks])
    if small:
        note(f"  and {small} smaller change{'s' if small > 1 else ''}")
    confirm("the bench will run by this card", yes=yes)


PARTS = {"init": Parts(_init_options, init), "check": Parts(_check_options, check)}
