"""Greeting, boot and limits: SPEC.md, sections 5 and 7."""

from __future__ import annotations

from protocols.codes import CAUSES
from protocols.conform.case import Case
from protocols.conform.peer import RESET
from protocols.conform.talk import BASE, Talk
from protocols.limits import LIMITS, PROTOCOL, digest
from protocols.messages import (
    I32,
    Adopt,
    Arm,
    Beat,
    Bench,
    Boot,
    Draft,
    Drive,
    Event,
    Hello,
    Lock,
    Move,
    Run,
    Set,
)

_RESETS = frozenset({RESET})
_BY_HAND = (
    "press the board's reset button with 'benchd serve' running: 'benchd status' must say that the "
    "board restarted, and nothing may move"
)


def _greets(talk: Talk) -> None:
    start = talk.mark
    talk.say(Hello())
    talk.settled()
    talk.same("greetings", len(talk.of(Bench, start)), 1)
    greeting = talk.of(Bench, start)[0]
    talk.same("protocol", greeting.protocol, PROTOCOL)
    talk.check(greeting.cause in CAUSES, f"cause '{greeting.cause}'")


def _tells_last_number(talk: Talk) -> None:
    talk.do(Lock, 0)
    number = talk.last_id
    talk.same("last_id", talk.greeting().last_id, number)


def _tells_digest(talk: Talk) -> None:
    talk.same("digest", talk.greeting().digest, digest(BASE))
    talk.do(Set, 2, BASE["accel"])
    talk.same("digest without limits in force", talk.greeting().digest, 0)
    talk.load(accel=BASE["accel"] + 1)
    talk.same("digest", talk.greeting().digest, digest(talk.values))


def _brings_events(talk: Talk) -> None:
    talk.wait(100)
    talk.acknowledging = False
    first = talk.mark
    for on in (1, 0, 1):
        talk.do(Drive, on)
    talk.until(lambda: len(talk.of(Event, first)) == 3, "three events", 200)
    held = [event.event for event in talk.of(Event, first)]
    start = talk.mark
    talk.say(Hello())
    # Sooner than the board sends them again by itself.
    talk.wait(150)
    later = [m for m in talk.heard[start:] if isinstance(m, (Bench, Event))]
    talk.check(isinstance(later[0], Bench) and later[0].oldest == held[0])
    talk.same("events", [m.event for m in later if isinstance(m, Event)], held)


def _boots(talk: Talk) -> None:
    talk.wake()
    before = talk.greeting()
    start = talk.mark
    talk.hands.reset("watchdog")
    greeting = talk.next(Bench, since=start)
    talk.forget_limits()
    beat = talk.settled()
    talk.same("boot", greeting.boot, (before.boot + 1) % 65536)
    talk.same("cause", greeting.cause, "watchdog")
    talk.same("digest", greeting.digest, 0)
    talk.same("oldest event", greeting.oldest, 1)
    events = talk.of(Event, start)
    talk.check(len(events) == 1 and isinstance(events[0], Boot), f"events {events}")
    talk.same("latches", talk.latches(), {20})
    on = [name for name in ("drive", "known", "adopted", "valve") if talk.pin(name, beat)]
    talk.same("pins on", on, [])


def _reset_in_move(talk: Talk) -> None:
    talk.wake()
    talk.move(0, 20_000)
    talk.wait(300)
    start = talk.mark
    talk.hands.reset("button")
    talk.next(Bench, since=start)
    talk.forget_limits()
    talk.wait(500)
    beats = talk.of(Beat, start)
    talk.same("places after a reset", len({beat.position for beat in beats}), 1)
    talk.same("mode", talk.mode(), "tripped")
    talk.check(not talk.pin("known", beats[-1]) and not talk.pin("drive", beats[-1]), "pins on")


def _keeps_ranges(talk: Talk) -> None:
    for limit in LIMITS:
        for value, nearest in ((limit.low - 1, limit.low), (limit.high + 1, limit.high)):
            if abs(value) <= I32:
                talk.refused(42, Set, limit.key, value, value=3, bound=nearest)
    talk.refused(42, Set, len(LIMITS) + 1, 0, value=2, bound=len(LIMITS))


def _takes_bounds(talk: Talk) -> None:
    for side in ("low", "high"):
        talk.load(**{limit.name: getattr(limit, side) for limit in LIMITS})
        talk.check(talk.pin("adopted"), f"limits at their {side} are not in force")


def _set_ends_force(talk: Talk) -> None:
    talk.wake()
    talk.plan()
    talk.do(Arm)
    talk.do(Set, 10, BASE["release_ms"] + 1)
    beat = talk.settled()
    on = [name for name in ("adopted", "armed") if talk.pin(name, beat)]
    talk.same("pins on", on, [])
    talk.refused(40, Move, 0, 100, 1000, talk.fresh())
    talk.load()
    talk.refused(51, Run, 7, 0, talk.fresh())


def _wrong_digest(talk: Talk) -> None:
    talk.do(Set, 2, BASE["accel"])
    talk.refused(53, Adopt, digest(BASE) ^ 1)
    talk.check(not talk.pin("adopted"), "limits in force after a wrong digest")


def _direction(talk: Talk) -> None:
    talk.wake()
    talk.load(accel=BASE["accel"] + 1)
    talk.check(talk.pin("known"), "position doubtful after another limit")
    talk.load(direction=1)
    talk.check(not talk.pin("known"), "position still known")


def _no_limits(talk: Talk) -> None:
    talk.do(Set, 2, BASE["accel"])
    talk.refused(40, Drive, 1)
    nonce = talk.fresh()
    talk.refused(40, Move, 0, 100, 1000, nonce)
    talk.refused(40, Draft, 7, 0, 100, 100)
    talk.refused(40, Run, 7, 0, nonce)
    talk.refused(40, Arm)


CASES = (
    Case("greets", "5", "'hello' brings the greeting, once", _greets),
    Case("last-number", "5", "the greeting tells the last number answered", _tells_last_number),
    Case("digest", "5", "the greeting tells the digest in force, 0 if none", _tells_digest),
    Case("hello-events", "5", "then every event held comes, oldest first", _brings_events),
    Case("boots", "5", "after a reset: greeting, one more boot, all at rest, IL-20", _boots,
         _RESETS, _BY_HAND),
    Case("reset-in-move", "12", "a reset in mid-move ends it; nothing starts again", _reset_in_move,
         _RESETS, _BY_HAND),
    Case("limit-ranges", "7", "a limit outside its range is refused, nearest told", _keeps_ranges),
    Case("limit-bounds", "7", "every limit is taken at both its bounds", _takes_bounds),
    Case("set-ends-force", "7", "'set' ends the limits' force, voids and disarms", _set_ends_force),
    Case("wrong-digest", "7", "'adopt' with another digest puts nothing in force", _wrong_digest),
    Case("direction", "7", "another 'direction' makes the position doubtful", _direction),
    Case("no-limits", "6", "without limits in force motion is refused with 40", _no_limits),
)  # fmt: skip
