"""The daemon without its event loop: link, core and journal joined, each given from outside.

`App` is told what happened (bytes came, a request came, a commit is safe, time passed) and does
what the core decided. It owns
no clock, no thread and no socket, so the same code serves a real bench and a simulated day in
virtual time.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Any, Protocol

import msgspec

from benchd.core import first_contact, inputs, ledger, snapshot
from benchd.core.effects import Answer, Effect, Record, Refuse, Renew, Send, StopNow
from benchd.core.engine import CORE_VERSION, first_state, step
from benchd.core.facts import BenchFacts, Dough
from benchd.core.first_contact import FirstContact
from benchd.core.short_way import IDLE_MODES
from benchd.io.journal_format import Entry, Store
from protocols import messages, session
from protocols.limits import PROTOCOL
from protocols.messages import Beat, BoardMessage, Command, Event, Lease, Sample, Seen, Stop
from protocols.requests import QUESTION, REFUSED
from protocols.status import BenchStatus

URGENT_CODES = frozenset({messages.Trip.code, messages.Ended.code, messages.Moved.code})
GOES_ON = "The journal before this one stopped; what it could not take follows."
NEEDS_RECORD = frozenset({"weigh", "weigh_many", "unweigh", "note", "set", "tube_in"})
"""Requests that are nothing but an entry in the journal: without one they have failed."""


class Clients(Protocol):
    """Where replies and news for clients go."""

    def reply(self, client: int, ask: int, result: dict[str, Any]) -> None:
        """Answer a request."""

    def refuse(self, client: int, ask: int, code: int, message: str, data: dict[str, Any]) -> None:
        """Refuse a request."""

    def publish(self, topic: str, data: dict[str, Any]) -> None:
        """Tell every watcher."""


def meta_of(facts: BenchFacts, *, previous_head: str, state_json: str) -> dict[str, str]:
    """Return what a journal opens with: versions, the card, the state, the head of the file
    before."""
    return {
        "bench": facts.name,
        "core_version": str(CORE_VERSION),
        "protocol": str(PROTOCOL),
        "card": facts.text,
        "state": state_json,
        "previous_head": previous_head,
    }


def _as_text(entry: Entry) -> Entry:
    """Return an entry that an earlier file could not take as a line of text."""
    if entry.kind == ledger.RAW:
        return entry
    return Entry(entry.t_ns, ledger.RAW, (), msgspec.json.encode(entry).decode())


def _is_urgent(effect: Effect) -> bool:
    """Return whether somebody, or something that shall move, waits for this to be on disk."""
    return isinstance(effect, (Answer, Refuse)) or (isinstance(effect, Send) and effect.moves)


def _may_rest(given: inputs.Input | BoardMessage, effects: list[Effect]) -> bool:
    """Return whether nobody waits for an input and for what it led to: a sample, or a beat whose
    lease was returned."""
    return isinstance(given, Sample | Beat) and all(isinstance(one, Renew) for one in effects)


class App:
    """One bench, from bytes to journal.

    `write(data, urgent)` hands bytes to the port; `make_store(meta)` opens a journal; both may
    raise nothing. Times are
    `now_ns`, of a clock that counts through suspend.
    """

    def __init__(
        self,
        facts: BenchFacts,
        carry: inputs.Carry,
        *,
        wall_us: int,
        now_ns: int,
        write: Callable[[bytes, bool], Any],
        make_store: Callable[[dict[str, str]], Store],
        clients: Clients,
        previous_head: str = "",
        last_event: tuple[int, int] | None = None,
    ) -> None:
        self.state = first_state(facts)
        self.wake_at_ns = now_ns
        self._write = write
        self._make_store = make_store
        self._clients = clients
        self._last_event = last_event
        self._session: session.Session | None = None
        self._contact: FirstContact | None = None
        """Listens from the port's opening until a board of ours greets."""
        self._committed = 0
        self._events: deque[tuple[int, tuple[int, int]]] = deque()
        self._safe_event = last_event  # It was read from a journal, and so is safe.
        self._unrecorded: tuple[int, int, int] | None = None
        """Boot number, and first and last event that came while no journal could be written."""
        self._held: deque[tuple[int, Callable[[], None]]] = deque()
        self._methods: dict[tuple[int, int], str] = {}
        self._trying_again = False
        """A new journal was begun after a fault, and nothing is safe in it yet."""
        self.store_name = ""
        self._store = self._open_store(facts, previous_head)
        self.tell(inputs.Opened(facts, carry, wall_us), now_ns)

    # The journal.

    def _open_store(self, facts: BenchFacts, previous_head: str) -> Store:
        state_json = msgspec.json.encode(self.state).decode()
        return self._make_store(meta_of(facts, previous_head=previous_head, state_json=state_json))

    def _append(self, entries: list[Entry], urgent: bool, resting: bool = False) -> int:
        """Give entries to the journal; 0 when there is none that works."""
        if self._store.fault is not None:
            return 0
        return self._store.append(entries, urgent, resting)

    def on_committed(self, n: int, now_ns: int) -> None:
        """Entries up to n are safe: acknowledge events, let held commands and replies go."""
        self._committed = max(self._committed, n)
        if self._trying_again:
            self._journal_is_back(now_ns)
        safe = None
        while self._events and self._events[0][0] <= n:
            safe = self._events.popleft()[1]
        if safe is not None:
            self._safe_event = safe
            self._acknowledge(now_ns)
        while self._held and self._held[0][0] <= n:
            self._held.popleft()[1]()
        self._flush(now_ns)

    def on_journal_fault(self, reason: str, now_ns: int) -> None:
        """The journal stopped for good: what waited for it goes out as what it is, not recorded."""
        for _, event in self._events:
            self._keep(0, event)
        self._events.clear()
        held, self._held = self._held, deque()
        if self._trying_again:
            self._trying_again = False
        else:
            self.tell(inputs.JournalState(False, reason), now_ns)
        for _, go in held:
            go()
        self._flush(now_ns)

    def _acknowledge(self, now_ns: int) -> None:
        """Let the board forget what is safe, if that was said in its present life."""
        link, safe = self._session, self._safe_event
        greeting = link.greeting if link is not None else None
        if link is not None and safe is not None and greeting and greeting.boot == safe[0]:
            link.send(Seen(safe[1]), now_ns)

    def _keep(self, n: int, event: tuple[int, int]) -> None:
        """Acknowledge an event once entry n is safe; without an entry it will be told as a gap."""
        if n:
            self._events.append((n, event))
        elif self._unrecorded is not None and self._unrecorded[0] == event[0]:
            self._unrecorded = (event[0], self._unrecorded[1], event[1])
        else:
            self._unrecorded = (event[0], event[1], event[1])

    def reopen_journal(self, now_ns: int) -> None:
        """Try a new journal after a fault, with the entries that the old one could not take.

        The bench goes on as without one until something is safe in it; a fault of the new one
        before that changes nothing.

        Raises: JournalError when it cannot be made.
        """
        old = self._store
        self._store = self._open_store(self.state.facts, old.head())
        self._committed = 0
        self._trying_again = True
        # The state in the new file's head already holds these; they are kept as text so that
        # nothing is lost.
        lines = [Entry(now_ns, ledger.RAW, (), GOES_ON)]
        lines += [_as_text(entry) for entry in old.uncommitted() if entry.text != GOES_ON]
        self._append(lines, urgent=True)

    def _journal_is_back(self, now_ns: int) -> None:
        """The first entries of a new journal are safe."""
        self._trying_again = False
        self.tell(inputs.JournalState(True), now_ns)
        if self._unrecorded is not None:
            boot, first, last = self._unrecorded
            self._unrecorded = None
            # The board keeps repeating them: they are acknowledged once the gap is on disk.
            self._keep(self.tell(inputs.EventGap(first, last), now_ns), (boot, last))

    # Inputs.

    def tell(self, given: inputs.Input | BoardMessage, now_ns: int) -> int:
        """Take one input through the core and do what it decided; its entry's number, or 0."""
        state, effects, self.wake_at_ns = step(self.state, given, now_ns)
        self.state = state
        kind, values, text = ledger.write_input(given)
        entries = [Entry(now_ns, kind, values, text)]
        entries += [Entry(now_ns, *ledger.write_effect(effect)) for effect in effects]
        resting = self.state.board.mode in IDLE_MODES and _may_rest(given, effects)
        urgent = kind in URGENT_CODES or any(map(_is_urgent, effects))
        n = self._append(entries, urgent, resting)
        if isinstance(given, Event) and self._last_event is not None:
            self._keep(n, self._last_event)
        for effect in effects:
            DO[type(effect)](self, effect, n, now_ns)
        return n

    def on_link_up(self, port: str, now_ns: int, baud: int = 0) -> None:
        """The port is open, at `baud` bit/s where there is a speed: a new life of the link
        begins."""
        boot, event = self._last_event or (None, 0)
        safe_boot, safe = self._safe_event or (None, 0)
        self._session = session.Session(
            boot=boot, last_event=event, safe_event=safe if safe_boot == boot else 0
        )
        self._contact = FirstContact(port, baud, now_ns)
        self.tell(inputs.LinkUp(port), now_ns)
        self._flush(now_ns)

    def on_stood(self, time_s: float, now_ns: int) -> None:
        """This machine stood still for so long [s]."""
        self.tell(inputs.Stood(time_s), now_ns)
        self._flush(now_ns)

    def on_link_down(self, reason: str, now_ns: int) -> None:
        """The port is gone."""
        self._session = self._contact = None
        self.tell(inputs.LinkDown(reason), now_ns)

    def on_bytes(self, data: bytes, now_ns: int) -> None:
        """Bytes came from the board at `now_ns`."""
        link = self._session
        if link is None:
            return
        if self._contact is not None:
            self._contact.hear(data)
        for item in link.receive(data, now_ns):
            if isinstance(item, BoardMessage):
                if isinstance(item, Event) and link.greeting is not None:
                    self._last_event = (link.greeting.boot, item.event)
                self.tell(item, now_ns)
            else:
                self._notice(item, now_ns)
        if link.greeting is not None:
            self._contact = None
        self._flush(now_ns)

    def _look_who_is_there(self, contact: FirstContact, now_ns: int) -> None:
        """Tell who is at the other end of the port, while it is no board that greeted us."""
        text = contact.look(now_ns)
        if text:
            self.tell(inputs.WrongBoard(text), now_ns)

    def _notice(self, notice: session.Notice, now_ns: int) -> None:
        contact = self._contact
        if isinstance(notice, session.LineFault):
            if contact is not None and contact.told:
                return  # No board of ours says these: its noise must not fill the disk.
            line = notice.line.decode("latin-1").replace("\0", "\u2400")
            self._append([Entry(now_ns, ledger.RAW, (), line)], urgent=False)
            self.tell(inputs.LineFault(notice.reason), now_ns)
        elif isinstance(notice, session.EventGap):
            self.tell(inputs.EventGap(notice.first, notice.last), now_ns)
        elif isinstance(notice, session.WrongProtocol) and contact is None:
            # It greeted us before on this open port: it has got other firmware meanwhile.
            text = first_contact.other_version(self.state.port, notice.version)
            self.tell(inputs.WrongBoard(text), now_ns)
        elif isinstance(notice, session.WrongProtocol | session.NotABoard) and contact is not None:
            self._look_who_is_there(contact, now_ns)

    def on_request(
        self,
        client: int,
        ask: int,
        method: str,
        params: dict[str, Any],
        dough: Dough | None,
        now_ns: int,
    ) -> None:
        """A client asked for something that passes through the core."""
        self._methods[client, ask] = method
        self.tell(inputs.Asked(client, ask, method, params, dough), now_ns)
        self._flush(now_ns)

    def on_gone(self, client: int, now_ns: int) -> None:
        """A client's connection closed."""
        self.tell(inputs.Gone(client), now_ns)
        for key in [key for key in self._methods if key[0] == client]:
            del self._methods[key]
        self._flush(now_ns)

    def on_wake(self, now_ns: int) -> None:
        """The time asked for in `wake_at_ns`, or the link's own, has come."""
        if now_ns >= self.wake_at_ns:
            self.tell(inputs.Wake(), now_ns)
        if self._contact is not None and now_ns >= self._contact.due_ns:
            self._look_who_is_there(self._contact, now_ns)
        self._flush(now_ns)

    @property
    def next_wake_ns(self) -> int:
        """When `on_wake` is due [ns]."""
        due = [self.wake_at_ns]
        if self._session is not None and self._session.wake_at_ns is not None:
            due.append(self._session.wake_at_ns)
        if self._contact is not None:
            due.append(self._contact.due_ns)
        return min(due)

    def status(self, now_ns: int) -> BenchStatus:
        """Return what the bench is at."""
        return snapshot.snapshot(self.state, now_ns, journal=self.store_name)

    def close(self) -> None:
        """Close the journal."""
        self._store.close()

    # Effects.

    def _flush(self, now_ns: int) -> None:
        if self._session is not None:
            data = self._session.outgoing(now_ns)
            if data:
                self._write(data, data.startswith(b"stop "))

    def _when_safe(self, n: int, go: Callable[[], None]) -> None:
        """Do it once entry n is committed; at once when there is no journal to wait for."""
        if n <= self._committed or self._store.fault is not None or self._trying_again:
            go()
        else:
            self._held.append((n, go))

    def _do_stop(self, effect: StopNow, n: int, now_ns: int) -> None:
        if self._session is not None:
            self._session.send(Stop(effect.level), now_ns)
            self._flush(now_ns)

    def _do_renew(self, effect: Renew, n: int, now_ns: int) -> None:
        if self._session is not None:
            self._session.send(Lease(effect.nonce), now_ns)

    def _do_send(self, effect: Send, n: int, now_ns: int) -> None:
        message = messages.decode(effect.line.encode("ascii"))
        link = self._session
        assert isinstance(message, Command)

        def go() -> None:
            pending = self.state.pending
            # What a stop, a hang-up or a restart has taken back meanwhile must not go out late.
            if (
                link is not None
                and link is self._session
                and pending is not None
                and pending.id == message.id
            ):
                link.send(message, now_ns)
                self._flush(now_ns)

        if effect.moves:
            self._when_safe(n, go)
        else:
            go()

    def _do_record(self, effect: Record, n: int, now_ns: int) -> None:
        self._clients.publish(effect.kind, effect.data)

    def _do_answer(self, effect: Answer, n: int, now_ns: int) -> None:
        method = self._methods.pop((effect.client, effect.ask), "")

        def go() -> None:
            if not self._safe(n) and method in NEEDS_RECORD:
                text = (
                    "Not recorded: the journal cannot be written. Write it down, and look "
                    "at the disk."
                )
                self._clients.refuse(
                    effect.client, effect.ask, REFUSED, text, {"condition": "IL-28"}
                )
            else:
                self._clients.reply(effect.client, effect.ask, effect.result)

        self._when_safe(n, go)

    def _safe(self, n: int) -> bool:
        return 0 < n <= self._committed

    def _do_refuse(self, effect: Refuse, n: int, now_ns: int) -> None:
        self._methods.pop((effect.client, effect.ask), None)
        data = {"condition": effect.condition, "value": effect.value, "bound": effect.bound}
        code = QUESTION if effect.question else REFUSED
        self._when_safe(
            n, lambda: self._clients.refuse(effect.client, effect.ask, code, effect.message, data)
        )


DO: dict[type[Effect], Callable[[App, Any, int, int], None]] = {
    StopNow: App._do_stop,
    Renew: App._do_renew,
    Send: App._do_send,
    Record: App._do_record,
    Answer: App._do_answer,
    Refuse: App._do_refuse,
}
"""What the app does with each kind of decision."""
