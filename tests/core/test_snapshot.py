"""What people see: derived from what the board says, and never an all-clear."""

from __future__ import annotations

import json
from statistics import stdev
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from benchd.calc.eye import UNTAUGHT
from benchd.core.inputs import Carry, LinkDown, WallClock
from benchd.core.snapshot import snapshot
from benchd.core.state import Latch, Weighed
from benchd.core.watched import WATCHED
from protocols.limits import FITTED_BITS, WEIGHTS_TOLD
from protocols.status import BenchStatus
from tests.core.script import ALL, OTHER, WALL_US, S, Script, bench, proven
from tui.screens.interlocks import ACTIONS


def status(s: Script) -> BenchStatus:
    """What people see now."""
    return snapshot(s.state, s.now_ns, journal="a.journal")


def test_a_bench_without_a_board_has_no_link_and_says_why() -> None:
    s = Script()
    seen = status(s)
    assert (seen.state, seen.waits_for) == ("NO LINK", "The port is not open yet.")
    assert (seen.position_m, seen.link_age_s, seen.board) == (None, None, "")
    s.connect()
    s.tell(LinkDown("The cable was pulled."))
    assert status(s).waits_for == "The cable was pulled."


def test_weights_tube_record_and_attendance_are_told_to_whoever_comes_later() -> None:
    s = Script(carry=proven(bench(), tube=False)).connect()
    asked_ns = s.now_ns
    s.must("tube_in", id="T7", net_mass_kg=0.43, temperature_c=6.5).run(3)
    weights = tuple(Weighed(n, 0.03 + n / 1e5, 0.03) for n in range(1, WEIGHTS_TOLD + 9))
    again = Weighed(WEIGHTS_TOLD + 2, 0.028, 0.03)
    s.state = replace(s.state, weights=(*weights, again))
    seen = status(s)
    assert (seen.tube_net_kg, seen.tube_temperature_c) == (0.43, 6.5)
    assert seen.attended_s == pytest.approx((s.now_ns - asked_ns) / 1e9, abs=0.1)
    told = dict(seen.weights)
    assert len(told) == len(seen.weights) == WEIGHTS_TOLD
    assert told[again.portion] == again.mass_kg
    assert max(told) == WEIGHTS_TOLD + 8


def test_the_state_follows_what_the_board_says() -> None:
    s = Script()
    states = [status(s).state]

    def then(seconds: float = 0.3) -> None:
        s.run(seconds)
        states.append(status(s).state)

    s.connect()
    then()
    s.prove(20).must("here", position_m=0.0)
    then()
    s.must("arm", seconds=0.2).must("fire").must("drive", on=True)
    then()
    s.ask("jog", distance_m=0.002)
    then()
    then(2)
    s.ask("series", count=2, every_s=6.0)
    then(1)
    then(3)
    s.ask("pause")
    then(4)
    assert states == [
        "NO LINK", "TRIPPED", "DRIVE OFF", "READY", "NUDGING", "READY",
        "PORTIONING", "WAITING", "PAUSED",
    ]  # fmt: skip


def test_a_bench_that_was_never_proven_says_so() -> None:
    s = Script(carry=proven(bench(*ALL), build="other")).connect().prove(20)
    seen = status(s)
    assert seen.state == "NOT COMMISSIONED"
    assert seen.waits_for == "a person to prove the bench"


def test_an_interlock_names_the_command_that_clears_it_once() -> None:
    s = Script(carry=proven(bench(*ALL), build="other")).connect()
    s.tell(LinkDown("pulled"))
    never = Script(carry=Carry())
    for script in (s, never):
        for one in status(script).abnormals:
            text = " ".join((one.what, one.so_what, one.do_what))
            assert text.count(f"'benchd clear {one.code}'") <= 1
    assert "IL-15" in [one.code for one in status(never).abnormals]


