"""Drives a plant as a board would: portions of take-up, push, draw-back, settle, cut and return."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from sim.faults import Faults
from sim.plant.bench_plant import Plant
from sim.plant.readings import Readings
from sim.plant.spec import PlantSpec

PLAIN = PlantSpec(flow_noise=0.0, air_noise=0.0, thrown_noise=0.0)
"""The default bench without chance in its dough and in how its pieces fly."""


@dataclass(frozen=True)
class Program:
    """One portion: ways [m], speeds [m/s], settle time [s], and jitter of it [s, one sigma]."""

    stroke_m: float = 0.01329
    speed_m_s: float = 0.005
    draw_back_m: float = 0.002
    draw_back_speed_m_s: float = 0.010
    settle_s: float = 0.3
    jitter_s: float = 0.0


@dataclass
class Rig:
    """A plant, its clock, and what was seen of it."""

    spec: PlantSpec = PLAIN
    seed: int = 1
    faults: tuple[str, ...] = ()
    salt: int = 0
    dt_s: float = 0.005
    fidelity: str = "brisk"
    watch: Callable[[Readings], None] | None = None
    t_s: float = 0.0
    drive_on: bool = True
    portion: int = 0
    plant: Plant = field(init=False)
    rng: random.Random = field(init=False)
    owed_steps: float = 0.0

    def __post_init__(self) -> None:
        self.rng = random.Random(self.seed + 1000)
        self.plant = Plant(
            self.spec,
            random.Random(self.seed),
            Faults.parse(self.faults, self.salt),
            self.fidelity,
        )

    def tick(self, speed_m_s: float = 0.0, valve_on: bool = False, dt_s: float = 0.0) -> Readings:
        """One call of the plant; answers what it reads afterwards."""
        dt_s = dt_s or self.dt_s
        self.owed_steps += speed_m_s * dt_s / self.spec.microstep_m
        steps = round(self.owed_steps)
        self.owed_steps -= steps
        self.plant.advance(
            dt_s, steps=steps, drive_on=self.drive_on, valve_on=valve_on, portion=self.portion
        )
        self.t_s += dt_s
        seen = self.plant.readings()
        if self.watch:
            self.watch(seen)
        return seen

    def run(self, time_s: float, speed_m_s: float = 0.0, valve_on: bool = False) -> None:
        """Ticks for a time [s], the last tick cut to fit."""
        while time_s > 1e-9:
            dt_s = min(self.dt_s, time_s)
            self.tick(speed_m_s, valve_on, dt_s)
            time_s -= dt_s

    def move(self, way_m: float, speed_m_s: float) -> None:
        """Feeds by way_m [m], forward positive."""
        self.run(abs(way_m) / speed_m_s, speed_m_s if way_m > 0.0 else -speed_m_s)

    def cut(self, limit_s: float = 1.5) -> tuple[float, float]:
        """A stroke and its return; answers the times [s] from the valve until home left, far came.

        Either is the limit where it did not happen.
        """
        left_s = far_s = limit_s
        start_s = self.t_s
        while self.t_s - start_s < limit_s:
            seen = self.tick(valve_on=True)
            if not seen.home and left_s == limit_s:
                left_s = self.t_s - start_s
            if seen.far:
                far_s = self.t_s - start_s
                break
        while not self.tick().home and self.t_s - start_s < 2.0 * limit_s:
            pass
        return left_s, far_s

    def prime(self, program: Program) -> None:
        """Pushes until dough is seen, then makes and drops three trims."""
        while not self.tick(program.speed_m_s).dough_at_nozzle:
            pass
        self.move(0.010, program.speed_m_s)
        self.move(-program.draw_back_m, program.draw_back_speed_m_s)
        self.run(program.settle_s)
        self.cut()
        for _ in range(2):
            self.make(program, 0)
        self.plant.take_pieces()

    def make(self, program: Program, portion: int) -> None:
        """One portion; its piece waits in the plant."""
        self.portion = portion
        self.move(program.draw_back_m + program.stroke_m, program.speed_m_s)
        if program.draw_back_m > 0.0:
            self.move(-program.draw_back_m, program.draw_back_speed_m_s)
        self.run(max(0.0, self.rng.gauss(program.settle_s, program.jitter_s)))
        self.cut()
        self.portion = 0
        self.run(0.5)

    def series(self, program: Program, count: int, first: int = 1) -> list[float]:
        """What fell during each portion of a series [kg], 0 where nothing did."""
        masses = []
        for portion in range(first, first + count):
            self.make(program, portion)
            masses.append(sum(piece.mass_kg for piece in self.plant.take_pieces()))
        return masses


def noisy(flow: float, air: float = 0.0) -> PlantSpec:
    """The default bench with this noise of flow resistance and of air share (relative)."""
    return replace(PLAIN, flow_noise=flow, air_noise=air)
