"""Faults: how they are written, and that each shows in readings or pieces as the trade says.

Signs and ratios are those of a numeric model of a similar bench; absolute grams are not held.
"""

from __future__ import annotations

import functools
import itertools
import statistics

import pytest

from sim.faults import KINDS, Fault, Faults, parse_fault
from sim.plant.readings import Readings
from tests.sim.plant.rig import PLAIN, Program, Rig

PROGRAM = Program()
AT = 3
COUNT = 5


class Story:
    """A series of five portions on the plain bench, with faults, and all its readings by portion.

    Deviations are from the same series without faults [-]. Index 2 is portion 3.
    """

    def __init__(self, *faults: str, fidelity: str = "brisk") -> None:
        self.fidelity = fidelity
        self.readings: list[list[Readings]] = []
        self.cuts: list[tuple[float, float]] = []
        self.returns: list[float] = []
        rig = Rig(PLAIN, faults=faults, dt_s=0.01, fidelity=fidelity)
        rig.prime(PROGRAM)
        rig.watch = lambda seen: self.readings[-1].append(seen)
        cut = rig.cut

        def noted(limit_s: float = 1.5) -> tuple[float, float]:
            start_s = rig.t_s
            self.cuts.append(cut(limit_s))
            self.returns.append(rig.t_s - start_s - self.cuts[-1][1])
            return self.cuts[-1]

        rig.cut = noted  # type: ignore[method-assign]
        self.masses = []
        self.throws: list[float] = []
        for portion in range(1, COUNT + 1):
            self.readings.append([])
            rig.make(PROGRAM, portion)
            pieces = rig.plant.take_pieces()
            self.masses.append(sum(piece.mass_kg for piece in pieces))
            self.throws.append(max((piece.throw_m for piece in pieces), default=0.0))
        balance = rig.plant.mass_balance()
        spread_kg = balance.loaded_kg - balance.out_kg - balance.waste_kg - balance.barrel_kg
        assert abs(spread_kg) < 1e-6 * balance.loaded_kg

    @property
    def deviations(self) -> list[float]:
        return [a / b - 1.0 for a, b in zip(self.masses, sound(self.fidelity).masses, strict=True)]

    def pushing(self, portion: int) -> list[Readings]:
        """Readings of the push: before the plunger was drawn back."""
        ticks = (PROGRAM.stroke_m + PROGRAM.draw_back_m) / PROGRAM.speed_m_s / 0.01
        return self.readings[portion - 1][: int(ticks)]


@functools.cache
def sound(fidelity: str = "brisk") -> Story:
    return Story(fidelity=fidelity)


@functools.cache
def story(fault: str, fidelity: str = "brisk") -> Story:
    return Story(f"{fault}@{AT}", fidelity=fidelity)


# How they are written.


def test_written_without_and_with_severity() -> None:
    assert parse_fault("void@7") == Fault("void", 7, KINDS["void"].usual)
    assert parse_fault(" lost-steps@12:0.3 ") == Fault("lost-steps", 12, 0.3)


def test_by_portion() -> None:
    faults = Faults.parse(["void@7", "hang-up@7:0.3", "void@9", "void@7:1"])
    assert faults.at(7) == {"void": 1.0, "hang-up": 0.3}
    assert faults.at(8) == {}
    assert Faults() == Faults.parse([])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("blokage@3", "'blockage'"),
        ("lost steps@3", "'lost-steps'"),
        ("voids", "'void'"),
        ("void", "has no portion number"),
        ("void@", "has no portion number"),
        ("void@0", "has no portion number"),
        ("void@-2", "has no portion number"),
        ("void@\u0663", "has no portion number"),
        ("void@3:", "from 0 to 50 .cm3."),
        ("void@3:much", "from 0 to 50 .cm3."),
        ("void@3:nan", "from 0 to 50 .cm3."),
        ("lost-steps@3:20", "from 0 to 1 .fraction."),
        ("", "No fault is called"),
        ("void@0%", "as 'void@5%'"),
        ("void@101%", "as 'void@5%'"),
        ("void@x%", "as 'void@5%'"),
        ("void@nan%", "as 'void@5%'"),
    ],
)
def test_what_is_not_understood_is_said_in_a_sentence(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says) as refused:
        parse_fault(text)
    assert str(refused.value).endswith(".")


