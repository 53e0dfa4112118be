"""Holds the whole tree to the house style, and the checker to planted breaches."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.meta import tidy

LEFTOVER_WORDS = ("TO" + "DO", "FIX" + "ME", "XX" + "X")
WORKPLACE = "/wo" + "rk/main"


@pytest.mark.slow
def test_the_tree_is_tidy() -> None:
    found = tidy.check_tree()
    assert not found, "\n" + "\n".join(map(str, found))


def test_the_tree_is_read() -> None:
    paths = {path.relative_to(tidy.ROOT).as_posix() for path in tidy.files()}
    assert {"Makefile", ".ci/run", "sim/build_core.py", "tests/meta/tidy.py"} <= paths
    assert not any(path.startswith((".venv/", ".git/", "sim/_core/")) for path in paths)


BREACHES = [
    ("tests/test_a.py", "import time\ntime.sleep(1)\n", "virtual clock"),
    ("tests/test_a.py", "from time import sleep as nap\nnap(1)\n", "virtual clock"),
    ("tests/test_a.py", "import select\nselect.select([], [], [], 0.2)\n", "other words"),
    ("tests/test_a.py", "import asyncio\nasyncio.sleep(0.01)\n", "other words"),
    ("tests/test_a.py", "from threading import Event\nEvent().wait(1)\n", "other words"),
    ("benchd/core/a.py", "print('a')\n", "benchd/cli"),
    ("tests/test_a.py", "def main():\n    print('a')\n", "benchd/cli"),
    ("sim/a.py", "def show():\n    print('a')\n", "benchd/cli"),
    ("benchd/app.py", "from datetime import datetime\ndatetime.now()\n", "io/clock.py"),
    ("benchd/app.py", "import datetime as dt\ndt.datetime.utcnow()\n", "io/clock.py"),
    ("tui/app.py", "import time\ntime.time_ns()\n", "io/clock.py"),
    ("sim/world.py", "import random\nrandom.random()\n", "random.Random"),
    ("sim/world.py", "from random import shuffle\nshuffle([])\n", "random.Random"),
    ("sim/fit.py", "import numpy as np\nnp.random.normal()\n", "random.Random"),
    ("sim/world.py", "import random\nrandom.Random()\n", "a seed"),
    ("sim/world.py", "import random\nrandom.SystemRandom()\n", "random.Random"),
    ("benchd/a.py", "assert False\n", "AssertionError"),
    ("benchd/a.py", "assert 0, 'why'\n", "AssertionError"),
    ("benchd/a.py", "try:\n    pass\nexcept:\n    pass\n", "bare except"),
    ("benchd/a.py", "a = 1\n" * 500, "split it into files"),
    ("protocols/firmware/core/a.cpp", "int a;\n" * 500, "split it into files"),
    ("benchd/a.py", "def f():\n" + "    a = 1\n" * 59, "split it into functions"),
    (
        "benchd/a.py",
        "class A:\n async def f(self):\n" + "  a = 1\n" * 59,
        "split it into functions",
    ),
    ("sim/a.c", "int f(\n  int a) {\n" + "  a = 1;\n" * 57 + "}\n", "f has 60 lines"),
    ("sim/a.cpp", "namespace a {\nint f() const {\n{\n" + "\n" * 57 + "}}}\n", "f has 60 lines"),
    *[("README.md", f"{word}: later\n", "finish it now") for word in LEFTOVER_WORDS],
    ("Makefile", f"all:\n\tcd {WORKPLACE}\n", "one machine"),
]


@pytest.mark.parametrize(("path", "text", "says"), BREACHES, ids=lambda value: value[:30])
def test_a_planted_breach_is_found(path: str, text: str, says: str) -> None:
    found = tidy.check(path, text)
    assert len(found) == 1
    assert found[0].path == path
    assert says in str(found[0])


FINE = [
    ("sim/world.py", "import time\ntime.sleep(1)\n"),
    ("benchd/cli/status.py", "print('a')\n"),
    ("sim/__main__.py", "print('a')\n"),
    ("protocols/gen.py", "print('a')\nif __name__ == '__main__':\n    main()\n"),
    ("tests/io/test_a.py", "import time\ntime.time_ns()\n"),
    ("benchd/io/clock.py", "import time\ntime.time_ns()\n"),
    ("sim/world.py", "import random\nrandom.Random(1).random()\n"),
    ("sim/world.py", "def f(random):\n    return random.random()\n"),
    ("benchd/a.py", "a = 1\n" * 499),
    ("benchd/a.py", "def f():\n" + "    a = 1\n" * 58),
    ("benchd/a.py", "def f():\n    '''Long.\n" + "    text\n" * 70 + "    '''\n    return 1\n"),
    ("sim/a.c", "int f(int a) {\n" + "  a = 1;\n" * 57 + "}\n"),
    (
        "sim/a.h",
        "// f() {\nstruct a {\n" + "  int f();\n" * 80 + "};\nint b[] = {\n" + "1,\n" * 80 + "};\n",
    ),
    ("README.md", "A frame" + "work/part and a to-do list; XXXX is four.\n"),
]


@pytest.mark.parametrize(("path", "text"), FINE, ids=lambda value: value[:30])
def test_what_is_fine_passes(path: str, text: str) -> None:
    assert tidy.check(path, text) == []


def test_a_finding_names_the_line(tmp_path: Path) -> None:
    (tmp_path / "a.py").write_text("import random\n\nrandom.random()\n")
    (tmp_path / "picture.png").write_bytes(b"\xff\xfe\x00")
    assert [(found.path, found.line) for found in tidy.check_tree(tmp_path)] == [("a.py", 3)]
