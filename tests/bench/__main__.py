"""`make bench`: every promised figure, measured here and now, beside the bare floor in the same
run.

Prints one line a figure and exits with 1 if one is missed. A busy machine misses figures that a
quiet one meets: the floor
beside each tells which of the two it was.
"""

from __future__ import annotations

import importlib
import os
import statistics
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple


class Figure(NamedTuple):
    """One measured figure: name, value as text, aim as text, whether it is met, floor as text."""

    name: str
    value: str
    aim: str
    met: bool
    floor: str


def median_of(measure: Callable[[], dict[str, float]], runs: int = 3) -> dict[str, float]:
    """Measure so many times and return the median of each number."""
    taken = [measure() for _ in range(runs)]
    return {name: statistics.median(one[name] for one in taken) for name in taken[0]}


def _link(folder: Path) -> Iterator[Figure]:
    from tests.bench.daemon import lines_through_the_link

    got = median_of(lines_through_the_link)
    yield Figure(
        "lines through the daemon's link",
        f"{got['lines_per_s']:,.0f}/s, {got['lost']:.0f} lost",
        "30,000/s, 0 lost",
        got["lines_per_s"] >= 30_000 and got["lost"] == 0,
        f"{got['floor_lines_per_s']:,.0f}/s split and check alone",
    )
    queue = median_of(lambda: lines_through_the_link(with_queue=True))
    share = got["core_share_at_30000"]
    yield Figure(
        "share of a core at 30,000 lines/s",
        f"{share:.0%}",
        "40 %",
        share <= 0.40,
        f"{queue['core_share_at_30000']:.0%} with the journal's queue",
    )


def _answer(folder: Path) -> Iterator[Figure]:
    link = importlib.import_module("tests.bench.link")
    got = link.command_to_answer()
    yield Figure(
        "command to answer over the pty",
        f"p50 {got['p50_ms']:.2f} ms, p99 {got['p99_ms']:.2f} ms",
        "p50 0.3 ms, p99 2 ms",
        got["p50_ms"] <= 0.3 and got["p99_ms"] <= 2,
        f"p50 {got['floor_p50_ms']:.2f} ms, p99 {got['floor_p99_ms']:.2f} ms bare echo",
    )


def _stop(folder: Path) -> Iterator[Figure]:
    from tests.bench.daemon import trip_to_stop

    got = trip_to_stop()
    text = f"p50 {got['p50_ms']:.2f} ms, p99 {got['p99_ms']:.2f} ms"
    yield Figure(
        "trip event in, stop line out", text, "p99 2 ms", got["p99_ms"] <= 2, "see bare echo"
    )


def _journal(folder: Path) -> Iterator[Figure]:
    from tests.bench import journal

    for rate in (20, 2_000, 20_000):
        got = journal.latency(folder, rate)
        text = f"p50 {got.p50_ms:.0f} ms, p99 {got.p99_ms:.0f} ms"
        yield Figure(
            f"event to durable at {rate:,}/s",
            text,
            "p99 60 ms",
            got.p99_ms <= 60,
            f"window {journal.WINDOW_S * 1000:.0f} ms",
        )
    rate, floor = journal.entries_per_s(folder), journal.floor_entries_per_s(folder)
    yield Figure(
        "entries/s, 200 a commit", f"{rate:,.0f}", "-", True, f"{floor:,.0f} write and sync alone"
    )
    size = journal.bytes_per_entry(folder)
    yield Figure("journal bytes a sampled event", f"{size:.1f}", "60", size <= 60, "200 a commit")
    size = journal.bytes_per_entry(folder, 400, journal.AT_REST)
    text = f"{journal.AT_REST} a commit"
    yield Figure("journal bytes an entry at rest", f"{size:.1f}", "60", size <= 60, text)


def _lag(folder: Path) -> Iterator[Figure]:
    from tests.bench.loop_lag import loop_lag

    got = loop_lag(folder)
    yield Figure(
        "event-loop lag, fsync taking 200 ms",
        f"p99 {got['p99_ms']:.2f} ms over {got['syncs']:.0f} syncs",
        "p99 2 ms",
        got["p99_ms"] <= 2 and got["syncs"] > 5,
        f"p99 {got['floor_p99_ms']:.2f} ms bare loop",
    )


def _replay(folder: Path) -> Iterator[Figure]:
    from tests.bench.daemon import replay_rate

    got = median_of(replay_rate)
    yield Figure(
        "replay and verify",
        f"{got['inputs_per_s']:,.0f} inputs/s, {got['differences']:.0f} differ",
        "100,000/s, 0 differ",
        got["inputs_per_s"] >= 100_000 and got["differences"] == 0,
        f"{got['floor_inputs_per_s']:,.0f}/s decoding alone",
    )


