"""Numbered commands: once each, and every refusal. SPEC.md, section 6."""

from __future__ import annotations

from protocols.codes import MODES, PINS
from protocols.conform.case import Case
from protocols.conform.peer import INPUTS
from protocols.conform.talk import Talk
from protocols.limits import FITTED_BITS, RING_EVENTS, RING_EVENTS_NEEDED, digest
from protocols.messages import (
    Adopt,
    Arm,
    Beat,
    Clear,
    Command,
    Detail,
    Draft,
    Drive,
    Event,
    Fire,
    Hello,
    Here,
    Ignored,
    Lease,
    Lock,
    Move,
    No,
    Run,
    Seen,
    Set,
    Stop,
    Yes,
    encode,
)

_INPUTS = frozenset({INPUTS})
JOG = 0

Commands = tuple[tuple[type[Command], tuple[int, ...]], ...]
"""Commands and their fields, without number and in order."""


def _answers(talk: Talk) -> None:
    start = talk.mark
    for on in (1, 0, 1, 0):
        talk.do(Lock, on)
        talk.same("local-lock", talk.pin("local-lock"), bool(on))
    talk.same("answers to four commands", len(talk.answers(start)), 4)


def _repeat(talk: Talk) -> None:
    talk.wake()
    nonce, number = talk.fresh(), talk.last_id + 1
    start = talk.mark
    for _ in range(2):
        answer = talk.ask_as(number, Move, JOG, 300, 2000, nonce)
        talk.check(isinstance(answer, Yes), f"{encode(answer).decode()!r}, not 'yes'")
    talk.moved(start)
    late = talk.ask_as(number, Move, JOG, 300, 2000, nonce)
    talk.check(isinstance(late, Yes), f"{encode(late).decode()!r}, not 'yes'")
    talk.last_id = number
    talk.wait(400)
    talk.same("position", talk.settled().position, 300)


def _kept_refusal(talk: Talk) -> None:
    talk.wake()
    nonce = talk.fresh()
    talk.refused(42, Move, JOG, 0, 2000, nonce, value=3)
    again = talk.ask_as(talk.last_id, Move, JOG, 0, 2000, nonce)
    talk.is_no(again, 42, value=3)


def _reused(talk: Talk) -> None:
    talk.do(Lock, 1)
    number = talk.last_id
    talk.is_no(talk.ask_as(number, Lock, 0), 50, value=number)
    talk.check(talk.pin("local-lock"), "a number used again was obeyed")
    talk.check(isinstance(talk.ask_as(number, Lock, 1), Yes), "the kept answer is gone")


def _order(talk: Talk) -> None:
    talk.do(Lock, 0)
    last = talk.last_id
    talk.is_no(talk.ask_as(last - 1, Lock, 1), 49, value=last - 1, bound=last)
    talk.check(not talk.pin("local-lock"), "a lower number was obeyed")
    talk.check(isinstance(talk.ask_as(last, Lock, 0), Yes), "the kept answer is gone")


def _gap(talk: Talk) -> None:
    talk.last_id += 10
    talk.do(Lock, 1)
    talk.last_id += 1
    talk.do(Lock, 0)


def _uses_up(talk: Talk) -> None:
    talk.last_id += 1
    number = talk.last_id
    wrong = talk.ask_body(f"lock {number} 2".encode())
    talk.is_no(wrong, 42, value=2, bound=1)
    talk.is_no(talk.ask_as(number, Lock, 1), 50, value=number)
    talk.check(not talk.pin("local-lock"), "the number was not used up")


def _silent(talk: Talk) -> None:
    talk.leasing = talk.acknowledging = False
    start = talk.mark
    nonce = talk.fresh()
    talk.say(Lease(nonce))
    talk.say(Seen(0))
    talk.settled()
    talk.say(Hello())
    talk.say(Stop(0))
    talk.settled()
    talk.same("answers", talk.answers(start), [])
    talk.same("last_id", talk.greeting().last_id, talk.last_id)


