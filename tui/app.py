"""`benchd watch` in a terminal: keys in, screens out, the daemon asked in between."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from textual import events
from textual.app import ComposeResult

from tui import frame, said, view
from tui.asking import Asking
from tui.client import Stopper
from tui.keys import BURST_S, STALE_S, Held, StopKey, is_stop
from tui.paper import Paper
from tui.screens.base import Press, Screen
from tui.screens.table import SCREENS
from tui.terminal import KeyAgain, KeyMany, KeyUp, StopTerminal

REDRAW_S = 0.2
HELD_REDRAW_S = 0.1
"""Time between two pictures: usually, and while the feed goes on by a key that is held."""

SWITCH_S = 0.0005
"""Time after which a thread of Python's gives way to one that waits."""

ATTEND_S = 10.0
"""Keys say to the daemon that somebody is there, at most so often."""

NOT_HELD = (events.AppBlur, events.Resize)
"""After these no key counts as held: its release may never be heard."""

BY_HAND = frozenset({"jog", "jog_held", "relieve", "approach", "prime", "tube_out"})
"""Requests by which the feed moves while a person at this terminal looks at it."""


class Screens(Asking):
    """All screens of one bench."""

    ENABLE_COMMAND_PALETTE = False
    CSS = "Screen { background: ansi_default; overflow: hidden; }"

    def __init__(
        self,
        bench: str,
        path: str,
        *,
        cautions: Mapping[str, Sequence[str]] | None = None,
        folder: str = ".",
        time_of_day: Callable[[], str] = str,
        study: Sequence[str] = (),
        opening: str = "",
    ) -> None:
        super().__init__(bench, path, study)
        self.cautions = cautions or {}
        self.folder = folder
        self.card_name = ""
        self.opening = opening
        self._time_of_day = time_of_day
        self._stopper = Stopper(path)
        self._stop_key = StopKey()
        self._presses = Held()
        self._paper = Paper()
        self._attended_s = self._burst_s = -ATTEND_S
        self.stale_s = STALE_S
        """A key this old when its turn comes moves nothing any more [s]."""
        self._drawn_s = 0.0
        self._pages: dict[str, Screen] = {key: make(self) for key, make in SCREENS.items()}
        self.page: Screen = self._pages["w"]

    # From start to end.

    def compose(self) -> ComposeResult:
        """Give the one widget there is."""
        yield self._paper

    def on_mount(self) -> None:
        """Connect and begin to draw."""
        self._stopper.open()
        self._spawn(self._link.run())
        self.set_interval(HELD_REDRAW_S, self._tick)
        self.draw()

    def on_resize(self, event: events.Resize) -> None:
        """Draw for the new size; a question that is no longer seen whole is taken back."""
        if frame.is_small(*event.size):
            self.model.take_back()
        self.call_after_refresh(self.draw)

    def on_unmount(self) -> None:
        """Hang up: what this terminal moved by hand stops, its series pauses."""
        for task in self._tasks:
            task.cancel()
        self._study.close()
        self._stopper.close()

    # Drawing.

    def _tick(self) -> None:
        if isinstance(self._driver, StopTerminal) and self._driver.hung_up():
            self.exit(0)
            return
        now_s = self.now_s()
        self.model.due(now_s)
        if self.model.unheard(now_s):
            self._stop_key.unheard()
            self._forget_answer()
        if self._stop_key.overdue(now_s):
            self.say(said.OVERDUE[self._stop_key.level], "stop")
        least_s = HELD_REDRAW_S if self.page.held else REDRAW_S
        if now_s - self._drawn_s >= least_s - 0.02:
            self.draw()

    def draw(self) -> None:
        """Show what is known now."""
        self._drawn_s = self.now_s()
        try:
            lines = self.picture(self._drawn_s)
        except Exception as error:
            sorry = frame.Line(said.own_error(error), "stop")
            lines = [sorry, frame.Line(frame.STOP_LINE + frame.LEAVING, "strong")]
        self._paper.put(lines)

    def picture(self, now_s: float) -> list[frame.Line]:
        """Return the lines of the whole terminal."""
        width, height = self.size
        if frame.is_small(width, height):
            return frame.strip(self.model, now_s, width, height)
        return frame.whole(self.model, self.page, SCREENS, now_s, width, height)

    def text(self) -> str:
        """Return what is shown, as text."""
        return "\n".join(line.text for line in self.picture(self.now_s()))

    # What comes from the daemon.

    def _news(self, topic: str, data: Any) -> None:
        now_s = self.now_s()
        model = self.model
        model.heard(topic, data, now_s, self._time_of_day())
        if topic == "message" and isinstance(data, Mapping):
            model.say(str(data.get("text", "")))
        if topic == "status" and model.status is not None:
            if not view.is_old(model.status) and self._stop_key.heard(
                moving=model.moving, powered=model.powered
            ):
                self._tell_answer()
            self._forget_answer()
            if model.claims(now_s):
                model.mine = model.status.controller

    def _changed(self, up: bool) -> None:
        self.model.changed(up, self.now_s())
        if up:
            self._stopper.open()
        self.draw()

    # Keys.

    def stop_pressed(self, pressed_s: float, *, again: bool = False) -> None:
        """The stop key was pressed, or is held: send stop at once, then say so. Safe in any
        thread."""
        level = self._stop_key.press(pressed_s, again=again)
        sent = self._stopper.stop(level)
        if not sent:
            self._stop_key.unsent()
        self.call_later(self._tell_stop, level, sent)

    def _tell_stop(self, level: int, sent: bool) -> None:
        self.model.question, self._presses = None, Held()
        if sent and level == 1:
            self.model.power(False)
        for page in self._pages.values():
            page.stopped()
        if not sent:
            self.say(said.NO_STOP, "stop")
        elif self._stop_key.answered:
            self._tell_answer()
        elif self._stop_key.missed:
            self.say(said.OVERDUE[self._stop_key.level], "stop")
        else:
            self.say(said.SENT[level], "strong")
        self.draw()

    def _tell_answer(self) -> None:
        self.say(said.STOPPED[self.model.powered], "strong")

    def _forget_answer(self) -> None:
        """The board's answer to a stop does not stay once something else is so, or nobody knows."""
        model = self.model
        gone = model.moving or model.unheard(self.now_s())
        still = "" if gone else said.STOPPED[model.powered]
        if model.message in said.STOPPED.values() and model.message != still:
            model.say("")

    def stop(self) -> None:
        """Stop the bench."""
        self._stopper.stop(0)

    async def on_event(self, event: events.Event) -> None:
        """Take keys before anything else can make something of them."""
        if not isinstance(event, events.Key):
            if isinstance(event, NOT_HELD):
                self._guarded(self.page.let_go)
            await super().on_event(event)
        elif isinstance(event, KeyUp):
            self._presses = Held()
            self._guarded(self.page.let_go, event.key)
        elif is_stop(event.key):
            self.stop_pressed(event.time, again=isinstance(event, KeyAgain))
        else:
            sign = event.character if event.is_printable else ""
            again = isinstance(event, KeyAgain)
            many = isinstance(event, KeyMany)
            press = Press(event.key, sign or "", event.time, self.now_s(), again, many)
            self._guarded(self._key, press)
            if not again:
                self.draw()

    def _key(self, press: Press) -> None:
        self._attend(press.now_s)
        model = self.model
        # A key that is passed over for its age counts here too: what follows may be its repeats.
        repeat = self._presses.press(press.key, press.pressed_s, again=press.again)
        press = press._replace(repeat=repeat, doubtful=self._presses.doubtful)
        if self.page.held and press.key != self.page.held:
            self.page.let_go()
        if press.many:
            self._came_together(press)
        if press.repeat and (press.key == "enter" or model.is_yes(press.key)):
            self._say_repeat(press)
            return
        if self._moves(press) and self._not_now(press):
            return
        if press.key == "escape" and model.question is not None:
            model.take_back()
        elif model.is_yes(press.key) and press.doubtful:
            model.note(said.maybe_held(press.key))
        elif self._answered(press):
            pass
        elif frame.is_small(*self.size):
            self._key_unseen(press)
        elif press.key == "escape":
            if not self.page.press(press):
                self.show("w")
        elif model.question is None or not model.question.firm:
            # Any other key takes the question back and then counts for itself.
            model.take_back()
            self._key_itself(press)
        else:
            model.note(said.HELD_BACK)

    def _answered(self, press: Press) -> bool:
        """Whether this key said yes, or was meant for a question whose time was over just now."""
        model = self.model
        if model.is_yes(press.key) and model.yes(press.pressed_s, press.now_s):
            return True
        lapsed = not self.page.typing and model.just_lapsed(press.now_s)
        return lapsed and press.key in ("escape", "enter")

    def _key_itself(self, press: Press) -> None:
        """Take a key that answers no question."""
        if press.key == "ctrl+c":
            self.say("SPACE stops the bench; q leaves and lets it run.")
        elif self.page.typing or not self._go(press):
            self.page.press(press)

    def _moves(self, press: Press) -> bool:
        """Whether this key moves something, or puts a question that may end in that, or leaves:
        the stop key goes with these screens."""
        if self.model.is_yes(press.key):
            return True
        leaves = press.many and press.key == "q"
        return not self.page.typing and (leaves or press.key in self.page.moving)

    def _key_unseen(self, press: Press) -> None:
        """Take a key in a terminal too small to show what it would do."""
        if press.key == "q":
            self._leave()
        else:
            self.say(said.SMALL, "watch")

    def _not_now(self, press: Press) -> bool:
        """Whether this key was meant for an earlier moment, or was not typed; says so."""
        if press.many:
            self._say_burst("nothing was done")
        elif press.now_s - press.pressed_s > self.stale_s:
            self._say_late()
        else:
            return False
        return True

    def _say_repeat(self, press: Press) -> None:
        """A person may press as fast as a key held is repeated."""
        if self.model.is_yes(press.key):
            self.model.note(said.maybe_held(press.key))
        elif self.page.typing and not press.again:
            self.say(said.maybe_held(press.key), "watch")

    def _say_late(self) -> None:
        question = self.model.question
        if question is None:
            self.say(said.LATE, "watch")
        else:
            self.model.note(said.LATE_YES.format(key=question.answer))

    def _came_together(self, press: Press) -> None:
        """Several keys came at once: what a person moves by hand stops, and no question stands."""
        if press.pressed_s - self._burst_s <= BURST_S:
            return
        self._burst_s = press.pressed_s
        question = self.model.question
        if question is not None and not question.firm:
            self.model.question = None
            self._say_burst("nothing was done")
        if BY_HAND & set(self.model.busy):
            self.stop()
            self._say_burst("stop was sent")

    def _say_burst(self, done: str) -> None:
        self.say(said.BURST.format(done=done), "watch")

    def _go(self, press: Press) -> bool:
        if press.key == "q":
            self._leave()
        elif press.key in self._pages:
            if not press.repeat:
                self.show(press.key)
        else:
            return False
        return True

    def show(self, name: str) -> None:
        """Go to a screen by its key; on that screen, look anew: what it begins with may differ."""
        if self._pages[name] is not self.page:
            self.page.left()
            self.page = self._pages[name]
            self.model.say("")
        self.page.shown()

    def _leave(self) -> None:
        words = said.leaving_words(self.model)
        if words:
            self.confirm(f"{words}; leave?", lambda: self.exit(0))
        else:
            self.exit(0)

    def _attend(self, now_s: float) -> None:
        """Say that somebody is there, while that is waited for."""
        status = self.model.status
        if status is not None and status.series is not None:
            if now_s - self._attended_s >= ATTEND_S:
                self._attended_s = now_s
                self.ask("attend")


def run(
    bench: str,
    path: str,
    *,
    cautions: Mapping[str, Sequence[str]],
    folder: str,
    time_of_day: Callable[[], str],
    study: Sequence[str] = (),
    opening: str = "",
) -> int:
    """Show the screens until the person leaves; the bench goes on.

    `time_of_day` gives the time of day as news is shown with it. `study` is the command line of the
    process that is asked about past journals. `opening` is what `tui.first` has drawn already.
    """
    # The thread that reads keys waits for the interpreter no longer than this while a screen is
    # drawn.
    sys.setswitchinterval(SWITCH_S)
    app = Screens(
        bench,
        path,
        cautions=cautions,
        folder=folder,
        time_of_day=time_of_day,
        study=study,
        opening=opening,
    )
    return app.run(mouse=False) or 0
