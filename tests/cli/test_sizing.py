"""`benchd size`: cautions first, red lines end with 1, side by side, backwards, and the figure."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from benchd.calc.sizing import ROWS
from tests.cli.conftest import Outcome

Benchd = Callable[..., Outcome]


@pytest.fixture
def bench(tmp_path: Path, benchd: Benchd) -> str:
    """The example bench card in a folder of its own, the dough beside it."""
    assert benchd("init", str(tmp_path)).code == 0
    return str(tmp_path / "bench.yaml")


def masa(bench: str) -> str:
    """The dough card beside a bench card."""
    return str(Path(bench).with_name("masa.yaml"))


def altered(bench: str, old: str, new: str) -> str:
    """The bench card with one text changed, in place."""
    path = Path(bench)
    text = path.read_text("utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), "utf-8")
    return bench


@pytest.mark.slow
def test_the_sheet_gives_value_unit_limit_margin_sentence_formula_and_inputs(
    benchd: Benchd, bench: str
) -> None:
    shown = benchd("size", bench, masa(bench))
    assert shown.code == 0, shown.err
    assert re.search(
        r"^ +force of the plunger at work +144\.1 N +at most 400 N \(2\.78 x\)\n"
        r" +Screw, nut and frame carry this in every portion\.\n"
        r" +p pi D\^2/4 \+ seal; from barrel\.work 0\.6318 bar, feed\.bore 50 mm, "
        r"barrel\.seal 20 N\.$",
        shown.out, re.MULTILINE,
    )  # fmt: skip
    assert "makers' ratings stand above it" in shown.err
    assert "This tool does not make the bench safe" in shown.err
    assert shown.out.splitlines()[-1].startswith("0 red, 2 tight. No red line means")


@pytest.mark.slow
def test_above_a_stated_energy_the_caution_comes_before_any_number(
    benchd: Benchd, bench: str
) -> None:
    lines = benchd("size", bench, masa(bench)).out.splitlines()
    blank = lines.index("")
    assert blank > 0
    for line in lines[:blank]:
        assert line.startswith("! ")
        assert not re.search(r"\d \w", line.replace("40 N on an edge", ""))
    assert any("energy in the barrel at stall" in line for line in lines[:blank])
    at = next(n for n, line in enumerate(lines) if line.lstrip().startswith("a cap could leave"))
    assert lines[at - 1].lstrip().startswith("! Let the pressure off")


@pytest.mark.slow
@pytest.mark.parametrize("card", ["bench.yaml", "smallest.yaml"])
@pytest.mark.parametrize("more", [(), ("--what-if", "nozzle=14mm"), ("--what-if", "lead=8mm")])
def test_every_result_stands_on_one_line_of_80_columns(
    benchd: Benchd, bench: str, card: str, more: tuple[str, ...]
) -> None:
    shown = benchd("size", str(Path(bench).with_name(card)), masa(bench), *more)
    heads = [line for line in shown.out.splitlines() if re.match(r"(RED|tight)? +\S.{31}", line)]
    results = [line for line in heads if not line.startswith("        ") and " ! " not in line]
    results = [line for line in results if " is not given: " not in line and "; " not in line]
    assert len(results) > 3
    assert [line for line in results if len(line) > 80] == []


@pytest.mark.slow
def test_a_caution_is_whole_once_and_then_its_beginning(benchd: Benchd, bench: str) -> None:
    shown = benchd("size", bench, masa(bench)).out
    assert shown.count("Never chase a blockage") == 1
    assert shown.count("A filled barrel is a loaded spring: ease it to zero") == 3


@pytest.mark.slow
def test_a_red_line_ends_with_1_and_stands_on_top(benchd: Benchd, bench: str) -> None:
    shown = benchd("size", altered(bench, "power: 1.5 W", "power: 4.8 W"), masa(bench))
    assert shown.code == 1
    red = "RED   the step-up takes: More than the port gives: the board resets"
    assert shown.out.index(red) < shown.out.index("steps of the feed")
    # Common practice: 4.8 W through a step-up at 85 % asks 1.13 A of a port that gives 0.5 A.
    assert re.search(r"^RED +the step-up takes +1\.129 A +at most 0\.5 A", shown.out, re.MULTILINE)


def test_what_was_not_given_is_named_with_what_waits_for_it(benchd: Benchd, bench: str) -> None:
    smallest = str(Path(bench).with_name("smallest.yaml"))
    shown = benchd("size", smallest)
    assert shown.code == 0
    assert re.search(r"motor\.torque is not given: .*force when the motor stalls", shown.out)
    assert re.search(r"barrel\.rated is not given: barrel pressure at work", shown.out)
    assert "aim is not given" in shown.out


@pytest.mark.slow
def test_guesses_stand_with_what_hangs_on_them_largest_first(benchd: Benchd, bench: str) -> None:
    shown = benchd("size", bench, masa(bench)).out
    found = shown[shown.index("guessed, not measured") :].splitlines()[1:]
    shares = [abs(float(m[1])) for line in found if (m := re.search(r"([-+][\d.]+) %", line))]
    assert len(shares) > 5
    assert shares == sorted(shares, reverse=True)
    Path(bench).write_text(Path(bench).read_text("utf-8") + "guessed: [nozzle.bore]\n", "utf-8")
    again = benchd("size", bench, masa(bench)).out
    assert "nozzle.bore 24 mm:" in again[again.index("guessed, not measured") :]
    assert re.search(r"also guessed, words and zeros: .*flow\.law herschel-bulkley", again)


def test_what_if_shows_the_changed_lines_side_by_side(benchd: Benchd, bench: str) -> None:
    shown = benchd("size", bench, masa(bench), "--what-if", "nozzle=14mm")
    assert shown.code == 0
    assert re.search(r"^ +diameter of the strand +26\.4 mm +15\.4 mm$", shown.out, re.MULTILINE)
    assert "one microstep" not in shown.out
    both = benchd("size", bench, "--what-if", "lead=8mm", "--what-if", "feed.starts=4")
    assert both.code == 1
    assert "runs back when the motor lets go" in both.out
    near = benchd("size", bench, masa(bench), "--what-if", "lead=8mm", "--what-if", "feed.starts=4")
    assert "at most 80 % (0.996 x)" in near.out


@pytest.mark.parametrize(
    ("change", "shown"),
    [
        ("feed.step_angle=0.9deg", "full steps a second +600 1/s +1200 1/s"),
        ("limits.thrust=300N", r"at most 300 N \(2\.08 x\)"),
        ("barrel.rated=5bar", r"at most 5 bar \(2\.52 x\)"),
        ("feed.top_speed=6mm/s", "time of one portion +4.15 s +4.193 s"),
        ("aim=20g", "way of the push +12.7 mm +8.857 mm"),
    ],
)
def test_what_follows_from_another_value_follows_in_the_sheet(
    benchd: Benchd, bench: str, change: str, shown: str
) -> None:
    told = benchd("size", bench, masa(bench), "--what-if", change)
    assert re.search(shown, told.out), told.out


def test_a_stroke_that_is_asked_for_stays_with_another_aim(benchd: Benchd, bench: str) -> None:
    for words in (("stroke=9mm", "aim=20g"), ("aim=20g", "stroke=9mm")):
        asked = [part for word in words for part in ("--what-if", word)]
        told = benchd("size", bench, masa(bench), *asked).out
        assert re.search("way of the push +12.7 mm +9 mm", told), told


def test_what_changes_nothing_says_so_and_what_is_lost_says_what_for(
    benchd: Benchd, bench: str
) -> None:
    same = benchd("size", bench, masa(bench), "--what-if", "nozzle=24mm")
    assert "Nothing on the sheet changes." in same.out
    assert "now  " not in same.out
    idle = benchd("size", bench, masa(bench), "--what-if", "cutter.spring=9N")
    assert "No line of these cards rests on cutter.spring." in idle.out
    many = ("cutter.spring=9N", "paste.wall=1kPa", "paste.entry=1kPa", "paste.wall_rise=1")
    asked = [part for change in many for part in ("--what-if", change)]
    told = re.findall(r"rests on ([\w.]+)\.", benchd("size", bench, masa(bench), *asked).out)
    assert told == [change.partition("=")[0] for change in many]
    used = benchd("size", bench, masa(bench), "--what-if", "step_angle=0.9deg")
    assert "No line of these cards" not in used.out
    lost = benchd("size", bench, masa(bench), "--what-if", "flow.law=paste").out
    assert "paste.entry is not given: pressure of entry and nozzle" in lost


@pytest.mark.slow
def test_json_has_every_line_with_its_unit(benchd: Benchd, bench: str) -> None:
    shown = benchd("size", bench, masa(bench), "--json")
    assert shown.err == ""
    found = json.loads(shown.out)
    assert found["ok"] is True
    assert found["red"] == []
    assert any("loaded spring" in text for text in found["cautions"])
    lines = {line["name"]: line for line in found["lines"]}
    assert set(lines) <= {row.name for row in ROWS}
    work = lines["thrust.work"]
    assert work["value"] == pytest.approx(144.1, abs=0.1)
    assert (work["unit"], work["limit"], work["limit_kind"]) == ("N", pytest.approx(400), "most")
    assert {"name": "feed.bore", "value": pytest.approx(50), "unit": "mm"} in work["inputs"]
    assert found["guesses"][0].keys() == {"guess", "result", "per_cent_per_per_cent"}
    assert "flow.law" in found["guesses_without_slope"]
    tried = json.loads(benchd("size", bench, "--what-if", "nozzle=14mm", "--json").out)
    assert set(tried) == {"what_if", "now", "then"}


def test_backwards_from_a_portion_and_the_sheet_that_it_names(benchd: Benchd, bench: str) -> None:
    shown = benchd("size", bench, masa(bench), "--for", "30g", "--thickness", "25mm")
    assert shown.code == 0, shown.err
    for label, value in (
        ("nozzle bore", "22.73 mm"), ("stroke of a portion", "13.29 mm"),
        ("cutter travel", "41.67 mm"), ("pressure of the cutter", "1.5 bar"),
        ("needle", "0.02"), ("a piece is thrown", "8.569 mm"),
    ):  # fmt: skip
        assert re.search(rf"^ +{label} +{re.escape(value)}", shown.out, re.MULTILINE), label
    assert "swell 1.1:" in shown.out[shown.out.index("guessed, not measured") :]
    words = re.search(r"'benchd (size .*)'", shown.out)
    assert words is not None
    assert benchd(*words[1].split()).code == 0


@pytest.mark.slow
@pytest.mark.parametrize("asked", [("60g", "29mm"), ("30g", "25mm"), ("20g", "18mm")])
def test_the_sheet_that_is_named_has_what_was_asked_for(
    benchd: Benchd, bench: str, asked: tuple[str, str]
) -> None:
    said = ("--for", asked[0], "--thickness", asked[1], "--short")
    words = re.search(r"'benchd (size .*)'", benchd("size", bench, masa(bench), *said).out)
    assert words is not None
    then = json.loads(benchd(*words[1].split(), "--json").out)["then"]["lines"]
    lines = {line["name"]: line for line in then}
    aim_g = float(asked[0][:-1])
    assert lines["portion.tolerance_kg"]["value"] == pytest.approx(0.05 * aim_g)
    assert lines["strand.diameter"]["value"] == pytest.approx(float(asked[1][:-2]), rel=1e-3)
    assert lines["cutter.push"]["margin"] >= 1.999
    assert lines["cutter.speed"]["margin"] >= 1


def test_no_pressure_is_proposed_or_passed_at_which_the_bench_refuses_to_cut(
    benchd: Benchd, bench: str
) -> None:
    """The example's card lets nothing be cut below 1.5 bar, and half of that would cut 15 mm."""
    asked = ("--for", "12g", "--thickness", "15mm")
    shown = benchd("size", bench, masa(bench), *asked).out
    assert re.search(r"^ +pressure of the cutter +1.5 bar", shown, re.MULTILINE)
    low = benchd("size", bench, masa(bench), "--what-if", "cutter.pressure=1bar")
    assert low.code == 1
    assert "lets nothing be cut at so little air (IL-16)" in low.out