def _range(talk: Talk) -> None:
    talk.wake(speed_max=5000)
    nonce = talk.fresh()
    for kind, distance, nearest in ((0, 0, 1), (2, 5, -1), (2, 0, -1), (3, -5, 1), (4, -5, 1)):
        talk.refused(42, Move, kind, distance, 1000, nonce, value=3, bound=nearest)
    talk.refused(42, Move, JOG, 100, 5001, nonce, value=4, bound=5000)
    talk.refused(42, Draft, 7, 0, 100, 5001, value=5, bound=5000)
    for body, place, nearest in (
        ("move {} 5 100 1000 0", 2, 4), ("drive {} 2", 2, 1), ("clear {} 31", 2, 30),
        ("draft {} 7 0 0 100", 4, 1), ("detail {} 7 0 0 1000", 5, 999), ("run {} 0 0 0", 2, 1),
    ):  # fmt: skip
        talk.last_id += 1
        wrong = talk.ask_body(body.format(talk.last_id).encode())
        talk.is_no(wrong, 42, value=place, bound=nearest)
    talk.same("position", talk.settled().position, 0)


def _busy(talk: Talk) -> None:
    talk.wake()
    talk.move(JOG, 20_000)
    moving, nonce = MODES.index("moving"), talk.fresh()
    commands: Commands = (
        (Move, (JOG, 100, 1000, nonce)), (Set, (2, 20_000)), (Adopt, (digest(talk.values),)),
        (Here, (5,)), (Drive, (0,)), (Clear, (20,)), (Draft, (7, 0, 100, 100)),
        (Detail, (7, 0, 0, 0)), (Arm, ()),
    )  # fmt: skip
    for cls, values in commands:
        talk.refused(43, cls, *values, value=moving)
    start = talk.mark
    talk.say(Stop(0))
    talk.moved(start)


def _drive_off(talk: Talk) -> None:
    talk.wake()
    talk.do(Drive, 0)
    talk.refused(44, Move, JOG, 100, 1000, talk.fresh())
    talk.plan()
    talk.refused(44, Run, 7, 0, talk.fresh())


def _position(talk: Talk) -> None:
    talk.wake()
    talk.move(JOG, 20_000)
    talk.wait(200)
    start = talk.mark
    talk.say(Stop(1))
    talk.moved(start)
    talk.do(Drive, 1)
    talk.plan()
    talk.refused(45, Run, 7, 0, talk.fresh())
    talk.do(Here, -5)
    beat = talk.settled()
    talk.check(talk.pin("known", beat) and beat.position == -5, f"at {beat.position} after 'here'")


def _not_armed(talk: Talk) -> None:
    talk.wake()
    talk.refused(46, Fire, talk.fresh())


def _ring(talk: Talk) -> None:
    talk.wake()
    talk.plan()
    talk.acknowledging = False
    start = talk.mark
    for on in (0, 1, 0, 1):
        talk.do(Drive, on)
    talk.wait(200)
    free = RING_EVENTS - len(talk.of(Event, start))
    talk.check(free < RING_EVENTS_NEEDED, f"{RING_EVENTS - free} events for four changes")
    talk.refused(47, Run, 7, 0, talk.fresh(), value=free, bound=RING_EVENTS_NEEDED)


def _stale(talk: Talk) -> None:
    talk.wake()
    talk.plan()
    old = talk.fresh()
    talk.wait(400)
    commands: Commands = ((Move, (JOG, 100, 1000)), (Run, (7, 0)), (Fire, ()))
    for cls, values in commands:
        refusal = talk.refused(48, cls, *values, old, value=old)
        newest = [b.nonce for b in talk.of(Beat)][-2:]
        talk.check(refusal.bound in newest, f"newest {refusal.bound}, not one of {newest}")
    talk.same("position", talk.settled().position, 0)


