"""A host for tests that speaks to the simulated board line by line, with a cutter that answers the
valve. Leases and acknowledgements go back by themselves unless a test turns them off."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from protocols.codes import MODES, SIGNALS
from protocols.framing import LineDecoder, frame
from protocols.limits import FITTED_BITS, LIMITS, digest
from protocols.messages import (
    Adopt,
    Arm,
    Beat,
    Bench,
    BoardMessage,
    Boot,
    Clear,
    Command,
    Detail,
    Draft,
    Drive,
    Ended,
    Event,
    Fire,
    Here,
    HostMessage,
    Lease,
    Move,
    Moved,
    No,
    Run,
    Seen,
    Set,
    Trip,
    Yes,
    decode,
    encode,
)
from sim.board import SAFE_PINS, Board
from sim.machine import STOP_LINE, STOP_OUTPUT

ALL = tuple(part for part in FITTED_BITS if part != "ready")
"""All parts but the one without which a portion starts at once."""

SMALLEST = ("eye", "local")
NO_FORCE = 102  # counts of thrust and air at nothing
AIR = 102 + 184  # 1998 hPa with the limits at start
EYE_EMPTY, EYE_DOUGH = 100, 700
LEAVE_US, STROKE_US = 10_000, 200_000
M = TypeVar("M", bound=BoardMessage)


def fitted(*parts: str) -> int:
    """Bits of these parts."""
    return sum(1 << FITTED_BITS[part] for part in parts)


class Talk:
    """One board, what it said, and what its pins show."""

    def __init__(
        self, *parts: str, board_us: int = 0, leave_us: int = LEAVE_US, **limits: int
    ) -> None:
        self.board = self.power_up(board_us)
        self.limits = {limit.name: limit.start for limit in LIMITS}
        self.limits |= {
            "fitted": fitted(*(parts or ALL)), "travel_min": -100_000, "travel_max": 400_000,
            "eye_on": 500, "eye_off": 300, "air_min": 1000, "air_max": 4000,
        }  # fmt: skip
        self.limits |= limits
        self.heard: list[BoardMessage] = []
        self.leasing = True
        self.acknowledging = True
        self.cutter_works = True
        self.dry_needed = True
        self.last_id = 0
        self._leave_us = leave_us
        self._decoder = LineDecoder()
        self._pins = SAFE_PINS
        self._adc = [EYE_EMPTY, NO_FORCE, AIR]
        self._supply_mv = 5000
        self._plan: list[tuple[int, str, bool]] = []
        self._valve_on = False
        self._show()

    def power_up(self, board_us: int) -> Board:
        """The board to speak to; another kind of board is another subclass of this."""
        return Board(board_us=board_us)

    # Pins and readings.

    def pin(self, name: str, on: bool) -> None:
        """Set one pin now."""
        self.pins(**{name: on})

    def pins(self, **levels: bool) -> None:
        """Set several pins at the same moment."""
        for name, on in levels.items():
            bit = 1 << SIGNALS.index(name)
            self._pins = self._pins | bit if on else self._pins & ~bit
        self._show()

    def eye(self, dough: bool) -> None:
        """Show dough to the eye, or none."""
        self._adc[0] = EYE_DOUGH if dough else EYE_EMPTY
        self._show()

    def thrust(self, dn: int) -> None:
        """Set the thrust [0.1 N], rounded up to whole counts."""
        span = 1023 - self.limits["thrust_zero"]
        self._adc[1] = self.limits["thrust_zero"] + -(-dn * span // self.limits["thrust_full"])
        self._show()

    def air(self, hpa: int) -> None:
        """Set the gauge air pressure [hPa], rounded up to whole counts."""
        span = 1023 - self.limits["air_zero"]
        self._adc[2] = self.limits["air_zero"] + -(-hpa * span // self.limits["air_full"])
        self._show()

    def wire_off(self, channel: int) -> None:
        """Take the wire off the thrust sensor (1) or the air sensor (2)."""
        self._adc[channel] = 0
        self._show()

    def raw(self, channel: int, counts: int) -> None:
        """Set what the converter reads of eye (0), thrust (1) or air (2)."""
        self._adc[channel] = counts
        self._show()

    def supply(self, mv: int) -> None:
        """Set the logic supply [mV]."""
        self._supply_mv = mv
        self._show()

    def _show(self) -> None:
        self.board.set_inputs(self._pins, self._adc, self._supply_mv)

    # Time.

    @property
    def now_us(self) -> int:
        """Virtual time."""
        return self.board.now_us

    def run(self, ms: float) -> None:
        """Let time pass."""
        self.run_to(self.now_us + round(ms * 1000))

    def run_to(self, t_us: int) -> None:
        """Let time pass until then."""
        while True:
            self._go(t_us)
            if self.now_us >= t_us:
                return

    def until(self, condition: Callable[[], bool], ms: float = 20_000) -> None:
        """Let time pass until the condition holds; fails when it does not in time.

        It is looked at after each line, each edge, and each 5 ms.
        """
        end_us = self.now_us + round(ms * 1000)
        while not condition():
            assert self.now_us < end_us, f"not within {ms} ms; heard last: {self.heard[-4:]}"
            self._go(min(self.now_us + 5000, end_us))

    def _go(self, t_us: int) -> None:
        due = [at for at, _, _ in self._plan if at <= t_us]
        self.board.run_until(min([*due, t_us]), STOP_LINE | STOP_OUTPUT)
        self._move_cutter()
        self._listen()

    def hang_cutter(self) -> None:
        """From now on the cutter stands between its ends, whatever its valve does."""
        self.cutter_works = False
        self._plan = []
        self.pin("far", False)

    def _move_cutter(self) -> None:
        now_us = self.now_us
        if self.board.valve_on != self._valve_on:
            self._valve_on = self.board.valve_on
            away = self._valve_on != bool(self.limits["valve_home"])
            leaves, comes = ("home", "far") if away else ("far", "home")
            self._plan = []
            if self.cutter_works:
                self._plan = [(now_us + self._leave_us, leaves, False)]
                self._plan += [(now_us + STROKE_US, comes, True)]
        for at, name, on in self._plan:
            if at <= now_us:
                self.pin(name, on)
        self._plan = [row for row in self._plan if row[0] > now_us]

    def _listen(self) -> None:
        sent = self.board.tx()
        for item in self._decoder.feed(sent) if sent else ():
            assert isinstance(item, bytes), item
            message = decode(item)
            assert isinstance(message, BoardMessage)
            if isinstance(message, Beat) and self.leasing:
                self.say(Lease(message.nonce))
            elif isinstance(message, Event) and self.acknowledging:
                self.say(Seen(message.event))
            elif isinstance(message, Bench):
                self.last_id = message.last_id
            self.dry_needed |= isinstance(message, Boot)
            self.heard.append(message)

    # Lines.

    def say(self, message: HostMessage) -> None:
        """Send a line."""
        self.board.rx(frame(encode(message)))

    def ask(self, cls: type[Command], *values: int) -> Yes | No:
        """Send the next command; return its answer, which must come within 100 ms."""
        self.last_id += 1
        return self.ask_as(self.last_id, cls, *values)

    def ask_as(self, number: int, cls: type[Command], *values: int) -> Yes | No:
        """Send a command with this number; return its answer."""
        start = len(self.heard)
        self.say(cls(number, *values))
        self.until(lambda: self._answer(start) is not None, 100)
        answer = self._answer(start)
        assert answer is not None
        assert answer.id == number
        return answer

    def _answer(self, start: int) -> Yes | No | None:
        return next((m for m in self.heard[start:] if isinstance(m, (Yes, No))), None)

    def do(self, cls: type[Command], *values: int) -> None:
        """Send the next command, which must be accepted."""
        answer = self.ask(cls, *values)
        assert isinstance(answer, Yes), (cls, values, answer)

    def refused(self, cls: type[Command], *values: int) -> tuple[int, int, int]:
        """Send the next command, which must be refused; return reason, value, bound."""
        answer = self.ask(cls, *values)
        assert isinstance(answer, No), (cls, values, answer)
        return answer.reason, answer.value, answer.bound

    # What was heard.

    def of(self, kind: type[M], start: int = 0) -> list[M]:
        """All messages of a kind, each event once."""
        found: dict[object, M] = {}
        for number in range(start, len(self.heard)):
            message = self.heard[number]
            if isinstance(message, kind):
                found.setdefault(message.event if isinstance(message, Event) else -number, message)
        return list(found.values())

    def beat(self) -> Beat:
        """Wait for the next beat."""
        start = len(self.heard)
        self.until(lambda: bool(self.of(Beat, start)), 500)
        return self.of(Beat, start)[0]

    @property
    def nonce(self) -> int:
        """Number of the newest beat heard."""
        return next(m.nonce for m in reversed(self.heard) if isinstance(m, Beat))

    @property
    def mode(self) -> str:
        """Mode in the next beat."""
        return MODES[self.beat().mode]

    def is_on(self, pin: str) -> bool:
        """Level of a pin in the next beat."""
        return bool(self.beat().pins >> SIGNALS.index(pin) & 1)

    def latches(self) -> set[int]:
        """Interlocks latched in the next beat."""
        bits = self.beat().latches
        return {number for number in range(1, 31) if bits >> (number - 1) & 1}

    # Usual beginnings.

    def load(self, **instead: int) -> None:
        """Put limits in force."""
        self.limits |= instead
        for limit in LIMITS:
            self.do(Set, limit.key, self.limits[limit.name])
        self.do(Adopt, digest(self.limits))

    def wake(self, **instead: int) -> Talk:
        """Limits in force, no latch, drive on, position 0 known, cutter home."""
        rests_far = bool(instead.get("valve_home"))
        if rests_far:
            self.pins(home=False, far=True)
        self.run(20)
        self.load(**instead)
        self.do(Clear, 20)
        self.do(Drive, 1)
        self.do(Here, 0)
        if rests_far:
            self.run(self.limits["still_ms"])
            self._dry_stroke_unheard()
        self.run(self.limits["return_ms"] + 10)
        return self

    def open_guard(self) -> None:
        """Open the guard for a moment; shut it, clear that, and give the drive power again."""
        self.pin("guard", False)
        self.run(50)
        self.pin("guard", True)
        self.run(50)
        self.do(Clear, 2)
        self.do(Drive, 1)

    def move(self, kind: int, distance: int, speed: int = 2000) -> None:
        """Start a move."""
        self.do(Move, kind, distance, speed, self.beat().nonce)

    def plan(
        self, portion: int = 7, *, take_up: int = 100, push: int = 2000, speed: int = 4000,
        draw_back: int = 200, settle: int = 150, dwell: int = 50,
    ) -> None:  # fmt: skip
        """Load a program; before the first one since the board started, make a dry stroke, of which
        only the beats are kept."""
        if self.dry_needed:
            self._dry_stroke_unheard()
        self.do(Draft, portion, take_up, push, speed)
        self.do(Detail, portion, draw_back, settle, dwell)

    def dry_stroke(self) -> None:
        """Make the dry stroke that IL-17 asks for."""
        self.do(Arm)
        self.do(Fire, self.beat().nonce)
        assert self.ended().outcome == 0
        self.beat()
        self.dry_needed = False

    def _dry_stroke_unheard(self) -> None:
        start = len(self.heard)
        self.dry_stroke()
        self.heard[start:] = [m for m in self.heard[start:] if isinstance(m, Beat)]

    def start(self, portion: int = 7, trigger: int = 0) -> None:
        """Run the program that is loaded."""
        self.do(Run, portion, trigger, self.beat().nonce)

    def moved(self) -> Moved:
        """Wait for the end of a move."""
        start = len(self.heard)
        self.until(lambda: bool(self.of(Moved, start)))
        return self.of(Moved, start)[-1]

    def ended(self) -> Ended:
        """Wait for the end of a portion or stroke."""
        start = len(self.heard)
        self.until(lambda: bool(self.of(Ended, start)))
        return self.of(Ended, start)[-1]

    def trips(self) -> list[int]:
        """Interlocks that tripped, in order."""
        return [trip.interlock for trip in self.of(Trip)]
