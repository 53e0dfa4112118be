"""Public names say what they answer; formulas name their units and their source."""

from __future__ import annotations

import pytest

from tests.meta import docstrings, tidy

DOCUMENTED = '"""What this is."""\n'


@pytest.mark.slow
def test_public_names_are_documented() -> None:
    paths = [path for path in tidy.files() if path.suffix == ".py"]
    found = [
        text
        for path in paths
        for text in docstrings.check(
            path.relative_to(tidy.ROOT).as_posix(), path.read_text("utf-8")
        )
    ]
    assert not found, "\n" + "\n".join(found)


LACKING = [
    ("benchd/app.py", "a = 1\n", "the module has no docstring"),
    ("tui/app.py", DOCUMENTED + "def run(): pass\n", "run has no docstring"),
    ("sim/world.py", DOCUMENTED + "async def run(): pass\n", "run has no docstring"),
    ("protocols/a.py", DOCUMENTED + "class Line: pass\n", "Line has no docstring"),
    (
        "sim/a.py",
        DOCUMENTED + "class Line:\n    'A line.'\n    def feed(self): pass\n",
        "Line.feed has no docstring",
    ),
    ("benchd/calc/a.py", DOCUMENTED + "def f():\n    'Area [m2].'\n", "no line that begins"),
    ("sim/a.py", DOCUMENTED + "def f():\n    'An f.'\n    raise a.B(1)\n", "not tell of B"),
    (
        "sim/plant/a.py",
        DOCUMENTED + "def f():\n    '''Area.\n\n    Source: x.'''\n",
        "names no unit",
    ),
    ("benchd/core/weighing.py", DOCUMENTED + "def f():\n    'Mass [kg].'\n", "no line that begins"),
    (
        "benchd/calc/a.py",
        DOCUMENTED + "def f():\n    '''Mass [kg].\n\n    Parameters: a : [m]\n    Source: x.'''\n",
        "neither 'scalar' nor",
    ),
]


@pytest.mark.parametrize(("path", "text", "says"), LACKING, ids=lambda value: value[:30])
def test_a_planted_gap_is_found(path: str, text: str, says: str) -> None:
    found = docstrings.check(path, text)
    assert len(found) == 1
    assert says in found[0]


FINE = [
    ("tests/test_a.py", "def test_a(): pass\n"),
    ("benchd/app.py", DOCUMENTED + "def _hidden(): pass\nclass _Hidden:\n    def a(self): pass\n"),
    ("benchd/app.py", DOCUMENTED + "class A:\n    'An a.'\n    def __len__(self): pass\n"),
    ("benchd/app.py", DOCUMENTED + "class A:\n    'An a.'\n    @override\n    def f(self): pass\n"),
    ("benchd/app.py", DOCUMENTED + "class A:\n    'An a.'\n    @x.setter\n    def x(self): pass\n"),
    ("sim/a.py", DOCUMENTED + "def f():\n    'An f. Raises: B.'\n    raise a.B(1)\n"),
    ("benchd/cli/a.py", DOCUMENTED + "def f():\n    'An f.'\n    raise Wrong(1)\n"),
    ("benchd/calc/a.py", DOCUMENTED + "def f():\n    '''Area [m2].\n\n    Source: x.'''\n"),
    (
        "sim/plant/a.py",
        DOCUMENTED + "class Plant:\n    'A plant.'\n    def go(self):\n        'Go.'\n",
    ),
]


@pytest.mark.parametrize(("path", "text"), FINE, ids=lambda value: value[:30])
def test_what_is_documented_passes(path: str, text: str) -> None:
    assert docstrings.check(path, text) == []
