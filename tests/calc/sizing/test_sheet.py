"""The sheet as a table: rows, limits, cautions, what hangs on a guess, and what cards give it."""

from __future__ import annotations

import math
import random
import time
from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path

import pytest

from benchd.calc.sizing import BACKWARDS, FOUND, READ, ROWS
from benchd.calc.sizing.base import (
    PLAIN,
    RED,
    TIGHT,
    UNITS,
    UNKNOWN,
    WITHIN,
    Impossible,
    Input,
    Limit,
    Line,
    Row,
    hangs,
    unsloped,
    work_out,
)
from benchd.cli.sizing_text import head
from benchd.config import bench_card, dough
from benchd.config.bench_keys import BENCH_KEYS, group_of
from benchd.config.dough import DOUGH_KEYS
from benchd.config.errors import CardError
from benchd.config.keys import Key, read_one
from benchd.config.sizing_inputs import KEYS, ON_CARDS, inputs_of, read_cards
from benchd.config.sizing_keys import BENCH_SIZING_KEYS, DOUGH_SIZING_KEYS
from benchd.core.facts import portion_time_s, shortest_period_s

EXAMPLES = Path(__file__).resolve().parents[3] / "benchd" / "examples"
BENCH, MASA, SMALLEST = (
    (EXAMPLES / name).read_text("utf-8") for name in ("bench.yaml", "masa.yaml", "smallest.yaml")
)
FULL = BENCH + ("compressor:\n  delivery: 25 l/min\n  tank: 6 l\n")


def inputs(bench: str = FULL, masa: str | None = MASA) -> dict[str, Input]:
    """The inputs of two cards."""
    return inputs_of(read_cards(bench, "b.yaml", masa, "m.yaml"))


def sheet(bench: str = FULL, masa: str | None = MASA, **other: float | str) -> dict[str, Line]:
    """The sheet of two cards with some inputs replaced; `_` in a name stands for the point."""
    given = inputs(bench, masa)
    for name, value in other.items():
        path = name.replace("__", ".")
        given[path] = Input(value, given[path].unit if path in given else "")
    return {line.row.name: line for line in work_out(ROWS, given)}


# The table.


@pytest.mark.parametrize("rows", [ROWS, BACKWARDS], ids=["sheet", "backwards"])
def test_a_row_needs_only_keys_and_rows_above_it(rows: tuple[Row, ...]) -> None:
    known = {*ON_CARDS, "board.rate_max", "stroke.given", "air.least", "thickness"}
    for row in rows:
        assert row.name not in ON_CARDS, row.name
        assert set(row.needs) <= known, row.name
        assert {name for name, _ in row.only} <= known, row.name
        if row.limit is not None and isinstance(row.limit.at, str):
            assert row.limit.at in known, row.name
        assert row.unit in UNITS
        assert row.says.endswith("."), row.name
        assert row.formula
        assert row.limit is None or row.limit.beyond.endswith(".")
        known.add(row.name)


def test_rows_of_one_name_never_apply_together() -> None:
    seen: dict[str, list[Row]] = {}
    for row in ROWS:
        for other in seen.setdefault(row.name, []):
            apart = set(row.only) ^ set(other.only)
            assert {name for name, _ in row.only} & {name for name, _ in other.only}
            assert apart, row.name
        seen[row.name].append(row)


def test_what_could_hurt_says_so_and_gives_no_all_clear() -> None:
    for name in (
        *("barrel.work", "barrel.stall", "barrel.fastener", "thrust.stall", "screw.holds"),
        *("cutter.push", "cutter.speed", "gas.stall", "cap.speed", "air.energy", "tank.energy"),
    ):
        (row, *_) = [row for row in ROWS if row.name == name]
        assert row.safety.endswith("."), name
    for row in (*ROWS, *BACKWARDS):
        text = f"{row.says} {row.safety}".lower()
        assert "is safe" not in text
        assert "harmless" not in text


def test_every_key_of_sizing_is_read_by_a_row_and_by_no_proof() -> None:
    for key in (*BENCH_SIZING_KEYS, *DOUGH_SIZING_KEYS):
        assert key.path in READ, key.path
        assert key.unit in UNITS, key.path
    # The groups are those of the bench card.
    assert {group_of(key.path) for key in BENCH_SIZING_KEYS} == {""}


