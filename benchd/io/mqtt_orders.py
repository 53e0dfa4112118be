"""What the daemon tells its MQTT process, and what it hears back: one JSON line each.

To the process: `Orders` first, then a BenchStatus now and then, `END` for a clean end. Back from
it: a BrokerStatus whenever that changed. There is no other word, so nothing that a broker says
can reach the bench.
"""

from __future__ import annotations

import msgspec

from benchd.config.broker import Broker

END = b'"end"\n'
"""The daemon ends in good order. A pipe that closes without it is a daemon that was killed."""

GOODBYE_S_MAX = 1.0
"""Longest time for taking leave of a broker."""


class Orders(msgspec.Struct, frozen=True):
    """What the process is started with: the broker, the bench's name as a file, its journals."""

    broker: Broker
    bench: str
    folder: str
