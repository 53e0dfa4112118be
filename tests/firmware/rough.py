"""A rough host and a judge: random lines, inputs, hangs and resets, and laws that hold whatever
they are. The judge looks at pulses, outputs and pins alone, and believes the board in nothing."""

from __future__ import annotations

import random
from bisect import bisect_left
from typing import NamedTuple

from protocols.codes import PHASES, PIN
from protocols.errors import OwnError
from protocols.framing import LineDecoder, frame
from protocols.limits import LIMITS, digest
from protocols.messages import (
    Adopt,
    Arm,
    Beat,
    Clear,
    Command,
    Detail,
    Draft,
    Drive,
    Fire,
    Here,
    HostMessage,
    Lease,
    Lock,
    Move,
    No,
    Run,
    Set,
    Stop,
    Trip,
    Yes,
    encode,
)
from tests.firmware.talk import Talk

JOG, HELD, RELIEVE, APPROACH, PRIME = range(5)
SAFE = {"guard": True, "stop": True, "ends": True, "forward": False, "reverse": False} | {
    "button": False
}
AT_ONCE = frozenset({1, 2, 5, 6, 7, 8, 12, 20})
"""Latches under which not one pulse goes out, from the trip on until the latch is cleared."""

RAMP_US = 450_000  # from 8000 steps/s at the slowest `accel` that is drawn
EASE_US = 4_000_000
TURN_US = 25_000  # for a turn of the main loop, or one that is away for as long as it may be


class Level(NamedTuple):
    """What the pins, or the outputs, are from a moment on."""

    from_us: float
    bits: int


class History:
    """Levels over time."""

    def __init__(self, bits: int) -> None:
        self._levels = [Level(-1.0, bits)]

    def add(self, from_us: float, bits: int) -> None:
        """From this moment on; what happens within a microsecond of it was before it."""
        self._levels.append(Level(from_us, bits))

    def at(self, t_us: float) -> int:
        """Bits at a moment."""
        return self._levels[bisect_left(self._levels, (t_us, -1)) - 1].bits

    def was_on(self, mask: int, from_us: float, to_us: float) -> bool:
        """Whether one of these bits was on at some time between the two."""
        first = max(bisect_left(self._levels, (from_us, -1)) - 1, 0)
        return any(x.bits & mask for x in self._levels[first:] if x.from_us <= to_us)


def _draw_limits(rng: random.Random) -> dict[str, int]:
    return {
        "accel": rng.choice((20_000, 60_000)), "still_ms": rng.choice((0, 30, 100)),
        "lease_ms": rng.choice((150, 500)), "drive_hold": rng.choice((0, 1, 2, 3, 3, 3)),
        "release_ms": rng.choice((700, 2000)), "ease": rng.choice((0, 1200)),
        "local_speed": rng.choice((800, 8000)), "valve_max_ms": rng.choice((150, 2000, 2000)),
        "push_max_ms": rng.choice((300, 30_000, 30_000)), "gap": rng.choice((300, 4000)),
    }  # fmt: skip


