"""`benchd demo`: a whole job on the simulated bench, asked for like any other, in about a minute.

In a terminal the series is shown on the screens of `benchd watch`, else it is printed line by line.

Simulated bench and daemon run as processes of their own in a temporary folder; this one asks the
daemon as every command does. At the end, or at Ctrl-C, the bench is stopped and both are ended.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from benchd.cli.command import OK, WRONG, Parts, Wrong, note, say, whole_from
from benchd.cli.cutting import stroke_text
from benchd.cli.daemon import QUESTION, Client, NoDaemon, Refused, after_stop, patiently
from benchd.cli.demo_parts import Ask, Processes, end_as_by_ctrl_c, summary
from benchd.cli.portions import LAST_NEWS_S, news_line
from benchd.cli.watching import screens, screens_fit
from tui import ended, view
from tui.ended import moved_text

BENCH = "demo"
PERSON = "demo"
COUNT = 12
EVERY_S = 4.6
"""A little more than the shortest that these cards allow; a test compares."""
START_WITHIN_S = 30.0
WEIGHT_WITHIN_S = 5.0
SIMULATED_PROOFS = (20, 15)
"""Interlocks proven before anything moves: the board restarted, never commissioned."""


def _options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--count", type=whole_from(1, 15), default=COUNT, help="portions to make")
    parser.add_argument("--seed", type=whole_from(0, 2**63), default=1, help="chance, repeatable")
    parser.add_argument(
        "--fault", action="append", default=[], metavar="NAME@PORTION", help="such as void@5"
    )
    parser.add_argument(
        "--printed", action="store_true", help="print the series in a terminal too; no screens"
    )


def demo(options: argparse.Namespace) -> int:
    """Run the job and say how it went."""
    folder = Path(tempfile.mkdtemp(prefix="benchd-demo-"))
    # Folders of its own: a demo never meets a bench that is at work.
    os.environ["XDG_STATE_HOME"] = str(folder / "state")
    os.environ["XDG_RUNTIME_DIR"] = str(folder / "run")
    end_as_by_ctrl_c()
    processes = Processes(folder)
    job = Job(processes, options.count)
    try:
        start(processes, options)
        job.prepare()
        if screens_fit() and not options.printed:
            job.show(_example("masa.yaml"))
            job.report()
            complete = True
        else:
            job.make(_example("masa.yaml"))
            complete = job.report()
    except KeyboardInterrupt:
        job.stop()
        note(f"Ended by Ctrl-C; all it left is in {folder}.")
        return WRONG
    except Refused as error:
        raise Wrong(f"Refused: {error.message} The demo ends here; see {folder}.") from None
    finally:
        processes.end()
    _what_next(folder, oddest(job.weights, job.records))
    return OK if complete else WRONG


def start(processes: Processes, options: argparse.Namespace) -> None:
    """Start simulated bench and daemon, and wait until they talk.

    Raises: Wrong when they do not.
    """
    link = processes.folder / "bench-port"
    card = processes.folder / "bench.yaml"
    lines = _example("bench.yaml").splitlines()
    renamed = {"bench:": f"bench: {BENCH}", "port:": f"port: {link}"}
    card.write_text(
        "\n".join(renamed.get(line.split(" ", 1)[0], line) for line in lines) + "\n", "utf-8"
    )
    say(f"Simulated bench and daemon start in {processes.folder}.")
    faults = [word for fault in options.fault for word in ("--fault", fault)]
    seed = str(options.seed)
    simulate = ["simulate", str(card), "--link", str(link), "--seed", seed, "--json-lines"]
    processes.start("simulate", [*simulate, *faults], read_pieces=True)
    deadline_s = time.monotonic() + START_WITHIN_S
    while not link.exists():
        processes.check()
        _wait(deadline_s, "The simulated bench did not start")
    processes.start("serve", ["serve", str(card)])
    while not _talking():
        processes.check()
        _wait(deadline_s, "The daemon did not reach the simulated board")


def _talking() -> bool:
    try:
        with Client(BENCH, 2.0) as client:
            return bool(client.call("status")["state"] != "NO LINK")
    except NoDaemon:
        return False


def _wait(deadline_s: float, what: str) -> None:
    if time.monotonic() > deadline_s:
        raise Wrong(
            f"{what} within {START_WITHIN_S:.0f} s: the machine may be too busy, try again later."
        )
    time.sleep(0.05)


def _example(name: str) -> str:
    from importlib.resources import files

    return (files("benchd") / "examples" / name).read_text("utf-8")


class Job:
    """The job of the demo: each step is said as the command that a person would type."""

    def __init__(self, processes: Processes, count: int) -> None:
        self.processes = processes
        self.count = count
        self.records: list[dict[str, Any]] = []
        self.weights: dict[int, float] = {}
        self.ended = ""
        self._say: Callable[[str], None] = say
        self._client: Client | None = None

    @property
    def client(self) -> Client:
        """The connection that is in control."""
        if self._client is None:
            self._client = Client(BENCH, None)
        return self._client

    def prepare(self) -> None:
        """Prove, say where the feed stands, teach the eye, put a tube in, make a dry stroke."""
        self._show_status()
        for interlock in SIMULATED_PROOFS:
            self._prove(interlock)
        self._step("benchd here 0mm", "here", {"position_m": 0.0})
        self._teach("empty")
        self._step("benchd tube in T1 --net 430g", "tube_in", {"id": "T1", "net_mass_kg": 0.43})
        self._moved("feed to contact", "approach", ("contact",))
        self._moved("feed until the strand is continuous", "prime", ("flowing",))
        self._teach("dough")
        say("$ benchd cut")
        patiently(self.client, "arm")
        say(f"  {stroke_text(self.client.call('fire'))}")

    def _show_status(self) -> None:
        status = view.from_json(self.client.call("status"))
        for line in view.status_lines(status, view.WIDTH - 2):
            say(f"  {line}")

    def _step(self, typed: str, method: str, params: dict[str, Any]) -> Any:
        say(f"$ {typed}")
        return self.client.call(method, params)

    def _prove(self, interlock: int) -> None:
        code = f"IL-{interlock:02d}"
        say(f"$ benchd clear {code}")
        statements = self.client.call("proofs", {"interlock": interlock})["statements"]
        words = [one["word"] for one in statements]
        for one in statements:
            say(f"  {one['statement']}  {one['word']}")
        proof = {"interlock": interlock, "name": PERSON, "words": words}
        try:
            self.client.call("clear", proof)
        except Refused as error:
            say(f"  {error.message}")

    def _teach(self, what: str) -> None:
        level = self._step(f"benchd eye --{what}", "teach", {"what": what})
        say(f"  {level['mean']:.0f} counts, spread {level['spread']:.1f}")

    def _moved(self, what: str, method: str, endings: tuple[str, ...]) -> None:
        say(f"  {what} ...")
        result = self.client.call(method)
        say(f"  {moved_text(result)}")
        if result["ending"] not in endings:
            raise Wrong(
                f"The demo ends here, because a move ended '{result['ending']}': try it with "
                "another --seed, or without --fault."
            )

    def make(self, dough: str) -> None:
        """Make the series: one line a portion, each weighed on the simulated scale."""
        self._say(f"$ benchd series masa.yaml --count {self.count} --every {EVERY_S:g}s")
        with Client(BENCH) as watcher, Client(BENCH) as helper:
            news = watcher.follow(("portion", "trip", "series"))
            params = {"dough": dough, "every_s": EVERY_S, "count": self.count}
            asked = Ask(self.client, "series", params)
            self._say(ended.PORTION_HEAD)
            for topic, data in self._until_ended(news, asked):
                line = f"  {news_line(topic, data)}".rstrip()
                if topic == "portion":
                    self.records.append(data)
                    self._weigh(helper, data["number"])
                    line = ended.portion_cells(data, self.weights.get(data["number"]))
                if line:
                    self._say(line)
            self.ended = asked.result()["what"]

    def show(self, dough: str) -> None:
        """Make the series in the background, on the screens, until the person leaves them."""
        (self.processes.folder / "masa.yaml").write_text(dough, "utf-8")
        self._say = _unsaid
        made = threading.Thread(target=self._make_quietly, args=(dough,), daemon=True)
        made.start()
        screens(BENCH, str(self.processes.folder))
        if made.is_alive():
            self.stop()
        made.join(LAST_NEWS_S)

    def _make_quietly(self, dough: str) -> None:
        # Whatever ended it stands on the screens.
        with contextlib.suppress(Refused, NoDaemon):
            self.make(dough)

    def _until_ended(
        self, news: Iterator[tuple[str, Any]], asked: Ask
    ) -> Iterator[tuple[str, Any]]:
        if asked.failed():
            return
        for topic, data in news:
            yield topic, data
            if topic == "series" and data.get("what") in ("ended", "paused"):
                return

    def _weigh(self, client: Client, portion: int) -> None:
        """Put the piece that fell on the scale, and record what it reads."""
        mass_kg = self.processes.piece_kg(portion, WEIGHT_WITHIN_S)
        if mass_kg is None:
            self._say(f"  Portion {portion}: nothing fell on the scale.")
            return
        params = {"mass_kg": mass_kg, "text": f"{mass_kg * 1e3:g}", "portion": portion}
        try:
            client.call("weigh", params)
        except Refused as error:
            if error.code != QUESTION:
                raise
            self._say(f"  {error.message} Taken as it is: the scale is a simulated one.")
            client.call("weigh", {**params, "confirmed": True})
        self.weights[portion] = mass_kg

    def report(self) -> bool:
        """Say how it went; return whether all portions were made."""
        made = [record for record in self.records if record["outcome"] == "complete"]
        say("")
        for line in summary(made, self.weights):
            say(line)
        self.client.call("drive", {"on": False})
        energy = view.energy_row(view.from_json(self.client.call("status")))
        say(f"The bench is left with {energy.text}.")
        self.client.close()
        return self.ended == "ended" and len(made) >= self.count

    def stop(self) -> None:
        """Stop the bench."""
        try:
            with Client(BENCH, 5.0) as client:
                client.call("stop", {"level": 1})
                after_stop(client, drop_power=True)
                note("The bench is stopped.")
        except (NoDaemon, Refused):
            note("The bench ends with its daemon.")


def _unsaid(text: str) -> None:
    """Say nothing: the screens have the terminal."""


def oddest(weights: dict[int, float], records: Sequence[Mapping[str, Any]] = ()) -> int:
    """Return the first portion that did not complete, else the one whose weight is furthest from
    the middle one; 1 without weights."""
    for record in records:
        if record["outcome"] != "complete":
            return int(record["number"])
    if not weights:
        return 1
    middle = sorted(weights.values())[len(weights) // 2]
    return max(weights, key=lambda portion: abs(weights[portion] - middle))


def _what_next(folder: Path, portion: int) -> None:
    journals = sorted((folder / "state" / "benchd" / BENCH).glob("*.journal"))
    if not journals:
        return
    short = folder / "demo.journal"
    short.symlink_to(journals[-1])
    program = sys.argv[0] if os.access(sys.argv[0], os.X_OK) else f"{sys.executable} -m benchd"
    if program.startswith(os.getcwd() + os.sep):
        program = os.path.relpath(program)
    say("")
    say(f"Bench and daemon are ended; all they left is in {folder}. Try next:")
    for words in (f"replay {{}} --portion {portion}", "replay {} --verify", "journal check {}"):
        say(f"  {program} {words.format(short)}", whole=True)


PARTS = {"demo": Parts(_options, demo)}