def _no_plan(talk: Talk) -> None:
    talk.wake()
    talk.plan(9)
    talk.refused(51, Run, 8, 0, talk.fresh(), value=8, bound=9)
    talk.do(Draft, 8, 0, 100, 1000)
    talk.refused(51, Run, 8, 0, talk.fresh(), value=8)


def _latched(talk: Talk) -> None:
    lapse(talk)
    talk.refused(52, Move, JOG, 100, 1000, talk.fresh(), value=18)
    talk.refused(52, Arm, value=18)
    start = talk.mark
    talk.move(JOG, -50)
    talk.same("ending of the way out", talk.moved(start).reason, 0)


def lapse(talk: Talk) -> None:
    """Let the lease of a move lapse, so that IL-18 latches."""
    talk.wake()
    talk.move(JOG, 50_000)
    start = talk.mark
    talk.leasing = False
    talk.moved(start)
    talk.leasing = True
    talk.same("latches after a lapse", talk.latches(), {18})


def _not_fitted(talk: Talk) -> None:
    talk.wake()
    talk.plan()
    talk.refused(54, Run, 7, 1, talk.fresh(), value=FITTED_BITS["button"])


def _unknown(talk: Talk) -> None:
    talk.last_id += 1
    talk.is_no(talk.ask_body(f"dance {talk.last_id}".encode()), 55)
    talk.same("last_id", talk.greeting().last_id, talk.last_id)


def _cause_stays(talk: Talk) -> None:
    talk.wake(fitted=1 << FITTED_BITS["guard"])
    talk.hands.pins(guard=False)
    talk.same("latches", talk.latches(), {2})
    talk.refused(56, Clear, 2, value=2)
    talk.refused(2, Drive, 1)
    talk.hands.pins(guard=True)
    talk.do(Set, 2, 20_000)
    talk.refused(40, Clear, 2)
    talk.load()
    talk.wait(50)
    talk.do(Clear, 2)


def _travel(talk: Talk) -> None:
    talk.wake()
    talk.do(Here, 399_000)
    talk.refused(57, Move, JOG, 1001, 1000, talk.fresh(), value=400_001, bound=400_000)
    talk.do(Here, -99_000)
    talk.refused(57, Move, JOG, -1001, 1000, talk.fresh(), value=-100_001, bound=-100_000)
    talk.same("position", talk.settled().position, -99_000)


def _locked(talk: Talk) -> None:
    talk.wake(fitted=1 << FITTED_BITS["local"])
    talk.do(Lock, 1)
    start = talk.mark
    talk.hands.pins(forward=True)
    ignored = talk.next(Ignored, since=start)
    talk.hands.pins(forward=False)
    talk.same("ignored", (PINS[ignored.signal], ignored.reason), ("forward", 58))
    talk.same("position", talk.settled().position, 0)


def _both_locals(talk: Talk) -> None:
    talk.wake(fitted=1 << FITTED_BITS["local"])
    talk.do(Lock, 1)
    talk.hands.pins(forward=True, reverse=True)
    talk.refused(22, Move, JOG, 100, 1000, talk.fresh())
    talk.hands.pins(forward=False, reverse=False)
    talk.wait(50)
    talk.do(Move, JOG, 100, 1000, talk.fresh())


def _conditions(talk: Talk) -> None:
    """Everything is wrong at once; each fault mended brings the next of section 6."""
    old = talk.fresh()
    lapse(talk)
    talk.do(Drive, 0)
    talk.do(Set, 2, 20_000)
    talk.refused(40, Run, 9, 0, old)
    # Another home level: the cutter is away until a dry stroke brings it home.
    talk.load(accel=20_001, direction=1, valve_home=1)
    talk.refused(52, Run, 9, 0, old)
    talk.do(Clear, 18)
    talk.refused(48, Run, 9, 0, old)
    talk.refused(44, Run, 9, 0, talk.fresh())
    talk.do(Drive, 1)
    talk.refused(45, Run, 9, 0, talk.fresh())
    talk.do(Here, 400_000)
    talk.refused(4, Run, 9, 0, talk.fresh())
    start = talk.mark
    talk.do(Arm)
    talk.do(Fire, talk.fresh())
    talk.same("outcome of the dry stroke", talk.ended(start).outcome, 0)
    talk.wait(talk.values["return_ms"] + 60)
    talk.refused(51, Run, 9, 0, talk.fresh())
    talk.plan(9)
    talk.refused(57, Run, 9, 0, talk.fresh())
    talk.do(Here, 0)
    start = talk.mark
    talk.start(9)
    talk.same("outcome", talk.ended(start).outcome, 0)


