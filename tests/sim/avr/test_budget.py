"""The firmware fits the chip, and its stack is bounded: by its machine code, and by what it did."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from sim.avr import __main__ as building
from sim.avr import budget, stack, tools
from sim.avr.stack import StackError
from sim.build_core import BuildError
from tests.sim.avr.avr_talk import AvrTalk

RAM_END = 0x8FF
"""Where the chip's stack begins (data sheet of the ATmega328P: 2048 bytes from 0x100)."""


@pytest.fixture(scope="module")
def use() -> budget.Use:
    return budget.measure(tools.firmware())


def test_the_firmware_keeps_to_its_budget(use: budget.Use) -> None:
    assert budget.breaches(use) == []
    assert use.flash <= budget.FLASH_MOST
    assert use.ram <= budget.RAM_MOST


def test_what_exceeds_its_budget_is_told(use: budget.Use) -> None:
    told = budget.breaches(use._replace(flash=budget.FLASH_MOST + 1, variables=budget.RAM_MOST))
    assert [f"{budget.FLASH_MOST + 1} bytes of program memory" in told[0], "of RAM" in told[1]] == [
        True,
        True,
    ]


@pytest.mark.parametrize(
    ("flash", "says"), [(0, ""), (budget.FLASH_MOST + 1, "of program memory"), (-1, "no bound")]
)
def test_the_build_says_what_it_takes_and_fails_beyond_it(
    use: budget.Use, flash: int, says: str, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    def measure(_: Path) -> budget.Use:
        if flash < 0:
            raise StackError("This stack has no bound.")
        return use._replace(flash=flash or use.flash)

    monkeypatch.setattr(budget, "measure", measure)
    monkeypatch.setattr(building, "ROOT", tmp_path)
    monkeypatch.setattr(building, "PLACE", tmp_path / "build")
    assert building.main() == (1 if says else 0)
    said = capsys.readouterr()
    assert says in said.err
    assert bool(said.err) == bool(says)
    if flash >= 0:
        assert "".join(f"  {line}\n" for line in budget.lines(measure(tmp_path))) in said.out
        made = {path.name for path in (tmp_path / "build").iterdir()}
        assert made == {f"bench-{baud}.{kind}" for baud in tools.BAUDS for kind in ("elf", "hex")}


def test_the_ledger_names_the_deepest_way(use: budget.Use) -> None:
    text = "\n".join(budget.lines(use))
    assert f"may take {budget.RAM_MOST}" in text
    assert "deepest in main > " in text
    assert "deepest in __vector_" in text


@pytest.mark.slow
def test_no_stack_is_deeper_than_the_bound(use: budget.Use) -> None:
    """A portion, moves, refusals and interrupts in between stay above the bound, and come near."""
    talk = AvrTalk().wake()
    talk.plan()
    talk.start()
    talk.eye(dough=True)
    talk.pin("forward", True)
    talk.ended()
    talk.move(0, 4000, 8000)
    talk.pin("guard", False)
    talk.run(500)
    used = RAM_END - talk.board.lowest_stack
    assert 0.5 * use.stack < used <= use.stack


CODE = """
    nop
    .global main
main:
    push r16
    push r17
    rcall leaf
    {body}
    ret
leaf:
    in r28, 0x3d
    in r29, 0x3e
    sbiw r28, 10
    out 0x3e, r29
    out 0x3d, r28
    adiw r28, 10
    out 0x3e, r29
    out 0x3d, r28
    ret
    .global __vector_7
__vector_7:
    push r1
    reti
"""


def program(folder: Path, body: str) -> Path:
    """A program in assembly whose stack can be told by hand."""
    source, made = folder / "a.S", folder / "a.elf"
    source.write_text(CODE.format(body=body))
    command = ["avr-gcc", "-mmcu=atmega328p", "-nostartfiles", str(source), "-o", str(made)]
    subprocess.run(command, check=True)
    return made


def test_a_stack_told_by_hand(tmp_path: Path) -> None:
    """Two pushes, a call of two bytes, ten bytes of a frame, and main's own return address."""
    main, interrupt = stack.deepest(stack.read_functions(program(tmp_path, "nop")))
    assert main.stack == 2 + 2 + 10 + 2
    assert main.way == ("main", "leaf")
    assert interrupt.stack == 1 + 2


def test_a_stack_without_a_bound_is_told(tmp_path: Path) -> None:
    endless = program(tmp_path, "rcall main")
    with pytest.raises(StackError, match="main can call itself"):
        stack.deepest(stack.read_functions(endless))
    with pytest.raises(StackError, match="ijmp"):
        stack.read_functions(program(tmp_path, "ijmp"))


def test_a_speed_that_is_not_built_is_refused() -> None:
    with pytest.raises(BuildError, match="250000 or 115200 baud, not for 9600"):
        tools.firmware(9600)


def test_missing_tools_are_named_with_the_way_to_get_them(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", "")
    assert "apt-get install --no-install-recommends gcc-avr" in tools.missing_tools()
    assert tools.missing_simulator() == tools.missing_tools()
    with pytest.raises(BuildError, match=r"avr-g\+\+ is missing"):
        tools.firmware(out_dir=tmp_path)


def test_sources_that_do_not_compile_are_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "a.cpp").write_text("int main() { return x; }\n")
    monkeypatch.setattr(tools, "BOARD_DIRS", (tmp_path,))
    with pytest.raises(BuildError, match="avr-g\\+\\+ refused the 8-bit board's sources"):
        tools.firmware(out_dir=tmp_path / "out")
    assert not list((tmp_path / "out").iterdir())
