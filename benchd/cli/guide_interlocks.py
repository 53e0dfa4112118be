"""The guide's page of interlocks, and that of refusals: made from the tables they come from."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from typing import Any

from msgspec.structs import replace

from benchd.config.bench_keys import BENCH_KEYS, WIRES
from benchd.core import words
from benchd.core.facts import BenchFacts
from benchd.core.interlocks import RULE_BY_NUMBER
from benchd.core.interlocks.base import SECOND_NS, Example, Rule
from benchd.core.proofs import PROOFS, RESTS_FAR
from benchd.core.state import State
from protocols import limits
from protocols.codes import INTERLOCKS, REFUSALS, Interlock

WATCHES: dict[int, str] = {
    1: "The contact of the emergency stop, all the time; a broken wire reads as pressed. The stop "
    "itself cuts motor power and dumps the air by wire: the board only sees it.",
    2: "The contact of the guard, all the time; a broken wire reads as open.",
    3: "How long ago the feed made its last step, whenever the cutter is to move.",
    4: f"The cutter's home switch before any feed move: on for {limits.HOME_STEADY_MS} ms. Let "
    "through all the same: a jog in reverse of at most 1000 steps that begins with the cutter "
    "away, to free a blade.",
    5: "The cutter's home switch while the feed steps.",
    6: "The time from the valve to the far switch in a cut.",
    7: "The time from the valve going back to the home switch, and whether that stays on.",
    8: "Both cutter switches: on together, or the far one on long after the valve went back.",
    9: "The eye in take-up and push: how far the feed went without dough. Before dough was seen "
    "in this push the longer limit for the first flow holds.",
    11: "The thrust, in two readings running, while the feed steps forward.",
    12: f"Thrust that falls by more than {limits.COLLAPSE_PERCENT} % within {limits.COLLAPSE_MS} "
    f"ms, from at least {limits.COLLAPSE_FLOOR_DN / 10:g} N, while the feed steps forward.",
    14: "The end switches of the feed, and the soft limits while the position is known.",
    16: "The air when a portion or a dry stroke is started, and again as each cut begins.",
    18: "The leave to move, which the daemon renews at every beat of the board. When it lapses, "
    f"what moves ends; {limits.DRIVE_OFF_MS / 1000:g} s later the drive loses its power.",
    20: "Every start of the board, planned or not, and another board on the port.",
    21: "The number, check value, range and age of each command.",
    22: "The two local switches.",
    23: "The local switches and the button, in a series and in a portion.",
    24: "How long the valve holds the far level in a cut, and how long take-up and push last, each "
    "by itself.",
    29: "The supply of the board's logic when a cut is due, and while the valve is driven.",
}
"""What the board's interlocks look at (SPEC.md, section 11). The daemon's say it themselves."""

NOTHING = "nothing: it rests on no sensor"
ON_BOARD_UNFITTED: dict[int, str] = {
    1: "nobody watches it; wire the stop all the same",
    2: "nobody watches it; guard the blade all the same",
    4: "without a home switch the cutter is presumed home after its usual return time",
    5: "without a home switch nobody watches it",
    6: "without a far switch the cut is timed, and a blade that stopped goes unseen",
    7: "without a home switch the return is timed, and a blade that stopped goes unseen",
    8: "watched only with both switches fitted",
    9: "without an eye the end of the tube is known by travel alone",
    11: "without a thrust sensor nobody watches it: the motor's stall is the only limit",
    12: "without a thrust sensor nobody watches it",
    14: "without end switches the soft limits alone, while the position is known",
    16: "without an air sensor nobody watches it: read the gauge, record it with `benchd set`",
    22: "there are no local switches to watch",
    23: "there are no local switches to watch",
    29: "nobody watches it",
}
"""What replaces a sensor that is not fitted, on the board; the rest need none."""

TIMES: dict[int, tuple[str, ...]] = {
    6: ("cutter.cut_time", "cutter.longest"),
    7: ("cutter.return_time", "cutter.longest"),
}
"""Keys of the bench card from which a limit of the board is computed, not only scaled."""

KINDS = {
    "P": "Must hold before an action",
    "T": "Stops what is under way",
}
PLACES = {
    "board": "enforced by the board",
    "daemon": "enforced by the daemon",
    "both": "enforced by board and daemon",
}
RESETS = {
    "auto": "goes by itself when its cause is gone",
    "ack": "stays until someone clears it",
    "prove": "stays until someone looks, and proves it with three typed words and a name",
}

VALUES: dict[int, tuple[int, int]] = {
    3: (40, 100), 6: (1050, 1050), 7: (1050, 1050), 9: (12_000, 12_000), 11: (3100, 3000),
    12: (900, 3000), 14: (152_000, 152_000), 16: (1400, 1800), 20: (4, 7), 24: (2000, 2000),
    29: (4300, 4500),
}  # fmt: skip
"""Value and bound that the sentences of the board are shown with, in the wire's units."""

