"""The guide's pages as text: from a small part of Markdown to lines of a terminal, and to entries.

Pure: text in, text out. Pages are written in headings, paragraphs, lists, tables and fenced blocks;
a test holds them to that.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from tui import view

GAP = 2
"""Blanks between the columns of a table."""

LAST_COLUMN_MIN = 30
"""A table whose last column would be narrower than this is shown row by row."""

COMMAND_KEPT = 36
"""A command in a sentence is kept on one line up to this length."""

_STUCK = "\x00"
"""Stands for a blank at which no line may end."""

_SIGNS = str.maketrans(
    {"–": "-", "—": "-", "×": "x", "±": "+/-", "…": "...", "°": "deg ", "µ": "u", "→": "->",
     "≥": ">=", "≤": "<=", "²": "2", "³": "3", "“": '"', "”": '"', "’": "'", "·": "*", "½": "1/2"}
)  # fmt: skip
"""Signs that pages may hold, in the letters that every terminal has."""

_ITEM = re.compile(r"(?P<indent> *)(?P<mark>[-*]|\d+\.) +(?P<text>.*)")
_NUMBERED = re.compile(r"\d+\.\s+")
_CODE = re.compile(r"`([^`]+)`")
_QUOTED = re.compile(r"'benchd [^'\n]+'")


class Block(NamedTuple):
    """A piece of a page.

    kind: "heading", "paragraph", "item", "code" or "table". level: of a heading from 1, columns of
    indent of an item. mark: of an item. rows: lines of code in one cell each, or a table's head and
    rows.
    """

    kind: str
    text: str = ""
    level: int = 0
    mark: str = ""
    rows: tuple[tuple[str, ...], ...] = ()


class Entry(NamedTuple):
    """Something that can be looked up by itself: the words it is found by, and its blocks."""

    terms: tuple[str, ...]
    blocks: tuple[Block, ...]


def parse(markdown: str) -> list[Block]:
    """Return the blocks of a page."""
    blocks: list[Block] = []
    lines = markdown.splitlines()
    at = 0
    while at < len(lines):
        line = lines[at]
        if not line.strip():
            at += 1
        elif line.startswith("```"):
            end = next(n for n in range(at + 1, len(lines)) if lines[n].startswith("```"))
            blocks.append(Block("code", rows=tuple((one,) for one in lines[at + 1 : end])))
            at = end + 1
        elif line.startswith("#"):
            mark, _, text = line.partition(" ")
            blocks.append(Block("heading", text.strip(), len(mark)))
            at += 1
        elif line.startswith("|"):
            end = _run(lines, at, lambda one: one.startswith("|"))
            rows = [_cells(one) for one in lines[at:end]]
            blocks.append(Block("table", rows=(rows[0], *rows[2:])))
            at = end
        else:
            end = _run(lines, at, _goes_on)
            blocks.append(_prose(lines[at:end]))
            at = end
    return blocks


def _run(lines: Sequence[str], at: int, goes_on: Callable[[str], bool]) -> int:
    """Return where the lines that belong to the one at `at` end."""
    end = at + 1
    while end < len(lines) and goes_on(lines[end]):
        end += 1
    return end


def _goes_on(line: str) -> bool:
    return bool(line.strip()) and not line.startswith(("#", "|", "```")) and not _ITEM.match(line)


def _cells(line: str) -> tuple[str, ...]:
    return tuple(cell.strip().replace("\\|", "|") for cell in
                 re.split(r"(?<!\\)\|", line.strip().strip("|")))  # fmt: skip


def _prose(lines: Sequence[str]) -> Block:
    text = " ".join(line.strip() for line in lines)
    item = _ITEM.match(lines[0])
    if item is None:
        return Block("paragraph", text)
    return Block("item", text[len(item["mark"]) :].strip(), len(item["indent"]), item["mark"])


def plain(text: str) -> str:
    """Return running text without its Markdown; a command inside a sentence is put in quotes."""
    text = _CODE.sub(_code, text)
    text = _QUOTED.sub(lambda found: _stuck(found[0]), text)
    text = re.sub(r"\*\*([^*]+)\*\*", r"\1", text)
    text = re.sub(r"(?<![\w*])\*(\w[^*]*)\*", r"\1", text)
    text = re.sub(r"\[([^\]]+)\]\((https?://[^)]+)\)", r"\1 (\2)", text)
    text = re.sub(r"\[([^\]]+)\]\([^)]+\)", r"\1", text)
    return text.translate(_SIGNS)


def _code(found: re.Match[str]) -> str:
    """A code of one word is plain by itself, and so is what opens a cell, an item or a heading."""
    inner = found[1]
    if " " not in inner or (found.start() == 0 and not inner.startswith("benchd ")):
        return _stuck(inner)
    return f"'{_stuck(inner)}'"


def _stuck(text: str) -> str:
    return text.replace(" ", _STUCK) if len(text) <= COMMAND_KEPT else text


def render(blocks: Sequence[Block], width: int, *, bold: bool = False) -> list[str]:
    """Return blocks as lines of at most `width` columns; only code and long words may pass it."""
    lines: list[str] = []
    before = ""
    for block in blocks:
        if lines and not (block.kind == "item" and before == "item"):
            lines.append("")
        before = block.kind
        if block.kind == "heading":
            lines += _heading(block, width, bold=bold)
        elif block.kind == "code":
            lines += [f"    {view.plain(one.translate(_SIGNS))}".rstrip() for (one,) in block.rows]
        elif block.kind == "table":
            lines += _table(block, width)
        else:
            hang = " " * (len(block.mark) + 1 if block.mark else 0)
            indent = " " * block.level
            first = f"{indent}{block.mark} " if block.mark else ""
            lines += _wrap(block.text, width, first, indent + hang)
    return lines


def _wrap(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    wrapped = textwrap.wrap(
        plain(text),
        width,
        initial_indent=first,
        subsequent_indent=rest,
        break_on_hyphens=False,
        break_long_words=False,
    )
    return [_shown(line) for line in wrapped] or [first.rstrip()]


def _shown(line: str) -> str:
    return view.plain(line.replace(_STUCK, " "))


def _heading(block: Block, width: int, *, bold: bool) -> list[str]:
    lines = _wrap(block.text, width)
    under = {1: "=", 2: "-"}.get(block.level, "")
    ruler = [under * max(len(line) for line in lines)] if under else []
    if bold:
        lines = [f"\x1b[1m{line}\x1b[0m" for line in lines]
    return lines + ruler


def _table(block: Block, width: int) -> list[str]:
    cells = [tuple(_shown(plain(cell)) for cell in row) for row in block.rows]
    columns = len(cells[0])
    widths = [max(len(row[n]) for row in cells if n < len(row)) for n in range(columns)]
    left = width - sum(widths[:-1]) - GAP * (columns - 1)
    if left < min(widths[-1], LAST_COLUMN_MIN):
        return _row_by_row(block, width)
    rules = tuple("-" * min(size, left) for size in widths)
    heads = [cells[0], rules] if any(cells[0]) else []
    lines: list[str] = []
    for row in (*heads, *cells[1:]):
        first = "".join(f"{cell:<{size + GAP}}" for cell, size in
                        zip(row[:-1], widths[:-1], strict=False))  # fmt: skip
        lines += [line.rstrip() for line in _wrap(row[-1], width, first, " " * len(first))]
    return lines


def _row_by_row(block: Block, width: int) -> list[str]:
    heads, *rows = block.rows
    lines: list[str] = []
    for row in rows:
        lines += _wrap(row[0], width)
        for head, cell in zip(heads[1:], row[1:], strict=False):
            named = f"{head}: " if len(heads) > 2 and head else ""
            lines += _wrap(f"{named}{cell}", width, "    ", "    ")
    return lines


def entries(blocks: Sequence[Block]) -> Iterator[Entry]:
    """Return everything that can be looked up: sections, rows of tables, items with a bold head."""
    for at, block in enumerate(blocks):
        if block.kind == "heading" and block.level > 1:
            end = at + 1
            while end < len(blocks) and not (
                blocks[end].kind == "heading" and blocks[end].level <= block.level
            ):
                end += 1
            yield Entry(_heading_terms(block.text), tuple(blocks[at:end]))
        elif block.kind == "table":
            for row in block.rows[1:]:
                terms = tuple(_CODE.findall(row[0])) or (_shown(plain(row[0])),)
                yield Entry(terms, (Block("table", rows=(block.rows[0], row)),))
        elif block.kind == "item":
            found = re.match(r"\*\*([^*]+)\*\*", block.text)
            if found:
                terms = tuple(_shown(plain(word)).strip(".: ") for word in found[1].split(", "))
                yield Entry(terms, (block,))


def _heading_terms(text: str) -> tuple[str, ...]:
    whole = _NUMBERED.sub("", _shown(plain(text)), count=1)
    code = re.match(r"(?:IL|MC)-\d\d", whole)
    named = [code[0], whole[len(code[0]) :].strip()] if code else []
    return tuple(dict.fromkeys([*_CODE.findall(text), *named, whole]))


def normal(words: str) -> str:
    """Return the form in which words are compared: small letters, one kind of dash, two digits."""
    text = re.sub(r"[\s_]+", "-", words.strip().lower())
    code = re.fullmatch(r"(il|mc)-?0*(\d{1,2})", text)
    return f"{code[1]}-{int(code[2]):02d}" if code else text
