"""The card's part about the broker: what it says, what it may leave out, what it must not hold."""

from __future__ import annotations

import pytest

from benchd.config import CardError, bench_card
from benchd.config.broker import Broker, broker_of


def card(text: str, mqtt: str) -> str:
    lines = "".join(f"  {line.strip()}\n" for line in mqtt.split("\n"))
    return f"{text}\nmqtt:\n{lines}"


def test_a_card_without_a_broker_has_none(bench_text: str) -> None:
    assert broker_of(bench_card(bench_text, "b.yaml").values) is None


def test_a_broker_alone_takes_the_rest_from_the_table(bench_text: str) -> None:
    values = bench_card(card(bench_text, "broker: broker.local"), "b.yaml").values
    expected = Broker("broker.local", 1883, "benchd", "", "", "", False, "", 1.0, 1000)
    assert broker_of(values) == expected


def test_everything_a_card_can_say(bench_text: str) -> None:
    text = """broker: 10.0.0.7
        port: 1234
        topic: kitchen/benches
        user: bench
        password_file: /etc/benchd/password
        tls: yes
        ca_file: ca.pem
        every: 500 ms
        keep: 50"""
    values = bench_card(card(bench_text, text), "b.yaml").values
    assert broker_of(values) == Broker(
        "10.0.0.7", 1234, "kitchen/benches", "bench", "/etc/benchd/password", "", True, "ca.pem",
        0.5, 50,
    )  # fmt: skip


def test_tls_has_a_port_of_its_own(bench_text: str) -> None:
    values = bench_card(card(bench_text, "broker: b\ntls: yes"), "b.yaml").values
    broker = broker_of(values)
    assert broker is not None
    assert broker.port == 8883  # IANA: secure-mqtt.


@pytest.mark.parametrize("host", ["b", "broker.local", "192.168.1.4", "::1", "fd00::12:3"])
def test_hosts_that_are_taken(bench_text: str, host: str) -> None:
    broker = broker_of(bench_card(card(bench_text, f"broker: '{host}'"), "b.yaml").values)
    assert broker is not None
    assert broker.host == host


WRONG = {
    "broker: bench:hunter2@host": "host name or an address alone",
    "broker: mqtt://host": "host name or an address alone",
    "broker: host:1883": "host name or an address alone",
    "broker: host\ntopic: benchd/#": "made of letters",
    "broker: host\ntopic: /benchd": "made of letters",
    "broker: host\nuser: u\npassword_file: f\npassword_env: E": "two passwords",
    "broker: host\npassword_file: f": "no use without 'mqtt.user'",
    "broker: host\nca_file: f": "no use without TLS",
    "user: u": "no use without 'mqtt.broker'",
    "broker: host\npassword: hunter2": "nearest is 'mqtt.password_",
    "broker: host\nevery: 100 ms": "outside what is possible",
}


@pytest.mark.parametrize("text", WRONG)
def test_each_mistake_is_a_sentence_that_tells_no_secret(bench_text: str, text: str) -> None:
    with pytest.raises(CardError) as caught:
        bench_card(card(bench_text, text), "b.yaml")
    (sentence,) = caught.value.sentences
    assert WRONG[text] in sentence
    assert "hunter2" not in sentence
