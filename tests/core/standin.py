"""A board just good enough for the core: it answers, beats and reports as SPEC.md says.

It has no physics and no real stops; what it must get right is the order and the wording of what a
board says. Tests make it refuse, fall silent or lose events by its switches.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from itertools import count

from benchd.core.facts import BenchFacts
from protocols import messages as m
from protocols.codes import MODES, PHASES, PIN
from protocols.limits import BEAT_MS, LIMITS, NOT_FITTED, digest

MS = 1_000_000
ANSWER_NS = 1 * MS
"""Time from a line to the board to its answer."""

GO_AWAY = {2: "relieve", 3: "approach", 4: "prime"}
ENDINGS = {0: 0, 1: 0, 2: 0, 3: 4, 4: 6, 5: 8}
"""How a move of each kind ends when nothing is in its way."""


class StandIn:
    """The board. `said` gives what it says, in order of time."""

    def __init__(self, facts: BenchFacts, *, boot: int = 7, now_ns: int = 0) -> None:
        self.facts = facts
        self.boot, self.build = boot, "abc1234"
        self.rate = 1.0
        """Board seconds a host second: the resonator's error."""
        self.refuse: dict[str, tuple[int, int, int]] = {}
        """Tag to (reason, value, bound): the next command of this tag is refused so."""
        self.keeps_refusing = False
        """True: every command of such a tag, not only the next."""
        self.deaf: set[str] = set()
        """Tags of commands that are done but whose answer is lost."""
        self.lose: set[type[m.Message]] = set()
        """Events that never arrive."""
        self.mute = False
        self.smeared = False
        """The eye sees dough all the time."""
        self.signals = {"eye": 100, "thrust": 0, "air": 2000, "supply": 5000}
        self.start(now_ns)
        self.uptime_s = 60
        """At `begun_ns`: it was there before the daemon."""

    def start(self, now_ns: int) -> None:
        """Begin a life: everything at rest and unknown."""
        self.begun_ns, self.uptime_s = now_ns, 0
        self.agenda: list[tuple[int, int, Callable[[int], None]]] = []
        self.order = count()
        self.out: list[m.BoardMessage] = []
        self.limits = {limit.key: limit.start for limit in LIMITS}
        self.digest = 0
        self.last_id = self.next_event = 0
        self.nonce, self.k = -1, -1
        self.lease = self.lease_us = 0
        self.leases: list[int] = []
        self.commands: list[m.Command] = []
        self.pins = {"guard", "stop", "home", "ends"}
        self.latches = 1 << 19
        self.position = 0
        self.mode, self.phase, self.portion = "drive-off", 0, 0
        self.program: dict[str, int] = {}
        self.at(now_ns, self._beat)
        self.at(now_ns + 3 * MS, self._sample)
        self.next_event = 1

    def at(self, t_ns: int, do: Callable[[int], None]) -> None:
        """Put something on the board's agenda."""
        heapq.heappush(self.agenda, (t_ns, next(self.order), do))

    @property
    def next_ns(self) -> int:
        """When the board does something next [ns, host clock]."""
        return self.agenda[0][0]

    def said(self, now_ns: int) -> list[m.BoardMessage]:
        """Do what is due by now; give what was said."""
        while self.agenda and self.agenda[0][0] <= now_ns:
            t_ns, _, do = heapq.heappop(self.agenda)
            do(t_ns)
        out, self.out = self.out, []
        return [] if self.mute else out

    def t_us(self, now_ns: int) -> int:
        """The board's clock."""
        return round((now_ns - self.begun_ns) * self.rate) // 1000 % 2**32

    # What it says by itself.

    def greeting(self, now_ns: int) -> m.Bench:
        """Who is there."""
        return m.Bench(
            1, "0.1.0", self.build, "sim", self.boot, "power",
            self.uptime_s + (now_ns - self.begun_ns) // 10**9, self.last_id, self.digest, 0,
        )  # fmt: skip

    def word(self) -> int:
        """The pins of a beat."""
        pins = self.pins | ({"adopted"} if self.digest else set())
        return sum(1 << PIN[name] for name in pins)

    def _beat(self, now_ns: int) -> None:
        self.nonce = (self.nonce + 1) % 65536
        mode = "tripped" if self.latches else self.mode
        self.out.append(
            m.Beat(
                self.nonce, self.t_us(now_ns), self.lease, self.lease_us, MODES.index(mode),
                self.phase, self.portion, self.latches, self.position, self.word(), 0, 0,
            )
        )  # fmt: skip
        self.at(now_ns + BEAT_MS * MS, self._beat)

    def _sample(self, now_ns: int, period_ms: int = 500) -> None:
        if period_ms != self.limits[31]:
            return  # The period was changed since; its own samples come.
        self.k = (self.k + 1) % 65536
        self.out.append(m.Sample(self.k, self.t_us(now_ns), self.position, *self.readings()))
        self.at(now_ns + period_ms * MS, lambda t: self._sample(t, period_ms))

    def readings(self) -> tuple[int, int, int, int]:
        """Eye, thrust, air, supply; 65535 where not fitted."""
        eye, thrust, air, supply = (
            value if name in self.facts.fitted else NOT_FITTED
            for name, value in self.signals.items()
        )
        return eye, thrust, air, supply

    def event(self, cls: type[m.Event], now_ns: int, *fields: int) -> None:
        """Report an event; it is numbered even if it is lost on the way."""
        if cls not in self.lose:
            self.out.append(cls(self.next_event, self.t_us(now_ns), *fields))
        self.next_event += 1

    def edge(self, name: str, level: int, now_ns: int) -> None:
        """A pin changes, and is reported."""
        (self.pins.add if level else self.pins.discard)(name)
        where = (self.portion, PIN[name], level, self.position)
        self.event(m.Edge, now_ns, *where, *self.readings())

    def trip(self, interlock: int, now_ns: int, value: int = 0, bound: int = 0) -> None:
        """An interlock trips: whatever is under way ends; it latches unless it is IL-17 or 22."""
        if interlock not in (17, 22):
            self.latches |= 1 << (interlock - 1)
        self.event(m.Trip, now_ns, self.portion, interlock, value, bound, self.position)
        self._halt(now_ns, ending=3, outcome=2)

    # What it is told.

    def stop(self, level: int, now_ns: int) -> None:
        """The stop line came."""
        if level:
            self.pins.discard("drive")
        self._halt(now_ns, ending=1, outcome=1)

    def renew(self, nonce: int, now_ns: int) -> None:
        """A lease line came."""
        self.lease, self.lease_us = nonce, self.t_us(now_ns)
        self.leases.append(nonce)

    def take(self, line: str, now_ns: int) -> None:
        """A numbered command came: do it and answer."""
        command = m.decode(line.encode("ascii"))
        assert isinstance(command, m.Command)
        if command.id <= self.last_id:
            order = m.No(command.id, 49, command.id, self.last_id, 0)
            self.at(now_ns + ANSWER_NS, lambda t: self.out.append(order))
            return
        self.last_id = command.id
        self.commands.append(command)
        refused = self.refuse.get(command.tag)
        if not self.keeps_refusing:
            self.refuse.pop(command.tag, None)
        done_ns = now_ns + ANSWER_NS
        if refused is not None:
            self.answer: m.Yes | m.No = m.No(command.id, *refused, 0)
        else:
            self.answer = m.Yes(command.id, 0)
            getattr(self, f"_do_{command.tag}")(command, done_ns)
        if command.tag not in self.deaf:
            self.at(done_ns, self.say_again)

    def say_again(self, now_ns: int) -> None:
        """Say the kept answer; the link asks for it when it was lost."""
        if self.commands and self.commands[-1].tag not in self.deaf:
            self.out.append(self.answer)

    def _do_set(self, said: m.Set, t_ns: int) -> None:
        before, self.limits[said.key] = self.limits[said.key], said.value
        self.digest = 0
        if said.key == 31 and said.value != before:
            self.at(t_ns + said.value * MS, lambda t: self._sample(t, said.value))

    def _do_adopt(self, said: m.Adopt, t_ns: int) -> None:
        assert said.digest == digest({limit.name: self.limits[limit.key] for limit in LIMITS})
        self.digest = said.digest

    def _do_drive(self, said: m.Drive, t_ns: int) -> None:
        (self.pins.add if said.on else self.pins.discard)("drive")
        self.mode = "ready" if said.on else "drive-off"

    def _do_here(self, said: m.Here, t_ns: int) -> None:
        self.position = said.position
        self.pins.add("known")

    def _do_clear(self, said: m.Clear, t_ns: int) -> None:
        self.latches &= ~(1 << (said.interlock - 1))
        self.at(t_ns, lambda t: self.event(m.Freed, t, said.interlock))

    def _do_lock(self, said: m.Lock, t_ns: int) -> None:
        (self.pins.add if said.on else self.pins.discard)("local-lock")

    def _do_arm(self, said: m.Arm, t_ns: int) -> None:
        self.pins.add("armed")

    def _do_draft(self, said: m.Draft, t_ns: int) -> None:
        self.program = {"take-up": said.take_up, "push": said.push, "speed": said.speed}

    def _do_detail(self, said: m.Detail, t_ns: int) -> None:
        more = {"draw-back": said.draw_back, "settle": said.settle, "dwell": said.dwell}
        self.program.update(more)

    # Motion. `self.going` is told by each step of it whether it is still wanted.

    def _do_move(self, said: m.Move, t_ns: int) -> None:
        self.begin_move(said.kind, said.distance, said.speed, t_ns)

    def begin_move(self, kind: int, distance: int, speed: int, t_ns: int) -> None:
        """Feed by hand; kind 5 is a local switch."""
        self.mode, self.moving = "moving", kind
        took_ns = abs(distance) * 10**9 // speed
        self.going = going = object()

        def feed(way: int, last: bool) -> Callable[[int], None]:
            def do(now_ns: int) -> None:
                if self.going is going:
                    self.position += way
                    if last:
                        self.moved(ENDINGS[kind], now_ns)

            return do

        parts = max(1, took_ns // (50 * MS))
        for part in range(1, parts + 1):
            way = distance * part // parts - distance * (part - 1) // parts
            self.at(t_ns + took_ns * part // parts, feed(way, part == parts))

    def moved(self, ending: int, now_ns: int) -> None:
        """The move under way is over."""
        self.mode, self.going = "ready", None
        fields = (self.moving, ending, self.position)
        self.event(m.Moved, now_ns, *fields, *self.readings())

    def _do_run(self, said: m.Run, t_ns: int) -> None:
        self.portion = said.portion
        if said.trigger:
            self.pins.add("waiting")
        else:
            self.press_button(t_ns)

    def _do_fire(self, said: m.Fire, t_ns: int) -> None:
        self.program = {"dwell": 0}
        self.pins.discard("armed")
        self.portion = 0
        self.press_button(t_ns, mode="stroke")

    def press_button(self, t_ns: int, mode: str = "portion") -> None:
        """Make the portion, or the stroke, phase by phase."""
        self.pins.discard("waiting")
        self.mode = mode
        plan = self.program
        self.going = going = object()
        cut_ms, return_ms = self.limits[12], self.limits[13]

        def step(after_ns: int, do: Callable[[int], None]) -> int:
            def guarded(now_ns: int) -> None:
                if self.going is going:
                    do(now_ns)

            self.at(after_ns, guarded)
            return after_ns

        def feed(phase: str, way: int, speed: int, t_ns: int) -> int:
            step(t_ns, lambda t: self._phase(phase, t))
            if phase == "push" and not self.smeared:
                step(t_ns + MS, lambda t: self.edge("dough", 1, t))
            after_ns = t_ns + abs(way) * 10**9 // speed
            return step(after_ns, lambda t: self._advance(way))

        if mode == "portion":
            if plan["take-up"]:
                t_ns = feed("take-up", plan["take-up"], plan["speed"], t_ns)
            t_ns = feed("push", plan["push"], plan["speed"], t_ns)
            if plan["draw-back"]:
                t_ns = feed("draw-back", -plan["draw-back"], self.limits[8], t_ns)
            step(t_ns, lambda t: self._phase("settle", t))
            t_ns += max(plan["settle"], self.limits[17]) * MS
        step(t_ns, lambda t: self._phase("cut", t))
        step(t_ns, lambda t: self.edge("valve", 1, t))
        step(t_ns + 20 * MS, lambda t: self.edge("home", 0, t))
        t_ns += (20 + cut_ms) * MS
        step(t_ns, lambda t: self.edge("far", 1, t))
        if mode == "portion" and not self.smeared:
            step(t_ns, lambda t: self.edge("dough", 0, t))
        t_ns += plan["dwell"] * MS
        step(t_ns, lambda t: self._phase("return", t))
        step(t_ns, lambda t: self.edge("valve", 0, t))
        step(t_ns + 20 * MS, lambda t: self.edge("far", 0, t))
        t_ns += (20 + return_ms) * MS
        step(t_ns, lambda t: self.edge("home", 1, t))
        step(t_ns + 50 * MS, lambda t: self.ended(0, t))

    def _phase(self, word: str, now_ns: int) -> None:
        self.phase = PHASES.index(word)
        where = (self.portion, self.phase, self.position)
        self.event(m.Phase, now_ns, *where, *self.readings())

    def _advance(self, way: int) -> None:
        self.position += way

    def ended(self, outcome: int, now_ns: int) -> None:
        """The portion or stroke is over: its summary, then its end."""
        if self.phase and self.portion:
            way = self.program["take-up"] + self.program["push"]
            self.event(m.Tally, now_ns, self.portion, way, way, 400, 3000)
            eye, thrust, air, supply = self.readings()
            low = (eye, eye, thrust, thrust, air, supply)
            self.event(m.Extremes, now_ns, self.portion, *low)
        self.event(m.Ended, now_ns, self.portion, outcome, self.position, *self.readings())
        self.mode, self.phase, self.portion, self.going = "ready", 0, 0, None

    def _halt(self, now_ns: int, *, ending: int, outcome: int) -> None:
        self.pins.discard("armed")
        if "waiting" in self.pins or self.mode in ("portion", "stroke"):
            self.pins.discard("waiting")
            self.ended(outcome, now_ns)
        elif self.mode == "moving":
            self.moved(ending, now_ns)
        self.mode = "ready" if "drive" in self.pins else "drive-off"