@pytest.mark.slow
@pytest.mark.parametrize("suffix", ["svg", "png"])
def test_a_figure_is_written(benchd: Benchd, bench: str, tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"speed.{suffix}"
    assert benchd("size", bench, masa(bench), "--plot", str(path)).code == 0
    head = path.read_bytes()[:2000]
    assert head.startswith(b"\x89PNG") if suffix == "png" else b"<svg" in head
    told = benchd("size", bench, "--what-if", "nozzle=14mm", "--plot", str(path), "--json")
    assert set(json.loads(told.out)) == {"what_if", "now", "then"}
    assert told.err.splitlines()[-1] == f"The figure is in {path}."


@pytest.mark.slow
def test_the_figure_marks_each_limit_that_is_known(
    benchd: Benchd, bench: str, tmp_path: Path
) -> None:
    def drawn(card: str) -> str:
        path = tmp_path / "speed.svg"
        shown = benchd("size", card, masa(bench), "--plot", str(path))
        assert shown.err.splitlines()[-1] == f"The figure is in {path}."
        return path.read_text("utf-8")

    marks = ("barrel rated", "limit of thrust", "80 % of it: the limit", "working speed")
    figure = drawn(bench)
    assert [mark for mark in marks if f"<!-- {mark} -->" not in figure] == []
    bare = drawn(str(Path(bench).with_name("smallest.yaml")))
    assert "feed.screw and motor.torque not given" in bare
    assert "motor torque" not in bare


def test_a_portion_that_no_tube_holds_is_red_backwards_too(benchd: Benchd, bench: str) -> None:
    shown = benchd("size", bench, masa(bench), "--for", "1500g", "--thickness", "25mm", "--short")
    assert shown.code == 1
    assert "RED   portions of a tube: A tube does not give a single portion." in shown.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--what-if", "bore=20mm"], "'bore' could be feed.bore, nozzle.bore, cutter.bore"),
        (["--what-if", "nozle=14mm"], "the nearest is 'nozzle."),
        (["--what-if", "nozzle"], "'nozzle' must be KEY=VALUE, such as nozzle=14mm."),
        (["--what-if", "nozzle=14"], "'nozzle.bore: 14' has no unit"),
        (["--what-if", "nozzle=1mm"], "is outside what is possible, 2 to 100 mm."),
        (["--what-if", "baud=9600"], "'baud' is no key that sizing reads: no line of the sheet"),
        (["--what-if", "jog_speed=1mm/s"], "'jog_speed' is no key that sizing reads: no line"),
        (["--what-if", "step_angle=1.7deg"], "gives 211.76 steps per turn, which is no whole"),
        (["--for", "30g"], "--for and --thickness go together"),
        (["--for", "30g", "--thickness", "0mm"], "--thickness 0 mm is outside what is possible"),
        (["--for", "3kg", "--thickness", "9mm"], "--for 3000 g is outside what is possible, 1 to"),
        (["--what-if", "=14mm"], "'=14mm' must be KEY=VALUE, such as nozzle=14mm."),
        (["--for", "30g", "--thickness", "9mm", "--what-if", "nozzle=14mm"], "--for stands alone"),
        (["--plot", "a.gif"], "--plot writes .svg, .png, .pdf"),
    ],
)
def test_what_is_not_understood_says_so_and_ends_with_2(
    benchd: Benchd, bench: str, words: list[str], says: str
) -> None:
    shown = benchd("size", bench, *words)
    assert shown.code == 2
    assert says in shown.err


def test_the_wrong_kind_of_card_and_a_card_with_mistakes_are_told(
    benchd: Benchd, bench: str
) -> None:
    shown = benchd("size", masa(bench))
    assert shown.code == 2
    assert "masa.yaml is a dough card." in shown.err
    wrong = benchd("size", altered(bench, "bore: 50 mm", "bore: 5 mm"))
    assert wrong.code == 1
    assert "Did you mean 50 mm?" in wrong.out


PROGRAM = """
import json, sys
sys.argv[1:] = ["size", sys.argv[1]]
from benchd.__main__ import main
main()
sys.stderr.write("\\n" + json.dumps(sorted(sys.modules)))
"""


@pytest.mark.slow
def test_the_sheet_loads_nothing_heavy(bench: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, bench], capture_output=True, text=True, check=True
    )
    modules = set(json.loads(done.stderr.splitlines()[-1]))
    assert not modules & {"asyncio", "scipy", "numpy", "matplotlib", "pandas", "pint", "sqlite3"}
