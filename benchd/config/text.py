"""From the text of a card to its entries, each with the line it stands on.

YAML is read as a tree of plain text: what a value means is decided by the table of keys, never by
YAML (where `no` is false, `1:30` is 90 and `1_000` is a thousand). What a card does not need is
refused: tabs, keys given twice, anchors, tags, several documents, deep nesting.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import yaml

from benchd.config.errors import CardError, Problems

SIZE_MAX = 256 * 1024
"""Largest card [bytes]."""

DEPTH_MAX = 4
"""Deepest nesting; a card needs a section, its keys, and a list."""


class Entry(NamedTuple):
    """One value of a card: its path such as "feed.bore", its line, its text (texts of a list)."""

    path: str
    line: int
    text: str | tuple[str, ...]


def read_card(path: str | Path) -> str:
    """Return the text of a card file.

    Raises: CardError with one sentence when the file is missing, too large, or not UTF-8 text.
    """
    name = str(path)
    try:
        with open(path, "rb") as file:
            data = file.read(SIZE_MAX + 1)
    except OSError as error:
        reason = (error.strerror or "it cannot be read").lower()
        raise CardError([f"{name}: cannot be read ({reason}); check the path."]) from None
    if len(data) > SIZE_MAX:
        raise CardError([_too_large(name)])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise CardError(
            [f"{name}, line {line}: is not UTF-8 text; save the card as UTF-8."]
        ) from None


def entries(text: str, name: str) -> list[Entry]:
    """Return every value of a card in order of its lines.

    Parameters: text: the card; name: its file name, for the sentences.
    Raises: CardError with every breach of the rules above that was found.
    """
    if len(text) > SIZE_MAX or len(text.encode("utf-8", "replace")) > SIZE_MAX:
        raise CardError([_too_large(name)])
    problems = Problems(name)
    for number, line in enumerate(text.split("\n"), 1):
        if "\t" in line.split("#", 1)[0]:
            problems.add(number, "has a tab; use spaces.")
    problems.raise_if_any()
    try:
        _check_events(text, problems)
        problems.raise_if_any()
        root = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.MarkedYAMLError as error:
        raise CardError([_unreadable(name, error)]) from None
    except yaml.YAMLError:
        raise CardError([f"{name}: holds characters that are no text; save it as UTF-8."]) from None
    if not isinstance(root, yaml.MappingNode):
        raise CardError([f"{name}: is no card; it needs lines such as 'key: value'."])
    found: list[Entry] = []
    _walk(root, "", found, problems)
    problems.raise_if_any()
    return sorted(found, key=lambda entry: entry.line)


def _too_large(name: str) -> str:
    return f"{name}: is larger than {SIZE_MAX // 1024} KB, which no card is; check the path."


def _unreadable(name: str, error: yaml.MarkedYAMLError) -> str:
    mark = error.problem_mark or error.context_mark
    line = "" if mark is None else f", line {mark.line + 1}"
    what = error.problem or error.context or "not readable"
    return (
        f"{name}{line}: is not YAML as a card needs it ({what}); check indents, colons and quotes."
    )


def _check_events(text: str, problems: Problems) -> None:
    """Refuse what a card does not need, before a tree is built of it."""
    depth = documents = 0
    for event in yaml.parse(text, Loader=yaml.SafeLoader):
        line = event.start_mark.line + 1 if event.start_mark is not None else 0
        if isinstance(event, yaml.DocumentStartEvent):
            documents += 1
            if documents > 1:
                problems.add(line, "starts a second document; put one card in one file.")
                return
        elif isinstance(event, yaml.AliasEvent):
            problems.add(line, f"uses '*{event.anchor}'; write the value out instead.")
        elif isinstance(event, yaml.NodeEvent):
            if event.anchor is not None:
                problems.add(line, f"uses '&{event.anchor}'; write the value out instead.")
            tag = getattr(event, "tag", None)
            if tag not in (None, "!"):
                problems.add(line, f"uses the tag '{tag}'; leave it out.")
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            if depth > DEPTH_MAX:
                problems.add(
                    line, f"is nested deeper than {DEPTH_MAX} levels, which no card needs."
                )
                return
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1


def _walk(node: yaml.MappingNode, prefix: str, found: list[Entry], problems: Problems) -> None:
    lines: dict[str, int] = {}
    for key_node, value in node.value:
        line = key_node.start_mark.line + 1
        if not isinstance(key_node, yaml.ScalarNode):
            problems.add(line, "has a key that is no word; write 'key: value'.")
            continue
        if "." in key_node.value:
            section, _, word = key_node.value.partition(".")
            problems.add(line, f"has the key '{key_node.value}'; put '{word}' under '{section}:'.")
            continue
        path = prefix + key_node.value
        if path in lines:
            problems.add(
                line, f"gives '{path}' again (first on line {lines[path]}); keep one of them."
            )
            continue
        lines[path] = line
        if isinstance(value, yaml.MappingNode):
            _walk(value, f"{path}.", found, problems)
        elif isinstance(value, yaml.SequenceNode):
            if all(isinstance(item, yaml.ScalarNode) for item in value.value):
                found.append(Entry(path, line, tuple(item.value.strip() for item in value.value)))
            else:
                problems.add(line, f"'{path}' must be a plain list such as [eye, home].")
        else:
            found.append(Entry(path, line, value.value.strip()))
