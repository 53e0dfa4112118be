"""How deep the firmware's stack can get, from its machine code: frames, calls, and interrupts.

The compiler's own figures (-fstack-usage) name functions as they were before they were joined and
split at link time; the machine code is what runs. One interrupt may come upon that of a step, and
none upon another.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

_HEAD = re.compile(r"^([0-9a-f]{8}) <(.*)>:$")
_LINE = re.compile(r"^\s*([0-9a-f]+):\t(?:[0-9a-f]{2} )+\s*\t(\S+)\t?([^;]*)(?:;\s*0x([0-9a-f]+))?")
_SKIPS = ("cpse", "sbrc", "sbrs", "sbic", "sbis")
_ENDS = ("ret", "reti")
_CALL_BYTES = 2
_SAVED_BYTES = 18
"""Bytes that the compiler's shared prologue pushes when it is entered at its beginning."""

_SIGNATURES = {
    "handler": re.compile(r"::on_\w+\(core::Board&, core::Command const&, core::Answer&\)"),
    "rule": re.compile(r"::\w+\(core::Board const&, core::Trip&\)"),
    "condition": re.compile(r"::(?!permit)\w+\(core::Board const&, core::Ask const&, core::Answer"),
    "hal": re.compile(r"^hal_\w+\(void\*"),
}
_CALLERS = {"main": ("handler", "rule", "hal"), "permit": ("condition", "hal")}
"""Whose calls through a table go where; those of all others go to the hardware's functions."""


_STEP, _CONTACTS = "__vector_11", "__vector_5"


class StackError(ValueError):
    """The machine code has something that this reading of it does not know."""


class Instruction(NamedTuple):
    """One instruction: where, its size in bytes, word, operands, and the address it names or -1."""

    at: int
    size: int
    word: str
    operands: str
    target: int


@dataclass
class Function:
    """One function: its own deepest stack in bytes, and its calls with the stack at each."""

    name: str
    code: list[Instruction] = field(default_factory=list)
    own: int = 0
    calls: set[tuple[int, int]] = field(default_factory=set)
    indirect: int = -1
    """Deepest stack at a call through a pointer, -1 where there is none."""


def read_functions(elf: Path) -> dict[int, Function]:
    """Return the functions of a program by address."""
    listing = subprocess.run(
        ["avr-objdump", "-dC", str(elf)], capture_output=True, text=True, check=True
    ).stdout
    found: dict[int, Function] = {}
    lines: list[tuple[int, str, str, int]] = []
    for line in listing.splitlines():
        if head := _HEAD.match(line):
            found[int(head[1], 16)] = Function(head[2])
        elif shown := _LINE.match(line):
            target = int(shown[4], 16) if shown[4] else -1
            lines.append((int(shown[1], 16), shown[2], shown[3].strip(), target))
    starts = sorted(found)
    ends = [at for at, *_ in lines[1:]] + [lines[-1][0] + 2]
    place = 0
    for (at, word, operands, target), end in zip(lines, ends, strict=True):
        while place + 1 < len(starts) and starts[place + 1] <= at:
            place += 1
        found[starts[place]].code.append(Instruction(at, end - at, word, operands, target))
    for function in found.values():
        if not function.name.startswith(("__vectors", "__prologue", "__epilogue")):
            _Walk(function, found).go()
    return found


