"""Asking who is at the other end of a port, without a daemon: open, greet, close."""

from __future__ import annotations

import asyncio

from benchd.core.first_contact import FirstContact
from benchd.io.clock import boottime_ns
from benchd.io.serial_link import LinkError, open_link
from protocols.messages import Bench
from protocols.session import Session

_LOOK_S = 0.1


def greeting_of(port: str, baud: int, patience_s: float) -> Bench:
    """Return the greeting of the board on a port, waited for as long as this [s].

    Asks for nothing else, and nothing moves.
    Raises: LinkError with one sentence when the port cannot be used, or no board of ours greets.
    """
    return asyncio.run(_ask(port, baud, patience_s))


async def _ask(port: str, baud: int, patience_s: float) -> Bench:
    greeted: asyncio.Future[Bench] = asyncio.get_running_loop().create_future()
    session = Session()
    opened_ns = boottime_ns()
    contact = FirstContact(port, baud, opened_ns)

    def on_bytes(data: bytes, t_ns: int) -> None:
        contact.hear(data)
        session.receive(data, t_ns)
        if session.greeting is not None and not greeted.done():
            greeted.set_result(session.greeting)

    def on_closed(sentence: str) -> None:
        if not greeted.done():
            greeted.set_exception(LinkError(sentence))

    link = open_link(port, baud, on_bytes=on_bytes, on_closed=on_closed)
    try:
        while (now_ns := boottime_ns()) < opened_ns + patience_s * 1e9:
            lines = session.outgoing(now_ns)
            if lines:
                link.write(lines)
            done, _ = await asyncio.wait((greeted,), timeout=_LOOK_S)
            if done:
                return greeted.result()
    finally:
        link.close()
    raise LinkError(contact.look(boottime_ns()))
