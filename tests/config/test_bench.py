"""The bench card: facts and limits against hand calculation, and a sentence for each mistake."""

from __future__ import annotations

from collections.abc import Callable

import pytest
import yaml

from benchd.config import BenchCard, CardError, bench_card, bench_facts, port_of
from benchd.config.bench_keys import BENCH_KEYS, PART_OF, WIRES, group_of
from protocols.limits import FITTED_BITS, GROUPS, LIMIT_BY_NAME, LIMITS
from protocols.pins import BOARD_PINS, SERIAL

Altered = Callable[..., str]


def sentences(text: str) -> tuple[str, ...]:
    with pytest.raises(CardError) as caught:
        bench_card(text, "b.yaml")
    return caught.value.sentences


def test_facts_of_the_full_example(maize: BenchCard) -> None:
    facts = maize.facts
    assert facts.name == "maize"
    assert facts.steps_per_m == 800_000  # 200 x 8 microsteps in 2 mm
    assert facts.bore_m == pytest.approx(0.050)
    assert facts.nozzle_bore_m == pytest.approx(0.024)
    assert facts.travel_m == pytest.approx(0.210)
    assert set(facts.fitted) == set(FITTED_BITS) - {"ready", "drop"}
    assert facts.simulated
    assert facts.watch.attendance_min == pytest.approx(10)
    assert facts.watch.proof_days == pytest.approx(30)
    assert facts.watch.odd_share == pytest.approx(0.08)
    assert facts.scale_readability_kg == pytest.approx(1e-4)
    assert (maize.port, maize.baud) == ("./bench-port", 250_000)


# Worked by hand from the example: 800 steps a mm; strand to feed by (24/50)^2 = 0.2304.
BY_HAND = {
    "fitted": 4095,
    "accel": 40_000,
    "stop_decel": 160_000,
    "speed_max": 6400,
    "travel_min": 0,
    "travel_max": 158_400,
    "local_speed": 800,
    "draw_speed": 6400,
    "drive_hold": 3,
    "release_ms": 2000,
    "valve_home": 0,
    "cut_ms": 330,
    "return_ms": 370,
    "cut_max_ms": 990,
    "return_max_ms": 1110,
    "valve_max_ms": 2000,
    "still_ms": 100,
    "eye_on": 1023,
    "eye_off": 0,
    "gap": 2765,
    "first_flow": 20_000,
    "thrust_max": 4000,
    "ease": 1200,
    "thrust_zero": 102,
    "thrust_full": 5000,
    "air_zero": 102,
    "air_full": 10_000,
    "air_min": 1500,
    "air_max": 3000,
    "supply_min": 4500,
    "sample_ms": 500,
    "sample_busy_ms": 50,
    "lease_ms": 500,
    "held_ms": 200,
    "push_max_ms": 30_000,
    "contact": 200,
    "prime_flow": 5530,
    "direction": 0,
}


def test_limits_of_the_full_example(maize: BenchCard) -> None:
    assert maize.facts.limits == BY_HAND
    assert set(BY_HAND) == {limit.name for limit in LIMITS}


def test_the_smallest_bench_leaves_out_all_it_lacks(smallest_text: str) -> None:
    facts = bench_facts(smallest_text, "smallest.yaml")
    assert set(facts.fitted) == {"eye", "local"}
    assert facts.limits["fitted"] == (1 << 5) + (1 << 9)
    assert facts.limits["thrust_max"] == 65_534
    assert (facts.limits["air_min"], facts.limits["air_max"]) == (0, 65_534)
    assert facts.limits["drive_hold"] == 1
    assert not facts.simulated
    assert port_of(smallest_text, "smallest.yaml").port == "/dev/ttyUSB0"


def test_every_limit_of_a_card_lies_in_the_boards_range(smallest_text: str) -> None:
    limits = bench_facts(smallest_text, "smallest.yaml").limits
    for limit in LIMITS:
        assert limit.low <= limits[limit.name] <= limit.high, limit.name


