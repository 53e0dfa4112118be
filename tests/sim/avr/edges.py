"""How soon the feed stops after a contact opens, or after the count without dough runs out, tried
at one cycle of a step after the other.

`python -m tests.sim.avr.edges` tries all of it, for minutes. With words it makes some tries, in a
process of its own: each try branches off a bench that
runs on, which copies the process, and one that holds a whole test run is slow to copy.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

from protocols.framing import frame
from protocols.messages import Trip
from sim.avr import tools
from tests.sim.avr.avr_talk import AvrTalk

T = TypeVar("T")
ROOT = Path(__file__).parents[3]
STEP_CYCLES = 800
"""One step at 20000 steps/s."""

STRIDE = 13 * STEP_CYCLES + 1
"""From one try to the next: the next cycle of a step, and another moment of the main loop and the
link."""

WATCHED = ("guard", "stop", "eye", "local")
GAP = 800
"""Steps without dough, twice as many as the feed needs to come to rest."""

ALL = range(STEP_CYCLES + 10)
"""Tries at every cycle of a step."""

BUSY = frame(b"hello") * 5 + frame(b"x")
"""What keeps both ways of the line full: greetings go out while more come in than the board can
take."""

LEASE_MS = 5000
"""Longer than all tries last: a host that keeps to no window loses leases among the rest."""


def at_full_speed(what: str = "guard") -> AvrTalk:
    """A bench whose feed runs forward at 20000 steps/s: by a move, or in a push for the eye."""
    talk = AvrTalk(
        *WATCHED, speed_max=20_000, accel=500_000, stop_decel=500_000, gap=GAP, lease_ms=LEASE_MS
    )
    talk.wake()
    if what == "eye":
        talk.eye(dough=True)
        talk.plan(push=90_000, speed=20_000, take_up=0)
        talk.start()
    else:
        talk.move(0, 90_000, 20_000)
    talk.run(100)
    return talk


def moments(talk: AvrTalk, link: str, offsets: range) -> Iterator[int]:
    """Bring the bench to just before one cycle after the other, and give that cycle.

    On a `busy` link greetings and events go out all the while, and lines come in.
    """
    start = talk.board.cycle + 2 * STEP_CYCLES
    for offset in offsets:
        at = start + offset * STRIDE
        while talk.board.cycle < at - STEP_CYCLES:
            if link == "busy" and talk.board.rx_waiting < len(BUSY):
                talk.board.rx(BUSY)
            talk.run(min(1.0, (at - talk.board.cycle) / 16_000 - 0.03))
        yield at


def branch(do: Callable[[], T]) -> T:
    """Do something in a copy of this process, so that nothing here changes; return its result."""
    ear, mouth = os.pipe()
    child = os.fork()
    if child == 0:
        status = 1
        try:
            os.close(ear)
            with os.fdopen(mouth, "wb") as out:
                pickle.dump(do(), out)
            status = 0
        except BaseException:
            traceback.print_exc()
        finally:
            sys.stderr.flush()
            os._exit(status)
    os.close(mouth)
    with os.fdopen(ear, "rb") as came:
        data = came.read()
    _, status = os.waitpid(child, 0)
    assert status == 0, "the branch failed; what it said stands above"
    result: T = pickle.loads(data)
    return result


def after_edge(talk: AvrTalk, pin: str, edge: int) -> tuple[int, int]:
    """Open a contact at this cycle; return how many pulses followed, and the cycles from the edge
    to the last of them (0 for none)."""

    def do() -> tuple[int, int]:
        board = talk.board
        board.pin_at(edge, pin, False)
        board.trace_steps(1000)
        board.run_until_cycle(edge + 20 * STEP_CYCLES)
        later = [cycle - edge for cycle in board.traced_cycles() if cycle >= edge]
        return len(later), max(later, default=0)

    return branch(do)


def after_count(talk: AvrTalk, edge: int) -> tuple[int, int]:
    """Take the dough from the eye at this cycle; return how many pulses followed the step at which
    the count ran out, and the cycles from it to the last of them."""

    def do() -> tuple[int, int]:
        board = talk.board
        board.run_until_cycle(edge)
        gone_at = board.steps
        talk.eye(dough=False)
        board.trace_steps(2 * GAP)
        talk.until(lambda: bool(talk.of(Trip)))
        talk.run(5)
        (trip,) = talk.of(Trip)
        assert (trip.interlock, trip.bound) == (9, GAP)
        # At this speed the main loop comes round in 1 to 10 ms, and it may be away for 20.
        counted_from = trip.position - trip.value
        assert abs(counted_from - gone_at) <= 400, f"{trip}, dough gone at {gone_at}"
        beyond = board.steps - (counted_from + GAP)
        cycles = board.traced_cycles()
        return max(beyond, 0), cycles[-1] - cycles[-1 - max(beyond, 0)]

    return branch(do)


def worst(what: str, link: str, offsets: range) -> tuple[int, int]:
    """Most pulses after the edge of a contact, or after the count of the `eye`, and the longest
    time to the last of them [cycles], of a bench at full speed whose link is `quiet` or `busy`."""
    numbers = map(str, (offsets.start, offsets.stop, offsets.step))
    said = subprocess.run(
        [sys.executable, "-m", "tests.sim.avr.edges", what, link, *numbers],
        stdout=subprocess.PIPE, text=True, check=True, cwd=ROOT,
    ).stdout  # fmt: skip
    found = [tuple(map(int, line.split())) for line in said.splitlines()]
    assert len(found) == len(offsets)
    return max(pulses for pulses, _ in found), max(cycles for _, cycles in found)


PULSES_MAX, CYCLES_MAX = 1, 48
"""Further pulses after a contact opens, and cycles until the last of them; none after the eye's
count."""


def show_all() -> None:
    """Try all there is, at every cycle of a step, and write the worst of each; exit code 1 where
    one is worse than it may be."""
    beyond = False
    missing = tools.missing_simulator()
    if missing:
        sys.stderr.write(f"************ MISSING: the firmware's reaction is not tried. {missing}\n")
        raise SystemExit(os.environ.get("CI") == "true")
    for what in ("guard", "stop", "eye"):
        for link in ("quiet", "busy"):
            pulses, cycles = worst(what, link, ALL)
            most = (0, 0) if what == "eye" else (PULSES_MAX, CYCLES_MAX)
            beyond |= pulses > most[0] or cycles > most[1]
            sys.stdout.write(
                f"{what}, {link} link, {len(ALL)} cycles: at most {pulses} pulses more, "
                f"the last at most {cycles} cycles after\n"
            )
            sys.stdout.flush()
    raise SystemExit(beyond)


def main(what: str, link: str, *numbers: str) -> None:
    """Write what followed at each of these offsets, one a line."""
    talk = at_full_speed(what)
    for at in moments(talk, link, range(*map(int, numbers))):
        pulses, cycles = after_count(talk, at) if what == "eye" else after_edge(talk, what, at)
        sys.stdout.write(f"{pulses} {cycles}\n")


if __name__ == "__main__":
    main(*sys.argv[1:]) if sys.argv[1:] else show_all()
