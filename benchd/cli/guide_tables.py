"""The guide's pages of commands, card keys, what the board says, and the simulator: made from the
tables they come from."""

from __future__ import annotations

import argparse
import ast
import importlib
import inspect
import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

from benchd.cli.command import Row, make_parser
from benchd.config.bench_keys import BENCH_KEYS, PART_OF
from benchd.config.dough import DOUGH_KEYS
from benchd.config.keys import OPTIONAL, REQUIRED, Key
from benchd.core import ledger
from protocols import codes
from protocols.codec import Number, Word
from protocols.messages import BY_CODE, MESSAGES, BoardMessage

COMMANDS_HEAD = """\
# Commands

In the order of a working day. `benchd COMMAND --help` says the same at the prompt. Lengths, masses,
pressures, speeds and times carry their unit (2.5mm, 30g, 1.2bar, 2mm/s, 8s; in, oz and psi too).
A command that moves something says what it will do and asks; Ctrl-C stops it. Exit code: 0 done,
1 refused or found wrong, 2 not understood.
"""

EVENTS_HEAD = """\
# What the board says

Each line of the board is kept in the journal as it was understood, in the wire's units. The view of
a line is named after its first word: `sqlite3 FILE "SELECT * FROM line_phase"`. 65535 in a reading
means that it is not fitted or was not measured. The wire in full: protocols/SPEC.md.
"""

BENCH_CARD_HEAD = """\
# The bench card

What the bench is, as YAML. A quantity is written with its unit; mm or in, bar or psi, N or lbf, g
or oz alike. Measure, do not guess: a wrong bore makes every portion wrong, and a wrong limit lets
the bench push harder than it may. `benchd serve` reads the card once, and names every mistake with
its line. A change of wiring, motion or air voids the proof of the bench (IL-15).
"""

DOUGH_CARD_HEAD = """\
# The dough card

How a dough is portioned, as YAML. `benchd portion` and `benchd series` read it each time, check it
against the bench, and say what a portion will do before they ask.

"""

SIMULATOR_HEAD = """\
# The simulator

`benchd simulate` runs the board's own firmware, compiled for this machine, against a simulated
barrel, cutter, eye and scale, on a port of its own. `benchd serve` cannot tell it from a board.
`benchd demo` runs a whole job on it. Where nothing real moves, try what you would rather not try
first on the bench: open the guard, pull the cable, stop in the middle of a push.

```
benchd simulate bench.yaml --link ./bench-port --seed 7 --fault void@5
benchd serve bench.yaml
```

Its dough is soft maize dough. With `--dough masa.yaml` it has what that card says of density, air,
swell, wall friction, throw and flow, a stiff paste too; what the card leaves out stays as it was.

## Controls

Typed to the running `benchd simulate`, one a line.

"""

FAULTS_HEAD = """
## Faults

`--fault NAME@PORTION` or `--fault NAME@PORTION:SEVERITY`, as often as wanted: `--fault void@5`,
`--fault low-air@12:1.2`; `--fault void@5%` gives each portion that chance. Portions are counted
from 1. The codes say what it should make visible.

"""


def commands_page() -> str:
    """Return the page of commands, from their parsers."""
    from benchd.cli.table import COMMANDS

    return COMMANDS_HEAD + "".join("\n".join(_command(row)) + "\n" for row in COMMANDS)


def _command(row: Row) -> Iterator[str]:
    parser = parser_of(row)
    yield f"\n## `{row.name}`\n"
    yield f"{row.summary[:1].upper()}{row.summary[1:]}.\n"
    yield f"```\n{row.example}\n```\n"
    yield from _arguments(parser)
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            helps = {choice.dest: choice.help or "" for choice in action._choices_actions}
            for name, inner in action.choices.items():
                yield f"\n### `{row.name} {name}`\n\n{_sentence(helps.get(name, ''))}\n"
                yield from _arguments(inner)


def parser_of(row: Row) -> argparse.ArgumentParser:
    """Return the parser of a command."""
    module = importlib.import_module(f"benchd.cli.{row.module}")
    return make_parser(row, module.PARTS[row.name])


def _arguments(parser: argparse.ArgumentParser) -> Iterator[str]:
    for action in sorted(parser._actions, key=_rank):
        if isinstance(action, argparse._HelpAction | argparse._SubParsersAction):
            continue
        names = ", ".join(action.option_strings) or str(action.metavar or action.dest)
        if action.option_strings and action.nargs != 0:
            value = action.metavar or action.dest.upper()
            names += f" {'|'.join(map(str, action.choices)) if action.choices else value}"
        elif action.choices:
            names = "|".join(map(str, action.choices))
        needed = " (needed)" if action.required and action.option_strings else ""
        about = (action.help or "").replace("%%", "%") % {"default": action.default}
        yield f"- `{names}`{needed}" + (f": {about}" if about else "")


def _rank(action: argparse.Action) -> int:
    """What must be given comes first, what every command has comes last."""
    if not action.option_strings:
        return 0
    return 2 if action.dest in ("bench", "json", "yes") else 1


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def bench_card_page() -> str:
    """Return the page of the bench card's keys."""
    groups: dict[str, list[Key]] = {}
    for key in BENCH_KEYS:
        group, dot, _ = key.path.partition(".")
        groups.setdefault(group if dot else "the bench itself", []).append(key)
    parts = [BENCH_CARD_HEAD]
    for group, keys in groups.items():
        parts.append(f"\n## {group}\n\n{_key_table(keys)}")
    return "".join(parts)


def dough_card_page() -> str:
    """Return the page of the dough card's keys."""
    return DOUGH_CARD_HEAD + _key_table(DOUGH_KEYS)