@pytest.mark.parametrize("name", KINDS)
def test_every_kind_is_whole(name: str) -> None:
    kind = KINDS[name]
    assert kind.span[0] <= kind.usual <= kind.span[1]
    assert kind.sentence.endswith(".")
    assert kind.unit
    assert kind.codes
    assert all(code[:3] in ("MC-", "IL-") for code in kind.codes)


# What they do.


@pytest.mark.slow
@pytest.mark.parametrize("name", KINDS)
def test_nothing_happens_before_its_portion(name: str) -> None:
    if name == "void":
        # The pocket was loaded with the tube, so it springs a little before it leaves.
        assert story(name).masses[:2] == pytest.approx(sound().masses[:2], rel=5e-3)
    else:
        assert story(name).readings[:2] == sound().readings[:2]


@pytest.mark.slow
def test_lost_steps_are_missing_once() -> None:
    before, at, after = story("lost-steps").deviations[1:4]
    assert before == 0.0
    assert at == pytest.approx(-0.22, abs=0.03)
    assert after == pytest.approx(0.0, abs=0.01)


@pytest.mark.slow
def test_void_is_missing_once_with_a_gap_and_a_fall_of_thrust() -> None:
    _, at, after = story("void").deviations[1:4]
    assert -0.12 < at < -0.03
    assert after == pytest.approx(0.0, abs=0.01)
    seen = story("void").pushing(AT)
    first = next(i for i, reading in enumerate(seen) if reading.dough_at_nozzle)
    dark = [reading for reading in seen[first:] if not reading.dough_at_nozzle]
    gap_m = len(dark) * 0.01 * PROGRAM.speed_m_s * PLAIN.bore_area_m2 / PLAIN.nozzle_area_m2
    # As commanded steps tell it; well below the 15 mm that mean the end of the dough.
    assert 0.002 < gap_m < 0.010
    assert all(reading.eye_counts < 300 for reading in dark)
    thrust_n = [reading.thrust_n for reading in seen]
    steepest = min(b - a for a, b in itertools.pairwise(thrust_n))
    assert steepest < -8.0


@pytest.mark.slow
def test_blockage_moves_mass_to_the_next() -> None:
    at, after = story("blockage").deviations[2:4]
    assert -0.15 < at < -0.03
    assert abs(at + after) < 0.2 * abs(at)
    peaks = [max(r.thrust_n for r in story("blockage").pushing(p)) for p in (2, 3, 4)]
    assert peaks[1] > 1.15 * max(peaks[0], peaks[2])


@pytest.mark.slow
def test_hang_up_moves_its_share_and_is_late() -> None:
    at, after = story("hang-up").deviations[2:4]
    assert at == pytest.approx(-0.15, abs=0.005)
    assert abs(at + after) < 0.02
    assert story("hang-up").cuts[2][1] - sound().cuts[2][1] == pytest.approx(0.08, abs=0.015)
    assert story("hang-up").readings[AT - 1][-1].dough_at_nozzle
    assert not sound().readings[AT - 1][-1].dough_at_nozzle


@pytest.mark.slow
def test_stuck_piece_falls_with_the_next() -> None:
    masses = story("stuck-blade").masses
    assert masses[2] == 0.0
    assert masses[3] == pytest.approx(sound().masses[2] + sound().masses[3], rel=1e-9)
    assert story("stuck-blade").cuts == sound().cuts


@pytest.mark.slow
def test_inclusion_is_one_long_cut_with_a_fast_end() -> None:
    left_s, far_s = story("inclusion").cuts[2]
    assert left_s == sound().cuts[2][0]
    assert far_s > sound().cuts[2][1] + 0.03
    assert story("inclusion").cuts[3] == sound().cuts[3]
    assert story("inclusion").deviations[2] == pytest.approx(0.0, abs=0.01)