def _core(folder: Path) -> Iterator[Figure]:
    from tests.bench.core import core_speed

    got = core_speed()
    speed = got.ratio
    yield Figure("firmware core, trivial plant", f"{speed:,.0f} s/s", "500 s/s", speed >= 500, "-")


def _start(folder: Path) -> Iterator[Figure]:
    from tests.bench.daemon import command_start

    got = command_start()
    text = f"{got['status_ms']:.0f} ms"
    floor = f"{got['bare_python_ms']:.0f} ms bare interpreter"
    yield Figure("'benchd status', start to exit", text, "80 ms", got["status_ms"] <= 80, floor)


def _cards(folder: Path) -> Iterator[Figure]:
    from tests.bench.cards import card_check

    got = card_check()
    yield Figure(
        "card check, start to exit",
        f"{got['check_ms']:.0f} ms",
        "150 ms",
        got["check_ms"] <= 150,
        f"{got['bare_python_ms']:.0f} ms bare interpreter, {got['parse_ms']:.0f} ms YAML alone",
    )


def _rpc(folder: Path) -> Iterator[Figure]:
    rpc = importlib.import_module("tests.bench.rpc")
    got: dict[str, Any] = rpc.request_times()
    yield Figure(
        "read request over the socket",
        f"p50 {got['p50_ms']:.2f} ms, p99 {got['p99_ms']:.2f} ms",
        "p99 0.5 ms",
        got["p99_ms"] <= 0.5,
        f"p99 {got['floor_p99_ms']:.2f} ms bare echo",
    )
    got = median_of(rpc.ten_watchers)
    share = got["core_share"]
    yield Figure(
        "ten watchers at 200 events/s", f"{share:.1%} of a core", "5 %", share <= 0.05, "-"
    )


def _mqtt(folder: Path) -> Iterator[Figure]:
    from tests.bench.mqtt import request_beside_brokers

    got = request_beside_brokers()
    for word, name in (("on", "with MQTT"), ("frozen", "broker frozen")):
        yield Figure(
            f"request {name}, p99 to without",
            f"{got[f'{word}_ratio']:.2f} (p50 {got[f'{word}_p50_ms']:.2f} ms, "
            f"p99 {got[f'{word}_p99_ms']:.2f} ms)",
            "1.1",
            got[f"{word}_ratio"] <= 1.1,
            f"p50 {got['off_p50_ms']:.2f} ms, p99 {got['off_p99_ms']:.2f} ms without MQTT",
        )


def _export(folder: Path) -> Iterator[Figure]:
    from tests.bench import export

    journal = export.million(folder)
    size = journal.stat().st_size / export.ENTRIES
    yield Figure("journal bytes an entry at work", f"{size:.1f}", "60", size <= 60, "-")
    floor = export.floor(journal)
    for form, name in (("csv", "CSV"), ("jsonl", "JSON Lines"), ("parquet", "Parquet")):
        took = export.export(journal, form)
        yield Figure(
            f"a million entries as {name}",
            f"{took.seconds:.1f} s (CPU {took.cpu_s:.1f} s), {took.peak_mb:.0f} MB",
            "10 s, 300 MB",
            took.seconds <= 10 and took.peak_mb <= 300,
            f"{floor.seconds:.1f} s (CPU {floor.cpu_s:.1f} s) bare rows",
        )
    took, each = export.archive(journal)
    yield Figure(
        "archive, bytes an entry",
        f"{each:.2f} ({took.seconds:.0f} s, {took.peak_mb:.0f} MB)",
        "8",
        each <= 8,
        f"{journal.stat().st_size / export.ENTRIES:.0f} in the journal",
    )
    journal.unlink()


def _pace(folder: Path) -> Iterator[Figure]:
    from tests.bench import pace

    (folder / "pace").mkdir()
    got = pace.sizes(folder / "pace")
    floor = f"{got.entries} entries, {got.a_commit:.1f} a commit; {got.head:.1f} are the head's"
    yield Figure(
        "journal bytes an entry in real time", f"{got.journal:.1f}", "60", got.journal <= 60, floor
    )
    yield Figure(
        "archive bytes an entry in real time", f"{got.archive:.2f}", "8", got.archive <= 8, floor
    )


