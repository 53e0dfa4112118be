"""What the demo is made of: its two processes, a request that runs while news come, the summary."""

from __future__ import annotations

import contextlib
import json
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from benchd.cli.command import Wrong
from benchd.cli.daemon import Client, NoDaemon, Refused
from tui import view

END_WITHIN_S = 5.0
ENDINGS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
"""Signals that end a demo: Ctrl-C, being told to, the terminal being closed."""
NORMAL = "normal"


def end_as_by_ctrl_c() -> None:
    """Let whatever ends a demo end it the way Ctrl-C does, which ends its processes too.

    Only the first counts: a second one would break off what the first began, and what runs out of
    reach of the terminal would go on for ever.
    """

    def interrupted(number: int, frame: object) -> None:
        _ignore()
        raise KeyboardInterrupt

    for number in ENDINGS:
        signal.signal(number, interrupted)


def _ignore() -> None:
    for number in ENDINGS:
        signal.signal(number, signal.SIG_IGN)


class Processes:
    """Programs of the demo, each with its output in a file of the demo's folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._running: list[tuple[str, subprocess.Popen[str]]] = []
        self._pieces: dict[int, float] = {}
        self._fell = threading.Condition()

    def start(self, name: str, words: Sequence[str], *, read_pieces: bool = False) -> None:
        """Start `benchd WORDS`, out of reach of the terminal's Ctrl-C."""
        with open(self.folder / f"{name}.txt", "w", encoding="utf-8") as said:
            process = subprocess.Popen(
                [sys.executable, "-m", "benchd", *words],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE if read_pieces else said,
                stderr=said,
                start_new_session=True,
                text=True,
            )
        self._running.append((name, process))
        if read_pieces:
            threading.Thread(target=self._read_pieces, args=(process,), daemon=True).start()

    def _read_pieces(self, process: subprocess.Popen[str]) -> None:
        for line in process.stdout or ():
            try:
                told = json.loads(line)
            except ValueError:
                continue
            if isinstance(told, dict) and "piece" in told:
                with self._fell:
                    self._pieces[int(told["piece"])] = float(told["scale_g"]) / 1e3
                    self._fell.notify_all()

    def piece_kg(self, portion: int, within_s: float) -> float | None:
        """Return what the simulated scale reads for a portion [kg]; None when nothing fell."""
        low = portion & 0xFFFF
        with self._fell:
            self._fell.wait_for(lambda: low in self._pieces, within_s)
            return self._pieces.get(low)

    def check(self) -> None:
        """See that all still run.

        Raises: Wrong with what one of them said last.
        """
        for name, process in self._running:
            if process.poll() is not None:
                said = (self.folder / f"{name}.txt").read_text("utf-8").strip().splitlines()
                last = said[-1] if said else "it said nothing"
                raise Wrong(f"The demo ends here, because 'benchd {name}' ended. It said: {last}")

    def end(self) -> None:
        """End them, the daemon first, so that it can still stop the board."""
        before = [signal.getsignal(number) for number in ENDINGS]
        try:
            # A first Ctrl-C that comes only now has nothing else left to end.
            with contextlib.suppress(KeyboardInterrupt):
                _ignore()
            self._end()
        finally:
            for number, handler in zip(ENDINGS, before, strict=True):
                signal.signal(number, handler)

    def _end(self) -> None:
        deadline_s = time.monotonic() + END_WITHIN_S
        for _, process in reversed(self._running):
            process.terminate()
            try:
                process.wait(max(0.1, deadline_s - time.monotonic()))
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


class Ask:
    """A request whose answer comes late, asked in a thread so that news can be read meanwhile."""

    def __init__(self, client: Client, method: str, params: dict[str, Any]) -> None:
        self._answer: queue.Queue[Any] = queue.Queue()
        self._given = (client, method, params)
        threading.Thread(target=self._ask, daemon=True).start()

    def _ask(self) -> None:
        client, method, params = self._given
        try:
            self._answer.put(client.call(method, params))
        except (Refused, NoDaemon, OSError) as error:
            self._answer.put(error)

    def failed(self, within_s: float = 0.5) -> bool:
        """Whether it was refused at once."""
        try:
            said = self._answer.get(timeout=within_s)
        except queue.Empty:
            return False
        self._answer.put(said)
        return isinstance(said, Exception)

    def result(self) -> Any:
        """Wait for the answer.

        Raises: Refused, NoDaemon.
        """
        said = self._answer.get()
        if isinstance(said, Exception):
            raise said
        return said


def summary(made: Sequence[Mapping[str, Any]], weights: Mapping[int, float]) -> Iterator[str]:
    """Give the sentences at the end: what was made, mean and spread with their intervals.

    `made`: portion records; `weights`: portion number to its weight [kg]. First and tail portions
    are counted and not judged.
    """
    from benchd.calc.spread import mean_interval, mean_sd, sd_interval

    total = view.grams(sum(weights.values()))
    yield f"{view.several(len(made), 'portion')} made, {len(weights)} weighed, {total} in all."
    judged = [
        weights[record["number"]]
        for record in made
        if record["class"] == NORMAL and record["number"] in weights
    ]
    if len(judged) < 2:
        yield "Too few normal portions for a mean with an interval."
        return
    mean_kg, sd_kg = mean_sd(judged)
    mean = mean_interval(len(judged), mean=mean_kg, sd=sd_kg)
    spread = sd_interval(len(judged), sd=sd_kg)
    percent = 100 / mean_kg
    yield (
        f"Mean {view.grams(mean.value)} ({view.grams(mean.low)} to {view.grams(mean.high)}), "
        f"aim {view.grams(made[0]['aim_kg'])}; spread {spread.value * percent:.1f} % "
        f"({spread.low * percent:.1f} to {spread.high * percent:.1f}); "
        f"n {len(judged)} of class {NORMAL}."
    )
    yield "Intervals are 95 %, for independent portions; neighbours in one tube are not quite that."
    if len(judged) < 8:
        yield "With fewer than 8 weights no verdict is given."
