"""How much faster than the bench the plant runs, with the firmware's own core in the loop."""

from __future__ import annotations

import time

from tests.sim.test_rig import make, prime, wake
from tests.sim.wire_host import WireHost

PORTIONS = 14
QUANTUM_US = {"brisk": 20_000, "physical": 20_000}
"""Slice of the rig [us]."""


def seconds_per_second(fidelity: str) -> float:
    """Simulated seconds a second of one core while portions are made; the test's own host, which
    speaks to the board, is not counted."""
    host = WireHost(seed=1, fidelity=fidelity, quantum_us=QUANTUM_US[fidelity])
    wake(host)
    prime(host)
    run_until, spent_s = host.rig.run_until, 0.0

    def timed(t_us: int) -> bytes:
        nonlocal spent_s
        start_s = time.process_time()
        sent = run_until(t_us)
        spent_s += time.process_time() - start_s
        return sent

    host.rig.run_until = timed  # type: ignore[method-assign,assignment]
    began_us = host.rig.t_us
    for number in range(1, PORTIONS + 1):
        make(host, number)
    return (host.rig.t_us - began_us) * 1e-6 / spent_s
