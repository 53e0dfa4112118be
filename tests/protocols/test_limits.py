"""The limits loaded into the board, their digests, and the ledger at the top of SPEC.md."""

from __future__ import annotations

import json
import re
import struct
from pathlib import Path

import anycrc
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocols import limits
from protocols.codec import Number, Word
from protocols.framing import frame
from protocols.gen import SPEC
from protocols.limits import GROUPS, LIMIT_BY_NAME, LIMITS, digest, group_digest
from protocols.messages import MESSAGES, Event, HostMessage, Message, Spec, encode

START = {limit.name: limit.start for limit in LIMITS}
CATALOGUE = Path(__file__).parent.parent / "data" / "crc-check-values.json"


def longest(spec: Spec) -> int:
    """Bytes of the longest line that a message can make, newline included."""
    values = [
        "w" * field.length if isinstance(field, Word) else max(field.low, field.high, key=_length)
        for _, field in spec.fields
    ]
    return len(frame(encode(spec.cls(*values))))


def _length(number: int) -> int:
    return len(str(number))


LONGEST = {tag: longest(spec) for tag, spec in MESSAGES.items()}


def ledger() -> dict[str, str]:
    """The rows of the ledger, what to most."""
    section = SPEC.read_text("utf-8").split("## 1. Ledger")[1].split("## 2.")[0]
    rows = re.findall(r"^\| (.+?) \| (.+?) \| .* \|$", section, re.MULTILINE)
    return dict(rows)


# Line sizes and shares.


@pytest.mark.parametrize("tag", MESSAGES)
def test_no_message_makes_a_line_too_long(tag: str) -> None:
    host = issubclass(MESSAGES[tag].cls, HostMessage)
    assert LONGEST[tag] <= (limits.HOST_LINE_BYTES_MAX if host else limits.LINE_BYTES_MAX)


def test_stop_fits_its_reserve() -> None:
    assert LONGEST["stop"] == limits.STOP_RESERVE_BYTES


def test_the_ledger_says_what_the_constants_say() -> None:
    row = ledger()
    assert row["line, newline included"] == f"{limits.LINE_BYTES_MAX} bytes"
    assert row["bytes from the host not yet taken by the board"] == str(limits.WINDOW_BYTES)
    assert row["line from the host"] == f"{limits.HOST_LINE_BYTES_MAX} bytes"
    ring = f"{limits.RING_EVENTS} × 20 = {limits.RING_EVENTS * 20} bytes"
    assert row["ring of events"] == ring


def test_the_ledger_of_the_link_is_computed_from_the_longest_lines() -> None:
    row = ledger()
    link = 250_000 // 10
    assert row["link at 250000 baud"] == f"{link:,} bytes/s each way"
    beat, sample = LONGEST["beat"], LONGEST["sample"]
    beats = beat * 1000 // limits.BEAT_MS
    assert row[f"beat, {beat} bytes every {limits.BEAT_MS} ms"] == f"{beats} bytes/s"
    busy_ms = LIMIT_BY_NAME["sample_busy_ms"].start
    samples = sample * 1000 // busy_ms
    assert row[f"samples, {sample} bytes every {busy_ms} ms in motion"] == f"{samples:,} bytes/s"
    event = max(LONGEST[tag] for tag, spec in MESSAGES.items() if issubclass(spec.cls, Event))
    events = limits.RING_EVENTS_NEEDED * event / 3.3
    name = f"events of a portion, {limits.RING_EVENTS_NEEDED} × {event} bytes in 3.3 s"
    assert row[name] == f"{round(events, -1):.0f} bytes/s"
    held = beat * 1000 // limits.BEAT_HELD_MS
    assert held + samples + events < link / 5


def test_board_time_wraps_when_the_ledger_says() -> None:
    text = SPEC.read_text("utf-8")
    assert f"wraps every {2**32 / 60e6:.1f} minutes" in text


# Digests.


def test_the_digest_is_the_crc_of_the_catalogue() -> None:
    # Source: CRC-32/ISO-HDLC of the catalogue of parametrised CRC algorithms.
    catalogue = json.loads(CATALOGUE.read_text())
    (ours,) = [row for row in catalogue["models"] if row["name"] == "CRC-32/ISO-HDLC"]
    model = anycrc.Model("CRC32-ISO-HDLC")
    assert model.calc(b"123456789") == int(ours["check"], 16) == 0xCBF43926
    data = b"".join(struct.pack("<i", limit.start) for limit in LIMITS)
    assert len(data) == 4 * len(LIMITS)
    assert digest(START) == model.calc(data)


@settings(max_examples=40)
@given(
    st.sampled_from(LIMITS).flatmap(
        lambda limit: st.tuples(st.just(limit), st.integers(limit.low, limit.high))
    )
)
def test_each_limit_counts_in_the_digest_and_in_its_group_alone(
    change: tuple[limits.Limit, int],
) -> None:
    limit, value = change
    values = START | {limit.name: value}
    assert (digest(values) == digest(START)) == (value == limit.start)
    for group in GROUPS:
        same = group_digest(values, group) == group_digest(START, group)
        assert same == (value == limit.start or group != limit.group)


def test_a_digest_needs_every_value_in_32_bits() -> None:
    with pytest.raises(KeyError):
        digest({})
    with pytest.raises(struct.error):
        digest(START | {"accel": 2**31})


# The table.


def test_limits_are_consistent_and_fit_the_wire() -> None:
    key, value = (dict(MESSAGES["set"].fields)[name] for name in ("key", "value"))
    assert isinstance(key, Number)
    assert isinstance(value, Number)
    assert [limit.key for limit in LIMITS] == list(range(1, len(LIMITS) + 1))
    assert len(LIMIT_BY_NAME) == len(LIMITS) <= key.high
    for limit in LIMITS:
        assert value.low <= limit.low <= limit.start <= limit.high <= value.high


def test_a_message_of_every_class_is_in_the_sizes() -> None:
    assert all(issubclass(spec.cls, Message) for spec in MESSAGES.values())
    assert len(LONGEST) == len(MESSAGES)
