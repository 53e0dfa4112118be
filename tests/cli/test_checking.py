"""Cards on the command line: what init writes, what check says, and when a card is asked about."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchd.cli.checking import EXAMPLES, ask_before_serving
from benchd.cli.command import Usage, Wrong
from benchd.config import bench_card
from benchd.io import paths
from benchd.io.journal import JournalFile
from benchd.io.journal_format import journal_path
from tests.cli.conftest import Outcome
from tests.cli.fake_daemon import FakeDaemon, Refusal

Benchd = Callable[..., Outcome]
Typing = Callable[[str], None]
SHIPPED = Path(__file__).resolve().parents[2] / "benchd" / "examples"


@pytest.fixture
def cards(tmp_path: Path, benchd: Benchd) -> Path:
    """A folder in which init was used."""
    assert benchd("init", str(tmp_path)).code == 0
    return tmp_path


def change(path: Path, *changes: tuple[str, str]) -> str:
    """Change a card in place, and return its path."""
    text = path.read_text("utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path.write_text(text, "utf-8")
    return str(path)


# benchd init.


def test_init_writes_the_examples_with_their_cautions(benchd: Benchd, tmp_path: Path) -> None:
    folder = tmp_path / "bench" / "one"
    shown = benchd("init", str(folder))
    assert shown.code == 0
    assert f"benchd check {folder}/bench.yaml {folder}/masa.yaml" in shown.out
    assert sorted(path.name for path in folder.iterdir()) == sorted(EXAMPLES)
    for name in EXAMPLES:
        written = (folder / name).read_text("utf-8")
        assert written == (SHIPPED / name).read_text("utf-8")
        assert written.startswith("# ")


def test_what_init_writes_passes_check(benchd: Benchd, cards: Path) -> None:
    for bench in ("bench.yaml", "smallest.yaml"):
        shown = benchd("check", str(cards / bench), str(cards / "masa.yaml"))
        assert shown == (0, shown.out, "")


@pytest.mark.parametrize("name", EXAMPLES)
def test_init_never_touches_a_file_that_is_there(benchd: Benchd, tmp_path: Path, name: str) -> None:
    (tmp_path / name).symlink_to("nowhere")
    shown = benchd("init", str(tmp_path))
    assert shown.code == 1
    assert f"already has {name}: give another folder" in shown.err
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_init_says_why_it_cannot_write(benchd: Benchd, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    shown = benchd("init", str(tmp_path / "file"))
    assert shown.code == 1
    assert shown.err.startswith(f"The cards cannot be written to {tmp_path}/file: ")


def test_init_tells_programs_what_it_wrote(benchd: Benchd, tmp_path: Path) -> None:
    written = json.loads(benchd("init", str(tmp_path), "--json").out)["written"]
    assert written == [str(tmp_path / name) for name in EXAMPLES]


# benchd check.


def test_check_says_what_the_cards_mean(benchd: Benchd, cards: Path) -> None:
    """By hand: 19.635 cm2 x 1.15 g/cm3 = 2.258 g/mm; 200 x 8 / 2 = 800 steps; 400 N on it 2.04 bar.

    A portion: 12.7 mm of stroke with as much take-up as draw-back, so 28.7 g; 228/12.7 = 17.
    """
    shown = benchd("check", str(cards / "bench.yaml"), str(cards / "masa.yaml"))
    for says in (
        "maize (simulated)", "800 steps per mm", "2.26 g per mm at 1.15 g/cm3", "228 mm, 515 g",
        "400 N is 2 bar in the barrel", "12.7 mm a portion, net 12.7 mm: 28.7 g",
        "17 in the useful travel", "not watched      nothing", "only measuring tells",
    ):  # fmt: skip
        assert says in shown.out


def test_check_says_what_nobody_watches(benchd: Benchd, cards: Path) -> None:
    shown = benchd("check", str(cards / "smallest.yaml"))
    assert "not watched      guard, emergency stop, cutter home" in shown.out
    assert "its position is doubted" in shown.out


def test_check_tells_programs_in_si(benchd: Benchd, cards: Path) -> None:
    shown = benchd("check", str(cards / "bench.yaml"), str(cards / "masa.yaml"), "--json")
    told = json.loads(shown.out)
    assert told["ok"]
    assert told["mistakes"] == []
    assert told["bench"]["steps_per_m"] == 800_000
    assert told["bench"]["kg_per_m"] == pytest.approx(2.258, abs=1e-3)
    assert set(told["bench"]["digests"]) == {"wiring", "motion", "air", "eye"}
    assert told["dough"]["stroke_m"] == pytest.approx(0.0127)
    assert told["dough"]["shortest_period_s"] >= told["dough"]["portion_s"]


def test_a_steep_screw_is_told_where_the_card_admits_it(benchd: Benchd, cards: Path) -> None:
    steep = (("lead: 2 mm ", "lead: 8 mm "), ("starts: 1", "starts: 4"))
    no = ("keeps_position: yes ", "keeps_position: no ")
    shown = benchd("check", change(cards / "bench.yaml", *steep, no))
    assert shown.code == 0
    assert "runs back when the drive lets go (slope" in shown.out
    assert ": expect loss of pressure then" in shown.out


def test_the_mistakes_of_both_cards_are_told_at_once(benchd: Benchd, cards: Path) -> None:
    bench = change(cards / "bench.yaml", ("  bore: 50 mm", "  bore: 5 mm"), ("rod: 6 ", "rad: 6 "))
    dough = change(cards / "masa.yaml", ("aim: 30 g", "aim: 30"))
    shown = benchd("check", bench, dough)
    assert shown.code == 1
    for says in (
        "Bore 5 mm gives 0.02 g/mm. Did you mean 50 mm?",
        "'cutter.rad' is no key of this card; the nearest is 'cutter.rod'.",
        f"{dough}, line 9: 'aim: 30' has no unit",
    ):
        assert says in shown.out
    mistakes = shown.out.splitlines()
    assert shown.err == f"{len(mistakes)} mistakes: nothing can run by these cards.\n"
    told = benchd("check", bench, dough, "--json")
    assert told.code == 1
    assert json.loads(told.out) == {"ok": False, "mistakes": mistakes}
    assert told.err == ""


def test_a_broken_dough_card_is_told_as_one(benchd: Benchd, cards: Path) -> None:
    dough = change(cards / "masa.yaml", ("aim: 30 g", "aim: [30 g"))
    shown = benchd("check", str(cards / "bench.yaml"), dough)
    assert shown.code == 1
    assert shown.out.startswith(f"{dough}, line ")
    assert "is not YAML as a card needs it" in shown.out
    assert shown.err == "1 mistake: nothing can run by these cards.\n"


def test_a_card_that_is_not_there_is_a_mistake(benchd: Benchd, cards: Path) -> None:
    shown = benchd("check", str(cards / "none.yaml"))
    assert shown.code == 1
    assert "none.yaml: cannot be read (no such file or directory); check the path." in shown.out


USAGES = [
    ((), "are required: CARD"),
    (("masa.yaml",), "masa.yaml is a dough card. The bench card comes first"),
    (("masa.yaml", "bench.yaml"), "masa.yaml is a dough card."),
    (("bench.yaml", "smallest.yaml"), "smallest.yaml is a bench card."),
    (("bench.yaml", "masa.yaml", "masa.yaml"), "The bench card comes first"),
    (("--diff", "bench.yaml"), "Two cards of a kind are compared"),
    (("--diff", "bench.yaml", "masa.yaml"), "One is a bench card and the other a dough card."),
]


@pytest.mark.parametrize(("words", "says"), USAGES)
def test_what_is_not_understood_ends_with_2(
    benchd: Benchd,
    cards: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    says: str,
) -> None:
    monkeypatch.chdir(cards)
    shown = benchd("check", *words)
    assert (shown.code, shown.out) == (2, "")
    assert says in shown.err


# benchd check --diff.


def test_diff_speaks_in_the_persons_units_and_marks_what_is_asked(
    benchd: Benchd, cards: Path
) -> None:
    new = cards / "new.yaml"
    new.write_text((cards / "bench.yaml").read_text("utf-8"), "utf-8")
    changed = change(
        new, ("air_min: 1.5 bar ", "air_min: 22 psi "), ("heel: 12 mm", "heel: 0.5 in")
    )
    shown = benchd("check", "--diff", str(cards / "bench.yaml"), changed)
    assert shown == (
        0,
        "* feed.heel: 12 mm -> 0.5 in (+5.8 %)\n"
        "  limits.air_min: 1.5 bar -> 22 psi (+1.1 %)\n"
        "2 changed, 1 of them (*) by so much that they are asked about before use; the bench is "
        "to be proven again (IL-15: motion, air).\n",
        "",
    )
    told = json.loads(benchd("check", "--diff", str(cards / "bench.yaml"), changed, "--json").out)
    assert [row["path"] for row in told["changes"] if row["asks"]] == ["feed.heel"]
    assert told["groups"] == ["motion", "air"]


def test_diff_of_dough_cards_and_of_the_same_card(benchd: Benchd, cards: Path) -> None:
    new = cards / "new.yaml"
    new.write_text((cards / "masa.yaml").read_text("utf-8"), "utf-8")
    assert benchd("check", "--diff", str(cards / "masa.yaml"), str(new)).out == (
        "Nothing changed: both cards say the same.\n"
    )
    change(new, ("settle: 300 ms", "settle: 0.31 s"))
    assert benchd("check", "--diff", str(cards / "masa.yaml"), str(new)).out == (
        "  settle: 300 ms -> 0.31 s (+3.3 %)\n1 changed.\n"
    )


def test_diff_of_cards_with_mistakes_tells_them(benchd: Benchd, cards: Path) -> None:
    bad = change(cards / "smallest.yaml", ("lead: 2 mm", "lead: 2"))
    shown = benchd("check", "--diff", bad, str(cards / "bench.yaml"))
    assert shown.code == 1
    assert "has no unit" in shown.out


@pytest.mark.slow
def test_check_loads_nothing_heavy(cards: Path) -> None:
    program = (
        "import json, sys; from benchd.cli.run import run; "
        f"code = run(['check', '{cards}/bench.yaml', '{cards}/masa.yaml']); "
        "sys.stderr.write(json.dumps([code, sorted(sys.modules)]))"
    )
    words = [sys.executable, "-c", program]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    code, modules = json.loads(done.stderr)
    assert code == 0
    heavy = {"asyncio", "difflib", "logging", "pathlib", "pint", "sqlite3", "subprocess", "scipy"}
    assert heavy & set(modules) == set()


# A dough card that is far from the one used last.

QUESTION = "The dough card 'masa' differs from the last use of it: aim 30 g -> 40 g (+33 %)."
RECORD: dict[str, Any] = {
    "number": 4, "class": "normal", "outcome": "complete", "asked_steps": 1, "made_steps": 1,
    "asked_m": {"push": 0.0133}, "phase_s": {}, "thrust_n": {},
}  # fmt: skip
SERIES = {"what": "ended", "reason": "", "made": 2, "count": 2}
WAYS = [
    (("portion",), RECORD),
    (("series", "--count", "2", "--every", "8s"), SERIES),
]


def questions(result: dict[str, Any]) -> Callable[[dict[str, Any]], Any]:
    def answer(params: dict[str, Any]) -> Any:
        return result if params.get("confirmed") else Refusal(-32002, QUESTION)

    return answer


@pytest.mark.parametrize(("words", "result"), WAYS)
@pytest.mark.parametrize(("answer", "code"), [("yes\n", 0), ("no\n", 1)])
def test_a_questioned_card_is_used_only_when_the_person_says_so(
    benchd: Benchd,
    daemon: FakeDaemon,
    cards: Path,
    typing: Typing,
    words: tuple[str, ...],
    result: dict[str, Any],
    answer: str,
    code: int,
) -> None:
    daemon.answers[words[0]] = questions(result)
    daemon.news = [("series", SERIES)]
    typing(f"yes\n{answer}")
    shown = benchd(words[0], str(cards / "masa.yaml"), *words[1:])
    assert shown.code == code
    assert QUESTION in shown.err
    sent = [params.get("confirmed", False) for method, params in daemon.asked if method == words[0]]
    assert sent == ([False, True] if code == 0 else [False])


@pytest.mark.parametrize(("words", "result"), WAYS)
def test_scripts_say_yes_beforehand(
    benchd: Benchd, daemon: FakeDaemon, cards: Path, words: tuple[str, ...], result: dict[str, Any]
) -> None:
    daemon.answers[words[0]] = questions(result)
    daemon.news = [("series", SERIES)]
    assert benchd(words[0], str(cards / "masa.yaml"), *words[1:], "--yes").code == 0


# A bench card that is far from the one served last.


@pytest.fixture
def served(folders: Path, cards: Path) -> str:
    """The example bench, which was served before; its text."""
    text = (cards / "bench.yaml").read_text("utf-8")
    leave_journal(text)
    return text


def leave_journal(card: str) -> None:
    folder = Path(paths.make_private(paths.state_dir("maize")))
    JournalFile.create(
        journal_path(folder, 1_000_000, "0a0b0c0d"),
        meta={"bench": "maize", "card": card},
        views=[],
        wall_us=lambda: 1_000_000,
        on_committed=lambda n: None,
        on_fault=lambda reason: None,
    ).close()


def ask(text: str, *, yes: bool = False) -> None:
    ask_before_serving(bench_card(text, "bench.yaml"), yes=yes)


def test_the_first_card_and_the_same_card_are_served_unasked(cards: Path) -> None:
    text = (cards / "bench.yaml").read_text("utf-8")
    ask(text)
    leave_journal(text)
    ask(text)
    ask(text.replace("heel: 12 mm", "heel: 12.5 mm"))


FAR = ("thrust: 400 N ", "thrust: 450 N ")


def test_a_far_card_is_served_only_when_the_person_says_so(
    served: str, typing: Typing, capsys: pytest.CaptureFixture[str]
) -> None:
    text = served.replace(*FAR).replace("heel: 12 mm", "heel: 12.5 mm")
    with pytest.raises(Usage, match="add --yes"):
        ask(text)
    ask(text, yes=True)
    typing("yes\n")
    ask(text)
    said = capsys.readouterr().err
    assert "  limits.thrust: 400 N -> 450 N (+12 %)\n  and 1 smaller change\n" in said
    typing("no\n")
    with pytest.raises(Wrong, match="Nothing was done"):
        ask(text)


def test_serve_asks_before_it_opens_anything(benchd: Benchd, served: str, cards: Path) -> None:
    shown = benchd("serve", change(cards / "bench.yaml", FAR))
    assert shown.code == 2
    assert "differs from the one served last" in shown.err
    assert len(list(Path(paths.state_dir("maize")).glob("*"))) == 1


def test_a_card_that_cannot_be_compared_is_asked_about(
    folders: Path, cards: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    leave_journal("bench: maize\nstrange: 1\n")
    ask((cards / "bench.yaml").read_text("utf-8"), yes=True)
    said = capsys.readouterr().err
    assert "cannot be read any more: card of the last journal" in said


def test_a_journal_that_cannot_be_read_is_left_to_the_daemon(served: str) -> None:
    (journal,) = Path(paths.state_dir("maize")).glob("*")
    journal.write_bytes(b"no journal")
    ask(served.replace(*FAR))
