"""The app: link, core and journal joined; a list takes the bytes, the journal is in memory."""

from __future__ import annotations

import json
from typing import Any

import pytest
from msgspec.structs import replace

from benchd.app import GOES_ON, App
from benchd.core import ledger
from benchd.core.inputs import Carry
from benchd.io.memory_store import MemoryStore
from protocols import messages as m
from protocols.codes import PIN
from protocols.framing import frame
from protocols.limits import digest
from protocols.requests import QUESTION, REFUSED
from tests.core.script import ALL, MASA, MS, START_NS, WALL_US, S, bench, proven

FACTS = bench(*ALL)
SAFE_PINS = sum(1 << PIN[name] for name in ("guard", "stop", "home", "ends", "adopted"))
READY_PINS = SAFE_PINS | sum(1 << PIN[name] for name in ("drive", "known"))
READINGS = (100, 0, 2000, 5000)


class Desk:
    """An app with everything around it: what it wrote, replied and told, and its journals."""

    def __init__(self, carry: Carry | None = None, last_event: tuple[int, int] | None = None):
        self.now_ns = START_NS
        self.written: list[bytes] = []
        self.urgent: list[bytes] = []
        self.replies: dict[int, dict[str, Any]] = {}
        self.refusals: dict[int, tuple[int, str, dict[str, Any]]] = {}
        self.told: list[tuple[str, dict[str, Any]]] = []
        self.stores: list[MemoryStore] = []
        self.broken = False
        self.app = App(
            FACTS,
            carry or proven(FACTS),
            wall_us=WALL_US,
            now_ns=self.now_ns,
            write=self.write,
            make_store=self.make_store,
            clients=self,
            last_event=last_event,
        )

    def write(self, data: bytes, urgent: bool) -> None:
        self.written += data.splitlines()
        if urgent:
            self.urgent += data.splitlines()

    def make_store(self, meta: dict[str, str]) -> MemoryStore:
        store = MemoryStore(
            meta=meta,
            views=ledger.views(),
            wall_us=lambda: WALL_US,
            on_committed=lambda n: self.app.on_committed(n, self.now_ns),
            on_fault=lambda reason: self.app.on_journal_fault(reason, self.now_ns),
        )
        if self.broken:
            store._fault = "The disk is full."
        self.stores.append(store)
        return store

    @property
    def store(self) -> MemoryStore:
        return self.stores[-1]

    def reply(self, client: int, ask: int, result: dict[str, Any]) -> None:
        self.replies[ask] = result

    def refuse(self, client: int, ask: int, code: int, message: str, data: dict[str, Any]) -> None:
        self.refusals[ask] = (code, message, data)

    def publish(self, topic: str, data: dict[str, Any]) -> None:
        self.told.append((topic, data))

    def hear(self, *messages: m.BoardMessage) -> None:
        """Bytes of the board, all at once."""
        self.now_ns += MS
        data = b"".join(frame(m.encode(message)) for message in messages)
        self.app.on_bytes(data, self.now_ns)

    def ask(self, number: int, method: str, **params: Any) -> None:
        dough = MASA if "dough" in params else None
        self.app.on_request(1, number, method, params, dough, self.now_ns)

    def words(self, tag: str) -> list[list[str]]:
        """What was written of this tag, without the check values."""
        lines = [line.decode().split()[:-1] for line in self.written]
        return [words for words in lines if words[0] == tag]

    def up(self, *, boot: int = 7, uptime_s: int = 60, oldest: int = 1) -> Desk:
        """Port open, greeting with our own limits in force, one beat."""
        self.app.on_link_up("/dev/bench", self.now_ns)
        self.hear(greeting(boot=boot, uptime_s=uptime_s, oldest=oldest), beat(0))
        self.hear(self.taking(1))
        self.store.settle()
        self.urgent.clear()  # The greeting was answered with a stop.
        return self

    def taking(self, nonce: int) -> m.Beat:
        """A beat of a board that has taken everything written so far."""
        return beat(nonce, taken=sum(len(line) + 1 for line in self.written))


