"""The screen *Feed*: nudges of the plunger, one bounded move a press."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from protocols.limits import HELD_MAX_M, HELD_SPEED_MAX_M_S
from tui import ended, view
from tui.frame import Line, fold, row
from tui.keys import DELAY_S, NUDGES_M, REPEATS_LEAST, TEST_REPEATS, Repeats
from tui.readings import thrust_text
from tui.screens.base import (
    NUMBER_SIGNS,
    Desk,
    Field,
    Press,
    Screen,
    a_number,
    guard_words,
    is_refused,
    number,
    relieve,
    say_moved,
)
from tui.screens.watch import others_control

if TYPE_CHECKING:
    from protocols.status import BenchStatus

TEST_GIVEN_UP_S = 1.5
"""A press of the test's key so long after the last one begins it anew: a keyboard's own delay
before it repeats is shorter (250 to 1000 ms, common practice)."""

WAYS = {"right": 1, "plus": 1, "left": -1, "minus": -1}
"""Keys of a nudge: forward is toward the nozzle."""

SWITCHES = "Safest to feed by: the bench's own forward and reverse switches. "
NUDGES_ONLY = (
    "A key here is one nudge; holding it moves no further, unless k finds steady repeats. Until "
    f"then a second press within {DELAY_S:.1f} s may be a repeat, and does not count."
)
NOT_COUNTED = "Not counted: so soon after the last one it may be one key held. Press once more."
UNDER_WAY = "Not counted: a move is under way."
HELD_FEEDS = (
    f"A key here is one nudge; held it feeds on, at most {HELD_MAX_M * 1e3:.0f} mm and "
    f"{HELD_SPEED_MAX_M_S * 1e3:.0f} mm/s, until it is let go."
)
TEST = "Hold k down for 2 s; nothing moves. It is looked how steadily this terminal repeats a key."
STEADY = "This terminal repeats a key every {gap:.0f} ms: a key held down feeds on from now on."
UNSTEADY = "This terminal repeats keys unevenly, so a key here stays one nudge."
RELEASES = "This terminal tells when a key is let go: a key held down feeds on."


class Feed(Screen):
    """Nudge, relieve, drive power, and where the feed stands."""

    name = "Feed"
    hints = (
        "right/+ forward  left/- reverse  1 2 3 how far  r relieve  d drive power  "
        "h say where it stands  k test for holding a key"
    )
    cautions = "jog"
    moving = frozenset({*WAYS, "r", "d"})

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._nudge_m = NUDGES_M[0]
        self._repeats = Repeats("", 0.0)
        self._test: Repeats | None = None
        self._releases = self._steady = False
        self._held = ""
        """The key whose hold has begun a move; it begins no second one."""

    def lines(self, now_s: float, width: int, room: int) -> list[Line]:
        """Return nudge, place, thrust, switches and the last move."""
        model = self.desk.model
        status = model.shown(now_s)
        choices = "  ".join(
            f"{'[' if way_m == self._nudge_m else ' '}{n} {view.millimetres(way_m)}"
            f"{']' if way_m == self._nudge_m else ' '}"
            for n, way_m in enumerate(NUDGES_M, 1)
        )
        lines = row("Nudge", choices, width, "strong")
        if status is None:
            return lines
        lines += row("Feed", view.feed_row(status).text, width)
        lines += row("Thrust", thrust_words(status), width)
        lines += row("Switches", switch_words(status), width)
        power = "has power" if status.pins.get("drive") else "no power"
        lines += row("Drive", view.UNKNOWN_LIVE if view.is_old(status) else power, width)
        if model.last_move is not None:
            lines += row("Last", ended.how_far(model.last_move), width)
        lines += others_control(model, width)
        why = status.why_not.get("feed")
        if why:
            lines += row("Refused", why, width, "watch")
        keys = HELD_FEEDS if self._may_hold else NUDGES_ONLY
        return [*lines, *fold(SWITCHES + keys, width, hang="")]

    @property
    def _may_hold(self) -> bool:
        return self._releases or self._steady

    def pressed(self, press: Press) -> bool:
        """Nudge, or one of the others."""
        if press.key in WAYS:
            self._nudge(press)
        elif press.key in ("1", "2", "3"):
            self._nudge_m = NUDGES_M[int(press.key) - 1]
        elif press.key == "k":
            self._look_at_repeats(press)
        elif press.key == "r":
            relieve(self.desk)
        elif press.key == "d":
            self._drive()
        elif press.key == "h":
            label = "The feed stands at so many mm from the rear end of travel"
            self.fill_in([Field(label, NUMBER_SIGNS, check=a_number)], self._here)
        else:
            return False
        return True

    def _nudge(self, press: Press) -> None:
        if press.repeat:
            self._hold(press)
        elif press.doubtful and not self._may_hold:
            self.desk.say(NOT_COUNTED, "watch")
        elif not self.desk.model.powered:
            # Whatever took the power away, a key pressed by chance does not bring it back.
            self._power_on()
        elif "jog_held" not in self.desk.model.busy:
            self._repeats, self._held = Repeats(press.key, press.pressed_s), ""
            self._one(press)

    def _one(self, press: Press) -> None:
        if {"jog", "jog_held"} & set(self.desk.model.busy):
            self.desk.say(UNDER_WAY, "watch")
            return
        ask = {"distance_m": WAYS[press.key] * self._nudge_m}
        self.desk.ask("jog", ask, lambda result: say_moved(self.desk, result))

    def _hold(self, press: Press) -> None:
        """A repeat came: the feed begins to go on, or goes on for another moment."""
        repeats, busy = self._repeats, self.desk.model.busy
        if repeats.key != press.key:
            return
        repeats.add(press.pressed_s)
        lease = {"lease_s": repeats.lease_s()}
        if "jog_held" in busy:
            self.desk.ask("hold", lease)
        elif (
            self._may_hold
            and not self._held
            and repeats.count >= REPEATS_LEAST
            and not busy.get("jog")
        ):
            self._held = press.key
            self.desk.say("")  # Where the nudge before it ended is true no longer.
            ask = {"distance_m": WAYS[press.key] * HELD_MAX_M, **lease}
            self.desk.ask("jog_held", ask, lambda result: say_moved(self.desk, result))

    @property
    def held(self) -> str:
        """The key that the feed goes on by."""
        return self._held if "jog_held" in self.desk.model.busy else ""

    def let_go(self, key: str | None = None) -> None:
        """End what goes on by a key that is held."""
        if key is not None and not self._releases:
            self._releases = True
            self.desk.say(RELEASES)
        held = self.held
        if held and key in (None, held):
            self.desk.ask("hold", {"lease_s": 0})
        if key in (None, self._repeats.key):
            self._repeats, self._held = Repeats("", 0.0), ""

    def _look_at_repeats(self, press: Press) -> None:
        """The self-test: whether a key that is held is repeated steadily."""
        test = self._test
        if test is None or press.pressed_s - test.last_s > TEST_GIVEN_UP_S:
            self._test, self._steady = Repeats("k", press.pressed_s), False
            self.desk.say(TEST)
            return
        test.add(press.pressed_s)
        steady = test.steady()
        # Once: the key is held for longer than the test takes, and that begins no second one.
        if steady is not None and test.count == TEST_REPEATS + 1:
            self._steady = steady
            self.desk.say(STEADY.format(gap=test.gap_s() * 1e3) if steady else UNSTEADY)

    def _drive(self) -> None:
        if self.desk.model.powered:
            self._set_power(False, "The drive has no power; a loaded barrel stays loaded.")
        else:
            self._power_on()

    def _power_on(self) -> None:
        if is_refused(self.desk, "drive"):
            return
        self.desk.confirm(
            f"will put power on the drive, which has none; {guard_words(self.desk.model)}",
            lambda: self._set_power(True, "The drive has power."),
        )

    def _set_power(self, on: bool, done: str) -> None:
        def is_set(_: Any) -> None:
            self.desk.model.power(on)
            self.desk.say(done)

        self.desk.ask("drive", {"on": on}, is_set)

    def _here(self, texts: list[str]) -> None:
        place_mm = number(texts[0]) or 0.0
        said = f"The feed stands at {place_mm:.1f} mm."
        self.desk.ask("here", {"position_m": place_mm / 1e3}, lambda _: self.desk.say(said))

    def stopped(self) -> None:
        """After a stop the next nudge is the shortest again."""
        self._nudge_m = NUDGES_M[0]

    def left(self) -> None:
        """Whoever leaves this screen no longer looks at the feed: a nudge under way ends here."""
        super().left()
        self._test = None
        if {"jog", "jog_held"} & set(self.desk.model.busy):
            self.desk.stop()


def thrust_words(status: BenchStatus) -> str:
    """Return the thrust, or why there is none."""
    if "thrust" in status.not_watched:
        return "not watched"
    return view.UNKNOWN_ENERGY if view.is_old(status) else thrust_text(status)


def switch_words(status: BenchStatus) -> str:
    """Return the bench's own switches as the board reads them."""
    if view.is_old(status):
        return "not known"
    pins = status.pins
    names = ("forward", "reverse", "button")
    words = [f"{name} {'PRESSED' if pins.get(name) else 'free'}" for name in names]
    if pins.get("local-lock"):
        words.append("locked")
    if "ends of travel" not in status.not_watched:
        words.append("ends of travel free" if pins.get("ends") else "AT AN END OF TRAVEL")
    return "; ".join(words)
