"""What screens ask: of the daemon, of the study process, and of the person."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

from textual.app import App

from protocols.requests import QUESTION, REQUESTS
from tui import said
from tui.client import Link, Refused
from tui.model import CONFIRM_S, Model, Question
from tui.study import Study, Unanswered
from tui.terminal import StopTerminal

LET_GO = ("released", "held")
"""Conditions by which the move of a held key ends, or had ended already."""


class Asking(App[int]):
    """A terminal that asks and shows what was said; what it draws is for others to say."""

    def __init__(self, bench: str, path: str, study: Sequence[str]) -> None:
        super().__init__(driver_class=StopTerminal, ansi_color=True)
        self.model = Model(bench)
        self._study = Study(study)
        self._link = Link(path, partial(self._guarded, self._news), self._changed)
        self._tasks: set[asyncio.Task[Any]] = set()

    def draw(self) -> None:
        """Show what is known now."""
        raise NotImplementedError

    def _news(self, topic: str, data: Any) -> None:
        raise NotImplementedError

    def _changed(self, up: bool) -> None:
        raise NotImplementedError

    def _spawn(self, work: Any) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def now_s(self) -> float:
        """Return the time of the clock that keys are stamped with [s]."""
        return time.monotonic()

    def _guarded(self, do: Callable[..., None], *given: Any) -> None:
        """Do it; an error of ours is said, and takes neither the screens nor the stop key away."""
        try:
            do(*given)
        except Exception as error:
            self.say(said.own_error(error), "stop")

    def ask(
        self,
        method: str,
        params: Mapping[str, Any] | None = None,
        then: Callable[[Any], None] | None = None,
        *,
        on_question: Callable[[str], None] | None = None,
    ) -> None:
        """Ask the daemon; a refusal is shown."""
        self._spawn(self._asked(method, dict(params or {}), then, on_question))

    async def _asked(
        self,
        method: str,
        params: dict[str, Any],
        then: Callable[[Any], None] | None,
        on_question: Callable[[str], None] | None,
    ) -> None:
        busy = self.model.busy
        busy[method] = busy.get(method, 0) + 1
        takes_control = REQUESTS[method].control
        try:
            result = await self._link.ask(method, params)
        except Refused as no:
            takes_control = takes_control and said.condition_of(no) != "control"
            if said.condition_of(no) in LET_GO:
                pass  # How far it went is told as news of the move.
            elif no.code == QUESTION and (put := said.question_of(self, no, on_question)):
                self._guarded(put, str(no))
            else:
                self.say(said.refused_words(no), "watch")
            return
        finally:
            if takes_control:
                self.model.claimed_s = self.now_s()
            busy[method] -= 1
            if not busy[method]:
                del busy[method]
            if method != "hold":
                self.draw()
        if then is not None:
            self._guarded(then, result)
            self.draw()

    def study(
        self,
        ask: str,
        given: Mapping[str, Any],
        then: Callable[[Any], None],
        failed: Callable[[], None],
    ) -> None:
        """Ask about past journals; `then(result)`, or `failed()`: why is shown."""
        self._spawn(self._studied(ask, given, then, failed))

    async def _studied(
        self,
        ask: str,
        given: Mapping[str, Any],
        then: Callable[[Any], None],
        failed: Callable[[], None],
    ) -> None:
        try:
            result = await self._study.ask(ask, given)
        except Unanswered as no:
            self.say(str(no), "watch")
            self._guarded(failed)
        else:
            self._guarded(then, result)
        self.draw()

    def confirm(
        self,
        text: str,
        do: Callable[[], None],
        within_s: float = CONFIRM_S,
        *,
        firm: bool = False,
    ) -> None:
        """Put a question; not by what a daemon said that is away."""
        if not self.model.up:
            self.say(said.UNASKED, "watch")
            return
        self.model.ask(Question(text, do, self.now_s(), within_s, firm))

    def say(self, text: str, rank: str = "") -> None:
        """Show a sentence."""
        self.model.say(text, rank)