CHANGES = [
    (("direction: normal ", "direction: reversed "), {"direction": 1}),
    (("after_stop: held ", "after_stop: released "), {"drive_hold": 2}),
    (("keeps_position: yes", "keeps_position: no"), {"drive_hold": 1}),
    (("rest: home ", "rest: far "), {"valve_home": 1}),
    (("microsteps: 8 ", "microsteps: 4 "), {"speed_max": 3200, "travel_max": 79_200}),
    (("  return_time: 370 ms", "  return_time: 370 ms\n  longest: 0.9 s"), {"cut_max_ms": 900}),
    (
        ("scale:", "eye: {empty: 240, dough: 830}\nscale:"),
        {"eye_on": 594, "eye_off": 476},
    ),
    (("bore: 24 mm", "bore: 1 in"), {"gap": 3097}),  # 12000 x (25.4/50)^2
    (("scale:", "lease: {program: 2 s, held: 0.3 s}\nscale:"), {"lease_ms": 2000, "held_ms": 300}),
]


@pytest.mark.parametrize(("change", "limits"), CHANGES)
def test_a_change_of_the_card_changes_its_limits(
    altered: Altered, change: tuple[str, str], limits: dict[str, int]
) -> None:
    now = bench_facts(altered(change), "b.yaml").limits
    assert {name: now[name] for name in limits} == limits


def test_direction_changes_the_sign_and_nothing_else(altered: Altered) -> None:
    """Common practice: the direction line changes the sign of a move only."""
    text = altered(("direction: normal ", "direction: reversed "))
    assert bench_facts(text, "b.yaml").limits == BY_HAND | {"direction": 1}


SAME = [
    ("heel: 12 mm", "heel: 1.2 cm # same"),
    ("bore: 24 mm", "bore: 0.024 m"),
    ("fitted: [guard, stop,", "fitted: [stop, guard,"),
    ("port: ./bench-port ", "port: /dev/ttyUSB0 "),
    ("readability: 0.1 g", "readability: 1 g"),
    # Pins are those of the firmware, so that to name them is a remark.
    ("scale:", "pins: {guard: D2}\nscale:"),
    ("steps_per_turn: 200", "step_angle: 1.8 deg"),
    ("steps_per_turn: 200", "steps_per_turn: 200\n  step_angle: 1.8 deg"),
]


@pytest.mark.parametrize("change", SAME)
def test_a_digest_rests_on_values_alone(
    altered: Altered, maize: BenchCard, change: tuple[str, str]
) -> None:
    assert bench_facts(altered(change), "b.yaml").digests == maize.facts.digests


CHANGED_GROUPS = [
    (("steps_per_turn: 200", "step_angle: 0.9 deg"), ["motion", "eye"]),
    (("cut_time: 330 ms", "longest: 1 s\n  cut_time: 330 ms"), ["air"]),
    (("air_min: 1.5 bar", "air_min: 1.6 bar"), ["air"]),
    # No limit of the board tells these apart, and yet a proof of the old bench says nothing.
    (("  stroke: 50 mm", "  stroke: 60 mm"), ["air"]),
    (("simulated: yes ", "simulated: no "), ["wiring"]),
    (("approach: 30 mm", "approach: 40 mm"), ["motion"]),
    (("  gap: 15 mm", "  gap: 16 mm"), ["eye"]),
]


def test_the_longest_stroke_that_follows_by_itself_is_no_other_bench(altered: Altered) -> None:
    even = ("return_time: 370 ms", "return_time: 330 ms")
    said = ("cut_time: 330 ms", "longest: 990 ms\n  cut_time: 330 ms")
    before, after = (bench_facts(altered(*all_of), "b.yaml") for all_of in ((even,), (even, said)))
    assert before.digests == after.digests


@pytest.mark.parametrize(("change", "groups"), CHANGED_GROUPS)
def test_a_proof_rests_on_its_group_only(
    altered: Altered, maize: BenchCard, change: tuple[str, str], groups: list[str]
) -> None:
    before = maize.facts.digests
    after = bench_facts(altered(change), "b.yaml").digests
    assert [group for group in GROUPS if before[group] != after[group]] == groups


