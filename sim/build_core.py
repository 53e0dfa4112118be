"""Compiles the board's firmware core for this machine, as a shared library with a plain C ABI.

One firmware: the simulator runs the sources that run on the board. `python -m sim.build_core`
builds them; the package install does the same through `sim.build_backend`. Standard library only,
because a build has nothing else.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
FIRMWARE = ROOT / "protocols" / "firmware"
SOURCE_DIRS = (FIRMWARE / "core", FIRMWARE / "host")
OUT_DIR = ROOT / "sim" / "_core"
LIBRARY_NAME = "libbenchcore.dylib" if sys.platform == "darwin" else "libbenchcore.so"
FLAGS = (
    "-O2",
    "-std=gnu++11",
    "-fno-exceptions",
    "-fno-rtti",
    "-fvisibility=hidden",
    "-shared",
    "-fPIC",
    "-Wall",
    "-Wextra",
)
SYSTEM_COMPILERS = ("c++", "g++", "clang++")
PROBE_SOURCE = '#include <stdint.h>\nextern "C" uint8_t probe(void) { return 1; }\n'


class BuildError(RuntimeError):
    """The firmware core could not be compiled; the message says why and what to do."""


def system_compiler(environ: Mapping[str, str] = os.environ) -> list[str] | None:
    """The command of a C++ compiler on this machine that really builds a library, or None.

    `CXX` is taken at its word: when it is set and does not work, that is an error, not a reason to
    use another compiler in silence.

    Raises `BuildError` when `CXX` is set and does not build a library.
    """
    asked = shlex.split(environ.get("CXX", ""))
    if asked:
        if _builds_a_library(asked):
            return asked
        raise BuildError(
            f"CXX is set to '{environ['CXX']}', which does not build a shared library; "
            "correct it, or unset it to use the system's compiler."
        )
    for name in SYSTEM_COMPILERS:
        path = shutil.which(name, path=environ.get("PATH"))
        if path is not None and _builds_a_library([path]):
            return [path]
    return None


def compiler(environ: Mapping[str, str] = os.environ) -> list[str]:
    """The compiler command to use: the system's, else the one of the `ziglang` package.

    Raises `BuildError` when there is neither.
    """
    found = system_compiler(environ)
    if found is not None:
        return found
    if importlib.util.find_spec("ziglang") is not None:
        # The core uses no C++ library, so none needs to be built for it.
        return [sys.executable, "-m", "ziglang", "c++", "-nostdlib++"]
    raise BuildError(
        "No C++ compiler was found, so the firmware core cannot be built for the simulator; "
        "install g++ or clang++, or run: pip install ziglang"
    )


def sources(source_dirs: Sequence[Path] = SOURCE_DIRS) -> list[Path]:
    """Every source and header file in these folders, sorted; empty where there is none."""
    return sorted(
        path
        for folder in source_dirs
        for pattern in ("*.cpp", "*.h")
        for path in folder.glob(pattern)
    )


def build(
    out_dir: Path = OUT_DIR,
    source_dirs: Sequence[Path] = SOURCE_DIRS,
    environ: Mapping[str, str] = os.environ,
) -> Path:
    """Builds the library into `out_dir` if it is missing or out of date, and returns its path.

    Out of date means that the sources or the flags differ from those it was built from; the digest
    of both lies beside it. The library appears whole or not at all, so that several processes may
    build at once.

    Raises `BuildError` when there are no sources, no compiler, or the compiler refuses them.
    """
    files = sources(source_dirs)
    units = [path for path in files if path.suffix == ".cpp"]
    if not units:
        folders = ", ".join(str(folder) for folder in source_dirs)
        raise BuildError(
            f"No firmware sources were found in {folders}; the checkout is incomplete."
        )
    library, stamp = out_dir / LIBRARY_NAME, out_dir / "digest"
    digest = _digest(files)
    if library.is_file() and stamp.is_file() and stamp.read_text("ascii") == digest:
        return library
    out_dir.mkdir(parents=True, exist_ok=True)
    includes = [f"-I{folder}" for folder in source_dirs]
    with tempfile.TemporaryDirectory(dir=out_dir) as scratch:
        made = Path(scratch) / LIBRARY_NAME
        command = [*compiler(environ), *FLAGS, *includes, *map(str, units), "-o", str(made)]
        _compile(command)
        os.replace(made, library)
        new_stamp = Path(scratch) / "digest"
        new_stamp.write_text(digest, "ascii")
        os.replace(new_stamp, stamp)
    return library


def _compile(command: Sequence[str]) -> None:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise BuildError(
            "The compiler refused the firmware core, so the simulator has no board; "
            f"it said:\n{done.stderr.strip()}\nThe command was: {shlex.join(command)}"
        )
    if done.stderr.strip():
        sys.stderr.write(done.stderr)


def _builds_a_library(command: Sequence[str]) -> bool:
    """Whether this compiler works: a mere name on the path may be an empty shell."""
    with tempfile.TemporaryDirectory() as scratch:
        source = Path(scratch) / "probe.cpp"
        source.write_text(PROBE_SOURCE, "ascii")
        full = [*command, *FLAGS, str(source), "-o", str(Path(scratch) / "probe")]
        try:
            done = subprocess.run(full, capture_output=True, check=False)
        except OSError:
            return False
        return done.returncode == 0


def _digest(files: Sequence[Path]) -> str:
    total = hashlib.sha256("\0".join((sys.platform, *FLAGS)).encode())
    for path in files:
        total.update(f"\0{path.parent.name}/{path.name}\0".encode())
        total.update(path.read_bytes())
    return total.hexdigest()


def main() -> int:
    """Builds the library in its usual place and prints its path; 1 with a sentence on failure."""
    try:
        path = build()
    except BuildError as error:
        print(error, file=sys.stderr)
        return 1
    print(path)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
