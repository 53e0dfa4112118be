"""Journals, exports and archives in the sqlite3 shell, pandas and DuckDB: the very examples of the
guide's page, run where nothing of ours can be imported, held to what our own reader says."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from benchd.analysis.archive import archive
from benchd.analysis.reader import JournalReader, canonical_export
from benchd.core import ledger
from protocols import messages as m
from sim.world import World
from tests.analysis.exports import export_to

PAGE = (Path(__file__).parents[2] / "benchd" / "guide" / "export.md").read_text("utf-8")
BLOCKS = re.findall(r"^```\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)

ALONE = """
import sys
sys.path[:] = [folder for folder in sys.path if folder not in ("", sys.argv[1])]
class Refuse:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in ("benchd", "protocols", "tui", "sim"):
            raise ImportError(name + " is not to be had here")
sys.meta_path.insert(0, Refuse())
"""
DUCKDB = """
import duckdb, json
print(json.dumps([list(row) for row in duckdb.sql(sys.stdin.read()).fetchall()], default=str))
"""

needs_sqlite3 = pytest.mark.skipif(
    shutil.which("sqlite3") is None, reason="the sqlite3 shell is not installed"
)


def block(*words: str) -> str:
    """The only example of the page that holds all these words."""
    found = [one for one in BLOCKS if all(word in one for word in words)]
    assert len(found) == 1, (words, found)
    return found[0]


@pytest.fixture(scope="module")
def folder(bench_journal: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The files that the page's examples read, under the names that it gives them."""
    folder = tmp_path_factory.mktemp("guide")
    journal = Path(shutil.copy(bench_journal, folder / "bench.journal"))
    archive(journal)
    for line in block("--to events.csv").splitlines():
        words = line.split()
        if "--to" in words:
            what = words[words.index("--what") + 1]
            export_to(journal, folder / words[words.index("--to") + 1], what)
    return folder


@pytest.fixture(scope="module")
def records(world: World) -> dict[str, list[dict[str, Any]]]:
    """Every record of the journal by kind, in order."""
    found: dict[str, list[dict[str, Any]]] = {}
    for entry in world.stores[-1].entries:
        if entry.kind in ledger.RECORD_BY_CODE:
            name = ledger.RECORD_BY_CODE[entry.kind]
            found.setdefault(name, []).append(json.loads(entry.text or ""))
    return found


def samples(world: World) -> list[tuple[int, m.Sample]]:
    """Every sample that has a thrust, with its host time."""
    kind = m.Sample.code
    entries = [entry for entry in world.stores[-1].entries if entry.kind == kind]
    said = [(one.t_ns, ledger.read_input(kind, one.values, None)) for one in entries]
    return [(t_ns, one) for t_ns, one in said if isinstance(one, m.Sample) and one.thrust != 65535]


# The sqlite3 shell.