def test_a_key_lies_in_the_group_of_its_limit() -> None:
    for wire in WIRES:
        assert group_of(wire.path) == LIMIT_BY_NAME[wire.limit].group, wire.path
    assert {group_of(key.path) for key in BENCH_KEYS} == {"", *GROUPS}


MISTAKES = [
    (
        ("  bore: 50 mm", "  bor: 50 mm"),
        "'feed.bor' is no key of this card; the nearest is 'feed.bore'.",
    ),
    (("bench: maize", "bensh: maize"), "'bensh' is no key of this card; the nearest is 'bench'."),
    (("bench: maize\n", ""), "b.yaml: 'bench' is missing: the name of this bench."),
    (
        ("  bore: 50 mm", "  bore: 5 mm"),
        "is outside what is possible, 10 to 120 mm. Bore 5 mm gives 0.02 g/mm. Did you mean 50 mm?",
    ),
    (
        ("  bore: 50 mm", "  bore: 50"),
        "'feed.bore: 50' has no unit; write a length such as '50 mm'.",
    ),
    # Inches taken for millimetres, or a lost digit: both fit, so both are named.
    (("  bore: 50 mm", "  bore: 1.9685 mm"), "Did you mean 19.68 mm or 50 mm?"),
    (("  bore: 50 mm", "  bore: 0.05 mm"), "Did you mean 50 mm?"),
    (("  bore: 50 mm", "  bore: 0.05"), "write a length such as '0.05 m'."),
    (("  cut_time: 330 ms ", "  cut_time: 0.33 "), "write a time such as '0.33 s'."),
    (("scale:", "watch: {tube_open: 2}\nscale:"), "write a time such as '2 h'."),
    (("  bore: 50 mm", "  bore: 50 bar"), "is a pressure, not a length; write it in mm."),
    (("bore: 24 mm", "bore: 60 mm"), "a nozzle of 60 mm is not narrower than the barrel of 50 mm"),
    (("heel: 12 mm", "heel: 200 mm\n  zzz: 1"), "'feed.zzz' is no key"),
    (("travel: 210 mm", "travel: 11 mm"), "the heel is as long as the whole travel"),
    (("microsteps: 8 ", "microsteps: 8.5 "), "must be a whole number."),
    (("microsteps: 8 ", "microsteps: 64 "), "'feed.top_speed' becomes 51200 steps/s on the board"),
    (("jog_speed: 2 mm/s", "jog_speed: 9 mm/s"), "is faster than 'feed.top_speed' 8 mm/s"),
    (  # Common practice: one outlet pushes one way.
        ("valve: 5/2 spring return", "valve: 3/2 spring return"),
        "cannot reverse a double-acting cylinder",
    ),
    (
        ("valve: 5/2 spring return", "valve: 5/2 two coils"),
        "it can be '5/2 spring return' or '3/2 spring return'.",
    ),
    (("rod: 6 mm", "rod: 16 mm"), "the rod is as thick as the cylinder's bore"),
    (("stroke: 50 mm", "stroke: 20 mm"), "cannot cut a strand of 24 mm"),
    (
        ("  return_time: 370 ms", "  return_time: 370 ms\n  longest: 350 ms"),
        "'cutter.longest' is shorter than 'cutter.return_time'",
    ),
    (
        ("  cut_time: 330 ms ", "  cut_time: 700 ms "),
        "must be longer than the longest cut, 2100 ms.",
    ),
    (("air_min: 1.5 bar", "air_min: 3.5 bar"), "'limits.air_min' must be below 'limits.air_max'."),
    (("thrust: 400 N", "thrust: 500 N"), "a limit at or above that would never trip."),
    (("thrust: 400 N", "contact: 20 N"), "'thrust' is fitted, so 'limits.thrust' must be given."),
    (("eye, thrust, air", "eye, air"), "'limits.thrust' is given, but 'thrust' is not in 'fitted'"),
    (("eye, thrust, air", "eye, thrist, air"), "which is no part; the nearest is 'thrust'"),
    (("eye, thrust, air", "eye, eye, air"), "has 'eye' twice."),
    (("scale:", "eye: {empty: 240}\nscale:"), "'eye.empty' and 'eye.dough' belong together"),
    (("scale:", "eye: {empty: 240, dough: 280}\nscale:"), "overlap"),
    (("scale:", "eye: {empty: 800, dough: 280}\nscale:"), "inverted"),
    (("port: ./bench-port ", "port: socket://host "), "'port': socket://host is no whole address"),
    (("scale:\n", "scale:\n  port: rfc2217://:9\n"), "'scale.port': rfc2217://:9 is no whole"),
    (("port: ./bench-port ", "port: [a, b] "), "is a list; one value belongs here."),
    (("simulated: yes ", "simulated: maybe "), "it can be 'yes' or 'no'."),
    (("scale:", "watch: {odd_count: 9}\nscale:"), "cannot be more than 'watch.odd_window'."),
    (
        ("scale:", "cutter.valve: x\nscale:"),
        "has the key 'cutter.valve'; put 'valve' under 'cutter:'.",
    ),
    (("scale:\n", "eye: 3\nscale:\n"), "'eye' is a section; put its keys under it, indented."),
    (
        ("scale:", "pins: {guard: D2, stop: D2}\nscale:"),
        "'guard' and 'stop' are both on D2; 'stop' is on D3 of this board's firmware; its pins",
    ),
    (
        ("scale:", "pins: {step: D2}\nscale:"),
        "'step' is on D8 of this board's firmware; its pins cannot be chosen.",
    ),
    (("scale:", "pins: {guard: D1}\nscale:"), "it can be 'D2', 'D3'"),
    (("scale:", "pins: {eye: D3}\nscale:"), "'eye' is on A0 of this board's firmware"),
    (
        ("local, button,", "local, button, ready,"),
        "'button' and 'ready' are both on A4; keep one.",
    ),
    (
        ("scale:", "pins: {button: A4, ready: A4}\nscale:"),
        "'button' and 'ready' are both on A4; keep one.",
    ),
    (("microsteps: 8 ", "step_angle: 1.7 deg\n  microsteps: 8 "), "gives 211.76 steps per turn"),
    (
        ("microsteps: 8 ", "step_angle: 0.9 deg\n  microsteps: 8 "),
        "gives 400 steps per turn, and 'feed.steps_per_turn' says 200; keep one.",
    ),
    (("  bore: 50 mm", "  bore: 2 bore"), "has the unknown unit 'bore'"),
    (("nozzle:\n  bore: 24 mm", "nozzle:\n  starts: 1"), "the nearest is 'feed.starts'."),
]


