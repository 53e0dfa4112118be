"""One connection to an MQTT broker: made afresh for each try, sent over, given up in time.

aiomqtt's pitfalls that are met here: a client that failed to connect is not reused; its socket is
shut, which the library does not do; a task always reads, so that a lost connection is seen at once
and not at the next message; every message waits for the broker's word (QoS 1), since without it a
frozen broker seems to take everything.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import socket
import ssl
from types import TracebackType
from typing import NamedTuple

import aiomqtt

from benchd.config.broker import Broker

ANSWER_S_MAX = 5.0
"""Longest wait for a word of the broker."""

KEEPALIVE_S = 10
"""Without a word for half as long again, the broker takes us for gone and sends the will."""

PAUSE_S, PAUSE_S_MAX = 0.5, 30.0


class Trouble(Exception):
    """The broker cannot be used now; the text is one sentence for the person."""


class Message(NamedTuple):
    """One message: where to, what, and whether the broker keeps it for those who come later."""

    topic: str
    payload: bytes
    retain: bool


def pause_s(tries: int, chance: float) -> float:
    """Return the wait before the next try [s]: doubled each time, half of it by chance.

    Parameters: tries: failed tries before this one, from 0; chance: 0 to 1, so that many benches
    do not come back to a broker all at once.
    """
    whole_s = min(PAUSE_S * 2.0 ** min(tries, 16), PAUSE_S_MAX)
    return whole_s * (0.5 + chance / 2)


def password(broker: Broker) -> str | None:
    """Return the password, from the file or the environment; None where the card names neither.

    Read for each connection, so that a new one counts without a restart.
    Raises: Trouble when it is not there.
    """
    if broker.password_env:
        try:
            return os.environ[broker.password_env]
        except KeyError:
            raise Trouble(
                f"The environment has no '{broker.password_env}', which 'mqtt.password_env' of "
                "the bench card names; nothing goes out until the daemon is started with it."
            ) from None
    if broker.password_file:
        try:
            with open(os.path.expanduser(broker.password_file), encoding="utf-8") as file:
                return file.readline().rstrip("\r\n")
        except (OSError, UnicodeDecodeError) as error:
            reason = getattr(error, "strerror", None) or "it is no UTF-8 text"
            raise Trouble(
                f"The password file '{broker.password_file}' cannot be read ({reason}); nothing "
                "goes out until it can."
            ) from None
    return None


def tls(broker: Broker) -> ssl.SSLContext | None:
    """Return how the broker is made sure of; None without TLS.

    Raises: Trouble when the card's certificates cannot be read.
    """
    if not broker.tls:
        return None
    try:
        return ssl.create_default_context(cafile=os.path.expanduser(broker.ca_file) or None)
    except (OSError, ssl.SSLError) as error:
        reason = getattr(error, "strerror", None) or "it holds no certificate"
        raise Trouble(
            f"The certificates in '{broker.ca_file}' cannot be used ({reason}); nothing goes out "
            "until they can."
        ) from None


class Session:
    """A connection as a context manager; raises Trouble from anywhere when it cannot go on."""

    def __init__(self, broker: Broker, bench: str, will: Message) -> None:
        """Parameters: bench: names us to the broker; will: what it says when we are gone."""
        self._broker = broker
        self._client = aiomqtt.Client(
            broker.host,
            broker.port,
            # Always the same name: a connection that the broker still holds open is then ended,
            # and its will said, before we say that we are there.
            identifier=f"benchd-{bench}",
            username=broker.user or None,
            password=password(broker),
            tls_context=tls(broker),
            will=aiomqtt.Will(will.topic, will.payload, qos=1, retain=will.retain),
            timeout=ANSWER_S_MAX,
            keepalive=KEEPALIVE_S,
            logger=_silent_logger(),
        )
        self._reader: asyncio.Task[None] | None = None

    async def __aenter__(self) -> Session:
        try:
            await self._client.__aenter__()
        except aiomqtt.MqttError as error:
            self._shut()
            raise Trouble(sentence(self._broker, error)) from None
        self._reader = asyncio.create_task(self._read(), name="broker's word")
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._reader is not None:
            self._reader.cancel()
            await asyncio.wait([self._reader])
        if kind is None:
            with contextlib.suppress(aiomqtt.MqttError):
                await self._client.__aexit__(None, None, None)
        self._shut()

    async def publish(self, message: Message) -> None:
        """Send a message and wait until the broker has it."""
        sending = self._client.publish(message.topic, message.payload, qos=1, retain=message.retain)
        await self._unless_lost(asyncio.create_task(sending, name="message"))

    async def wait_for(self, event: asyncio.Event) -> None:
        """Wait for an event of our own while the connection holds."""
        if not event.is_set():
            await self._unless_lost(asyncio.create_task(event.wait(), name="wait"))

    async def _unless_lost(self, task: asyncio.Task[None] | asyncio.Task[bool]) -> None:
        assert self._reader is not None
        try:
            await asyncio.wait([task, self._reader], return_when=asyncio.FIRST_COMPLETED)
            if not task.done():
                await self._reader
            await task
        except aiomqtt.MqttError as error:
            raise Trouble(sentence(self._broker, error)) from None
        finally:
            task.cancel()

    async def _read(self) -> None:
        """Read for ever. Nothing was subscribed to, so nothing comes; what comes is dropped."""
        async for _ in self._client.messages:
            pass

    def _shut(self) -> None:
        """Shut the socket of a connection that was given up; the library then lets go of it."""
        connection = self._client._client.socket()
        if isinstance(connection, socket.socket):
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)


def _silent_logger() -> logging.Logger:
    """A logger that says nothing: trouble is told as sentences, and nothing else may leak."""
    logger = logging.getLogger("benchd.mqtt")
    logger.propagate = False
    logger.setLevel(logging.CRITICAL + 1)
    return logger


SAYINGS: tuple[tuple[str, str], ...] = (
    ("Not authorized", "refuses this user or password; look at 'mqtt' in the bench card"),
    ("Bad user name", "refuses this user or password; look at 'mqtt' in the bench card"),
    ("timed out", "does not answer"),
    ("CERTIFICATE_VERIFY_FAILED", "has a certificate that is not trusted; look at 'mqtt.ca_file'"),
    ("WRONG_VERSION_NUMBER", "speaks no TLS on this port; look at 'mqtt.port' and 'mqtt.tls'"),
    ("Connection refused", "is not running, or refuses connections on this port"),
    ("Name or service not known", "has a name that nobody knows; look at 'mqtt.broker'"),
    ("Temporary failure in name", "has a name that cannot be looked up now"),
)
"""What errors of the library say, and how it is said to a person."""


def sentence(broker: Broker, error: Exception) -> str:
    """Return what is wrong with a connection, for a person."""
    text = " ".join(str(error).split())
    said = next((saying for mark, saying in SAYINGS if mark in text), f"is lost ({text})")
    return (
        f"The broker {broker.host}, port {broker.port}, {said}. The bench goes on without it, and "
        "it is tried again by itself."
    )
