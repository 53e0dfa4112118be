"""Which public names lack a docstring, which formulas lack units or a source, and which errors are
raised without a word."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

ROOMS = ("protocols/", "benchd/", "sim/", "tui/")
FORMULA_ROOMS = (
    "benchd/calc/",
    "benchd/core/clock_map.py",
    "benchd/core/weighing.py",
    "sim/plant/",
)
COMMANDS = "benchd/cli/"
"""Every command may end with Wrong or Usage, which `benchd.cli.command` tells once."""
PARAMETERS = re.compile(r"^\s*Parameters:(.*?)(?=^\s*[A-Z]\w+:|\Z)", re.MULTILINE | re.DOTALL)
SHAPE = re.compile(r"\bscalars?\b|\([a-z0-9]+,[^)]*\)|\bas `\w+`")
"""A shape, such as (n,), or the function that has the same parameters."""
UNIT = re.compile(r"\[[^\]\n]+\]")
SOURCE = re.compile(r"^\s*Sources?\b", re.MULTILINE)

Definition = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def check(path: str, text: str) -> list[str]:
    """What is missing in one file, given its path within the project and its text."""
    if not path.startswith(ROOMS):
        return []
    tree = ast.parse(text, path)
    found = []
    if ast.get_docstring(tree) is None:
        found.append(f"{path}:1: the module has no docstring")
    for node, name in _public(tree):
        where = f"{path}:{node.lineno}: {name}"
        doc = ast.get_docstring(node)
        if doc is None:
            found.append(f"{where} has no docstring")
            continue
        if not isinstance(node, ast.ClassDef) and not path.startswith(COMMANDS):
            found += [
                f"{where}: the docstring does not tell of {error}"
                for error in sorted(_raised(node))
                if error not in doc
            ]
        if path.startswith(FORMULA_ROOMS) and _is_formula(node, name):
            if not UNIT.search(doc):
                found.append(
                    f"{where}: the docstring names no unit in brackets, such as [Pa] or [-]"
                )
            parameters = PARAMETERS.search(doc)
            if parameters is not None and not SHAPE.search(parameters[1]):
                found.append(f"{where}: its parameters are neither 'scalar' nor of a shape as (n,)")
            if not SOURCE.search(doc):
                found.append(f"{where}: the docstring has no line that begins with 'Source:'")
    return found


def _is_formula(node: Definition, name: str) -> bool:
    """Whether this is a function standing alone; methods and classes are built from those."""
    return not isinstance(node, ast.ClassDef) and "." not in name


def _raised(node: ast.FunctionDef | ast.AsyncFunctionDef) -> set[str]:
    """Names of the errors that a function makes and raises, without those that it also catches.

    Of an error that a function of ours makes the name is not seen here.
    """
    inside = list(ast.walk(node))
    called = {
        ast.unparse(one.exc.func).rpartition(".")[2]
        for one in inside
        if isinstance(one, ast.Raise) and isinstance(one.exc, ast.Call)
    }
    raised = {name for name in called if name.lstrip("_")[:1].isupper()}
    caught = " ".join(
        ast.unparse(one.type) for one in inside if isinstance(one, ast.ExceptHandler) and one.type
    )
    return {name for name in raised if name not in caught}


def _public(tree: ast.Module) -> Iterator[tuple[Definition, str]]:
    """Public functions, public classes and the public methods of those, each with its name."""
    for node in tree.body:
        if isinstance(node, Definition) and not node.name.startswith("_"):
            yield node, node.name
            if isinstance(node, ast.ClassDef):
                yield from _methods(node)


def _methods(owner: ast.ClassDef) -> Iterator[tuple[Definition, str]]:
    for node in owner.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.name[0] != "_":
            if not _is_repeat(node):
                yield node, f"{owner.name}.{node.name}"


def _is_repeat(node: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    """Whether the docstring stands on another: the overridden method, or the property's getter."""
    names = {ast.unparse(decorator).rpartition(".")[2] for decorator in node.decorator_list}
    return bool(names & {"override", "overload", "setter"})
