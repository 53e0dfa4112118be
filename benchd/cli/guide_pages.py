"""The guide's topics: where each page comes from, and how a word is found in them."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from importlib.resources import files
from typing import NamedTuple

from benchd.cli import guide_text
from benchd.cli.guide_text import Block, Entry

SUFFIX = ".md"


class Topic(NamedTuple):
    """A page: its name, what it is about, and for pages made from the code the module:function."""

    name: str
    summary: str
    made_by: str = ""


TOPICS: tuple[Topic, ...] = (
    Topic("first-contact", "the first half hour with a bench that nobody ran before"),
    Topic("wiring", "every pin and wire, the supplies, and what hardware must cut",
          "guide_wiring:wiring_page"),
    Topic("job", "the whole job in order, first power-up to cleaning and archive"),
    Topic("screens", "the screens of benchd watch, key by key"),
    Topic("sizing", "what a bench can do, worked out before anything moves"),
    Topic("cautions", "what can hurt people, and what this tool is not"),
    Topic("misfires", "what to look at when a portion comes out wrong"),
    Topic("judge", "what the weights say, and what so few of them cannot say"),
    Topic("commands", "every command with its options and an example",
          "guide_tables:commands_page"),
    Topic("interlocks", "what each watches, what it says, how to clear it",
          "guide_interlocks:interlocks_page"),
    Topic("refusals", "why the board refuses a command, word by word",
          "guide_interlocks:refusals_page"),
    Topic("bench-card", "every key: meaning, unit, range, default",
          "guide_tables:bench_card_page"),
    Topic("dough-card", "every key: meaning, unit, range, default",
          "guide_tables:dough_card_page"),
    Topic("events", "what the board says, field by field with units",
          "guide_tables:events_page"),
    Topic("journal", "what the journal's tables and records mean"),
    Topic("export", "journals in sqlite3, pandas, DuckDB: exports and archives"),
    Topic("mqtt", "what goes out over MQTT, topic by topic"),
    Topic("simulator", "its controls, and the faults it can be told to have",
          "guide_tables:simulator_page"),
    Topic("glossary", "the words of the trade and of this tool"),
)  # fmt: skip
"""The single table of topics, in the order in which they are listed."""


class Found(NamedTuple):
    """An entry, and the topic it stands in."""

    topic: str
    entry: Entry


def topics() -> tuple[Topic, ...]:
    """Return every page there is: those of the table, then pages that lie beside them."""
    lying = sorted(
        item.name.removesuffix(SUFFIX)
        for item in (files("benchd") / "guide").iterdir()
        if item.name.endswith(SUFFIX)
    )
    known = [topic for topic in TOPICS if topic.made_by or topic.name in lying]
    named = {topic.name for topic in TOPICS}
    return (*known, *(Topic(name, _title(name)) for name in lying if name not in named))


def _title(name: str) -> str:
    title = next((block.text for block in blocks(Topic(name, "")) if block.kind == "heading"), name)
    return title[:1].lower() + title[1:]


def markdown(topic: Topic) -> str:
    """Return the text of a page."""
    if not topic.made_by:
        return (files("benchd") / "guide" / f"{topic.name}{SUFFIX}").read_text("utf-8")
    import importlib

    module, _, function = topic.made_by.partition(":")
    make: Callable[[], str] = getattr(importlib.import_module(f"benchd.cli.{module}"), function)
    return make()


def blocks(topic: Topic) -> list[Block]:
    """Return the blocks of a page."""
    return guide_text.parse(markdown(topic))


def topic_of(word: str) -> Topic | None:
    """Return the topic of this name, if there is one."""
    wanted = guide_text.normal(word)
    return next((topic for topic in topics() if topic.name == wanted), None)


def index() -> list[Found]:
    """Return every entry of every page."""
    return [
        Found(topic.name, entry)
        for topic in topics()
        for entry in guide_text.entries(blocks(topic))
    ]


def find(words: str, among: list[Found]) -> list[Found]:
    """Return the entries that are found by these words, in the order of the pages."""
    wanted = guide_text.normal(words.removeprefix("benchd "))
    return [
        one
        for one in among
        if wanted in (guide_text.normal(term.removeprefix("benchd ")) for term in one.entry.terms)
    ]


def nearest(words: str, among: list[Found]) -> list[str]:
    """Return up to three topics or entries whose names are nearest to these words."""
    names = {guide_text.normal(topic.name): topic.name for topic in topics()}
    for one in among:
        for term in one.entry.terms:
            names.setdefault(guide_text.normal(term), term)
    found = difflib.get_close_matches(guide_text.normal(words), list(names), 3, 0.0)
    return [names[name] for name in found]