def greeting(*, boot: int = 7, uptime_s: int = 60, oldest: int = 1, protocol: int = 1) -> m.Bench:
    right = digest(FACTS.limits)
    return m.Bench(protocol, "0.1.0", "abc1234", "sim", boot, "power", uptime_s, 0, right, oldest)


def beat(nonce: int, pins: int = READY_PINS, taken: int = 0) -> m.Beat:
    t_us = 60_000_000 + nonce * 100_000
    return m.Beat(nonce, t_us, 0, 0, 1, 0, 0, 0, 0, pins, 0, taken)


def moved(event: int, kind: int = 0, position: int = 800) -> m.Moved:
    return m.Moved(event, 61_000_000, kind, 0, position, *READINGS)


def texts(store: MemoryStore, kind: int) -> list[str]:
    return [entry.text or "" for entry in store.entries if entry.kind == kind]


def test_a_port_that_opens_is_greeted_at_once() -> None:
    desk = Desk()
    desk.app.on_link_up("/dev/bench", desk.now_ns)
    assert desk.written == [frame(b"hello")[:-1]]
    assert desk.app.next_wake_ns <= desk.now_ns + 500 * MS


def test_every_input_and_decision_is_journalled_in_order() -> None:
    desk = Desk().up()
    desk.ask(1, "note", text="first")
    desk.store.settle()
    kinds = [entry.kind for entry in desk.store.entries]
    assert kinds[0] == ledger.INPUT  # opened
    assert m.Bench.code in kinds
    assert kinds.index(m.Bench.code) < kinds.index(m.Beat.code) < kinds.index(ledger.RENEW)
    assert kinds[-2:] == [ledger.RECORDS["note"], ledger.DECISION]


def test_motion_waits_for_its_own_commit_and_the_rest_does_not() -> None:
    desk = Desk().up()
    desk.ask(1, "drive", on=True)
    assert desk.words("drive") == [["drive", "1", "1"]]
    desk.hear(m.Yes(1, 0))
    desk.store.settle()
    assert desk.replies[1] == {"on": True}
    desk.ask(2, "jog", distance_m=0.001)
    desk.hear(desk.taking(2))
    assert not desk.words("move")
    desk.store.settle()
    assert desk.words("move") == [["move", "2", "0", "800", "1600", "1"]]


def test_a_stop_goes_out_urgently_and_takes_back_motion_that_waits_for_the_disk() -> None:
    desk = Desk().up()
    desk.ask(1, "jog", distance_m=0.001)
    desk.ask(2, "stop")
    assert desk.urgent == [frame(b"stop 0")[:-1]]
    desk.store.settle()
    assert not desk.words("move")
    assert desk.refusals[1][1] == "Stopped."
    assert desk.replies[2]["stopped"]


def test_motion_that_waits_for_the_disk_dies_with_its_link() -> None:
    desk = Desk().up()
    desk.ask(1, "jog", distance_m=0.001)
    desk.app.on_link_down("The cable was pulled.", desk.now_ns)
    desk.app.on_bytes(b"late", desk.now_ns)
    desk.app.on_link_up("/dev/bench", desk.now_ns)
    desk.store.settle()
    assert not desk.words("move")
    assert desk.refusals[1][2]["condition"] == "IL-19"


def test_a_reply_waits_for_its_commit() -> None:
    desk = Desk().up()
    desk.ask(1, "note", text="x")
    desk.ask(2, "pause")
    assert not desk.replies
    assert not desk.refusals
    desk.store.settle()
    assert desk.replies == {1: {"noted": True}}
    assert desk.refusals[2][0] == REFUSED


def test_a_question_has_a_code_of_its_own() -> None:
    desk = Desk(proven(FACTS, last_portion=4, unweighed=(3, 4))).up()
    desk.app.state = replace(
        desk.app.state, recent=({"number": 3, "aim_kg": 0.03, "outcome": "complete"},)
    )
    desk.ask(1, "weigh", mass_kg=0.3, text="300")
    desk.store.settle()
    code, message, data = desk.refusals[1]
    assert code == QUESTION
    assert "decimal point" in message
    assert data["value"] == 0.3


def test_events_are_acknowledged_only_when_safe() -> None:
    desk = Desk().up()
    desk.hear(m.Boot(1, 5, 1, 7), moved(2))
    assert not desk.words("seen")
    desk.store.settle()
    assert desk.words("seen") == [["seen", "2"]]


