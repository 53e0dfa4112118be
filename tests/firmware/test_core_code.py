"""What core/board.h promises of the core's code: portable C++11, no heap, no recursion.

The machine code of the 8-bit board is held to the same by `sim.avr.stack`, which bounds its stack.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterable
from pathlib import Path

import pytest

from sim.build_core import FIRMWARE, compiler, sources

pytestmark = pytest.mark.slow

STRICT = ("-std=c++11", "-pedantic", "-Wall", "-Wextra", "-Werror", "-fno-exceptions", "-fno-rtti",
          "-O0", "-fno-stack-protector", "-c")  # fmt: skip
OUTSIDE = {"memcpy", "memset", "memcmp", "memmove", "strlen"}
"""All that the core may need of a library."""


def compiled(folder: Path, files: Iterable[Path], *flags: str) -> list[Path]:
    """Compile each file by itself; return the objects."""
    command = [*compiler(), *STRICT, *flags, *(str(path) for path in files)]
    subprocess.run(command, check=True, cwd=folder)
    return sorted(folder.glob("*.o"))


def needed(objects: Iterable[Path]) -> set[str]:
    """Names that these objects want of others."""
    there: set[str] = set()
    wanted: set[str] = set()
    for path in objects:
        said = subprocess.run(["nm", str(path)], capture_output=True, text=True, check=True).stdout
        for line in said.splitlines():
            *_, kind, name = line.split()
            (wanted if kind == "U" else there).add(name)
    return {name for name in wanted - there if name not in ("_GLOBAL_OFFSET_TABLE_",)}


def calls(objects: Iterable[Path]) -> dict[str, set[str]]:
    """Who calls whom, by the compiler's own account. A call through a pointer goes to what stands
    in the caller's table, and else to the hardware, outside the core."""
    graph: dict[str, set[str]] = {}
    for path in objects:
        for line in path.with_suffix(".ci").read_text("utf-8").splitlines():
            edge = re.match(r'edge: \{ sourcename: "([^"]+)" targetname: "([^"]+)"', line)
            if edge:
                caller, called = (name.rpartition(":")[2] for name in edge.groups())
                graph.setdefault(caller, set()).add(called)
    tables = tables_of(objects)
    for caller, called in graph.items():
        if "__indirect_call" in called:
            called.remove("__indirect_call")
            called |= set().union(*(tables[table] for table in tables if THROUGH[table] in caller))
    return graph


def tables_of(objects: Iterable[Path]) -> dict[str, set[str]]:
    """The constant tables that hold functions, by their plain names, and what they hold."""
    tables: dict[str, set[str]] = {}
    for path in objects:
        said = subprocess.run(
            ["objdump", "-r", str(path)], capture_output=True, text=True, check=True
        ).stdout
        for section in said.split("RELOCATION RECORDS FOR ")[1:]:
            name = re.match(r"\[\.(?:data|rodata)\S*?([A-Z]+?)E?\]", section)
            held = set(re.findall(r"\.text\.(\w+)", section))
            if name and held:
                tables[name[1]] = held
    return tables


THROUGH = {"RULES": "watch_rules", "CONDITIONS": "permit", "HANDLERS": "handle", "STEPS": "down"}
"""The tables that hold functions, and who calls through them."""


def rounds(graph: dict[str, set[str]]) -> set[str]:
    """Functions from which a way leads back to themselves."""

    def reach(name: str) -> set[str]:
        found: set[str] = set()
        ways = list(graph.get(name, ()))
        while ways:
            at = ways.pop()
            if at not in found:
                found.add(at)
                ways.extend(graph.get(at, ()))
        return found

    return {name for name in graph if name in reach(name)}


@pytest.fixture(scope="module")
def core(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The core's objects, with the compiler's account of calls where it gives one."""
    files = [path for path in sources((FIRMWARE / "core",)) if path.suffix == ".cpp"]
    return compiled(tmp_path_factory.mktemp("core"), files, *account())


def account() -> tuple[str, ...]:
    """Flags for the account of calls, which GCC from version 10 on gives."""
    said = subprocess.run([*compiler(), "-v"], capture_output=True, text=True, check=False).stderr
    version = re.search(r"^gcc version (\d+)", said, re.MULTILINE)
    if version is None or int(version[1]) < 10 or shutil.which("objdump") is None:
        return ()
    return ("-fcallgraph-info", "-ffunction-sections", "-fdata-sections", "-fno-jump-tables")


def test_the_core_is_strict_and_wants_no_heap(core: list[Path]) -> None:
    assert len(core) > 10
    assert needed(core) <= OUTSIDE


def test_no_function_of_the_core_comes_back_to_itself(core: list[Path]) -> None:
    if not account():
        pytest.skip("this compiler gives no account of calls; sim.avr.stack finds recursion too")
    graph = calls(core)
    assert len(graph) > 100
    tables = tables_of(core)
    assert {name: len(held) > 10 for name, held in tables.items()} == dict.fromkeys(
        ("CONDITIONS", "HANDLERS", "RULES"), True
    )
    for table in tables:
        assert any(THROUGH[table] in name and tables[table] <= graph[name] for name in graph)
    assert rounds(graph) == set()


BAD = """
#include <stdlib.h>
typedef void (*Step)(int);
extern const Step STEPS[1];
void take(int n) { free(malloc((unsigned)n)); delete new int(n); }
static void down(int n) { if (n > 0) { STEPS[0](n - 1); } }
const Step STEPS[1] = {down};
void begin(int n) { take(n); down(n); }
"""


def test_heap_and_recursion_are_seen(tmp_path: Path) -> None:
    source = tmp_path / "bad.cpp"
    source.write_text(BAD, "utf-8")
    objects = compiled(tmp_path, [source], *account())
    assert {"malloc", "free"} <= needed(objects)
    assert any(name.startswith("_Znw") for name in needed(objects))
    if account():
        assert any("down" in name for name in rounds(calls(objects)))


@pytest.mark.parametrize("text", ["int f(int n) { int a[n]; return a[0]; }", "int f(int x) {}"])
def test_what_is_not_strict_is_refused(tmp_path: Path, text: str) -> None:
    source = tmp_path / "loose.cpp"
    source.write_text(text, "utf-8")
    with pytest.raises(subprocess.CalledProcessError):
        compiled(tmp_path, [source])
