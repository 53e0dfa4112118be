"""Every command explains itself, and what is not understood ends with exit code 2."""

from __future__ import annotations

import importlib
import re
from collections.abc import Callable

import pytest

from benchd.cli.command import Parts
from benchd.cli.table import COMMANDS
from benchd.core.engine import CORE_VERSION
from benchd.io.migrations import SCHEMA_VERSION
from protocols.limits import PROTOCOL
from sim.board import build_word
from tests.cli.conftest import Outcome

Benchd = Callable[..., Outcome]
NAMES = [row.name for row in COMMANDS]


@pytest.mark.parametrize("name", NAMES)
def test_help_shows_an_example_and_the_exit_codes(benchd: Benchd, name: str) -> None:
    shown = benchd(name, "--help")
    row = next(row for row in COMMANDS if row.name == name)
    assert shown.code == 0
    assert row.example in shown.out
    assert "1 refused or found wrong, 2 not understood" in shown.out


@pytest.mark.parametrize("row", COMMANDS, ids=NAMES)
def test_every_row_of_the_table_has_its_parts(row: object) -> None:
    name, module = row.name, row.module  # type: ignore[attr-defined]
    parts = importlib.import_module(f"benchd.cli.{module}").PARTS[name]
    assert isinstance(parts, Parts)


def test_the_overview_names_every_command(benchd: Benchd) -> None:
    shown = benchd("--help")
    assert shown.code == 0
    assert all(f"  {name} " in shown.out for name in NAMES)
    assert benchd().code == 2


def test_the_version_is_told_with_those_that_must_fit_together(benchd: Benchd) -> None:
    shown = benchd("--version").out
    found = re.fullmatch(
        r"benchd 0\S+ \(protocol (\d+), journal schema (\d+), core (\d+), "
        r"firmware build ([0-9a-f]{8})\)\n",
        shown,
    )
    assert found is not None, shown
    assert [int(number) for number in found.groups()[:3]] == [
        PROTOCOL, SCHEMA_VERSION, CORE_VERSION
    ]  # fmt: skip
    # The board that the simulator runs greets with the same build.
    assert found[4] == build_word()


USAGE = [
    (["jgo"], "the nearest is 'jog'"),
    (["jog"], "distance"),
    (["jog", "5"], "has no unit; write it as 2.5mm"),
    (["jog", "0mm"], "moves nothing"),
    (["jog", "+5mm", "--speed", "-2mm/s"], "no sign"),
    (["jog", "+5mm", "--sped", "2mm/s"], "--sped"),
    (["here", "5bar"], "a length is written in"),
    (["clear", "IL-31"], "IL-01 to IL-30"),
    (["drive", "maybe"], "maybe"),
    (["series", "masa.yaml", "--every", "8s"], "--count --until-end"),
    (["series", "masa.yaml", "--count", "2"], "--every"),
    (["series", "masa.yaml", "--count", "0", "--every", "8s"], "'0' is not a whole number"),
    (["series", "masa.yaml", "--count", "2", "--until-end", "--every", "8s"], "not allowed with"),
    (["series", "masa.yaml", "--count", "2", "--every", "-8s"], "above 0"),
    (["weigh", "heavy"], "is no mass"),
    (["weigh", "31.8", "--look", "nice"], "nice"),
    (["set", "air"], "is no NAME=VALUE"),
    (["set", "air=1bar", "air=2bar"], "'air' is given twice"),
    (["set", "oven=3"], "the names are air, needle, nozzle, sleeve, lamp"),
    (["tube"], "way"),
    (["tube", "in"], "id"),
    (["eye", "--empty", "--dough"], "not allowed with"),
    (["note", "  "], "An empty note"),
    (["journal", "sho"], "sho"),
    (["simulate", "bench.yaml"], "--link"),
]


@pytest.mark.parametrize(("words", "says"), USAGE, ids=[" ".join(words) for words, _ in USAGE])
def test_what_is_not_understood_ends_with_2(benchd: Benchd, words: list[str], says: str) -> None:
    shown = benchd(*words)
    assert shown.code == 2
    assert says in shown.err
    assert "Traceback" not in shown.err
    assert shown.out == ""


def test_an_error_of_ours_is_one_sentence_and_a_file(
    benchd: Benchd, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: object) -> int:
        raise RuntimeError("deep inside")

    module = importlib.import_module("benchd.cli.watching")
    monkeypatch.setitem(module.PARTS, "status", module.PARTS["status"]._replace(run=fail))
    shown = benchd("status")
    assert shown.code == 1
    assert "Traceback" not in shown.err
    where = shown.err.rsplit(" ", 1)[1].strip().rstrip(".")
    assert shown.err.count("\n") == 1
    with open(f"{where}" if where.endswith(".txt") else f"{where}.txt") as file:
        assert "deep inside" in file.read()