def test_every_input_has_a_unit_of_the_sheet() -> None:
    for key in (*BENCH_KEYS, *DOUGH_KEYS):
        if key.path in {name for row in ROWS for name in row.needs}:
            assert key.unit in UNITS or key.kind == "share", key.path
    assert set(FOUND.values()) <= set(KEYS)


# How a line is judged.


def one(limit: Limit, value: float, at: float = 10.0) -> Line:
    """The line of a single row with this value."""
    row = Row("a", "a", "", "a", ("x",), lambda x: x, "It holds.", limit, "Mind it.", 100.0)
    (line,) = work_out([row], {"x": Input(value), "at": Input(at)})
    return line


@pytest.mark.parametrize(
    ("kind", "value", "soft", "state"),
    [
        ("most", 4.0, False, WITHIN), ("most", 5.0, False, WITHIN), ("most", 5.1, False, TIGHT),
        ("most", 10.0, False, TIGHT), ("most", 10.1, False, RED), ("most", 10.1, True, TIGHT),
        ("least", 21.0, False, WITHIN), ("least", 19.0, False, TIGHT), ("least", 9.9, False, RED),
        ("least", 0.0, False, RED), ("most", 0.0, False, WITHIN),
    ],
)  # fmt: skip
def test_a_limit_gives_margin_and_state(kind: str, value: float, soft: bool, state: str) -> None:
    for at in (10.0, "at"):
        line = one(Limit(kind, at, "It does not.", 2.0, soft), value)
        assert line.state == state
        broken = value > 10 if kind == "most" else value < 10
        assert line.sentence == ("It does not." if broken else "It holds.")
        assert line.margin is not None
        assert (line.margin < 1) == broken


def test_a_value_above_its_caution_says_so() -> None:
    assert not one(Limit("most", 1e9, "It does not."), 99.0).cautions
    assert one(Limit("most", 1e9, "It does not."), 101.0).cautions


def test_what_is_missing_is_unknown_and_what_cannot_be_is_red() -> None:
    def refuse(x: float) -> float:
        raise Impossible(f"'x' is {x:g}.")

    rows = [
        Row("a", "a", "", "a", ("x",), refuse, "So."),
        Row("b", "b", "", "b", ("a", "y"), lambda a, y: a + y, "So."),
        Row("c", "c", "", "c", ("x",), lambda x: 1 / (x - x), "So."),
        Row("d", "d", "", "d", ("x",), lambda x: x, "So.", Limit("most", "z", "Not.")),
    ]
    lines = work_out(rows, {"x": Input(3.0)})
    assert [line.state for line in lines] == [RED, UNKNOWN, RED, PLAIN]
    assert lines[0].sentence == "'x' is 3."
    assert "a, y is not known" in lines[1].sentence


# What hangs on a guess.


def test_hangs_are_the_powers_of_a_product() -> None:
    rows = [
        Row("v", "v", "", "v", ("a", "b"), lambda a, b: a**2 * b**-0.5, "So."),
        Row("w", "w", "", "w", ("v", "c"), lambda v, c: v * c, "So."),
    ]
    given = {"a": Input(3.1, "", True), "b": Input(2.7, "", True), "c": Input(1.1)}
    found = hangs(rows, given, work_out(rows, given))
    assert [(hang.guess, hang.result) for hang in found] == [
        ("a", "v"), ("a", "w"), ("b", "v"), ("b", "w"),
    ]  # fmt: skip
    assert [hang.share for hang in found] == pytest.approx([2, 2, -0.5, -0.5], rel=1e-4)


@pytest.mark.slow
def test_only_guesses_are_named_and_working_out_anew_says_the_same() -> None:
    given = inputs()
    lines = work_out(ROWS, given)
    found = hangs(ROWS, given, lines)
    assert {hang.guess for hang in found} <= {name for name, one in given.items() if one.guessed}
    assert [abs(hang.share) for hang in found] == sorted(
        (abs(hang.share) for hang in found), reverse=True
    )
    other = {**given, "nozzle.bore": Input(0.014, "mm")}
    assert work_out(ROWS, other, frozenset({"nozzle.bore"}), lines) == work_out(ROWS, other)


