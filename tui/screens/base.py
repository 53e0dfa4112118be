"""What all screens share: the desk that they work at, and a field to type into."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple, Protocol

from tui import ended, view
from tui.frame import Line, fold
from tui.model import Model
from tui.said import keyed

NUMBER_SIGNS = frozenset("0123456789.,-")
WORD_SIGNS = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.,-_/+:")
"""What a word may hold. A blank is not among them: that key stops."""

TYPED_MAX = 60

SCROLL = {"up": -1, "down": 1, "pageup": -10, "pagedown": 10}
"""Keys that scroll, to how many lines on."""

EXPECTED = ("reached", "relieved")
"""How a move by hand ends when nothing cuts it short."""


class Press(NamedTuple):
    """A key: its name, the sign it writes or "", when it was read, when its turn came [s]."""

    key: str
    sign: str
    pressed_s: float
    now_s: float
    again: bool = False
    """The terminal says that it is a repeat of a key held down."""
    many: bool = False
    """It came together with others: they waited somewhere, or were pasted."""
    repeat: bool = False
    """It is one of a key held, by its time or by the terminal."""
    doubtful: bool = False
    """It may be the first one of a key held."""


class Asker(Protocol):
    """What asks the daemon, the study process and the person."""

    model: Model

    def ask(
        self,
        method: str,
        params: Mapping[str, Any] | None = None,
        then: Callable[[Any], None] | None = None,
        *,
        on_question: Callable[[str], None] | None = None,
    ) -> None:
        """Ask the daemon; `then(result)` when it is done; a refusal is shown.

        `on_question(text)` where the daemon doubts a value and asks the person.
        """

    def study(
        self,
        ask: str,
        given: Mapping[str, Any],
        then: Callable[[Any], None],
        failed: Callable[[], None],
    ) -> None:
        """Ask about past journals; `then(result)`, or `failed()`: why is shown."""

    def confirm(
        self, text: str, do: Callable[[], None], within_s: float = ..., *, firm: bool = False
    ) -> None:
        """Show what will happen, and do it only once the person presses ENTER.

        Another key takes the question back, unless it is `firm`: then y does it, and ESC does not.
        """

    def say(self, text: str, rank: str = "") -> None:
        """Show a sentence in the line of answers."""


class Desk(Asker, Protocol):
    """What a screen may do: ask the daemon, put a question, say a sentence, stop."""

    cautions: Mapping[str, Sequence[str]]
    """Command to what is said before it moves something."""
    folder: str
    """Where cards are looked for."""
    card_name: str
    """Dough card that was chosen to portion by; "" for the first there is."""

    def stop(self) -> None:
        """Stop the bench."""

    def show(self, name: str) -> None:
        """Go to another screen."""


def anything(text: str) -> str:
    """Find nothing wrong with what was typed."""
    return ""


def a_name(text: str) -> str:
    """Return what is wrong with a name; "" for nothing."""
    return "" if text else "It takes a name."


def a_number(text: str) -> str:
    """Return what is wrong with a number; "" for nothing."""
    if number(text) is not None:
        return ""
    what = f"'{text}' is no number" if text else "No number was typed"
    return f"{what}: type it as 12.5 or 12,5."


class Field:
    """One line to type into: a number or a word.

    `check` returns what is wrong with a text, "" for nothing.
    """

    def __init__(
        self,
        label: str,
        signs: frozenset[str] = WORD_SIGNS,
        text: str = "",
        check: Callable[[str], str] = anything,
    ) -> None:
        self.label = label
        self.signs = signs
        self.text = text
        self.check = check
        self.fresh = bool(text)
        """A text that was given, and which the first sign typed replaces."""

    def press(self, press: Press) -> bool:
        """Take a key if it edits; False when it does not."""
        if press.key == "backspace":
            self.text = self.text[:-1]
        elif press.key == "delete":
            self.text = ""
        elif press.sign and press.sign in self.signs and len(self.text) < TYPED_MAX:
            self.text = press.sign if self.fresh else self.text + press.sign
        else:
            return False
        self.fresh = False
        return True


def not_taken(sign: str) -> str:
    """Return what is said of a sign that a field does not take: nobody looks for it in vain."""
    return f"'{sign}' is not taken here, and was left out."


class Form:
    """Several fields, filled in one after the other; `done(texts)` takes what was typed."""

    def __init__(self, fields: Sequence[Field], done: Callable[[list[str]], None]) -> None:
        self._fields = fields
        self._done = done
        self._at = 0
        self._wrong = ""
        """What is wrong with what ENTER would have taken."""

    def lines(self, width: int) -> list[Line]:
        """Return the field to fill in."""
        field = self._fields[self._at]
        of = f" ({self._at + 1} of {len(self._fields)})" if len(self._fields) > 1 else ""
        typed = fold(f"> {field.label}{of}: {field.text}_", width, "strong")
        if self._wrong:
            return [*typed, *fold(f"  {self._wrong}", width, "watch")]
        return [
            *typed,
            Line("  ENTER takes it, ESC gives up; SPACE stops, so words have no blank."),
        ]

    def press(self, press: Press) -> bool:
        """Take a key; True when all is typed, and the form is over."""
        field = self._fields[self._at]
        if press.key != "enter":
            taken = field.press(press)
            if taken or press.sign:
                self._wrong = "" if taken else not_taken(press.sign)
            return False
        self._wrong = field.check(field.text)
        if self._wrong:
            field.fresh = bool(field.text)
            return False
        self._at += 1
        if self._at < len(self._fields):
            return False
        self._done([field.text for field in self._fields])
        return True


class Screen:
    """One screen. Its `lines` are what it shows, `pressed` what its keys do."""

    name = ""
    hints = ""
    cautions = ""
    """Command whose cautions stand on this screen."""
    moving: frozenset[str] = frozenset()
    """Keys that move something, or put a question: those that come late or together, and so
    were meant for another moment, do nothing."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._form: Form | None = None

    @property
    def typing(self) -> bool:
        """Whether letters are typed into a field now, so that none of them changes the screen."""
        return self._form is not None

    def fill_in(self, fields: Sequence[Field], done: Callable[[list[str]], None]) -> None:
        """Open a form."""
        self.desk.say("")
        self._form = Form(fields, done)

    def body(self, now_s: float, width: int, room: int) -> list[Line]:
        """Return the body, in at most `room` lines where that matters to it."""
        model = self.desk.model
        texts = [f"! {text}" for text in self.desk.cautions.get(self.cautions, ())]
        lines = self.lines(now_s, width, room)
        cautions = [line for text in texts for line in fold(text, width)]
        if not cautions:
            return lines
        # Whoever looks at what moves, is about to or just did, has read them and needs the values.
        moves = model.question is not None or model.moving
        if (moves or model.message) and len(lines) + len(cautions) > room:
            cautions = [_first_line(text, width) for text in texts]
        if moves:
            cautions = cautions[: max(room - len(lines), 0)]
        left = room - len(cautions)
        if len(lines) < left:
            return [*lines, Line(""), *cautions]
        if len(lines) > left > 0:
            # What warns stays in sight; what gives way is counted.
            more = len(lines) - left + 1
            text = f"... {more} lines more; a taller window shows them"
            lines = [*lines[: left - 1], Line(text, "dim")]
        return [*lines, *cautions]

    @property
    def hints_now(self) -> str:
        """What keys do on the face that is shown."""
        return self.hints

    def lines(self, now_s: float, width: int, room: int) -> list[Line]:
        """Return what this screen is about."""
        raise NotImplementedError

    def entry(self, width: int) -> list[Line]:
        """Return what is being typed, which stands above the keys."""
        return self._form.lines(width) if self._form is not None else []

    def press(self, press: Press) -> bool:
        """Take a key; False when it means nothing here."""
        if self._form is None:
            return self.pressed(press)
        if press.key == "escape":
            self._form = None
            self.desk.say("Nothing was done.")
        else:
            form = self._form
            # What a form calls when it is over may open the next one.
            if form.press(press) and self._form is form:
                self._form = None
        return True

    def pressed(self, press: Press) -> bool:
        """Take a key while nothing is typed; False when it means nothing here."""
        return False

    @property
    def held(self) -> str:
        """The key that something moves by while it is held; "" when none is."""
        return ""

    def let_go(self, key: str | None = None) -> None:
        """A key was let go. None: no key counts as held any more, as another one was pressed, or
        the terminal lost its focus or its size changed."""

    def stopped(self) -> None:
        """The stop key was pressed."""

    def shown(self) -> None:
        """This screen comes up."""

    def left(self) -> None:
        """Another screen comes: give up what was begun here."""
        self._form = None


