"""A record is found by its number as a plain scan would find it, in few looks."""

from __future__ import annotations

from bisect import bisect_left, bisect_right

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchd.analysis import numbered
from benchd.analysis.numbered import Record, Seen, last_below

WINDOW = 8


class Entries:
    """Entries of which some hold a record; counts how often they are looked at."""

    def __init__(self, records: list[Record]) -> None:
        self.records = records
        self.looks = 0

    def find(self, number: int, entries: int) -> int:
        """What the search comes to."""

        def look(after: int, upto: int) -> Seen | None:
            assert 0 <= after < upto <= entries
            self.looks += 1
            places = [one.n for one in self.records]
            window = self.records[bisect_right(places, after) : bisect_right(places, upto)]
            below = [one.n for one in window if one.number < number]
            return Seen(window[0], window[-1], below[-1] if below else None) if window else None

        return last_below(number, entries, look)

    def scan(self, number: int) -> int:
        """What a plain scan comes to."""
        return max((one.n for one in self.records if one.number < number), default=0)


@st.composite
def of_any_kind(draw: st.DrawFn) -> tuple[list[Record], int, int]:
    """Records that come in bursts and after rests, whose numbers leap, in some entries."""
    steps = st.one_of(st.integers(1, 3), st.integers(1, 400))
    leaps = st.one_of(st.just(1), st.integers(1, 1_000))
    n, number = 0, draw(st.integers(0, 10_000)) - 1
    records = []
    for step, leap in draw(st.lists(st.tuples(steps, leaps), max_size=60)):
        n, number = n + step, number + leap
        records.append(Record(n, number))
    entries = n + draw(st.integers(0, 400))
    near = st.sampled_from(records).map(lambda one: one.number) if records else st.just(0)
    asked = draw(st.one_of(st.integers(-700, 12_000), near, near.map(lambda found: found + 1)))
    return records, entries, asked


@pytest.mark.slow
@given(of_any_kind())
def test_it_is_what_a_plain_scan_finds(drawn: tuple[list[Record], int, int]) -> None:
    records, entries, asked = drawn
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(numbered, "WINDOW", WINDOW)
        found = Entries(records)
        assert found.find(asked, entries) == found.scan(asked)
        # Halving, with each look widened until it holds a record, would take as many.
        assert found.looks <= 4 * (entries + 1).bit_length() + 8


def test_few_looks_find_it_where_numbers_rise_evenly() -> None:
    entries = 10_000_000
    records = [Record(n, n // 600) for n in range(600, entries, 600)]
    for number in (-500, 1, 100, 701, 8_000, 16_500, 20_000):
        found = Entries(records)
        place = bisect_left(records, number, key=lambda one: one.number)
        assert found.find(number, entries) == (records[place - 1].n if place else 0)
        assert found.looks <= 3