INTERLOCKS_HEAD = """\
# Interlocks

What must hold before an action, and what stops one. Each has a code. `benchd status` shows those
that are up, worst first: what happened, what it means, what to do. None starts a motion again by
itself, none can be bypassed, and clearing one moves nothing. Guard, emergency stop and the dumping
of air are hardware, wired to motor power and air: what is written here only watches them.

A code that is not up says nothing about whether a hand may be near: look at the ENERGY and NOT
WATCHED lines of `benchd status`, and at the page `cautions`.
"""

REFUSALS_HEAD = """\
# Refusals

A refused command did nothing. The answer says which condition failed, with its values: the code of
an interlock (page `interlocks`), or one of the words below. The daemon refuses in sentences of its
own as well; each says what to do.

"""


def refusals_page() -> str:
    """Return the page of reasons for which the board refuses, other than interlocks."""
    lines = [REFUSALS_HEAD + "| word | number | carries | says |", "|---|---|---|---|"]
    lines += [f"| `{r.word}` | {r.code} | {r.carries} | {r.sentence} |" for r in REFUSALS]
    return "\n".join(lines) + "\n"


def interlocks_page() -> str:
    """Return the page of interlocks: what each watches, says, means, and how it is cleared."""
    return INTERLOCKS_HEAD + "".join(_section(row) for row in INTERLOCKS)


def _section(row: Interlock) -> str:
    lines = [f"\n## {row.code} {row.title}", "", _kind(row), ""]
    lines += [f"- {label}: {text}" for label, text in _facts(row) if text]
    proof = PROOFS.get(row.number)
    if proof is not None:
        lines += ["- The word to type for each thing that is so:"]
        lines += [f"  - `{word}`: {statement}" for statement, word in proof]
        instead = [RESTS_FAR[statement] for statement in proof if statement in RESTS_FAR]
        lines += [f"  - `{word}` with `rest: far`, instead: {text}" for text, word in instead]
    return "\n".join(lines) + "\n"


def _kind(row: Interlock) -> str:
    return f"{KINDS[row.kind]}; {PLACES[row.place]}; {RESETS[row.reset]}."


def _facts(row: Interlock) -> Iterator[tuple[str, str]]:
    rule = RULE_BY_NUMBER.get(row.number)
    yield "Watches", _watches(row, rule)
    yield "Says, for example", example_sentence(row, rule)
    yield "Means", words.SO_WHAT.get(row.number, "")
    yield "Refuses", _refuses(rule)
    yield "To clear it", words.do_what(row.number, row.reset, latched=row.reset != "auto")
    yield "Set in the bench card", ", ".join(f"`{path}`" for path in card_keys(row))
    unfitted = rule.unfitted if rule else ON_BOARD_UNFITTED.get(row.number, NOTHING)
    yield "Where the sensor is not fitted", f"{unfitted}."
    yield "Value and bound in the journal", row.carries if row.carries != "-" else ""


def _watches(row: Interlock, rule: Rule | None) -> str:
    if rule is None:
        return WATCHES[row.number]
    doc = " ".join((sys.modules[rule.check.__module__].__doc__ or "").split())
    said = doc.partition(": ")[2]
    return said[:1].upper() + said[1:]


def _refuses(rule: Rule | None) -> str:
    if rule is None:
        return ""
    pauses = "; a series under way pauses" if rule.pauses else ""
    return f"{', '.join(sorted(rule.blocks))}{pauses}."


def card_keys(row: Interlock) -> list[str]:
    """Return the keys of the bench card that set an interlock."""
    named = [key.path for key in BENCH_KEYS if row.code in key.meaning]
    named += TIMES.get(row.number, ())
    loaded = [
        wire.path
        for wire in WIRES
        if limits.LIMIT_BY_NAME[wire.limit].meaning.startswith(f"{row.code}:")
    ]
    return sorted({*named, *loaded})


def example_sentence(row: Interlock, rule: Rule | None) -> str:
    """Return what the interlock says, made by its own words from one of its examples."""
    if rule is None:
        value, bound = VALUES.get(row.number, (0, 0))
        return words.trip_text(_facts_of_a_bench(), row.number, value, bound)
    for example in rule.examples:
        finding = rule.check(_state_of(example), example.now_ns)
        if finding is not None:
            return finding.text
    return ""


def _facts_of_a_bench() -> BenchFacts:
    return BenchFacts(
        name="example",
        limits={limit.name: limit.start for limit in limits.LIMITS},
        steps_per_m=800_000,
        bore_m=0.05,
        nozzle_bore_m=0.024,
        fitted=(),
        travel_m=0.2,
        heel_m=0.01,
        jog_speed_m_s=0.002,
        prime_speed_m_s=0.002,
        approach_m=0.03,
        relieve_m=0.01,
    )


def _state_of(example: Example) -> State:
    now_ns = 1_000 * SECOND_NS
    state = State(
        facts=_facts_of_a_bench(),
        link="up",
        last_word_ns=now_ns,
        last_key_ns=now_ns,
        dry_needed=False,
    )
    changes: dict[str, Any] = {}
    for name, value in example.given.items():
        inner = getattr(state, name)
        changes[name] = replace(inner, **value) if isinstance(value, Mapping) else value
    return replace(state, **changes)
