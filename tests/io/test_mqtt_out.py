"""News to a real broker: what goes out, what a late reader finds, and how the bench is missed."""

from __future__ import annotations

import os
import re
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from benchd.io import mqtt_out
from protocols import senml
from tests.io.mqtt_rig import Rig, broker_at, has_gap, portion_of
from tests.mosquitto import Heard, Mosquitto, Watcher

pytestmark = pytest.mark.slow

MakeRig = Callable[..., Rig]


@pytest.fixture
def make_rig(tmp_path: Path, broker: Mosquitto) -> Iterator[MakeRig]:
    rigs: list[Rig] = []

    def make(name: str = "a", **changes: Any) -> Rig:
        folder = tmp_path / "bench"
        folder.mkdir(exist_ok=True)
        rigs.append(Rig(folder, broker_at(**{"port": broker.port, **changes}), name=name))
        return rigs[-1]

    yield make
    for rig in rigs:
        rig.end()


def is_up(heard: Heard) -> bool:
    return bool(heard.values["online"])


def is_down(heard: Heard) -> bool:
    return not heard.values["online"]


def is_portion(number: int) -> Callable[[Heard], bool]:
    return lambda heard: portion_of(heard) == number


def test_everything_goes_out_under_its_topic(watcher: Watcher, make_rig: MakeRig) -> None:
    rig = make_rig()
    begun_s = time.time()
    assert watcher.wait_for("online").values == {"online": True, "journal": "a", "row": 0}
    state = watcher.wait_for("state")
    assert state.topic == "benchd/maize/state"
    assert state.values["word"] == "READY"
    rig.write("portion", number=7, phase_s={"push": 2.2})
    rig.write("weight", portion=7, mass_kg=0.0301)
    rig.write("note", text="only for the journal")
    rig.write("trip", interlock="IL-09", up=True, text="dough gone")
    portion, weight, trip = watcher.collect(
        {"portion", "weight", "trip", "note"}, lambda heard: heard.word == "trip"
    )
    assert portion.topic == "benchd/maize/portion"
    assert portion.values["phase/push"] == 2.2
    assert weight.values["mass"] == 0.0301
    assert trip.values["interlock"] == "IL-09"
    assert [one.values["row"] for one in (portion, weight, trip)] == [1, 2, 4]
    assert not has_gap([portion, weight, trip])
    assert [one.retained for one in (state, portion, weight, trip)] == [False] * 4
    for one in (state, portion, weight, trip):
        assert one.time_s is not None
        assert begun_s - 60 < one.time_s < time.time() + 1
    rig.wait_for(lambda: rig.out.status.connected)
    rig.wait_for(lambda: rig.said == ["MQTT: news goes out to 127.0.0.1."])


def test_who_comes_late_finds_state_and_place(
    broker: Mosquitto, watcher: Watcher, make_rig: MakeRig
) -> None:
    rig = make_rig()
    rig.weigh([1])
    watcher.wait_for("weight")
    watcher.wait_for("state", lambda heard: heard.values["row"] == 1)
    late = Watcher(broker.port)
    state, online = late.wait_for("state"), late.wait_for("online")
    assert state.retained
    assert online.retained
    assert state.values["row"] == 1
    assert online.values["online"]
    rig.weigh([2])
    # The first record that it hears follows the place that the state told.
    weight = late.wait_for("weight")
    assert (portion_of(weight), weight.values["after-row"]) == (2, 1)
    late.end()


def test_the_broker_tells_when_the_daemon_was_killed(watcher: Watcher, make_rig: MakeRig) -> None:
    rig = make_rig()
    watcher.wait_for("online", is_up)
    rig.die()
    gone = watcher.wait_for("online", is_down)
    assert gone.values["why"] == "gone without a word"
    assert gone.time_s is None


def test_a_daemon_that_ends_in_good_order_says_so(watcher: Watcher, make_rig: MakeRig) -> None:
    rig = make_rig()
    watcher.wait_for("online", is_up)
    rig.in_loop(rig.out.end)
    gone = watcher.wait_for("online", is_down)
    assert gone.values["why"] == "ended"
    assert gone.time_s is not None


def test_a_daemon_that_hangs_is_not_online(watcher: Watcher, make_rig: MakeRig) -> None:
    rig = make_rig()
    watcher.wait_for("online", is_up)
    rig.in_loop(rig.out._timer.cancel if rig.out._timer else lambda: None)
    assert watcher.wait_for("online", is_down).values["why"] == "the daemon is silent"
    rig.in_loop(rig.out._tick)
    watcher.wait_for("online", is_up)