def _first_line(text: str, width: int) -> Line:
    lines = fold(text, width - 4)
    return lines[0] if len(lines) == 1 else Line(f"{lines[0].text} ...")


def number(text: str) -> float | None:
    """Return a number typed with a decimal point or comma; None when it is none."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    return value if abs(value) < 1e9 else None


def guard_words(model: Model) -> str:
    """Return the guard, and that some parts nobody watches, for a consequence line."""
    return "guard not known" if model.status is None else view.guard_text(model.status, brief=True)


def loaded_words(model: Model) -> str:
    """Return guard, barrel and air for a consequence line, and that what moves the feed gives power
    to the drive."""
    if model.status is None:
        return "nothing is known of the bench"
    power = "" if model.powered else "; the drive, which has none, gets power"
    return f"{view.loaded_text(model.status, brief=True)}{power}"


def is_refused(desk: Desk, action: str) -> bool:
    """Say why an action would be refused, where the daemon has told that ahead, so that nobody is
    asked to confirm it in vain; True when it has."""
    why = desk.model.why_not(action)
    if why:
        desk.say(keyed(f"Refused: {why}"), "watch")
    return bool(why)


def relieve(desk: Desk) -> None:
    """Ask whether to let the barrel's pressure off, and do it."""
    if is_refused(desk, "relieve"):
        return
    desk.confirm(
        f"will feed in reverse to let the pressure off; {loaded_words(desk.model)}",
        lambda: desk.ask("relieve", {}, lambda result: say_moved(desk, result)),
    )


def say_moved(desk: Desk, result: Mapping[str, Any]) -> None:
    """Say how a move by hand ended; one that was cut short stands out."""
    desk.say(ended.moved_text(result), "" if result["ending"] in EXPECTED else "watch")
