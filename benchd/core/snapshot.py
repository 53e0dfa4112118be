"""From the state to the status that people see. Pure; the words for people are chosen in tui.view,
the facts here."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from benchd.calc import spread_lightly
from benchd.core import alarms, cycle, eye, watched, words
from benchd.core.facts import BenchFacts
from benchd.core.interlocks import ALWAYS
from benchd.core.interlocks.odd_portions import odd_of
from benchd.core.interlocks.open_tube import open_s
from benchd.core.portion_record import reading
from benchd.core.refused import refused
from benchd.core.seen import is_usual
from benchd.core.state import GoneAlarm, Latch, State, Weighed
from benchd.core.turn import pin
from protocols.codes import INTERLOCK_BY_NUMBER, MODES, PHASES, PINS
from protocols.limits import NOT_FITTED, SILENCE_MS, SPREAD_LEAST, WEIGHTS_TOLD
from protocols.status import Abnormal, BenchStatus, LastPortion, SeriesStatus

AIR_LOW_HPA = 200
STALE_NS = 2_000_000_000
"""At rest a sample comes every half second; one older than this is no reading any more."""

RANK = {"prove": 3, "ack": 3, "auto": 2}


def silent(state: State, now_ns: int) -> bool:
    """Return whether values of the board are old."""
    return state.link != "up" or now_ns - state.last_word_ns > SILENCE_MS * 1_000_000


def _old_readings(state: State, now_ns: int) -> bool:
    """Return whether the newest sample is too old to go by, though the board may still beat."""
    return silent(state, now_ns) or now_ns - state.board.sample_ns > STALE_NS


def bench_state(state: State, now_ns: int) -> str:
    """Return the state word, from what the board says and never from what was sent."""
    if silent(state, now_ns):
        return "NO LINK"
    mode = MODES[state.board.mode]
    if mode == "moving":
        return "NUDGING"
    if mode in ("portion", "stroke"):
        return "PORTIONING"
    if any(latch.latched for latch in state.latches.values()):
        return "TRIPPED"
    if state.series is not None:
        return "PAUSED" if state.series.paused else "WAITING"
    if 15 in state.latches:
        return "NOT COMMISSIONED"
    return "READY" if pin(state, "drive") else "DRIVE OFF"


def _waits_for(state: State, word: str, now_ns: int) -> str:
    series = state.series
    if word == "NO LINK":
        return state.link_text or "a word from the board"
    if word == "TRIPPED":
        codes = ", ".join(
            f"IL-{number:02d}" for number in sorted(state.latches) if state.latches[number].latched
        )
        return f"{codes} to be cleared"
    if pin(state, "waiting"):
        ready = "ready" in state.facts.fitted
        return "the machine downstream" if ready else "the local button"
    if word == "PAUSED" and series is not None:
        return f"resume ({series.pause_reason})" if series.pause_reason else "resume"
    if word == "WAITING" and series is not None:
        if series.pausing:
            return "the safe point to pause"
        return f"the next beat in {max(series.next_ns - now_ns, 0) / 1e9:.1f} s"
    if word == "PORTIONING":
        return f"{PHASES[state.board.phase]} to end"
    if word == "NUDGING":
        return "the move to end"
    if word == "NOT COMMISSIONED":
        return "a person to prove the bench"
    if not pin(state, "known"):
        return "someone to say where the feed stands"
    return ""


def _barrel(state: State, old: bool) -> str:
    if "thrust" not in state.facts.fitted:
        return (
            "relieved, not measured"
            if state.relieved and not old
            else "not measured: treat as loaded"
        )
    if old or state.board.thrust == NOT_FITTED:
        return "old reading: treat as loaded"
    thrust_n = state.board.thrust / 10
    if thrust_n > state.facts.thrust_relieved_n:
        return f"{thrust_n:.0f} N loaded"
    if 12 in state.latches:
        # What gave way may be what carries the sensor.
        return f"{thrust_n:.0f} N since thrust collapsed: treat as loaded"
    return f"{thrust_n:.0f} N {_low(state, 'loaded')}"


def _air(state: State, old: bool) -> str:
    if "air" not in state.facts.fitted:
        return "not measured: treat as live"
    if old or state.board.air == NOT_FITTED:
        return "old reading: treat as live"
    word = _low(state, "live") if state.board.air <= AIR_LOW_HPA else "live"
    return f"{state.board.air / 1000:.1f} bar {word}"


def _low(state: State, otherwise: str) -> str:
    """Return the word for a low reading: one of a sensor that nobody has proven counts for
    nothing."""
    return f"not proven: treat as {otherwise}" if 15 in state.latches else "low"


def _coils(state: State, old: bool) -> str:
    if old:
        return "old reading: treat as live"
    drive = "live" if pin(state, "drive") else "off"
    armed = ", cutter ARMED" if pin(state, "armed") else ""
    return f"drive {drive}, valve {'live' if pin(state, 'valve') else 'off'}{armed}"


SWITCH = {1: "stop", 2: "guard"}
"""Latch to the input that is its cause: off is pressed, or open. What keeps others
from being cleared (`asked_people.CAUSE_SEEN`) does not tell by its absence that their cause is
gone: with the valve at the far level, or one of two switches let go, nobody knows yet where the
blade is."""


def _abnormal(state: State, latch: Latch, old: bool) -> Abnormal:
    row = INTERLOCK_BY_NUMBER[latch.number]
    switch = SWITCH.get(latch.number)
    gone = switch is not None and not old and pin(state, switch)
    rank = RANK[row.reset] if latch.latched else (1 if alarms.is_note(latch) else 2)
    shelf = alarms.shelf_of(state, latch.number)
    return Abnormal(
        code=row.code,
        rank=rank,
        what=latch.text,
        so_what=words.SO_WHAT.get(latch.number, ""),
        do_what=words.do_what(latch.number, row.reset, latched=latch.latched),
        since_ns=latch.since_ns,
        latched=latch.latched,
        reset=row.reset,
        standing=alarms.standing(state, latch),
        shelved_until_ns=None if shelf is None else shelf.until_ns,
        shelved_by="" if shelf is None else shelf.name,
        shelved_why="" if shelf is None else shelf.reason,
        cause_gone=latch.latched and (latch.cause_gone or gone),
    )


def _returned(gone: GoneAlarm) -> Abnormal:
    row = INTERLOCK_BY_NUMBER[gone.number]
    return Abnormal(
        code=row.code,
        rank=2,
        # Its text may have changed while it was up, and what it said last is not what it was.
        what=f"{row.title[0].upper()}{row.title[1:]}.",
        so_what=f"It lasted {(gone.gone_ns - gone.since_ns) / 1e9:.1f} s and went by itself.",
        do_what=f"Look what it was, then 'benchd seen {row.code}'.",
        since_ns=gone.since_ns,
        latched=False,
        reset=row.reset,
        standing="returned",
    )


def _held_together(state: State) -> list[float]:
    """Return the weights whose spread says something [kg]: class normal and complete, of the newest
    one's aim, and of what was alike with it (card, values set by hand, tube)."""
    facts = {fact["number"]: fact for fact in state.recent}

    def group(one: Weighed) -> object:
        fact = facts.get(one.portion)
        if fact is None or not is_usual(fact):
            return None
        return one.aim_kg, fact.get("like")

    found: list[float] = []
    newest: object = None
    for one in reversed(state.weights):
        mine = group(one)
        newest = newest or mine
        if mine is not None and mine == newest:
            found.append(one.mass_kg)
    return found


