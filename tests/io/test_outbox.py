"""Lines on their way out: bounded, in order, whole, and nothing old after an urgent one."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchd.io.outbox import OUTBOX_BYTES_MAX, Outbox


def drain(outbox: Outbox, at_most: int = 1000) -> bytes:
    """Everything, as a port that takes `at_most` bytes at a time would get it."""
    out = b""
    while head := outbox.head():
        out += head[:at_most]
        outbox.taken(len(head[:at_most]))
    return out


@pytest.mark.parametrize("at_most", [1, 3, 1000])
def test_lines_leave_in_order_however_few_bytes_the_port_takes(at_most: int) -> None:
    outbox = Outbox()
    assert outbox.add(b"one\ntwo\n", urgent=False)
    assert outbox.add(b"three\n", urgent=False)
    assert len(outbox) == 14
    assert drain(outbox, at_most) == b"one\ntwo\nthree\n"
    assert len(outbox) == 0


@pytest.mark.parametrize(
    ("begun", "left"),
    [(0, b"stop\n"), (1, b"ne\nstop\n"), (3, b"\nstop\n"), (4, b"stop\n")],
)
def test_an_urgent_line_drops_the_lines_not_begun(begun: int, left: bytes) -> None:
    outbox = Outbox()
    outbox.add(b"one\ntwo\nthree\n", urgent=False)
    assert outbox.head()
    if begun:
        outbox.taken(begun)
    assert outbox.add(b"stop\n", urgent=True)
    assert len(outbox) == len(left)
    assert drain(outbox) == left


def test_a_full_outbox_takes_nothing_of_what_does_not_fit() -> None:
    outbox = Outbox()
    assert outbox.add(b"x" * (OUTBOX_BYTES_MAX - 1) + b"\n", urgent=False)
    assert not outbox.add(b"\n", urgent=False)
    assert len(outbox) == OUTBOX_BYTES_MAX
    assert outbox.add(b"stop\n", urgent=True)
    assert drain(outbox) == b"stop\n"


@settings(max_examples=25)
@given(
    st.lists(st.tuples(st.sampled_from(["add", "stop", "take"]), st.integers(1, 30)), max_size=40)
)
def test_what_leaves_is_whole_lines_in_order(steps: list[tuple[str, int]]) -> None:
    outbox = Outbox()
    left = b""
    made = 0
    for what, size in steps:
        if what == "take":
            head = outbox.head()[:size]
            left += head
            if head:
                outbox.taken(len(head))
        else:
            made += 1
            line = b"%04d" % made + b"." * size + b"\n"
            assert outbox.add(line, urgent=what == "stop")
            if what == "stop":
                last_stop = made
                assert outbox.head().endswith(line) or len(outbox) > len(line)
    left += drain(outbox)
    numbers = [int(line[:4]) for line in left.splitlines()]
    assert numbers == sorted(set(numbers))
    assert all(line[4:].strip(b".") == b"" for line in left.splitlines())
    if any(what == "stop" for what, _ in steps):
        assert last_stop in numbers
