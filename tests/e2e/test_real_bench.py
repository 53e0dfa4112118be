"""Stories on the real thing, over a real serial port: what a person does, and what goes wrong."""

from __future__ import annotations

import os
import pty
import resource
import signal
import tty
from pathlib import Path
from typing import Any

import pytest

from benchd.analysis.integrity import check
from benchd.analysis.replay import verify_file
from tests.e2e.conftest import PROOFS, RealBench, Refusal, Terminal

pytestmark = pytest.mark.slow


def assert_stays(terminal: Terminal, position_m: float) -> None:
    """Nothing moves during the next beats."""
    for _ in range(5):
        terminal.news.clear()
        status = terminal.wait_for("status", lambda status: True)
        assert status["position_m"] == pytest.approx(position_m, abs=1e-6)


def assert_goes_on_from_what_the_board_counted(
    terminal: Terminal, status: dict[str, Any], board: str
) -> None:
    """The board of before knows its position; nothing moves by itself, and a jog does as asked."""
    assert status["board"] == board
    assert status["position_known"]
    assert_stays(terminal, status["position_m"])
    moved = terminal.ask("jog", distance_m=0.001)
    assert moved["position_m"] == pytest.approx(status["position_m"] + 0.001, abs=2e-6)


def test_the_whole_job_from_power_up_to_a_verified_journal(real_bench: RealBench) -> None:
    real_bench.simulate()
    daemon = real_bench.serve()
    terminal = real_bench.terminal()
    real_bench.make_ready(terminal)
    portion = terminal.ask("portion", dough=real_bench.masa)
    assert portion["outcome"] == "complete"
    assert portion["made_steps"] == portion["asked_steps"]
    assert set(portion["phase_s"]) == {"take-up", "push", "draw-back", "settle", "cut", "return"}
    assert terminal.ask("weigh", mass_kg=0.0301, text="30.1")["portion"] == portion["number"]
    series = terminal.ask("series", dough=real_bench.masa, every_s=5.0, count=2)
    assert (series["what"], series["made"]) == ("ended", 2)
    assert daemon.end() == 0
    (journal,) = real_bench.journals()
    assert check(journal).clean
    verdict = verify_file(journal)
    assert verdict.same
    assert verdict.inputs > 500


def test_a_closed_terminal_stops_its_jog_at_once(real_bench: RealBench) -> None:
    real_bench.simulate()
    real_bench.serve()
    hand, watcher = real_bench.terminal(), real_bench.terminal()
    real_bench.prove(hand)
    hand.send("jog", distance_m=0.02, speed_m_s=0.002)
    watcher.wait_for("status", lambda status: status["state"] == "NUDGING")
    hand.close()
    move = watcher.wait_for("move", lambda move: move["ending"] == "stopped")
    assert 0 < move["position_m"] < 0.02


def test_a_killed_daemon_leaves_a_board_that_stops_by_its_lease(real_bench: RealBench) -> None:
    real_bench.simulate()
    daemon = real_bench.serve()
    terminal = real_bench.terminal()
    real_bench.prove(terminal)
    board = terminal.ask("status")["board"]
    terminal.send("jog", distance_m=0.05, speed_m_s=0.002)
    terminal.wait_for("status", lambda status: status["state"] == "NUDGING")
    daemon.end(signal.SIGKILL)
    assert check(real_bench.journals()[0]).clean
    real_bench.serve()
    again = real_bench.terminal()
    status = again.wait_for("status", lambda s: s["pins"]["adopted"] and s["state"] != "NUDGING")
    assert 0 < status["position_m"] < 0.05
    assert_goes_on_from_what_the_board_counted(again, status, board)


def test_unplugged_is_noticed_and_plugged_in_again_moves_nothing(real_bench: RealBench) -> None:
    simulator = real_bench.simulate()
    real_bench.serve()
    terminal = real_bench.terminal()
    real_bench.prove(terminal)
    board = terminal.ask("status")["board"]
    jog = terminal.send("jog", distance_m=0.03, speed_m_s=0.001)
    terminal.wait_for("status", lambda status: status["state"] == "NUDGING")
    simulator.control("unplug")
    with pytest.raises(Refusal, match="link to the board is gone"):
        terminal.answer(jog)
    assert terminal.ask("status")["state"] == "NO LINK"
    simulator.control("plug")
    terminal.news.clear()
    back = ("READY", "DRIVE OFF", "TRIPPED")
    status = terminal.wait_for("status", lambda status: status["state"] in back)
    assert 0 < status["position_m"] < 0.03
    assert_goes_on_from_what_the_board_counted(terminal, status, board)


