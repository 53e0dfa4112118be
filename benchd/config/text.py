"""From the text of a card to its entries, each with the line it stands on.

YAML is read as a tree of plain text: what a value means is decided by the table of keys, never by
YAML (where `no` is false, `1:30` is 90 and `1_000` is a thousand). What a card does not need is
refused: tabs, keys given twice, anchors, tags, several documents, deep nesting, too many values.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import yaml

from benchd.config.errors import CardError, Problems

if TYPE_CHECKING:
    from pathlib import Path

SIZE_MAX = 64 * 1024
"""Largest card [bytes]; the fullest has some 6 KB."""

DEPTH_MAX = 4
"""Deepest nesting; a card needs a section, its keys, and a list."""

NODES_MAX = 1000
"""Most keys, values and lists; the fullest card has some 250."""

LOADER: type[Any] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
"""The parser written in C is ten times faster; where it is missing the other gives the same."""


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


def entries(text: str, problems: Problems) -> list[Entry]:
    """Return every value of a card in order of its lines; breaches of the rules go into `problems`.

    Raises: CardError with all that was found when the text cannot be read any further.
    """
    name = problems.name
    if len(text) > SIZE_MAX or len(text.encode("utf-8", "replace")) > SIZE_MAX:
        raise CardError([_too_large(name)])
    text = _without_tabs(text, problems)
    try:
        if not _harmless(text, problems):
            problems.raise_if_any()
        root = yaml.compose(text, Loader=LOADER)
    except yaml.MarkedYAMLError as error:
        raise CardError([*problems.sentences(), _unreadable(name, error)]) from None
    except (yaml.YAMLError, UnicodeError):
        raise CardError([f"{name}: holds characters that are no text; save it as UTF-8."]) from None
    if not isinstance(root, yaml.MappingNode) or not root.value:
        raise CardError([f"{name}: is no card; it needs lines such as 'key: value'."])
    found: list[Entry] = []
    _walk(root, "", found, problems)
    return sorted(found, key=lambda entry: entry.line)


def _without_tabs(text: str, problems: Problems) -> str:
    """Note every tab outside a remark.

    Raises: CardError when one stands where it could mean an indent.
    """
    unclear = False
    for number, line in enumerate(text.split("\n"), 1):
        before_remark = line.split("#", 1)[0]
        if "\t" in before_remark:
            problems.add(number, "has a tab; use spaces.")
            unclear = unclear or "\t" in before_remark[: len(line) - len(line.lstrip())]
    if unclear:
        problems.raise_if_any()
    return text.replace("\t", " ")


def _too_large(name: str) -> str:
    return f"{name}: is larger than {SIZE_MAX // 1024} KB, which no card is; check the path."


def _unreadable(name: str, error: yaml.MarkedYAMLError) -> str:
    mark = error.problem_mark or error.context_mark
    line = "" if mark is None else f", line {mark.line + 1}"
    what = error.problem or error.context or "not readable"
    return (
        f"{name}{line}: is not YAML as a card needs it ({what}); check indents, colons and quotes."
    )


def _harmless(text: str, problems: Problems) -> bool:
    """Return whether a tree may be built of this card; what a card does not need is noted."""
    depth = documents = nodes = 0
    clean = True
    for event in yaml.parse(text, Loader=LOADER):
        line = event.start_mark.line + 1 if event.start_mark is not None else 0
        if isinstance(event, yaml.DocumentStartEvent):
            documents += 1
            if documents > 1:
                problems.add(line, "starts a second document; put one card in one file.")
                return False
        elif isinstance(event, yaml.AliasEvent):
            clean = False
            problems.add(line, f"uses '*{event.anchor}'; write the value out instead.")
        elif isinstance(event, yaml.NodeEvent):
            if event.anchor is not None:
                clean = False
                problems.add(line, f"uses '&{event.anchor}'; write the value out instead.")
            tag = getattr(event, "tag", None)
            if tag not in (None, "!"):
                clean = False
                problems.add(line, f"uses the tag '{tag}'; leave it out.")
        if isinstance(event, (yaml.ScalarEvent, yaml.CollectionStartEvent)):
            nodes += 1
            if nodes > NODES_MAX:
                problems.add(line, f"is past {NODES_MAX} keys and values, which no card has.")
                return False
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            if depth > DEPTH_MAX:
                problems.add(
                    line, f"is nested deeper than {DEPTH_MAX} levels, which no card needs."
                )
                return False
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
    return clean


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
