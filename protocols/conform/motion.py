"""Moves and portions: SPEC.md, section 9. Positions are as the board counts them."""

from __future__ import annotations

from itertools import pairwise

from protocols.codes import DROP, MOVE_ENDINGS, MOVES, PHASES, PIN, SIGNALS
from protocols.conform.case import Case
from protocols.conform.commands import JOG
from protocols.conform.peer import INPUTS
from protocols.conform.talk import Talk
from protocols.limits import FITTED_BITS, NOT_FITTED, RING_EVENTS_NEEDED
from protocols.messages import (
    Edge,
    Event,
    Extremes,
    Here,
    Ignored,
    Moved,
    Phase,
    Run,
    Sample,
    Stop,
    Tally,
)

_INPUTS = frozenset({INPUTS})


def _ending(moved: Moved) -> tuple[str, str]:
    return MOVES[moved.kind], MOVE_ENDINGS[moved.reason]


def _goes(talk: Talk) -> None:
    talk.wake()
    place = 0
    for kind, distance in ((0, 700), (0, -300), (2, -200), (3, 400), (4, 300), (1, 250)):
        start = talk.mark
        talk.move(kind, distance)
        place += distance
        moved = talk.moved(start)
        talk.same("ending", _ending(moved), (MOVES[kind], "reached"))
        talk.same(f"position after {MOVES[kind]}", moved.position, place)
        talk.same("'moved' events", len(talk.of(Moved, start)), 1)
    talk.same("position at rest", talk.settled().position, place)


def _trapezoid(talk: Talk) -> None:
    talk.wake(accel=4000)
    start = talk.mark
    talk.move(JOG, 3000, 2000)
    moved = talk.moved(start)
    samples = [s for s in talk.of(Sample, start) if s.position]
    talk.check(len(samples) > 20, f"{len(samples)} samples in 2 s of motion")
    # 0.5 s up, 1 s at speed, 0.5 s down; a sample and the end tell the times by board time.
    half = min(samples, key=lambda s: abs(s.position - 1500))
    left_us = (moved.t_us - half.t_us) % 2**32
    asked_s = 0.5 + (3000 - half.position - 500) / 2000
    talk.near("s from the middle to the end:", left_us / 1e6, asked_s, 0.05)
    quarter = min(samples, key=lambda s: abs(s.position - 125))
    went_s = ((half.t_us - quarter.t_us) % 2**32) / 1e6
    asked_s = 0.5 + (half.position - 500) / 2000 - (2 * quarter.position / 4000) ** 0.5
    talk.near("s from the first quarter to the middle:", went_s, asked_s, 0.05)


def _portion(talk: Talk) -> None:
    talk.wake()
    talk.plan(7, take_up=100, push=1000, draw_back=200, settle=150, dwell=50)
    start = talk.mark
    talk.start()
    beat = talk.settled()
    talk.same("mode and portion", (beat.mode, beat.portion), (3, 7))
    ended = talk.ended(start)
    talk.same("outcome", (ended.portion, ended.outcome), (7, 0))
    phases = talk.of(Phase, start)
    talk.same("phases", [PHASES[p.phase] for p in phases], list(PHASES[1:]))
    talk.same("positions", [p.position for p in phases], [0, 100, 1100, 900, 900, 900])
    (tally,) = talk.of(Tally, start) or (Tally(1, 0, 0, 0, 0, 0, 0),)
    talk.same("asked and made", (tally.asked, tally.made), (1100, 1100))
    talk.same("portion of 'extremes'", [e.portion for e in talk.of(Extremes, start)], [7])
    talk.settled()
    events = talk.of(Event, start)
    talk.check(len(events) <= RING_EVENTS_NEEDED, f"{len(events)} events of one portion")
    talk.check(isinstance(events[-1], type(ended)), "'ended' was not the last event")


def _phase_times(talk: Talk) -> None:
    talk.wake(cut_ms=200, return_ms=300)
    talk.plan(take_up=0, push=100, draw_back=0, settle=250, dwell=80)
    start = talk.mark
    talk.start()
    ended = talk.ended(start)
    phases = talk.of(Phase, start)
    talk.same("phases", [PHASES[p.phase] for p in phases], ["push", "settle", "cut", "return"])
    times = [*(p.t_us for p in phases), ended.t_us]
    for number, (what, asked_ms) in enumerate((("settle", 250), ("cut", 280), ("return", 300)), 1):
        took_ms = ((times[number + 1] - times[number]) % 2**32) / 1000
        talk.near(f"ms of {what}:", took_ms, asked_ms, 5)