def test_events_of_an_earlier_life_are_not_acknowledged_in_a_later_one() -> None:
    desk = Desk().up()
    desk.hear(moved(1), moved(2))
    desk.hear(greeting(boot=8, uptime_s=0, oldest=1))
    desk.hear(m.Boot(1, 5, 1, 8))
    desk.app.on_committed(desk.store.committed + 4, desk.now_ns)  # Up to the second move.
    assert not desk.words("seen")
    desk.store.settle()
    assert desk.words("seen") == [["seen", "1"]]


def test_after_a_reconnect_events_that_are_safe_are_acknowledged_again() -> None:
    desk = Desk().up()
    desk.hear(moved(1))
    desk.store.settle()
    desk.app.on_link_down("The cable was pulled.", desk.now_ns)
    desk.app.on_link_up("/dev/bench", desk.now_ns)
    desk.hear(greeting(uptime_s=61, oldest=1), moved(1))
    assert desk.words("seen") == [["seen", "1"], ["seen", "1"]]
    assert len([entry for entry in desk.store.entries if entry.kind == m.Moved.code]) == 1


def test_a_new_daemon_goes_on_after_the_last_event_of_the_journal() -> None:
    desk = Desk(last_event=(7, 4)).up(oldest=3)
    desk.hear(moved(3), moved(4), moved(5))
    desk.store.settle()
    assert [e.values[0] for e in desk.store.entries if e.kind == m.Moved.code] == [5]
    assert desk.words("seen")[-1] == ["seen", "5"]


def test_lines_that_were_dropped_are_kept_as_text() -> None:
    desk = Desk().up()
    desk.app.on_bytes(b"beat 5 \0\xff nonsense 0000\n", desk.now_ns)
    desk.store.settle()
    assert texts(desk.store, ledger.RAW) == ["beat 5 \u2400ÿ nonsense 0000"]
    assert desk.app.status(desk.now_ns).lines_bad == 1


def test_events_that_will_never_come_are_told_as_a_gap() -> None:
    desk = Desk(last_event=(7, 4)).up(oldest=9)
    assert [data for topic, data in desk.told if topic == "gap"] == [{"first": 5, "last": 8}]


def test_a_board_of_another_protocol_is_left_alone() -> None:
    desk = Desk()
    desk.app.on_link_up("/dev/bench", desk.now_ns)
    desk.hear(greeting(protocol=2))
    assert "speaks version 2 of the protocol" in desk.app.status(desk.now_ns).waits_for
    desk.hear(beat(1))
    assert not desk.words("lease")
    desk = Desk().up()
    desk.hear(greeting(protocol=0))  # It has got other firmware on an open port.
    assert "update the board's firmware" in desk.app.status(desk.now_ns).waits_for


def test_a_port_with_something_else_on_it_says_so() -> None:
    desk = Desk()
    desk.app.on_link_up("/dev/bench", desk.now_ns)
    for _ in range(100):
        desk.app.on_bytes(b"$GPGGA,nothing,of,ours\r\n", desk.now_ns)
    assert "Something else than a bench board" in desk.app.status(desk.now_ns).waits_for
    desk.store.settle()
    kept = len(texts(desk.store, ledger.RAW))
    assert 0 < kept < 100  # What no board of ours says must not fill the disk.


def test_a_silent_port_is_told_after_a_while_and_forgotten_when_the_board_greets() -> None:
    desk = Desk()
    desk.app.on_link_up("/dev/bench", desk.now_ns)
    due_ns = desk.now_ns + 4 * S
    while desk.now_ns < due_ns:
        assert "has not answered yet" in desk.app.status(desk.now_ns).waits_for
        desk.now_ns = desk.app.next_wake_ns
        desk.app.on_wake(desk.now_ns)
    assert "Nothing answers on /dev/bench: nothing came" in desk.app.status(desk.now_ns).waits_for
    desk.hear(greeting(), beat(0))
    desk.hear(desk.taking(1))
    assert desk.app.status(desk.now_ns).state == "READY"


