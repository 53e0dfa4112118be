"""What the screens say of the stop key, of keys that came late, of refusals and errors, and of
leaving."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING

from tui import view

if TYPE_CHECKING:
    from tui.client import Refused
    from tui.model import Model
    from tui.screens.base import Asker

LATE = "Keys arrived late, so nothing was done: press once more."
LATE_YES = "{key} arrived late, so it did nothing: once more."
MAYBE_HELD = "{key} so soon after the last may be one key held, so it did nothing: once more."
UNASKED = "Nothing was asked: no daemon answers."
HELD_BACK = "What was typed meanwhile was not taken: answer first."
BURST = "Keys arrived all at once, late or pasted: {done}. Press single keys."

SMALL = "In so small a window only SPACE and q count."

NO_STOP = (
    f"STOP WAS NOT SENT: no daemon takes it. {view.URGENT.capitalize()}; the board stops by "
    "itself once it has no word from a daemon."
)
SENT = {
    0: "Stop was sent; the board has not answered yet.",
    1: "Stop was sent, and power off the drive was asked for; the board has not answered yet.",
}
"""Level of a stop to what is said of it."""
STOPPED = {
    True: "The board has answered and moves nothing now; SPACE once more drops the drive's power.",
    False: "The board has answered: the drive has no power. A loaded barrel stays loaded.",
}
"""Whether the drive has power to what is said of the board's answer."""
OVERDUE = {
    0: f"Stop was sent, and the board does not say that it stopped: {view.URGENT}.",
    1: f"Power off the drive was asked for, and the board does not say that it is off: "
    f"{view.URGENT}.",
}


KEYS_OF: dict[str, str] = {
    "clear": "i,ENTER",
    "here": "f,h",
    "relieve": "f,r",
    "jog": "f",
    "cut": "s,a",
    "resume": "s,e",
    "seen": "w,a",
    "weigh": "g",
    "tube in": "t,b",
    "tube prime": "t,m",
    "tube out": "t,o",
    "eye --empty": "t,e",
    "eye --dough": "t,y",
}
"""Command to the keys that do the same here, one after the other; no blank, to fold them at."""

_COMMAND = re.compile(
    r"'benchd ([a-z]+(?: (?:--)?[a-z]+)?)(?: (?:IL-\d\d|[\d.]+\w*))?'"
    r"(?: (ask|say|bring|feed)s\b)?"
)


def keyed(text: str, here: str = "") -> str:
    """Return a sentence with the keys in place of each command that has some: whoever reads it here
    has no prompt to type at. `here`: the key of the screen that it stands on, which is left out."""

    def keys(found: re.Match[str]) -> str:
        if found[1] not in KEYS_OF:
            return found[0]
        begins = text[: found.start()].rstrip()[-1:] in ("", ".", "!")
        keys = KEYS_OF[found[1]].removeprefix(f"{here},")
        several = "," in keys
        word = "keys" if several else "key"
        verb = f" {found[2]}{'' if several else 's'}" if found[2] else ""
        return f"{word.capitalize() if begins else word} {keys}{verb}"

    return _COMMAND.sub(keys, text)


def maybe_held(key: str) -> str:
    """Return what is said of a key that answers and may be held."""
    return MAYBE_HELD.format(key="ENTER" if key == "enter" else key)


def own_error(error: Exception) -> str:
    """Return what is said of an error of ours."""
    return (
        f"These screens met an error of their own ({type(error).__name__}: {error}). SPACE still "
        "stops; q leaves; please report it."
    )


def condition_of(no: Refused) -> str:
    """Return the condition that failed, as the daemon calls it; "" when it gives none."""
    condition = no.data.get("condition") if isinstance(no.data, dict) else ""
    return condition if isinstance(condition, str) else ""


def refused_words(no: Refused) -> str:
    """Return a refusal with the interlock that it does not name itself."""
    code = condition_of(no)
    if code.startswith("IL-") and code not in str(no):
        return f"Refused by {code}: {no}"
    return f"Refused: {no}" if no.code else str(no)


IN_CONTROL = "This terminal is in control now, and nothing was moved: press the key once more."


def question_of(
    desk: Asker, no: Refused, otherwise: Callable[[str], None] | None
) -> Callable[[str], None] | None:
    """Return what puts a question of the daemon to the person; None where nothing does.

    Whether to take control is asked here for all screens, and only that is done then: what was
    pressed for is pressed for anew, with a look at the bench. `otherwise` takes any other question.
    """
    if condition_of(no) != "control":
        return otherwise

    def offer(text: str) -> None:
        desk.confirm(
            f"{text} Nothing moves by that",
            lambda: desk.ask("control", {}, lambda _: desk.say(IN_CONTROL)),
        )

    return offer


def leaving_words(model: Model) -> str:
    """Return what leaving does to the bench; empty when it does nothing."""
    if model.owns_series:
        return "The series of this terminal finishes its portion and pauses"
    if model.status is not None and model.status.state == "NUDGING" and model.busy:
        return "The move of this terminal stops"
    return ""
