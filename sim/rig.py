"""The simulated bench as one thing: board, plant and scale, moved on together in lock-step.

No clock and no I/O: bytes and times come in, bytes and news go out, and the same calls give the
same answers.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from operator import mul

from protocols.codes import CAUSES, PIN
from sim.board import Board
from sim.faults import Fault, Faults
from sim.machine import Machine
from sim.plant.bench_plant import MassBalance, Plant, Readings
from sim.rig_spec import RigSpec
from sim.scale import Scale

QUANTUM_US = 2_000
"""Longest slice while anything moves [us], unless told otherwise."""

CALMING_US = 20_000
"""Longest slice while no more than dough eases off [us]."""

IDLE_US = 50_000
"""Longest slice while all is at rest [us]."""

CALM_AFTER_US = 300_000
"""After so long without a step [us] dough only eases off."""

TUBE_CHANGE_US = 1_000_000
"""Rest of the feed at its rear end [us] after which a fresh tube is in."""

REAR_M = 0.001
"""A feed this close to the rear soft limit counts as backed out [m]."""

LOW_TUBE_M = 0.020
"""Feed left at which a tube is called nearly empty [m]."""

SWITCHES = ("guard", "stop", "forward", "reverse", "button")
"""What a person can press at the bench; see `Rig.press`."""

_AWAKE_US = 50_000
_FULL_COUNTS = 1023
_PINS = ("guard", "stop", "home", "far", "ends", "forward", "reverse", "button")
_GUARD, _HOME, _FAR, _ENDS = (1 << PIN[name] for name in ("guard", "home", "far", "ends"))
# Common practice: one weighing scatters by about half of what the display can show.
_SCALE_NOISE = 0.5


@dataclass(frozen=True)
class News:
    """Something that a person at the bench would notice; t_us is rig time [us]."""

    t_us: int


@dataclass(frozen=True)
class PieceFell(News):
    """A piece fell: portion under way (0 for none), true mass, and what the scale shows [kg]."""

    portion: int
    mass_kg: float
    scale_kg: float


@dataclass(frozen=True)
class FaultBegan(News):
    """A portion began that has this fault."""

    fault: Fault


@dataclass(frozen=True)
class TubeIn(News):
    """A fresh full tube is in."""


@dataclass(frozen=True)
class TubeLow(News):
    """The tube is nearly empty; left_m: feed left up to the heel [m]."""

    left_m: float


class Rig:
    """A simulated bench: the board just powered up, a full tube a few millimetres ahead of the
    plunger, which is backed out to position 0.

    Arguments: spec: the bench. seed: of everything that chance decides. faults: what goes wrong,
    by portion number. quantum_us: longest slice while anything moves [us], 500 to 10000; what the
    sensors read reaches the board after each. boot: number of this boot. board: one that was just
    powered up, instead of one with the firmware's core compiled for this machine.
    """

    def __init__(
        self,
        spec: RigSpec,
        seed: int,
        faults: Faults | None = None,
        *,
        quantum_us: int = QUANTUM_US,
        boot: int = 0,
        board: Machine | None = None,
    ) -> None:
        chance = random.Random(seed)
        self._spec = spec
        self._quantum_us = quantum_us
        self._faults = faults if faults is not None else Faults()
        self._plant = Plant(spec.plant, random.Random(chance.getrandbits(64)), self._faults)
        self._scale = Scale(
            random.Random(chance.getrandbits(64)),
            spec.readability_kg,
            _SCALE_NOISE * spec.readability_kg,
        )
        self._travel_m = spec.plant.tube_m + spec.plant.load_gap_m - spec.plant.heel_m
        self._pressed = dict.fromkeys(SWITCHES, False) | {"guard": True}
        self._local_pins = self._local()
        self._wired = sum(1 << PIN[name] for name in _PINS if _part(name) in spec.fitted)
        self._connected = tuple(int(name in spec.fitted) for name in ("eye", "thrust", "air"))
        self._portion = 0
        self._listener = _Listener()
        self._t_us = 0
        self._rest_us = 0
        self._awake_until_us = _AWAKE_US
        self._feed_m = 0.0
        self._used = self._told_low = False
        self._news: list[News] = []
        self._pieces: list[PieceFell] = []
        self._board: Machine = Board(boot=boot) if board is None else board
        self._steps = self._board.steps
        self._sense = -1 if spec.forward_is_low else 1
        self._show(self._plant.readings())

    @property
    def t_us(self) -> int:
        """Time since power-up [us]; a reset of the board does not set it back."""
        return self._t_us

    @property
    def portion(self) -> int:
        """The portion under way, 0 for none."""
        return self._portion

    @property
    def feed_m(self) -> float:
        """Way of the drive from the rear soft limit [m]; lost steps count as made."""
        return self._feed_m

    def rx(self, data: bytes) -> None:
        """Bytes come from the host now."""
        self._board.rx(data)
        # Only these never set anything in motion.
        if not all(line.startswith((b"lease ", b"seen ")) for line in data.splitlines()):
            self._awake_until_us = self._t_us + _AWAKE_US

    def run_until(self, t_us: int, *, until_output: bool = False) -> bytes:
        """Let time pass until t_us [us of rig time] and return what the board sent meanwhile.

        until_output: return as soon as it has sent something; `t_us` says how far it came.
        """
        sent = bytearray()
        while self._t_us < t_us:
            sent += self._slice(min(t_us - self._t_us, self._longest_us()))
            if sent and until_output:
                break
        return bytes(sent)

    def press(self, name: str, on: bool) -> None:
        """Press a switch at the bench, or let go of it.

        forward, reverse, button, stop: on is pressed. guard: on is shut.
        Raises KeyError for a switch that is not in SWITCHES.
        """
        if name not in self._pressed:
            raise KeyError(name)
        self._pressed[name] = on
        self._local_pins = self._local()
        self._show(self._readings)
        self._awake_until_us = self._t_us + _AWAKE_US

    def reset(self, cause: str = "button") -> None:
        """Restart the board; cause: a word of `protocols.codes.CAUSES`.

        Raises ValueError for another word.
        """
        if cause not in CAUSES:
            words = ", ".join(CAUSES)
            raise ValueError(f"A board does not restart by '{cause}'; it can be {words}.")
        self._board.reset(CAUSES.index(cause))
        self._listener = _Listener()
        self._awake_until_us = self._t_us + _AWAKE_US

    def load_tube(self) -> None:
        """Put in a fresh full tube, which also happens by itself once the feed has rested for
        TUBE_CHANGE_US at its rear end.

        Raises ValueError with one sentence when the plunger is in the way.
        """
        if self._feed_m > REAR_M:
            raise ValueError(
                f"The plunger stands {self._feed_m * 1e3:.0f} mm into the barrel, so no tube goes "
                "in; back the feed out to its rear end first."
            )
        self._plant.load_tube()
        self._used = self._told_low = False
        self._news.append(TubeIn(self._t_us))

    def pieces(self) -> list[PieceFell]:
        """Return every piece that fell since power-up, in order."""
        return list(self._pieces)

    def news(self) -> list[News]:
        """Return what happened since this was last asked."""
        news, self._news = self._news, []
        return news

    def mass_balance(self) -> MassBalance:
        """Return where all dough is now, for those who judge."""
        return self._plant.mass_balance()

    def readings(self) -> Readings:
        """Return what the sensors showed at the end of the last slice, for those who judge."""
        return self._readings

    # One slice.

    def _longest_us(self) -> int:
        moving = self._portion or self._rest_us < CALM_AFTER_US or not self._readings.home
        if moving or self._t_us < self._awake_until_us:
            return self._quantum_us
        return IDLE_US if self._plant.quiet else CALMING_US

    def _slice(self, dt_us: int) -> bytes:
        board = self._board
        drive_on, driven = board.drive_on, board.valve_on
        valve_on = driven != bool(self._spec.valve_home)
        dt_us = board.run_for(dt_us)
        sent = board.tx()
        if dt_us == 0:
            return sent
        steps = (board.steps - self._steps) * self._sense
        self._steps = board.steps
        self._t_us += dt_us
        self._plant.advance(
            dt_us * 1e-6, steps=steps, drive_on=drive_on, valve_on=valve_on, portion=self._portion
        )
        if drive_on:
            self._feed_m += steps * self._spec.plant.microstep_m
        self._rest_us = 0 if steps else self._rest_us + dt_us
        if board.valve_on != driven:
            self._awake_until_us = self._t_us + _AWAKE_US
        self._weigh()
        self._look_at_tube()
        self._hear(sent)
        self._show(self._plant.readings())
        return sent

    def _weigh(self) -> None:
        for piece in self._plant.take_pieces():
            reading_kg = self._scale.read(piece.mass_kg)
            fell = PieceFell(self._t_us, piece.portion, piece.mass_kg, reading_kg)
            self._pieces.append(fell)
            self._news.append(fell)

    def _look_at_tube(self) -> None:
        if self._feed_m > self._spec.plant.load_gap_m:
            self._used = True
        left_m = self._travel_m - self._feed_m
        if left_m < LOW_TUBE_M and not self._told_low:
            self._told_low = True
            self._news.append(TubeLow(self._t_us, max(0.0, left_m)))
        if self._used and self._feed_m <= REAR_M and self._rest_us >= TUBE_CHANGE_US:
            self.load_tube()

    def _hear(self, sent: bytes) -> None:
        """Learn the portion under way from what the board says, as anyone could who listens."""
        portion = self._listener.portion(sent)
        if portion != self._portion:
            self._portion = portion
            self._news += [
                FaultBegan(self._t_us, fault)
                for fault in self._faults.planned
                if portion and fault.portion == portion
            ]

    def _show(self, readings: Readings) -> None:
        """Bring the readings to the board's pins; what is not fitted is not connected and reads
        0."""
        spec, pins = self._spec, self._local_pins
        if readings.guard_open:
            pins &= ~_GUARD
        if readings.home:
            pins |= _HOME
        if readings.far:
            pins |= _FAR
        if not readings.feed_end:
            pins |= _ENDS
        counts = (
            readings.eye_counts,
            _counts(readings.thrust_n, spec.thrust_zero, spec.thrust_full_n),
            _counts(readings.air_pa, spec.air_zero, spec.air_full_pa),
        )
        adc = tuple(map(mul, counts, self._connected))
        # The board measures its own supply; whether the card lists it changes nothing here.
        self._board.set_inputs(pins & self._wired, adc, round(readings.supply_v * 1e3))
        self._readings = readings

    def _local(self) -> int:
        """Pins that people work, as they stand."""
        pressed = self._pressed
        levels = {**pressed, "stop": not pressed["stop"]}
        return sum(1 << PIN[name] for name, on in levels.items() if on)


class _Listener:
    """Follows the portion under way in what the board sends."""

    def __init__(self) -> None:
        self._rest = b""
        self._event = 0
        self._portion = 0

    def portion(self, sent: bytes) -> int:
        """Take bytes as the board sent them; return the portion under way after them."""
        if not sent:
            return self._portion
        *lines, self._rest = (self._rest + sent).split(b"\n")
        for line in lines:
            words = line.split(b" ")
            if words[0] in (b"phase", b"ended") and int(words[1]) > self._event:
                # Events come again until they are acknowledged; only a new one says what is now.
                self._event = int(words[1])
                self._portion = int(words[3]) if words[0] == b"phase" else 0
            elif words[0] == b"beat":
                self._portion = int(words[7])
        return self._portion


def _part(pin: str) -> str:
    """The part in `fitted` that a pin belongs to."""
    return "local" if pin in ("forward", "reverse") else pin


def _counts(value: float, zero: int, full: float) -> int:
    """Counts of the converter for a value; the board's own law the other way round."""
    return min(max(round(zero + value * (_FULL_COUNTS - zero) / full), 0), _FULL_COUNTS)