def test_what_the_bench_waits_for_is_said_in_words() -> None:
    s = Script().connect()
    assert status(s).waits_for == "IL-20 to be cleared"
    s.prove(20)
    assert status(s).waits_for == "someone to say where the feed stands"
    s.must("here", position_m=0.0).must("arm", seconds=0.2).must("fire")
    assert status(s).waits_for == ""
    s.ask("jog", distance_m=0.01)
    s.run(0.5)
    assert status(s).waits_for == "the move to end"
    s.run(6)
    s.ask("portion", button=True)
    s.run(0.5)
    assert status(s).waits_for == "the local button"
    s.board.press_button(s.now_ns)
    s.run(0.5)
    assert (status(s).phase, status(s).waits_for) == ("push", "push to end")
    s.run(4)
    s.ask("series", count=3, every_s=8.0)
    s.run(4)
    assert status(s).waits_for.startswith("the next beat in ")
    s.ask("pause")
    assert status(s).waits_for == "resume (a person asked)"
    s.state = replace(s.state, series=replace(s.state.series, pause_reason=""))
    assert status(s).waits_for == "resume"
    s.state = replace(s.state, series=replace(s.state.series, paused=False, pausing=True))
    assert status(s).waits_for == "the safe point to pause"
    s.board.mute = True
    s.run(0.8)
    s.state = replace(s.state, link_text="")
    assert status(s).waits_for == "a word from the board"


def test_the_energy_line_treats_what_is_not_measured_as_loaded() -> None:
    facts = bench("home")
    s = Script(facts, proven(facts)).ready(at_m=0.1)
    seen = status(s)
    assert seen.barrel == "not measured: treat as loaded"
    assert seen.air == "not measured: treat as live"
    assert seen.coils == "drive off, valve off"
    s.must("relieve")
    assert status(s).barrel == "relieved, not measured"
    assert status(s).coils == "drive live, valve off"
    s.board.mute = True
    s.run(1)
    assert status(s).barrel == "not measured: treat as loaded"
    assert status(s).coils == "old reading: treat as live"


@pytest.mark.parametrize(
    ("thrust", "air", "barrel", "air_words"),
    [
        (0, 0, "0 N low", "0.0 bar low"),
        (100, 200, "10 N low", "0.2 bar low"),
        (101, 201, "10 N loaded", "0.2 bar live"),
        (3000, 2000, "300 N loaded", "2.0 bar live"),
    ],
)
def test_the_energy_line_gives_what_is_measured(
    thrust: int, air: int, barrel: str, air_words: str
) -> None:
    s = Script().ready()
    s.board.signals |= {"thrust": thrust, "air": air}
    s.run(1)
    seen = status(s)
    assert (seen.barrel, seen.air) == (barrel, air_words)
    assert seen.thrust_n == pytest.approx(thrust / 10)
    assert seen.air_pa == pytest.approx(air * 100)


def test_numbers_have_the_digits_of_their_source() -> None:
    s = Script().ready().must("portion", seconds=4)
    s.board.signals |= {"thrust": 993, "air": 5013, "supply": 4504}
    s.run(1)
    s.ask("weigh", mass_kg=30.1 * 1e-3, text="30.1 g")
    told = json.loads(msgspec.json.encode(status(s)))
    assert [told[name] for name in ("thrust_n", "air_pa", "supply_v")] == [99.3, 501_300.0, 4.504]
    assert told["weights"] == [[1, 0.0301]]
    assert told["last"]["mass_kg"] == told["mean_kg"] == 0.0301


def test_a_low_reading_counts_for_nothing_before_the_bench_is_proven() -> None:
    s = Script(carry=proven(bench(*ALL), build="other")).connect().prove(20)
    s.board.signals |= {"thrust": 0, "air": 0}
    s.run(1)
    seen = status(s)
    assert seen.barrel == "0 N not proven: treat as loaded"
    assert seen.air == "0.0 bar not proven: treat as live"


def test_a_low_reading_counts_for_nothing_after_thrust_collapsed() -> None:
    s = Script().ready()
    latch = Latch(12, s.now_ns, "Thrust fell.", 0, 0, True)
    s.state = replace(s.state, latches={**s.state.latches, 12: latch})
    s.board.signals |= {"thrust": 0}
    assert status(s).barrel.endswith("N since thrust collapsed: treat as loaded")