class Rough(Talk):
    """A board that is treated roughly, and judged after each treatment."""

    def __init__(self, rng: random.Random, *parts: str, valve_home: int = 0) -> None:
        self.rng = rng
        self.inputs = History(0)
        self.outputs = History(0)
        self.far = 1 - valve_home  # valve level that is not home
        self.word_us = self.drive_us = self.zero_us = 0
        self.base = self.base_us = 0
        self.armed_us: int | None = None
        self.last_pulse_us = -1e9
        self.locked: dict[int, float] = {20: 0.0}
        self.free_jog = False
        self.strokes_allowed = self.strokes = self.pulses = 0
        self.judged = 0
        self.recent: list[float] = []
        self.falls: list[float] = []
        self.sent: list[bytes] = []
        super().__init__(*parts, valve_home=valve_home, **_draw_limits(rng))
        self.board.trace_steps(40_000)

    # What the judge must know.

    def _show(self) -> None:
        super()._show()
        self.inputs.add(self.now_us + 1, self._pins)
        watched = self.limits["fitted"] & (1 << PIN["guard"] | 1 << PIN["stop"])
        if watched & ~self._pins:
            self.armed_us = None

    def say(self, message: HostMessage) -> None:
        """Send a line, and keep what it allows."""
        fresh = {m.nonce for m in self.heard[-60:] if isinstance(m, Beat)}
        fresh |= {(nonce + 1) % 65536 for nonce in fresh}  # answered while it is being heard
        if isinstance(message, (Lease, Move, Run, Fire)) and message.nonce in fresh:
            self.word_us = self.now_us
        if isinstance(message, Stop):
            self.armed_us = None
        super().say(message)

    def order(self, cls: type[Command], *values: int) -> bool:
        """Send the next command, which may be refused; return whether it was accepted."""
        number = self.last_id + 1
        message = cls(number, *values)
        try:
            self.sent.append(frame(encode(message)))
        except OwnError:
            return False
        accepted = isinstance(self.ask(cls, *values), Yes)
        if accepted:
            self._accepted(message)
        self.judge()
        return accepted

    def ask_as(self, number: int, cls: type[Command], *values: int) -> Yes | No:
        """Send a command with this number; return its answer, whatever else is answered before."""
        start = len(self.heard)
        self.say(cls(number, *values))
        self.until(lambda: bool(self._answers(number, start)), 500)
        return self._answers(number, start)[0]

    def _answers(self, number: int, start: int) -> list[Yes | No]:
        return [m for m in self.heard[start:] if isinstance(m, (Yes, No)) and m.id == number]

    def _accepted(self, message: Command) -> None:
        if isinstance(message, Fire):
            assert self.armed_us is not None, "a stroke that was not armed, or no longer"
            assert self.now_us - self.armed_us <= 3_100_000, "a stroke armed too long ago"
        if isinstance(message, (Run, Fire)):
            self.strokes_allowed += 1
        if isinstance(message, (Move, Run, Fire)):
            beats = [m for m in self.heard if isinstance(m, Beat) and m.nonce == message.nonce]
            assert self.now_us - self._time(beats[-1]) <= 300_000, f"{message} came too late"
        if isinstance(message, (Move, Run, Fire, Set, Adopt)):
            self.armed_us = None
        if isinstance(message, Drive):
            self.drive_us = self.now_us
        if isinstance(message, Arm):
            self.armed_us = self.now_us
        if isinstance(message, Move):
            self.free_jog = message.kind == JOG and -1000 <= message.distance < 0
        if isinstance(message, Clear):
            self.locked.pop(message.interlock, None)
        if isinstance(message, Here):
            self.base, self.base_us = self.board.steps - message.position, self.now_us
        if isinstance(message, Set):
            name = next(limit.name for limit in LIMITS if limit.key == message.key)
            self.limits[name] = message.value

    def restart(self) -> None:
        """The board restarts; what it was saying is cut short."""
        self.run(1)
        self.judge()
        self.board.reset(3)
        self.board.tx()
        self._decoder = LineDecoder()
        self.zero_us = self.base_us = self.now_us
        self.strokes_allowed += not self.far
        self.base = self.board.steps
        self.armed_us = None
        self.sent.clear()  # an old line would be a new one in this life
        self.locked = {20: float(self.now_us)}
        self.run(30)
        self.judge()

    # Laws.

    def judge(self) -> None:
        """Hold everything since the last judgement to the laws; fails at what breaks one."""
        pulses = [half_us / 2 for half_us in self.board.traced_half_us()]
        assert len(pulses) < 40_000
        if pulses:
            self.board.trace_steps(40_000)
        for edge in self.board.edges():
            before = self.outputs.at(edge.t_us + 1)
            self.outputs.add(edge.t_us, edge.valve_on | edge.drive_on << 1)
            if before & 1 != edge.valve_on:
                self._judge_valve(edge.t_us, edge.valve_on, pulses)
        for t_us in pulses:
            self._judge_pulse(t_us)
        silent_us = self.now_us - max(self.word_us, self.drive_us)
        assert not self.board.drive_on or silent_us < 6_200_000, "power after 6 s of silence"
        self.recent = [*(t for t in self.recent if t > self.now_us - 2e6), *pulses]
        self.pulses += len(pulses)
        for message in self.heard[self.judged :]:
            if isinstance(message, Beat):
                self._judge_beat(message)
            elif isinstance(message, Trip):
                self._judge_trip(message)
        self.judged = len(self.heard)
        self._judge_position()
        self._judge_strokes()
        if self.judged > 400:
            del self.heard[:-100]
            self.judged = len(self.heard)

    def _judge_valve(self, t_us: float, valve_on: bool, pulses: list[float]) -> None:
        shut = self.inputs.at(t_us)
        if valve_on:
            both = 1 << PIN["guard"] | 1 << PIN["stop"]
            watched = self.limits["fitted"] & both
            assert shut & watched == watched, f"valve driven at {t_us} with guard or stop open"
        if valve_on == bool(self.far):
            self.falls.append(t_us)
            still_us = self.limits["still_ms"] * 1000
            pulse_us = max((t for t in pulses if t <= t_us), default=self.last_pulse_us)
            assert not self.far or t_us - pulse_us >= still_us, (
                f"a stroke at {t_us}, a pulse at {pulse_us}"
            )

    def _judge_strokes(self) -> None:
        """Each asked for, or brought by a trip where rest is the far level; the trip is heard by
        now."""
        due = [t_us for t_us in self.falls if t_us < self.now_us - 1_000_000]
        self.falls = self.falls[len(due) :]
        self.strokes += len(due)
        assert self.strokes <= self.strokes_allowed, f"strokes at {due} that nobody asked for"

    def _valve_is_far(self, t_us: float) -> bool:
        return self.outputs.at(t_us) & 1 == self.far

    def _judge_pulse(self, t_us: float) -> None:
        pins, outputs = self.inputs.at(t_us), self.outputs.at(t_us)
        must = 1 << PIN["guard"] | 1 << PIN["stop"]
        if not self.free_jog:
            must |= 1 << PIN["home"]
        low = self.limits["fitted"] & must & ~pins
        assert not low, f"pulse at {t_us} with pins {low:b} off"
        assert outputs & 2, f"pulse at {t_us} without power"
        assert not self.locked, f"pulse at {t_us} under the latches {self.locked}"
        if not self.free_jog:
            assert not self._valve_is_far(t_us), f"pulse at {t_us} with the valve at the far level"
            if not self.limits["fitted"] & 1 << PIN["home"]:
                since_us = t_us - self.limits["return_ms"] * 1000 + 1000
                far = self.outputs.was_on(1, since_us, t_us) if self.far else False
                assert not far, f"pulse at {t_us} before the cutter can be home"
        leased = t_us - self.word_us < self.limits["lease_ms"] * 1000 + RAMP_US + TURN_US
        local = 1 << PIN["forward"] | 1 << PIN["reverse"]
        by_hand = self.inputs.was_on(local, t_us - RAMP_US - TURN_US, t_us)
        eased = any(
            isinstance(m, Trip) and m.interlock == 11 and t_us - self._time(m) < EASE_US
            for m in self.heard[-100:]
        )
        assert leased or by_hand or eased, f"pulse at {t_us} without leave to move"
        self.last_pulse_us = t_us

    def _time(self, event: Trip | Beat) -> float:
        return self.zero_us + event.t_us

    def _judge_trip(self, trip: Trip) -> None:
        if not self.far and trip.interlock in (1, 2, 7, 8, 24):
            self.strokes_allowed += 1
        if trip.interlock in AT_ONCE and self._time(trip) >= self.zero_us:
            self.locked[trip.interlock] = self._time(trip)
            late = [t for t in self.recent if t > self._time(trip) + 1]
            assert not late, f"pulses at {late[:3]} after {trip}"

    def _judge_beat(self, beat: Beat) -> None:
        on = {name for name, bit in PIN.items() if beat.pins >> bit & 1}
        latched = {number for number in range(1, 31) if beat.latches >> (number - 1) & 1}
        assert not latched or beat.mode == 5, beat
        assert not latched or not on & {"armed", "waiting"}, beat
        assert not on & {"armed", "waiting"} or "adopted" in on, beat
        assert not latched & {1, 12} or "drive" not in on, beat
        takes_off = {1, 2, 8} if self.far else {1, 2}  # IL-08 leaves on what holds it at home.
        assert not latched & takes_off or "valve" not in on, beat
        if self.far:
            assert "valve" not in on or PHASES[beat.phase] == "cut", beat

    def _judge_position(self) -> None:
        beats = [m for m in self.heard[-20:] if isinstance(m, Beat)]
        if not beats or (self.recent and self.recent[-1] > self._time(beats[-1])):
            return
        if self._time(beats[-1]) > self.base_us + 1000:
            assert beats[-1].position == self.board.steps - self.base, beats[-1]