def _still(talk: Talk) -> None:
    talk.wake(still_ms=400)
    talk.plan(settle=20)
    start = talk.mark
    talk.start()
    talk.ended(start)
    phases = {PHASES[p.phase]: p.t_us for p in talk.of(Phase, start)}
    rested_ms = ((phases.get("cut", 0) - phases.get("settle", 0)) % 2**32) / 1000
    talk.check(400 <= rested_ms <= 410, f"cut after {rested_ms:g} ms at rest, not 400")


def _once(talk: Talk) -> None:
    talk.wake()
    talk.plan()
    start = talk.mark
    talk.start()
    talk.ended(start)
    talk.wait(100)
    talk.refused(51, Run, 7, 0, talk.fresh())


def _valve_events(talk: Talk) -> None:
    talk.wake()
    talk.plan()
    start = talk.mark
    talk.start()
    talk.ended(start)
    levels = [e.level for e in talk.of(Edge, start) if e.signal == PIN["valve"]]
    talk.same("levels of the valve", levels, [1, 0])
    talk.check(not talk.pin("valve"), "the valve is driven after the return")


def _not_fitted(talk: Talk) -> None:
    sample = talk.next(Sample)
    shown = (sample.eye, sample.thrust, sample.air, sample.supply)
    talk.same("readings", shown[1:3], (NOT_FITTED, NOT_FITTED))
    beat = talk.settled()
    on = {name: talk.pin(name, beat) for name in ("guard", "stop", "ends", "forward", "button")}
    asked = {"guard": True, "stop": True, "ends": True, "forward": False, "button": False}
    talk.same("pins of what is not fitted", on, asked)


def _samples(talk: Talk) -> None:
    talk.load(sample_ms=50)
    talk.next(Sample)
    start = talk.mark
    talk.wait(1000)
    samples = talk.of(Sample, start)
    talk.near("samples in 1 s:", len(samples), 20, 3)
    gaps = [(b.k - a.k) % 65536 for a, b in pairwise(samples)]
    talk.same("steps of k", set(gaps), {1})


def _button(talk: Talk) -> None:
    talk.wake(fitted=1 << FITTED_BITS["button"])
    talk.plan()
    start = talk.mark
    talk.start(trigger=1)
    talk.check(talk.pin("waiting"), "the portion does not wait for its button")
    talk.same("phases before the button", talk.of(Phase, start), [])
    talk.hands.pins(button=True)
    talk.same("outcome", talk.ended(start).outcome, 0)
    talk.hands.pins(button=False)
    talk.wait(100)
    start = talk.mark
    talk.hands.pins(button=True)
    talk.same("reason", talk.next(Ignored, since=start).reason, 51)


def _waiting_stops(talk: Talk) -> None:
    talk.wake(fitted=1 << FITTED_BITS["button"])
    talk.plan()
    start = talk.mark
    talk.start(trigger=1)
    talk.refused(43, Run, 7, 0, talk.fresh())
    talk.say(Stop(0))
    talk.same("outcome", talk.ended(start).outcome, 1)
    kinds = {type(e).__name__ for e in talk.of(Event, start)}
    talk.same("events of a portion dropped while it waits", kinds, {"Ended"})


def _ready(talk: Talk) -> None:
    talk.wake(fitted=1 << FITTED_BITS["ready"])
    talk.plan()
    first = start = talk.mark
    talk.start()
    talk.wait(300)
    talk.check(talk.pin("waiting"), "the portion does not wait for the machine downstream")
    talk.same("phases before it is ready", talk.of(Phase, start), [])
    talk.hands.pins(button=True)
    talk.same("outcome", talk.ended(start).outcome, 0)
    talk.plan()
    start = talk.mark
    talk.start()
    talk.same("outcome while it stays ready", talk.ended(start).outcome, 0)
    talk.same("presses ignored", talk.of(Ignored, first), [])


def _drop(talk: Talk) -> None:
    talk.wake(fitted=1 << FITTED_BITS["drop"], return_ms=400)
    talk.plan()
    start = talk.mark
    talk.start()
    talk.until(lambda: len(talk.of(Phase, start)) == 6, "return")
    for on in (True, False, True, False):
        talk.hands.pins(drop=on)
        talk.wait(30)
    talk.ended(start)
    talk.settled()
    told = [(e.portion, e.level) for e in talk.of(Edge, start) if e.signal == DROP]
    talk.same("portion and level of edges of the drop eye", told, [(7, 1)])