@pytest.mark.slow
def test_counts_hang_on_guesses_and_words_and_zeros_are_named_without_a_slope() -> None:
    given = inputs()
    lines = work_out(ROWS, given)
    shares = {(hang.guess, hang.result): hang.share for hang in hangs(ROWS, given, lines)}
    # Weighings go with the square of spread over nearness, less what Student's t takes.
    assert 1.4 < shares["spread", "scale.weighings"] < 2.2
    assert -2.5 < shares["mean_within", "scale.weighings"] < -1.4
    long = {**given, "prime": Input(0.1, "mm", True)}
    again = hangs(ROWS, long, work_out(ROWS, long))
    # By hand: 9 portions of the 128 mm left after priming, and 10 or 8 with 10 mm less or more.
    assert [h.share for h in again if (h.guess, h.result) == ("prime", "tube.portions")] == [
        pytest.approx(-2 / (2 * 0.1 * 9))
    ]
    bare = unsloped(given, lines)
    assert {"flow.law", "screw.thread", "screw.collar", "film"} <= set(bare)
    assert not {"paste.entry_rise", "feed.direction", "flow.entry"} & set(bare)


def test_longer_out_of_the_cold_only_by_a_written_procedure() -> None:
    """US FDA Food Code, 3-501.19: 4 h, or 6 h where the dough never gets above 21 C."""
    assert sheet()["dough.time_out"].value == 7200
    four = sheet(masa=MASA + "time_out: 4h-by-written-procedure\n")["dough.time_out"]
    assert four.value == 4 * 3600
    assert "written procedure" in four.sentence
    assert "local food rules" in four.sentence
    six = {"masa": MASA + "time_out: 6h-by-written-procedure\n"}
    assert sheet(**six)["dough.time_out"].value == 6 * 3600
    warm = sheet(room__celsius=22.0, **six)["dough.time_out"]
    assert warm.state == RED
    assert "21 C" in warm.sentence


def test_a_value_that_the_card_calls_a_guess_is_one() -> None:
    assert not inputs()["feed.bore"].guessed
    assert inputs(FULL + "guessed: [feed.bore]\n")["feed.bore"].guessed
    assert not inputs()["density"].guessed
    assert inputs(masa=MASA + "guessed: [density]\n")["density"].guessed
    angle = FULL.replace("steps_per_turn: 200", "step_angle: 1.8 deg")
    assert inputs(angle)["feed.steps_per_turn"] == inputs()["feed.steps_per_turn"]
    assert inputs(angle + "guessed: [feed.step_angle]\n")["feed.steps_per_turn"].guessed
    assert inputs()["screw.friction"].guessed
    assert inputs(masa=None)["push_speed"].guessed


# The whole sheet.


def test_the_example_bench_has_no_red_line_and_computes_nearly_all() -> None:
    lines = sheet()
    assert [name for name, line in lines.items() if line.state == RED] == []
    assert [name for name, line in lines.items() if line.state == UNKNOWN] == ["cutter.width"]
    # 36.2 N: 40.2 N of the table for 16 mm at 2 bar, less 4 N of friction.
    assert lines["cutter.push"].value == pytest.approx(36.2, abs=0.1)
    assert lines["portion.stroke"].value == pytest.approx(0.013286, abs=1e-6)
    assert lines["screw.mean"].value == pytest.approx(0.009)


@pytest.mark.parametrize("bench", [BENCH, SMALLEST], ids=["bench", "smallest"])
@pytest.mark.parametrize("stroke", ["stroke: 12.7 mm", ""])
def test_the_shortest_period_is_the_daemons(bench: str, stroke: str) -> None:
    """Two sums kept apart: this one in metres, the daemon's in steps of the wire."""
    masa = "\n".join(stroke if line.startswith("stroke:") else line for line in MASA.splitlines())
    facts = bench_card(bench, "b.yaml").facts
    card = dough(masa, "m.yaml", facts)
    lines = sheet(bench, masa)
    steady_s = 0.05 if "home" in facts.fitted else 0.0
    found = lines["period.phases"].value
    assert found == pytest.approx(portion_time_s(facts, card) - steady_s, abs=2e-3)
    assert lines["period.shortest"].value == pytest.approx(shortest_period_s(facts, card), abs=0.11)