def test_a_command_that_a_restart_made_void_is_not_repeated() -> None:
    desk = Desk().up()
    desk.ask(1, "drive", on=True)
    desk.hear(greeting(boot=8, uptime_s=0, oldest=1))
    desk.store.settle()
    assert desk.refusals[1][2]["condition"] == "IL-20"
    desk.now_ns += S
    desk.app.on_wake(desk.now_ns)
    assert len(desk.words("drive")) == 1


def test_wake_times_are_kept_by_whoever_comes_first() -> None:
    desk = Desk().up()
    due_ns = desk.app.next_wake_ns
    entries = desk.store.committed
    desk.app.on_wake(due_ns - 1)
    desk.store.settle()
    assert desk.store.committed == entries
    desk.now_ns = due_ns
    desk.app.on_wake(due_ns)
    assert desk.app.next_wake_ns > due_ns
    desk.store.settle()
    assert "No word from the board" in desk.app.status(due_ns).abnormals[0].what


# Without a journal.


def test_without_a_journal_jogs_go_on_and_portions_do_not_begin() -> None:
    desk = Desk().up()
    desk.store.fail("The disk is full.")
    desk.ask(1, "jog", distance_m=0.001)
    assert desk.words("move")
    desk.hear(m.Yes(1, 0), moved(1), desk.taking(2))
    assert desk.replies[1]["ending"] == "reached"
    desk.ask(2, "portion", dough="masa")
    assert desk.refusals[2][2]["condition"] in ("IL-17", "IL-28")
    assert any(latch.code == "IL-28" for latch in desk.app.status(desk.now_ns).abnormals)


@pytest.mark.parametrize("method", ["note", "weigh", "weigh_many", "set", "tube_in"])
def test_what_is_nothing_but_a_record_fails_without_a_journal(method: str) -> None:
    carry = proven(FACTS, tube=False, last_portion=3, unweighed=(3,))
    desk = Desk(carry).up()
    params: dict[str, dict[str, Any]] = {
        "note": {"text": "x"},
        "weigh": {"mass_kg": 0.03, "text": "30"},
        "weigh_many": {"weights": [{"portion": 3, "mass_kg": 0.03, "text": "30"}]},
        "set": {"values": {"air_pa": 120_000.0}},
        "tube_in": {"id": "T2"},
    }
    desk.ask(1, method, **params[method])
    desk.store.fail("The disk is full.")
    code, message, data = desk.refusals[1]
    assert (code, data) == (REFUSED, {"condition": "IL-28"})
    assert message.startswith("Not recorded")
    desk.ask(2, method, **params[method])
    assert 2 in desk.refusals


def test_motion_that_waited_for_a_disk_that_failed_goes_if_it_is_a_jog_only() -> None:
    desk = Desk().up()
    desk.ask(1, "jog", distance_m=0.001)
    desk.store.fail("The disk is full.")
    assert desk.words("move")

    desk = Desk().up()
    desk.app.state = replace(desk.app.state, dry_needed=False)
    desk.ask(1, "portion", dough="masa")
    desk.hear(m.Yes(1, 0))
    desk.hear(m.Yes(2, 0), desk.taking(2))
    desk.store.fail("The disk is full.")
    assert not desk.words("run")
    assert desk.urgent == [frame(b"stop 0")[:-1]]
    assert desk.refusals[1][2]["condition"] == "IL-28"


def test_a_journal_that_comes_back_tells_what_is_missing_and_frees_the_board() -> None:
    desk = Desk().up()
    desk.hear(moved(1))
    desk.store.fail("The disk is full.")
    desk.hear(moved(2), moved(3))
    assert not desk.words("seen")
    desk.app.reopen_journal(desk.now_ns)
    assert len(desk.stores) == 2
    assert not desk.words("seen")
    desk.store.settle()
    desk.store.settle()
    assert desk.words("seen") == [["seen", "3"]]
    assert [data for topic, data in desk.told if topic == "gap"] == [{"first": 1, "last": 3}]
    kept = texts(desk.store, ledger.RAW)
    assert any(json.loads(text)[1] == m.Moved.code for text in kept[1:])
    assert desk.app.status(desk.now_ns).journal_ok


