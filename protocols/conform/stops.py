"""The stop table and the interlocks behind it: SPEC.md, sections 11 and 12.

How a feed came to rest is judged by the board's own word alone: a sample of a moment before the end
tells where it was then, and a ramp leaves a t^2 / 2 steps from there, an edge all that it was at.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from types import MappingProxyType
from typing import NamedTuple

from protocols.codes import MOVE_ENDINGS, OUTCOMES, PHASES, PIN
from protocols.conform.case import Case
from protocols.conform.commands import JOG
from protocols.conform.peer import INPUTS, RESET
from protocols.conform.talk import Talk
from protocols.limits import FITTED_BITS
from protocols.messages import (
    Arm,
    Bench,
    Clear,
    Drive,
    Edge,
    Event,
    Fire,
    Freed,
    Here,
    Move,
    Phase,
    Sample,
    Stop,
    Trip,
)

_INPUTS = frozenset({INPUTS})
SPEED = 2000
_DECEL = {"ramp": 16_000, "slow": 8000}
"""Decelerations [steps/s2]: from 2000 steps/s they take 125 and 250 ms."""

_STROKE_MS = 500
"""How long the phase lasts that is to be stopped."""

_CUT_MAX_MS = 30
"""The longest cut, where it is to be too long."""

_LOOK_MS = 100
"""So long before its end a feed is looked at."""


class Row(NamedTuple):
    """A row of the stop table: how it comes, what is fitted for it, and what the table says.

    `feed`, `cut`: as in SPEC.md; `drive` and `known`: levels of these pins after it.
    """

    do: Callable[[Talk], None]
    phases: tuple[str, ...]
    ending: str
    feed: str
    cut: str
    drive: bool
    latch: int
    known: bool
    fitted: tuple[str, ...] = ()
    limits: Mapping[str, int] = MappingProxyType({})

    @property
    def trips(self) -> list[int]:
        """Interlocks whose `trip` is heard; IL-22 holds no latch."""
        number = 22 if "local" in self.fitted else self.latch
        return [number] if number else []


def _stop(level: int, talk: Talk) -> None:
    talk.say(Stop(level))


def _silence(talk: Talk) -> None:
    talk.leasing = False


def _contact(name: str, on: bool, talk: Talk) -> None:
    talk.hands.pins(**{name: on})


def _both(one: str, other: str, talk: Talk) -> None:
    talk.hands.pins(**{one: True, other: True})


def _push_hard(talk: Talk) -> None:
    talk.hands.readings(thrust=900)


def _let_go(talk: Talk) -> None:
    talk.hands.readings(thrust=102)


def _starve(talk: Talk) -> None:
    talk.hands.readings(supply_mv=4000)


def _vent_some(talk: Talk) -> None:
    # Some 800 hPa: too little for a cut, and more than half of that, so that IL-17 does not ask.
    talk.hands.readings(air=176)


_FEEDS = ("move", "push")
_STROKES = ("settle", "cut")
_ALL = (*_FEEDS, *_STROKES, "return")
AIR_LIMITS = {"air_min": 1000, "air_max": 4000}
ROWS = {
    "stop 0": Row(partial(_stop, 0), _ALL, "stopped", "ramp", "home", True, 0, True),
    "stop 1": Row(partial(_stop, 1), _ALL, "stopped", "edge", "home", False, 0, False),
    "IL-18": Row(_silence, _ALL, "lapsed", "slow", "done", True, 18, True, (), {"lease_ms": 250}),
    "IL-01": Row(partial(_contact, "stop", False), _ALL, "tripped", "edge", "rest", False, 1, False,
                 ("stop",)),
    "IL-02": Row(partial(_contact, "guard", False), _ALL, "tripped", "edge", "rest", False, 2,
                 False, ("guard",)),
    "IL-05": Row(partial(_contact, "home", False), _FEEDS, "tripped", "edge", "-", True, 5, False,
                 ("home",)),
    "IL-08": Row(partial(_both, "far", "home"), (*_FEEDS, *_STROKES), "tripped", "edge", "rest",
                 True, 8, False, ("home", "far")),
    "IL-11": Row(_push_hard, _FEEDS, "tripped", "ramp", "-", True, 11, True, ("thrust",),
                 {"ease": 0}),
    "IL-12": Row(_let_go, _FEEDS, "tripped", "edge", "-", False, 12, False, ("thrust",)),
    "IL-14": Row(partial(_contact, "ends", False), _FEEDS, "tripped", "edge", "-", True, 14, False,
                 ("ends",)),
    "IL-16": Row(_vent_some, ("settle",), "tripped", "-", "-", True, 16, True, ("air",),
                 AIR_LIMITS),
    "IL-22": Row(partial(_both, "forward", "reverse"), _FEEDS, "tripped", "ramp", "-", True, 0,
                 True, ("local",)),
    "IL-29": Row(_starve, ("cut",), "tripped", "-", "home", True, 29, True, ("supply",)),
}  # fmt: skip
_LOADED_COUNTS = 300
"""Thrust [counts] of a feed that pushes: some 107 N by the limits at start."""


def _wake(talk: Talk, row: Row, **limits: int) -> None:
    fitted = sum(1 << FITTED_BITS[part] for part in row.fitted)
    limits |= {"sample_ms": 10, **row.limits}
    talk.load(fitted=fitted, accel=_DECEL["slow"], stop_decel=_DECEL["ramp"], **limits)
    if "thrust" in row.fitted:
        talk.hands.readings(thrust=_LOADED_COUNTS)
    talk.wake()


def _after(talk: Talk, row: Row, moved: bool) -> None:
    """Check what shows when all is over: latch, drive, position known."""
    beat = talk.settled()
    talk.same("latches", talk.latches(beat), {row.latch} - {0})
    shown = {name: talk.pin(name, beat) for name in ("drive", "known", "valve")}
    asked = {"drive": row.drive, "known": row.known or not moved, "valve": False}
    talk.same("pins", shown, asked)


def _came_to_rest(talk: Talk, row: Row, start: int, end: Event) -> None:
    """Check by the place of the trip, if any, and by a sample of before the end how the feed came
    to rest."""
    place = int(getattr(end, "position", 0))
    way = 0 if row.feed == "edge" else SPEED**2 / 2 / _DECEL[row.feed]
    for trip in talk.of(Trip, start):
        talk.near(
            f"stop by {row.feed}: steps after the trip", place - trip.position, way, 1 + way / 50
        )
    before_s = {
        ((end.t_us - s.t_us) % 2**32) / 1e6: abs(place - s.position) for s in talk.of(Sample, start)
    }
    at_s = min(before_s, key=lambda s: abs(s - _LOOK_MS / 1000), default=0.0)
    talk.near("s before the end, the sample:", at_s, _LOOK_MS / 1000, 0.03)
    asked = SPEED * at_s if row.feed == "edge" else _DECEL[row.feed] * at_s**2 / 2
    what = f"stop by {row.feed}: steps in the last {at_s * 1000:.0f} ms"
    talk.near(what, before_s[at_s], asked, 8 + asked * 0.2)


def _move(name: str, talk: Talk) -> None:
    row = ROWS[name]
    _wake(talk, row)
    start = talk.mark
    talk.move(JOG, 90_000, SPEED)
    talk.wait(400)
    row.do(talk)
    moved = talk.moved(start)
    talk.same("ending", MOVE_ENDINGS[moved.reason], row.ending)
    _came_to_rest(talk, row, start, moved)
    trips = [trip.interlock for trip in talk.of(Trip, start)]
    talk.same("trips", trips, row.trips)
    talk.leasing = True
    _after(talk, row, moved=True)
    talk.same("position at rest", talk.settled().position, moved.position)


def to_phase(talk: Talk, row: Row, phase: str) -> int:
    """Bring the board into a phase of a portion; return the mark from before it."""
    long = {"cut": "cut_ms", "return": "return_ms"}
    _wake(talk, row, **({long[phase]: _STROKE_MS} if phase in long else {}))
    if phase == "push":
        talk.plan(take_up=0, push=90_000, speed=SPEED)
    else:
        settle = _STROKE_MS if phase == "settle" else 0
        # Where the far switch is what is to go wrong, the cut goes on for long enough to see it.
        dwell = 50 if "far" in row.fitted else 0
        talk.plan(take_up=0, push=50, draw_back=0, settle=settle, dwell=dwell)
    start = talk.mark
    talk.start()
    at = PHASES.index(phase)
    talk.until(lambda: any(p.phase == at for p in talk.of(Phase, start)), f"phase '{phase}'", 9000)
    return start


def _portion(name: str, phase: str, talk: Talk) -> None:
    row = ROWS[name]
    start = to_phase(talk, row, phase)
    talk.wait(400 if phase == "push" else 50)
    row.do(talk)
    ended = talk.ended(start)
    talk.same("outcome", OUTCOMES[ended.outcome], row.ending)
    talk.leasing = True
    talk.settled()
    phases = [PHASES[p.phase] for p in talk.of(Phase, start)]
    if phase == "push":
        _came_to_rest(talk, row, start, _last_place(talk, start))
    if phase == "cut":
        _cut_ended(talk, row, start, phases)
    else:
        talk.same("last phase", phases[-1], phase)
    if phase == "return":
        took_ms = _phase_ms(talk, start, ended, "return")
        if row.cut == "rest":
            talk.check(took_ms < _STROKE_MS - 100, f"the return went on for {took_ms:g} ms")
        else:
            talk.near("ms of the return:", took_ms, _STROKE_MS, 20)
    _after(talk, row, moved=phase == "push")


def _last_place(talk: Talk, start: int) -> Event:
    """The end of a push that rests now, as an event would have it: between the last sample before
    and the next one."""
    samples = talk.of(Sample, start)
    last = samples[-1].position
    first = next(k for k, s in enumerate(samples) if s.position == last)
    gap_us = (samples[first].t_us - samples[first - 1].t_us) % 2**32
    t_us = (samples[first].t_us - gap_us // 2) % 2**32
    return Phase(1, t_us, 0, 1, last, 0, 0, 0, 0)


def _phase_ms(talk: Talk, start: int, end: Event, name: str) -> float:
    began = next(p for p in talk.of(Phase, start) if PHASES[p.phase] == name)
    return ((end.t_us - began.t_us) % 2**32) / 1000


def _cut_ended(talk: Talk, row: Row, start: int, phases: list[str]) -> None:
    """Check when the valve went off in a cut of _STROKE_MS, and whether a return followed."""
    talk.same("return phases", phases.count("return"), int(row.cut != "rest"))
    off = [e for e in talk.of(Edge, start) if (e.signal, e.level) == (PIN["valve"], 0)]
    talk.check(len(off) == 1, f"the valve went off {len(off)} times")
    took_ms = _phase_ms(talk, start, off[0], "cut")
    if row.cut == "done":
        talk.near("ms until the valve went off:", took_ms, _STROKE_MS, 10)
    else:
        talk.check(took_ms < _STROKE_MS - 10, f"the valve went off {took_ms:g} ms into the cut")


def _cut_too_long(talk: Talk) -> None:
    # Sooner than any cutter is there, should the board be a simulated one with a bench around it.
    talk.wake(fitted=1 << FITTED_BITS["far"], cut_max_ms=_CUT_MAX_MS)
    talk.do(Arm)
    start = talk.mark
    talk.do(Fire, talk.fresh())
    talk.same("outcome", OUTCOMES[talk.ended(start).outcome], "tripped")
    trip = talk.next(Trip, since=start)
    talk.same("interlock and bound", (trip.interlock, trip.bound), (6, _CUT_MAX_MS))
    talk.near("ms taken:", trip.value, _CUT_MAX_MS, 3)
    talk.same("phases", [PHASES[p.phase] for p in talk.of(Phase, start)], ["cut", "return"])
    talk.same("latches", talk.latches(), {6})


def _return_too_long(talk: Talk) -> None:
    talk.wake(fitted=1 << FITTED_BITS["home"], return_max_ms=300)
    talk.do(Arm)
    start = talk.mark
    talk.do(Fire, talk.fresh())
    talk.next(Edge, since=start)
    talk.hands.pins(home=False)
    talk.same("outcome", OUTCOMES[talk.ended(start).outcome], "tripped")
    trip = talk.next(Trip, since=start)
    talk.same("interlock and bound", (trip.interlock, trip.bound), (7, 300))
    talk.same("latches", talk.latches(), {7})
    talk.refused(56, Clear, 7)
    talk.hands.pins(home=True)
    talk.wait(100)
    talk.do(Clear, 7)


def _valve_too_long(talk: Talk) -> None:
    talk.wake(cut_ms=3000, valve_max_ms=500)
    talk.do(Arm)
    start = talk.mark
    talk.do(Fire, talk.fresh())
    talk.same("outcome", OUTCOMES[talk.ended(start).outcome], "tripped")
    trip = talk.next(Trip, since=start)
    talk.same("interlock and bound", (trip.interlock, trip.bound), (24, 500))
    talk.same("phases", [PHASES[p.phase] for p in talk.of(Phase, start)], ["cut"])
    talk.same("valve", talk.pin("valve"), False)


def _push_too_long(talk: Talk) -> None:
    row = Row(_silence, (), "tripped", "ramp", "-", True, 24, True, (), {"push_max_ms": 700})
    start = to_phase(talk, row, "push")
    talk.same("outcome", OUTCOMES[talk.ended(start).outcome], "tripped")
    trip = talk.next(Trip, since=start)
    talk.same("interlock and bound", (trip.interlock, trip.bound), (24, 700))
    talk.settled()
    _came_to_rest(talk, row, start, _last_place(talk, start))
    _after(talk, row, moved=True)


def _clears(talk: Talk) -> None:
    _cut_too_long(talk)
    talk.load(fitted=0)
    talk.wake()
    start = talk.mark
    talk.do(Clear, 5)
    talk.same("latches", talk.latches(), {6})
    talk.refused(52, Move, JOG, 100, 1000, talk.fresh(), value=6)
    talk.do(Clear, 6)
    talk.same("latches", talk.latches(), set())
    talk.same("freed", [freed.interlock for freed in talk.of(Freed, start)], [6])
    talk.same("position", talk.settled().position, 0)


def _dough_gone(talk: Talk) -> None:
    talk.load(fitted=1 << FITTED_BITS["eye"], eye_on=500, eye_off=300, gap=600, first_flow=90_000)
    talk.hands.readings(eye=700)
    talk.wake()
    talk.plan(take_up=0, push=90_000, speed=SPEED)
    start = talk.mark
    talk.start()
    talk.wait(500)
    talk.hands.readings(eye=100)
    talk.same("outcome", OUTCOMES[talk.ended(start).outcome], "tripped")
    trip = talk.next(Trip, since=start)
    talk.same("interlock and bound", (trip.interlock, trip.bound), (9, 600))
    talk.near("steps without dough:", trip.value, 600, 30)
    talk.check(talk.pin("known"), "position doubtful")


def _eases(talk: Talk) -> None:
    row = ROWS["IL-11"]._replace(limits={"ease": 500})
    _wake(talk, row)
    start = talk.mark
    talk.move(JOG, 90_000, SPEED)
    talk.wait(800)
    _push_hard(talk)
    moved = talk.moved(start)
    trip = talk.next(Trip, since=start)
    asked = SPEED**2 / 2 / _DECEL["ramp"] - 500
    talk.near("steps from the trip to the end:", moved.position - trip.position, asked, 20)
    talk.same("ending", MOVE_ENDINGS[moved.reason], "tripped")


def _feed_at_rest(talk: Talk) -> None:
    talk.wake(still_ms=600)
    start = talk.mark
    talk.move(JOG, 100)
    talk.moved(start)
    no = talk.refused(3, Arm, bound=600)
    talk.check(no.value < 250, f"{no.value} ms at rest after the last step")
    talk.wait(620)
    talk.do(Arm)


def _cutter_home(talk: Talk) -> None:
    talk.load(valve_home=1, return_ms=500)
    talk.do(Drive, 1)
    talk.do(Here, 0)
    for distance in (300, -1001):
        talk.refused(4, Move, JOG, distance, 1000, talk.fresh(), value=0, bound=500)
    start = talk.mark
    talk.move(JOG, -300)
    talk.same("ending of a jog that frees the blade", talk.moved(start).reason, 0)
    talk.say(Stop(0))
    talk.wait(520)
    talk.refused(4, Move, JOG, 300, 1000, talk.fresh(), value=0, bound=500)
    start = talk.mark
    talk.do(Arm)
    talk.do(Fire, talk.fresh())
    outcome = OUTCOMES[talk.ended(start).outcome]
    talk.same("end of a stroke that brings the cutter home", outcome, "complete")
    start = talk.mark
    talk.move(JOG, 300)
    talk.same("position", talk.moved(start).position, 0)
    talk.load(valve_home=0)
    talk.load(valve_home=1)
    no = talk.refused(4, Move, JOG, 300, 1000, talk.fresh(), bound=500)
    talk.check(no.value <= 250, f"{no.value} ms at home after its level changed")
    talk.refused(4, Arm, bound=500)
    talk.wait(500)
    talk.do(Move, JOG, 1, 1000, talk.fresh())


def _soft_limit(talk: Talk) -> None:
    fitted = 1 << FITTED_BITS["local"]
    talk.wake(fitted=fitted, travel_max=700, local_speed=SPEED, stop_decel=_DECEL["ramp"])
    start = talk.mark
    talk.hands.pins(forward=True)
    moved = talk.moved(start)
    talk.same("ending and position", (MOVE_ENDINGS[moved.reason], moved.position), ("tripped", 700))
    talk.same("interlocks", [(t.interlock, t.bound) for t in talk.of(Trip, start)], [(14, 700)])
    talk.wait(200)
    talk.hands.pins(forward=False)
    beat = talk.settled()
    talk.same("latches", talk.latches(beat), {14})
    talk.check(talk.pin("known", beat) and beat.position == 700, f"at {beat.position}, not 700")
    start = talk.mark
    talk.move(JOG, -100)
    talk.same("position after the way out", talk.moved(start).position, 600)


def _reset_in_cut(talk: Talk) -> None:
    start = to_phase(talk, ROWS["stop 0"], "cut")
    talk.check(talk.pin("valve"), "the valve is at rest in a cut")
    talk.hands.reset("watchdog")
    talk.forget_limits()
    talk.next(Bench, since=start)
    talk.wait(_STROKE_MS)
    beat = talk.settled()
    talk.same("latches", talk.latches(beat), {20})
    shown = {name: talk.pin(name, beat) for name in ("valve", "drive", "known")}
    talk.same("pins", shown, dict.fromkeys(shown, False))
    talk.same("portion", beat.portion, 0)


WIRED = "on the wired bench, air shut and vented, barrel empty, "
BY_HAND = {
    "IL-01": WIRED + "press the emergency stop in a jog",
    "IL-02": WIRED + "let a second person open the guard in a slow jog",
    "IL-05": WIRED + "open the home switch's wire at the board in a slow jog",
    "IL-08": WIRED + "bridge the far switch's wire at the board with the cutter home",
    "IL-11": WIRED + "set 'thrust_max' in the card below the reading at rest and jog forward",
    "IL-12": "try it in the simulator: it takes a thrust that falls within 50 ms",
    "IL-14": WIRED + "open the end switch's wire at the board in a slow jog",
    "IL-29": "try it in the simulator: a supply so low resets most boards",
    "IL-16": WIRED
    + "set 'air_min' in the card above what the gauge shows: a portion must end before "
    "its cut",
    "IL-22": WIRED + "press both local switches in a jog",
}


def _row_case(name: str, phase: str) -> Case:
    row = ROWS[name]
    back = "rest" if row.cut == "rest" else "done"
    how = {"settle": "ends", "cut": row.cut, "return": back}.get(phase, row.feed)
    asks = f"{name} in {'a move' if phase == 'move' else phase}: {how}"
    try_it = partial(_move, name) if phase == "move" else partial(_portion, name, phase)
    needs = _INPUTS if row.fitted else frozenset[str]()
    return Case(f"{name} {phase}", "12", asks, try_it, needs, BY_HAND.get(name, ""))


CASES = (
    *(_row_case(name, phase) for name, row in ROWS.items() for phase in row.phases),
    Case("IL-06", "12", "a cut that does not finish: IL-06, and the return", _cut_too_long),
    Case("IL-07", "12", "a cutter that does not come home: IL-07, valve at rest", _return_too_long,
         _INPUTS, "try it in the simulator with the fault home-stuck@2"),
    Case("IL-24 valve", "12", "the valve driven for too long: IL-24, at rest", _valve_too_long),
    Case("IL-24 push", "12", "a push that takes too long: IL-24, ramp", _push_too_long),
    Case("IL-09", "12", "dough gone in a push: IL-09", _dough_gone, _INPUTS,
         "try it in the simulator with the fault dough-gone@2"),
    Case("IL-11 ease", "12", "after thrust too high the feed goes back by 'ease'", _eases, _INPUTS,
         BY_HAND["IL-11"]),
    Case("IL-03", "11", "no stroke sooner than 'still_ms' after the last step", _feed_at_rest),
    Case("IL-04", "11", "no feed with the cutter away, but a short jog back", _cutter_home),
    Case("IL-14 soft", "12", "a soft limit: ramp, ends at the limit", _soft_limit, _INPUTS,
         "hold a local switch toward a soft limit of the card, air shut and vented, barrel empty: "
         "the feed must end there"),
    Case("reset cut", "12", "a reset in a cut: valve at rest, drive off", _reset_in_cut,
         frozenset({RESET}), WIRED + "press the reset button in a dry stroke"),
    Case("clears", "11", "'clear' frees its own latch alone and moves nothing", _clears),
)  # fmt: skip