@pytest.mark.parametrize(("number", "switch"), [(1, "stop"), (2, "guard")])
def test_a_switch_that_went_back_shows_beside_its_latch(number: int, switch: str) -> None:
    s = Script().ready()
    s.board.pins.discard(switch)
    s.board.trip(number, s.now_ns)
    s.run(0.5)
    latch = next(row for row in status(s).abnormals if row.code == f"IL-{number:02d}")
    assert not latch.cause_gone
    s.board.pins.add(switch)
    s.run(0.5)
    latch = next(row for row in status(s).abnormals if row.code == f"IL-{number:02d}")
    assert latch.cause_gone
    assert latch.latched


def test_an_eye_that_was_never_taught_does_not_say_no_dough() -> None:
    facts = bench(*ALL)
    on, off = UNTAUGHT
    facts = replace(facts, limits={**facts.limits, "eye_on": on, "eye_off": off})
    s = Script(facts).connect()
    s.run(1)
    assert status(s).eye_counts is not None
    assert status(s).eye_sees is None
    assert status(Script().connect()).eye_sees is False


def test_an_armed_cutter_is_said_with_the_coils() -> None:
    s = Script().ready()
    s.must("arm", seconds=0.2)
    assert status(s).coils.endswith(", cutter ARMED")


def test_readings_of_a_sensor_that_fell_silent_are_old_though_the_board_beats() -> None:
    s = Script().ready()
    s.board.limits[31] = 0  # No sample comes any more.
    s.run(3)
    seen = status(s)
    assert seen.state != "NO LINK"
    assert seen.barrel == "old reading: treat as loaded"
    assert seen.air == "old reading: treat as live"
    assert (seen.thrust_n, seen.air_pa, seen.supply_v, seen.eye_counts) == (None,) * 4


def test_no_value_is_shown_once_the_board_is_silent() -> None:
    s = Script().ready()
    s.board.mute = True
    s.run(0.6)
    seen = status(s)
    assert seen.state == "NO LINK"
    assert seen.phase == ""
    assert not seen.position_known
    values = (seen.tube_left_m, seen.thrust_n, seen.air_pa, seen.supply_v, seen.eye_counts)
    assert values == (None,) * 5
    assert seen.eye_sees is None
    assert seen.link_age_s == pytest.approx(0.6, abs=0.1)


def test_what_is_not_fitted_stands_on_the_top_line() -> None:
    assert status(Script()).not_watched == ()
    facts = bench()
    seen = status(Script(facts, proven(facts)).connect())
    assert seen.not_watched == tuple(words for _, words in WATCHED)
    assert {name for name, _ in WATCHED} | {"local", "button", "dump", "ready", "drop"} == set(
        FITTED_BITS
    )
    assert (seen.thrust_n, seen.eye_counts, seen.eye_sees) == (None, None, None)


def test_the_portion_the_tube_and_the_weights_are_shown() -> None:
    s = Script().ready().must("portion", seconds=4).must("portion", seconds=4)
    s.ask("weigh", mass_kg=0.031, text="31")
    seen = status(s)
    assert (seen.portion, seen.unweighed, seen.n_weighed, seen.odd) == (2, (2,), 1, (0, 1))
    assert seen.mean_kg == pytest.approx(0.031)
    assert seen.last is not None
    assert (seen.last.number, seen.last.mass_kg) == (2, None)
    assert (seen.tube, seen.controller, seen.journal) == ("T1", "client 1", "a.journal")
    assert seen.tube_left_m == pytest.approx((152_000 - 20_800) / 800_000)
    assert (seen.dough, seen.aim_kg, seen.tube_left_portions) == ("", None, None)
    assert "boot 7" in seen.board
    assert seen.clock_error_s is not None


