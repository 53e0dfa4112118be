"""The numbers on the wire that stand for words: modes, phases, pins, causes, refusals, interlocks.

One table each; SPEC.md, the C++ header and every text for a person are made from these.
"""

from __future__ import annotations

from typing import NamedTuple

MODES: tuple[str, ...] = ("drive-off", "ready", "moving", "portion", "stroke", "tripped")
"""Mode in a beat.

0 drive off, 1 ready, 2 feed moves by hand, 3 portion under way, 4 dry stroke, 5 a latch is set.
"""

PHASES: tuple[str, ...] = ("none", "take-up", "push", "draw-back", "settle", "cut", "return")
"""Phase in a beat and in `phase` events."""

PINS: tuple[str, ...] = (
    "guard", "stop", "home", "far", "ends", "forward", "reverse", "button",
    "valve", "drive", "dough", "known", "local-lock", "armed", "waiting", "adopted",
)  # fmt: skip
"""Bits of `pins`, and numbers of `signal` up to 15.

guard 1 shut; stop 1 not pressed; home, far 1 cutter there; ends 1 free of both feed ends; forward,
reverse, button 1 pressed; valve 1 driven; drive 1 powered; dough 1 seen by the eye; known 1
position known; local-lock 1 local switches locked; armed 1 dry stroke armed; waiting 1 portion
waits for the local button; adopted 1 limits in force.
"""

PIN: dict[str, int] = {name: bit for bit, name in enumerate(PINS)}

SIGNALS: tuple[str, ...] = (*PINS, "drop")
"""Numbers of `signal` in an `edge`: the pins, and the drop eye, which has no bit in the beat: it is
told once a portion, as it first sees something fall."""

DROP = SIGNALS.index("drop")

CAUSES: tuple[str, ...] = ("unknown", "power", "button", "watchdog", "lowvolt")
"""Why the board started; the greeting says the word, the `boot` event the number."""

MOVES: tuple[str, ...] = ("jog", "held", "relieve", "approach", "prime", "local")
"""Kinds of feed move."""

MOVE_ENDINGS: tuple[str, ...] = (
    "reached", "stopped", "lapsed", "tripped", "contact", "relieved", "flowing", "no-flow",
    "released",
)  # fmt: skip
"""Why a feed move ended."""

OUTCOMES: tuple[str, ...] = ("complete", "stopped", "tripped", "lapsed")
"""How a portion or a dry stroke ended."""


class Refusal(NamedTuple):
    """A reason in `no` that is not an interlock.

    `carries` says what `value` and `bound` of the answer are.
    """

    code: int
    word: str
    carries: str
    sentence: str


REFUSALS: tuple[Refusal, ...] = (
    Refusal(40, "no-limits", "-", "The board has no limits in force: load the bench card first."),
    Refusal(41, "malformed", "-", "The board could not read the fields of the command."),
    Refusal(42, "range", "field, nearest allowed", "A value is outside what the board allows."),
    Refusal(43, "busy", "mode, -", "The bench is busy: wait, or stop it first."),
    Refusal(44, "drive-off", "-", "The drive has no power: switch it on first."),
    Refusal(
        45,
        "position",
        "-",
        "The board does not know where the feed stands: say it with 'benchd here'.",
    ),
    Refusal(46, "not-armed", "-", "The stroke is not armed: arm it, then fire within 3 s."),
    Refusal(
        47,
        "ring",
        "places free, needed",
        "The board holds too many events that the host has not taken.",
    ),
    Refusal(
        48,
        "stale",
        "number given, newest",
        "The command came too late: it was meant for an earlier moment.",
    ),
    Refusal(49, "order", "number given, last", "The command number was used already."),
    Refusal(
        50, "reused", "number given, -", "The command number was used already, for something else."
    ),
    Refusal(
        51,
        "no-plan",
        "portion given, loaded",
        "The board has no complete program for this portion.",
    ),
    Refusal(52, "latched", "interlock, -", "An interlock is latched: clear it first."),
    Refusal(
        53,
        "digest",
        "-",
        "The limits on the board are not those of the bench card: load them again.",
    ),
    Refusal(54, "not-fitted", "bit in fitted, -", "The card says that this part is not fitted."),
    Refusal(55, "unknown", "-", "The board does not know this command."),
    Refusal(56, "cause-stays", "interlock, value", "The cause is still there: remove it first."),
    Refusal(57, "travel", "position asked, limit", "The move would pass the end of travel."),
    Refusal(58, "locked", "-", "The local switches are locked during a series."),
)

