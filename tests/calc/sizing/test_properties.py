"""What holds for any bench: order where physics has one, limits, and impossible input refused."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchd.calc.sizing import (
    air_flow,
    air_use,
    cutter_speed,
    cylinder,
    feed_steps,
    motor,
    nozzle_flow,
    paste,
    period,
    portions,
    screw,
    start_delay,
    step_up,
    stored_energy,
    throw,
    thrust,
    weighing,
)
from benchd.calc.sizing.base import UNITS, Impossible, flow_share, ring_area

pytestmark = pytest.mark.slow

THREADS = st.sampled_from(sorted(screw.HALF_FLANK_RAD))
PRESSURES = st.floats(1e3, 1e6)
LENGTHS = st.floats(1e-3, 0.3)


# The screw.


@given(st.floats(1, 5000), st.floats(0.0, 0.3), THREADS)
def test_more_friction_takes_more_torque_either_way(force: float, mu: float, kind: str) -> None:
    for push in (True, False):
        low, high = (
            screw.torque(force, mean_m=0.009, lead_m=0.002, friction=f, thread=kind, push=push)
            for f in (mu, mu + 0.01)
        )
        assert high > low


@given(st.floats(1, 5000), st.floats(0.001, 0.01), THREADS)
def test_without_friction_all_work_arrives(force: float, lead: float, kind: str) -> None:
    push, back = (
        screw.torque(force, mean_m=0.009, lead_m=lead, friction=0, thread=kind, push=way)
        for way in (True, False)
    )
    assert screw.efficiency(force, lead_m=lead, torque_nm=push) == pytest.approx(1)
    assert back == pytest.approx(-push)


@given(st.floats(0.001, 0.012), st.floats(0.02, 0.4), THREADS)
def test_a_screw_turns_back_exactly_where_its_friction_is_too_low(
    lead: float, mu: float, kind: str
) -> None:
    holds = screw.holding_friction(lead, mean_m=0.009, thread=kind)
    back = screw.torque(1, mean_m=0.009, lead_m=lead, friction=mu, thread=kind, push=False)
    if abs(mu - holds) > 1e-9:
        assert (back < 0) == (mu < holds)


def test_a_screw_with_too_much_friction_cannot_be_turned() -> None:
    # d 10, p 8, 4 starts, square: 18.85 - 16 > 0 at 0.5, 18.85 - 19.2 < 0 at 0.6 (published).
    turns: dict[str, Any] = {"mean_m": 0.006, "lead_m": 0.032, "thread": "square", "push": True}
    assert screw.torque(1, friction=0.5, **turns) > 0
    with pytest.raises(Impossible, match="friction"):
        screw.torque(1, friction=0.6, **turns)


@given(st.floats(0, 5000), st.floats(0, 5000))
def test_a_motor_has_less_torque_the_faster_it_goes(one: float, other: float) -> None:
    slow, fast = (
        motor.pull_out(rate, holding_nm=0.4, rate_max_1_s=2000) for rate in sorted((one, other))
    )
    assert 0 <= fast <= slow <= 0.4


def test_where_rate_and_top_rate_meet_no_torque_is_left() -> None:
    for rate in (2000, 2000 * (1 - 1e-15), 20e-3 / (2e-3 / 200), 2001):
        assert motor.pull_out(rate, holding_nm=0.4, rate_max_1_s=2000) == 0


# The dough.


@given(st.floats(1e-8, 1e-4), st.floats(0.2, 1.0), st.floats(0, 3000), st.floats(50, 3000))
def test_pressure_of_a_dough_gives_its_flow_back(
    flow: float, index: float, stress: float, consistency: float
) -> None:
    law = {"yield_pa": stress, "consistency": consistency, "index": index, "bore_m": 0.02}
    pressure = nozzle_flow.herschel_bulkley_pressure(flow, length_m=0.05, **law)
    back = nozzle_flow.herschel_bulkley_flow(pressure * 0.01 / (2 * 0.05), **law)
    # Next to the yield stress the flow hangs on the last digits of the pressure.
    assert back == pytest.approx(flow, rel=1e-4) or pressure * 0.1 < stress * (1 + 1e-9)
    more = nozzle_flow.herschel_bulkley_pressure(flow * 1.1, length_m=0.05, **law)
    assert more >= pressure


@given(st.floats(1e-8, 1e-4), st.floats(10, 1e4))
def test_without_yield_and_with_index_one_it_is_newton(flow: float, mu: float) -> None:
    ours = nozzle_flow.herschel_bulkley_pressure(
        flow, yield_pa=0, consistency=mu, index=1, bore_m=0.02, length_m=0.05
    )
    newton = nozzle_flow.newton_pressure(flow, viscosity_pa_s=mu, bore_m=0.02, length_m=0.05)
    assert ours == pytest.approx(newton, rel=1e-9)


@given(st.floats(0, 5000), st.floats(0, 2000), st.floats(1, 500))
def test_index_one_is_bingham(wall: float, stress: float, mu: float) -> None:
    bingham = nozzle_flow.bingham_flow(wall, yield_pa=stress, viscosity_pa_s=mu, bore_m=0.02)
    ours = nozzle_flow.herschel_bulkley_flow(
        wall, yield_pa=stress, consistency=mu, index=1, bore_m=0.02
    )
    assert ours == pytest.approx(bingham, rel=1e-6, abs=1e-18)
    if wall <= stress:
        assert ours == 0


@given(st.floats(0.01, 0.04), st.floats(0, 0.1))
def test_a_narrower_die_and_a_faster_paste_need_more(bore: float, speed: float) -> None:
    def need(d: float, v: float) -> float:
        return paste.paste_pressure(
            v, barrel_m=0.05, bore_m=d, land_m=0.02, entry_pa=5e4, entry_rise=1e5,
            entry_index=0.5, wall_pa=5e3, wall_rise=2e4, wall_index=0.4,
        )  # fmt: skip

    assert need(bore * 0.9, speed) > need(bore, speed)
    assert need(bore, speed + 0.01) > need(bore, speed)


@given(PRESSURES, LENGTHS)
def test_force_and_pressure_go_round(pressure: float, bore: float) -> None:
    force = thrust.plunger_force(pressure, bore_m=bore, seal_n=0)
    assert thrust.barrel_pressure(force, bore_m=bore) == pytest.approx(pressure)
    assert thrust.fastener_load(pressure, bore_m=bore, fasteners=4) == pytest.approx(force / 4)


@given(st.floats(0.001, 1), LENGTHS, st.floats(500, 1500))
def test_stroke_and_grams_go_round(mass: float, bore: float, rho: float) -> None:
    way = portions.stroke(mass, bore_m=bore, density_kg_m3=rho)
    assert way * feed_steps.mass_per_way(bore, density_kg_m3=rho) == pytest.approx(mass)
    assert portions.strand_length(mass, strand_m=bore, density_kg_m3=rho) == pytest.approx(way)


# The air.


@given(st.floats(0, 1.5), st.floats(0, 0.9))
def test_the_share_of_flow_only_falls(ratio: float, b: float) -> None:
    share = flow_share(ratio, critical=b)
    assert 0 <= share <= 1
    assert flow_share(ratio + 0.01, critical=b) <= share
    assert (share == 1) >= (ratio <= b)
    assert (share == 0) >= (ratio >= 1)


def fill(to_pa: float, **other: float) -> float:
    """A fill from 1 to at most 5 bar of a common cylinder."""
    given = {"from_pa": 1e5, "supply_pa": 5e5, "volume_m3": 1e-5, "conductance": 3e-9}
    return air_flow.fill_time(to_pa, critical=0.3, **{**given, **other})


@given(st.floats(1e5, 4.9e5), st.floats(1.01, 3))
def test_filling_takes_longer_for_more_and_through_less(to_pa: float, factor: float) -> None:
    time = fill(to_pa)
    assert fill(to_pa + 1e3) > time
    assert fill(to_pa, volume_m3=1e-5 * factor) == pytest.approx(time * factor)
    assert fill(to_pa, conductance=3e-9 * factor) == pytest.approx(time / factor)


@given(st.floats(1e-10, 1e-8), st.floats(1e-10, 1e-8), st.floats(0, 0.9))
def test_two_parts_let_through_less_than_either_and_choke_later(
    first: float, second: float, b: float
) -> None:
    both = air_flow.in_series(first, second=second, critical=b)
    assert 0 < both <= min(first, second) * (1 + 1e-12)
    assert air_flow.in_series(first * 1.1, second=second, critical=b) >= both * (1 - 1e-12)
    assert air_flow.in_series(first, second=second * 1.1, critical=b) >= both * (1 - 1e-12)
    ratio = air_flow.critical_in_series(both, upstream=first, downstream=second, critical=b)
    assert 0 <= ratio <= b + 1e-9


@given(PRESSURES, PRESSURES)
def test_meter_out_hides_the_supply_and_an_open_needle_shows(one: float, other: float) -> None:
    def speed(p: float, needle: float) -> float:
        return cutter_speed.speed(
            p, ambient_pa=1e5, area_m2=1.7e-4, conductance=needle, critical=0.3
        )

    low, high = sorted((one, other))
    assert speed(low, 5e-10) <= speed(high, 5e-10)
    assert speed(low, 1e-9) == pytest.approx(2 * speed(low, 5e-10))
    if low > 3e5:
        assert speed(low, 5e-10) == speed(high, 5e-10)


def delay(bar: float, needle: float = 2.8e-10) -> float:
    """Start delay of a common cylinder behind a tight needle, 0.16 m/s."""
    return start_delay.start_delay(
        bar * 1e5, ambient_pa=1e5, area_out_m2=2.01e-4, area_back_m2=1.73e-4,
        volume_out_m3=4e-6, volume_back_m3=11.6e-6, fill=2.4e-9, fill_critical=0.3,
        needle=needle, needle_critical=0.3, breakaway_n=8,
    )  # fmt: skip


def test_the_start_delay_shows_the_supply_and_the_stroke_does_not() -> None:
    """Common practice: from 2 to 4 bar the stroke changes by less than 15 %, the delay by more
    than 25 %."""
    assert delay(1) > delay(2) > delay(4) > 0
    assert delay(2) > 1.25 * delay(4)
    assert delay(1, needle=2e-10) > delay(1)
    speeds = [
        cutter_speed.speed(
            cutter_speed.back_pressure(
                bar * 1e5, area_out_m2=2.01e-4, area_back_m2=1.73e-4, load_n=6
            ),
            ambient_pa=1e5, area_m2=1.73e-4, conductance=5e-10, critical=0.3,
        )
        for bar in (2, 4)
    ]  # fmt: skip
    assert speeds[1] / speeds[0] < 1.15


@given(PRESSURES, st.floats(0.011, 0.1))
def test_a_rod_takes_force_from_the_way_back(pressure: float, bore: float) -> None:
    push = cylinder.push_force(pressure, bore_m=bore)
    assert 0 < cylinder.pull_force(pressure, bore_m=bore, rod_m=0.01) < push
    thin = cylinder.pull_force(pressure, bore_m=bore, rod_m=1e-6)
    assert thin == pytest.approx(push, rel=1e-6)


@given(PRESSURES, st.floats(1e-6, 1))
def test_stored_energy_keeps_its_order(pressure: float, volume: float) -> None:
    """PCC-2's isentropic figure is below Brode's, and below the work of an isothermal fill."""
    pcc2 = stored_energy.air_energy(pressure, volume_m3=volume)
    full = stored_energy.PCC2_AMBIENT_PA + pressure
    isothermal = full * volume * math.log(full / stored_energy.PCC2_AMBIENT_PA)
    assert 0 < pcc2 < pressure * volume / 0.4
    assert pcc2 < isothermal
    more = stored_energy.air_energy(pressure * 1.1, volume_m3=volume)
    assert more > pcc2


@given(PRESSURES, st.floats(1e-7, 1e-2), st.floats(0.01, 5))
def test_trapped_gas_gives_what_its_cap_takes(p: float, volume: float, mass: float) -> None:
    energy = stored_energy.trapped_gas(p, volume_m3=volume, ambient_pa=1e5)
    speed = stored_energy.leaving_speed(energy, mass_kg=mass)
    assert mass * speed**2 / 2 == pytest.approx(energy)
    assert stored_energy.trapped_gas(p * 1.1, volume_m3=volume, ambient_pa=1e5) > energy


@given(st.floats(0, 3), st.floats(0, 1))
def test_faster_and_higher_is_further(speed: float, drop: float) -> None:
    here = throw.throw_distance(speed, drop_m=drop)
    assert throw.throw_distance(speed + 0.1, drop_m=drop) >= here
    assert throw.throw_distance(speed, drop_m=drop + 0.1) >= here


@given(st.floats(0.005, 0.1), st.floats(0.003, 0.05))
def test_tighter_means_take_more_weighings(spread: float, within: float) -> None:
    few, many = (
        weighing.weighings(spread, within=share, certainty="95 %") for share in (within, 0.002)
    )
    assert 4 <= few <= many
    assert weighing.weighings(spread, within=within, certainty="99 %") >= few


@given(st.floats(0, 0.1), st.floats(0.001, 0.05), st.floats(0.01, 1))
def test_a_longer_way_takes_longer(way: float, speed: float, accel: float) -> None:
    time = period.move_time(way, speed_m_s=speed, accel_m_s2=accel)
    assert time >= way / speed
    assert period.move_time(way + 0.001, speed_m_s=speed, accel_m_s2=accel) > time


@given(st.floats(1e-9, 1e9), st.sampled_from(sorted(UNITS)))
def test_units_go_round(value: float, unit: str) -> None:
    assert value * UNITS[unit] / UNITS[unit] == pytest.approx(value, rel=1e-12)


REFUSED: list[tuple[Callable[[], float], str]] = [
    (lambda: feed_steps.step_way(0, steps_per_turn=200, microsteps=8), "lead_m"),
    (lambda: feed_steps.mass_per_way(0.05, density_kg_m3=math.nan), "density_kg_m3"),
    (lambda: feed_steps.step_rate(-1, way_m=1e-6), "speed_m_s"),
    (lambda: screw.mean_diameter(0.004, lead_m=0.01, starts=1, thread="square"), "lead_m"),
    (lambda: screw.collar_torque(-1, collar_m=0, friction=0), "force_n"),
    (lambda: screw.efficiency(1, lead_m=0.002, torque_nm=0), "torque_nm"),
    (lambda: motor.pull_out(1, holding_nm=0, rate_max_1_s=1), "holding_nm"),
    (lambda: motor.stall_force(1, torque_per_force_m=0), "torque_per_force_m"),
    (lambda: nozzle_flow.wall_rate(1, bore_m=0.02, index=0), "index"),
    (lambda: thrust.wall_friction(1, bore_m=0, stress_pa=1), "bore_m"),
    (lambda: thrust.fastener_load(1, bore_m=0.05, fasteners=0), "fasteners"),
    (lambda: portions.portions(0.1, prime_m=-1, stroke_m=0.01), "prime_m"),
    (lambda: cylinder.pull_force(1, bore_m=0.01, rod_m=0.01), "rod_m"),
    (lambda: cylinder.cut_force(0, per_width_n_m=1), "strand_m"),
    (lambda: air_use.duty(1, period_s=0, delivery_m3_s=1), "period_s"),
    (lambda: fill(6e5), "to_pa"),
    (lambda: fill(4e5, conductance=0.0), "conductance"),
    (lambda: flow_share(0.5, critical=1.0), "critical"),
    (lambda: air_flow.in_series(1, second=0, critical=0.3), "second"),
    (lambda: air_flow.in_series(1, second=1, critical=1.0), "critical"),
    (lambda: air_flow.critical_in_series(1, upstream=0, downstream=1, critical=0.3), "upstream"),
    (lambda: ring_area(0.016, rod_m=0.016), "rod_m"),
    (lambda: cutter_speed.back_pressure(1, area_out_m2=1e-4, area_back_m2=1e-4, load_n=9),
     "load_n"),
    (lambda: delay(0.1), "breakaway_n"),
    (lambda: stored_energy.trapped_gas(1, volume_m3=1, ambient_pa=0), "ambient_pa"),
    (lambda: stored_energy.leaving_speed(1, mass_kg=0), "mass_kg"),
    (lambda: throw.throw_distance(1, drop_m=-1), "drop_m"),
    (lambda: step_up.input_current(1, supply_v=5, efficiency=1.1), "efficiency"),
    (lambda: weighing.weighings(0.02, within=0, certainty="95 %"), "within"),
    (lambda: weighing.weighings(0.5, within=1e-5, certainty="95 %"), "within"),
    (lambda: weighing.student("95 %", 2), "freedom"),
    (lambda: period.move_time(1, speed_m_s=0, accel_m_s2=1), "speed_m_s"),
]  # fmt: skip


@pytest.mark.parametrize(("compute", "argument"), REFUSED)
def test_what_cannot_be_is_refused_by_name(compute: Callable[[], float], argument: str) -> None:
    with pytest.raises(Impossible, match=f"'{argument}'"):
        compute()