@lru_cache(maxsize=8)
def _spread(values: tuple[float, ...]) -> tuple[float, float, float] | None:
    if len(values) < SPREAD_LEAST:
        return None
    sd, low, high = spread_lightly.spread(values)
    return sd, low, high


def _spread_so_far(state: State) -> dict[str, Any]:
    """Return the spread with its interval, and how many weights it is of."""
    together = tuple(_held_together(state))
    return {"spread_kg": _spread(together), "n_spread": len(together)}


def _series(state: State, now_ns: int) -> SeriesStatus | None:
    series = state.series
    if series is None:
        return None
    next_s = None if series.paused else max(series.next_ns - now_ns, 0) / 1e9
    return SeriesStatus(
        series.made,
        series.count,
        series.every_ns / 1e9,
        next_s,
        series.paused,
        series.finishing,
        series.pause_reason,
        series.late,
        series.dough.stroke_m if series.dough.auto_stroke else None,
        series.card_stroke_m if series.dough.auto_stroke else None,
        series.adjusted,
    )


def _why_not(state: State, now_ns: int) -> dict[str, str]:
    """Return the actions that would be refused now, each with its code and first reason."""
    return {
        action: f"{no.condition}: {no.message}" if no.condition.startswith("IL-") else no.message
        for action, no in refused(state, now_ns).items()
    }


def _place(state: State, old: bool) -> dict[str, Any]:
    """Return where the feed stands, if anybody knows."""
    known = pin(state, "known") and not old
    at_m = state.facts.metres(state.board.position) if known else None
    return {"position_known": known, "position_m": at_m}


def _limits(state: State, now_ns: int) -> dict[str, Any]:
    """Return what the bench's limits forbid now, and those of what is read."""
    return {"why_not": _why_not(state, now_ns), "bounds": _bounds(state.facts)}


def _bounds(facts: BenchFacts) -> dict[str, tuple[float | None, float | None]]:
    """Return the limits of what is read."""
    limits, share = facts.limits, facts.watch.odd_share
    found: dict[str, tuple[float | None, float | None]] = {"odd": (-share, share)}
    if "thrust" in facts.fitted:
        found["thrust_n"] = None, limits["thrust_max"] / 10
    if "air" in facts.fitted:
        found["air_pa"] = limits["air_min"] * 100.0, limits["air_max"] * 100.0
    if "supply" in facts.fitted:
        found["supply_v"] = limits["supply_min"] / 1000, None
    return found