def test_during_a_portion_and_a_series_the_dough_and_what_is_left_are_shown() -> None:
    s = Script().ready()
    s.ask("portion")
    s.run(1)
    assert (status(s).dough, status(s).aim_kg) == ("masa", 0.030)
    s.run(4)
    s.ask("series", count=3, every_s=8.0)
    s.run(4)
    seen = status(s)
    assert seen.series is not None
    assert (seen.series.made, seen.series.count, seen.series.every_s) == (1, 3, 8.0)
    assert seen.series.next_in_s == pytest.approx(4, abs=0.2)
    assert seen.tube_left_portions == (152_000 - 2 * 10_400) // 12_000
    s.ask("pause")
    s.run(0.1)
    paused = status(s).series
    assert paused is not None
    assert (paused.paused, paused.next_in_s) == (True, None)


def test_both_taught_levels_are_shown_or_none() -> None:
    facts = bench(*ALL)
    one = Script(facts, proven(facts, eye_empty=(240.2, 1.0)))
    assert status(one).eye_taught is None
    both = Script(facts, proven(facts, eye_empty=(240.2, 1.0), eye_dough=(829.8, 1.0)))
    assert status(both).eye_taught == (240, 830)


def test_abnormals_stand_worst_first_with_what_it_means_and_what_to_do() -> None:
    s = Script().connect()
    rows = status(s).abnormals
    assert [row.code for row in rows] == ["IL-20", "IL-17"]
    assert [row.rank for row in rows] == [3, 1]
    assert "benchd clear IL-20" in rows[0].do_what
    assert "benchd cut" in rows[1].what
    assert rows[1].do_what == "One dry stroke lets go of it."
    s.board.trip(9, s.now_ns)
    s.board.mute = True
    s.run(0.7)
    rows = status(s).abnormals
    assert [row.code for row in rows][-2:] == ["IL-19", "IL-17"]
    assert rows[-2].rank == 2
    assert all(row.so_what for row in rows)


def test_what_was_set_by_hand_stands_in_status_with_its_group() -> None:
    s = Script().ready()
    assert (status(s).by_hand, status(s).group) == ({}, 1)
    s.result(s.ask("set", values={"air_pa": 1.2e5, "sleeve": "S3"}))
    assert status(s).by_hand == {"air_pa": 1.2e5, "sleeve": "S3"}
    assert status(s).group == 2


def test_a_latch_whose_cause_is_gone_says_so_and_stays() -> None:
    s = Script().ready()
    s.state = replace(s.state, slow_run=2)  # Two cuts were slow.
    s.tell(WallClock(WALL_US + 1))
    s.state = replace(s.state, slow_run=0)
    s.tell(WallClock(WALL_US + 60_000_000))
    row = next(row for row in status(s).abnormals if row.code == "IL-25")
    assert row.cause_gone
    assert row.latched


def test_a_snapshot_never_says_that_a_hand_may_go_in() -> None:
    def texts(value: Any) -> list[str]:
        if isinstance(value, str):
            return [value]
        if isinstance(value, tuple):
            return [text for item in value for text in texts(item)]
        fields = getattr(value, "__struct_fields__", ())
        return [text for name in fields for text in texts(getattr(value, name))]

    s = Script().ready(at_m=0.1).must("relieve").must("drive", on=False)
    s.board.signals |= {"air": 0}
    s.run(1)
    s.ask("series", client=OTHER, every_s=8.0)
    said = " ".join(texts(status(s))).lower()
    for word in ("safe to", "you may open", "all clear", "hands in"):
        assert word not in said
    assert S


def test_each_action_says_ahead_why_it_would_be_refused() -> None:
    s = Script().ready()
    why = status(s).why_not
    assert set(why) == {"open", "relieve"}
    assert why["open"].startswith("IL-13: ")
    assert why["relieve"].startswith("The feed stands at the rear end")
    s.tell(LinkDown("The cable was pulled."))
    why = status(s).why_not
    moving = {"feed", "relieve", "drive", "prime", "portion", "series", "stroke", "tube_out"}
    assert set(why) == {*moving, "open"} == set(ACTIONS)
    assert why["feed"].startswith("IL-19: ")