@pytest.mark.parametrize(("change", "says"), MISTAKES)
def test_a_mistake_is_a_sentence_with_its_line(
    altered: Altered, change: tuple[str, str], says: str
) -> None:
    text = altered(change)
    found = sentences(text)
    assert any(says in sentence for sentence in found), found
    assert all(
        sentence.startswith("b.yaml") and sentence.endswith((".", "?")) for sentence in found
    )


def test_the_line_is_that_of_the_mistake(altered: Altered) -> None:
    text = altered(("top_speed: 8 mm/s ", "top_speed: fast "))
    line = text[: text.index("top_speed: fast")].count("\n") + 1
    found = sentences(text)
    assert found == (f"b.yaml, line {line}: 'feed.top_speed: fast' is not a number with a unit.",)


STEEP = [
    # Worked by hand: mean diameter 12 - 1 mm, slope 8/(pi x 11) is 13.0 deg; friction 5.9 deg.
    (("lead: 2 mm", "lead: 8 mm\n  screw: 12 mm"), ("starts: 1", "starts: 4"), "slope 13 deg"),
    (("lead: 2 mm", "lead: 8 mm"), ("starts: 1", "starts: 4"), "a screw of 4 starts runs back"),
    (("lead: 2 mm", "lead: 5 mm"), ("starts: 1", "starts: 1"), "on all but thick screws"),
]


