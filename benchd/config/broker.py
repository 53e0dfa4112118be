"""The part of a bench card about the MQTT broker: where it is, and where its password is kept.

The password itself is never read here: this is part of what ends in journals and messages.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from benchd.config.keys import Value, as_number

PORT = 1883
PORT_TLS = 8883
"""The registered ports of MQTT, without and with TLS (IANA service name registry)."""


class Broker(NamedTuple):
    """A broker as a bench card names it. Texts are empty where the card says nothing."""

    host: str
    port: int
    topic: str
    user: str
    password_file: str
    password_env: str
    tls: bool
    ca_file: str
    every_s: float
    """Time between two state messages [s]."""
    keep: int
    """Most records that wait for a broker that is away."""


def broker_of(values: Mapping[str, Value]) -> Broker | None:
    """Return the broker of a checked bench card's values; None where it names none."""
    if "mqtt.broker" not in values:
        return None
    tls = bool(values["mqtt.tls"])
    return Broker(
        host=str(values["mqtt.broker"]),
        port=int(as_number(values.get("mqtt.port", PORT_TLS if tls else PORT))),
        topic=str(values["mqtt.topic"]),
        user=str(values.get("mqtt.user", "")),
        password_file=str(values.get("mqtt.password_file", "")),
        password_env=str(values.get("mqtt.password_env", "")),
        tls=tls,
        ca_file=str(values.get("mqtt.ca_file", "")),
        every_s=as_number(values["mqtt.every"]),
        keep=int(as_number(values["mqtt.keep"])),
    )
