"""What the pages beside the code name is there: files, make targets, modules and commands."""

from __future__ import annotations

import importlib.util
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from benchd.cli.command import Usage
from benchd.cli.guide_tables import parser_of
from benchd.cli.table import COMMANDS

ROOT = Path(__file__).parents[2]
PAGES = ("README.md", "DEVELOPERS.md", "DECISIONS.md", "CHANGELOG.md", "SECURITY.md")

RUN = ("protocols.gen",)
"""Modules that are quick to run and change nothing when all is in order."""


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


@pytest.mark.slow
@pytest.mark.parametrize("module", RUN)
def test_a_quick_module_runs_and_leaves_everything_as_it_is(module: str) -> None:
    assert any(module == named for _, named in MODULES)
    before = subprocess.run(["git", "status", "--short"], cwd=ROOT, capture_output=True)
    subprocess.run([sys.executable, "-m", module], cwd=ROOT, capture_output=True, check=True)
    after = subprocess.run(["git", "status", "--short"], cwd=ROOT, capture_output=True)
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
