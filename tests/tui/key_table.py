"""Every key of every screen, with what it does there: the table that `test_every_key` walks.

A key that a screen takes and that is not here fails a test, and so does one that is here and does
something else.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from tests.tui.snapshots import STUDY

PLAN = {"stroke_m": 0.0127, "take_up_m": 0.001, "aim_kg": 0.03, "shortest_s": 4.5}
MOVED = {"moved_m": 0.0005, "ending": "reached", "position_m": 0.0505}
ANSWERS: dict[str, Any] = {
    "plan": PLAN,
    "jog": MOVED,
    "drive": {},
    "fire": {"outcome": "complete"},
    "pause": {},
    "finish": {},
    "attend": {},
    "seen": {"seen": ["IL-28"]},
    "unshelve": {},
    "proofs": {"statements": [{"statement": "The disk has room.", "word": "room"}]},
    "weigh": {"portion": 3, "mass_kg": 0.007, "left": 6},
}
"""What the daemon answers."""

TOLD: dict[str, Any] = STUDY | {
    "judge": [f"line {n}" for n in range(99)],
    "case": [f"case {n}" for n in range(99)],
    "cards": ["* aim: 30 g -> 40 g (+33 %)", "1 changed, 1 of them (*) by so much."],
    "entries": {"lines": [[1, "09:14:07 Kept."]], "from": None},
}
"""What the study process answers."""


class Case(NamedTuple):
    """A key of a screen: what is pressed before, and what it does."""

    screen: str
    key: str
    says: str = ""
    """What stands on the screen then, blanks told once, and did not before."""
    asks: tuple[str, dict[str, Any]] | None = None
    """What the daemon is asked, with some of its values."""
    before: tuple[str, ...] = ()
    gone: str = ""
    """What stood there before, and does not any more."""


FORWARD = ("jog", {"distance_m": 0.0001})
REVERSE = ("jog", {"distance_m": -0.0001})
RELIEVE = "? will feed in reverse to let the pressure off"
CHOOSE = "Which journal?"
SERIES_PAUSES = "The series pauses at the next safe point."
SERIES_ENDS = "The series ends;"

CASES: tuple[Case, ...] = (
    Case("Watch", "p", SERIES_PAUSES, ("pause", {})),
    Case("Watch", "n", SERIES_ENDS, ("finish", {})),
    Case("Watch", "a", "Seen: IL-28.", ("seen", {})),
    Case("Feed", "right", "Moved +0.50 mm", FORWARD),
    Case("Feed", "plus", "Moved +0.50 mm", FORWARD),
    Case("Feed", "left", "Moved +0.50 mm", REVERSE),
    Case("Feed", "minus", "Moved +0.50 mm", REVERSE),
    Case("Feed", "1", "[1 0.1 mm]", before=("2",)),
    Case("Feed", "2", "[2 0.5 mm]"),
    Case("Feed", "3", "[3 2.0 mm]"),
    Case("Feed", "r", RELIEVE),
    Case("Feed", "d", "The drive has no power;", ("drive", {"on": False})),
    Case("Feed", "h", "> The feed stands at so many mm"),
    Case("Feed", "k", "Hold k down for 2 s; nothing moves."),
    Case("Tube", "b", "> Name of the tube"),
    Case("Tube", "a", "? will feed forward to the dough"),
    Case("Tube", "k", "? You looked, and the plunger touches the dough"),
    Case("Tube", "m", "? will feed until the strand is continuous"),
    Case("Tube", "r", RELIEVE),
    Case("Tube", "o", "? will relieve the barrel and back the plunger out"),
    Case("Tube", "e", "nothing may stand before it"),
    Case("Tube", "y", "dough must stand before it"),
    Case("Series", "m", "> One portion every so many s"),
    Case("Series", "o", "? will push 12.7 mm and cut by masa.yaml, 1 portion;"),
    Case("Series", "p", SERIES_PAUSES, ("pause", {})),
    Case("Series", "e", "? will go on with the series; 3 of 12 made"),
    Case("Series", "n", SERIES_ENDS, ("finish", {})),
    Case("Series", "r", RELIEVE),
    Case("Series", "left", "Card other.yaml"),
    Case("Series", "right", "Card other.yaml"),
    Case("Series", "a", "This will arm one dry stroke"),
    Case("Series", "x", "Dry stroke complete.", ("fire", {})),
    *(Case("Weigh", key, f"Portion 3: {key}_ g") for key in "0123456789"),
    Case("Weigh", "full_stop", "Portion 3: 7._ g", before=("7",)),
    Case("Weigh", "comma", "Portion 3: 7,_ g", before=("7",)),
    Case("Weigh", "minus", "Portion 3: -_ g"),
    Case("Weigh", "equals_sign", "Portion 5: _ g", before=("5",)),
    Case("Weigh", "enter", "Portion 3: 7.0 g; 6 not weighed yet.",
         ("weigh", {"portion": 3, "text": "7"}), ("7",)),
    Case("Weigh", "right", "Portion 4: _ g"),
    Case("Weigh", "left", "Portion 4: _ g", before=("right", "right")),
    Case("Weigh", "down", "Portion 8: _ g"),
    Case("Weigh", "up", "Portion 3: _ g", before=("down",)),
    Case("Weigh", "l", "look clean"),
    Case("Weigh", "u", "there is nothing to undo"),
    Case("Weigh", "backspace", "Portion 3: 7_ g", before=("7", "8")),
    Case("Weigh", "delete", "Portion 3: _ g", before=("7", "8")),
    Case("Weigh", "escape", "Portion 3: _ g", before=("7", "8")),
    Case("Judge", "down", "lines 2 to"),
    Case("Judge", "up", "lines 1 to", before=("down",)),
    Case("Judge", "pagedown", "lines 11 to"),
    Case("Judge", "pageup", "lines 1 to", before=("pagedown",)),
    Case("Judge", "y", gone="2 weights since: y"),
    Case("Judge", "o", CHOOSE),
    Case("Judge", "o", "lines 1 to", before=("o",)),
    Case("Judge", "down", "> a.journal", before=("o",)),
    Case("Judge", "up", "> b.journal", before=("o", "down")),
    Case("Judge", "enter", "Journal a.journal", before=("o", "down")),
    Case("Judge", "escape", gone=CHOOSE, before=("o",)),
    Case("Interlocks", "up", "> IL-27"),
    Case("Interlocks", "down", "> IL-29"),
    Case("Interlocks", "enter", "> IL-28 is cleared by a person who looked.",
         ("proofs", {"interlock": 28})),
    Case("Interlocks", "y", "Feed would be taken"),
    Case("Interlocks", "y", "> IL-28", before=("y",)),
    Case("Interlocks", "escape", "> IL-28", before=("y",)),
    Case("Interlocks", "a", "Seen: IL-28.", ("seen", {"interlock": 28})),
    Case("Interlocks", "k", "> IL-28 is put aside for so many min"),
    Case("Interlocks", "b", "IL-28 is back from the shelf.", ("unshelve", {"interlock": 28})),
    Case("Cards", "down", "> dough other.yaml"),
    Case("Cards", "up", "> dough other.yaml"),
    Case("Cards", "enter", "masa.yaml; lines 1 to"),
    Case("Cards", "down", "lines 2 to", before=("enter",)),
    Case("Cards", "up", "lines 1 to", before=("enter", "down")),
    Case("Cards", "pagedown", "lines 11 to", before=("enter",)),
    Case("Cards", "pageup", "lines 1 to", before=("enter", "pagedown")),
    Case("Cards", "escape", "> dough masa.yaml", before=("enter",)),
    Case("Cards", "k", "masa.yaml is marked"),
    Case("Cards", "d", "lines 1 to 2 of 2; ESC goes back * aim: 30 g -> 40 g",
         before=("k", "down")),
    Case("Cards", "u", "Portions are made by other.yaml", before=("down",)),
    Case("Cards", "l", "masa.yaml: stroke 12.7 mm", ("plan", {})),
    Case("Journal", "l", "portion, since these screens opened"),
    Case("Journal", "n", "> Only what has this in it"),
    Case("Journal", "up", gone="Portion 79 weighs"),
    Case("Journal", "down", "Portion 70 weighs", before=("pageup",)),
    Case("Journal", "pageup", gone="Portion 79 weighs"),
    Case("Journal", "pagedown", "Portion 79 weighs", before=("pageup",)),
    Case("Journal", "end", "Portion 79 weighs", before=("pageup", "pageup")),
    Case("Journal", "o", CHOOSE),
    Case("Journal", "o", gone=CHOOSE, before=("o",)),
    Case("Journal", "down", "> a.journal", before=("o",)),
    Case("Journal", "up", "> b.journal", before=("o", "down")),
    Case("Journal", "enter", "past journal a.journal", before=("o", "down")),
    Case("Journal", "escape", gone=CHOOSE, before=("o",)),
    Case("Journal", "escape", "since these screens opened", before=("o", "enter")),
    Case("Why", "right", "+0.010 s"),
    Case("Why", "left", "-0.010 s"),
    Case("Why", "e", "Event ended, complete"),
    Case("Why", "b", "Event take-up begins"),
    Case("Why", "up", "portion 10"),
    Case("Why", "down", "portion 11", before=("up",)),
    Case("Why", "n", "> Portion: _"),
    Case("Why", "a", "good ones, at the cut"),
    Case("Why", "x", gone="|cut"),
    Case("Why", "d", "case 0"),
    Case("Why", "d", "Event push begins", before=("d",)),
    Case("Why", "down", gone="case 0", before=("d",)),
    Case("Why", "up", "case 0", before=("d", "down")),
    Case("Why", "pagedown", gone="case 9", before=("d",)),
    Case("Why", "pageup", "case 0", before=("d", "pagedown")),
    Case("Why", "escape", "Event push begins", before=("d",)),
    Case("Why", "o", CHOOSE),
    Case("Why", "o", "Event push begins", before=("o",)),
    Case("Why", "down", "> a.journal", before=("o",)),
    Case("Why", "up", "> b.journal", before=("o", "down")),
    Case("Why", "enter", "Event push begins", before=("o",)),
    Case("Why", "escape", "Event push begins", before=("o",)),
)  # fmt: skip
