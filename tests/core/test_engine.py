"""The core as a whole: laws that hold whatever it is told, in whatever order."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from benchd.core import cycle, ledger
from benchd.core.effects import RANK, Effect, Send, StopNow
from benchd.core.engine import IDLE_WAKE_NS, first_state, step
from benchd.core.facts import SPEED_MIN, Watch
from benchd.core.inputs import (
    Asked,
    EventGap,
    Gone,
    Input,
    JournalState,
    LineFault,
    LinkDown,
    LinkUp,
    Opened,
    Stood,
    Wake,
    WallClock,
    WrongBoard,
)
from benchd.core.proofs import PROOFS
from benchd.core.state import State
from protocols import messages as m
from protocols.codes import MOVES
from tests.core.script import ALL, MASA, MS, START_NS, WALL_US, S, Script, bench, proven
from tests.protocols.strategies import BOARD_MESSAGE

FACTS = bench(*ALL)
LENGTH = st.sampled_from([0.0, 0.001, -0.001, 0.02, -0.05, 1e-9, 1e305, -3.0])
WORDS = st.sampled_from(list(PROOFS.values())).map(lambda rows: [word for _, word in rows])
PARAMS: dict[str, st.SearchStrategy[dict[str, Any]]] = {
    "stop": st.fixed_dictionaries({"level": st.integers(0, 2)}),
    "pause": st.just({}),
    "finish": st.just({}),
    "resume": st.just({}),
    "here": st.fixed_dictionaries({"position_m": LENGTH}),
    "proofs": st.fixed_dictionaries({"interlock": st.integers(-1, 32)}),
    "clear": st.fixed_dictionaries(
        {"interlock": st.integers(-1, 32), "name": st.just("x"), "words": WORDS}
    ),
    "jog": st.fixed_dictionaries({"distance_m": LENGTH}, optional={"speed_m_s": LENGTH}),
    "relieve": st.just({}),
    "drive": st.fixed_dictionaries({"on": st.booleans()}),
    "portion": st.fixed_dictionaries({"dough": st.just("masa"), "button": st.booleans()}),
    "series": st.fixed_dictionaries(
        {
            "dough": st.just("masa"),
            "every_s": st.sampled_from([0.0, 5.0, 6.0, 1e9]),
            "count": st.sampled_from([None, 0, 1, 3]),
        }
    ),
    "arm": st.just({}),
    "fire": st.just({}),
    "tube_in": st.fixed_dictionaries(
        {"id": st.sampled_from("AB")},
        optional={
            "opened_at": st.sampled_from(
                ["", "x", "1970-01-01T00:00:00Z", "9999-12-31T23:59:59-23:59"]
            )
        },
    ),
    "approach": st.just({}),
    "prime": st.just({}),
    "tube_out": st.just({}),
    "teach": st.fixed_dictionaries({"what": st.sampled_from(["empty", "dough"])}),
    "set": st.fixed_dictionaries({"values": st.just({"air_pa": 1.0})}),
    "weigh": st.fixed_dictionaries(
        {"mass_kg": st.floats(-1, 200), "text": st.just("x"), "confirmed": st.booleans()},
        optional={"portion": st.integers(-2, 9)},
    ),
    "weigh_many": st.fixed_dictionaries(
        {
            "weights": st.lists(
                st.fixed_dictionaries(
                    {"mass_kg": st.floats(-1, 200), "text": st.just("x")},
                    optional={"portion": st.integers(-2, 9)},
                ),
                max_size=3,
            ),
            "confirmed": st.booleans(),
        }
    ),
    "unweigh": st.fixed_dictionaries({"portion": st.integers(-2, 9)}),
    "note": st.fixed_dictionaries({"text": st.text(max_size=5)}),
    "attend": st.just({}),
    "unreadable": st.just({}),
}
CLIENT = st.integers(1, 3)


@st.composite
def a_request(draw: st.DrawFn) -> Asked:
    """A request of a client, now and then unreadable."""
    method = draw(st.sampled_from(sorted(PARAMS)))
    params = draw(PARAMS[method])
    if method == "unreadable":
        return Asked(draw(CLIENT), 0, "jog", {"far": 1})
    dough = MASA if draw(st.integers(0, 9)) else None
    return Asked(draw(CLIENT), 0, method, params, dough)


TOLD = st.one_of(
    st.builds(LinkUp, st.just("/dev/bench")),
    st.builds(LinkDown, st.sampled_from(["pulled", "gone"])),
    st.builds(LineFault, st.just("check"), st.integers(1, 9)),
    st.builds(EventGap, st.integers(1, 9), st.integers(9, 99)),
    st.builds(WrongBoard, st.just("no bench board")),
    st.builds(Stood, st.floats(0.1, 100)),
    st.builds(Gone, CLIENT),
    st.just(Wake()),
    st.builds(JournalState, st.booleans(), st.just("full")),
    st.builds(WallClock, st.integers(0, 2 * WALL_US)),
)
ACTS = st.sampled_from(
    ["run", "run", "run", "greet", "restart", "mute", "speak", "lose", "find", "deaf", "trip"]
)
STORY = st.lists(
    st.one_of(a_request(), a_request(), TOLD, BOARD_MESSAGE, ACTS), min_size=1, max_size=40
)


class Judge(Script):
    """A script whose every step is held to the laws."""

    def tell(self, given: Input | m.BoardMessage) -> list[Effect]:
        before = getattr(self, "state", first_state(FACTS))
        again = step(before, given, self.now_ns)
        effects = super().tell(given)
        assert (self.state, effects, self.wake_ns) == again, "the same step came out otherwise"
        self.replay(before, given, effects)
        self.judge(before, given)
        return effects

    def replay(self, before: State, given: Input | m.BoardMessage, effects: list[Effect]) -> None:
        """State and input through a journal and back lead to the same decisions, to the byte."""
        stored = msgspec.json.decode(msgspec.json.encode(before), type=State)
        told = ledger.read_input(*ledger.write_input(given))
        _, replayed, _ = step(stored, told, self.now_ns)
        was = [ledger.write_effect(effect) for effect in effects]
        assert [ledger.write_effect(effect) for effect in replayed] == was

    def judge(self, before: State, given: Input | m.BoardMessage) -> None:
        """The laws of one step."""
        ranks = [RANK[type(effect)] for effect in self.new]
        assert ranks == sorted(ranks), "out of the order of duty"
        assert self.now_ns < self.wake_ns <= self.now_ns + IDLE_WAKE_NS, "a wake that spins"
        sends = [effect for effect in self.new if isinstance(effect, Send)]
        assert len(sends) <= 1, "two commands at once"
        for send in sends:
            self.judge_send(before, send)
        if any(isinstance(effect, StopNow) for effect in self.new):
            assert all(planned.why == "load" for planned in self.state.outbox)
            assert not any(send.moves for send in sends), "motion after a stop"
        if self.state.link in ("down", "greeting", "wrong"):
            assert self.state.pending is None
            assert not any(send.moves for send in sends)

    def judge_send(self, before: State, send: Send) -> None:
        """The laws of one command that goes out."""
        tag, number = send.line.split()[:2]
        state = self.state
        assert state.pending is not None
        assert state.pending.id == int(number)
        assert send.moves == (tag in ("move", "run", "fire"))
        if send.moves:
            assert state.job is not None, "motion that nobody asked for"
            action = cycle.NEEDS.get(state.job.kind, "feed")
            assert cycle.ready_for(state, action, self.now_ns) is None, "motion past an interlock"
            assert self.now_ns - state.board.nonce_ns <= 150 * MS, "motion on an old beat"
            if tag == "move" and MOVES[int(send.line.split()[2])] in ("approach", "prime"):
                assert state.carry.tube is not None

    def act(self, act: str) -> None:
        """What happens beside the core."""
        if act == "run":
            self.run(0.4)
        elif act == "greet":
            self.tell(self.board.greeting(self.now_ns))
        elif act == "restart":
            self.board.boot += 1
            self.board.start(self.now_ns)
            self.tell(self.board.greeting(self.now_ns))
        elif act in ("mute", "speak"):
            self.board.mute = act == "mute"
        elif act == "lose":
            self.board.lose |= {m.Ended, m.Moved, m.Trip}
        elif act == "find":
            self.board.lose.clear()
            self.board.deaf.clear()
        elif act == "deaf":
            self.board.deaf |= {"run", "drive", "here"}
        else:
            self.board.trip(9, self.now_ns)


def play(judge: Judge, story: list[Any]) -> None:
    """Tell a story: each line some milliseconds after the one before."""
    for line in story:
        judge.now_ns += 7 * MS
        if isinstance(line, str):
            judge.act(line)
        elif isinstance(line, Asked):
            judge.asks += 1
            judge.tell(replace(line, ask=judge.asks))
        else:
            judge.tell(line)


@pytest.mark.slow
@settings(max_examples=100)
@given(story=STORY, ready=st.booleans())
def test_the_laws_hold_whatever_is_told(story: list[Any], ready: bool) -> None:
    judge = Judge(FACTS)
    if ready:
        judge.ready()
    play(judge, story)


@pytest.mark.slow
@settings(max_examples=100)
@given(story=st.lists(st.one_of(a_request(), ACTS), max_size=25))
def test_every_request_is_answered_once_and_the_bench_comes_to_rest(story: list[Any]) -> None:
    judge = Judge(FACTS).ready()
    play(judge, story)
    judge.board.mute = False
    judge.act("find")
    judge.tell(judge.board.greeting(judge.now_ns))
    judge.now_ns += MS
    judge.ask("finish")
    # The longest jog of those above takes more than an hour at the slowest speed.
    end_ns = judge.now_ns + round(FACTS.steps(0.05) / SPEED_MIN * 1e9)
    while True:
        judge.run(60)
        state = judge.state
        waits = state.board.pins >> 14 & 1  # A portion that waits for the button may do so.
        if waits or state.job is None or judge.now_ns > end_ns:
            break
    if not waits:
        assert cycle.at_rest(state)
        assert state.outbox == ()
        for ask in range(1, judge.asks + 1):
            assert judge.reply(ask) is not None, ask


@pytest.mark.slow
@settings(max_examples=10)
@given(
    every_s=st.floats(5.0, 8.0),
    holds=st.lists(st.integers(100, 4000), min_size=6, max_size=6),
)
def test_two_portions_of_a_series_never_begin_closer_than_the_beat(
    every_s: float, holds: list[int]
) -> None:
    facts = bench("home", watch=Watch(slow_share=100.0))
    s = Script(facts, proven(facts)).ready()
    s.ask("series", count=6, every_s=every_s)
    for hold_ms in holds:
        s.board.limits[12] = hold_ms  # Each cut takes another time.
        s.run(every_s)
    s.run(30)
    began = [
        record["phases"][0]["t_us"] / 1e6
        for record in s.records("portion")
        if record["outcome"] == "complete"
    ]
    assert len(began) == 6
    # A command waits for its beat for up to 100 ms, either side.
    assert min(after - before for before, after in pairwise(began)) >= every_s - 0.2


def test_the_first_state_knows_nothing_and_allows_nothing() -> None:
    state = first_state(FACTS)
    assert state.dry_needed
    assert state.link == "down"
    assert cycle.ready_for(state, "feed", START_NS) is not None


def test_an_open_journal_brings_the_card_and_what_is_carried_over() -> None:
    s = Script(FACTS, proven(FACTS, last_portion=12))
    assert s.state.carry.last_portion == 12
    assert s.state.wall_us == WALL_US
    assert {17, 19} == set(s.state.latches)


def test_the_core_is_woken_when_the_next_beat_of_a_series_is_due() -> None:
    s = Script().ready()
    s.ask("series", count=2, every_s=5.0)
    s.run(4.5)
    assert s.state.series is not None
    due_ns = s.state.series.next_ns
    s.board.mute = True
    s.run((due_ns - s.now_ns) / S + 0.01)
    assert s.wakes >= 1
    assert len(s.sent("draft")) == 2


def test_silence_is_noticed_half_a_second_after_the_last_word_and_not_again_and_again() -> None:
    s = Script().ready()
    s.board.mute = True
    s.run(0.8)
    assert s.state.latches[19].text.startswith("No word from the board")
    wakes = s.wakes
    s.run(10)
    assert s.wakes - wakes <= 11


def test_a_command_that_waits_for_its_moment_wakes_the_core() -> None:
    s = Script().ready()
    s.board.refuse["arm"] = (3, 40, 100)
    ask = s.ask("arm")
    s.run(0.2)
    assert s.result(ask) == {}


def test_a_dead_journal_is_shown_and_comes_back() -> None:
    s = Script().ready()
    s.tell(JournalState(False, "the disk is full"))
    assert "the disk is full" in s.state.latches[28].text
    assert s.refused(s.ask("portion")).condition == "IL-28"
    s.must("jog", distance_m=0.001)
    s.tell(JournalState(True))
    assert 28 not in s.state.latches
    s.must("portion", seconds=4)


def test_a_dead_journal_pauses_a_series_after_the_portion_under_way() -> None:
    s = Script().ready()
    s.ask("series", count=5, every_s=5.0)
    s.run(1)
    s.tell(JournalState(False, "the disk is full"))
    s.run(10)
    assert not s.stops()
    assert s.state.series is not None
    assert s.state.series.paused
    assert s.records("portion")[-1]["outcome"] == "complete"


def test_a_portion_that_may_or_may_not_have_begun_when_the_journal_died_is_stopped() -> None:
    s = Script().ready()
    ask = s.ask("portion")
    while not s.sent("run"):
        s.run(0.001)
    s.tell(JournalState(False, "the disk is full"))
    assert s.stops() == [0]
    assert s.refused(ask).condition == "IL-28"
    s.run(1)
    assert cycle.at_rest(s.state)


def test_the_time_of_day_is_only_what_was_told() -> None:
    s = Script()
    s.tell(WallClock(WALL_US + 5))
    assert (s.state.wall_us, s.state.wall_ns) == (WALL_US + 5, s.now_ns)


def test_bad_lines_are_counted() -> None:
    s = Script()
    s.tell(LineFault("check", 3))
    s.tell(LineFault("check"))
    assert s.state.lines_bad == 4


def test_what_outlives_the_daemon_is_recorded_when_it_changes() -> None:
    s = Script().ready()
    before = len(s.records("carry"))
    s.must("jog", distance_m=0.001)
    assert len(s.records("carry")) == before
    s.must("portion", seconds=4)
    # Each record tells what changed alone: most of it, the cards, did not.
    told = s.records("carry")[before:]
    assert set().union(*told) == {"last_portion", "tube", "aim_kg", "dough", "unweighed"}
    assert told[-1] == {"unweighed": (1,)}
    assert s.carried() == s.state.carry
    assert (s.carried().last_portion, s.carried().unweighed) == (1, (1,))


def test_an_input_that_no_table_knows_is_an_error_of_ours() -> None:
    class Strange(Input, frozen=True, tag="strange"):
        pass

    with pytest.raises(KeyError):
        step(first_state(FACTS), Strange(), START_NS)
    assert Opened