def _readings(state: State, old: bool) -> dict[str, Any]:
    """Return what the fitted sensors show, nothing where that is old."""
    board = state.board

    def shown(value: int, scale: float) -> float | None:
        return None if old else reading(value, scale)

    return {
        "thrust_n": shown(board.thrust, 0.1),
        "air_pa": shown(board.air, 100.0),
        "supply_v": shown(board.supply, 0.001),
        "eye_counts": shown(board.eye, 1),
    }


def _kg(mass_kg: float) -> float:
    """Return a mass to the microgram: 30.1 g are 0.0301 kg and not 0.030100000000000002."""
    return round(mass_kg, 9)


def _worst_first(state: State) -> list[Latch]:
    order = [rule.number for rule in ALWAYS]

    def place(latch: Latch) -> tuple[bool, int, int]:
        rank = order.index(latch.number) if latch.number in order else -1
        return not latch.latched, rank, latch.number

    return sorted(state.latches.values(), key=place)


def _tube(state: State, now_ns: int) -> dict[str, Any]:
    """Return what is known of the tube that is in."""
    tube = state.carry.tube
    if tube is None:
        return {"tube": ""}
    return {
        "tube": tube.id,
        "tube_open_s": open_s(state, now_ns),
        "tube_net_kg": None if tube.net_mass_kg is None else _kg(tube.net_mass_kg),
        "tube_temperature_c": tube.temperature_c,
    }


def _last(state: State, weights: dict[int, float]) -> LastPortion | None:
    if not state.recent:
        return None
    fact = state.recent[-1]
    number = fact["number"]
    kind, outcome, seen = fact["kind"], fact["outcome"], tuple(fact.get("seen", ()))
    return LastPortion(number, kind, outcome, weights.get(number), seen)


def _board_words(state: State) -> str:
    board = state.board
    if not board.build:
        return ""
    return f"firmware {board.firmware} ({board.build}) on {board.kind}, boot {board.boot}"


def snapshot(state: State, now_ns: int, *, journal: str = "") -> BenchStatus:
    """Return what the bench is at."""
    facts, board = state.facts, state.board
    old, unread = silent(state, now_ns), _old_readings(state, now_ns)
    word = bench_state(state, now_ns)
    under_way = state.series or state.work
    dough = under_way.dough if under_way is not None else None
    place = _place(state, old)
    left = max(cycle.travel_left_steps(state), 0) if place["position_known"] else None
    needed = cycle.needed_steps(state, dough) if dough is not None else 0
    weights = {weighed.portion: _kg(weighed.mass_kg) for weighed in state.weights}
    taught = (state.carry.eye_empty, state.carry.eye_dough)
    return BenchStatus(
        bench=facts.name,
        state=word,
        phase="" if old else PHASES[board.phase] if board.phase else "",
        waits_for=_waits_for(state, word, now_ns),
        barrel=_barrel(state, unread),
        air=_air(state, unread),
        coils=_coils(state, old),
        not_watched=watched.not_watched(facts.fitted),
        **place,
        **_tube(state, now_ns),
        tube_left_portions=left // needed if left is not None and needed > 0 else None,
        tube_left_m=facts.metres(left) if left is not None else None,
        dough=dough.name if dough is not None else "",
        aim_kg=_kg(dough.aim_kg) if dough is not None else None,
        portion=state.carry.last_portion,
        last=_last(state, weights),
        series=_series(state, now_ns),
        unweighed=state.carry.unweighed,
        mean_kg=_kg(sum(weights.values()) / len(weights)) if weights else None,
        n_weighed=len(weights),
        odd=odd_of(state),
        **_readings(state, unread),
        eye_sees=pin(state, "dough") if eye.knows(facts) and not old else None,
        eye_taught=None if None in taught else (round(taught[0][0]), round(taught[1][0])),  # type: ignore[index]
        pins={name: pin(state, name) for name in PINS},
        abnormals=tuple(_abnormal(state, latch, old) for latch in _worst_first(state)),
        link_age_s=(now_ns - state.last_word_ns) / 1e9 if state.last_word_ns else None,
        controller=f"client {state.controller}" if state.controller is not None else "",
        board=_board_words(state),
        clock_error_s=None if state.clock.error_ns is None else state.clock.error_ns / 1e9,
        lines_bad=state.lines_bad,
        samples_lost=state.samples_lost,
        by_hand=dict(state.carry.by_hand),
        group=state.carry.group,
        weights=tuple(sorted(weights.items())[-WEIGHTS_TOLD:]),
        attended_s=(now_ns - state.last_key_ns) / 1e9,
        returned=tuple(map(_returned, reversed(state.alarms.returned))),
        raised_lately=alarms.raised_lately(state, now_ns),
        **_spread_so_far(state),
        **_limits(state, now_ns),
        journal=journal,
        journal_ok=state.journal_ok,
        now_ns=now_ns,
    )
