"""What MQTT costs a request: three daemons side by side, without it, with it, with a frozen broker.

Each is the real daemon on a simulated board. Rounds take turns, so that whatever else the machine
does meets all three alike; each round gives a ratio, and the median of those is the figure.
"""

from __future__ import annotations

import statistics
import tempfile
from pathlib import Path

from tests.bench.rpc import _ask
from tests.e2e.conftest import RealBench
from tests.mosquitto import Mosquitto

ROUNDS, CALLS = 31, 500
LINE = b'{"jsonrpc":"2.0","id":1,"method":"status","params":{}}\n'
OFF, ON, FROZEN = "off", "on", "frozen"


class _Bench:
    """A bench that runs, and its broker if it has one."""

    def __init__(self, folder: Path, broker: Mosquitto | None) -> None:
        self.rig = RealBench(folder)
        if broker is not None:
            text = f"\nmqtt:\n  broker: 127.0.0.1\n  port: {broker.port}\n  every: 200 ms\n"
            (folder / "bench.yaml").write_text(self.rig.card_text + text)
        self.rig.simulate()
        self.rig.serve()
        terminal = self.rig.terminal()
        if broker is not None:
            terminal.wait_for("status", lambda status: status["broker"]["connected"])
        terminal.close()
        (self.path,) = (folder / "run" / "benchd").glob("*.socket")

    def p50_p99_ms(self) -> tuple[float, float]:
        """Ask for the status many times."""
        times_ms = _ask(str(self.path), LINE, CALLS)
        return statistics.median(times_ms), statistics.quantiles(times_ms, n=100)[98]


def request_beside_brokers(rounds: int = ROUNDS) -> dict[str, float]:
    """Return medians over the rounds of p50 and p99 of a request [ms] for each of the three, and of
    the ratios of p99 to that without MQTT."""
    with tempfile.TemporaryDirectory() as name:
        brokers: dict[str, Mosquitto] = {}
        benches: dict[str, _Bench] = {}
        try:
            for word in (OFF, ON, FROZEN):
                folder = Path(name) / word
                folder.mkdir()
                if word != OFF:
                    brokers[word] = Mosquitto(folder)
                benches[word] = _Bench(folder, brokers.get(word))
            brokers[FROZEN].freeze()
            return _measure(benches, rounds)
        finally:
            for bench in benches.values():
                bench.rig.end()
            for broker in brokers.values():
                broker.end()


def _measure(benches: dict[str, _Bench], rounds: int) -> dict[str, float]:
    p50: dict[str, list[float]] = {word: [] for word in benches}
    p99: dict[str, list[float]] = {word: [] for word in benches}
    words = list(benches)
    for turn in range(rounds):
        for word in words[turn % 3 :] + words[: turn % 3]:
            middle_ms, late_ms = benches[word].p50_p99_ms()
            p50[word].append(middle_ms)
            p99[word].append(late_ms)
    result = {f"{word}_p50_ms": statistics.median(p50[word]) for word in words}
    result |= {f"{word}_p99_ms": statistics.median(p99[word]) for word in words}
    for word in (ON, FROZEN):
        ratios = [one / off for one, off in zip(p99[word], p99[OFF], strict=True)]
        result[f"{word}_ratio"] = statistics.median(ratios)
    return result