def _local(talk: Talk) -> None:
    talk.wake(fitted=1 << FITTED_BITS["local"], local_speed=1000)
    for name, sign in (("forward", 1), ("reverse", -1)):
        start, place = talk.mark, talk.settled().position
        talk.hands.pins(**{name: True})
        talk.wait(500)
        talk.hands.pins(**{name: False})
        moved = talk.moved(start)
        talk.same("ending", _ending(moved), ("local", "released"))
        talk.near(f"steps in 0.5 s of {name}:", (moved.position - place) * sign, 480, 80)


def _ends_early(talk: Talk) -> None:
    """What ends a move before its distance: contact, no thrust left, dough that flows, or none."""
    talk.hands.readings(eye=700, thrust=300)
    talk.wake(
        fitted=1 << FITTED_BITS["eye"] | 1 << FITTED_BITS["thrust"], contact=100,
        eye_on=500, eye_off=300, gap=200, first_flow=900, prime_flow=600,
    )  # fmt: skip
    for kind, distance, ending, then in (
        (2, -50_000, "relieved", {"eye": 700, "thrust": 103}),
        (3, 50_000, "contact", {"eye": 700, "thrust": 200}),
        (4, 50_000, "flowing", {}),
    ):
        start = talk.mark
        talk.move(kind, distance)
        talk.wait(250)
        if then:
            talk.same("ends before its sensor says so", talk.of(Moved, start), [])
            talk.hands.readings(**then)
        moved = talk.moved(start)
        talk.same("ending", _ending(moved), (MOVES[kind], ending))
        talk.check(abs(moved.position) < 5000, f"{ending} only at {moved.position}")
        talk.do(Here, 0)
    talk.hands.readings(eye=100, thrust=200)
    start = talk.mark
    talk.move(4, 50_000)
    moved = talk.moved(start)
    talk.same("ending", _ending(moved), ("prime", "no-flow"))
    # To the limit, and the way of a stop from 2000 steps/s, 25 steps.
    talk.near("steps without dough:", moved.position, 925, 10)
    talk.same("latches", talk.latches(), set())


def _released(talk: Talk) -> None:
    for hold, known in ((0, False), (2, True)):
        talk.wake(drive_hold=hold, release_ms=500)
        start = talk.mark
        talk.move(JOG, 100)
        moved = talk.moved(start)
        talk.check(talk.pin("drive"), "the drive was released sooner than 'release_ms'")
        off = talk.next(Edge, 1000, start)
        talk.same("pin and level", (SIGNALS[off.signal], off.level), ("drive", 0))
        talk.near("ms at rest:", ((off.t_us - moved.t_us) % 2**32) / 1000, 500, 5)
        talk.same(f"known after a release, 'drive_hold' {hold}", talk.pin("known"), known)


CASES = (
    Case("moves", "9", "every kind of move goes its distance, to the step", _goes),
    Case("trapezoid", "9", "speed and acceleration are those asked for", _trapezoid),
    Case("portion", "9", "a portion: six phases, 'tally', 'extremes', 'ended'", _portion),
    Case("phase-times", "9", "settle, cut and return take their times", _phase_times),
    Case("still", "9", "no cut sooner than 'still_ms' after the last step", _still),
    Case("runs-once", "9", "a program runs once", _once),
    Case("valve-events", "9", "the valve goes out and back, each told by an event", _valve_events),
    Case("not-fitted-pins", "7", "what is not fitted reads as safe, 65535", _not_fitted),
    Case("samples", "7", "samples come at the pace asked for, counted", _samples),
    Case("button", "9", "'run' with trigger 1 waits for the button", _button, _INPUTS,
         "'benchd portion masa.yaml --button' must start at the button and not before"),
    Case("waiting", "9", "a portion that waits ends by 'stop', with 'ended' alone", _waiting_stops,
         _INPUTS, "stop a portion that waits for its button: nothing may move"),
    Case("ready", "9", "with 'ready' fitted every 'run' waits for that contact, on already or not",
         _ready, _INPUTS, "with 'ready' on the card, 'benchd portion masa.yaml' starts only while "
         "the contact is closed"),
    Case("drop", "9", "the drop eye is told once of each portion", _drop, _INPUTS,
         "let pieces fall past the drop eye: the record of each has its 'drop_s'"),
    Case("ends-early", "9", "contact, relief, flow and no flow end their move", _ends_early,
         _INPUTS, "'benchd tube load' and 'benchd prime' end when plunger and dough are there"),
    Case("released", "12", "a drive not held is released, and the position doubtful", _released),
    Case("local", "9", "a local switch moves the feed while it is on", _local, _INPUTS,
         "hold a local switch with the motor's supply on: the feed follows while it is held"),
)  # fmt: skip
