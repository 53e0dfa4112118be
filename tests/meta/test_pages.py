"""What the pages beside the code name is there: files, make targets, modules and commands."""

from __future__ import annotations

import importlib.util
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from benchd.cli.command import Usage
from benchd.cli.guide_tables import parser_of
from benchd.cli.table import COMMANDS

ROOT = Path(__file__).parents[2]
PAGES = ("README.md", "DEVELOPERS.md", "DECISIONS.md", "CHANGELOG.md", "SECURITY.md")

PYTHON = (sys.executable, "-m")
RUN = {
    "protocols.gen": ((*PYTHON, "protocols.gen"), ""),
    "tests.tui.snapshots": ((*PYTHON, "tests.tui.snapshots", "FOLDER"), ""),
    "tests.bench": ((*PYTHON, "tests.bench", "cards"), "card check, start to exit"),
    "make": (("make",), "make bench"),
    "make firmware": ((*PYTHON, "sim.avr"), "bytes"),
    "benchd --version": ((*PYTHON, "benchd", "--version"), "protocol"),
}
"""What pages name and is quick to run: how it is run here, and what it says. None of it changes
anything when all is in order."""

NOT_RUN = {
    "tests.grade": "takes an hour or two; tests/grade runs one tube of it",
    "tests.sim.avr.edges": "takes minutes; tests/sim/avr runs some of its cycles",
    "tests.tui.pictures": "writes into the tree; tests/tui/test_pictures.py draws each",
    "make setup": "installs; every run of these tests stands on it",
    "make system": "installs system packages",
    "make check": "is what runs this test",
    "make test": "is what runs this test",
    "make bench": "takes half an hour and measures; its shortest part is run here",
    "make grade": "takes an hour or two",
    "make soak": "takes hours",
    "make demo": "sets up, then lasts for minutes; tests/e2e/test_screens.py makes two portions",
}
"""What pages name and is not run here, and why."""


def spans(page: str) -> set[str]:
    """What a page sets as code, in a sentence or as a line of a block without its remark."""
    text = (ROOT / page).read_text("utf-8")
    blocks = re.findall(r"^```[a-z]*\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    prose = re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)
    lines = {line.split("  #")[0].strip() for block in blocks for line in block.splitlines()}
    return lines | set(re.findall(r"`([^`]+)`", " ".join(prose.split())))


SPANS = sorted((page, span) for page in PAGES for span in spans(page))


def of(pattern: str) -> list[tuple[str, str]]:
    """The pages and the first group of those spans that the pattern fits as a whole."""
    found = ((page, re.fullmatch(pattern, span)) for page, span in SPANS)
    return [(page, match[1]) for page, match in found if match]


FILES = of(r"((?:benchd|protocols|sim|tui|tests|\.ci)/[\w./*{},-]+)")
TARGETS = of(r"make ([a-z]+)(?: \w+=.*)?")
MODULES = of(r"(?:\S*python\S* -m )((?:benchd|protocols|sim|tui|tests)[\w.]*)(?: .*)?")
TYPED = of(r"benchd ([a-z-].*)")


def test_the_pages_name_enough_for_this_to_mean_something() -> None:
    assert len(FILES) > 30
    assert {target for _, target in TARGETS} >= {"setup", "check", "demo", "test", "bench"}
    assert len(MODULES) >= 3
    assert len(TYPED) > 25


@pytest.mark.parametrize(("page", "path"), FILES)
def test_files_are_there(page: str, path: str) -> None:
    assert list(ROOT.glob(path)), f"{page} names {path}"


@pytest.mark.parametrize(("page", "module"), MODULES)
def test_modules_can_be_run(page: str, module: str) -> None:
    found = importlib.util.find_spec(module)
    if found is not None and found.submodule_search_locations is not None:
        found = importlib.util.find_spec(f"{module}.__main__")
    assert found is not None, f"{page} names {module}"
    if not found.name.endswith("__main__"):
        assert "if __name__ ==" in Path(found.origin or "").read_text("utf-8"), module


def test_what_the_pages_name_is_run_or_it_is_said_why_not() -> None:
    named = {module for _, module in MODULES} | {f"make {target}" for _, target in TARGETS}
    assert named | {"make", "benchd --version"} == {*RUN, *NOT_RUN}
    assert not set(RUN) & set(NOT_RUN)


@pytest.mark.slow
@pytest.mark.parametrize("name", RUN)
def test_what_is_quick_runs_and_leaves_everything_as_it_is(name: str, tmp_path: Path) -> None:
    words, says = RUN[name]
    if name == "make firmware" and shutil.which("avr-g++") is None:
        pytest.skip("avr-g++ is not installed")
    words = tuple(str(tmp_path) if word == "FOLDER" else word for word in words)
    before = subprocess.run(["git", "status", "--short"], cwd=ROOT, capture_output=True)
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True)
    after = subprocess.run(["git", "status", "--short"], cwd=ROOT, capture_output=True)
    # On a busy machine a figure may be missed; that it is measured is what counts here.
    assert done.returncode == 0 or (name == "tests.bench" and "missed" in done.stdout), done
    assert says in done.stdout
    assert after.stdout == before.stdout


@pytest.mark.parametrize(("page", "typed"), TYPED)
def test_commands_are_understood(page: str, typed: str) -> None:
    name, *words = shlex.split(typed)
    if name.startswith("--"):
        return
    row = next((row for row in COMMANDS if row.name == name), None)
    assert row is not None, f"{page}: there is no command '{name}'"
    # A sentence may name a command without what must follow it, but no word that it does not know.
    words = [f" {word}" if re.match(r"-[\d.,]", word) else word for word in words]
    try:
        parser_of(row).parse_args(words)
    except Usage as error:
        incomplete = re.search(r"missing|needed|required|expected one argument", str(error))
        if not incomplete:
            raise AssertionError(f"{page}: '{typed}': {error}") from None