@pytest.mark.slow
def test_cut_stall_never_arrives_and_cuts_nothing() -> None:
    assert story("cut-stall").cuts[2][1] == 1.5
    assert story("cut-stall").masses[2] == 0.0
    assert not any(reading.far for reading in story("cut-stall").readings[AT - 1])
    assert story("cut-stall").readings[AT - 1][-1].home


@pytest.mark.slow
def test_low_air_starts_late_and_is_back_with_the_next() -> None:
    left_s, far_s = story("low-air").cuts[2]
    assert left_s > sound().cuts[2][0] + 0.02
    assert far_s > sound().cuts[2][1]
    assert story("low-air").readings[AT - 1][0].air_pa == pytest.approx(1e5, abs=2e3)
    assert story("low-air").readings[AT][0].air_pa == pytest.approx(2e5, abs=2e3)
    assert story("low-air").cuts[3] == sound().cuts[3]


@pytest.mark.slow
def test_sticky_valve_starts_late_once_with_good_air() -> None:
    left_s, far_s = story("sticky-valve").cuts[2]
    assert left_s - sound().cuts[2][0] == pytest.approx(0.15, abs=0.011)
    assert far_s - sound().cuts[2][1] == pytest.approx(0.15, abs=0.011)
    assert story("sticky-valve").cuts[3] == sound().cuts[3]
    assert min(r.air_pa for r in story("sticky-valve").readings[AT - 1]) > 1.9e5


@pytest.mark.slow
def test_home_stuck_never_comes_home_until_the_next_stroke() -> None:
    assert not story("home-stuck").readings[AT - 1][-1].home
    assert story("home-stuck").readings[AT - 1][-1].far is False
    assert story("home-stuck").readings[AT][-1].home


@pytest.mark.slow
def test_dirty_eye_shifts_both_levels_from_then_on() -> None:
    def level(of: Story, portion: int, dough: bool) -> float:
        seen = of.readings[portion - 1]
        return statistics.fmean(r.eye_counts for r in seen if r.dough_at_nozzle == dough)

    for portion in (AT, AT + 1):
        assert level(story("dirty-eye"), portion, True) < level(sound(), portion, True) - 100.0
        assert level(story("dirty-eye"), portion, False) > level(sound(), portion, False) + 50.0
    assert story("dirty-eye").masses == sound().masses


@pytest.mark.slow
def test_smear_reads_dough_where_there_is_none() -> None:
    for portion in (AT, AT + 1):
        seen = story("smear").readings[portion - 1]
        assert min(reading.eye_counts for reading in seen) > 550
        assert not all(reading.dough_at_nozzle for reading in seen)


@pytest.mark.slow
def test_dough_gone_goes_dark_without_thrust() -> None:
    last = story("dough-gone").pushing(AT)[-1]
    assert not last.dough_at_nozzle
    assert last.thrust_n < PLAIN.seal_n + 2.0
    assert story("dough-gone").masses[2:] == [0.0, 0.0, 0.0]
    assert any(reading.dough_at_nozzle for reading in story("dough-gone").pushing(AT))


@pytest.mark.slow
def test_supply_dips_when_the_valve_switches() -> None:
    lowest = [min(r.supply_v for r in seen) for seen in story("supply-dip").readings]
    assert lowest[2] < 4.3
    assert min(lowest[:2] + lowest[3:]) > 4.8
    assert min(reading.supply_v for reading in story("supply-dip").pushing(AT)) > 4.9


@pytest.mark.slow
def test_guard_stands_open_for_a_second_in_the_push() -> None:
    opened = [sum(r.guard_open for r in seen) * 0.01 for seen in story("guard-open").readings]
    assert opened == pytest.approx([0.0, 0.0, 1.0, 0.0, 0.0], abs=0.02)
    assert any(reading.guard_open for reading in story("guard-open").pushing(AT))
    assert story("guard-open").masses == sound().masses
