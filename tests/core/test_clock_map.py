"""Board time mapped to host time: the published formula, and a stated error that holds."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchd.core.clock_map import (
    ANCHORS,
    DRIFT,
    FOLD,
    ClockMap,
    add_exchange,
    offset_and_delay,
    unwrap,
)

ROWS = json.loads(
    (Path(__file__).parents[1] / "data" / "rfc5905-offset-delay.json").read_text(encoding="utf-8")
)["rows"]

MS_NS = 1_000_000
WAYS = st.floats(0, 0.05)


@pytest.mark.parametrize("row", ROWS, ids=str)
def test_offset_and_delay_are_those_of_rfc_5905(row: dict[str, float]) -> None:
    offset, delay = offset_and_delay(row["t1"], row["t2"], row["t3"], row["t4"])
    assert offset == pytest.approx(row["offset"], abs=1e-9)
    assert delay == pytest.approx(row["delay"], abs=1e-9)


@pytest.mark.slow
@given(offset=st.floats(-1000, 1000), there=WAYS, back=WAYS, held=WAYS)
def test_the_offset_is_off_by_at_most_half_the_delay_whatever_the_asymmetry(
    offset: float, there: float, back: float, held: float
) -> None:
    t1 = 100.0
    t2, t3 = t1 + there + offset, t1 + there + held + offset
    t4 = t1 + there + held + back
    found, delay = offset_and_delay(t1, t2, t3, t4)
    assert delay == pytest.approx(there + back, abs=1e-9)
    assert abs(found - offset) <= delay / 2 + 1e-9


@pytest.mark.slow
@given(full=st.integers(0, 2**48), off=st.integers(-(2**31) + 1, 2**31 - 1))
def test_the_low_32_bits_give_the_full_time_back_within_half_a_wrap(full: int, off: int) -> None:
    assert unwrap(full % 2**32, full + off) == full


class Clocks:
    """A host and a board whose clock runs `drift` too fast, and a line between them."""

    def __init__(self, drift: float, seed: int, *, trip_ns: int, symmetric: bool = False) -> None:
        self.chance = random.Random(seed)
        self.drift, self.trip_ns, self.symmetric = drift, trip_ns, symmetric
        self.one_sided = False
        """The whole trip is on the way there, which halving it gets most wrong."""
        self.host_ns = 5_000 * 1_000_000_000
        self.map = ClockMap()

    def board_us(self, host_ns: float) -> int:
        """What the board's clock shows at a moment of the host's."""
        return int((host_ns - 4_000e9) * (1 + self.drift) / 1000)

    def host_of(self, board_us: float) -> float:
        """The moment of the host's clock at which the board's shows this."""
        return board_us * 1000 / (1 + self.drift) + 4_000e9

    def way_ns(self) -> int:
        """How long one line takes, at times very unlike the next."""
        if self.symmetric:
            return self.trip_ns // 2
        return round(self.trip_ns * self.chance.choice((0.02, 0.1, 1.0)) * self.chance.random())

    def exchange(self) -> None:
        """A lease at the last beat, and the beat after it 100 ms later."""
        t1_ns = self.host_ns
        there, back = (self.trip_ns, 0) if self.one_sided else (self.way_ns(), self.way_ns())
        t2_us = self.board_us(t1_ns + there)
        sent_ns = t1_ns + 100 * MS_NS
        t3_us = self.board_us(sent_ns)
        self.host_ns = sent_ns + back
        self.map = add_exchange(self.map, t1_ns=t1_ns, t2_us=t2_us, t3_us=t3_us, t4_ns=self.host_ns)

    def worst(self) -> float:
        """Largest error of the map, now and back as far as it claims, over the stated one."""
        assert self.map.error_ns is not None
        early = self.map.early
        now_us = self.board_us(self.host_ns)
        back_s = 0.9 if early is None else (now_us - early[0]) / 1.01e6
        worst = 0.0
        for part in range(11):
            board_us = self.board_us(self.host_ns - back_s * 1e9 * part / 10)
            mapped_ns = self.map.host_ns(board_us)
            assert mapped_ns is not None
            worst = max(worst, abs(mapped_ns - self.host_of(board_us)) - 2000)
        return worst / self.map.error_ns


def test_before_the_first_exchange_no_time_is_claimed() -> None:
    assert ClockMap().host_ns(123) is None


@pytest.mark.slow
@given(
    drift=st.floats(-DRIFT, DRIFT),
    trip_us=st.sampled_from([0, 50, 300, 2_000, 20_000]),
    exchanges=st.integers(1, 400),
    seed=st.integers(0, 2**32),
)
def test_the_mapped_time_is_within_the_stated_error_at_any_drift_a_resonator_has(
    drift: float, trip_us: int, exchanges: int, seed: int
) -> None:
    clocks = Clocks(drift, seed, trip_ns=trip_us * 1000)
    for _ in range(exchanges):
        clocks.exchange()
    assert clocks.worst() <= 1


@pytest.mark.parametrize("seed", range(8))
def test_a_line_whose_early_end_is_poor_says_so(seed: int) -> None:
    clocks = Clocks(0.001, seed, trip_ns=40_000_000)
    for n in range(FOLD * 6):
        clocks.trip_ns = 40_000_000 if n < FOLD * 3 else 20_000
        clocks.one_sided = n < FOLD * 3
        clocks.exchange()
    assert clocks.map.early is not None
    assert clocks.worst() <= 1


@pytest.mark.parametrize("drift", [-0.005, 0.0, 0.005])
def test_the_stated_error_becomes_small_after_some_seconds(drift: float) -> None:
    clocks = Clocks(drift, 1, trip_ns=1_000_000)
    for _ in range(100):
        clocks.exchange()
    assert clocks.map.error_ns is not None
    assert clocks.map.error_ns < 1.5 * MS_NS
    assert clocks.map.rate == pytest.approx(1 / (1 + drift), abs=3e-4)


def test_an_exchange_that_cannot_be_is_no_evidence() -> None:
    clocks = Clocks(0.0, 1, trip_ns=1_000_000, symmetric=True)
    clocks.exchange()
    before = clocks.map
    assert add_exchange(before, t1_ns=10**9, t2_us=0, t3_us=2_000_000, t4_ns=2 * 10**9) == before
    assert add_exchange(before, t1_ns=10**9, t2_us=5_000, t3_us=0, t4_ns=2 * 10**9) == before


def test_a_rate_that_no_resonator_has_is_not_believed() -> None:
    clocks = Clocks(0.05, 1, trip_ns=20_000_000)
    for _ in range(100):
        clocks.exchange()
    assert clocks.map.early is None
    assert clocks.map.rate == 1.0


def test_what_the_map_keeps_does_not_grow() -> None:
    clocks = Clocks(0.001, 1, trip_ns=100_000)
    for _ in range(FOLD * ANCHORS * 2):
        clocks.exchange()
    assert len(clocks.map.anchors) == ANCHORS
    assert len(clocks.map.recent) < FOLD
