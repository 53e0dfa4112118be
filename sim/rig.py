"""The simulated bench as one thing: board, plant and scale, moved on together in lock-step.

No clock and no I/O: bytes and times come in, bytes and news go out, and the same calls give the
same answers.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from protocols.codes import CAUSES, DROP, PIN
from sim.board import Board
from sim.faults import Fault, Faults
from sim.machine import DRIVE, STOP_LINE, STOP_OUTPUT, VALVE, Machine
from sim.plant.bench_plant import Plant
from sim.plant.readings import MassBalance, Readings
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
_FALLS_US = 40_000
"""How long a piece is before the drop eye [us]: some 40 mm at 1 m/s."""

_STOPS = STOP_OUTPUT | STOP_LINE
_FULL_COUNTS = 1023
_PINS = ("guard", "stop", "home", "far", "ends", "forward", "reverse", "button")
_GUARD, _HOME, _FAR, _ENDS = (1 << PIN[name] for name in ("guard", "home", "far", "ends"))
# Common practice: one weighing scatters by about half of what the display can show.
_SCALE_NOISE = 0.5
_OFF_CENTRE = 1.0e-3
_WANDER_KG = 2.0e-5


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
    by portion number. quantum_us: longest slice while anything moves [us], 500 to 20000; what the
    sensors read reaches the board after each. fidelity: one of `bench_plant.FIDELITIES`. boot:
    number of this boot. board: one that was just powered up, instead of one with the firmware's
    core compiled for this machine.
    """

    def __init__(
        self,
        spec: RigSpec,
        seed: int,
        faults: Faults | None = None,
        *,
        quantum_us: int = QUANTUM_US,
        fidelity: str = "brisk",
        boot: int = 0,
        board: Machine | None = None,
    ) -> None:
        chance = random.Random(seed)
        self._spec = spec
        self._quantum_us = quantum_us
        self._faults = replace(faults, salt=seed) if faults is not None else Faults()
        self._plant = Plant(
            spec.plant, random.Random(chance.getrandbits(64)), self._faults, fidelity
        )
        self._scale = Scale(
            random.Random(chance.getrandbits(64)),
            spec.readability_kg,
            _SCALE_NOISE * spec.readability_kg,
            off_centre=_OFF_CENTRE,
            wander_kg=_WANDER_KG,
        )
        self._travel_m = spec.plant.tube_m + spec.plant.load_gap_m - spec.plant.heel_m
        # A machine downstream is ready until somebody says otherwise.
        ready = "ready" in spec.fitted
        self._pressed = dict.fromkeys(SWITCHES, False) | {"guard": True, "button": ready}
        self._local_pins = self._local()
        self._drop_until_us = -1
        self._wired = sum(1 << PIN[name] for name in _PINS if spec.fitted & _parts(name))
        self._connected = tuple(name in spec.fitted for name in ("eye", "thrust", "air"))
        self._per_n = (_FULL_COUNTS - spec.thrust_zero) / spec.thrust_full_n
        self._per_pa = (_FULL_COUNTS - spec.air_zero) / spec.air_full_pa
        self._microstep_m = spec.plant.microstep_m
        self._portion = 0
        self._listener = _Listener()
        self._t_us = 0
        self._turned_us = 0
        self._switched = False
        self._rest_us = 0
        self._awake_until_us = _AWAKE_US
        self._turn_at_us = 0
        self._feed_m = 0.0
        self._used = self._told_low = False
        self._news: list[News] = []
        self._pieces: list[PieceFell] = []
        self._board: Machine = Board(boot=boot) if board is None else board
        self._steps = self._board.steps
        self._start_us = self._board.now_us
        self._valve_home = bool(spec.valve_home)
        self._sense = -1 if spec.forward_is_low else 1
        self._show(self._plant.readings())
        self._plan()

    @property
    def t_us(self) -> int:
        """Time since power-up [us]; a reset of the board does not set it back."""
        return self._t_us

    @property
    def portion(self) -> int:
        """The portion under way, 0 for none."""
        return self._portion

    @property
    def faults(self) -> Faults:
        """What goes wrong with this bench and the people at it."""
        return self._faults

    @property
    def feed_m(self) -> float:
        """Way of the drive from the rear soft limit [m]; lost steps count as made."""
        board = self._board
        owed = (board.steps - self._steps) * self._sense if board.drive_on else 0
        return self._feed_m + owed * self._microstep_m

    def rx(self, data: bytes) -> None:
        """Bytes come from the host now."""
        self._board.rx(data)
        # Only these never set anything in motion.
        if not all(line.startswith((b"lease ", b"seen ")) for line in data.splitlines()):
            self._turn()
            self._wake()

    def run_until(self, t_us: int, *, until_output: bool = False) -> bytes:
        """Let time pass until t_us [us of rig time] and return what the board sent meanwhile.

        until_output: return as soon as it has sent something; `t_us` says how far it came.
        """
        sent = b""
        while self._t_us < t_us:
            sent += self._run(t_us)
            if sent and until_output:
                break
        return sent

    def press(self, name: str, on: bool) -> None:
        """Press a switch at the bench, or let go of it.

        forward, reverse, button, stop: on is pressed. guard: on is shut.
        Raises KeyError for a switch that is not in SWITCHES.
        """
        if name not in self._pressed:
            raise KeyError(name)
        self._turn()
        self._pressed[name] = on
        self._local_pins = self._local()
        self._show(self._readings)
        self._wake()

    def reset(self, cause: str = "button") -> None:
        """Restart the board; cause: a word of `protocols.codes.CAUSES`.

        Raises ValueError for another word.
        """
        if cause not in CAUSES:
            words = ", ".join(CAUSES)
            raise ValueError(f"A board does not restart by '{cause}'; it can be {words}.")
        self._turn()
        self._board.reset(CAUSES.index(cause))
        self._outputs = self._board.outputs
        self._listener = _Listener()
        self._portion = 0
        self._wake()

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
        self._turn()
        self._plant.load_tube()
        self._plan()
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

    # One slice of board and plant.

    def _wake(self) -> None:
        """Something happened from outside, so that short slices are wanted for a while."""
        self._awake_until_us = self._t_us + _AWAKE_US
        self._plan()

    def _plan(self) -> None:
        """Say when the plant's next turn is due, unless something happens before."""
        self._turn_at_us = self._turned_us + self._longest_us()

    def _longest_us(self) -> int:
        if self._switched:
            # What the switching does to supply and air is over in a moment.
            return min(self._quantum_us, QUANTUM_US)
        moving = self._portion or self._rest_us < CALM_AFTER_US or not self._readings.home
        if moving or self._t_us < self._awake_until_us:
            # One us more, so that what was to change has changed.
            even_s = self._plant.even_s
            even_us = int(even_s * 1e6) + 1 if even_s < 1.0 else self._quantum_us
            return min(self._quantum_us, even_us)
        return IDLE_US if self._plant.quiet else CALMING_US

    def _run(self, t_us: int) -> bytes:
        """Let the board run to t_us [us], to the plant's next turn, or to an edge or the end of a
        line; return the line."""
        turn_us = self._turn_at_us
        end_us = max(self._t_us, t_us if t_us < turn_us else turn_us)
        reasons = self._board.run_until(self._start_us + end_us, _STOPS)
        if not reasons:
            self._t_us = end_us
            if end_us >= turn_us:
                self._turn()
                self._plan()
            return b""
        self._t_us = self._board.now_us - self._start_us
        # Lines come whole, so that half a line costs no turn of whoever reads them.
        sent = self._board.tx() if reasons & STOP_LINE else b""
        if reasons & STOP_OUTPUT:
            self._turn()
            self._switched = True
            self._wake()
        elif self._t_us >= turn_us:
            self._turn()
            self._plan()
        if sent:
            self._hear(sent)
        return sent

    def _turn(self) -> None:
        """Bring the plant up to now, with what was driven meanwhile, and show its readings."""
        dt_us = self._t_us - self._turned_us
        if dt_us <= 0:
            self._outputs = self._board.outputs
            return
        self._turned_us = self._t_us
        self._switched = False
        made = self._board.steps
        steps = (made - self._steps) * self._sense
        self._steps = made
        drive_on = bool(self._outputs & DRIVE)
        plant = self._plant
        plant.advance(
            dt_us * 1e-6,
            steps=steps,
            drive_on=drive_on,
            valve_on=bool(self._outputs & VALVE) != self._valve_home,
            portion=self._portion,
        )
        if steps:
            self._rest_us = 0
            if drive_on:
                self._feed_m += steps * self._microstep_m
        else:
            self._rest_us += dt_us
        if plant.pieces_fell:
            self._weigh()
        self._look_at_tube()
        self._show(plant.readings())

    def _weigh(self) -> None:
        for piece in self._plant.take_pieces():
            slips = self._faults.at(piece.portion)
            on_pan_kg = piece.mass_kg * slips.get("two-on-pan", 1.0)
            extra_g = slips.get("residue", 0.0) + slips.get("tare", 0.0)
            reading_kg = self._scale.read(on_pan_kg + extra_g * 1.0e-3, self._t_us * 1.0e-6)
            fell = PieceFell(self._t_us, piece.portion, piece.mass_kg, reading_kg)
            self._pieces.append(fell)
            self._drop_until_us = self._t_us + _FALLS_US
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
            self._plan()
            self._news += [FaultBegan(self._t_us, fault) for fault in self._faults.of(portion)]

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
        pins &= self._wired
        if self._t_us < self._drop_until_us and "drop" in spec.fitted:
            pins |= 1 << DROP
        eye, thrust, air = self._connected
        adc = (
            readings.eye_counts if eye else 0,
            _counts(spec.thrust_zero + readings.thrust_n * self._per_n) if thrust else 0,
            _counts(spec.air_zero + readings.air_pa * self._per_pa) if air else 0,
        )
        # The board measures its own supply; whether the card lists it changes nothing here.
        self._board.set_inputs(pins, adc, round(readings.supply_v * 1e3))
        self._readings = readings
        # A pin can switch an output at once; else they change only with a reason to stop.
        self._outputs = self._board.outputs

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


def _parts(pin: str) -> frozenset[str]:
    """The parts in `fitted` that a pin may belong to."""
    if pin in ("forward", "reverse"):
        return frozenset({"local"})
    return frozenset({pin, "ready"} if pin == "button" else {pin})


def _counts(value: float) -> int:
    """What the converter makes of a value in its counts."""
    counts = int(value + 0.5)
    return 0 if counts < 0 else counts if counts < _FULL_COUNTS else _FULL_COUNTS
