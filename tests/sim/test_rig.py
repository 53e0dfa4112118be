"""The rig by lines of the wire alone: what a host sees of a whole portion, and what people do."""

from __future__ import annotations

import itertools

import pytest

from benchd.config import dough, read_card
from protocols.codes import MOVE_ENDINGS, MOVES, OUTCOMES, PHASES, PIN
from protocols.messages import (
    Arm,
    Beat,
    Bench,
    Clear,
    Detail,
    Draft,
    Drive,
    Edge,
    Ended,
    Fire,
    Hello,
    Here,
    Lost,
    Move,
    Moved,
    No,
    Phase,
    Run,
    Sample,
    Tally,
    Trip,
)
from sim.plant.bench_plant import FIDELITIES
from sim.rig import FaultBegan, PieceFell, TubeIn, TubeLow
from tests.sim.wire_host import EXAMPLES, WireHost

RESTARTED = 20


def steps(host: WireHost, way_m: float) -> int:
    return host.card.facts.steps(way_m)


def wake(host: WireHost, position: int = 0) -> None:
    """From power-up to READY with a known position."""
    host.next(Bench)
    host.load()
    host.do(Clear, RESTARTED)
    host.do(Drive, 1)
    host.do(Here, position)
    # The cutter counts as home after 50 ms there.
    host.run(0.1)


def move(host: WireHost, kind: str, way_m: float, speed_m_s: float = 0.002) -> Moved:
    """A move by hand from order to end."""
    start = len(host.heard)
    host.do(Move, MOVES.index(kind), steps(host, way_m), steps(host, speed_m_s), beat=True)
    host.wait(lambda: bool(host.since(start, Moved)))
    return host.since(start, Moved)[0]


def prime(host: WireHost) -> None:
    """From READY with a fresh tube to a flowing strand, cut off."""
    assert MOVE_ENDINGS[move(host, "approach", 0.030).reason] == "contact"
    assert MOVE_ENDINGS[move(host, "prime", 0.040).reason] == "flowing"
    stroke(host)


def stroke(host: WireHost) -> Ended:
    """A dry stroke, armed and fired."""
    host.run(1.0)
    host.do(Arm)
    start = len(host.heard)
    host.do(Fire, beat=True)
    host.wait(lambda: bool(host.since(start, Ended)))
    return host.since(start, Ended)[0]


def order(host: WireHost, number: int) -> None:
    """Loads the program of the example dough and starts it."""
    card = dough(read_card(EXAMPLES / "masa.yaml"), "masa.yaml", host.card.facts)
    way = [steps(host, m) for m in (card.take_up_m, card.stroke_m, card.push_speed_m_s)]
    host.do(Draft, number, *way)
    times_ms = round(card.settle_s * 1e3), round(card.dwell_s * 1e3)
    host.do(Detail, number, steps(host, card.draw_back_m), *times_ms)
    host.do(Run, number, 0, beat=True)


def make(host: WireHost, number: int) -> Ended:
    """One portion from order to end."""
    start = len(host.heard)
    order(host, number)
    host.wait(lambda: bool(host.since(start, Ended)))
    return host.since(start, Ended)[0]


@pytest.mark.slow
def test_portions_fall_and_every_event_tells_its_part(seed: int) -> None:
    host = WireHost(seed=seed)
    wake(host)
    prime(host)
    fallen = len(host.rig.pieces())
    start = len(host.heard)
    for number in range(1, 6):
        assert OUTCOMES[make(host, number).outcome] == "complete"
    host.run(0.5)
    heard = host.heard[start:]
    phases = [PHASES[m.phase] for m in heard if isinstance(m, Phase)]
    assert phases == [*PHASES[1:]] * 5
    tallies = [m for m in heard if isinstance(m, Tally)]
    assert len(tallies) == 5
    assert all(tally.made == tally.asked > 0 for tally in tallies)
    ways = [(m.signal, m.level) for m in heard if isinstance(m, Edge) and m.portion == 1]
    for name in ("valve", "far"):
        assert [level for signal, level in ways if signal == PIN[name]] == [1, 0], name
    assert [level for signal, level in ways if signal == PIN["home"]] == [0, 1]
    assert not host.bad
    assert not [m for m in heard if isinstance(m, Trip | No | Lost)]
    pieces = host.rig.pieces()[fallen:]
    assert [piece.portion for piece in pieces] == [1, 2, 3, 4, 5]
    # The first after a prime differs by what the prime left hanging (common practice).
    masses_g = [piece.mass_kg * 1e3 for piece in pieces[1:]]
    # Its spread is about 0.8 g from portion to portion; these are five times that and more.
    assert 28.0 < sum(masses_g) / len(masses_g) < 32.0
    assert 25.5 < min(masses_g) < max(masses_g) < 34.5
    for piece in pieces:
        assert piece.scale_kg == pytest.approx(piece.mass_kg, abs=3e-4)
    assert [n for n in host.rig.news() if isinstance(n, PieceFell)][-5:] == pieces


