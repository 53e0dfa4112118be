"""Sentences for what the board refuses or trips on, with the values in units a person reads."""

from __future__ import annotations

from collections.abc import Callable

from benchd.core.facts import BenchFacts
from benchd.core.turn import No
from protocols.codes import CAUSES, INTERLOCK_BY_NUMBER, MODES, REFUSAL_BY_CODE
from protocols.limits import NOT_FITTED

Words = Callable[[BenchFacts, int, int], str]


def _mm(facts: BenchFacts, steps: int) -> str:
    return f"{facts.metres(steps) * 1000:.1f} mm"


def _gap(facts: BenchFacts, steps: int, bound: int) -> str:
    """Return a way without dough as the card speaks of it: strand in a gap, feed before any."""
    if bound == facts.limits["gap"]:
        return f"{facts.strand_m(steps) * 1000:.1f} mm of strand"
    return f"{_mm(facts, steps)} of feed"


def _cause(number: int) -> str:
    return CAUSES[number] if 0 <= number < len(CAUSES) else CAUSES[0]


def _way_home(facts: BenchFacts) -> str:
    """Say how a cutter that goes far without power comes home."""
    if not facts.limits.get("valve_home"):
        return ""
    return " It goes far without power: 'benchd cut' brings it home, everybody clear of the blade."


TRIP_WORDS: dict[int, Words] = {
    1: lambda f, v, b: "Emergency stop pressed. Release it, look, then prove the bench.",
    2: lambda f, v, b: "Guard open. Shut it, look, then prove the bench.",
    3: lambda f, v, b: f"Not cut: feed moving or settling (at rest for {v} ms of {b} ms).",
    4: lambda f, v, b: "Not fed: the cutter is not home." + _way_home(f),
    5: lambda f, v, b: "The cutter left home while feeding: look at air and valve.",
    6: lambda f, v, b: (
        f"The cut did not finish in {v / 1000:.1f} s: something hard, low air, or a "
        "piece too large."
    ),
    7: lambda f, v, b: f"The cutter did not come home in {v / 1000:.1f} s.",
    8: lambda f, v, b: "Both cutter switches read on: look at the wiring.",
    9: lambda f, v, b: f"No dough for {_gap(f, v, b)}: end of the tube, a void, or a dirty eye?",
    11: lambda f, v, b: (
        "The thrust sensor does not answer: treat the barrel as loaded, look at its wire."
        if v == NOT_FITTED
        else f"Thrust {v / 10:.0f} N is over {b / 10:.0f} N. Do not open: pressure is "
        "stored. Relieve first."
    ),
    12: lambda f, v, b: (
        f"Thrust fell from {b / 10:.0f} to {v / 10:.0f} N at once: something gave way. "
        "Vent, look at the fasteners."
    ),
    14: lambda f, v, b: f"End of travel at {_mm(f, v)}.",
    16: lambda f, v, b: (
        "The air sensor does not answer: treat the air as live, look at its wire."
        if v == NOT_FITTED
        else f"Air is {v / 1000:.1f} bar, the card asks for "
        f"{'at least' if v < b else 'at most'} {b / 1000:.1f} bar."
    ),
    18: lambda f, v, b: "Word from the host stopped: the bench stopped itself.",
    20: lambda f, v, b: f"The board restarted (cause: {_cause(v)}).",
    21: lambda f, v, b: "A command was bad, late or repeated: nothing was done.",
    22: lambda f, v, b: "Both local switches are pressed.",
    23: lambda f, v, b: "The local switches are locked during a series.",
    24: lambda f, v, b: f"Valve or push was on for {v / 1000:.1f} s, allowed are {b / 1000:.1f} s.",
    29: lambda f, v, b: (
        f"The logic supply is {v / 1000:.2f} V, needed are {b / 1000:.2f} V: the valve "
        "is not driven."
    ),
}
"""Interlock number to its sentence; value and bound are in the wire's units, see `carries` in
protocols.codes."""

WITHOUT_VALUES: dict[int, str] = {
    6: "The cut did not finish in time: something hard, low air, or a piece too large.",
    7: "The cutter did not come home in time.",
    9: "No dough for too long a feed: end of the tube, a void, or a dirty eye?",
    11: "Thrust was over its limit. Do not open: pressure is stored. Relieve first.",
    12: "Thrust fell at once: something gave way. Vent, look at the fasteners.",
    14: "End of travel.",
    16: "Air was outside what the card asks for.",
    20: "The board restarted.",
    24: "Valve or push was on for too long.",
    29: "The logic supply was too low: the valve is not driven.",
}
"""The same for a latch whose trip event did not come, where the sentence holds values."""

