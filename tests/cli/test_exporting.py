"""`benchd journal export`, `archive`, `restore`, and archives in the place of journals."""

from __future__ import annotations

import csv
import io
import json
import os
import pty
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pyarrow.parquet
import pytest

from benchd.analysis import archive_format
from benchd.analysis.reader import JournalReader
from benchd.cli import exporting
from benchd.io import paths
from benchd.io.journal import JournalFile
from tests.analysis.bench_journal import at_work, written
from tests.analysis.journals import Journal, entry
from tests.cli.conftest import Outcome

Benchd = Callable[..., Outcome]
OLD, NEW = "20260101T080000.000000Z-aa.journal", "20260102T080000.000000Z-bb.journal"


@pytest.fixture(scope="session")
def worked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A closed journal of a simulated bench at work. Nobody may change it."""
    return written(tmp_path_factory.mktemp("worked") / "a.journal", at_work())


@pytest.fixture
def journal(worked: Path, folders: Path) -> Path:
    """The same as the older of two journals of a bench on this machine."""
    folder = Path(paths.make_private(paths.state_dir("maize")))
    shutil.copy(worked, folder / NEW)
    return Path(shutil.copy(worked, folder / OLD))


@pytest.mark.slow
def test_weights_go_to_standard_output_as_csv(journal: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "benchd", "journal", "export", "--what", "weights"],
        capture_output=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, b"")
    rows = list(csv.DictReader(io.StringIO(done.stdout.decode(), newline="")))
    assert [row["portion"] for row in rows] == ["1", "2", "3", "1"]
    assert done.stdout.count(b"\r\n") == 5


@pytest.mark.slow
def test_the_name_of_the_file_says_the_format(
    benchd: Benchd, journal: Path, tmp_path: Path
) -> None:
    for form in ("csv", "jsonl", "parquet"):
        target = tmp_path / f"portions.{form}"
        done = benchd("journal", "export", "20260101", "--what", "portions", "--to", str(target))
        assert done == (0, f"{target}: 4 portions\n", "")
    assert pyarrow.parquet.read_table(tmp_path / "portions.parquet").num_rows == 4
    assert len((tmp_path / "portions.jsonl").read_text().splitlines()) == 4
    assert [path.suffix for path in sorted(tmp_path.iterdir())] == [".csv", ".jsonl", ".parquet"]


@pytest.mark.slow
def test_rows_are_chosen(benchd: Benchd, journal: Path, tmp_path: Path) -> None:
    def rows(*words: str) -> list[dict[str, object]]:
        target = tmp_path / "x.json"
        words = ("journal", "export", *words, "--to", str(target), "--format", "jsonl")
        done = benchd(*words, "--overwrite")
        assert (done.code, done.err) == (0, "")
        return [json.loads(line) for line in target.read_text("utf-8").splitlines()]

    only = rows("--portion", "2")
    assert {row["portion"] for row in only} == {2}
    assert len(only) < len(rows()) < len(rows("--everything")) == JournalReader(journal).last()
    assert {row["phase"] for row in rows("--what", "samples", "--portion", "2")} >= {"push", "cut"}


@pytest.mark.slow
def test_nothing_is_overwritten_unasked(benchd: Benchd, journal: Path, tmp_path: Path) -> None:
    target = tmp_path / "x.csv"
    target.write_text("mine")
    words = ["journal", "export", "--what", "weights", "--to", str(target)]
    done = benchd(*words)
    assert done == (1, "", f"{target} is there already: add --overwrite to replace it.\n")
    assert target.read_text() == "mine"
    assert benchd(*words, "--overwrite").code == 0
    assert target.read_bytes().startswith(b'"n",')


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["export", "--to", "x.xls"], "'x.xls' does not say the format: end it in .csv, .jsonl"),
        (["export", "--what", "everything"], "invalid choice: 'everything'"),
        (["export", "--format", "xml"], "invalid choice: 'xml'"),
        (["export", "--what", "weights", "--everything"], "--everything goes with --what events"),
        (["export", "--portion", "0"], "'0' is not a whole number"),
        (["restore"], "archive"),
        (["restore", "20260101"], "is no archive"),
    ],
)
def test_what_is_not_understood(benchd: Benchd, journal: Path, words: list[str], says: str) -> None:
    done = benchd("journal", *words)
    assert (done.code, done.out) == (2, "")
    assert says in done.err


def test_what_is_wrong_is_one_sentence(benchd: Benchd, journal: Path, tmp_path: Path) -> None:
    broken = tmp_path / "a.journal"
    broken.write_bytes(b"nothing of the kind" * 100)
    archive = tmp_path / "b.journal.parquet"
    archive.write_bytes(b"PAR1" * 100)
    nowhere = str(tmp_path / "none" / "x.csv")
    for words in (
        ["export", str(broken)], ["export", str(archive)], ["archive", str(broken)],
        ["restore", str(archive)], ["show", str(archive)], ["export", "--to", nowhere],
        ["export", "--to", str(tmp_path), "--format", "csv"], ["export", "2027"],
    ):  # fmt: skip
        done = benchd("journal", *words)
        assert (done.code, done.out) == (1, ""), words
        assert done.err.count("\n") == 1
        assert "Traceback" not in done.err
        assert "error of its own" not in done.err
    assert benchd("journal", "check", str(archive)).code == 1
    assert benchd("replay", str(archive)).code == 1


@pytest.mark.slow
@pytest.mark.parametrize("form", ["csv", "jsonl", "parquet"])
def test_a_broken_pipe_ends_quietly(journal: Path, form: str) -> None:
    reading, writing = os.pipe()
    words = ["journal", "export", "--everything", "--format", form]
    process = subprocess.Popen(
        [sys.executable, "-m", "benchd", *words], stdout=writing, stderr=subprocess.PIPE
    )
    os.close(writing)
    assert os.read(reading, 10)
    os.close(reading)
    _, said = process.communicate(timeout=60)
    assert (process.returncode, said) == (1, b"")


@pytest.mark.slow
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
@pytest.mark.parametrize("form", ["csv", "jsonl", "parquet"])
def test_a_full_disk_is_one_sentence(journal: Path, form: str) -> None:
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "benchd", "journal", "export", "--everything", "--format", form],
            stdout=full, stderr=subprocess.PIPE, check=False,
        )  # fmt: skip
    assert done.returncode == 1
    assert done.stderr.count(b"\n") == 1
    assert b"No space left on device" in done.stderr


@pytest.mark.slow
def test_parquet_is_not_poured_over_a_terminal(journal: Path) -> None:
    controller, terminal = pty.openpty()
    done = subprocess.run(
        [sys.executable, "-m", "benchd", "journal", "export", "--format", "parquet"],
        stdout=terminal, stderr=subprocess.PIPE, check=False,
    )  # fmt: skip
    os.close(terminal)
    os.close(controller)
    assert done.returncode == 2
    assert b"Parquet is no text for a terminal" in done.stderr


# Archives.


@pytest.mark.slow
def test_an_archive_takes_the_place_of_its_journal(benchd: Benchd, journal: Path) -> None:
    shown, replayed = benchd("journal", "show", "20260101"), benchd("replay", "20260101")
    weights = benchd(
        "journal", "export", "20260101", "--what", "weights", "--to", "/dev/null", "--format", "csv"
    )
    head = JournalReader(journal).head()
    done = benchd("journal", "archive", "20260101", "--remove")
    assert (done.code, done.err) == (0, "")
    assert "read back and found the same. The journal is deleted." in done.out
    assert [path.name for path in sorted(journal.parent.iterdir())] == [f"{OLD}.parquet", NEW]
    assert benchd("journal", "show", "20260101") == shown
    assert benchd("replay", "20260101") == replayed
    assert benchd("replay", "20260101", "--verify").code == 0
    again = benchd(
        "journal", "export", "20260101", "--what", "weights", "--to", "/dev/null", "--format", "csv"
    )
    assert again == weights == (0, "/dev/null: 4 weights\n", "")
    listed = benchd("journal", "list").out.splitlines()
    assert re.match(rf"{OLD}.parquet  bench \w+  closed, archive  \d+ entries", listed[0])
    assert re.match(rf"{NEW}  bench \w+  closed  \d+ entries", listed[1])
    checked = benchd("journal", "check", "20260101", "--json")
    assert (checked.code, json.loads(checked.out)["head"]) == (0, head)
    restored = benchd("journal", "restore", "20260101")
    assert restored.code == 0
    assert "the same as were archived" in restored.out
    assert JournalReader(journal).head() == head


@pytest.mark.slow
def test_an_archive_is_verified_by_what_it_was_restored_to_once(
    benchd: Benchd, journal: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    verified = benchd("replay", OLD, "--verify", "--json")
    assert benchd("journal", "archive", OLD, "--remove").code == 0
    restored: list[Path] = []

    def restore(path: Path, *rest: Any) -> None:
        restored.append(path)
        whole(path, *rest)

    whole = archive_format.restore
    monkeypatch.setattr(archive_format, "restore", restore)
    again = benchd("replay", OLD, "--verify", "--json")
    assert restored == [journal.with_name(f"{OLD}.parquet")]
    assert again.code == verified.code == 0
    told, before = json.loads(again.out), json.loads(verified.out)
    assert told | {"journal": OLD} == before
    # What a check cannot see, a verification does not claim either.
    assert told["notes"] == json.loads(benchd("journal", "check", OLD, "--json").out)["notes"] != []
    for words in (["replay", OLD, "--verify"], ["journal", "check", OLD]):
        shown = benchd(*words)
        assert (shown.code, shown.out.splitlines()[-1].strip()) == (0, told["notes"][-1])


@pytest.mark.slow
def test_an_archive_without_remove_keeps_the_journal(benchd: Benchd, journal: Path) -> None:
    done = benchd("journal", "archive", "--json")
    told = json.loads(done.out)
    assert (done.code, told["removed"]) == (0, False)
    assert told["size_bytes"] == Path(told["path"]).stat().st_size
    assert (journal.parent / NEW).exists()
    again = benchd("journal", "archive", "20260102")
    assert again.code == 1
    assert "is there already" in again.err
    target = journal.parent / "elsewhere"
    back = benchd("journal", "restore", told["path"], "--to", str(target), "--json")
    assert json.loads(back.out) == {"path": str(target), "entries": told["entries"]}
    assert benchd("journal", "archive", told["path"]).code == 2


def test_the_newest_journal_is_not_removed(benchd: Benchd, journal: Path) -> None:
    done = benchd("journal", "archive", "--remove")
    assert done.code == 1
    assert "takes portion numbers, proof and taught levels from it" in done.err
    assert [path.name for path in sorted(journal.parent.iterdir())] == [OLD, NEW]


def test_a_journal_that_a_daemon_has_is_refused(benchd: Benchd, journal: Path) -> None:
    live = Journal(journal.parent / "20260103T080000.000000Z-cc.journal", bench="maize")
    live.commit([entry(1)])
    assert isinstance(live.file, JournalFile)
    done = benchd("journal", "archive", "20260103")
    assert (done.code, done.out) == (1, "")
    assert "is being written by the daemon of its bench" in done.err
    live.close()


@pytest.mark.slow
def test_an_altered_journal_is_kept(benchd: Benchd, journal: Path) -> None:
    data = journal.read_bytes()
    assert b"29.8" in data
    journal.write_bytes(data.replace(b'"29.8"', b'"29.9"'))
    done = benchd("journal", "archive", "20260101", "--remove")
    assert done.code == 1
    assert "nothing vouches for the journal" in done.err
    assert journal.exists()
    assert not list(journal.parent.glob("*.parquet"))


@pytest.mark.slow
def test_listing_loads_nothing_heavy(journal: Path) -> None:
    program = (
        "import sys; sys.argv[1:] = ['journal', 'list']; from benchd.__main__ import main; main(); "
        "print(sorted({'pyarrow', 'pandas', 'numpy', 'duckdb'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.slow
def test_progress_is_shown_on_a_terminal_alone(
    journal: Path, monkeypatch: pytest.MonkeyPatch, benchd: Benchd
) -> None:
    shown: list[str] = []

    @contextmanager
    def working(label: str) -> Iterator[None]:
        shown.append(label)
        yield

    monkeypatch.setattr(exporting, "working", working)
    words = ("journal", "export", "--what", "weights", "--to", "/dev/null", "--format", "csv")
    assert benchd(*words).code == 0
    assert shown == []
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    assert benchd(*words).code == 0
    assert shown == ["The journal is exported"]
