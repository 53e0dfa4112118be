"""`benchd completion`: scripts for bash, zsh and fish, and the answers that they ask for.

The scripts are short: at each TAB they ask this program, which knows its own commands and options
from the tables that read the command line, and names of files, journals, benches and ports from
where they lie. So nothing is out of date, and the three shells offer the same.
"""

from __future__ import annotations

import argparse
import importlib
import os
import re
import shlex
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from benchd.cli.command import OK, Parts, Row, make_parser, say
from benchd.cli.table import COMMANDS

ASK = "--complete"
"""First word of what a script asks; the shell's name and the words follow."""

BASH = """\
# Completion for bash: put this into ~/.local/share/bash-completion/completions/benchd,
# or add to ~/.bashrc:  eval "$(benchd completion bash)"
_benchd() {
    local reply
    COMPREPLY=()
    while IFS= read -r reply; do
        COMPREPLY+=("$reply")
    done < <("$1" --complete bash "${COMP_LINE:0:COMP_POINT}" 2>/dev/null)
    # A folder, or a name that wants a value: the word goes on.
    case "${#COMPREPLY[@]}${COMPREPLY[0]}" in
        1*/ | 1*= | 1*@) compopt -o nospace 2>/dev/null ;;
    esac
}
complete -F _benchd benchd
"""

ZSH = """\
#compdef benchd
# Completion for zsh: put this into a folder of $fpath as _benchd,
# or add to ~/.zshrc after compinit:  eval "$(benchd completion zsh)"
_benchd() {
    local value text
    local -a asked values texts open_values open_texts
    asked=("${(@Q)words[2,CURRENT]}")
    while IFS=$'\\t' read -r value text; do
        if [[ $value == *[/=@] ]]; then
            open_values+=("$value")
            open_texts+=("$value${text:+  $text}")
        else
            values+=("$value")
            texts+=("$value${text:+  $text}")
        fi
    done < <("${(Q)words[1]}" --complete zsh "${asked[@]}" 2>/dev/null)
    (( $#values )) && compadd -l -d texts -a values
    # A folder, or a name that wants a value: the word goes on.
    (( $#open_values )) && compadd -l -S '' -d open_texts -a open_values
    (( $#values + $#open_values ))
}
if [[ $funcstack[1] == _benchd ]]; then
    _benchd "$@"
else
    compdef _benchd benchd
fi
"""

FISH = """\
# Completion for fish: put this into ~/.config/fish/completions/benchd.fish,
# or add to ~/.config/fish/config.fish:  benchd completion fish | source
function __benchd_complete
    set -l asked (commandline -opc)
    $asked[1] --complete fish $asked[2..-1] (commandline -ct) 2>/dev/null
end
complete -c benchd -f -a '(__benchd_complete)'
"""

SCRIPTS = {"bash": BASH, "zsh": ZSH, "fish": FISH}


class Reply(NamedTuple):
    """A word that may stand there, and what it means."""

    word: str
    text: str = ""


def _options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shell", choices=tuple(SCRIPTS), help="for which shell")


def completion(options: argparse.Namespace) -> int:
    """Print the script of a shell."""
    say(SCRIPTS[options.shell].rstrip("\n"))
    return OK


def answer(asked: Sequence[str]) -> int:
    """Answer a script: one word a line, with its meaning after a tab where the shell shows it."""
    shell, *words = asked or [""]
    if shell == "bash":
        for line in _bash_lines(words[0] if words else ""):
            say(line)
        return OK
    for word, text in replies(words):
        say(f"{word}\t{text}" if text else word)
    return OK


# What may stand at the end of these words.


def replies(words: Sequence[str]) -> list[Reply]:
    """Return what the last of these words may become; the first is a command of benchd."""
    *before, current = words or [""]
    if not before:
        every = [Reply(row.name, row.summary) for row in COMMANDS]
        return _beginning(current, [*every, Reply("--help"), Reply("--version")])
    row = next((row for row in COMMANDS if row.name == before[0]), None)
    if row is None:
        return []
    place = _place(_parser(row), before[1:])
    name, equals, value = current.partition("=")
    if place.wants is not None:
        return _values(place.wants, current)
    if equals and (action := place.parser._option_string_actions.get(name)) is not None:
        return [Reply(f"{name}={word}", text) for word, text in _values(action, value)]
    found = [] if place.positional is None else _values(place.positional, current)
    if current.startswith("-") or (not found and place.positional is None):
        found = [*found, *_beginning(current, list(_options_left(place)))]
    return found


def _parser(row: Row) -> argparse.ArgumentParser:
    parts: Parts = importlib.import_module(f"benchd.cli.{row.module}").PARTS[row.name]
    return make_parser(row, parts)


class Place(NamedTuple):
    """Where in a command the cursor stands."""

    parser: argparse.ArgumentParser
    wants: argparse.Action | None
    """The option whose value comes now."""
    positional: argparse.Action | None
    used: frozenset[str]


def _place(parser: argparse.ArgumentParser, words: Sequence[str]) -> Place:
    """Walk the words before the cursor as the parser would."""
    wants: argparse.Action | None = None
    waiting = _positionals(parser)
    used: set[str] = set()
    for word in words:
        action = parser._option_string_actions.get(word.partition("=")[0])
        if wants is not None:
            wants = None
        elif action is not None:
            used.add(action.dest)
            wants = action if action.nargs != 0 and "=" not in word else None
        elif waiting:
            here = waiting[0]
            if isinstance(here, argparse._SubParsersAction):
                if word not in here.choices:
                    return Place(parser, None, here, frozenset(used))
                parser = here.choices[word]
                waiting = _positionals(parser)
            elif here.nargs not in ("*", "+"):
                waiting = waiting[1:]
    return Place(parser, wants, waiting[0] if waiting else None, frozenset(used))