@pytest.mark.slow
def test_whatever_cards_may_say_gives_a_sheet_of_finite_numbers_and_soon(seed: int) -> None:
    chance = random.Random(seed)
    texts = [key for key in sizing_keys() if key.kind in ("quantity", "number", "share")]
    for _ in range(8):
        given = inputs(chance.choice((FULL, SMALLEST)), chance.choice((MASA, None)))
        for key in chance.sample(texts, chance.choice((1, 5, 30))):
            if key.path in given:
                value = read_one(key, written(key, chance))
                assert isinstance(value, float | int)
                given[key.path] = Input(float(value), key.unit, True)
        for line in work_out(ROWS, given):
            said = f"seed {seed}: {line.row.name} is {line.value}"
            assert line.value is None or math.isfinite(line.value), said
            assert line.value is None or line.value >= 0 or line.row.name == "screw.back", said
            assert len(head(line)) <= 80, said


def sizing_keys() -> list[Key]:
    """The keys that the sheet reads."""
    read = {name for row in ROWS for name in row.needs}
    return [key for path, key in KEYS.items() if path in read]


def written(key: Key, chance: random.Random) -> str:
    """A value of this key as a card would write it, often at the end of what is possible."""
    value = chance.choice((key.low, key.high, chance.uniform(key.low, key.high)))
    return f"{value * 100:.6g} %" if key.kind == "share" else f"{value:.6g} {key.unit}".strip()


def test_a_very_tight_needle_is_worked_out_soon() -> None:
    began_s = time.process_time()
    delay = sheet(needle__conductance=5e-12)["cutter.delay"]
    assert time.process_time() - began_s < 2.0
    assert delay.value is not None
    assert delay.value > 1.5 * (sheet()["cutter.delay"].value or 0.0)


def test_a_rod_as_wide_as_its_cylinder_gives_no_air_but_a_sentence() -> None:
    line = sheet(cutter__rod=0.02)["air.cycle"]
    assert line.value is None
    assert line.sentence == "'rod_m' is not below 'bore_m': a rod is thinner than its cylinder."


def test_the_film_of_a_bought_tube_costs_its_last_portions() -> None:
    # By hand: (228 - 40 - 10) mm are 13.4 strokes of 13.29 mm, and without film 16.4.
    assert sheet(film=0.04)["tube.portions"].value == 13.0
    assert sheet()["tube.portions"].value == 16.0
    line = sheet(film=0.25)["tube.portions"]
    assert (line.state, line.sentence) == (RED, "'film' is as long as the whole useful travel.")


def wrongs() -> Iterator[tuple[dict[str, float | str], str]]:
    """One input that cannot do the job, and the line that goes red."""
    yield {"coil__power": 4.8}, "coil.input"
    yield {"motor__torque": 0.05}, "motor.load"
    yield {"motor__rate_max": 500.0}, "motor.load"
    yield {"barrel__rated": 1e5}, "barrel.stall"
    yield {"barrel__fastener_rated": 200.0}, "barrel.fastener"
    yield {"cut_per_width": 5000.0}, "cutter.push"
    yield {"cutter__pressure": 2e4}, "cutter.push"
    yield {"cutter__pressure": 3.1e5}, "cutter.allowed"
    yield {"stroke": 0.018}, "portion.given"
    yield {"cutter__stroke": 0.02}, "cutter.reach"
    yield {"cutter__blade": 0.02}, "cutter.width"
    yield {"nozzle__bore": 0.06}, "nozzle.share"
    yield {"scale__readability": 5e-3, "scale__repeatability": 2e-3}, "scale.share"
    yield {"compressor__delivery": 1e-6}, "compressor.duty"
    yield {"cutter__tray": 0.005}, "throw.distance"
    yield {"limits__thrust": 100.0}, "thrust.work"
    yield {"feed__microsteps": 256.0}, "feed.rate"
    yield {"push_speed": 0.0081}, "feed.speed"
    yield {"feed__heel": 0.3}, "feed.useful"
    yield {"room__celsius": 35.0, "settle": 600.0}, "tube.time"
    yield {"cutter__rod": 0.02}, "cutter.speed"
    yield {"mean_within": 1e-6}, "scale.weighings"