@pytest.mark.slow
def test_dough_is_never_made_or_lost(seed: int) -> None:
    host = WireHost(seed=seed)
    wake(host)
    prime(host)
    make(host, 1)
    balance = host.rig.mass_balance()
    gone = balance.out_kg + balance.waste_kg + balance.barrel_kg
    assert gone == pytest.approx(balance.loaded_kg, rel=1e-9)
    assert balance.out_kg == pytest.approx(sum(p.mass_kg for p in host.rig.pieces()), rel=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("fidelity", FIDELITIES)
def test_edges_of_the_blade_come_at_their_time_in_long_slices_as_well(fidelity: str) -> None:
    seen = []
    for quantum_us in (500, 20_000):
        host = WireHost(seed=3, fidelity=fidelity, quantum_us=quantum_us)
        host.tick_us = 20_000
        wake(host)
        start = len(host.heard)
        stroke(host)
        edges = host.since(start, Edge)
        seen.append([(one.signal, one.level, one.t_us - edges[0].t_us) for one in edges])
    fine, coarse = seen
    assert [one[:2] for one in coarse] == [one[:2] for one in fine]
    assert len(fine) == 6
    for a, b in zip(coarse, fine, strict=True):
        # While the supply recovers it is looked at every 5 ms.
        assert a[2] == pytest.approx(b[2], abs=5_000), (coarse, fine)


@pytest.mark.slow
def test_pieces_do_not_depend_on_the_length_of_slices_nor_on_how_the_blade_is_moved() -> None:
    # The prime ends by the eye, which long slices look at later, so that the trim is not compared.
    masses_kg = []
    for fidelity, quantum_us in itertools.product(FIDELITIES, (2_000, 20_000)):
        host = WireHost(seed=3, fidelity=fidelity, quantum_us=quantum_us, faults=("leak@2",))
        host.tick_us = 20_000
        wake(host)
        prime(host)
        for number in range(1, 5):
            make(host, number)
        masses_kg.append([piece.mass_kg for piece in host.rig.pieces()][2:])
    for seen_kg in masses_kg:
        assert seen_kg == pytest.approx(masses_kg[0], abs=5.0e-5)


@pytest.mark.slow
def test_same_seed_same_bytes_other_seed_other_bytes() -> None:
    sent = []
    for seed in (5, 5, 6):
        host = WireHost(seed=seed)
        wake(host)
        move(host, "approach", 0.030)
        move(host, "jog", 0.010)
        sent.append(bytes(host.raw))
    assert sent[0] == sent[1]
    assert sent[0] != sent[2]


def test_board_hears_what_the_sensors_read(seed: int) -> None:
    host = WireHost(seed=seed)
    wake(host)
    sample = host.next(Sample)
    seen = host.rig.readings()
    assert sample.air == pytest.approx(seen.air_pa / 100.0, abs=40)
    assert sample.supply == pytest.approx(seen.supply_v * 1e3, abs=25)
    assert sample.eye == pytest.approx(seen.eye_counts, abs=60)
    assert sample.thrust < 50
    beat = host.next(Beat)
    on = {name for name, bit in PIN.items() if beat.pins >> bit & 1}
    assert on == {"guard", "stop", "home", "ends", "drive", "known", "adopted"}


@pytest.mark.slow
def test_thrust_is_read_as_the_card_says(seed: int) -> None:
    host = WireHost(seed=seed)
    wake(host)
    move(host, "approach", 0.030)
    move(host, "jog", 0.010)
    host.run(0.6)
    sample = host.next(Sample)
    assert host.rig.readings().thrust_n > 20.0
    # One count of the card's sensor is 0.54 N, and noise is within 1 N.
    assert sample.thrust / 10 == pytest.approx(host.rig.readings().thrust_n, abs=3.0)


def test_what_is_not_fitted_is_not_connected(seed: int) -> None:
    host = WireHost(seed=seed, card="smallest.yaml")
    wake(host)
    sample = host.next(Sample)
    assert (sample.thrust, sample.air, sample.supply) == (65_535, 65_535, 65_535)
    # Guard and stop read 0 at the board; it moves because it never looks at them.
    assert MOVE_ENDINGS[move(host, "jog", 0.002).reason] == "reached"
    assert not host.since(0, Trip)


@pytest.mark.parametrize(("name", "on", "interlock"), [("guard", False, 2), ("stop", True, 1)])
def test_guard_and_stop_trip_at_once(name: str, on: bool, interlock: int, seed: int) -> None:
    host = WireHost(seed=seed)
    wake(host)
    host.do(Move, MOVES.index("jog"), steps(host, 0.004), steps(host, 0.002), beat=True)
    host.run(0.5)
    host.rig.press(name, on)
    trip = host.next(Trip, 0.1)
    assert trip.interlock == interlock
    before = host.rig.feed_m
    host.run(0.2)
    assert host.rig.feed_m == before
    still = host.ask(Clear, interlock)
    assert isinstance(still, No)
    host.rig.press(name, not on)
    host.run(0.1)
    host.do(Clear, interlock)


def test_local_switches_feed(seed: int) -> None:
    host = WireHost(seed=seed)
    wake(host)
    host.rig.press("forward", True)
    host.run(0.5)
    host.rig.press("forward", False)
    moved = host.next(Moved, 1.0)
    assert (MOVES[moved.kind], MOVE_ENDINGS[moved.reason]) == ("local", "released")
    assert 0 < moved.position < steps(host, 0.001)


def test_unknown_switch_and_cause_are_errors() -> None:
    host = WireHost()
    with pytest.raises(KeyError):
        host.rig.press("lamp", True)
    with pytest.raises(ValueError, match="sunshine"):
        host.rig.reset("sunshine")


def test_reset_is_a_new_life_of_the_same_board(seed: int) -> None:
    host = WireHost(seed=seed)
    wake(host)
    first = host.since(0, Bench)[0]
    host.rig.reset("watchdog")
    host.say(Hello())
    second = host.next(Bench, 1.0)
    assert (second.boot, second.cause) == (first.boot + 1, "watchdog")
    beat = host.next(Beat)
    assert beat.latches >> (RESTARTED - 1) & 1
    assert not beat.pins >> PIN["known"] & 1


@pytest.mark.slow
def test_backing_out_changes_the_tube(seed: int) -> None:
    host = WireHost(seed=seed)
    wake(host)
    move(host, "approach", 0.030)
    with pytest.raises(ValueError, match="back the feed out"):
        host.rig.load_tube()
    move(host, "jog", -host.rig.feed_m, 0.008)
    assert not [n for n in host.rig.news() if isinstance(n, TubeIn)]
    host.run(1.5)
    assert len([n for n in host.rig.news() if isinstance(n, TubeIn)]) == 1
    # The new one is where the first was.
    assert MOVE_ENDINGS[move(host, "approach", 0.030).reason] == "contact"
    assert host.rig.feed_m == pytest.approx(0.005, abs=0.002)
    assert not host.since(0, Trip)


@pytest.mark.slow
def test_a_planned_fault_shows_on_the_wire_and_is_told(seed: int) -> None:
    host = WireHost(seed=seed, faults=("low-air@2:1.0",))
    wake(host)
    prime(host)
    assert OUTCOMES[make(host, 1).outcome] == "complete"
    assert OUTCOMES[make(host, 2).outcome] == "tripped"
    assert [trip.interlock for trip in host.since(0, Trip)] == [16]
    told = [n.fault for n in host.rig.news() if isinstance(n, FaultBegan)]
    assert [(fault.name, fault.portion) for fault in told] == [("low-air", 2)]


@pytest.mark.slow
def test_an_emptying_tube_is_told_once(seed: int) -> None:
    host = WireHost(seed=seed)
    wake(host)
    left = host.card.facts.travel_m - host.card.facts.heel_m
    move(host, "jog", left - 0.025, 0.004)
    assert not [n for n in host.rig.news() if isinstance(n, TubeLow)]
    move(host, "jog", 0.010, 0.004)
    told = [n for n in host.rig.news() if isinstance(n, TubeLow)]
    assert len(told) == 1
    assert told[0].left_m == pytest.approx(0.020, abs=1e-4)