def _positionals(parser: argparse.ArgumentParser) -> list[argparse.Action]:
    return [action for action in parser._actions if not action.option_strings]


def _options_left(place: Place) -> Iterator[Reply]:
    for action in place.parser._actions:
        again = isinstance(action, argparse._AppendAction)
        hidden = action.help == argparse.SUPPRESS
        if action.option_strings and not hidden and (again or action.dest not in place.used):
            yield Reply(action.option_strings[-1], _first_words(action.help))


def _first_words(text: str | None) -> str:
    return " ".join((text or "").split())


def _beginning(start: str, found: Sequence[Reply]) -> list[Reply]:
    return [reply for reply in found if reply.word.startswith(start)]


def _values(action: argparse.Action, start: str) -> list[Reply]:
    """Return the values of an option or a positional that begin so."""
    if isinstance(action, argparse._SubParsersAction):
        ways = action._get_subactions()
        return _beginning(start, [Reply(one.dest, _first_words(one.help)) for one in ways])
    if action.choices is not None:
        return _beginning(start, [Reply(str(choice)) for choice in action.choices])
    metavar = action.metavar if isinstance(action.metavar, str) else ""
    kind = KINDS.get(metavar) or KINDS.get(action.dest)
    if kind is None:
        return []
    found = [one if isinstance(one, Reply) else Reply(one) for one in kind(start)]
    return _beginning(os.path.expanduser(start), found)


# Values that are looked up where they lie.


def _files(start: str, suffixes: tuple[str, ...] = ("",)) -> Iterator[str]:
    """Yield files with one of these endings, and folders, each as a path that begins as typed."""
    typed, _ = os.path.split(os.path.expanduser(start))
    try:
        entries = sorted(os.scandir(typed or "."), key=lambda entry: entry.name)
    except OSError:
        return
    for entry in entries:
        if entry.name.startswith(".") and not os.path.basename(start).startswith("."):
            continue
        path = os.path.join(typed, entry.name)
        if entry.is_dir():
            yield f"{path}/"
        elif entry.name.endswith(suffixes):
            yield path


def _cards(start: str) -> Iterator[str]:
    return _files(start, (".yaml", ".yml"))


def _journals(start: str) -> Iterator[str]:
    from benchd.io import paths

    if "/" in start or start.startswith("~"):
        yield from _files(start, (".journal",))
        return
    for folder in paths.all_state_dirs():
        names = sorted(os.listdir(folder)) if os.access(folder, os.R_OK) else []
        yield from (name for name in names if name.endswith(".journal"))


def _benches(_: str) -> list[str]:
    from benchd.io import paths

    return paths.benches()


def _ports(_: str) -> list[str]:
    from benchd.io import ports

    return [port.name for port in ports.found_ports()]


def _interlocks(_: str) -> Iterator[Reply]:
    from protocols.codes import INTERLOCKS

    for row in INTERLOCKS:
        yield Reply(row.code, row.title)


def _topics(_: str) -> Iterator[Reply]:
    from benchd.cli.guide_pages import topics

    for topic in topics():
        yield Reply(topic.name, topic.summary)


def _by_hand(_: str) -> list[str]:
    from benchd.cli.keeping import BY_HAND

    return [f"{name}=" for name in BY_HAND]


def _kinds(_: str) -> list[str]:
    from benchd.core import ledger

    return sorted(name for name, _, _ in ledger.views())


def _faults(_: str) -> Iterator[Reply]:
    from sim.faults import KINDS as FAULTS

    for name, kind in FAULTS.items():
        yield Reply(f"{name}@", kind.sentence)


KINDS: dict[str, Callable[[str], Iterator[str] | Iterator[Reply] | list[str]]] = {
    "PATH": _files,
    "FILE": _files,
    "FOLDER": _files,
    "TOPIC": _topics,
    "NAME=VALUE": _by_hand,
    "bench": _benches,
    "card": _cards,
    "fault": _faults,
    "interlock": _interlocks,
    "journal": _journals,
    "kind": _kinds,
    "port": _ports,
}
"""What an argument is called, in help or in the code, to what may stand there."""


# The command line of bash, which comes as it was typed.

_SPECIAL = re.compile(r"([^\w@%+=:,./-])")


def _bash_lines(line: str) -> Iterator[str]:
    """Yield replies for bash: quoted as it wants them, cut where it breaks words."""
    words, quoted = _bash_words(line)
    current = words[-1] if words else ""
    # Outside quotes bash breaks words at : and =, and replaces only what follows.
    cut = 0 if quoted else max(current.rfind(":"), current.rfind("=")) + 1
    for word, _ in replies(words):
        yield word if quoted else _SPECIAL.sub(r"\\\1", word[cut:])


def _bash_words(line: str) -> tuple[list[str], bool]:
    """Return the words after the program's name, the last one unfinished, and whether in quotes."""
    for closing in ("", '"', "'", "\\ "):
        try:
            words = shlex.split(line + closing)
        except ValueError:
            continue
        quoted = closing in ('"', "'")
        if not quoted and (not line.strip() or line[-1].isspace()) and not line.endswith("\\ "):
            words.append("")
        return words[1:], quoted
    return [], False


PARTS = {"completion": Parts(_options, completion)}
