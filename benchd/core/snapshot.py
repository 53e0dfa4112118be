"""From the state to the status that people see. Pure; the words for people are chosen in tui.view,
the facts here."""

from __future__ import annotations

from typing import Any

from benchd.calc.eye import UNTAUGHT
from benchd.core import cycle, watched, words
from benchd.core.interlocks import ALWAYS
from benchd.core.state import Latch, State
from benchd.core.turn import pin
from protocols.codes import INTERLOCK_BY_NUMBER, MODES, PHASES, PINS
from protocols.limits import NOT_FITTED, SILENCE_MS
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
        return "the local button"
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
"""Latch to the input that shows whether its cause is still there: off is pressed, or open."""


def _abnormal(state: State, latch: Latch, old: bool) -> Abnormal:
    row = INTERLOCK_BY_NUMBER[latch.number]
    switch = SWITCH.get(latch.number)
    gone = latch.cause_gone or (switch is not None and not old and pin(state, switch))
    rank = RANK[row.reset] if latch.latched else (1 if latch.number in (15, 17, 30) else 2)
    return Abnormal(
        code=row.code,
        rank=rank,
        what=latch.text + (" (cause gone)" if gone else ""),
        so_what=words.SO_WHAT.get(latch.number, ""),
        do_what=words.do_what(latch.number, row.reset, latched=latch.latched),
        since_ns=latch.since_ns,
        latched=latch.latched,
        reset=row.reset,
    )


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
    )


def _scaled(value: int, scale: float, old: bool) -> float | None:
    return None if old or value == NOT_FITTED else value * scale


def _worst_first(state: State) -> list[Latch]:
    order = [rule.number for rule in ALWAYS]

    def place(latch: Latch) -> tuple[bool, int, int]:
        rank = order.index(latch.number) if latch.number in order else -1
        return not latch.latched, rank, latch.number

    return sorted(state.latches.values(), key=place)


def _last(fact: dict[str, Any], weights: dict[int, float]) -> LastPortion:
    number = fact["number"]
    return LastPortion(number, fact["kind"], fact["outcome"], weights.get(number))


def _eye_knows(state: State) -> bool:
    """Whether an eye is fitted that was taught its levels; else its "no dough" says nothing."""
    levels = (state.facts.limits["eye_on"], state.facts.limits["eye_off"])
    return "eye" in state.facts.fitted and levels != UNTAUGHT


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
    left = max(cycle.travel_left_steps(state), 0) if pin(state, "known") and not old else None
    needed = cycle.needed_steps(state, dough) if dough is not None else 0
    last = state.recent[-1] if state.recent else None
    weights = {weighed.portion: weighed.mass_kg for weighed in state.weights}
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
        position_m=facts.metres(board.position) if board.nonce_ns else None,
        position_known=pin(state, "known") and not old,
        tube=state.carry.tube.id if state.carry.tube is not None else "",
        tube_left_portions=left // needed if left is not None and needed > 0 else None,
        tube_left_m=facts.metres(left) if left is not None else None,
        dough=dough.name if dough is not None else "",
        aim_kg=dough.aim_kg if dough is not None else None,
        portion=state.carry.last_portion,
        last=_last(last, weights) if last is not None else None,
        series=_series(state, now_ns),
        unweighed=state.carry.unweighed,
        mean_kg=sum(weights.values()) / len(weights) if weights else None,
        n_weighed=len(weights),
        thrust_n=_scaled(board.thrust, 0.1, unread),
        air_pa=_scaled(board.air, 100.0, unread),
        supply_v=_scaled(board.supply, 0.001, unread),
        eye_counts=None if unread or board.eye == NOT_FITTED else board.eye,
        eye_sees=pin(state, "dough") if _eye_knows(state) and not old else None,
        eye_taught=None if None in taught else (round(taught[0][0]), round(taught[1][0])),  # type: ignore[index]
        pins={name: pin(state, name) for name in PINS},
        abnormals=tuple(_abnormal(state, latch, old) for latch in _worst_first(state)),
        link_age_s=(now_ns - state.last_word_ns) / 1e9 if state.last_word_ns else None,
        controller=f"client {state.controller}" if state.controller is not None else "",
        board=_board_words(state),
        clock_error_s=None if state.clock.error_ns is None else state.clock.error_ns / 1e9,
        lines_bad=state.lines_bad,
        samples_lost=state.samples_lost,
        journal=journal,
        journal_ok=state.journal_ok,
        now_ns=now_ns,
    )
