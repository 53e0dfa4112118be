"""A whole bench in virtual time: the daemon's `App`, a rig, a wire and a journal, driven by one
loop without event loop, disk or wall clock.

What happens follows from the arguments alone: the same seed and the same doings give the same
journal, to the bit.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from benchd.app import App
from benchd.config import BenchCard, CardError, dough
from benchd.core import inputs, ledger
from benchd.io.journal_format import Entry, JournalError, meta_line, row_lines
from benchd.io.memory_store import MemoryStore
from protocols.requests import QUESTION, REFUSED
from sim.faults import Faults
from sim.link import LinkFaults, Way
from sim.rig import Rig
from sim.rig_spec import RigSpec, rig_spec

START_WALL_US = 1_800_000_000_000_000
"""Time of day at which a world begins, UTC [us since 1970]."""

START_NS = 1_000_000_000_000
"""The daemon's clock at that moment [ns]."""

ASK_LIMIT_S = 600.0
"""Longest wait for a reply [s of virtual time]."""

QUANTUM_US = 20_000
"""Longest slice of the rig [us]: the plant's own step, since speed matters here. Edges of outputs,
lines and end switches end a slice early."""

WALL_CLOCK_US = 60_000_000
JOURNAL_AGAIN_US = 5_000_000
PORT = "sim"


@dataclass(frozen=True)
class Disk:
    """How long a commit takes [us]: at most after the first entry, and after an urgent one."""

    commit_us: int = 50_000
    urgent_us: int = 2_000


@dataclass(frozen=True)
class Reply:
    """What came back for a request; refused: code, message and data of a refusal are given."""

    result: dict[str, Any]
    refused: bool = False
    code: int = 0
    message: str = ""

    @property
    def is_question(self) -> bool:
        """Whether the same request with confirmed true would be taken."""
        return self.code == QUESTION


class Refused(Exception):
    """A request was refused; its text is the sentence, `reply` the whole."""

    def __init__(self, reply: Reply) -> None:
        super().__init__(reply.message)
        self.reply = reply


class NotInTime(Exception):
    """What was waited for did not come within the time given."""


@dataclass(frozen=True)
class Doing:
    """One line of a script: when, and what.

    when: seconds since the script began, or a condition that is looked at again and again. do:
    what to do with the world then; `request` makes one of a request.
    """

    when: float | Callable[[World], bool]
    do: Callable[[World], object]


def request(method: str, **params: Any) -> Callable[[World], object]:
    """Return a doing that sends a request and does not wait for its reply."""
    return lambda world: world.send(method, **params)


