"""The house style as a checker: sizes, banned calls and leftovers, found by reading the sources."""

from __future__ import annotations

import ast
import os
import re
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parent.parent.parent
FILE_LINES_MAX = 499
FUNCTION_LINES_MAX = 59
PASSED_OVER = {"build", "dist", "htmlcov", "_core", "__pycache__", "node_modules"}
C_SUFFIXES = {".cpp", ".h", ".c"}
CODE_SUFFIXES = {".py", ".sh", *C_SUFFIXES}
NO_C_CODE = re.compile(
    r"""//[^\n]*|/\*.*?\*/|"(?:\\.|[^"\\])*"|'(?:\\.|[^'\\])+'|^\s*\#(?:\\\n|[^\n])*""",
    re.DOTALL | re.MULTILINE,
)
"""Comments, texts, signs and directives."""
C_FUNCTION = re.compile(r"(\w+)\s*\([^()]*(?:\([^()]*\)[^()]*)*\)[\s\w]*$")

# Written in two parts, so that this file does not hold what it looks for.
LEFTOVERS = re.compile(r"\b(?:TO" + r"DO|FIX" + r"ME|XX" + r"X)\b")
WORKPLACE = re.compile(r"(?<![\w.])/(?:wo" + r"rk|ro" + r"ot)/")


class Ban(NamedTuple):
    """A call that the house does not use: its name, where it is banned, and what to use instead."""

    call: re.Pattern[str]
    banned_in: Callable[[str], bool]
    instead: str


def _everywhere(_path: str) -> bool:
    return True


def _in_tests(path: str) -> bool:
    return path.startswith("tests/")


def _outside_clock(path: str) -> bool:
    return path != "benchd/io/clock.py"


def _outside_clock_and_tests(path: str) -> bool:
    return _outside_clock(path) and not _in_tests(path)


def _outside_entry_points(path: str) -> bool:
    if path.endswith("/__main__.py"):
        return False
    return not path.startswith(("benchd/cli/", "tests/bench"))


BANS = (
    Ban(
        re.compile(r"time\.sleep"),
        _in_tests,
        "wait for the thing itself with a deadline, or move a virtual clock",
    ),
    Ban(
        re.compile(r"print"),
        _outside_entry_points,
        "return the text, and print it in benchd/cli or in a module that is run by itself",
    ),
    Ban(
        re.compile(r"datetime\.(?:datetime|date)\.(?:now|utcnow|today)"),
        _outside_clock,
        "take the time as an argument, or a clock from benchd/io/clock.py",
    ),
    Ban(
        re.compile(r"time\.time(?:_ns)?"),
        _outside_clock_and_tests,
        "take the time as an argument, or a clock from benchd/io/clock.py",
    ),
    Ban(
        re.compile(r"random\.(?!Random$)\w+|numpy\.random\.(?!default_rng$)[a-z]\w*"),
        _everywhere,
        "take a random.Random as an argument",
    ),
)


WAITING = re.compile(r"tests/waiting\.py|tests/bench/.*")
"""Where tests may let time pass: the one place that looks repeatedly, and what measures at a
pace."""


class Finding(NamedTuple):
    """One breach of the house style: where, and what to do."""

    path: str
    line: int
    text: str

    def __str__(self) -> str:
        return f"{self.path}:{self.line}: {self.text}"


def files(root: Path = ROOT) -> Iterator[Path]:
    """Every file of the project, without what tools leave behind."""
    for folder, names, filenames in os.walk(root):
        names[:] = sorted(
            name
            for name in names
            if name not in PASSED_OVER
            and not name.endswith(".egg-info")
            and (not name.startswith(".") or name == ".ci")
        )
        for filename in sorted(filenames):
            if not filename.startswith(".") or filename == ".gitignore":
                yield Path(folder) / filename


def check_tree(root: Path = ROOT) -> list[Finding]:
    """All findings in the project."""
    found: list[Finding] = []
    for path in files(root):
        try:
            text = path.read_text("utf-8")
        except UnicodeDecodeError:
            continue
        found += check(path.relative_to(root).as_posix(), text)
    return found


def check(path: str, text: str) -> list[Finding]:
    """All findings in one file, given its path within the project and its text."""
    found = [*_leftovers(path, text)]
    suffix = Path(path).suffix
    if suffix in CODE_SUFFIXES:
        found += _file_size(path, text)
    if suffix in C_SUFFIXES:
        found += _c_function_sizes(path, text)
    if suffix == ".py":
        tree = ast.parse(text, path)
        # Walking is what takes the time, so it is done once.
        nodes = list(ast.walk(tree))
        found += _function_sizes(path, nodes)
        found += _banned_calls(path, tree, nodes)
        found += _banned_statements(path, nodes)
    return sorted(found)


def _leftovers(path: str, text: str) -> Iterator[Finding]:
    for number, line in enumerate(text.splitlines(), 1):
        if LEFTOVERS.search(line):
            yield Finding(path, number, "finish it now, or describe it where people look for work")
        if WORKPLACE.search(line):
            yield Finding(
                path, number, "a path of one machine means nothing on another; take it out"
            )