@pytest.mark.parametrize(("other", "red"), list(wrongs()), ids=lambda value: str(value)[:40])
def test_what_cannot_do_the_job_is_red(other: dict[str, float | str], red: str) -> None:
    assert sheet()[red].state != RED
    assert sheet(**other)[red].state == RED


def test_a_steep_screw_is_named_and_its_torque_back_is_below_zero() -> None:
    """Common practice: a lead of 8 mm with four starts runs back when the motor lets go."""
    lines = sheet(feed__lead=0.008, feed__starts=4.0)
    assert lines["screw.holds"].state == TIGHT
    assert "runs back" in lines["screw.holds"].sentence
    back = lines["screw.back"].value
    assert back is not None
    assert back < 0


@pytest.mark.parametrize(
    ("law", "formula"),
    [
        ("newton", "Newton"), ("bingham", "Bingham"), ("herschel-bulkley", "Herschel-Bulkley"),
        ("paste", "Benbow-Bridgwater"),
    ],
)  # fmt: skip
def test_the_law_of_the_dough_card_is_used_and_named(law: str, formula: str) -> None:
    paste = {"paste__entry": 5e4, "paste__wall": 5e3} if law == "paste" else {}
    lines = sheet(flow__law=law, **paste)
    assert formula in lines["nozzle.pressure"].row.formula
    assert lines["barrel.work"].value is not None
    assert lines["nozzle.entry"].value == (0 if law == "paste" else 3e4)


def test_without_a_dough_card_common_practice_stands_in_and_the_portion_is_missing() -> None:
    lines = sheet(masa=None)
    assert lines["barrel.work"].value is not None
    assert lines["portion.stroke"].state == UNKNOWN


def test_a_single_acting_cylinder_works_against_its_spring() -> None:
    lines = sheet(SMALLEST)
    # 40.2 N of the table for 16 mm at 2 bar, less 4 N of friction and 8 N of spring.
    assert lines["cutter.push"].value == pytest.approx(28.2, abs=0.1)
    # Home it goes by the spring alone, less friction; that is less than a cut takes.
    assert lines["cutter.pull"].value == pytest.approx(4)
    assert lines["cutter.pull"].state == TIGHT
    assert lines["cutter.against"].state == WITHIN
    weak = sheet(SMALLEST, cutter__spring=6.0)["cutter.against"]
    assert (weak.state, "would stay out" in weak.sentence) == (TIGHT, True)


def test_a_single_acting_cylinder_starts_once_its_spring_is_overcome() -> None:
    """By hand: 7 N and 8 N on 201.06 mm2 are 74 604 Pa, reached while the flow is near its most."""
    lines = sheet(SMALLEST, valve__critical=0.6, valve__conductance=2e-7)
    # 3 cm3 and 300 mm of hose of 2.5 mm; a valve so wide leaves the hose's 0.3 l/s/bar alone.
    volume_m3 = 3e-6 + math.pi / 4 * 0.0025**2 * 0.3
    choked_s = 74_604 * volume_m3 / (3e-9 * 1e5 * 301_325)
    assert lines["cutter.delay"].value == pytest.approx(0.015 + choked_s, rel=0.01)
    stays = sheet(SMALLEST, cutter__breakaway=60.0)["cutter.delay"]
    assert (stays.state, "can push" in stays.sentence) == (RED, True)


def test_a_cut_fills_dead_volumes_and_hoses_too() -> None:
    lines = sheet()
    hose_m3 = math.pi / 4 * 0.0025**2 * 0.3
    assert lines["air.dead"].value == pytest.approx(3e-6 + hose_m3)
    bare = sheet(cutter__dead=0.0, hose__length=0.0)["air.cycle"].value
    assert bare is not None
    # By hand: 2 bar into either end's dead volume and hose, at 1 bar of free air.
    assert lines["air.cycle"].value == pytest.approx(bare + 2 * 2 * (3e-6 + hose_m3))


def test_all_dough_of_a_full_barrel_holds_gas() -> None:
    # 8 % of 240 mm of a 50 mm barrel, the heel that the plunger spares included.
    assert sheet()["gas.volume"].value == pytest.approx(0.08 * math.pi / 4 * 0.05**2 * 0.24)


