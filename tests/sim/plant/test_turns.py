"""What the dough may not depend on: how long the caller's turns are, the short cut for dough that
stands still, and which blade cuts it. And what holds after every turn: where all mass is, and that
room, dough and pressure fit each other.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import pytest

from sim.faults import KINDS, Faults
from sim.plant.air import AMBIENT_PA
from sim.plant.bench_plant import FIDELITIES, Plant
from sim.plant.drive import ELECTRICAL_STEPS
from sim.plant.spec import PlantSpec
from tests.sim.plant.rig import PLAIN

CELL_S = 0.0005
"""The shortest turn: the feed makes a whole number of microsteps in each."""

WEAK = replace(PLAIN, motor_n_m=0.15)
STEEP = replace(PLAIN, screw_friction=0.03)
PLAYING = replace(PLAIN, backlash_m=0.0004)
LEAKY = replace(PLAIN, leak_m3_s_pa=1.0e-11)
FAULTS = (
    *("backlash", "blockage", "casing-film", "cold-dough", "dough-gone", "driver-heat"),
    *("frame-yield", "guard-open", "hang-up", "leak", "lost-steps", "low-air", "rising-dough"),
    *("springback", "stuck-blade", "void", "warm-dough", "warming-dough", "weak-draw-back"),
)


MOVING = ("rising-dough", "springback", "driver-heat", "backlash")
"""What moves the plunger without its screw, or the nut on it."""
SUDDEN = ("void", "dough-gone", "frame-yield")


class Leg(NamedTuple):
    """A part of a run: how long [s], microsteps in each cell of time, what is on, the portion under
    way, and whether a new tube goes in before."""

    time_s: float
    steps: int = 0
    drive_on: bool = True
    valve_on: bool = False
    portion: int = 1
    new_tube: bool = False


class Seen(NamedTuple):
    """Dough in the barrel [kg] and its pressure [Pa] at the end of a leg, and where the plunger is
    [m]."""

    barrel_kg: float
    pressure_pa: float
    plunger_m: float


class Awake(Plant):
    """A plant that never takes the short cut for dough that stands still."""

    def advance(
        self, dt_s: float, *, steps: int, drive_on: bool, valve_on: bool, portion: int
    ) -> None:
        self._still = False
        super().advance(dt_s, steps=steps, drive_on=drive_on, valve_on=valve_on, portion=portion)


PRIMED = Leg(5.0, 2, portion=0)
PUSH, REST, BACK = Leg(1.5, 4), Leg(1.0), Leg(0.5, -4)


def run(
    plant: Plant, legs: Iterable[Leg], turn_s: float, watch: Callable[[Plant], None] | None = None
) -> list[Seen]:
    """What is seen at the end of each leg, in turns of turn_s [s]; watch looks after each turn."""
    seen = []
    for leg in legs:
        if leg.new_tube:
            plant.load_tube()
        for _ in range(round(leg.time_s / turn_s)):
            plant.advance(
                turn_s,
                steps=leg.steps * round(turn_s / CELL_S),
                drive_on=leg.drive_on,
                valve_on=leg.valve_on,
                portion=leg.portion,
            )
            if watch is not None:
                watch(plant)
        barrel_kg = plant.mass_balance().barrel_kg
        seen.append(Seen(barrel_kg, plant.pressure_pa, plant._feed.position_m))
    return seen


def made(
    spec: PlantSpec, faults: Iterable[str], fidelity: str = "brisk", kind: type[Plant] = Plant
) -> Plant:
    return kind(spec, random.Random(1), Faults.parse(faults), fidelity)


def without(names: tuple[str, ...], faults: Iterable[str]) -> list[str]:
    return [fault for fault in faults if fault.split("@")[0] not in names]


CASES: dict[str, tuple[PlantSpec, tuple[str, ...], list[Leg]]] = {
    "push, rest, draw-back": (PLAIN, (), [PRIMED, PUSH, REST, BACK, REST, PUSH, REST]),
    "gap": (PLAIN, (), [PRIMED, PUSH, Leg(1.6, -4), REST, Leg(3.0, 4), REST]),
    "play": (PLAYING, ("backlash@2:2",), [PRIMED, PUSH, BACK, PUSH._replace(portion=2), REST]),
    "drive off in the push": (PLAIN, (), [PRIMED, PUSH, PUSH._replace(drive_on=False), PUSH]),
    "screw runs back": (STEEP, (), [PRIMED, PUSH, Leg(6.0, drive_on=False), PUSH, REST]),
    "stall": (WEAK, (), [PRIMED, Leg(3.0, 4), REST, BACK, REST]),
    "stall against a plug": (PLAIN, ("blockage@1:20",), [PRIMED, Leg(4.0, 4), REST, BACK]),
    "driver cuts out": (PLAIN, ("driver-heat@1:0.55",), [PRIMED, Leg(3.0, 4), REST]),
    "frame yields": (PLAIN, ("frame-yield@1",), [PRIMED, Leg(3.0, 4), REST]),
    "void": (PLAIN, ("void@1:5",), [PRIMED, Leg(3.0, 4), REST]),
    "front stop": (PLAIN, (), [PRIMED, Leg(22.0, 4), REST, BACK, REST]),
    "rear stop": (PLAIN, (), [PRIMED, Leg(5.0, -4), REST, Leg(5.0, 4)]),
    "rising": (PLAIN, ("rising-dough@1:0.3",), [PRIMED, PUSH, Leg(30.0), PUSH]),
    "leak at rest": (LEAKY, ("leak@1",), [PRIMED, PUSH, Leg(30.0), PUSH]),
    "new tube in the push": (PLAIN, ("blockage@1",), [PRIMED, PUSH, PUSH._replace(new_tube=True)]),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_long_turns_come_to_the_same_as_short_ones(name: str) -> None:
    # 0.15 g while it flows at 24 g/s, of which a turn of 20 ms is 0.5 g. What is longer the plant
    # cuts up, so that it comes to the same.
    spec, faults, legs = CASES[name]
    exact, short, usual, long = (
        run(made(spec, faults), legs, turn_s) for turn_s in (CELL_S, 0.002, 0.020, 0.100)
    )
    for number, wanted in enumerate(exact):
        for seen, near in ((short, 0.1), (usual, 1.0), (long, 1.0)):
            where = f"leg {number}, {near:g}"
            assert seen[number].barrel_kg == pytest.approx(wanted.barrel_kg, abs=1.5e-4 * near), (
                where
            )
            assert seen[number].pressure_pa == pytest.approx(wanted.pressure_pa, abs=800.0 * near)
            assert seen[number].plunger_m == pytest.approx(wanted.plunger_m, abs=1e-4 * near), where


def cases(seed: int) -> Iterable[tuple[PlantSpec, list[str], list[Leg]]]:
    """Some of them; ten cost a third of a second."""
    return (random_case(random.Random(f"{seed} {number}")) for number in range(10))


def random_case(chance: random.Random) -> tuple[PlantSpec, list[str], list[Leg]]:
    """A bench, up to three faults, and a run of pushes, rests, cuts and what else may come."""
    spec = replace(
        PLAIN,
        backlash_m=chance.choice((0.0, 0.0002)),
        springback_m=chance.choice((0.0, 0.0005)),
        screw_friction=chance.choice((0.15, 0.15, 0.03)),
        leak_m3_s_pa=chance.choice((0.0, 0.0, 1.0e-11)),
        motor_n_m=chance.choice((0.612, 0.612, 0.2, 0.1)),
        yield_kept=chance.choice((0.2, 0.5, 0.8)),
    )
    faults = [
        f"{name}@{chance.randint(1, 3)}:{KINDS[name].usual}"
        for name in chance.sample(FAULTS, chance.randint(0, 3))
    ]
    legs, portion = [PRIMED], 0
    for _ in range(chance.randint(6, 14)):
        tenths = chance.randint(1, 15)
        kinds = {
            "push": Leg(0.2 * tenths, 2),
            "fast": Leg(0.04 * tenths, chance.choice((-12, 8, 30))),
            "back": Leg(0.06 * tenths, -4),
            "rest": Leg(0.1 * tenths),
            "long": Leg(2.0 * tenths),
            "off": Leg(0.2 * tenths, drive_on=False),
            "cut": Leg(0.8, valve_on=True),
            "tube": Leg(0.1, new_tube=True),
        }
        kind = chance.choice(("push", "push", "portion", "portion", "cut", *kinds))
        if kind == "portion":
            portion += 1
            legs.append(Leg(0.1, portion=portion))
        else:
            legs.append(kinds[kind]._replace(portion=portion))
    return spec, faults, legs


@pytest.mark.slow
@pytest.mark.parametrize("fidelity", FIDELITIES)
def test_the_short_cut_for_standing_dough_changes_nothing(fidelity: str, seed: int) -> None:
    spec, faults, legs = random_case(random.Random(seed))
    short, whole = (run(made(spec, faults, fidelity, kind), legs, 0.020) for kind in (Plant, Awake))
    for number, (seen, wanted) in enumerate(zip(short, whole, strict=True)):
        where = f"leg {number} of {faults}"
        assert seen.barrel_kg == pytest.approx(wanted.barrel_kg, abs=2e-5), where
        assert seen.pressure_pa == pytest.approx(wanted.pressure_pa, abs=200.0), where
        assert seen.plunger_m == pytest.approx(wanted.plunger_m, abs=1e-6), where


@pytest.mark.slow
def test_the_dough_does_not_know_which_blade_cuts_it(seed: int) -> None:
    # Turns near a cut are cut up, so that flow differs as it does by the length of turns.
    for spec, faults, legs in cases(seed):
        brisk, physical = (run(made(spec, faults, one), legs, 0.020) for one in FIDELITIES)
        for seen, wanted in zip(physical, brisk, strict=True):
            assert seen.barrel_kg == pytest.approx(wanted.barrel_kg, abs=3e-4), faults
            assert seen.plunger_m == pytest.approx(wanted.plunger_m, abs=1e-4), faults


def closes(plant: Plant) -> None:
    """All mass is somewhere, and none below nothing."""
    mass, barrel = plant.mass_balance(), plant._barrel
    away_kg = mass.loaded_kg - mass.out_kg - mass.waste_kg - mass.barrel_kg
    assert abs(away_kg) < 1e-6 * mass.loaded_kg
    assert min(barrel.solids_m3, barrel.gas_m3, mass.waste_kg, mass.out_kg) >= 0.0


def fills(plant: Plant) -> None:
    """Pressed dough fills its room: solids, squeezed gas and stretched frame are one, by the laws
    of gas and spring."""
    spec, barrel, pressure_pa = plant._spec, plant._barrel, plant.pressure_pa
    dough_m3 = barrel.solids_m3 + barrel.gas_m3 * AMBIENT_PA / (AMBIENT_PA + pressure_pa)
    room_m3 = spec.bore_area_m2 * (spec.barrel_m - plant._feed.position_m)
    room_m3 += plant._given_m3 + spec.stretch_m3_pa * pressure_pa
    assert dough_m3 < room_m3 + 2e-8
    assert pressure_pa == 0.0 or dough_m3 > room_m3 - 2e-8


@pytest.mark.slow
def test_mass_closes_after_every_turn(seed: int) -> None:
    for number, (spec, faults, legs) in enumerate(cases(seed)):
        run(made(spec, faults, FIDELITIES[number % 2]), legs, 0.020, closes)


@pytest.mark.slow
def test_pressed_dough_fills_its_room_after_every_turn(seed: int) -> None:
    for spec, faults, legs in cases(seed):
        # What these take away at once is felt a turn later.
        run(made(spec, without(SUDDEN, faults)), legs, 0.020, fills)


@pytest.mark.slow
def test_nothing_but_its_screw_moves_a_held_plunger(seed: int) -> None:
    places_m: list[float] = []
    for spec, faults, legs in cases(seed):
        plant = made(spec, without(MOVING, faults))
        round_m = ELECTRICAL_STEPS * spec.lead_m / spec.steps_per_turn
        for leg in legs:
            places_m.clear()
            run(plant, [leg], 0.020, lambda it: places_m.append(it._feed.position_m))
            if not leg.drive_on or leg.new_tube:
                continue
            way_m = leg.steps * round(0.020 / CELL_S) * spec.microstep_m
            for before_m, after_m in pairwise(places_m):
                # What a stalled rotor is behind, less than a round, it may make up.
                assert min(0.0, way_m) - 1e-9 <= after_m - before_m <= max(0.0, way_m) + round_m


@pytest.mark.slow
def test_a_hot_driver_lets_go_for_its_time_whatever_the_turns() -> None:
    # A drive without current holds nothing: its screw springs back once, and then its way of that
    # time is missing.
    way_m = {}
    for turn_s in (CELL_S, 0.020, 0.100):
        at_m, legs = [], [PRIMED, Leg(3.0, 4)]
        for faults in ((), ("driver-heat@1:0.55",)):
            at_m.append(run(made(PLAIN, faults), legs, turn_s)[-1].plunger_m)
        way_m[turn_s] = at_m[0] - at_m[1]
    speed_m_s = 4 * PLAIN.microstep_m / CELL_S
    assert list(way_m.values()) == pytest.approx(
        [0.55 * speed_m_s + PLAIN.springback_m] * 3, abs=1e-6
    )


def test_a_guard_opened_for_a_moment_is_seen_open_in_long_turns_as_well() -> None:
    seen: list[bool] = []
    plant = made(PLAIN, ("guard-open@1:0.01",))
    run(plant, [PRIMED, PUSH], 0.020, lambda it: seen.append(it.readings().guard_open))
    assert sum(seen) == 1


def test_dough_that_is_left_is_seen_again_once_it_flows() -> None:
    seen: list[tuple[bool, float]] = []
    plant = made(PLAIN, ("dough-gone@1:0.5",))

    def watch(it: Plant) -> None:
        seen.append((it.readings().dough_at_nozzle, it.pressure_pa))

    run(plant, [PRIMED, Leg(12.0, 4)], 0.020, watch)
    gone = next(n for n, (_, p) in enumerate(seen) if n > 300 and p == 0.0)
    assert not any(dough for dough, _ in seen[gone : gone + 300])
    assert seen[-1] == (True, pytest.approx(seen[250][1], rel=0.5))


def flowing_pa(plant: Plant) -> float:
    """Pressure of a steady push of a tube that is just in [Pa]."""
    return run(plant, [Leg(5.0, 2, portion=0)], 0.020)[-1].pressure_pa


def test_a_new_tube_is_fresh_dough() -> None:
    usual_pa = flowing_pa(made(PLAIN, ()))
    for faults in (("blockage@1:4",), ("warming-dough@1:30",)):
        plant = made(PLAIN, faults)
        run(plant, [PRIMED, PUSH, Leg(60.0)], 0.020)
        plant.load_tube()
        # What was warm went out with the old tube; the new one was put in just now.
        plant.advance(0.020, steps=0, drive_on=True, valve_on=False, portion=2)
        assert flowing_pa(plant) == pytest.approx(usual_pa, rel=0.02), faults


def test_a_planned_void_leaves_the_other_dough_as_it_was() -> None:
    legs, airy = [PRIMED, Leg(3.0, 4)], []
    for faults in ((), ("void@1:20",)):
        plant = made(PLAIN, faults)
        run(plant, legs, 0.020)
        barrel = plant._barrel
        airy.append(barrel.gas_m3 / (barrel.gas_m3 + barrel.solids_m3))
    assert airy[1] == pytest.approx(airy[0], rel=0.02)


def test_a_new_tube_has_its_own_gas_and_the_old_play() -> None:
    plant = made(PLAIN, ("rising-dough@1:1", "backlash@1:0.5"))
    run(plant, [PRIMED, PUSH, Leg(60.0)], 0.020)
    plant.load_tube()
    run(plant, [PRIMED], 0.020)
    barrel, time_s = plant._barrel, PRIMED.time_s
    # Each part of gas grows by a share of itself, and what leaves takes of it what it finds.
    gas = PLAIN.air_fraction / (1.0 - PLAIN.air_fraction) * math.exp(time_s / 60.0)
    assert barrel.gas_m3 / barrel.solids_m3 == pytest.approx(gas, rel=1e-3)
    there, back = run(plant, [PUSH, BACK], 0.020)
    drawn_m = -BACK.steps * round(BACK.time_s / CELL_S) * PLAIN.microstep_m
    assert there.plunger_m - back.plunger_m == pytest.approx(drawn_m - 0.5e-3, abs=1e-6)


def test_steps_are_lost_in_their_portion_only() -> None:
    plant = made(PLAIN, ("lost-steps@1:0.5",))
    start, lost, whole = run(plant, [PRIMED, PUSH, PUSH._replace(portion=0)], 0.020)
    way_m = PUSH.steps * round(PUSH.time_s / CELL_S) * PLAIN.microstep_m
    assert lost.plunger_m - start.plunger_m == pytest.approx(0.5 * way_m)
    assert whole.plunger_m - lost.plunger_m == pytest.approx(way_m)


@pytest.mark.parametrize(("fidelity", "late_s"), [("brisk", 1e-9), ("physical", 0.003)])
def test_the_strand_is_cut_at_its_time_whatever_the_turns(fidelity: str, late_s: float) -> None:
    # The physical blade tells nothing ahead, and is looked at each 2.5 ms.
    cuts_s = []
    for turn_s in (CELL_S, 0.020, 0.100):
        plant = made(PLAIN, (), fidelity)
        run(plant, [PRIMED, PUSH, Leg(0.6, valve_on=True)], turn_s)
        cuts_s += [piece.t_s for piece in plant.take_pieces()]
    assert cuts_s == pytest.approx([cuts_s[0]] * 3, abs=late_s)
