"""`benchd journal` and `replay` on a real journal file."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from benchd.analysis.integrity import check, check_kept
from benchd.analysis.reader import JournalReader
from benchd.cli.journals import find, time_of_day, told
from benchd.cli.replaying import apart
from benchd.core import ledger
from benchd.io import paths
from benchd.io.journal import JournalFile
from benchd.io.journal_format import META_PREVIOUS_HEAD, Entry
from tests.analysis import weights
from tests.cli.conftest import Outcome

Benchd = Callable[..., Outcome]
SECOND_NS = 1_000_000_000


Told = tuple[tuple[int, dict[str, object]], ...]


def make(
    name: str = "20260101T080000.000000Z-aa.journal", bench: str = "maize", told: Told = ()
) -> Path:
    folder = Path(paths.make_private(paths.state_dir(bench)))
    store = JournalFile.create(
        folder / name,
        meta={"bench": bench},
        views=ledger.views(),
        wall_us=lambda: 1,
        on_committed=lambda n: None,
        on_fault=lambda reason: None,
    )
    weight = {"portion": 4, "mass_kg": 0.0302, "look": "clean"}
    entries = [
        Entry(SECOND_NS, ledger.INPUT, (), '{"input":"wake"}'),
        Entry(2 * SECOND_NS, ledger.RECORDS["note"], (), json.dumps({"text": "new \x1b needle"})),
        Entry(3 * SECOND_NS, ledger.RECORDS["weight"], (), json.dumps(weight)),
    ]
    entries += [Entry(at * SECOND_NS, ledger.INPUT, (), json.dumps(text)) for at, text in told]
    entries.sort(key=lambda entry: entry.t_ns)
    store.append(entries, urgent=True)
    store.close()
    return folder / name


def test_without_journals_that_is_said(benchd: Benchd) -> None:
    assert benchd("journal", "list") == (
        0, "There is no journal on this machine yet: 'benchd serve CARD' writes one.\n", ""
    )  # fmt: skip
    assert benchd("journal", "show").code == 1
    assert benchd("replay").code == 1


@pytest.mark.slow
def test_journals_are_listed(benchd: Benchd) -> None:
    make()
    make(bench="barley")
    lines = benchd("journal", "list").out.splitlines()
    assert len(lines) == 2
    assert "bench barley  closed  3 entries" in lines[0]
    only = json.loads(benchd("journal", "list", "--bench", "maize", "--json").out)
    assert (only["bench"], only["entries"], only["problem"]) == ("maize", 3, None)


@pytest.mark.slow
def test_what_happened_is_shown_in_words_and_ascii(benchd: Benchd) -> None:
    make()
    lines = benchd("journal", "show").out.splitlines()
    assert [line[8:] for line in lines[1:]] == [
        "        1.000 s  note      new ? needle",
        "        2.000 s  weight    portion 4: 30.2 g, clean",
    ]


@pytest.fixture
def utc(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A machine whose clock shows UTC."""
    with monkeypatch.context() as patch:
        patch.setenv("TZ", "UTC")
        time.tzset()
        yield
    time.tzset()


@pytest.mark.slow
@pytest.mark.usefixtures("utc")
def test_the_time_of_day_follows_a_clock_that_was_set(benchd: Benchd) -> None:
    opened_us = 1_800_000_000_000_000  # 2027-01-15 08:00:00 UTC.
    set_us = opened_us + 3_600_000_000
    make(
        told=(
            (1, {"input": "opened", "wall_us": opened_us}),
            (3, {"input": "wall-clock", "wall_us": set_us}),
        )
    )
    note, weight = benchd("journal", "show").out.splitlines()[1:]
    assert note.startswith("08:00:01        1.000 s  note")
    assert weight.startswith("09:00:00        2.000 s  weight")
    rows = [json.loads(row) for row in benchd("journal", "show", "--json").out.splitlines()]
    assert [row["wall_us"] for row in rows] == [opened_us + 1_000_000, set_us]


def test_where_nobody_knows_the_time_of_day_there_is_none() -> None:
    assert time_of_day(None) == " " * 8


@pytest.mark.slow
def test_what_is_shown_can_be_chosen(benchd: Benchd) -> None:
    make()
    assert "weight" in benchd("journal", "show", "2026", "--portion", "4").out
    assert benchd("journal", "show", "--portion", "5").out.count("\n") == 1
    assert "note" not in benchd("journal", "show", "--kind", "weight").out
    assert "told" in benchd("journal", "show", "--everything").out
    assert benchd("journal", "show", "--last", "1").out.count("\n") == 2
    shown = json.loads(benchd("journal", "show", "--kind", "weight", "--json").out)
    assert shown["data"]["portion"] == 4
    wrong = benchd("journal", "show", "--kind", "wieght")
    assert wrong.code == 2
    assert "There is no kind 'wieght'" in wrong.err