SO_WHAT: dict[int, str] = {
    1: "Drive and valve have no power; the barrel may still be loaded.",
    2: "The cutter went to its rest, power goes off the drive; the barrel may still be loaded.",
    5: "The feed stopped; its position is doubtful.",
    6: "The valve went back and the feed is locked; the piece may still hang at the nozzle.",
    7: "The feed is locked: the blade may be in the dough.",
    8: "The cutter's place is not known; everything is locked.",
    9: "The feed stopped and nothing was cut.",
    10: "The end of the tube would go unseen.",
    11: "The feed stopped and went back a little.",
    12: "The drive has no power; parts may be loose.",
    13: "Opening now lets stored force go.",
    14: "The feed stopped.",
    15: "Only jog, relieve and tube out are allowed.",
    16: "Nothing is cut; what was pushed before hangs at the nozzle.",
    17: "The first stroke after venting is fast; what hangs at the nozzle falls with it.",
    18: "What was under way ended early.",
    19: "Every value shown is old, and nothing can be asked of the bench.",
    20: "Where the feed stands is not known; nothing moves.",
    22: "Neither moves the feed.",
    24: "Valve and feed were stopped.",
    25: "The series pauses.",
    26: "The series pauses.",
    27: "No series begins; jog, relieve, single portions and tube out work.",
    28: "No new portion is begun; stop, relieve and jog work.",
    29: "Nothing is cut; what was pushed before hangs at the nozzle.",
    30: "Times in the journal are marked doubtful.",
}
"""What an interlock that is up means for the bench."""


_AIR_FIRST = "Drive off, air shut and vented, gauge at zero; then look for the cause."

DO_WHAT: dict[int, str] = {
    1: "'benchd clear IL-01' asks you to prove it.",
    2: "'benchd clear IL-02' asks you to prove it.",
    5: f"{_AIR_FIRST} Then 'benchd clear IL-05'.",
    6: f"{_AIR_FIRST} Inspect the blade. 'benchd clear IL-06' asks you to prove it.",
    7: f"{_AIR_FIRST} 'benchd clear IL-07' asks you to prove it.",
    8: f"{_AIR_FIRST} 'benchd clear IL-08' asks you to prove it.",
    11: "Run 'benchd relieve', look for what blocks it, then 'benchd clear IL-11'.",
    13: "Run 'benchd relieve', switch the drive off, shut and vent the air.",
    15: "'benchd clear IL-15' asks you to prove it.",
    17: "One dry stroke lets go of it.",
    20: "'benchd clear IL-20' asks you to prove it; then 'benchd here' says where the feed stands.",
    27: "Take the tube out: 'benchd tube out'. Throw away what was out for too long.",
}
"""What a person does about an interlock, where the general sentences of `do_what` do not fit. Near
the blade it begins with the air: looking there for a cause while it is live costs fingers."""


def do_what(number: int, reset: str, *, latched: bool) -> str:
    """Return what a person does about an interlock that is up."""
    code = INTERLOCK_BY_NUMBER[number].code
    if number in DO_WHAT:
        return DO_WHAT[number]
    if not latched and reset == "auto":
        return "It goes by itself when the cause is gone."
    if reset == "prove":
        return f"Remove the cause, look, then 'benchd clear {code}' asks you to prove it."
    return f"Remove the cause, then 'benchd clear {code}'."


def trip_text(facts: BenchFacts, number: int, value: int, bound: int) -> str:
    """Return the sentence for a trip of the board, or for a refusal by one of its interlocks."""
    words = TRIP_WORDS.get(number)
    if words is not None:
        return words(facts, value, bound)
    interlock = INTERLOCK_BY_NUMBER.get(number)
    return f"{interlock.title.capitalize()}." if interlock else f"Interlock {number}."


def latch_text(facts: BenchFacts, number: int) -> str:
    """Return the sentence for a latch of the board of which no value is known."""
    return WITHOUT_VALUES.get(number) or trip_text(facts, number, 0, 0)


def refusal(facts: BenchFacts, reason: int, value: int, bound: int) -> No:
    """Return why the board refused a command."""
    interlock = INTERLOCK_BY_NUMBER.get(reason)
    if interlock is not None:
        return No(trip_text(facts, reason, value, bound), interlock.code, value, bound)
    row = REFUSAL_BY_CODE.get(reason)
    if row is None:
        return No(
            f"The board refused for a reason ({reason}) that this version does not know.",
            str(reason),
            value,
            bound,
        )
    text = row.sentence
    if row.word == "latched" and value in INTERLOCK_BY_NUMBER:
        latch = INTERLOCK_BY_NUMBER[value]
        text = (
            f"{latch.code} is latched ({latch.title}): clear it first with 'benchd clear "
            f"{latch.code}'."
        )
    elif row.word == "busy" and 0 <= value < len(MODES):
        text = f"The bench is busy ({MODES[value]}): wait, or stop it first."
    elif row.word == "travel":
        text = (
            f"The move would end at {_mm(facts, value)}, past the end of travel at "
            f"{_mm(facts, bound)}."
        )
    return No(text, row.word, value, bound)
