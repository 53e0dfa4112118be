"""`benchd conform`: cautions and consent first, then one line for each case, over a real port."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from benchd.cli import conforming
from benchd.cli.cautions import BARE, GENERAL
from benchd.io.conform_port import PortPeer
from protocols.conform import CASES
from protocols.messages import Bench
from sim.board import Board, build_word
from sim.pty_port import PtyPort
from tests.cli.conftest import Outcome
from tests.far_board import FarBoard

Benchd = Callable[..., Outcome]
SHORT = ("greets", "order", "not-armed", "numbered", "stop 1 move")
GREETING = Bench(1, "0.1.0", "0badcafe", "host", 7, "power", 1, 0, 0, 1)
NUMBER = {case.name: str(number) for number, case in enumerate(CASES, 1)}


def chosen(*names: str) -> list[str]:
    return [word for name in names for word in ("--case", NUMBER[name])]


@pytest.fixture
def port(tmp_path: Path) -> Iterator[str]:
    """The port of a board whose firmware runs."""
    link = tmp_path / "bench-port"
    with FarBoard(link, lambda: Board(boot=7)):
        yield str(link)


@pytest.mark.slow
def test_a_few_cases_over_a_port(benchd: Benchd, port: str) -> None:
    shown = benchd("conform", port, "--yes", *chosen(*SHORT, "boots"))
    assert shown.code == 0, shown.out + shown.err
    lines = shown.out.splitlines()
    assert f"build {build_word()}" in lines[1]
    assert lines[3] == "  1 kept      'hello' brings the greeting, once (SPEC 5)"
    assert lines[4].startswith(f"{NUMBER['boots']:>3} not tried after a reset: greeting, one more")
    assert "(SPEC 5); a real board cannot be reset from here; by hand: press the" in lines[4]
    assert lines[-1] == "5 kept, 0 not kept, 1 not tried."
    assert "Take the board's power away" in shown.err


@pytest.mark.slow
def test_json_names_each_case(benchd: Benchd, port: str) -> None:
    shown = benchd("conform", port, "--yes", "--json", *chosen("greets", "local"))
    assert shown.code == 0, shown.err
    told = json.loads(shown.out)
    assert (told["board"], told["kept"], told["not_kept"], told["not_tried"]) == ("host", 1, 0, 1)
    assert [case["name"] for case in told["cases"]] == ["greets", "local"]
    assert told["cases"][1]["heard"].startswith("the inputs of a real board cannot be changed")


class SaysNotNo(Board):
    """Has no word for a refusal that anybody knows."""

    def tx(self) -> bytes:
        return super().tx().replace(b"no ", b"nu ")


@pytest.mark.slow
def test_a_board_that_does_not_keep_it_ends_with_1(
    benchd: Benchd, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    link = tmp_path / "bench-port"
    monkeypatch.setattr("protocols.conform.BEHIND_MS", 1e9)
    monkeypatch.setattr("protocols.conform.LATE_MS", 1e9)
    with FarBoard(link, SaysNotNo):
        shown = benchd("conform", str(link), "--yes", *chosen("order", "answers"))
    assert shown.code == 1
    assert "not kept  a lower number: no 49, with the last one (SPEC 6); no answer to" in shown.out
    assert "1 kept, 1 not kept, 0 not tried." in shown.out
    assert "use it on no bench until it does" in shown.err


@pytest.mark.slow
def test_on_a_busy_computer_what_failed_is_no_verdict(
    benchd: Benchd, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    link = tmp_path / "bench-port"
    monkeypatch.setattr("protocols.conform.BEHIND_MS", -1e9)
    with FarBoard(link, SaysNotNo):
        shown = benchd("conform", str(link), "--yes", *chosen("order", "greets"))
    assert shown.code == 1
    assert "not heard a lower number: no 49" in shown.out
    assert "1 kept, 0 not kept, 0 not tried, 1 not heard." in shown.out
    assert f"try them again with --case {NUMBER['order']}." in shown.err
    assert "use it on no bench" not in shown.err


def test_the_cautions_come_first_and_nothing_happens_without_a_yes(
    benchd: Benchd, port: str, typing: Callable[[str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    def opened(*_: object) -> None:
        raise AssertionError("the port was used")

    monkeypatch.setattr("benchd.io.greeting.greeting_of", opened)
    shown = benchd("conform", port)
    assert shown.code == 2
    assert "add --yes" in shown.err
    for text in (GENERAL, BARE):
        assert f"! {text}" in shown.err
    assert f"Will try {len(CASES)} cases" in shown.err
    assert "nothing on the board's pins" in shown.err
    typing("no\n")
    assert benchd("conform", port).code == 1


@pytest.mark.parametrize("page", ["first-contact", "wiring"])
@pytest.mark.slow
def test_the_guide_has_it_as_it_is_typed(benchd: Benchd, port: str, page: str) -> None:
    text = benchd("guide", page).out
    (typed,) = set(re.findall(r"'?benchd (conform PORT)'?", " ".join(text.split())))
    words = typed.replace("PORT", port).split()
    shown = benchd(*words, "--yes", *chosen("greets"))
    assert shown.code == 0, shown.err
    assert "1 kept, 0 not kept, 0 not tried." in shown.out


@pytest.mark.parametrize("number", ["0", str(len(CASES) + 1), "x"])
def test_a_case_that_is_not_there_is_not_understood(benchd: Benchd, number: str) -> None:
    shown = benchd("conform", "/dev/null", "--case", number)
    assert shown.code == 2
    assert f"from 1 to {len(CASES)}" in shown.err


def test_what_is_no_port_gets_the_usual_sentence(benchd: Benchd) -> None:
    shown = benchd("conform", "/dev/no-such-port", "--yes")
    assert shown.code == 1
    assert "There is no port /dev/no-such-port" in shown.err


def test_a_port_where_nobody_answers(
    benchd: Benchd, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    port = PtyPort(tmp_path / "silent")
    monkeypatch.setattr(conforming, "PATIENCE_S", 0.1)
    try:
        shown = benchd("conform", str(port.link), "--yes")
    finally:
        port.unplug()
    assert shown.code == 1
    assert "Nothing answers on " in shown.err


def test_a_port_that_hangs_up_ends_it_in_one_sentence(
    benchd: Benchd, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    port = PtyPort(tmp_path / "goes")
    monkeypatch.setattr("benchd.io.greeting.greeting_of", lambda *_: GREETING)
    entered = PortPeer.__enter__

    def enter(peer: PortPeer) -> PortPeer:
        entered(peer)
        port.unplug()
        return peer

    monkeypatch.setattr(PortPeer, "__enter__", enter)
    shown = benchd("conform", str(port.link), "--yes", *chosen("greets"))
    assert shown.code == 1
    assert "hung up" in shown.err
    assert "Error" not in shown.err


@pytest.mark.slow
def test_a_board_that_greets_once_only(
    benchd: Benchd, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    port = PtyPort(tmp_path / "mute")
    monkeypatch.setattr("benchd.io.greeting.greeting_of", lambda *_: GREETING)
    monkeypatch.setattr("protocols.conform.GREET_MS", 50)
    try:
        shown = benchd("conform", str(port.link), "--yes", *chosen("greets"))
    finally:
        port.unplug()
    assert shown.code == 1
    assert "greeted once and not again (no greeting within 0.05 s)" in shown.err