def test_events_of_two_lives_without_a_journal_count_from_the_later_life() -> None:
    desk = Desk().up()
    desk.store.fail("The disk is full.")
    desk.hear(moved(1))
    desk.hear(greeting(boot=8, uptime_s=0, oldest=1), m.Boot(1, 5, 1, 8))
    desk.app.reopen_journal(desk.now_ns)
    desk.store.settle()
    desk.store.settle()
    assert desk.words("seen") == [["seen", "1"]]


def test_a_journal_that_fails_again_at_once_loses_nothing_more() -> None:
    desk = Desk().up()
    desk.store.fail("The disk is full.")
    desk.hear(moved(1))
    desk.broken = True
    desk.app.reopen_journal(desk.now_ns)
    desk.broken = False
    desk.app.reopen_journal(desk.now_ns)
    desk.store.settle()
    desk.store.settle()
    assert desk.words("seen") == [["seen", "1"]]


def test_a_new_journal_that_fails_too_is_one_fault_and_keeps_everything_for_the_next() -> None:
    desk = Desk().up()
    desk.hear(moved(1))
    desk.store.fail("The disk is full.")
    for event in (2, 3, 4):
        desk.app.reopen_journal(desk.now_ns)
        desk.hear(moved(event))
        desk.ask(event, "note", text="nobody waits for this")
        desk.store.fail("The disk is still full.")
        assert desk.refusals[event][2]["condition"] == "IL-28"
    assert not desk.words("seen")
    desk.app.reopen_journal(desk.now_ns)
    desk.store.settle()
    desk.store.settle()
    assert desk.words("seen") == [["seen", "4"]]
    assert [data for topic, data in desk.told if topic == "gap"] == [{"first": 1, "last": 4}]
    kept = texts(desk.store, ledger.RAW)
    assert kept[0] == GOES_ON
    assert kept.count(GOES_ON) == 1
    events = [json.loads(text)[2][0] for text in kept[1:] if json.loads(text)[1] == m.Moved.code]
    assert events == [1, 2, 3, 4]


def test_while_a_new_journal_is_tried_the_bench_goes_on_as_without_one() -> None:
    desk = Desk().up()
    desk.store.fail("The disk is full.")
    desk.app.reopen_journal(desk.now_ns)
    desk.ask(1, "jog", distance_m=0.001)
    desk.hear(desk.taking(2))
    assert desk.words("move"), "a jog waits for no disk when there is none"
    assert not desk.app.state.journal_ok


def test_a_journal_that_fails_while_it_takes_entries_holds_no_reply_back() -> None:
    desk = Desk().up()
    desk.ask(1, "attend")
    desk.store._queue_max = len(desk.store._waiting)
    desk.ask(2, "attend")
    assert set(desk.replies) == {1, 2}


def test_of_two_jogs_that_waited_for_the_disk_only_the_one_that_stands_goes() -> None:
    desk = Desk().up()
    desk.ask(1, "jog", distance_m=0.001)
    desk.ask(2, "stop")
    desk.ask(3, "jog", distance_m=0.002)
    desk.hear(desk.taking(2))
    desk.store.settle()
    assert [words[3] for words in desk.words("move")] == ["1600"]


def test_closing_commits_what_waits() -> None:
    desk = Desk().up()
    desk.ask(1, "note", text="last")
    desk.app.close()
    assert desk.replies[1] == {"noted": True}


def test_nothing_is_kept_of_a_client_that_left() -> None:
    desk = Desk().up()
    desk.ask(1, "jog", distance_m=0.001)
    desk.app.on_gone(1, desk.now_ns)
    assert desk.urgent == [frame(b"stop 0")[:-1]]
    assert not desk.app._methods


def test_a_stop_without_a_board_is_answered_all_the_same() -> None:
    desk = Desk()
    desk.ask(1, "stop")
    desk.store.settle()
    assert desk.replies[1]["stopped"]
    assert not desk.written


def test_a_journal_may_come_back_before_anything_was_missed() -> None:
    desk = Desk()
    desk.store.fail("The disk is full.")
    desk.app.reopen_journal(desk.now_ns)
    assert not desk.app.state.journal_ok
    desk.store.settle()
    assert not [topic for topic, _ in desk.told if topic == "gap"]
    assert desk.app.state.journal_ok