def _stop_always(talk: Talk) -> None:
    talk.wake()
    talk.do(Set, 2, 20_000)
    talk.say(Stop(1))
    talk.check(not talk.pin("drive"), "the drive has power after 'stop' 1 without limits in force")


def _nothing_done(talk: Talk) -> None:
    talk.wake()
    start, nonce = talk.mark, talk.fresh()
    commands: Commands = ((Move, (JOG, 0, 1000)), (Run, (9, 0)), (Fire, ()))
    for cls, values in commands:
        answer = talk.ask(cls, *values, nonce)
        talk.check(isinstance(answer, No), f"{encode(answer).decode()!r}, not 'no'")
    beat = talk.settled()
    talk.same("mode and position", (MODES[beat.mode], beat.position), ("ready", 0))
    talk.same("events of refused commands", talk.of(Event, start), [])


CASES = (
    Case("answers", "6", "each command is answered, once, and done", _answers),
    Case("repeat", "6", "the last number again: the kept answer, done once", _repeat),
    Case("kept-refusal", "6", "a refusal is kept and comes again too", _kept_refusal),
    Case("reused", "6", "the last number for something else: no 50", _reused),
    Case("order", "6", "a lower number: no 49, with the last one", _order),
    Case("gap", "6", "any higher number is new", _gap),
    Case("uses-up", "6", "wrong fields are refused and use the number up", _uses_up),
    Case("silent", "6", "'hello', 'lease', 'seen', 'stop' get no answer", _silent),
    Case("range", "6", "no 42 tells the field and the nearest value allowed", _range),
    Case("busy", "6", "while anything moves: no 43, with the mode", _busy),
    Case("drive-off", "6", "'move' and 'run' without power: no 44", _drive_off),
    Case("position", "6", "'run' with the position not known: no 45", _position),
    Case("not-armed", "6", "'fire' without 'arm': no 46", _not_armed),
    Case("ring", "6", "'run' with too few places in the ring: no 47", _ring),
    Case("stale", "6", "a number of an old beat: no 48, with the newest", _stale),
    Case("no-plan", "6", "'run' without a whole program: no 51", _no_plan),
    Case("latched", "11", "latched: no 52, but for the way out in reverse", _latched),
    Case("not-fitted", "6", "a trigger that is not fitted: no 54", _not_fitted),
    Case("unknown", "6", "an unknown command with a number: no 55", _unknown),
    Case("cause-stays", "11", "'clear' while the cause is there: no 56", _cause_stays, _INPUTS,
         "with the bench wired and served, hold the guard open: 'benchd clear IL-02' must refuse"),
    Case("travel", "12", "a move past a soft limit: no 57, beforehand", _travel),
    Case("locked", "9", "a local switch while locked: ignored, 58", _locked, _INPUTS,
         "press a local switch during a series: the feed must not follow it"),
    Case("both-locals", "11", "no move while both local switches are on: no 22", _both_locals,
         _INPUTS, "hold both local switches: 'benchd jog +0.5mm' must be refused"),
    Case("conditions", "6", "conditions are checked in their order", _conditions),
    Case("stop-always", "6", "'stop' acts without limits in force too", _stop_always),
    Case("nothing-done", "6", "a refused command has done nothing", _nothing_done),
)  # fmt: skip
