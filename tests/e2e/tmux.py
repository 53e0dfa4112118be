"""A terminal as a person has one: `benchd watch` in tmux, by keys and by what is on screen."""

from __future__ import annotations

import re
import subprocess
import time

from tests.e2e.conftest import BENCHD, RealBench
from tests.waiting import WAIT_S, NotInTime, between_presses, wait_until

LOOK_S = 0.25
AGAIN_S = 3.0
LEFT = re.compile(r"ENTER\s+within\s+\d+")
LATE = ("arrived late", "may be one key held")


class Tmux:
    """One session of a tmux server of its own."""

    def __init__(
        self, bench: RealBench, *, size: tuple[int, int] = (80, 24), **variables: str
    ) -> None:
        self._server = str(bench.folder / "tmux")
        self._last = ""
        environment = {**bench.environment, **variables}
        words = [f"{name}={environment[name]}" for name in sorted(variables)]
        self._run(
            *("-f", "/dev/null", "new-session", "-d", "-x", str(size[0]), "-y", str(size[1])),
            *("-c", str(bench.folder), "env", *words, BENCHD, "watch"),
            env=environment,
        )
        self.wait_for("SPACE = stop now")  # Before that no key counts.

    def _run(self, *words: str, env: dict[str, str] | None = None) -> str:
        done = subprocess.run(
            ["tmux", "-S", self._server, *words],
            env=env,
            capture_output=True,
            text=True,
            timeout=WAIT_S,
            check=True,
        )
        return done.stdout

    def keys(self, *keys: str) -> None:
        """Press keys, by tmux's names; each on its own, as a person does."""
        for key in keys:
            self._last = key
            self._run("send-keys", key)

    def typed(self, text: str) -> None:
        """Type a text, then ENTER."""
        self.keys(*text, "Enter")

    def shown(self) -> str:
        """What is on the screen."""
        return self._run("capture-pane", "-p")

    def drawn(self) -> str:
        """What is on the screen, with what sets colours and weights of letters."""
        return self._run("capture-pane", "-p", "-e")

    def wait_for(self, text: str) -> str:
        """Wait until a text is on the screen, wherever its lines are folded; return the screen."""
        shown, again_s = "", 0.0

        def stands() -> bool:
            nonlocal shown, again_s
            shown = self.shown()
            said = " ".join(shown.split())
            if text in said:
                return True
            if time.monotonic() > again_s and any(late in said for late in LATE):
                # A busy machine kept the key for too long, or it came as soon as a key held is
                # repeated; a person does as it says.
                between_presses(LOOK_S)
                again_s = time.monotonic() + AGAIN_S
                self._run("send-keys", self._last)
            return False

        try:
            wait_until(stands, LOOK_S)
        except NotInTime:
            raise NotInTime(f"'{text}' does not stand in:\n{shown}") from None
        return shown

    def answer_yes(self, text: str) -> None:
        """Wait for a question, until a second of its time has passed, since ENTER does not count at
        once, and press ENTER."""
        left = LEFT.search(self.wait_for(text))
        wait_until(lambda: LEFT.search(self.shown())[0] != left[0], LOOK_S)
        self.keys("Enter")

    def end(self) -> None:
        """End the session and its server."""
        subprocess.run(
            ["tmux", "-S", self._server, "kill-server"], capture_output=True, check=False
        )