def test_at_an_open_guard_relieve_drive_power_and_tube_out_are_refused_ahead() -> None:
    s = Script().ready(at_m=0.1)
    assert set(status(s).why_not) == {"open"}
    s.board.pins.discard("guard")
    s.board.trip(2, s.now_ns)
    s.run(0.3)
    why = status(s).why_not
    for action in ("relieve", "drive", "tube_out"):
        assert why[action].startswith("IL-02: ")
    s = Script().connect().prove(20)
    s.state = replace(s.state, carry=replace(s.state.carry, tube=None))
    assert status(s).why_not["tube_out"] == "No tube is in."


def test_a_reason_without_a_code_stands_as_it_is() -> None:
    s = Script().ready()
    s.state = replace(s.state, board=replace(s.state.board, pins=0))
    assert status(s).why_not["portion"].startswith("Nobody said where the feed stands")


def test_a_tube_tells_how_long_it_has_been_in() -> None:
    s = Script().ready()
    s.must("tube_out")
    assert snapshot(s.state, s.now_ns).tube_open_s is None
    s.must("tube_in", seconds=90, id="T2")
    assert snapshot(s.state, s.now_ns).tube_open_s == pytest.approx(90, abs=0.1)


def test_weights_count_together_that_are_normal_complete_and_alike() -> None:
    def fact(number: int, kind: str = "normal", outcome: str = "complete", like: str = "a") -> Any:
        return {"number": number, "kind": kind, "outcome": outcome, "like": [like]}

    recent = (
        *(fact(number) for number in range(1, 9)),
        fact(9, kind="first"),
        fact(10, outcome="stopped"),
        fact(11, like="b"),
        fact(12),
    )
    weights = tuple(Weighed(number, 0.030 + number * 1e-5, 0.030) for number in range(13))
    state = replace(Script().connect().state, recent=recent, weights=weights)
    told = snapshot(state, 0)
    # The eight and the twelfth; nobody knows what the portion of number 0 was.
    alike_kg = [0.030 + number * 1e-5 for number in (*range(1, 9), 12)]
    assert told.n_spread == 9
    assert told.spread_kg is not None
    assert told.spread_kg[0] == pytest.approx(stdev(alike_kg))
    few = snapshot(replace(state, weights=weights[:8]), 0)
    assert (few.n_spread, few.spread_kg) == (7, None)
    assert snapshot(replace(state, weights=weights[:1]), 0).n_spread == 0


@pytest.mark.slow
def test_the_spread_is_told_of_eight_alike_and_with_its_interval() -> None:
    """Ten weights of one kind; the interval is held against a published table elsewhere."""
    s = Script().ready()
    s.ask("series", count=12, every_s=5.0)
    s.run(75)
    for number in range(1, 13):
        mass_kg = 0.030 + 0.0003 * (number % 3 - 1)
        s.ask("weigh", mass_kg=mass_kg, text="-", portion=number, confirmed=True)
        told = snapshot(s.state, s.now_ns)
        assert (told.spread_kg is None) == (told.n_spread < 8)
    normal = [
        w.mass_kg for w in s.state.weights if s.state.recent[w.portion - 1]["kind"] == "normal"
    ]
    assert told.n_spread == len(normal) >= 8
    assert told.spread_kg is not None
    sd, low, high = told.spread_kg
    assert sd == pytest.approx(stdev(normal))
    assert low < sd < high
    # Of what is not alike with the newest nothing is counted.
    changed = {**s.state.recent[-1], "like": ["another card"]}
    state = replace(s.state, recent=(*s.state.recent[:-1], changed))
    told = snapshot(state, s.now_ns)
    assert (told.n_spread, told.spread_kg) == (1, None)


def test_readings_are_told_with_their_limits_where_they_are_fitted() -> None:
    s = Script(bench(*ALL))
    s.state = replace(
        s.state,
        facts=replace(
            s.facts,
            limits={
                **s.facts.limits,
                "thrust_max": 4000,
                "air_min": 1500,
                "air_max": 6000,
                "supply_min": 4500,
            },
        ),
    )
    assert status(s).bounds == {
        "odd": (-0.08, 0.08),
        "thrust_n": (None, 400.0),
        "air_pa": (150_000.0, 600_000.0),
        "supply_v": (4.5, None),
    }
    assert set(status(Script(bench())).bounds) == {"odd"}