def test_a_reset_board_needs_a_person_again(real_bench: RealBench) -> None:
    simulator = real_bench.simulate()
    real_bench.serve()
    terminal = real_bench.terminal()
    real_bench.prove(terminal)
    terminal.news.clear()
    simulator.control("reset lowvolt")
    trip = terminal.wait_for("trip", lambda trip: trip["interlock"] == "IL-20" and trip["up"])
    assert "lowvolt" in trip["text"]
    status = terminal.wait_for("status", lambda status: status["pins"]["adopted"])
    assert not status["position_known"]
    terminal.ask("clear", interlock=20, name="tester", words=PROOFS[20])
    status = terminal.ask("status")
    assert (status["state"], status["position_m"]) == ("DRIVE OFF", None)
    with pytest.raises(Refusal, match="Nobody said where the feed stands"):
        terminal.ask("prime")
    with pytest.raises(Refusal):
        terminal.ask("portion", dough=real_bench.masa)


def test_a_board_that_restarts_when_its_port_is_opened_is_taken_as_it_is(
    real_bench: RealBench,
) -> None:
    bench = real_bench.simulate("--resets-when-opened")
    daemon = real_bench.serve()
    bench.wait_for('{"opened": true}')
    terminal = real_bench.terminal()
    real_bench.make_ready(terminal)
    assert terminal.ask("portion", dough=real_bench.masa)["outcome"] == "complete"
    # The next daemon resets the board by opening the port; it must not go on from the old place.
    assert daemon.end() == 0
    bench.output = ""
    real_bench.serve()
    bench.wait_for('{"opened": true}')
    again = real_bench.terminal()
    restarted = again.wait_for(
        "status", lambda status: any(row["code"] == "IL-20" for row in status["abnormals"])
    )
    assert restarted["position_known"] is False
    with pytest.raises(Refusal):
        again.ask("jog", distance_m=0.001)


def test_an_opened_guard_stops_a_series_which_waits_for_proof_and_resume(
    real_bench: RealBench,
) -> None:
    simulator = real_bench.simulate()
    real_bench.serve()
    terminal = real_bench.terminal()
    real_bench.make_ready(terminal)
    series = terminal.send("series", dough=real_bench.masa, every_s=6.0, count=3)
    terminal.wait_for("status", lambda status: status["phase"] == "push")
    simulator.control("press guard off")
    answer = terminal.answer(series)
    assert answer["what"] == "paused"
    assert "IL-02" in answer["reason"]
    portion = terminal.wait_for("portion", lambda _: True)
    terminal.wait_for("status", lambda status: status["position_m"] is None)
    with pytest.raises(Refusal):
        terminal.ask("resume")
    with pytest.raises(Refusal, match=r"Guard open|still there"):
        terminal.ask("clear", interlock=2, name="tester", words=["shut", "clear", "home"])
    simulator.control("press guard on")
    terminal.news.clear()
    terminal.wait_for("status", lambda status: status["pins"]["guard"])
    with pytest.raises(Refusal, match="asks for the word"):
        terminal.ask("clear", interlock=2, name="tester", words=["open", "clear", "home"])
    terminal.ask("clear", interlock=2, name="tester", words=["shut", "clear", "home"])
    # The feed was stopped within a pulse: where it stands must be said, and a dry stroke made.
    with pytest.raises(Refusal):
        terminal.ask("resume")
    terminal.ask("here", position_m=portion["position_m"])
    terminal.arm()
    terminal.ask("fire")
    answer = terminal.ask("resume")
    assert (answer["what"], answer["made"]) == ("ended", 3)


def test_a_second_daemon_for_the_bench_or_the_port_is_refused(real_bench: RealBench) -> None:
    real_bench.simulate()
    real_bench.serve()
    same = real_bench.run("serve", "bench.yaml")
    assert same.returncode == 1
    assert "already running" in same.stderr
    other = real_bench.folder / "other.yaml"
    other.write_text(real_bench.card_text.replace("bench: maize", "bench: other"))
    second = real_bench.start("serve", "other.yaml")
    second.wait_for("in use by")
    assert second.end() == 0
    for done in (same.stdout + same.stderr, second.output):
        assert "Traceback" not in done


def test_a_stranger_on_the_port_is_told_from_a_board(real_bench: RealBench) -> None:
    master, slave = pty.openpty()
    tty.setraw(slave)
    (real_bench.folder / "bench-port").symlink_to(os.ttyname(slave))
    real_bench.serve()
    terminal = real_bench.terminal()
    for _ in range(60):
        os.write(master, b"temperature 21.5 C, humidity 40 %\r\n")
    status = terminal.wait_for(
        "status", lambda status: "Something else than a bench board" in status["waits_for"]
    )
    assert status["state"] == "NO LINK"
    os.close(master)
    os.close(slave)