def test_a_killed_process_is_missed_and_started_again(
    watcher: Watcher, make_rig: MakeRig, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mqtt_out, "AGAIN_S", 0.1)
    rig = make_rig()
    watcher.wait_for("online", is_up)
    rig.weigh([1])
    watcher.wait_for("weight")
    rig.signal(signal.SIGKILL)
    assert watcher.wait_for("online", is_down).values["why"] == "gone without a word"
    rig.weigh([2])
    rig.wait_for(lambda: any("ended by itself" in text for text in rig.said))
    watcher.wait_for("online", is_up)
    heard = watcher.collect({"weight"}, is_portion(2))
    # At least once: the first may come again, if it was killed before the cursor was kept.
    assert [portion_of(one) for one in heard] in ([2], [1, 2])


def test_the_cursor_outlives_the_daemon(watcher: Watcher, make_rig: MakeRig) -> None:
    rig = make_rig("a")
    rig.weigh([1, 2])
    watcher.collect({"weight"}, is_portion(2))
    process = rig.out._process
    assert process is not None
    rig.in_loop(rig.out.end)
    process.wait(30)
    rig.weigh([3])
    make_rig("b").weigh([4])
    heard = watcher.collect({"weight"}, is_portion(4))
    assert [portion_of(one) for one in heard] == [3, 4]
    assert [one.values["journal"] for one in heard] == ["a", "b"]
    assert not has_gap(heard)
    assert heard[0].values["after-row"] == 2


def test_what_no_broker_took_from_the_first_daemon_the_next_one_tells(
    broker: Mosquitto, watcher: Watcher, make_rig: MakeRig
) -> None:
    first = make_rig("a", port=1)
    first.weigh([1, 2])
    first.wait_for(lambda: first.out.status.waiting == 2)
    first.end()
    make_rig("b").weigh([3])
    heard = watcher.collect({"weight"}, is_portion(3))
    assert [portion_of(one) for one in heard] == [1, 2, 3]
    assert not has_gap(heard)


def test_a_journal_that_broke_is_followed_by_the_next(watcher: Watcher, make_rig: MakeRig) -> None:
    rig = make_rig("a")
    rig.weigh([1])
    watcher.wait_for("weight")
    rig.weigh([2])
    rig.file.close()
    rig.open_journal("b")
    rig.weigh([3])
    heard = watcher.collect({"weight"}, is_portion(3))
    assert [portion_of(one) for one in heard] == [2, 3]
    assert not has_gap(heard)


def test_a_frozen_process_holds_nobody_up(watcher: Watcher, make_rig: MakeRig) -> None:
    rig = make_rig(every_s=0.001)
    watcher.wait_for("online", is_up)
    rig.signal(signal.SIGSTOP)
    # Enough statuses to fill the pipe many times over, each given in an instant.
    slowest_s = 0.0
    for _ in range(500):
        begun_s = time.perf_counter()
        rig.in_loop(lambda: rig.out._give(b" " * 2_000 + b"\n"))
        slowest_s = max(slowest_s, time.perf_counter() - begun_s)
    assert rig.out._unsent
    assert slowest_s < 1.0
    rig.weigh([1])
    rig.signal(signal.SIGCONT)
    assert portion_of(watcher.wait_for("weight")) == 1


def test_nothing_is_subscribed_to_and_nothing_said_is_heard(
    broker: Mosquitto, watcher: Watcher, make_rig: MakeRig
) -> None:
    make_rig()
    watcher.wait_for("online", is_up)
    before = watcher.wait_for("state")
    for word in ("stop", "jog", "state/set", "portion"):
        topic = f"benchd/maize/{word}"
        watcher._client.publish(topic, senml.pack(f"{topic}/", None, [senml.Field("x", 1)]))
    watcher.wait_for("set")
    after = watcher.wait_for("state")
    assert after.values["word"] == before.values["word"]
    broker.end()
    said = broker.log.read_text("utf-8")
    assert " 1 #\n" in said  # So does the broker note who subscribes to what.
    assert "benchd-maize" in said
    assert not re.search(r"benchd-maize [012] ", said)


def test_the_process_gives_way_to_the_bench(make_rig: MakeRig) -> None:
    rig = make_rig()
    rig.wait_for(lambda: rig.out.status.connected)
    assert rig.out.pid is not None
    assert os.getpriority(os.PRIO_PROCESS, rig.out.pid) > os.getpriority(os.PRIO_PROCESS, 0)
