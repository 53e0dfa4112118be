"""A host that speaks to a rig by lines of the wire alone: numbers commands, returns beats,
acknowledges events."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from benchd.calc.eye import thresholds
from benchd.config import BenchCard, bench_card, read_card
from protocols.errors import FrameError
from protocols.framing import LineDecoder, frame
from protocols.limits import LIMITS, digest
from protocols.messages import (
    Adopt,
    Beat,
    Bench,
    BoardMessage,
    Command,
    Event,
    HostMessage,
    Lease,
    No,
    Seen,
    Set,
    Yes,
    decode,
    encode,
)
from sim.faults import Faults
from sim.rig import QUANTUM_US, Rig
from sim.rig_spec import rig_spec

EXAMPLES = Path(__file__).parents[2] / "benchd" / "examples"
TICK_US = 5_000
M = TypeVar("M", bound=BoardMessage)


def example_card(name: str = "bench.yaml") -> BenchCard:
    """The bench card of the examples."""
    return bench_card(read_card(EXAMPLES / name), name)


class WireHost:
    """One rig and what was heard from its board, in order."""

    def __init__(
        self,
        *,
        seed: int = 1,
        faults: tuple[str, ...] = (),
        card: str = "bench.yaml",
        fidelity: str = "brisk",
        quantum_us: int = QUANTUM_US,
    ) -> None:
        self.card = example_card(card)
        self.rig = Rig(
            rig_spec(self.card),
            seed,
            Faults.parse(faults),
            fidelity=fidelity,
            quantum_us=quantum_us,
        )
        self.heard: list[BoardMessage] = []
        self.bad: list[FrameError] = []
        self.raw = bytearray()
        self.leasing = True
        self.tick_us = max(TICK_US, quantum_us)
        self.last_id = 0
        self.last_event = 0
        self._decoder = LineDecoder()
        self._queue: deque[bytes] = deque()

    def tick(self, time_us: int = 0) -> None:
        """Sends one waiting line, then lets the rig run for a moment."""
        if self._queue:
            self.rig.rx(self._queue.popleft())
        sent = self.rig.run_until(self.rig.t_us + (time_us or self.tick_us))
        self.raw += sent
        for item in self._decoder.feed(sent):
            if isinstance(item, FrameError):
                self.bad.append(item)
                continue
            message = decode(item)
            assert isinstance(message, BoardMessage), item
            self._take(message)

    def _take(self, message: BoardMessage) -> None:
        if isinstance(message, Event):
            if message.event <= self.last_event:
                return
            self.last_event = message.event
            self.say(Seen(message.event))
        elif isinstance(message, Beat) and self.leasing:
            self.say(Lease(message.nonce))
        elif isinstance(message, Bench):
            self.last_id = message.last_id
            self.last_event = 0
        self.heard.append(message)

    def say(self, message: HostMessage) -> None:
        """Queues a line."""
        self._queue.append(frame(encode(message)))

    def run(self, time_s: float) -> None:
        """Lets time pass."""
        end_us = self.rig.t_us + round(time_s * 1e6)
        while self.rig.t_us < end_us:
            self.tick(min(self.tick_us, end_us - self.rig.t_us))

    def wait(self, condition: Callable[[], bool], limit_s: float = 60.0) -> None:
        """Runs until the condition holds."""
        end_us = self.rig.t_us + round(limit_s * 1e6)
        while not condition():
            assert self.rig.t_us < end_us, f"not within {limit_s} s; last heard: {self.heard[-5:]}"
            self.tick()

    def next(self, kind: type[M], limit_s: float = 60.0) -> M:
        """Runs until a message of this kind comes."""
        start = len(self.heard)
        self.wait(lambda: any(isinstance(m, kind) for m in self.heard[start:]), limit_s)
        return next(m for m in self.heard[start:] if isinstance(m, kind))

    def ask(self, cls: type[Command], *values: int, beat: bool = False) -> Yes | No:
        """Sends a command, with the number of a beat just heard if asked, and awaits the answer."""
        tail = (self.next(Beat).nonce,) if beat else ()
        self.last_id += 1
        number = self.last_id
        start = len(self.heard)
        self.say(cls(number, *values, *tail))
        self.wait(lambda: self._answer(start, number) is not None, 1.0)
        answer = self._answer(start, number)
        assert answer is not None
        return answer

    def _answer(self, start: int, number: int) -> Yes | No | None:
        found = (m for m in self.heard[start:] if isinstance(m, Yes | No) and m.id == number)
        return next(found, None)

    def do(self, cls: type[Command], *values: int, beat: bool = False) -> None:
        """Sends a command that must be accepted."""
        answer = self.ask(cls, *values, beat=beat)
        assert isinstance(answer, Yes), answer

    def load(self, **instead: int) -> None:
        """Puts the card's limits in force, the eye taught."""
        limits = {**self.card.facts.limits, **instead}
        if "eye_on" not in instead:
            limits["eye_on"], limits["eye_off"] = thresholds(120, dough=640)
        for limit in LIMITS:
            self.do(Set, limit.key, limits[limit.name])
        self.do(Adopt, digest(limits))

    def since(self, start: int, kind: type[M]) -> list[M]:
        """Messages of one kind from that place in `heard`."""
        return [m for m in self.heard[start:] if isinstance(m, kind)]