REFUSAL_BY_CODE: dict[int, Refusal] = {refusal.code: refusal for refusal in REFUSALS}


class Interlock(NamedTuple):
    """One interlock of the house: number, kind, reset, who enforces it, what it watches.

    kind "P" permissive, "T" trip; reset "auto", "ack" or "prove"; place "board", "daemon" or
    "both". `carries` says what `value` and `bound` of the board's trip or refusal are.
    """

    number: int
    kind: str
    reset: str
    place: str
    title: str
    carries: str

    @property
    def code(self) -> str:
        """Name on every screen and page, such as IL-09."""
        return f"IL-{self.number:02d}"


INTERLOCKS: tuple[Interlock, ...] = (
    Interlock(1, "T", "prove", "board", "emergency stop pressed", "-"),
    Interlock(2, "T", "prove", "board", "guard open", "-"),
    Interlock(3, "P", "auto", "board", "cut only with the feed at rest", "ms at rest, ms needed"),
    Interlock(4, "P", "auto", "board", "feed only with the cutter home", "ms at home, ms needed"),
    Interlock(5, "T", "ack", "board", "cutter left home while feeding", "-"),
    Interlock(6, "T", "prove", "board", "cut did not finish", "ms taken, ms allowed"),
    Interlock(7, "T", "prove", "board", "cutter did not come home", "ms taken, ms allowed"),
    Interlock(8, "T", "prove", "board", "both cutter switches on", "-"),
    Interlock(9, "T", "ack", "board", "dough gone", "steps without dough, steps allowed"),
    Interlock(10, "T", "ack", "daemon", "eye always says dough", "portions, portions allowed"),
    Interlock(11, "T", "ack", "board", "thrust too high", "0.1 N, 0.1 N allowed"),
    Interlock(12, "T", "prove", "board", "thrust collapsed", "0.1 N now, 0.1 N before"),
    Interlock(13, "P", "auto", "daemon", "open only when eased and off", "-"),
    Interlock(14, "T", "ack", "board", "end of travel", "position in steps, limit in steps"),
    Interlock(15, "P", "prove", "daemon", "bench proven since it changed", "-"),
    Interlock(16, "T", "ack", "board", "air outside its limits", "hPa, hPa allowed"),
    Interlock(17, "P", "auto", "daemon", "dry stroke first after air was away", "-"),
    Interlock(
        18, "T", "ack", "board", "word from the host stopped", "ms since the lease, ms allowed"
    ),
    Interlock(
        19,
        "P",
        "auto",
        "daemon",
        "word from the board stopped",
        "ms since the last line, ms allowed",
    ),
    Interlock(20, "T", "prove", "both", "board restarted", "cause, boot number"),
    Interlock(21, "T", "auto", "board", "command bad, late or repeated", "-"),
    Interlock(22, "T", "auto", "board", "both local switches pressed", "-"),
    Interlock(23, "P", "auto", "board", "local switches locked in a series", "-"),
    Interlock(24, "T", "ack", "board", "valve or push on for too long", "ms taken, ms allowed"),
    Interlock(25, "T", "ack", "daemon", "odd portions or slow cuts", "count, window"),
    Interlock(26, "T", "ack", "daemon", "nobody attends", "minutes, minutes allowed"),
    Interlock(27, "P", "auto", "daemon", "tube open for too long", "minutes, minutes allowed"),
    Interlock(28, "T", "auto", "daemon", "journal cannot be written", "-"),
    Interlock(29, "T", "ack", "board", "logic supply low", "mV, mV needed"),
    Interlock(30, "T", "auto", "daemon", "board times uncertain", "ms error, ms allowed"),
)

INTERLOCK_BY_NUMBER: dict[int, Interlock] = {row.number: row for row in INTERLOCKS}
