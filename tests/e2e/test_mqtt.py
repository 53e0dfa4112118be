"""The whole daemon beside a real broker: what it tells, and that no broker changes the bench."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.e2e.conftest import RealBench
from tests.mosquitto import Mosquitto, Watcher
from tests.waiting import WAIT_S

pytestmark = pytest.mark.slow

SECRET = "masa-harina-0815"


def name_broker(bench: RealBench, port: int) -> None:
    """Put the broker into the bench's card, with a password that the broker does not ask for."""
    (bench.folder / "secret").write_text(f"{SECRET}\n")
    text = (
        f"\nmqtt:\n  broker: 127.0.0.1\n  port: {port}\n  every: 200 ms\n"
        "  user: bench\n  password_file: secret\n"
    )
    (bench.folder / "bench.yaml").write_text(bench.card_text + text)


def children(pid: int) -> list[str]:
    """Command lines of a process's children."""
    found = []
    for tasks in Path(f"/proc/{pid}/task").glob("*/children"):
        for child in tasks.read_text().split():
            found.append(Path(f"/proc/{child}/cmdline").read_text().replace("\0", " "))
    return found


def test_a_portion_and_its_weight_go_out_and_a_killed_daemon_is_missed(
    real_bench: RealBench, broker: Mosquitto, watcher: Watcher
) -> None:
    name_broker(real_bench, broker.port)
    real_bench.simulate()
    daemon = real_bench.serve()
    terminal = real_bench.terminal()
    real_bench.make_ready(terminal)
    trip = watcher.wait_for("trip", lambda heard: heard.values["interlock"] == "IL-20")
    assert trip.values["up"]
    made = terminal.ask("portion", dough=real_bench.masa)
    portion = watcher.wait_for("portion")
    assert portion.values["number"] == made["number"]
    assert portion.values["outcome"] == "complete"
    assert portion.values["aim"] == pytest.approx(0.030)
    assert portion.time_s is not None
    assert abs(portion.time_s - time.time()) < WAIT_S
    terminal.ask("weigh", mass_kg=0.0302, text="30.2 g")
    weight = watcher.wait_for("weight")
    assert weight.values["mass"] == pytest.approx(0.0302)
    assert weight.values["after-row"] == portion.values["row"]
    state = watcher.wait_for("state", lambda heard: heard.values["row"] == weight.values["row"])
    assert state.values["word"] == "READY"
    assert f"{state.values['journal']}.journal" == real_bench.journals()[-1].name

    daemon.end(signal.SIGKILL)
    gone = watcher.wait_for("online", lambda heard: not heard.values["online"])
    assert gone.values["why"] == "gone without a word"

    kept = [path for path in (real_bench.folder / "state").rglob("*") if path.is_file()]
    assert any(path.suffix == ".journal" for path in kept)
    assert [path for path in kept if SECRET.encode() in path.read_bytes()] == []
    assert SECRET not in daemon.output


def test_a_frozen_broker_changes_nothing_at_the_bench(
    real_bench: RealBench, broker: Mosquitto, watcher: Watcher
) -> None:
    name_broker(real_bench, broker.port)
    real_bench.simulate()
    daemon = real_bench.serve()
    terminal = real_bench.terminal()
    watcher.wait_for("state")
    broker.freeze()
    real_bench.make_ready(terminal)
    assert terminal.ask("portion", dough=real_bench.masa)["outcome"] == "complete"
    terminal.wait_for(
        "status",
        lambda status: (
            "does not answer" in status["broker"]["trouble"] and status["broker"]["waiting"] > 0
        ),
    )
    begun_s = time.monotonic()
    assert daemon.end(signal.SIGTERM) == 0
    assert time.monotonic() - begun_s < WAIT_S / 2
    assert "does not answer" in daemon.output

    # The next daemon tells what this one could not.
    broker.thaw()
    real_bench.serve()
    portion = watcher.wait_for("portion")
    assert f"{portion.values['journal']}.journal" == real_bench.journals()[0].name


def test_without_a_broker_in_the_card_nothing_of_it_is_there(real_bench: RealBench) -> None:
    daemon = real_bench.serve()
    terminal = real_bench.terminal()
    assert terminal.ask("status")["broker"] is None
    assert children(daemon.pid) == []
    daemon.end()
    assert "MQTT" not in daemon.output


def test_the_daemon_never_loads_the_library() -> None:
    code = "import sys, benchd.serve; sys.exit('aiomqtt' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
