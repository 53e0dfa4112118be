"""The daemon's interlocks: one ordered table, most pressing first, and the one place that acts on
it.

Board interlocks are enforced on the board; their latches come in with its beats and stand beside
these in `State.latches`.
"""

from __future__ import annotations

from collections.abc import Collection

from msgspec.structs import replace

from benchd.core.interlocks import (
    doubtful_times,
    dry_stroke,
    no_journal,
    nobody_attends,
    odd_portions,
    open_cover,
    open_tube,
    silent_board,
    smeared_eye,
    unproven,
)
from benchd.core.interlocks.base import Finding, Rule
from benchd.core.state import Latch, State
from benchd.core.turn import No, Turn
from protocols.codes import INTERLOCK_BY_NUMBER

RULES: tuple[Rule, ...] = (
    silent_board.RULE,
    no_journal.RULE,
    smeared_eye.RULE,
    odd_portions.RULE,
    nobody_attends.RULE,
    dry_stroke.RULE,
    unproven.RULE,
    open_tube.RULE,
    doubtful_times.RULE,
    open_cover.RULE,
)

ALWAYS: tuple[Rule, ...] = tuple(rule for rule in RULES if rule.blocks != {"open"})
"""Rules that are watched at every step; the rest are looked at when asked."""

HOT: tuple[Rule, ...] = tuple(rule for rule in ALWAYS if rule.hot)

RULE_BY_NUMBER: dict[int, Rule] = {rule.number: rule for rule in RULES}


def evaluate(turn: Turn, rules: tuple[Rule, ...] = ALWAYS) -> None:
    """Look at the rules; raise, latch, let go and pause as the table says."""
    state, now_ns = turn.state, turn.now_ns
    latches = state.latches
    for rule in rules:
        finding = rule.check(state, now_ns)
        held = latches.get(rule.number)
        if finding is None:
            if held is not None and not held.cause_gone:
                _let_go(turn, rule, held)
        elif held is None or held.cause_gone:
            _raise(turn, rule, finding)
        elif rule.retold and finding.text != held.text:
            _change(
                turn, replace(held, text=finding.text, value=finding.value, bound=finding.bound)
            )


def _change(turn: Turn, latch: Latch) -> None:
    turn.set(latches={**turn.state.latches, latch.number: latch})


def _raise(turn: Turn, rule: Rule, finding: Finding) -> None:
    latch = Latch(
        rule.number, turn.now_ns, finding.text, finding.value, finding.bound, rule.latches
    )
    _change(turn, latch)
    code = INTERLOCK_BY_NUMBER[rule.number].code
    turn.record(
        "trip", interlock=code, up=True, text=finding.text, value=finding.value, bound=finding.bound
    )
    series = turn.state.series
    if rule.pauses and series is not None and not series.paused:
        turn.set(series=replace(series, pausing=True, pause_reason=f"{code}: {finding.text}"))


def _let_go(turn: Turn, rule: Rule, held: Latch) -> None:
    if held.latched:
        _change(turn, replace(held, cause_gone=True))
        return
    drop(turn, rule.number)


def drop(turn: Turn, number: int) -> None:
    """Take an interlock off the list and say so."""
    turn.set(latches={n: latch for n, latch in turn.state.latches.items() if n != number})
    turn.record(
        "trip",
        interlock=INTERLOCK_BY_NUMBER[number].code,
        up=False,
        text="",
        value=None,
        bound=None,
    )


def why_not(state: State, action: str, now_ns: int) -> No | None:
    """Return why an action (feed, prime, portion, series, stroke, open) is refused now, or None."""
    return why_nots(state, (action,), now_ns).get(action)


def why_nots(state: State, actions: Collection[str], now_ns: int) -> dict[str, No]:
    """Return why actions are refused now; those that are not are left out.

    Each rule is looked at once. Latched rules block until acknowledged, even when their cause is
    gone.
    """
    found: dict[str, No] = {}
    for rule in RULES:
        barred = [action for action in actions if action in rule.blocks and action not in found]
        if not barred:
            continue
        finding = rule.check(state, now_ns)
        held = state.latches.get(rule.number)
        if finding is None and held is not None and held.latched:
            finding = Finding(held.text, held.value, held.bound)
        if finding is not None:
            code = INTERLOCK_BY_NUMBER[rule.number].code
            no = No(finding.text, code, finding.value, finding.bound)
            found.update(dict.fromkeys(barred, no))
    return found
