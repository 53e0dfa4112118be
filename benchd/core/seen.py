"""What the fitted sensors saw of a portion that is not as usual on this bench.

A portion that came whole is still no good one when the cut was slow, the thrust high, the strand
had a gap, or dough stayed at the nozzle after the cut. What counts as slow stands on the card;
beyond that a portion is held against the bench's own usual: the class-normal portions before it by
the same dough card and the same settings by hand, the last 10, and at least 7.

A signal is beyond its usual when it lies above their median by more than its floor, and by more
than 5 times their standard deviation. The floors are well outside what a sound bench shows (common
practice); the deviation is for benches that scatter more. Of good portions fewer than 1 in 200 are
flagged, up to a scatter of 15 %.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from statistics import median, stdev
from typing import Any, NamedTuple

from benchd.core import eye, portion_record
from benchd.core.facts import BenchFacts, Dough
from benchd.core.state import State, Work
from benchd.core.turn import pin
from protocols.codes import OUTCOMES
from protocols.limits import NOT_FITTED

EARLIER_MIN, EARLIER_MAX = 7, 10
DEVIATIONS = 5.0


class Signal(NamedTuple):
    """A signal that is held against its usual: how far above it is beyond, and in which words."""

    floor: Callable[[float], float]
    """From the median of the earlier ones to the least distance above it."""
    words: Callable[[float, float], str]
    """From this value and that median to what a person reads."""
    of_tube: bool = False
    """Only portions of the same tube are earlier ones: it differs from tube to tube by nature."""


SIGNALS: dict[str, Signal] = {
    "cut_s": Signal(
        lambda usual: 0.2 * usual,
        lambda now, usual: f"the cut took {now:.2f} s, usual {usual:.2f} s",
    ),
    "thrust_n": Signal(
        lambda usual: 0.3 * usual,
        lambda now, usual: f"thrust rose to {now:.0f} N, usual {usual:.0f} N",
        of_tube=True,
    ),
    "gap_m": Signal(
        lambda usual: 0.002,
        lambda now, usual: (
            f"the strand had a gap of {now * 1000:.1f} mm, usual {usual * 1000:.1f} mm"
        ),
    ),
}
"""Name of a signal to how it is judged; the names are those of `signals`, SI."""


def signals(state: State, work: Work, eye_after: int) -> dict[str, float | None]:
    """Return the signals of a portion that ended, None for what was not measured; `eye_after` is
    the eye's level at its end [counts]."""
    facts = state.facts
    peak = work.extremes.get("thrust_peak", NOT_FITTED)
    gap = work.tally.get("gap", NOT_FITTED)
    sees = eye.knows(facts)
    known_after = sees and eye_after != NOT_FITTED
    return {
        "cut_s": portion_record.cut_s(work),
        "thrust_n": portion_record.reading(peak, 0.1),
        "gap_m": facts.strand_m(gap) if sees and gap != NOT_FITTED else None,
        "hangs": float(eye_after >= facts.limits["eye_on"]) if known_after else None,
    }


def like(state: State, dough: Dough, asked: dict[str, int], tube: str) -> list[Any]:
    """Return what two portions must share to be held against each other; the tube comes last."""
    return [dough.name, asked, state.carry.group, tube]


def is_usual(fact: dict[str, Any]) -> bool:
    """Return whether the weight of a portion is held against others: class normal, and complete."""
    return bool(fact["kind"] == "normal" and fact["outcome"] == OUTCOMES[0])


def is_slow(facts: BenchFacts, stroke_s: float | None) -> bool:
    """Return whether a stroke from home to far is slow by the card (IL-25)."""
    usual_s = facts.limits["cut_ms"] / 1000
    return stroke_s is not None and stroke_s > usual_s * (1 + facts.watch.slow_share)


def beyond(now: float, earlier: Sequence[float], floor: float) -> bool:
    """Return whether a value lies above what is usual by more than `floor` and by more than 5
    standard deviations of the earlier ones, of which there are enough."""
    if len(earlier) < EARLIER_MIN:
        return False
    above = now - median(earlier)
    return above > floor and above > DEVIATIONS * stdev(earlier)


def saw_no_dough(state: State, work: Work) -> bool:
    """Return whether an eye that knows dough saw none from the begin of a portion to its end."""
    return eye.knows(state.facts) and not (portion_record.eye_changed(work) or pin(state, "dough"))


def strange(state: State, work: Work, now: dict[str, float | None]) -> list[str]:
    """Return what was seen of a complete portion that a good one does not show, in words; by the
    card always, against the usual only where the portion is of class normal."""
    found = []
    if saw_no_dough(state, work):
        found.append("the eye saw no dough; the barrel may store force")
    stroke_s = portion_record.cutter_times(work)["stroke_s"]
    slow = is_slow(state.facts, stroke_s)
    if slow:
        card_s = state.facts.limits["cut_ms"] / 1000
        found.append(f"the cut stroke took {stroke_s:.2f} s, the card says {card_s:.2f} s")
    if "drop" in state.facts.fitted and portion_record.drop_s(work) is None:
        found.append("no piece was seen to fall: it may hang at blade or nozzle")
    if work.kind != "normal":
        return found
    for name, signal in SIGNALS.items():
        value, earlier = now[name], _earlier(state, work, name, of_tube=signal.of_tube)
        if value is None or (name == "cut_s" and slow):
            continue
        if earlier and beyond(value, earlier, signal.floor(median(earlier))):
            found.append(signal.words(value, median(earlier)))
    hung = _earlier(state, work, "hangs", of_tube=False)
    if now["hangs"] and len(hung) >= EARLIER_MIN and not any(hung):
        found.append("the eye still saw dough after the cut: a piece may hang at the nozzle")
    return found


def _earlier(state: State, work: Work, name: str, *, of_tube: bool) -> list[float]:
    """Return a signal of the class-normal portions before, newest last."""
    mine = like(state, work.dough, work.asked, work.tube)
    shared = len(mine) if of_tube else len(mine) - 1
    values = [
        fact["signals"][name]
        for fact in state.recent
        # Facts of a state that an earlier version wrote have no signals.
        if fact["kind"] == "normal" and fact.get("like", [])[:shared] == mine[:shared]
    ]
    return [value for value in values if value is not None][-EARLIER_MAX:]