@pytest.mark.slow
def test_a_name_that_fits_none_or_several_is_asked_again(benchd: Benchd) -> None:
    make()
    make("20260102T080000.000000Z-bb.journal")
    assert benchd("journal", "show", "2027").code == 1
    several = benchd("journal", "show", "2026")
    assert several.code == 2
    assert "'2026' fits 2 journals" in several.err


@pytest.mark.slow
def test_a_sound_journal_checks_and_an_altered_one_does_not(benchd: Benchd) -> None:
    path = make()
    sound = benchd("journal", "check")
    assert sound.code == 0
    assert "as it was written; 3 entries" in sound.out
    data = path.read_bytes()
    assert b"0.0302" in data
    path.write_bytes(data.replace(b"0.0302", b"0.0312"))
    altered = benchd("journal", "check", "--json")
    assert altered.code == 1
    assert json.loads(altered.out)["clean"] is False


def restarted(bench: str = "maize") -> tuple[Path, Path]:
    """A bench's journal with a tube of nine weighed portions, and that of the daemon after it."""
    folder = Path(paths.make_private(paths.state_dir(bench)))
    older = folder / "20260101T080000.000000Z-aa.journal"
    newer = folder / "20260101T090000.000000Z-bb.journal"
    weights.write_journal(older, weights.series([30.0] * 9), meta={"bench": bench})
    head = JournalReader(older).head() or ""
    newer_meta = {"bench": bench, META_PREVIOUS_HEAD: head}
    weights.write_journal(newer, [weights.tube_in("T2")], meta=newer_meta)
    return older, newer


@pytest.mark.slow
def test_a_portion_is_found_in_the_newest_journal_that_has_it(benchd: Benchd) -> None:
    older, newer = restarted()
    (newer.parent / "20260101T100000.000000Z-cc.journal").write_bytes(b"nothing of the kind")
    assert find(None, None).name.endswith("cc.journal")
    assert find(None, None, 4) == find(None, "maize", 9) == older
    assert find(None, None, 10).name.endswith("cc.journal")
    assert "portion 4" in benchd("journal", "show", "--portion", "4").out
    assert "Portion 4 of tube T1" in benchd("why", "--portion", "4").out


@pytest.mark.slow
def test_where_the_newest_journal_is_empty_an_older_one_is_named(benchd: Benchd) -> None:
    older, newer = restarted()
    for words in (["judge"], ["why"], ["advise"]):
        shown = benchd(*words)
        assert shown.code == 1
        assert shown.err.endswith(f" An older journal has some: {older.name}, of bench maize.\n")
        named = benchd(*words, newer.name)
        assert named.code == 1
        assert "older" not in named.err
    older.unlink()
    assert "older" not in benchd("judge").err


@pytest.mark.slow
def test_a_tail_that_was_cut_shows_by_the_head_that_the_next_journal_carries(
    benchd: Benchd,
) -> None:
    older, _ = restarted()
    assert check_kept(older).clean
    shorter = weights.series([30.0] * 8)
    older.unlink()
    weights.write_journal(older, shorter)
    assert check(older).clean
    assert benchd("journal", "check", older.name).code == 1
    for words in ([], ["--json"]):
        shown = benchd("replay", older.name, "--verify", *words)
        assert shown.code == 1
        assert older.name in shown.out
        assert "head" in shown.out
    # Where the journal after it cannot be read, nobody knows what it carried, and that is said.
    (older.parent / "20260101T083000.000000Z-ab.journal").write_bytes(b"nothing of the kind")
    alone, beside = (benchd("journal", "check", *name) for name in ([older.name], []))
    assert (alone.code, beside.code) == (0, 1)
    assert alone.out in beside.out
    note = alone.out.splitlines()[-1]
    assert "not known" in note
    # Those journals hold no state to run from, so what is said of them is all that is compared.
    for words in ([], ["--json"]):
        shown = benchd("replay", older.name, "--verify", *words)
        assert (shown.code, "WRONG" in shown.out) == (1, False)
        assert "carries no state" in shown.err


def test_what_is_no_journal_is_one_sentence(benchd: Benchd, tmp_path: Path) -> None:
    path = tmp_path / "a.journal"
    path.write_bytes(b"nothing of the kind" * 100)
    for words in (["journal", "show"], ["replay"], ["replay", "--verify"]):
        shown = benchd(*words, str(path))
        assert shown.code == 1
        assert "Traceback" not in shown.err
        assert shown.err.count("\n") == 1
    assert benchd("journal", "check", str(path)).code == 1


@pytest.mark.parametrize("kind", sorted(ledger.RECORDS))
def test_a_record_that_lacks_its_words_is_still_shown(kind: str) -> None:
    assert told(kind, {"colour": "red"}) == "colour red"
    assert told(kind, {}) == "-"


def test_two_decisions_are_shown_where_they_part() -> None:
    same = "portion " + "x" * 300
    stored, now = apart(f"{same}1 and more", f"{same}2 and more")
    assert stored == "..." + "x" * 24 + "1 and more"
    assert now == "..." + "x" * 24 + "2 and more"
    assert apart("a", "ab") == ("a", "ab")
