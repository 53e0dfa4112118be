"""What the screens know: the last status and its age, the news, what was asked, what was said.

No clock: times are seconds of one monotonic clock and come in as arguments.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, NamedTuple, cast

from tui import view

if TYPE_CHECKING:
    from protocols.status import BenchStatus

NEWS_KEPT = 500
PORTIONS_KEPT = 300
CONFIRM_S = 3.0
"""How long a consequence line waits for its answer."""

SETTLE_S = 0.15
"""An answer this soon after the question was typed ahead of it, and does not count."""

LAPSED_S = 2.0
"""ESC and ENTER so soon after a question's time was over were meant for it."""

CLAIM_S = 0.6
"""Time within which a status tells of an answer before it: they come 5 a second."""


class Question(NamedTuple):
    """Something to be done once the person says yes."""

    text: str
    do: Callable[[], None]
    asked_s: float
    within_s: float = CONFIRM_S
    firm: bool = False
    """Only y and ESC answer it, and any other key is held back: where numbers are typed one after
    the other, ENTER may belong to the next one."""
    note: str = ""
    """What became of a key that came meanwhile."""

    @property
    def answer(self) -> str:
        """The key that says yes, as it is written."""
        return "y" if self.firm else "ENTER"

    @property
    def key(self) -> str:
        """The name of that key."""
        return self.answer.lower()


class Piece(NamedTuple):
    """One piece of news: the time of day when it came, its topic, what it says."""

    at: str
    topic: str
    data: Mapping[str, Any]


class Model:
    """What is known, and what waits."""

    def __init__(self, bench: str) -> None:
        self.bench = bench
        self.status: BenchStatus | None = None
        self.came_s = 0.0
        self.up = False
        self.lost_s: float | None = None
        self.news: deque[Piece] = deque(maxlen=NEWS_KEPT)
        self.weights: dict[int, float] = {}
        """Weights heard of: portion to [kg]."""
        self.portions: dict[int, Mapping[str, Any]] = {}
        self.message = ""
        self.rank = ""
        self.question: Question | None = None
        self._lapsed_s = float("-inf")
        self.busy: dict[str, int] = {}
        """Requests of this terminal that are not answered yet, by method."""
        self.mine = ""
        """What the daemon calls this terminal, once it was in control."""
        self.claimed_s: float | None = None
        """When the daemon last answered a request by which this terminal took control."""
        self.last_move: Mapping[str, Any] | None = None

    # What comes.

    def heard(self, topic: str, data: Any, now_s: float, at: str = "") -> None:
        """Take a piece of news that came at this time of day."""
        if topic == "status":
            self.status = view.from_json(data)
            self.came_s = now_s
            self.weights.update(self.status.weights)
            return
        if not isinstance(data, Mapping):
            return
        self.news.append(Piece(at, topic, data))
        if topic == "weight":
            if data["mass_kg"] is None:
                self.weights.pop(data["portion"], None)
            else:
                self.weights[data["portion"]] = data["mass_kg"]
        elif topic == "portion":
            self.portions[data["number"]] = data
            for number in sorted(self.portions)[:-PORTIONS_KEPT]:
                del self.portions[number]
        elif topic == "move":
            self.last_move = data

    def changed(self, up: bool, now_s: float) -> None:
        """The daemon was reached or lost."""
        self.up = up
        self.lost_s = None if up else now_s
        if not up:
            self.mine, self.claimed_s = "", None
            self.question = None

    # What is asked of the person.

    def say(self, text: str, rank: str = "") -> None:
        """Show a sentence in the line of answers."""
        self.message, self.rank = text, rank

    def ask(self, question: Question) -> None:
        """Put a question."""
        self.question = question

    def due(self, now_s: float) -> None:
        """Take back a question whose time is over."""
        question = self.question
        if question is not None and now_s - question.asked_s > question.within_s:
            self.question, self._lapsed_s = None, now_s
            self.say(f"Nothing was done: no {question.answer} within {question.within_s:.0f} s.")

    def take_back(self) -> None:
        """Take the question back, if there is one."""
        if self.question is not None:
            self.question = None
            self.say("Nothing was done.")

    def note(self, words: str) -> None:
        """Say what became of a key where the question stands, whose time goes on."""
        if self.question is not None:
            self.question = self.question._replace(note=f"{words} ")

    def is_yes(self, key: str) -> bool:
        """Whether this key says yes to the question there is."""
        return self.question is not None and key == self.question.key

    def just_lapsed(self, now_s: float) -> bool:
        """Whether a question's time was over just now."""
        return now_s - self._lapsed_s <= LAPSED_S

    def yes(self, pressed_s: float, now_s: float) -> bool:
        """The question's key was pressed: do what was asked about; False when nothing was."""
        self.due(now_s)
        question = self.question
        if question is None:
            return False
        if pressed_s - question.asked_s >= SETTLE_S:
            self.question = None
            self.say("")
            question.do()
        return True

    # What is known.

    def why_not(self, action: str) -> str:
        """Return why an action would be refused, where the daemon has told that ahead; else ''.

        What it told before it answered a request of this terminal may hold no more.
        """
        if self.status is None or not self.up:
            return ""
        if self.claimed_s is not None and self.came_s <= self.claimed_s:
            return ""
        return self.status.why_not.get(action) or ""

    def age_s(self, now_s: float) -> float:
        """Age of the last status."""
        return max(now_s - self.came_s, 0.0)

    def shown(self, now_s: float) -> BenchStatus | None:
        """Return the status with the age that it has by now; None before the first.

        While the daemon is away or silent the board's last word grows old with it, and so all
        values count as old.
        """
        status = self.status
        if status is None or status.link_age_s is None:
            return status
        aged = dict(vars(status))
        aged["link_age_s"] = status.link_age_s + self.age_s(now_s)
        return cast("BenchStatus", SimpleNamespace(**aged))

    def unheard(self, now_s: float) -> bool:
        """Whether what the board said last is no word of now."""
        status = self.shown(now_s)
        return not self.up or status is None or view.is_old(status)

    def claims(self, now_s: float) -> bool:
        """Whether a status that comes now names this terminal as the one in control."""
        return self.claimed_s is not None and now_s - self.claimed_s <= CLAIM_S

    @property
    def moving(self) -> bool:
        """Whether the board said last that something moves."""
        return self.status is not None and self.status.state in view.MOVING

    def power(self, on: bool) -> None:
        """The drive was given power, or lost it: the next status says so too."""
        if self.status is not None:
            self.status.pins["drive"] = on

    @property
    def powered(self) -> bool:
        """Whether the board said last that the drive has power."""
        return self.status is not None and bool(self.status.pins.get("drive"))

    @property
    def in_control(self) -> bool:
        """Whether this terminal controls the bench, as far as it can tell."""
        return bool(self.mine) and self.status is not None and self.status.controller == self.mine

    @property
    def owns_series(self) -> bool:
        """Whether a series of this terminal runs, which would pause when it leaves."""
        return bool(self.busy.get("series") or self.busy.get("resume"))