def shell(folder: Path, *words: str) -> list[list[str]]:
    """What an example of the shell prints, split at its bars."""
    command = block(*words)
    assert command.startswith("sqlite3 ")
    done = subprocess.run(
        ["sh", "-ec", command], cwd=folder, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert not done.stderr
    return [line.split("|") for line in done.stdout.splitlines()]


@needs_sqlite3
def test_the_shell_reads_portions(folder: Path, records: dict[str, list[dict[str, Any]]]) -> None:
    head, *rows = shell(folder, "sqlite3 ", "$.phase_s.push")
    assert head == ["portion", "class", "push_s"]
    assert [(int(n), kind, float(push_s)) for n, kind, push_s in rows] == [
        (one["number"], one["class"], one["phase_s"]["push"]) for one in records["portion"]
    ]
    assert len(rows) == 4


@needs_sqlite3
def test_the_shell_reads_samples_in_si(folder: Path, world: World) -> None:
    head, *rows = shell(folder, "FROM line_sample")
    assert head == ["t_ns", "eye_counts", "thrust_n", "air_pa", "supply_v"]
    assert [tuple(map(float, row)) for row in rows] == [
        (t_ns, one.eye, one.thrust / 10, one.air * 100, one.supply / 1000)
        for t_ns, one in samples(world)
    ]
    assert len(rows) > 200


@needs_sqlite3
def test_the_shell_finds_the_time_of_day_that_exports_have(folder: Path) -> None:
    head, *rows = shell(folder, "AS wall_us")
    assert head == ["n", "portion", "mass_kg", "wall_us"]
    path = export_to(folder / "bench.journal", folder / "weights.jsonl", "weights")
    lines = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
    assert len(rows) == len(lines) == 4
    for (n, portion, mass_kg, wall_us), line in zip(rows, lines, strict=True):
        assert (int(n), int(portion), float(mass_kg)) == (
            line["n"], line["portion"], line["mass_kg"],
        )  # fmt: skip
        assert iso(int(wall_us)) == line["time_utc"]


def iso(wall_us: int) -> str:
    """A time of day as ISO 8601, by integers alone."""
    done = subprocess.run(
        ["sqlite3", ":memory:", f"SELECT strftime('%Y-%m-%dT%H:%M:%S', {wall_us // 10**6}, "
         "'unixepoch')"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return f"{done.stdout.strip()}.{wall_us % 10**6:06d}Z"


@needs_sqlite3
@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="there is no sha256sum")
def test_the_head_is_computed_with_the_shell_alone(folder: Path) -> None:
    ((computed,),) = shell(folder, "sha256sum")
    ((said,),) = shell(folder, "hex(hash)")
    reader = JournalReader(folder / "bench.journal")
    ours = hashlib.sha256("".join(f"{line}\n" for line in canonical_export(reader)).encode())
    assert computed.split()[0] == said == reader.head() == ours.hexdigest()


# pandas.


def python(folder: Path, program: str, stdin: str = "") -> str:
    """What a program prints that cannot import anything of ours."""
    done = subprocess.run(
        [sys.executable, "-I", "-c", ALONE + program, str(Path(__file__).parents[2])],
        cwd=folder, capture_output=True, text=True, check=False, input=stdin,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_nothing_of_ours_is_at_hand_there(tmp_path: Path) -> None:
    with pytest.raises(AssertionError, match="not to be had"):
        python(tmp_path, "import benchd.core")


PANDAS = {
    "portions.csv": 'portions[["portion", "mass_kg", "class"]]',
    "events.jsonl": 'events.loc[events["kind"] == "line_edge", ["n", "text"]]',
    "samples.parquet": 'samples.groupby(["portion", "phase"])["thrust_n"].max().reset_index()',
    "read_sql": 'portions[["number", "class", "phase_s.push", "thrust_n.peak"]]',
}
"""What is taken out of the tables that each example makes, to be compared."""


def frame(folder: Path, name: str) -> list[list[Any]]:
    """What an example of pandas has in its hands, as rows."""
    program = block("import pandas", name)
    asked = f"\nprint('@' + ({PANDAS[name]}).to_json(orient='values', double_precision=15))"
    shown, _, rows = python(folder, program + asked).rpartition("@")
    assert shown.strip(), "the example itself prints nothing"
    found: list[list[Any]] = json.loads(rows)
    return found


@pytest.mark.slow
def test_pandas_reads_the_csv(folder: Path) -> None:
    assert frame(folder, "portions.csv") == [
        [1, 0.0298, "first"], [2, 0.0299, "normal"], [3, 0.0301, "normal"], [4, None, "normal"],
    ]  # fmt: skip


@pytest.mark.slow
def test_pandas_reads_the_json_lines(folder: Path, world: World) -> None:
    rows = frame(folder, "events.jsonl")
    entries = world.stores[-1].entries
    edges = [n for n, entry in enumerate(entries, 1) if entry.kind == m.Edge.code]
    assert [n for n, _ in rows] == edges
    assert Counter(text for _, text in rows)["valve on"] == 5  # A dry stroke and four portions.


@pytest.mark.slow
def test_pandas_reads_the_parquet(folder: Path, records: dict[str, list[dict[str, Any]]]) -> None:
    rows = {
        (int(portion), phase): most for portion, phase, most in frame(folder, "samples.parquet")
    }
    for record in records["portion"]:
        # The board looks far more often than it sends, so its peak is at least that of the samples.
        peak_n, seen_n = record["thrust_n"]["peak"], rows[record["number"], "push"]
        assert 0.8 * peak_n <= seen_n <= peak_n + 1e-9


@pytest.mark.slow
def test_pandas_reads_a_journal(folder: Path, records: dict[str, list[dict[str, Any]]]) -> None:
    assert frame(folder, "read_sql") == [
        [
            one["number"],
            one["class"],
            one["phase_s"]["push"],
            pytest.approx(one["thrust_n"]["peak"]),
        ]
        for one in records["portion"]
    ]


# DuckDB.


def duckdb(folder: Path, *words: str) -> list[list[Any]]:
    """What an example of DuckDB gives, as rows."""
    query = block(*words)
    assert query.startswith("SELECT ")
    found: list[list[Any]] = json.loads(python(folder, DUCKDB, query))
    return found


@pytest.mark.slow
def test_duckdb_reads_the_parquet(folder: Path) -> None:
    rows = duckdb(folder, "SELECT portion, max(thrust_n)")
    pushed = [row for row in frame(folder, "samples.parquet") if row[1] == "push"]
    assert rows == [[int(portion), most] for portion, _, most in pushed]


@pytest.mark.slow
def test_duckdb_reads_the_csv(folder: Path) -> None:
    with (folder / "events.csv").open(newline="", encoding="utf-8") as file:
        kinds = Counter(row["kind"] for row in csv.DictReader(file))
    assert duckdb(folder, "'events.csv'") == sorted([kind, n] for kind, n in kinds.items())
    assert kinds["portion"] == 4


@pytest.mark.slow
def test_duckdb_reads_samples_of_an_archive(folder: Path, world: World) -> None:
    assert duckdb(folder, "line_sample_eye AS") == [
        [t_ns, one.eye, one.thrust / 10, one.supply / 1000] for t_ns, one in samples(world)
    ]


@pytest.mark.slow
def test_duckdb_reads_records_and_head_of_an_archive(
    folder: Path, records: dict[str, list[dict[str, Any]]]
) -> None:
    rows = duckdb(folder, "SELECT ", "'bench.journal.parquet'", "kind = 'portion'")
    assert [[int(n), kind, float(push_s)] for n, kind, push_s in rows] == [
        [one["number"], one["class"], one["phase_s"]["push"]] for one in records["portion"]
    ]
    head = JournalReader(folder / "bench.journal").head()
    assert duckdb(folder, "parquet_kv_metadata") == [[head]]


@pytest.mark.slow
def test_the_time_of_each_commit_is_found_as_the_page_says(folder: Path) -> None:
    """In DuckDB alone: opening + time to the commit's first entry + what the column says."""
    query = """
    WITH meta AS (
      SELECT decode(value)::BIGINT AS opened_us FROM parquet_kv_metadata('bench.journal.parquet')
      WHERE decode(key) = 'meta.opened_us'
    ), told AS (
      SELECT n, t_ns, commit_after_us, min(t_ns) OVER () AS start_ns,
        count(commit_after_us) OVER (ORDER BY n ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING)
        AS commit
      FROM 'bench.journal.parquet'
    )
    SELECT max(n), any_value(opened_us) + (min(t_ns) - min(start_ns)) // 1000
      + max(commit_after_us)
    FROM told, meta GROUP BY commit ORDER BY 1
    """
    rows = json.loads(python(folder, DUCKDB, query))
    seals = list(JournalReader(folder / "bench.journal").seals())[1:-1]
    assert rows == [[seal.last, seal.wall_us] for seal in seals]
    assert len(rows) > 20


def test_every_example_of_the_page_is_run_here() -> None:
    source = Path(__file__).read_text("utf-8")
    shown = [one for one in BLOCKS if not one.startswith("benchd ")]
    assert len(shown) == 14
    shells = sum(one.startswith("sqlite3 ") for one in shown)
    assert shells == len(re.findall(r"= shell\(folder, ", source))
    assert sum("import pandas" in one for one in shown) == len(PANDAS)
    queries = sum(one.startswith("SELECT") for one in shown)
    assert queries == len(re.findall(r' duckdb\(folder, "', source))


def test_a_csv_is_read_back_by_the_standard_library(folder: Path, world: World) -> None:
    data = (folder / "events.csv").read_bytes()
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8"), newline="")))
    notes = [row for row in rows if row["kind"] == "note"]
    assert [json.loads(row["data"])["text"] for row in notes] == world_notes(world)
    assert notes[0]["text"] == " ".join(world_notes(world)[0].split())


def world_notes(world: World) -> list[str]:
    """The notes of a world as they were typed."""
    kind = ledger.RECORDS["note"]
    return [
        json.loads(one.text or "")["text"] for one in world.stores[-1].entries if one.kind == kind
    ]