class World:
    """One bench and its daemon, from the first start on.

    Arguments: card: the bench card. seed: of all chance. faults: of the bench, by portion.
    link_faults: of the wire. disk: of the journal. carry: what an earlier life of the daemon left.
    spec: the simulated bench where it is not to be the card's.
    """

    def __init__(
        self,
        card: BenchCard,
        seed: int,
        *,
        faults: Faults | None = None,
        link_faults: LinkFaults | None = None,
        disk: Disk | None = None,
        carry: inputs.Carry | None = None,
        spec: RigSpec | None = None,
    ) -> None:
        chance = random.Random(seed)
        self.card = card
        self.rig = Rig(
            spec or rig_spec(card), chance.getrandbits(64), faults, quantum_us=QUANTUM_US
        )
        self._link_faults = link_faults or LinkFaults()
        self._disk = disk or Disk()
        self._to_board = Way(self._link_faults, random.Random(chance.getrandbits(64)))
        self._to_host = Way(self._link_faults, random.Random(chance.getrandbits(64)))
        self._plug_rng = random.Random(chance.getrandbits(64))
        self._plugged = False
        self._plug_due_us: int | None = None
        self._wall_due_us = WALL_CLOCK_US
        self._commit_due_us: int | None = None
        self._reopen_due_us: int | None = None
        self.disk_broken = False
        """While set, no new journal can be made."""
        self.stores: list[MemoryStore] = []
        self.published: list[tuple[int, str, dict[str, Any]]] = []
        """(rig time [us], topic, data) of everything told to watchers."""
        self._replies: dict[int, Reply] = {}
        self._asks = 0
        self.app = App(
            card.facts,
            carry or inputs.Carry(),
            wall_us=START_WALL_US,
            now_ns=START_NS,
            write=self._write,
            make_store=self._make_store,
            clients=self,
        )
        self.plug()
        self._plan_unplug()

    @property
    def t_us(self) -> int:
        """Time since the world began [us]."""
        return self.rig.t_us

    @property
    def now_ns(self) -> int:
        """The daemon's clock [ns]."""
        return START_NS + self.rig.t_us * 1000

    # What tests and operators do.

    def ask(self, method: str, *, limit_s: float = ASK_LIMIT_S, **params: Any) -> dict[str, Any]:
        """Send a request and run until its reply comes; return the result.

        Raises Refused, and NotInTime when there is no reply within limit_s [s of virtual time].
        """
        number = self.send(method, **params)
        self.run_while(lambda _: number not in self._replies, limit_s=limit_s)
        reply = self._replies[number]
        if reply.refused:
            raise Refused(reply)
        return reply.result

    def send(self, method: str, *, client: int = 1, **params: Any) -> int:
        """Send a request and return its number, under which `reply_to` finds the reply."""
        self._asks += 1
        number = self._asks
        card = None
        if isinstance(params.get("dough"), str):
            try:
                card = dough(params["dough"], "dough card", self.app.state.facts)
            except CardError as error:
                self._replies[number] = Reply({"condition": "card"}, True, REFUSED, str(error))
                return number
        self.app.on_request(client, number, method, params, card, self.now_ns)
        return number

    def reply_to(self, number: int) -> Reply | None:
        """Return the reply to a request, None while there is none."""
        return self._replies.get(number)

    def play(self, script: Iterable[Doing], *, limit_s: float = ASK_LIMIT_S) -> None:
        """Do each line of a script in turn, as soon as its time or condition has come.

        Raises NotInTime when a condition does not come true within limit_s [s].
        """
        start_us = self.t_us
        for doing in script:
            when = doing.when
            if isinstance(when, int | float):
                self.run_until(start_us + round(when * 1e6))
            else:
                self.run_while(_not(when), limit_s=limit_s)
            doing.do(self)

    def run_for(self, time_s: float) -> None:
        """Let this time pass [s]."""
        self.run_until(self.t_us + round(time_s * 1e6))

    def run_while(self, condition: Callable[[World], bool], *, limit_s: float) -> None:
        """Run as long as a condition holds. Raises NotInTime when it still does after limit_s."""
        end_us = self.t_us + round(limit_s * 1e6)
        while condition(self):
            if self.t_us >= end_us:
                raise NotInTime(f"It took more than {limit_s:g} s of virtual time.")
            self._go_on(end_us)

    def run_until(self, t_us: int) -> None:
        """Let time pass until t_us [us]."""
        while self.t_us < t_us:
            self._go_on(t_us)

    def plug(self) -> None:
        """Put the cable in; the daemon finds the port at once."""
        if not self._plugged:
            self._plugged = True
            self.app.on_link_up(PORT, self.now_ns)

    def unplug(self, why: str = "the cable was pulled out") -> None:
        """Pull the cable out; what is on the way is lost, and the board runs on."""
        if self._plugged:
            self._plugged = False
            self._to_board.cut()
            self._to_host.cut()
            self.app.on_link_down(why, self.now_ns)

    def stand_still(self, time_s: float) -> None:
        """The daemon's machine sleeps for so long [s]: what comes waits, and the board runs on."""
        end_us = self.t_us + round(time_s * 1e6)
        while self.t_us < end_us:
            self._give_board()
            self._run_board(min(end_us, self.t_us + QUANTUM_US))
        self.app.on_stood(time_s, self.now_ns)
        self._do_due()

    def set_link(self, faults: LinkFaults) -> None:
        """From now on the wire is like this."""
        self._link_faults = self._to_board.faults = self._to_host.faults = faults
        self._plug_due_us = None
        self.plug()
        self._plan_unplug()

    def settle(self) -> None:
        """Commit at once what waits for it."""
        self._commit_due_us = None
        self.stores[-1].settle()

    def break_disk(self, why: str = "The disk is full: make room, then it goes on.") -> None:
        """Let the journal fail, and every new one too until `mend_disk`."""
        self.disk_broken = True
        self.stores[-1].fail(why)

    def mend_disk(self) -> None:
        """Let the next journal be made; the daemon tries again by itself."""
        self.disk_broken = False

    # What tests look at.

    def entries(self) -> list[Entry]:
        """Return everything committed so far, all journals in order."""
        return [entry for store in self.stores for entry in store.entries]

    def canonical(self) -> bytes:
        """Return the canonical export of all journals so far."""
        return b"".join(meta_line(store.meta) + row_lines(store.rows) for store in self.stores)

    def head(self) -> str:
        """Return the hash over all that the newest journal has committed."""
        return self.stores[-1].head()

    def records(self, topic: str) -> list[dict[str, Any]]:
        """Return what was told to watchers under one topic, in order."""
        return [data for _, told, data in self.published if told == topic]

    # The loop.

    def _go_on(self, end_us: int) -> None:
        """Run to the next moment at which something happens, at most to end_us."""
        due = (
            self._to_board.due_us,
            self._to_host.due_us,
            self._commit_due_us,
            self._reopen_due_us,
            self._plug_due_us,
            self._wall_due_us,
            # Rounded up, so that the wake is due when it comes.
            -((START_NS - self.app.next_wake_ns) // 1000),
        )
        next_us = min(at_us for at_us in (*due, end_us) if at_us is not None)
        self._run_board(max(next_us, self.t_us + 1))
        self._do_due()

    def _run_board(self, end_us: int) -> None:
        """Let the board run to its next output, at most to end_us, and put that on the wire."""
        sent = self.rig.run_until(end_us, until_output=True)
        if sent and self._plugged:
            self._to_host.send(sent, self.t_us)

    def _give_board(self) -> None:
        """Give the board what the wire brings it by now."""
        came = self._to_board.arrive(self.t_us)
        if came:
            self.rig.rx(came)

    def _do_due(self) -> None:
        self._give_board()
        came = self._to_host.arrive(self.t_us)
        if came:
            self.app.on_bytes(came, self.now_ns)
        if self._is_due(self._commit_due_us):
            self.settle()
        if self._is_due(self._reopen_due_us):
            self._reopen()
        if self._is_due(self._plug_due_us):
            self._pull_or_put_in()
        if self._is_due(self._wall_due_us):
            self._wall_due_us += WALL_CLOCK_US
            self.app.tell(inputs.WallClock(self._wall_us()), self.now_ns)
        if self.app.next_wake_ns <= self.now_ns:
            self.app.on_wake(self.now_ns)

    def _is_due(self, at_us: int | None) -> bool:
        return at_us is not None and at_us <= self.t_us

    def _wall_us(self) -> int:
        return START_WALL_US + self.rig.t_us

    # The wire.

    def _write(self, data: bytes, urgent: bool) -> None:
        if self._plugged:
            self._to_board.send(data, self.t_us)

    def _plan_unplug(self) -> None:
        mean_s = self._link_faults.unplug_every_s
        if mean_s > 0.0:
            self._plug_due_us = self.t_us + round(self._plug_rng.expovariate(1.0 / mean_s) * 1e6)

    def _pull_or_put_in(self) -> None:
        if self._plugged:
            self.unplug()
            pause_s = self._plug_rng.uniform(*self._link_faults.unplugged_s)
            self._plug_due_us = self.t_us + round(pause_s * 1e6)
        else:
            self.plug()
            self._plan_unplug()

    # The journal.

    def _make_store(self, meta: dict[str, str]) -> MemoryStore:
        if self.disk_broken:
            raise JournalError("The disk is still broken.")
        store = _Store(self, meta)
        self.stores.append(store)
        return store

    def appended(self, urgent: bool) -> None:
        """An entry waits for its commit; for the store."""
        due_us = self.t_us + (self._disk.urgent_us if urgent else self._disk.commit_us)
        if self._commit_due_us is None or due_us < self._commit_due_us:
            self._commit_due_us = due_us

    def committed(self, n: int) -> None:
        """Entries up to n are safe; for the store."""
        self.app.on_committed(n, self.now_ns)

    def failed(self, why: str) -> None:
        """The journal failed; for the store."""
        self._commit_due_us = None
        self._reopen_due_us = self.t_us + JOURNAL_AGAIN_US
        self.app.on_journal_fault(why, self.now_ns)

    def _reopen(self) -> None:
        self._reopen_due_us = None
        try:
            self.app.reopen_journal(self.now_ns)
        except JournalError:
            self._reopen_due_us = self.t_us + JOURNAL_AGAIN_US

    # The app's clients.

    def reply(self, client: int, ask: int, result: dict[str, Any]) -> None:
        """Take a reply; for the app."""
        self._replies[ask] = Reply(result)

    def refuse(self, client: int, ask: int, code: int, message: str, data: dict[str, Any]) -> None:
        """Take a refusal; for the app."""
        self._replies[ask] = Reply(data, True, code, message)

    def publish(self, topic: str, data: dict[str, Any]) -> None:
        """Take news for watchers; for the app."""
        self.published.append((self.t_us, topic, data))


class _Store(MemoryStore):
    """A journal in memory that the world commits when its disk would have."""

    def __init__(self, world: World, meta: dict[str, str]) -> None:
        super().__init__(
            meta=meta,
            views=ledger.views(),
            wall_us=world._wall_us,
            on_committed=world.committed,
            on_fault=world.failed,
        )
        self._world = world

    def append(self, entries: Iterable[Entry], urgent: bool = False, resting: bool = False) -> int:
        number = super().append(entries, urgent, resting)
        self._world.appended(urgent)
        return number


def _not(condition: Callable[[World], bool]) -> Callable[[World], bool]:
    return lambda world: not condition(world)
