"""A working day at the screens, in tmux: jog, a series with a weight typed, a trip seen and
cleared, a replay stepped; on the full bench and on the smallest one."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.e2e.conftest import RealBench
from tests.e2e.tmux import Tmux

pytestmark = pytest.mark.slow


def prove(tmux: Tmux, code: str, *words: str) -> None:
    """Choose an interlock and clear it, as somebody who looked."""
    tmux.wait_for("-- Interlocks")
    tmux.wait_for("> IL-")
    for _ in range(30):
        shown = tmux.shown()
        chosen = int(shown[shown.index("> IL-") + 5 :][:2])
        if f"IL-{chosen:02d}" == code:
            break
        tmux.keys("Up")
        tmux.wait_for(f"> IL-{(chosen + 28) % 30 + 1:02d} ")
    tmux.keys("Enter")
    tmux.wait_for("Your name")
    tmux.typed("ana")
    for word in words:
        tmux.wait_for(f"type the word {word}")
        tmux.typed(word)
    tmux.wait_for(f"{code} is cleared.")


def look(tmux: Tmux, name: str) -> None:
    """Keep what is on the screen, where somebody asked for that."""
    kept = os.environ.get("BENCHD_SCREENS")
    if kept:
        Path(kept, f"{name}.txt").write_text(tmux.shown())


def commission(tmux: Tmux) -> None:
    """From power-up to a bench that may feed."""
    tmux.wait_for("waits for IL-20 to be cleared")
    look(tmux, "up")
    tmux.keys("i")
    prove(tmux, "IL-20", "looked", "clear", "home")
    prove(tmux, "IL-15", "forward", "hardware", "wired")
    tmux.keys("f", "h")
    tmux.wait_for("stands at so many mm")
    tmux.typed("0")
    tmux.wait_for("The feed stands at 0.0 mm.")
    tmux.keys("Right")
    tmux.answer_yes("will put power on the drive, which has none")
    tmux.wait_for("The drive has power.")


def jog(tmux: Tmux) -> None:
    """Two nudges, there and back."""
    tmux.keys("3", "Right")
    tmux.wait_for("Moved +2.00 mm (reached)")
    tmux.keys("2", "Left")
    tmux.wait_for("Moved -0.50 mm (reached)")
    look(tmux, "feed")


def load(tmux: Tmux) -> None:
    """A tube in, to contact, primed; a dry stroke."""
    tmux.keys("t", "b")
    tmux.wait_for("Name of the tube")
    tmux.typed("T1")
    tmux.typed("430")
    tmux.keys("Enter")
    tmux.wait_for("The record of tube T1 is open")
    tmux.keys("a")
    tmux.answer_yes("will feed forward to the dough; guard shut")
    tmux.wait_for("(contact)")
    tmux.keys("m")
    tmux.answer_yes("will feed until the strand is continuous")
    tmux.wait_for("Primed: ")
    look(tmux, "tube")
    tmux.keys("s")
    tmux.wait_for("Card masa.yaml")
    tmux.keys("a")
    tmux.answer_yes("will arm one dry stroke")
    tmux.wait_for("Armed for 3 s")
    tmux.keys("x")
    tmux.wait_for("Dry stroke complete.")


def series(tmux: Tmux) -> None:
    """Two portions on a timer, and the weight of the first while the second is made."""
    tmux.keys("s", "m")
    tmux.wait_for("One portion every so many s")
    tmux.typed("5")
    tmux.typed("2")
    tmux.answer_yes("and cut by masa.yaml, one every 5 s; 2 portions;")
    tmux.wait_for("Series 0 of 2")
    look(tmux, "series")
    tmux.keys("g")
    tmux.wait_for("Portion 1: _ g")
    tmux.typed("31,8")
    tmux.wait_for("Portion 1: 31.8 g")
    look(tmux, "weigh")
    tmux.wait_for("Series ended (all made): 2 of 2 made.")
    tmux.keys("w")
    tmux.wait_for("mean 31.8 g of 1 weighed; not weighed: 2")
    look(tmux, "watch")


def replay(tmux: Tmux) -> None:
    """The last portion, stepped by event and by 10 ms; then the one before."""
    tmux.keys("v")
    tmux.wait_for("REPLAY - nothing moves from here; portion 2")
    tmux.wait_for("Time ")
    tmux.keys("b")
    tmux.wait_for("Event take-up begins")
    tmux.keys("e")
    tmux.wait_for("Event push begins")
    look(tmux, "why")
    tmux.keys("Right")
    tmux.wait_for(" +0.010 s")
    tmux.keys("Up")
    tmux.wait_for("REPLAY - nothing moves from here; portion 1")


def test_a_day_at_the_full_bench(short_folder: Path) -> None:
    bench = RealBench(short_folder)
    tmux: Tmux | None = None
    try:
        simulator = bench.simulate()
        bench.serve()
        tmux = Tmux(bench)
        commission(tmux)
        jog(tmux)
        load(tmux)
        series(tmux)
        simulator.control("press guard off")
        tmux.wait_for("!3 STOP IL-02")
        tmux.wait_for("not seen yet: Guard open")
        look(tmux, "trip")
        tmux.keys("a")
        tmux.wait_for("Seen: ")
        tmux.wait_for(" ago, seen: Guard open")
        simulator.control("press guard on")
        tmux.wait_for("cause gone, still latched")
        tmux.keys("i")
        prove(tmux, "IL-02", "shut", "clear", "home")
        look(tmux, "interlocks")
        replay(tmux)
    finally:
        if tmux is not None:
            tmux.end()
        bench.end()


def test_a_day_at_the_smallest_bench_in_ascii_and_without_colour(short_folder: Path) -> None:
    bench = RealBench(short_folder, "smallest.yaml")
    tmux: Tmux | None = None
    try:
        simulator = bench.simulate()
        bench.serve()
        hand = bench.terminal()
        bench.make_smallest_ready(hand)
        hand.close()
        tmux = Tmux(bench, TERM="xterm-mono", LANG="C", LC_ALL="C")
        tmux.wait_for("NOT WATCHED: guard, emergency stop, cutter home,")
        assert "\x1b[3" not in tmux.drawn().replace("\x1b[39m", ""), "no colour"
        tmux.keys("f")
        jog(tmux)
        series(tmux)
        simulator.control("reset watchdog")
        tmux.wait_for("!3 STOP IL-20")
        tmux.keys("i", "a")
        tmux.wait_for("Seen: IL-20")
        prove(tmux, "IL-20", "looked", "clear", "home")
        replay(tmux)
        assert tmux.shown().isascii()
    finally:
        if tmux is not None:
            tmux.end()
        bench.end()