def _study(folder: Path) -> Iterator[Figure]:
    from tests.bench import study

    small, large = (study.made(folder, entries) for entries in (100_000, 1_000_000))
    for path, words in (
        (small, "0.1 million"),
        (large, "a million"),
        (study.repeated(large, folder, 10), "ten million"),
    ):
        floor = study.scan(path)
        both = [study.judged(path), study.explained(path)]
        seconds, cpu_s = sum(run.seconds for run in both), sum(run.cpu_s for run in both)
        peak_mb = max(run.peak_mb for run in both)
        scan = f"{floor.seconds:.1f} s (CPU {floor.cpu_s:.1f} s) the engine's scan"
        yield Figure(
            f"{words} entries judged and explained",
            f"{seconds:.1f} s (CPU {cpu_s:.1f} s), {peak_mb:.0f} MB",
            "10 s, 500 MB",
            seconds <= 10 and peak_mb <= 500,
            scan,
        )
        bare, one = study.bare(), study.one_explained(path, 100)
        text = f"{one.seconds:.2f} s (CPU {one.cpu_s:.2f} s)"
        start = f"{bare.seconds * 1000:.0f} ms a bare interpreter"
        yield Figure(f"one portion of {words} explained", text, "1 s", one.seconds <= 1, start)


def _plant(folder: Path) -> Iterator[Figure]:
    from tests.bench.plant import seconds_per_second

    for fidelity, aim in (("physical", 60), ("brisk", 300)):
        got = median_of(lambda fidelity=fidelity: {"rate": seconds_per_second(fidelity)})["rate"]
        yield Figure(
            f"simulated s a second, {fidelity}",
            f"{got:,.0f}",
            f"{aim}",
            got >= aim,
            "firmware in it",
        )


def _screens(folder: Path) -> Iterator[Figure]:
    from tests.bench.screens import PRESSES, key_to_stop

    got = key_to_stop(folder)
    yield Figure(
        "stop key to stop line, a key held",
        f"p50 {got['p50_ms']:.1f} ms, p99 {got['p99_ms']:.1f} ms",
        "p50 20 ms, p99 60 ms",
        got["p50_ms"] < 20 and got["p99_ms"] < 60,
        f"p50 {got['bare_p50_ms']:.1f} ms, p99 {got['bare_p99_ms']:.1f} ms a bare request; "
        f"{PRESSES} presses at {got['pictures_per_s']:.1f} pictures/s, worst "
        f"{got['max_ms']:.1f} ms",
    )


def _cost(folder: Path) -> Iterator[Figure]:
    from tests.bench import screens_cost

    (folder / "c").mkdir()
    got = screens_cost.cost(folder / "c")
    floor = f"{got['import_s']:.2f} s its library alone"
    paint_s, idle, series = got["first_picture_s"], got["idle_share"], got["series_share"]
    yield Figure(
        "'benchd watch' to its first picture", f"{paint_s:.2f} s", "0.5 s", paint_s < 0.5, "-"
    )
    opened = f"{got['open_s']:.2f} s (CPU {got['open_cpu_s']:.2f} s)"
    yield Figure("'benchd watch' until keys count", opened, "-", True, floor)
    yield Figure("screens at rest", f"{idle:.1%} of a core", "3 %", idle < 0.03, "-")
    rate = f"{series:.1%} of a core, {got['series_pictures_per_s']:.1f} pictures/s"
    yield Figure("screens in a series", rate, "15 %, 5/s", series < 0.15, "-")
    memory = got["memory_mb"]
    yield Figure("memory of the screens", f"{memory:.0f} MB", "100 MB", memory < 100, "-")


def _past(folder: Path) -> Iterator[Figure]:
    from tests.bench import export, screens_cost

    (folder / "p").mkdir()
    journal = export.million(folder / "p")
    floor = export.floor(journal)
    for what, (took_s, memory_mb) in screens_cost.past(journal).items():
        yield Figure(
            f"screens' '{what}' of a million entries",
            f"{took_s:.2f} s, {memory_mb:.0f} MB",
            "-",
            True,
            f"{floor.seconds:.1f} s bare rows",
        )
    journal.unlink()


PARTS: dict[str, Callable[[Path], Iterator[Figure]]] = {
    "link": _link,
    "answer": _answer,
    "stop": _stop,
    "journal": _journal,
    "lag": _lag,
    "replay": _replay,
    "export": _export,
    "pace": _pace,
    "study": _study,
    "core": _core,
    "start": _start,
    "cards": _cards,
    "rpc": _rpc,
    "screens": _screens,
    "cost": _cost,
    "past": _past,
    "mqtt": _mqtt,
    "plant": _plant,
}


def main(names: list[str]) -> int:
    """Measure the parts named, or all; 1 if a figure is missed."""
    missed = 0
    load = os.getloadavg()[0]
    print(f"load before the run: {load:.1f} on {os.cpu_count()} cores\n")
    print(f"{'figure':<38} {'measured':<34} {'to reach':<22} {'':<6} floor")
    with tempfile.TemporaryDirectory() as folder:
        for name in names or list(PARTS):
            for figure in PARTS[name](Path(folder)):
                word = "met" if figure.met else "MISSED"
                missed += not figure.met
                line = f"{figure.name:<38} {figure.value:<34} {figure.aim:<22} {word:<6} "
                print(line + figure.floor, flush=True)
    print(f"\n{missed} missed" if missed else "\nall met")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
