"""The short way of samples and beats comes to the same as the long one."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from benchd.core import engine, short_way
from benchd.core.state import Latch, State
from benchd.core.turn import Turn
from protocols import messages as m
from tests.core.script import Script, bench

READING = st.sampled_from([0, 1, 400, 2_000, 65_535])
PINS = st.sampled_from(
    [0, *(1 << bit for bit in range(16)), 0xFFFF, short_way.IN_FORCE | 0b11111, short_way.IN_FORCE]
)


def samples() -> st.SearchStrategy[m.Sample]:
    """Samples whose readings lie about the edges that rules look at."""
    return st.builds(
        m.Sample,
        k=st.integers(0, 5),
        t_us=st.just(1_000_000),
        position=st.integers(-5, 5),
        eye=READING,
        thrust=READING,
        air=READING,
        supply=READING,
    )


def beats() -> st.SearchStrategy[m.Beat]:
    """Beats of every mode, with latches and pins on and off."""
    return st.builds(
        m.Beat,
        nonce=st.integers(0, 3),
        t_us=st.integers(0, 3_000_000),
        lease=st.integers(0, 3),
        lease_t_us=st.integers(0, 3_000_000),
        mode=st.integers(0, 5),
        phase=st.integers(0, 6),
        portion=st.just(0),
        latches=st.sampled_from([0, 1 << 8, 1 << 19]),
        position=st.integers(-1, 1),
        pins=PINS,
        bad=st.just(0),
        taken=st.just(0),
    )


def long_way(state: State, said: m.BoardMessage, now_ns: int) -> tuple[State, list[object], int]:
    """`step` without the short way."""
    kept = engine.short_way
    engine.short_way = lambda *_: None
    try:
        after, effects, wake_ns = engine.step(state, said, now_ns)
    finally:
        engine.short_way = kept
    return after, list(effects), wake_ns


@settings(max_examples=300)
@pytest.mark.slow
@given(
    said=st.one_of(samples(), beats()),
    link=st.sampled_from(["up", "up", "up", "loading", "down"]),
    dry=st.booleans(),
    fitted=st.sampled_from([(), ("air",)]),
    latches=st.sets(st.sampled_from([9, 15, 17, 19, 20, 30])),
    told=st.booleans(),
    later_ns=st.sampled_from([0, 1_000_000, 100_000_000, 2_000_000_000]),
)
def test_both_ways_come_to_the_same(
    said: m.BoardMessage,
    link: str,
    dry: bool,
    fitted: tuple[str, ...],
    latches: set[int],
    told: bool,
    later_ns: int,
) -> None:
    start = START[fitted]
    up = {
        number: Latch(number, start.last_word_ns, "up", told=told or number != 9)
        for number in latches
    }
    # The rules themselves must already have said what they have to say of this state.
    state = replace(start, link=link, dry_needed=dry, latches={**start.latches, **up})
    settled = Turn(state, start.last_word_ns)
    engine.interlocks.evaluate(settled)
    now_ns = start.last_word_ns + later_ns
    assert engine.step(settled.state, said, now_ns) == long_way(settled.state, said, now_ns)


def test_the_short_way_is_taken_at_rest_and_not_while_something_runs() -> None:
    script = Script().ready().run(1)
    sample = m.Sample(1, 1_000_000, 0, 120, 0, 2_000, 5_000)
    assert short_way.short_way(script.state, sample, script.now_ns) is not None
    script.ask("jog", distance_m=0.001)
    assert short_way.short_way(script.state, sample, script.now_ns) is None


@pytest.mark.parametrize(
    ("before", "after", "lost"),
    [
        (7, 7, 0),
        (7, 6, 0),
        (7, 0, 0),
        (0, 65_535, 0),
        (65_535, 0, 0),
        (65_535, 2, 2),
        (7, 10, 2),
        (7, 9, 0),
    ],
)
def test_only_several_samples_in_a_row_that_never_came_are_a_loss(
    before: int, after: int, lost: int
) -> None:
    s = Script().ready()
    for k in (before, after):
        counted = s.state.samples_lost
        s.tell(m.Sample(k, 0, 0, 100, 0, 2000, 5000))
    assert s.state.samples_lost - counted == lost


START = {fitted: Script(bench(*fitted)).connect().run(1).state for fitted in ((), ("air",))}
