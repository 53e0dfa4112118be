"""Writes what is made from the tables: SPEC.md's marked parts, and the C++ headers of the wire and
of the 8-bit board's pins.

Run `python -m protocols.gen` after a change of messages, codes or limits; `--check` only compares,
for the tests.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

from protocols import codes, limits, messages, pins
from protocols.codec import Number, Word

HERE = Path(__file__).parent
SPEC = HERE / "SPEC.md"
HEADER = HERE / "firmware" / "core" / "wire.h"
PINS_HEADER = HERE / "firmware" / "board" / "pins.h"


def _table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(str(cell) for cell in row) + " |" for row in rows]
    return "\n".join(lines)


def _numbered(words: Sequence[str], title: str) -> str:
    return _table(["number", title], enumerate(words))


def _field(name: str, field: Number | Word) -> str:
    if isinstance(field, Word):
        return f"`{name}` word of at most {field.length}: {field.meaning}"
    unit = f" {field.unit}" if field.unit else ""
    return f"`{name}` {field.low} to {field.high}{unit}: {field.meaning}"


def _messages(base: type[messages.Message]) -> str:
    rows = []
    for tag, spec in messages.MESSAGES.items():
        if issubclass(spec.cls, base):
            fields = "; ".join(_field(name, field) for name, field in spec.fields) or "–"
            meaning = (spec.cls.__doc__ or "").split("\n")[0]
            rows.append((f"`{tag}`", spec.cls.code, meaning, fields))
    return _table(["line", "journal code", "meaning", "fields in order"], rows)


def tables() -> dict[str, str]:
    """Return every generated table of SPEC.md by the name in its marker."""
    return {
        "host": _messages(messages.HostMessage),
        "board": _messages(messages.BoardMessage),
        "refusals": _table(
            ["code", "word", "value, bound", "sentence"],
            [(r.code, r.word, r.carries, r.sentence) for r in codes.REFUSALS],
        ),
        "limits": _table(
            ["key", "name", "unit", "from", "to", "at boot", "group", "meaning"], limits.LIMITS
        ),
        "fitted": _table(
            ["bit", "part"], [(bit, name) for name, bit in limits.FITTED_BITS.items()]
        ),
        "modes": _numbered(codes.MODES, "mode"),
        "pins": _numbered(codes.SIGNALS, "pin"),
        "phases": _numbered(codes.PHASES, "phase"),
        "moves": _numbered(codes.MOVES, "move"),
        "endings": _numbered(codes.MOVE_ENDINGS, "ending of a move"),
        "outcomes": _numbered(codes.OUTCOMES, "outcome"),
        "causes": _numbered(codes.CAUSES, "cause of a start"),
        "interlocks": _table(
            ["code", "kind", "reset", "where", "what it watches", "value, bound"],
            [(i.code, i.kind, i.reset, i.place, i.title, i.carries) for i in codes.INTERLOCKS],
        ),
    }


def spec_text(text: str) -> str:
    """Return SPEC.md's text with every marked table made afresh.

    Raises: ValueError when a table has not one place.
    """
    for name, table in tables().items():
        parts = re.split(
            rf"(?<=<!-- table: {name} -->\n).*?(?=<!-- end -->)", text, flags=re.DOTALL
        )
        if len(parts) != 2:
            raise ValueError(
                f"SPEC.md has {len(parts) - 1} places for the table '{name}', not one."
            )
        text = f"{parts[0]}{table}\n{parts[1]}"
    return text


def _constants(prefix: str, words: Sequence[str]) -> list[str]:
    return [
        f"static const uint8_t {prefix}_{word.upper().replace('-', '_')} = {number};"
        for number, word in enumerate(words)
    ]


def _line_rows() -> list[str]:
    """Return what the firmware needs to read host lines and to name its events."""
    lines: list[str] = []
    fields: list[tuple[int, int]] = []
    events: list[str] = []
    for tag, spec in messages.MESSAGES.items():
        if issubclass(spec.cls, messages.HostMessage):
            lines.append(f'  {{"{tag}", {spec.cls.code}, {len(fields)}, {len(spec.fields)}}}')
            for _, field in spec.fields:
                assert isinstance(field, Number), "A host line carries numbers only."
                fields.append((field.low, field.high))
        elif issubclass(spec.cls, messages.Event):
            events.append(f'  {{"{tag}"}}')
    ranges = list(dict.fromkeys(fields))
    return [
        "// Host lines: tag, code, place of the first field, number of fields.",
        "struct HostLine { char tag[8]; uint8_t code; uint8_t first; uint8_t count; };",
        "#define BENCHD_HOST_LINES \\",
        ", \\\n".join(lines),
        "",
        "// Of each field, which of the ranges it has.",
        f"#define BENCHD_FIELDS {', '.join(str(ranges.index(field)) for field in fields)}",
        "",
        "struct FieldRange { int32_t low; uint32_t high; };",
        "#define BENCHD_FIELD_RANGES \\",
        ", \\\n".join(f"  {{{low}, {high}u}}" for low, high in ranges),
        "",
        "// Of each event, in the order of the codes.",
        "struct EventTag { char tag[9]; };",
        "#define BENCHD_EVENT_TAGS \\",
        ", \\\n".join(events),
    ]


def _limit_rows() -> list[str]:
    """Return the limits by their keys, in halves of 16 bits: most have nothing in the upper one."""
    rows = limits.LIMITS
    if [row.key for row in rows] != list(range(1, len(rows) + 1)):
        raise ValueError(
            "The keys of the limits are not 1, 2, 3 and so on, as the board finds them."
        )
    wide = [row for row in rows if row.low < 0 or row.high > 0xFFFF]
    places = [str(wide.index(row)) if row in wide else "255" for row in rows]

    def halves(of: Sequence[limits.Limit], shift: int) -> str:
        values = [[row.low, row.high, row.start] for row in of]
        return ", \\\n".join(
            f"  {{{', '.join(str(value >> shift & 0xFFFF) for value in three)}}}"
            for three in values
        )

    return [
        f"static const uint8_t LIMIT_COUNT = {len(rows)};",
        "// Of each limit, which of the values that need 32 bits it is, else NARROW.",
        "static const uint8_t NARROW = 255;",
        f"static const uint8_t WIDE_LIMITS = {len(wide)};",
        f"#define BENCHD_LIMIT_PLACES {', '.join(places)}",
        "// Halves of the lowest, the highest and the first value: the lower ones of all limits,",
        "// the upper ones of those that have any.",
        "#define BENCHD_LIMIT_LOWER \\",
        halves(rows, 0),
        "#define BENCHD_LIMIT_UPPER \\",
        halves(wide, 16),
    ]


def header_text() -> str:
    """Return the C++ header with every number of the wire."""
    out = [
        "// Made by protocols/gen.py from messages.py, codes.py and limits.py. Not to be edited.",
        "#ifndef BENCHD_WIRE_H",
        "#define BENCHD_WIRE_H",
        "#include <stdint.h>",
        "",
        "namespace wire {",
    ]
    for name in (
        "PROTOCOL", "LINE_BYTES_MAX", "WINDOW_BYTES", "BEAT_MS", "BEAT_HELD_MS", "FRESH_MS",
        "ARM_MS", "RESEND_MS", "DRIVE_OFF_MS", "HOME_STEADY_MS", "RING_EVENTS",
        "RING_EVENTS_NEEDED", "BUTTON_MS", "COLLAPSE_PERCENT", "COLLAPSE_MS", "COLLAPSE_FLOOR_DN",
        "RELIEVED_DN", "NOT_FITTED",
    ):  # fmt: skip
        out.append(f"static const uint16_t {name} = {getattr(limits, name)};")
    out.append("")
    for prefix, words in (
        ("MODE", codes.MODES), ("PHASE", codes.PHASES), ("PIN", codes.PINS),
        ("CAUSE", codes.CAUSES), ("MOVE", codes.MOVES), ("ENDING", codes.MOVE_ENDINGS),
        ("OUTCOME", codes.OUTCOMES),
    ):  # fmt: skip
        out += _constants(prefix, words)
    for refusal in codes.REFUSALS:
        word = refusal.word.upper().replace("-", "_")
        out.append(f"static const uint8_t NO_{word} = {refusal.code};")
    out.append(f"static const uint8_t SIGNAL_DROP = {codes.DROP};")
    for name, bit in limits.FITTED_BITS.items():
        out.append(f"static const uint16_t FITTED_{name.upper()} = {1 << bit};")
    out += ["", "// Event kinds are the journal codes of their messages."]
    for tag, spec in messages.MESSAGES.items():
        out.append(f"static const uint8_t CODE_{tag.upper()} = {spec.cls.code};")
    out += ["", "// Index of each limit in the table below."]
    for index, limit in enumerate(limits.LIMITS):
        out.append(f"static const uint8_t LIMIT_{limit.name.upper()} = {index};")
    out += _limit_rows()
    out += ["", *_line_rows(), "", "}  // namespace wire", "", "#endif", ""]
    return "\n".join(out)


def main(arguments: Sequence[str]) -> int:
    """Write the files, or with --check say whether they are current; 0 if they are."""
    stale = 0
    for path, text in (
        (SPEC, spec_text(SPEC.read_text("utf-8"))),
        (HEADER, header_text()),
        (PINS_HEADER, pins.header_text()),
    ):
        if path.exists() and path.read_text("utf-8") == text:
            continue
        if "--check" in arguments:
            sys.stderr.write(f"{path.name} is not current: run 'python -m protocols.gen'.\n")
            stale = 1
        else:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, "utf-8")
    return stale


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
