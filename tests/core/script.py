"""The core driven by hand: inputs at virtual times, beside the stand-in board."""

from __future__ import annotations

from typing import Any, cast

import msgspec

from benchd.core.effects import Answer, Effect, Record, Refuse, Renew, Send, StopNow
from benchd.core.engine import first_state, step
from benchd.core.facts import BenchFacts, Dough, Watch
from benchd.core.inputs import Asked, Carry, Gone, Input, LinkUp, Opened, Proof, Tube, Wake
from benchd.core.ledger import read_carry
from protocols.limits import FITTED_BITS, GROUPS, LIMITS, group_digest
from protocols.messages import BoardMessage
from tests.core.standin import MS, StandIn

S = 1_000_000_000
START_NS = 1_000 * S
WALL_US = 1_700_000_000_000_000
PERSON, OTHER = 1, 2
"""Two clients."""

MASA = Dough("masa", 0.030, 1150.0, 0.013, 0.002, 0.010, 0.002, 0.3)
"""A portion that takes about 3 s."""


def bench(*fitted: str, watch: Watch | None = None, **limits: int) -> BenchFacts:
    """A bench card's facts: 800 steps a millimetre, 200 mm of travel, 10 mm of heel."""
    values = {limit.name: limit.start for limit in LIMITS}
    values |= {"travel_max": 152_000, "eye_on": 594, "eye_off": 476}
    values |= {"fitted": sum(1 << FITTED_BITS[part] for part in fitted)} | limits
    return BenchFacts(
        name="bench",
        limits=values,
        steps_per_m=800_000.0,
        bore_m=0.05,
        nozzle_bore_m=0.024,
        fitted=tuple(sorted(fitted)),
        travel_m=0.2,
        heel_m=0.01,
        jog_speed_m_s=0.002,
        prime_speed_m_s=0.002,
        approach_m=0.05,
        relieve_m=0.01,
        watch=watch or Watch(),
        digests={group: group_digest(values, group) for group in GROUPS},
        text="bench: bench\n",
    )


ALL = ("guard", "stop", "home", "far", "ends", "eye", "thrust", "air", "supply", "local", "button")


def proven(facts: BenchFacts, *, build: str = "abc1234", tube: bool = True, **more: Any) -> Carry:
    """What a bench carries over that was proven yesterday, with a tube in."""
    proof = Proof("the fitter", WALL_US - 86_400_000_000, dict(facts.digests), build)
    return Carry(proof=proof, tube=Tube("T1", primed=True) if tube else None, **more)