class _Walk:
    """Follows every way through one function and keeps the depth of the stack."""

    def __init__(self, function: Function, all_of_them: dict[int, Function]) -> None:
        self._function = function
        self._code = {row.at: row for row in function.code}
        self._places = {f.name: at for at, f in all_of_them.items()}
        self._starts = all_of_them
        self._seen: dict[int, int] = {}

    def go(self) -> None:
        if not self._function.code:
            return
        waiting = [(self._function.code[0].at, 0, 0)]
        while waiting:
            at, depth, frame = waiting.pop()
            row = self._code.get(at)
            if row is None or self._seen.get(at, -1) >= depth:
                continue
            self._seen[at] = depth
            waiting += self._step(row, depth, frame)

    def _step(self, row: Instruction, depth: int, frame: int) -> Iterator[tuple[int, int, int]]:
        """Return where it goes on: address, depth, and what the next move of the stack pointer
        takes."""
        function, after = self._function, row.at + row.size
        word = row.word
        if word == "push":
            depth += 1
        elif word == "pop":
            depth -= 1
        elif word in ("sbiw", "adiw", "subi", "sbci") and row.operands.startswith(("r28", "r29")):
            frame = _frame(row, frame)
        elif word == "out" and row.operands.startswith("0x3d"):
            depth, frame = depth + frame, 0
        elif word in ("rcall", "call") and row.target == after:
            depth += _CALL_BYTES
        elif word in ("rcall", "call"):
            function.calls.add((row.target, depth + _CALL_BYTES))
        elif word == "icall":
            function.indirect = max(function.indirect, depth + _CALL_BYTES)
        elif word in ("ijmp", "eijmp", "eicall"):
            raise StackError(f"{function.name} has a '{word}' that nobody follows.")
        function.own = max(function.own, depth)
        if word in _ENDS:
            return
        if word in ("rjmp", "jmp"):
            yield from self._jump(row, depth, frame)
            return
        if word.startswith("br") and word != "break":
            yield row.target, depth, frame
        if word in _SKIPS:
            yield after + self._code[after].size, depth, frame
        yield after, depth, frame

    def _jump(self, row: Instruction, depth: int, frame: int) -> Iterator[tuple[int, int, int]]:
        prologue = self._places.get("__prologue_saves__", -1)
        epilogue = self._places.get("__epilogue_restores__", -1)
        if row.target in self._code:
            yield row.target, depth, frame
        elif 0 <= row.target - prologue <= 2 * _SAVED_BYTES and prologue >= 0:
            values = self._loaded(row.at)
            depth += _SAVED_BYTES - (row.target - prologue) // 2
            depth += values["r26"] | values["r27"] << 8
            self._function.own = max(self._function.own, depth)
            yield 2 * (values["r30"] | values["r31"] << 8), depth, 0
        elif 0 <= row.target - epilogue <= 2 * _SAVED_BYTES and epilogue >= 0:
            return
        elif row.target in self._starts:
            self._function.calls.add((row.target, depth))
        else:
            raise StackError(f"{self._function.name} jumps into the middle of something.")

    def _loaded(self, before: int) -> dict[str, int]:
        """Return what the last loads of registers before an address put into them."""
        values: dict[str, int] = {}
        for row in self._function.code:
            if row.at < before and row.word == "ldi":
                register, value = row.operands.split(",")
                values[register] = int(value, 0) & 0xFF
        return values


def _frame(row: Instruction, frame: int) -> int:
    """Return how much the stack grows by what was taken from the frame pointer so far."""
    value = int(row.operands.split(",")[1], 0)
    if row.word == "sbiw":
        return value
    if row.word == "adiw":
        return -value
    if row.word == "subi":
        return value
    whole = (frame & 0xFF) | value << 8
    return whole - 0x10000 if whole >= 0x8000 else whole


class Depth(NamedTuple):
    """Deepest stack in bytes, and the way there."""

    stack: int
    way: tuple[str, ...]


def deepest(functions: dict[int, Function]) -> tuple[Depth, Depth]:
    """Return the deepest stack of the main loop, and that of an interrupt on top of it.

    Raises StackError where a function can call itself.
    """
    kinds = {
        kind: [at for at, f in functions.items() if shape.search(f.name)]
        for kind, shape in _SIGNATURES.items()
    }
    known: dict[int, Depth] = {}
    under_way: set[int] = set()

    def depth(at: int) -> Depth:
        if at in known:
            return known[at]
        function = functions.get(at)
        if function is None:
            raise StackError(f"Something at {at:#x} is called that is no function.")
        if at in under_way:
            raise StackError(f"{function.name} can call itself.")
        under_way.add(at)
        found = Depth(function.own, (function.name,))
        for callee, here in _all_calls(function, kinds):
            below = depth(callee)
            if here + below.stack > found.stack:
                found = Depth(here + below.stack, (function.name, *below.way))
        under_way.discard(at)
        known[at] = found
        return found

    by_name = {f.name: at for at, f in functions.items()}
    main = depth(by_name["main"])
    interrupts = {
        name: depth(at) for name, at in by_name.items() if re.match(r"__vector_\d+$", name)
    }
    worst = max(interrupts.values())
    step = interrupts.pop(_STEP, None)
    interrupts.pop(_CONTACTS, None)
    if step is not None and interrupts:
        other = max(interrupts.values())
        worst = max(worst, Depth(step.stack + _CALL_BYTES + other.stack, (*step.way, *other.way)))
    return (
        Depth(main.stack + _CALL_BYTES, main.way),
        Depth(worst.stack + _CALL_BYTES, worst.way),
    )


def _all_calls(function: Function, kinds: dict[str, list[int]]) -> Iterable[tuple[int, int]]:
    yield from function.calls
    if function.indirect >= 0:
        short = function.name.split("(")[0].removeprefix("core::")
        for kind in _CALLERS.get(short, ("hal",)):
            for at in kinds[kind]:
                yield at, function.indirect