def _file_size(path: str, text: str) -> Iterator[Finding]:
    lines = text.count("\n")
    if lines > FILE_LINES_MAX:
        yield Finding(path, lines, f"{lines} lines: split it into files of under 500")


def _function_sizes(path: str, nodes: Sequence[ast.AST]) -> Iterator[Finding]:
    for node in nodes:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            lines = function_lines(node)
            if lines > FUNCTION_LINES_MAX:
                text = f"{node.name} has {lines} lines: split it into functions of under 60"
                yield Finding(path, node.lineno, text)


def _c_function_sizes(path: str, text: str) -> Iterator[Finding]:
    """Functions by their braces: what stands in no other function and has its `{` after `)`."""
    bare = NO_C_CODE.sub(lambda found: "\n" * found[0].count("\n"), text)
    head, line, depth = "", 1, 0
    began: tuple[int, int, str] | None = None
    for sign in bare:
        line += sign == "\n"
        if sign == "{":
            found = C_FUNCTION.search(head)
            if began is None and found is not None:
                began = depth, line - head.lstrip().count("\n"), found[1]
            depth += 1
        elif sign == "}":
            depth -= 1
            if began is not None and began[0] == depth:
                lines = line - began[1] + 1
                if lines > FUNCTION_LINES_MAX:
                    said = f"{began[2]} has {lines} lines: split it into functions of under 60"
                    yield Finding(path, began[1], said)
                began = None
        head = "" if sign in "{};" else head + sign


def function_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function from `def` to its end, its docstring not counted."""
    assert node.end_lineno is not None
    lines = node.end_lineno - node.lineno + 1
    if ast.get_docstring(node, clean=False) is not None:
        first = node.body[0]
        assert first.end_lineno is not None
        lines -= first.end_lineno - first.lineno + 1
    return lines


def _banned_calls(path: str, tree: ast.Module, nodes: Sequence[ast.AST]) -> Iterator[Finding]:
    known = _imported_names(nodes)
    runs_by_itself = _runs_by_itself(tree)
    for node in nodes:
        if not isinstance(node, ast.Call):
            continue
        name = _dotted(node.func, known)
        if name == "print" and runs_by_itself:
            continue
        if _sleeps(node, name, known) and _in_tests(path) and not WAITING.fullmatch(path):
            text = "no sleep in other words: wait for the thing itself, or by tests/waiting.py"
            yield Finding(path, node.lineno, text)
        if name == "random.Random" and not node.args and not node.keywords:
            yield Finding(path, node.lineno, "give random.Random a seed that a failure can show")
        for ban in BANS:
            if ban.call.fullmatch(name) and ban.banned_in(path):
                yield Finding(path, node.lineno, f"no {name} here: {ban.instead}")


def _sleeps(call: ast.Call, name: str, known: dict[str, str]) -> bool:
    """Whether a call only lets time pass: nothing is selected from, nobody can set the event."""
    given = [ast.unparse(one) for one in call.args]
    if name == "select.select":
        return all(one in ("[]", "()") for one in given[:3]) and len(given) > 3
    if name == "asyncio.sleep":
        return given != ["0"]
    if isinstance(call.func, ast.Attribute) and isinstance(call.func.value, ast.Call):
        return _dotted(call.func.value.func, known) == "threading.Event" and bool(given)
    return False


def _runs_by_itself(tree: ast.Module) -> bool:
    """Whether the module ends in what it does when it is started as a program."""
    last = tree.body[-1] if tree.body else None
    return isinstance(last, ast.If) and ast.unparse(last.test) == "__name__ == '__main__'"


def _imported_names(nodes: Sequence[ast.AST]) -> dict[str, str]:
    """What each imported name stands for, as a dotted path."""
    known: dict[str, str] = {}
    for node in nodes:
        if isinstance(node, ast.Import):
            for alias in node.names:
                if alias.asname is not None:
                    known[alias.asname] = alias.name
                else:
                    top = alias.name.partition(".")[0]
                    known[top] = top
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            for alias in node.names:
                known[alias.asname or alias.name] = f"{node.module}.{alias.name}"
    return known


def _dotted(node: ast.expr, known: dict[str, str]) -> str:
    """The full name of what is called; empty when it is no plain name."""
    if isinstance(node, ast.Name):
        if node.id in known or node.id == "print":
            return known.get(node.id, node.id)
        return ""
    if isinstance(node, ast.Attribute):
        left = _dotted(node.value, known)
        return f"{left}.{node.attr}" if left else ""
    return ""


def _banned_statements(path: str, nodes: Sequence[ast.AST]) -> Iterator[Finding]:
    for node in nodes:
        if isinstance(node, ast.ExceptHandler) and node.type is None:
            yield Finding(path, node.lineno, "no bare except: name the errors that are expected")
        is_constant = isinstance(node, ast.Assert) and isinstance(node.test, ast.Constant)
        if is_constant and not node.test.value:
            text = "no assert of a false constant: raise AssertionError, which -O keeps"
            yield Finding(path, node.lineno, text)