def test_without_a_port_the_daemon_says_so_once_and_waits(real_bench: RealBench) -> None:
    daemon = real_bench.serve()
    terminal = real_bench.terminal()
    assert terminal.ask("status")["state"] == "NO LINK"
    real_bench.simulate()
    terminal.wait_for("status", lambda status: status["pins"]["adopted"])
    assert daemon.end() == 0
    assert daemon.output.count("There is no port") == 1


def test_a_full_disk_stops_new_portions_and_a_new_journal_takes_over(
    real_bench: RealBench,
) -> None:
    real_bench.simulate()
    daemon = real_bench.serve()
    terminal = real_bench.terminal()
    real_bench.make_ready(terminal)
    # To the daemon the disk is full: no file may grow, and a new one has no room either.
    resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE, (1_000, resource.RLIM_INFINITY))
    daemon.wait_for("later entries are held in memory only")
    terminal.wait_for("status", lambda status: not status["journal_ok"])
    with pytest.raises(Refusal) as refused:
        terminal.ask("portion", dough=real_bench.masa)
    assert refused.value.error["data"]["condition"] == "IL-28"
    assert terminal.ask("jog", distance_m=-0.001)["ending"] == "reached"
    resource.prlimit(
        daemon.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY)
    )
    daemon.wait_for("The journal goes on in")
    # Events are missing from the journal, so the air may have been away: a dry stroke first.
    terminal.arm()
    assert terminal.ask("fire")["outcome"] == "complete"
    assert terminal.ask("portion", dough=real_bench.masa)["outcome"] == "complete"
    assert daemon.output.count("later entries are held in memory only") == 1
    assert daemon.end() == 0
    assert len(real_bench.journals()) == 2
    for journal in real_bench.journals():
        assert real_bench.run("replay", str(journal), "--verify").returncode == 0


def test_ctrl_c_in_a_series_is_stop(real_bench: RealBench) -> None:
    real_bench.simulate()
    real_bench.serve()
    terminal = real_bench.terminal()
    real_bench.make_ready(terminal)
    series = real_bench.start("series", "masa.yaml", "--count", "5", "--every", "6s", "--yes")
    terminal.wait_for("status", lambda status: status["phase"] == "push")
    series.end(signal.SIGINT)
    ended = terminal.wait_for("series", lambda series: series["what"] == "ended")
    assert ended["reason"] == "stopped"
    portion = terminal.wait_for("portion", lambda portion: True)
    assert portion["outcome"] == "stopped"
    assert "Traceback" not in series.output


def test_the_smallest_bench_makes_a_portion(tmp_path: Path) -> None:
    bench = RealBench(tmp_path, "smallest.yaml")
    try:
        bench.simulate()
        bench.serve()
        terminal = bench.terminal()
        bench.make_smallest_ready(terminal)
        assert terminal.ask("portion", dough=bench.masa)["outcome"] == "complete"
        assert "guard" in terminal.ask("status")["not_watched"]
    finally:
        bench.end()


def test_a_new_board_on_the_port_is_not_taken_for_the_old_one(real_bench: RealBench) -> None:
    first = real_bench.simulate()
    daemon = real_bench.serve()
    terminal = real_bench.terminal()
    real_bench.prove(terminal)
    boot = terminal.ask("status")["board"]
    first.end()
    terminal.wait_for("status", lambda status: status["state"] == "NO LINK")
    terminal.news.clear()
    real_bench.simulate()
    # Until it has answered, the status tells of the board that was heard last.
    status = terminal.wait_for(
        "status", lambda status: status["board"] != boot and status["state"] == "TRIPPED"
    )
    assert not status["position_known"]
    terminal.wait_for("trip", lambda trip: trip["interlock"] == "IL-20" and trip["up"])
    assert daemon.end() == 0
    assert check(real_bench.journals()[0]).clean


def test_a_request_that_makes_no_sense_is_refused_and_moves_nothing(
    real_bench: RealBench,
) -> None:
    real_bench.simulate()
    real_bench.serve()
    terminal = real_bench.terminal()
    real_bench.prove(terminal)
    for method, params, code in (
        ("jog", {"distance_m": "far"}, -32602),
        ("jog", {"distance_m": 0.001, "colour": "red"}, -32602),
        ("jog", {}, -32602),
        ("dance", {}, -32601),
        ("portion", {"dough": "no: card"}, -32001),
        ("jog", {"distance_m": 1e9}, -32001),
        ("here", {"position_m": -1.0}, -32001),
    ):
        with pytest.raises(Refusal) as refused:
            terminal.ask(method, **params)
        assert refused.value.error["code"] == code, method
    assert terminal.ask("status")["position_m"] == 0.0
    assert terminal.ask("jog", distance_m=0.001)["ending"] == "reached"