def test_a_stroke_that_the_daemon_would_refuse_is_red() -> None:
    # 13.29 mm are right, so 9.30 and 17.27 mm are where it begins to be a slip.
    for stroke_mm, slip in ((9.2, True), (9.4, False), (17.2, False), (17.4, True)):
        masa = MASA.replace("stroke: 12.7 mm", f"stroke: {stroke_mm} mm")
        with pytest.raises(CardError) if slip else nullcontext():
            dough(masa, "m.yaml", bench_card(BENCH, "b.yaml").facts)
        assert (sheet(masa=masa)["portion.given"].state == RED) == slip
    # By hand: 12.7 mm of 2.258 g/mm, as draw-back and take-up are alike.
    assert sheet()["portion.given"].value == pytest.approx(0.02868, abs=1e-5)
    assert "gives 40.64 g" in sheet(stroke=0.018)["portion.given"].sentence
    assert "portion.given" not in sheet(masa=MASA.replace("stroke: 12.7 mm", ""))
    for masa in (MASA, MASA.replace("stroke: 12.7 mm", "")):
        lines = sheet(masa=masa, take_up=0.02)
        assert any("take_up" in line.sentence for line in lines.values() if line.state == RED)


def test_no_line_claims_what_nobody_rated() -> None:
    """Without a rating a fastener holds what its maker says, whatever the sheet would like."""
    line = sheet(SMALLEST + "motor:\n  torque: 0.4 Nm\n", feed__screw=0.01)["barrel.fastener"]
    assert line.state == PLAIN
    assert "should be rated" in line.sentence


# Backwards.


@pytest.mark.parametrize("bench", [FULL, SMALLEST], ids=["double", "single"])
@pytest.mark.parametrize("thick_m", [0.015, 0.02, 0.025])
def test_the_bench_that_is_found_makes_the_portion_that_was_asked_for(
    bench: str, thick_m: float
) -> None:
    given = inputs(bench) | {"aim": Input(0.03, "g"), "thickness": Input(thick_m, "mm")}
    found = {line.row.name: line.value for line in work_out(BACKWARDS, given)}
    asked = dict(given)
    for name, key in FOUND.items():
        value = found.get(name)
        if value is not None:
            asked[key] = asked[key]._replace(value=value)
    lines = {line.row.name: line for line in work_out(ROWS, asked)}
    assert lines["strand.diameter"].value == pytest.approx(thick_m)
    least_pa = given["limits.air_min"].value if "limits.air_min" in given else 0.0
    if found["for.pressure"] == least_pa:
        assert (lines["cutter.push"].value or 0) >= 2 * (lines["cutter.needs"].value or 0)
    else:
        assert (found["for.pressure"] or 0.0) > least_pa
        assert lines["cutter.push"].value == pytest.approx(2 * (lines["cutter.needs"].value or 0))
    assert lines["throw.distance"].value == pytest.approx(found["throw.distance"])
    if bench == FULL:
        assert lines["cutter.speed"].value == pytest.approx(asked["clean_speed"].value)


def test_a_thinner_portion_needs_less_and_is_thrown_less_far_by_one_valve() -> None:
    """Common practice: a narrower portion needs less cutting force and is thrown less."""

    def back(thick_m: float) -> dict[str, float]:
        given = inputs(SMALLEST) | {"aim": Input(0.03, "g"), "thickness": Input(thick_m, "mm")}
        lines = work_out(BACKWARDS, given)
        return {line.row.name: line.value for line in lines if line.value is not None}

    thin, thick = back(0.015), back(0.025)
    for name in ("cutter.needs", "for.pressure", "for.nozzle", "throw.distance"):
        assert thin[name] < thick[name]
    assert thin["portion.length"] > thick["portion.length"]


def test_higher_pressure_and_an_open_needle_throw_further() -> None:
    """Common practice."""
    usual, high = sheet(), sheet(cutter__pressure=3e5)
    wide = sheet(needle__conductance=1e-9)
    for other in (high, wide):
        here, there = usual["throw.distance"].value, other["throw.distance"].value
        assert here is not None
        assert there is not None
        assert there > here