@pytest.mark.parametrize(("lead", "starts", "says"), STEEP)
@pytest.mark.parametrize("rest", ["held", "released"])
def test_a_steep_screw_cannot_keep_its_position(
    altered: Altered, lead: tuple[str, str], starts: tuple[str, str], says: str, rest: str
) -> None:
    steep = (lead, starts, ("after_stop: held ", f"after_stop: {rest} "))
    (sentence,) = sentences(altered(*steep))
    assert says in sentence
    assert "runs back" in sentence
    assert "write 'keeps_position: no'" in sentence
    honest = altered(*steep, ("keeps_position: yes", "keeps_position: no"))
    assert bench_facts(honest, "b.yaml").limits["drive_hold"] == (rest == "held")


def test_a_thick_screw_holds_itself(altered: Altered) -> None:
    # Slope 5/(pi x 25.5) is 3.6 deg.
    text = altered(("lead: 2 mm", "lead: 5 mm\n  screw: 28 mm"))
    assert bench_facts(text, "b.yaml").limits["drive_hold"] == 3


def test_the_step_angle_says_what_steps_per_turn_would(altered: Altered, maize: BenchCard) -> None:
    text = altered(("steps_per_turn: 200", "step_angle: 1.8 deg"))
    assert bench_facts(text, "b.yaml").limits == maize.facts.limits


def test_a_section_without_keys_is_none(altered: Altered, maize: BenchCard) -> None:
    text = altered(("scale:", "watch:\n  # odd_count: 3\nscale:"))
    assert bench_facts(text, "b.yaml").watch == maize.facts.watch


def test_all_mistakes_are_told_at_once(altered: Altered) -> None:
    text = altered(
        ("  bore: 50 mm", "  bore: 50"), ("rod: 6 mm", "rod: thin"), ("bench: maize\n", "")
    )
    assert len(sentences(text)) == 3


def test_a_wrong_value_hides_no_other_mistake(altered: Altered) -> None:
    """Common practice: a 3/2 valve cannot reverse a double-acting cylinder."""
    text = altered(
        ("  bore: 50 mm", "  bore: 50"),
        ("valve: 5/2 spring return", "valve: 3/2 spring return"),
        ("travel: 210 mm", "travel: 10 mm"),
        ("air_min: 1.5 bar", "air_min: 3.5 bar"),
        ("jog_speed: 2 mm/s", "jog_speed: 9 mm/s"),
    )
    said = "\n".join(sentences(text))
    for says in ("has no unit", "the heel is as long", "'limits.air_min' must", "is faster than"):
        assert says in said
    assert "cannot reverse a double-acting cylinder" in said


def test_a_misspelt_section_is_one_mistake(altered: Altered) -> None:
    (sentence,) = sentences(altered(("cutter:", "cuter:")))
    assert sentence.endswith("'cuter' is no section of this card; the nearest is 'cutter'.")


def test_a_card_may_name_every_pin_of_the_wiring_page(bench_text: str) -> None:
    card = yaml.safe_load(bench_text)
    rows = {row.name: row.label for row in BOARD_PINS if row.kind != SERIAL}
    rows["drop"] = rows.pop("drop-eye")
    card["fitted"].append("drop")
    assert bench_facts(yaml.safe_dump(card | {"pins": rows}), "b.yaml")
    card["fitted"][card["fitted"].index("button")] = "ready"
    rows["ready"] = rows.pop("button")
    assert bench_facts(yaml.safe_dump(card | {"pins": rows}), "b.yaml")


def test_the_tables_fit_the_board() -> None:
    paths = {key.path for key in BENCH_KEYS}
    assert len(paths) == len(BENCH_KEYS)
    assert {wire.path for wire in WIRES} <= paths
    assert {wire.limit for wire in WIRES} <= set(LIMIT_BY_NAME)
    assert set(PART_OF) <= paths
    assert {part for part, _ in PART_OF.values()} <= set(FITTED_BITS)
    assert all(key.meaning for key in BENCH_KEYS)