class Treatment:
    """What is done to the board, at random."""

    def __init__(self, talk: Rough) -> None:
        self.talk = talk
        self.rng = talk.rng
        self.done: list[str] = []

    def wait(self) -> None:
        """Time passes, now and then a long time."""
        self._run(self.rng.choice((2, 30, 30, 200, 700)) * self.rng.random())

    def _run(self, ms: float) -> None:
        end_us = self.talk.now_us + round(ms * 1000)
        while self.talk.now_us < end_us:
            self.talk.run_to(min(end_us, self.talk.now_us + 100_000))
            self.talk.judge()

    def _nonce(self) -> int:
        newest = self.talk.nonce
        return newest if self.rng.random() < 0.9 else (newest - self.rng.randrange(-3, 9)) % 65536

    def move(self) -> None:
        """A move of any kind."""
        kind = self.rng.randrange(5)
        far = self.rng.choice((5, 900, 900, 5000, 60_000))
        distance = self.rng.randrange(1, far + 1) * (self.rng.choice((-1, 1)) if kind < 2 else 1)
        distance = -distance if kind == RELIEVE else distance
        self.talk.order(Move, kind, distance, self.rng.randrange(10, 8001), self._nonce())
        self.wait()

    def long_move(self) -> None:
        """A move that goes on for a while."""
        self.talk.order(Move, JOG, self.rng.choice((-1, 1)) * 30_000, 4000, self.talk.nonce)

    def portion(self) -> None:
        """A program, complete or not, run at once, at the button, or not at all."""
        number = self.rng.randrange(1, 4)
        size = self.rng.choice((200, 2000))
        self.talk.order(Draft, number, self.rng.choice((0, 50)), size, 8000)
        if self.rng.random() < 0.9:
            self.talk.order(Detail, number, self.rng.choice((0, 100)), 20, self.rng.choice((0, 50)))
        if self.rng.random() < 0.9:
            self.talk.order(Run, number, self.rng.randrange(2), self._nonce())
        self.wait()

    def stroke(self) -> None:
        """Armed, fired, both or neither, with anything in between."""
        if self.rng.random() < 0.8:
            self.talk.order(Arm)
        if self.rng.random() < 0.4:
            self.rng.choice((self.wait, self.pin, self.stop, self.hang, self.move, self.reload))()
        self.talk.order(Fire, self._nonce())
        self.wait()

    def stop(self) -> None:
        """Stop, weaker or stronger."""
        self.talk.say(Stop(self.rng.randrange(2)))
        self._run(5)

    def stop_and_look(self) -> None:
        """After a stop nothing begins again by itself, nor by a switch still held, nor by a line
        that comes once more."""
        self.talk.pins(**dict.fromkeys(("forward", "reverse", "button"), False))
        if self.rng.random() < 0.5:
            self.talk.pin(self.rng.choice(("forward", "reverse")), True)
            self._run(60)
        self.stop()
        self._run(RAMP_US / 1000 + EASE_US / 1000 * (self.talk.latches() == {11}) + 800)
        self.talk.board.edges()
        steps, valve = self.talk.board.steps, self.talk.board.valve_on
        self.talk.board.rx(self.rng.choice(self.talk.sent[-3:] or [b"\n"]))
        self._run(100)
        self.talk.pin("button", True)
        self._run(30)
        self.talk.pin("button", False)
        assert not self.talk.order(Fire, self.talk.nonce)
        self._run(600)
        assert (self.talk.board.steps, self.talk.board.valve_on) == (steps, valve)

    def pin(self) -> None:
        """A pin changes, for a while or for good."""
        name = self.rng.choice((*SAFE, "forward", "reverse", "button", "home", "far"))
        level = SAFE.get(name, self.rng.random() < 0.5)
        self.talk.pin(name, not level)
        self._run(self.rng.choice((0.3, 5, 40, 300)) * self.rng.random())
        if self.rng.random() < 0.8:
            self.talk.pin(name, level)

    def flicker(self) -> None:
        """A pin is off and on again before the main loop looks."""
        self.talk.board.hang(self.rng.randrange(1, 8))
        name = self.rng.choice(("guard", "stop", "ends", "home"))
        self.talk.pin(name, False)
        self.talk.pin(name, True)
        self._run(10)

    def readings(self) -> None:
        """Thrust, air, supply and eye go somewhere."""
        self.rng.choice((
            lambda: self.talk.thrust(self.rng.choice((0, 500, 2900, 3500))),
            lambda: self.air(self.rng.choice((0, 2000, 4500))),
            lambda: self.talk.supply(self.rng.choice((3000, 5000))),
            lambda: self.talk.eye(self.rng.random() < 0.7),
        ))()  # fmt: skip

    def air(self, hpa: int) -> None:
        """Without air the cutter stays where it is."""
        self.talk.air(hpa)
        self.talk.cutter_works = hpa > 0

    def silence(self) -> None:
        """No leases for a time, in the middle of something or at rest."""
        self.rng.choice((self.long_move, self.portion, self.wait))()
        self.talk.leasing = False
        self._run(self.rng.choice((300, 2000, 2000, 8000)) * self.rng.random())
        self.talk.leasing = True

    def hang(self) -> None:
        """The main loop is away."""
        self.talk.board.hang(self.rng.randrange(1, 60))
        self._run(70)

    def noise(self) -> None:
        """Lines that must do nothing: damaged ones, and any that was sent before."""
        line = bytearray(self.rng.choice(self.talk.sent[-30:] or [frame(b"fire 1 1")]))
        if self.rng.random() < 0.5:
            line[self.rng.randrange(len(line) - 1)] ^= 1 << self.rng.randrange(7)
            line = line.replace(b"\n", b"\0", line.count(b"\n") - 1)
        self.talk.board.rx(bytes(line))
        self._run(3)

    def odd(self) -> None:
        """A command at a moment that is none of its own."""
        self.talk.order(*self.rng.choice((
            (Lock, self.rng.randrange(2)), (Here, self.rng.randrange(100_000)),
            (Clear, self.rng.randrange(1, 31)), (Drive, self.rng.randrange(2)),
        )))  # fmt: skip

    def reload(self) -> None:
        """A limit is set, sometimes to something else, and mostly adopted."""
        name, value = self.rng.choice(list(_draw_limits(self.rng).items()))
        key = next(limit.key for limit in LIMITS if limit.name == name)
        self.talk.order(Set, key, value)
        self.wait()
        if self.rng.random() < 0.8:
            self.talk.order(Adopt, digest(self.talk.limits))

    def restart(self) -> None:
        """The board restarts in whatever it is doing, and is made ready again or not."""
        self.talk.restart()
        if self.rng.random() < 0.8:
            self.load()

    def load(self) -> None:
        """All limits, as after a greeting."""
        if all(self.talk.order(Set, x.key, self.talk.limits[x.name]) for x in LIMITS):
            self.talk.order(Adopt, digest(self.talk.limits))

    def recover(self) -> None:
        """Everything to safe, latches cleared, drive on, position said."""
        self.talk.pins(**SAFE)
        self.talk.thrust(500)
        self.air(2000)
        self.talk.supply(5000)
        self.talk.leasing = True
        self.talk.say(Stop(0))
        self._run(self.talk.limits["return_ms"] + 900)
        if self.talk.board.valve_on != self.talk.far:
            self.talk.pins(home=True, far=False)
        self._run(100)
        if not self.talk.is_on("adopted"):
            self.load()
        for interlock in sorted(self.talk.latches()):
            self.talk.order(Clear, interlock)
        self.talk.order(Drive, 1)
        self.talk.order(Here, self.rng.choice((0, 0, 50_000, 399_000)))

    def some(self) -> None:
        """One treatment, now and then of a board that is ready."""
        if self.rng.random() < 0.3:
            self.recover()
        kind = self.rng.choices(KINDS, WEIGHTS)[0]
        self.done.append(kind)
        getattr(self, kind)()
        self.talk.judge()


ODDS = {
    "wait": 3, "move": 9, "portion": 7, "stroke": 5, "stop": 2, "stop_and_look": 1, "pin": 6,
    "flicker": 2, "readings": 2, "silence": 2, "hang": 1, "noise": 3, "odd": 3, "reload": 1,
    "restart": 0.3,
}  # fmt: skip
KINDS, WEIGHTS = list(ODDS), list(ODDS.values())