class Script:
    """State, effects and stand-in board of one story.

    `done` are all effects so far, `new` those of the last step, `wake_ns` what the core asked for.
    """

    def __init__(self, facts: BenchFacts | None = None, carry: Carry | None = None) -> None:
        self.facts = facts or bench(*ALL)
        self.now_ns = START_NS
        self.state = first_state(self.facts)
        self.board = StandIn(self.facts, now_ns=START_NS)
        self.done: list[Effect] = []
        self.new: list[Effect] = []
        self.wakes = self.repeated_ns = 0
        self.asks = 0
        self.greeted = 0
        carry = proven(self.facts) if carry is None else carry
        self.tell(Opened(self.facts, carry, WALL_US))

    def tell(self, given: Input | BoardMessage) -> list[Effect]:
        """One step; commands, leases and stops reach the board."""
        self.state, self.new, self.wake_ns = step(self.state, given, self.now_ns)
        self.done += self.new
        for effect in self.new:
            if isinstance(effect, Send):
                self.board.take(effect.line, self.now_ns)
            elif isinstance(effect, StopNow):
                self.board.stop(effect.level, self.now_ns)
            elif isinstance(effect, Renew):
                self.board.renew(effect.nonce, self.now_ns)
        return self.new

    def run(self, seconds: float) -> Script:
        """Let virtual time pass: the board speaks, the core is woken when it asked to be."""
        end_ns = self.now_ns + round(seconds * S)
        while True:
            t_ns = min(self.board.next_ns, max(self.wake_ns, self.now_ns))
            if t_ns > end_ns:
                break
            self.now_ns = max(t_ns, self.now_ns)
            self._repeat()
            for message in self.board.said(self.now_ns):
                self.tell(message)
            if self.now_ns >= self.wake_ns:
                self.wakes += 1
                self.tell(Wake())
        self.now_ns = end_ns
        return self

    def _repeat(self) -> None:
        """What the link does with a command whose answer was lost: the board answers again."""
        pending = self.state.pending
        if pending is not None and self.now_ns - self.repeated_ns >= 250 * MS:
            if self.now_ns - pending.sent_ns >= 250 * MS:
                self.repeated_ns = self.now_ns
                self.board.say_again(self.now_ns)

    def ask(
        self, method: str, *, client: int = PERSON, dough: Dough | None = None, **params: Any
    ) -> int:
        """A request of a client; its number."""
        self.asks += 1
        if method in ("portion", "series"):
            dough = dough or MASA
            params = {"dough": "masa", **params}
        self.tell(Asked(client, self.asks, method, params, dough))
        return self.asks

    def gone(self, client: int = PERSON) -> None:
        """A client's connection closes."""
        self.tell(Gone(client))

    def reply(self, ask: int) -> Answer | Refuse | None:
        """What came of a request; None while nothing did. Never two."""
        replies = [e for e in self.done if isinstance(e, Answer | Refuse) and e.ask == ask]
        assert len(replies) <= 1
        return replies[0] if replies else None

    def result(self, ask: int) -> dict[str, Any]:
        """The answer to a request that must have been answered."""
        reply = self.reply(ask)
        assert isinstance(reply, Answer), reply
        return reply.result

    def refused(self, ask: int) -> Refuse:
        """The refusal of a request that must have been refused."""
        reply = self.reply(ask)
        assert isinstance(reply, Refuse), reply
        return reply

    def records(self, kind: str) -> list[dict[str, Any]]:
        """The data of every record of a kind so far."""
        return [e.data for e in self.done if isinstance(e, Record) and e.kind == kind]

    def carried(self) -> Carry:
        """What the next run of the daemon takes over, by the records so far."""
        carry = Carry()
        for data in self.records("carry"):
            carry = read_carry(carry, msgspec.json.encode(data).decode())
        return carry

    def sent(self, *tags: str) -> list[list[str]]:
        """The words of every command sent so far, of these tags or of all."""
        lines = [e.line.split() for e in self.done if isinstance(e, Send)]
        return [words for words in lines if not tags or words[0] in tags]

    def stops(self) -> list[int]:
        """The levels of every stop sent so far, but for the one that each greeting gets."""
        return [e.level for e in self.done if isinstance(e, StopNow)][self.greeted :]

    # Common beginnings.

    def connect(self) -> Script:
        """The port opens, the board greets and takes the card."""
        self.tell(LinkUp("/dev/bench"))
        self.tell(self.board.greeting(self.now_ns))
        self.greeted += 1
        return self.run(0.5)

    def ready(self, at_m: float = 0.0) -> Script:
        """Connected, cleared, position said, dry stroke made: everything may begin."""
        self.connect()
        self.prove(20)
        self.must("here", position_m=at_m)
        self.must("arm")
        return self.must("fire")

    def must(self, method: str, seconds: float = 3.0, **more: Any) -> Script:
        """Ask, let time pass, and insist on an answer."""
        ask = self.ask(method, **more)
        self.run(seconds)
        self.result(ask)
        return self

    def prove(self, interlock: int, **more: Any) -> Script:
        """Clear an interlock with the words it asks for."""
        ask = self.ask("proofs", interlock=interlock)
        words = [row["word"] for row in self.result(ask)["statements"]]
        return self.must("clear", interlock=interlock, name="the fitter", words=words, **more)

    @property
    def work(self) -> Any:
        """The portion under way; must be there."""
        return cast(Any, self.state.work)


__all__ = ["ALL", "MASA", "MS", "OTHER", "PERSON", "S", "Script", "bench", "proven"]
