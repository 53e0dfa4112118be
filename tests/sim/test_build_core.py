"""Building a shared library: from a small source of our own, then loading and calling it."""

from __future__ import annotations

import ctypes
import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from sim import build_backend, build_core

pytestmark = pytest.mark.slow

SOURCE = """
#include "answer.h"
extern "C" __attribute__((visibility("default"))) int answer(void) { return ANSWER; }
int hidden(void) { return 1; }
"""


@pytest.fixture
def sources(tmp_path: Path) -> Path:
    folder = tmp_path / "core"
    folder.mkdir()
    (folder / "answer.cpp").write_text(SOURCE)
    (folder / "answer.h").write_text("#define ANSWER 42\n")
    return folder


def answer(library: Path) -> int:
    # dlopen gives the old library again for the same file, so each call loads a fresh copy.
    copy = shutil.copy(library, library.parent.parent / f"copy-{os.urandom(4).hex()}")
    return int(ctypes.CDLL(str(copy)).answer())


def no_compiler(tmp_path: Path) -> dict[str, str]:
    empty = tmp_path / "empty"
    empty.mkdir(exist_ok=True)
    return {"PATH": str(empty)}


def test_a_source_becomes_a_library_that_can_be_called(tmp_path: Path, sources: Path) -> None:
    library = build_core.build(tmp_path / "out", [sources])
    assert library.name == build_core.LIBRARY_NAME
    assert answer(library) == 42
    with pytest.raises(AttributeError):
        ctypes.CDLL(str(library)).hidden  # noqa: B018  Looking the name up is the test.
    assert sorted(path.name for path in library.parent.iterdir()) == ["digest", library.name]


def test_an_unchanged_library_is_not_built_again(tmp_path: Path, sources: Path) -> None:
    first = build_core.build(tmp_path / "out", [sources]).stat()
    again = build_core.build(tmp_path / "out", [sources], no_compiler(tmp_path)).stat()
    assert (first.st_ino, first.st_mtime_ns) == (again.st_ino, again.st_mtime_ns)


def test_a_changed_header_builds_it_again(tmp_path: Path, sources: Path) -> None:
    build_core.build(tmp_path / "out", [sources])
    (sources / "answer.h").write_text("#define ANSWER 43\n")
    assert answer(build_core.build(tmp_path / "out", [sources])) == 43


def test_a_lost_library_is_built_again(tmp_path: Path, sources: Path) -> None:
    build_core.build(tmp_path / "out", [sources]).unlink()
    assert answer(build_core.build(tmp_path / "out", [sources])) == 42


def test_a_refused_source_says_what_the_compiler_said(tmp_path: Path, sources: Path) -> None:
    (sources / "answer.h").write_text("#error this board has no answer\n")
    with pytest.raises(build_core.BuildError, match="this board has no answer"):
        build_core.build(tmp_path / "out", [sources])
    assert list((tmp_path / "out").iterdir()) == []


def test_missing_sources_are_an_error(tmp_path: Path) -> None:
    with pytest.raises(build_core.BuildError, match="No firmware sources"):
        build_core.build(tmp_path / "out", [tmp_path / "core"])


def test_a_compiler_named_by_hand_is_used(tmp_path: Path) -> None:
    wrapper = tmp_path / "my-compiler"
    wrapper.write_text(f'#!/bin/sh\nexec {shlex.join(build_core.compiler())} "$@"\n')
    wrapper.chmod(0o755)
    environ = {"PATH": os.environ["PATH"], "CXX": f"{wrapper} -g"}
    assert build_core.compiler(environ) == [str(wrapper), "-g"]


@pytest.mark.parametrize("broken", ["no-such-compiler", "false"])
def test_a_broken_compiler_named_by_hand_is_an_error(broken: str) -> None:
    environ = {"PATH": os.environ["PATH"], "CXX": broken}
    with pytest.raises(build_core.BuildError, match=broken):
        build_core.compiler(environ)


def test_an_empty_shell_of_a_compiler_is_passed_over(tmp_path: Path) -> None:
    shell = tmp_path / "c++"
    shell.write_text("#!/bin/sh\nexit 1\n")
    shell.chmod(0o755)
    assert build_core.system_compiler({"PATH": str(tmp_path)}) is None


def test_without_any_compiler_the_error_names_the_ways_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "ziglang", None)
    with pytest.raises(build_core.BuildError, match=r"g\+\+ or clang\+\+.*pip install ziglang"):
        build_core.compiler(no_compiler(tmp_path))


def test_a_build_asks_for_a_compiler_only_where_there_is_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    has_one = build_core.system_compiler() is not None
    assert (build_backend.compiler_requirements() == []) == has_one
    monkeypatch.delenv("CXX", raising=False)
    monkeypatch.setenv("PATH", no_compiler(tmp_path)["PATH"])
    requirement = build_backend.compiler_requirements()
    assert len(requirement) == 1
    assert requirement[0].startswith("ziglang")


def command(root: Path) -> subprocess.CompletedProcess[str]:
    """Runs `python -m sim.build_core` in a checkout that holds only what is in `root`."""
    (root / "sim").mkdir()
    for name in ("__init__.py", "build_core.py"):
        shutil.copy(build_core.ROOT / "sim" / name, root / "sim" / name)
    words = [sys.executable, "-m", "sim.build_core"]
    return subprocess.run(words, capture_output=True, text=True, cwd=root, check=False)


def test_the_command_builds_in_the_checkout_and_prints_the_path(
    tmp_path: Path, sources: Path
) -> None:
    shutil.copytree(sources, tmp_path / "root" / "protocols" / "firmware" / "core")
    done = command(tmp_path / "root")
    assert done.returncode == 0, done.stderr
    library = Path(done.stdout.strip())
    assert library == tmp_path / "root" / "sim" / "_core" / build_core.LIBRARY_NAME
    assert answer(library) == 42


def test_the_command_fails_with_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "root").mkdir()
    done = command(tmp_path / "root")
    assert done.returncode == 1
    assert done.stdout == ""
    assert done.stderr.startswith("No firmware sources were found")
    assert done.stderr.count("\n") == 1