def _key_table(keys: Sequence[Key]) -> str:
    rows = "".join(f"| `{key.path}` | {describe(key)} |\n" for key in keys)
    return f"| key | what it is |\n|---|---|\n{rows}"


def describe(key: Key) -> str:
    """Return what a key means, its range with the unit, its default, and what it needs."""
    part, needed = PART_OF.get(key.path, ("", False))
    if key.default == REQUIRED or needed:
        given = "must be given"
    elif key.default == OPTIONAL:
        given = "may be left out"
    else:
        given = f"{key.default} if left out"
    where = f"; only where `{part}` is fitted" if part else ""
    return f"{key.meaning}: {_range(key)}; {given}{where}"


def _range(key: Key) -> str:
    if key.kind == "choice":
        runs = _runs(key.choices)
        return ", ".join(runs) if len(runs) < len(key.choices) else " or ".join(key.choices)
    if key.kind == "parts":
        return f"any of {', '.join(key.choices)}"
    if key.kind == "text":
        return f"{key.low:g} to {key.high:g} characters"
    if key.kind == "share":
        return f"{key.low * 100:g} to {key.high * 100:g} %"
    unit = f" {key.unit}" if key.unit else ""
    return f"{key.low:.9g} to {key.high:.9g}{unit}"


def _runs(names: Sequence[str]) -> list[str]:
    """Return names with those that only count up put together: D2, D3, D4 as "D2 to D4"."""
    runs: list[list[str]] = []
    for name in names:
        letters = name.rstrip("0123456789")
        number = name[len(letters) :]
        if runs and number and runs[-1][-1] == f"{letters}{int(number) - 1}":
            runs[-1].append(name)
        else:
            runs.append([name])
    return [run[0] if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]


WORDS_BEHIND = (
    ("mode", "MODES"), ("phase", "PHASES"), ("pins", "PINS"), ("cause", "CAUSES"),
    ("kind of move", "MOVES"), ("ending of a move", "MOVE_ENDINGS"), ("outcome", "OUTCOMES"),
)  # fmt: skip
"""Title of a table of `protocols.codes`, and its name there."""


def events_page() -> str:
    """Return the page of what the board says, and of the numbers in journal and lines."""
    parts = [EVENTS_HEAD]
    for tag, spec in MESSAGES.items():
        if issubclass(spec.cls, BoardMessage):
            about = " ".join((spec.cls.__doc__ or "").split())
            fields = "\n".join(_field(name, field) for name, field in spec.fields)
            parts.append(
                f"\n## `{tag}`, view `line_{tag}`\n\n{about} Kind {spec.cls.code}.\n\n{fields}\n"
            )
    parts.append("\n## The words behind the numbers\n")
    for title, name in WORDS_BEHIND:
        numbered = ", ".join(f"{n} {word}" for n, word in enumerate(getattr(codes, name)))
        parts.append(f"\n### {title}\n\n{numbered}.\n{_meanings(name)}")
    parts.append(
        "\n## Kinds of journal entry\n\nThe column `kind` of the table `entry`. What each holds "
        "stands on the page `journal`.\n\n| kind | view | columns |\n|---|---|---|\n"
    )
    for view, kind, columns in ledger.views():
        in_text = "JSON in text" if kind not in BY_CODE and not columns else ""
        if kind == ledger.RAW or (kind in BY_CODE and not columns):
            in_text = "the line in text"
        shown = ", ".join(columns) or in_text
        parts.append(f"| {kind} | {view} | {shown} |\n")
    return "".join(parts)


def _field(name: str, field: Number | Word) -> str:
    if isinstance(field, Word):
        return f"- `{name}`: {field.meaning}; a word of at most {field.length} letters"
    unit = f", in {field.unit}" if field.unit else ""
    return f"- `{name}`: {field.meaning}; {field.low} to {field.high}{unit}"


def _meanings(name: str) -> str:
    """Return what a table of the codes says about its words, if it says more than where it is
    used."""
    body = ast.parse(inspect.getsource(codes)).body
    for node, after in pairwise(body):
        if (
            isinstance(node, ast.AnnAssign)
            and isinstance(node.target, ast.Name)
            and node.target.id == name
            and isinstance(after, ast.Expr)
            and isinstance(after.value, ast.Constant)
        ):
            _, _, more = str(after.value.value).partition("\n\n")
            text = " ".join(more.split())
            return f"\n{text[:1].upper()}{text[1:]}\n" if ";" in text else ""
    return ""


def simulator_page() -> str:
    """Return the page of the simulator's controls and faults."""
    from sim.controls import CONTROLS
    from sim.faults import KINDS

    rows = "".join(f"| `{name}` | {text} |\n" for name, text in controls(CONTROLS))
    faults = "".join(
        f"| `{name}` | {kind.sentence} Severity {kind.span[0]:g} to {kind.span[1]:g} "
        f"({kind.unit}), usually {kind.usual:g}. Shows {', '.join(kind.codes)}. |\n"
        for name, kind in KINDS.items()
    )
    return (
        f"{SIMULATOR_HEAD}| typed | does |\n|---|---|\n{rows}{FAULTS_HEAD}"
        f"| fault | what happens |\n|---|---|\n{faults}"
    )


def controls(text: str) -> list[tuple[str, str]]:
    """Return (what is typed, what it does) of the simulator's list of controls."""
    found: list[tuple[str, str]] = []
    for line in text.splitlines():
        if line.startswith(" ") and found:
            name, about = found.pop()
            found.append((name, f"{about} {line.strip()}"))
        else:
            name, about = re.split(r" {2,}", line, maxsplit=1)
            found.append((name.replace("|", " or "), about))
    return found
