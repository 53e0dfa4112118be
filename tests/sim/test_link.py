"""The simulated wire: order and latency kept, damage only as told."""

from __future__ import annotations

import random

from sim.link import LinkFaults, Way

LINES = [b"lease %d 0000\n" % number for number in range(400)]


def carried(faults: LinkFaults, seed: int) -> list[tuple[int, bytes]]:
    """Every line sent 1 ms after the last, and what arrived when."""
    way = Way(faults, random.Random(seed))
    came = []
    for t_us in range(0, 1_000_000, 100):
        if t_us % 1000 == 0 and t_us // 1000 < len(LINES):
            way.send(LINES[t_us // 1000], t_us)
        data = way.arrive(t_us)
        if data:
            came.append((t_us, data))
    assert way.due_us is None
    return came


def test_a_sound_wire_brings_all_in_order_and_in_time(seed: int) -> None:
    came = carried(LinkFaults(latency_us=(500, 3_000)), seed)
    assert b"".join(data for _, data in came) == b"".join(LINES)
    place = 0
    for t_us, data in came:
        for _ in data.splitlines():
            late_us = t_us - 1000 * place
            # Looked at every 100 us; a line never overtakes one that is still on its way.
            assert 500 <= late_us <= 3_100, (place, late_us)
            place += 1


def test_each_kind_of_damage_is_its_own(seed: int) -> None:
    whole = b"".join(LINES)
    lost = b"".join(data for _, data in carried(LinkFaults(drop=0.05), seed))
    assert 0.9 < len(lost) / len(whole) < 0.99
    flipped = b"".join(data for _, data in carried(LinkFaults(flip=0.05), seed))
    wrong = [a ^ b for a, b in zip(flipped, whole, strict=True) if a != b]
    assert 0.03 < len(wrong) / len(whole) < 0.07
    assert all(bits.bit_count() == 1 for bits in wrong)
    twice = b"".join(data for _, data in carried(LinkFaults(duplicate=1.0), seed))
    assert twice == b"".join(line + line for line in LINES)
    noisy = b"".join(data for _, data in carried(LinkFaults(noise=1.0), seed))
    assert len(LINES) <= len(noisy) - len(whole) <= 80 * len(LINES)


def test_a_cut_loses_what_is_on_the_way() -> None:
    way = Way(LinkFaults(), random.Random(1))
    way.send(b"stop 0\n", 0)
    way.cut()
    assert way.due_us is None
    assert way.arrive(10_000_000) == b""
