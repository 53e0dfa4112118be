"""Exports: every row and value held to the journal's entries; the files whole or not there."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet
import pytest

from benchd.analysis.blocks import blocks_of
from benchd.analysis.export import EVENT_KINDS, Choice, batches, schema_of
from benchd.analysis.export_columns import EXPORTS
from benchd.analysis.export_files import Csv, JsonLines, whole_file
from benchd.analysis.reader import JournalReader
from benchd.cli.journal_words import told
from benchd.core import ledger
from benchd.core.clock_map import WRAP_US
from benchd.core.facts import BenchFacts
from benchd.core.inputs import Carry, Opened, WallClock
from benchd.io.journal_format import META_OPENED_US, Entry, JournalError, complete_meta
from protocols import messages as m
from protocols.codes import PHASES
from protocols.limits import NOT_FITTED
from sim.world import START_NS, START_WALL_US, World
from tests.analysis.bench_journal import NOTE, write
from tests.analysis.exports import export_to
from tests.core.script import ALL, bench

FACTS = bench(*ALL)
PAGE = (Path(__file__).parents[2] / "benchd" / "guide" / "export.md").read_text("utf-8")
S = 1_000_000_000


@pytest.fixture(autouse=True)
def small_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    """So that every export spans several."""
    monkeypatch.setattr(blocks_of, "__defaults__", (None, 173))


def rows_of(journal: Path, what: str, **choice: Any) -> list[dict[str, Any]]:
    """What an export holds, as Python's values."""
    found = batches(JournalReader(journal), Choice(what, **choice), told)
    return [row for batch in found for row in batch.table.to_pylist()]


def journal(path: Path, *entries: Entry, facts: BenchFacts = FACTS, last_portion: int = 0) -> Path:
    """A closed journal that opens at START with this card, with these entries."""
    given = Opened(facts, Carry(last_portion=last_portion), START_WALL_US)
    first = Entry(START_NS, *ledger.write_input(given))
    meta = complete_meta({"bench": "x"}, ledger.views(), START_WALL_US)
    return write(path, meta, [first, *entries])


def said(t_ns: int, message: m.BoardMessage) -> Entry:
    return Entry(t_ns, *ledger.write_input(message))


def sample(t_ns: int, t_us: int, *, position: int = 0, eye: int = 500) -> Entry:
    return said(t_ns, m.Sample(1, t_us, position, eye, 123, 2001, 4987))


# The columns.


@pytest.mark.parametrize("what", EXPORTS)
def test_the_page_tells_every_column_and_its_type(what: str) -> None:
    part = PAGE.split(f"### Columns of {what}\n")[1].split("\n#")[0]
    told_there = re.findall(r"^- `(\w+)` \(([\w-]+)\): (.+)$", part, re.MULTILINE)
    assert told_there == [(one.name, one.type, one.meaning) for one in EXPORTS[what]]


@pytest.mark.parametrize("what", EXPORTS)
def test_every_number_has_its_unit_last(what: str) -> None:
    units = ("_m", "_s", "_n", "_pa", "_v", "_kg", "_c", "_counts")
    for column in EXPORTS[what]:
        if column.type == "number":
            assert column.name.endswith(units), column.name
        assert column.type == "number" or column.name.rpartition("_")[2] not in {"kg", "pa", "v"}


# What is in them, by an independent way: one entry after the other.


@pytest.mark.slow
def test_samples_are_the_journal_s_in_si(bench_journal: Path, world: World) -> None:
    rows = rows_of(bench_journal, "samples")
    steps_per_m = world.app.state.facts.steps_per_m
    portion = phase = 0
    expected = []
    for n, entry in enumerate(world.stores[-1].entries, 1):
        if not ledger.is_input(entry.kind) or entry.kind == ledger.INPUT:
            continue
        heard: Any = ledger.read_input(entry.kind, entry.values, entry.text)
        if isinstance(heard, m.Phase):
            portion, phase = heard.portion, heard.phase
        elif isinstance(heard, m.Ended | m.Boot | m.Bench):
            portion = phase = 0
        elif isinstance(heard, m.Sample):
            fitted = [heard.eye, heard.thrust / 10, heard.air * 100, heard.supply / 1000]
            raw = [heard.eye, heard.thrust, heard.air, heard.supply]
            known = [
                value if one != NOT_FITTED else None for value, one in zip(fitted, raw, strict=True)
            ]
            expected.append(
                [n, entry.t_ns, heard.t_us * 1000, heard.k, portion or None,
                 PHASES[phase] if phase else None, heard.position / steps_per_m, *known]
            )  # fmt: skip
    names = [name for name in rows[0] if name != "time_utc"]
    assert [[row[name] for name in names] for row in rows] == expected
    assert {row["portion"] for row in rows} == {None, 1, 2, 3, 4}
    # Virtual time: both clocks of the world go alike.
    for row in rows:
        at_us = int(row["time_utc"].timestamp()) * 10**6 + row["time_utc"].microsecond
        assert at_us == START_WALL_US + (row["t_ns"] - START_NS) // 1000


@pytest.mark.slow
def test_events_with_everything_are_every_entry(bench_journal: Path, world: World) -> None:
    rows = rows_of(bench_journal, "events", everything=True)
    entries = world.stores[-1].entries
    names = {kind: (name, columns) for name, kind, columns in ledger.views()}
    assert [row["n"] for row in rows] == list(range(1, len(entries) + 1))
    for row, entry in zip(rows, entries, strict=True):
        name, columns = names[entry.kind]
        assert row["kind"] == name
        assert row["text"]
        assert "\n" not in row["text"] + row["data"]
        data = json.loads(row["data"])
        if columns:
            assert data == dict(zip(columns, entry.values, strict=True))
        elif name == "line_bench":
            assert data == {"text": entry.text}
        else:
            assert data == json.loads(entry.text or "")


def test_events_alone_leave_the_steady_traffic_out(bench_journal: Path) -> None:
    every = rows_of(bench_journal, "events", everything=True)
    kinds = {name for name, kind, _ in ledger.views() if kind in EVENT_KINDS}
    assert rows_of(bench_journal, "events") == [row for row in every if row["kind"] in kinds]
    assert not {"line_sample", "line_beat", "renew", "told", "decision", "carry"} & kinds
    assert {"line_phase", "portion", "weight", "trip", "note"} <= kinds


@pytest.mark.slow
def test_a_person_understands_the_texts(bench_journal: Path) -> None:
    texts = [(row["kind"], row["text"]) for row in rows_of(bench_journal, "events")]
    for kind, text in (
        ("line_phase", "push begins"),
        ("line_edge", "cutter at the far end"),
        ("line_ended", "ended, complete"),
        ("line_moved", "feed move ended: prime, flowing"),
        ("weight", "portion 2: 29.9 g, clean"),
        ("series", "series ended, 4 of 4 made: all made"),
        ("tube", "tube T1 in"),
        ("proof", "IL-20 proven by tester: looked, clear, home"),
        ("note", " ".join(NOTE.split())),
    ):
        assert (kind, text) in texts, (kind, text)
    every = [
        (row["kind"], row["text"]) for row in rows_of(bench_journal, "events", everything=True)
    ]
    assert ("line_beat", "beat: ready") in every
    assert ("line_beat", "beat: portion, push") in every
    assert ("line_sample", "sample") in every
    decided = [text for kind, text in every if kind == "decision"]
    assert all(text.startswith(("sent: ", "answered client ")) for text in decided)


def test_portions_have_their_last_weight(bench_journal: Path, world: World) -> None:
    rows = rows_of(bench_journal, "portions")
    assert [(row["portion"], row["mass_kg"], row["look"]) for row in rows] == [
        (1, 0.0298, ""), (2, 0.0299, "clean"), (3, 0.0301, "clean"), (4, None, None),
    ]  # fmt: skip
    kind = ledger.RECORDS["portion"]
    records = [json.loads(one.text or "") for one in world.stores[-1].entries if one.kind == kind]
    for row, record in zip(rows, records, strict=True):
        assert row["push_s"] == record["phase_s"]["push"]
        assert row["peak_thrust_n"] == record["thrust_n"]["peak"]
        assert row["cut_air_pa"] == record["air_pa"]["at_cut"]
        assert row["began_ns"] == record["phases"][0]["t_ns"]
        assert row["began_utc"] < row["time_utc"]
        assert json.loads(row["digests"]) == record["digests"]
    # Every column but these has something in a portion that went well.
    empty = {name for name in rows[0] if all(row[name] is None for row in rows)}
    assert empty == {"reason", "temperature_c"}


def test_weights_come_in_order_corrections_too(bench_journal: Path) -> None:
    rows = rows_of(bench_journal, "weights")
    assert [(row["portion"], row["mass_kg"], row["typed"]) for row in rows] == [
        (1, 0.0312, "31.2"), (2, 0.0299, "29.9"), (3, 0.0301, "30.1"), (1, 0.0298, "29.8"),
    ]  # fmt: skip
    assert [row["confirmed"] for row in rows] == [False, False, False, True]


@pytest.mark.parametrize("what", EXPORTS)
def test_one_portion_is_the_rows_of_its_number(bench_journal: Path, what: str) -> None:
    every = rows_of(bench_journal, what)
    only = rows_of(bench_journal, what, portion=2)
    assert only == [row for row in every if row["portion"] == 2]
    assert only
    assert rows_of(bench_journal, what, portion=99) == []


# Times and numbers that wrap.


def test_board_time_goes_on_over_its_wraps_and_anew_with_the_board(tmp_path: Path) -> None:
    greeting = m.Bench(1, "0.1.0", "abc1234", "sim", 8, "power", 4_300, 0, 0, 0)
    path = journal(
        tmp_path / "a.journal",
        sample(START_NS + 1 * S, WRAP_US - 1_000_000),
        sample(START_NS + 3 * S, 1_000_000),
        sample(START_NS + 4 * S, 999_000),
        said(START_NS + 5 * S, m.Bench(1, "0.1.0", "abc1234", "sim", 7, "power", 2, 0, 0, 0)),
        sample(START_NS + 6 * S, 3_000_000),
        said(START_NS + 7 * S, greeting),
        sample(START_NS + 8 * S, 4_301_000_000 - WRAP_US),
    )
    assert [row["board_ns"] for row in rows_of(path, "samples")] == [
        (WRAP_US - 1_000_000) * 1000, (WRAP_US + 1_000_000) * 1000, (WRAP_US + 999_000) * 1000,
        3 * S, 4_301 * S,
    ]  # fmt: skip


def test_time_of_day_follows_what_was_told_last(tmp_path: Path) -> None:
    later_us = START_WALL_US + 3_600_000_000
    path = journal(
        tmp_path / "a.journal",
        sample(START_NS + 1 * S, 0),
        Entry(START_NS + 2 * S, *ledger.write_input(WallClock(later_us))),
        sample(START_NS + 2 * S + 1_999, 0),
    )
    first, second = (row["time_utc"] for row in rows_of(path, "samples"))
    assert first.timestamp() == START_WALL_US / 1e6 + 1
    assert (second.timestamp(), second.microsecond) == (later_us / 1e6 + 1e-6, 1)


def test_portions_are_numbered_in_full_over_16_bits(tmp_path: Path) -> None:
    ended = {"number": 131_073, "class": "normal", "outcome": "complete"}
    path = journal(
        tmp_path / "a.journal",
        said(START_NS, m.Phase(1, 5, 65_535, 2, 0, 0, 0, 0, 0)),
        said(START_NS, m.Phase(2, 6, 0, 2, 0, 0, 0, 0, 0)),
        said(START_NS, m.Phase(3, 7, 1, 2, 0, 0, 0, 0, 0)),
        Entry(START_NS, ledger.RECORDS["portion"], (), json.dumps(ended)),
        said(START_NS, m.Phase(4, 8, 2, 2, 0, 0, 0, 0, 0)),
        last_portion=131_070,
    )
    rows = rows_of(path, "events")
    assert [row["portion"] for row in rows] == [131_071, None, 131_073, 131_073, 131_074]


def test_what_is_not_fitted_is_empty(tmp_path: Path) -> None:
    path = journal(tmp_path / "a.journal", sample(START_NS, 0, eye=NOT_FITTED, position=-80))
    (row,) = rows_of(path, "samples")
    assert (row["eye_counts"], row["thrust_n"]) == (None, 12.3)
    assert row["position_m"] == pytest.approx(-80 / FACTS.steps_per_m)


def test_entries_of_other_versions_are_still_rows(tmp_path: Path) -> None:
    path = journal(
        tmp_path / "a.journal",
        Entry(START_NS, 999, (1, None, -(2**63)), "words"),
        Entry(START_NS, m.Trip.code, (1, 2, None, 200, 0, 0, 0)),
        Entry(START_NS, ledger.RAW, (), "bytes \\x00 and\nmore"),
        Entry(START_NS, ledger.RECORDS["trip"], (), '{"colour": "red",\n "portion": 7}'),
        Entry(START_NS, ledger.RECORDS["weight"], (), '{"portion": "one", "mass_kg": true}'),
        Entry(START_NS, ledger.RECORDS["weight"], (), "no JSON"),
    )
    rows = rows_of(path, "events", everything=True)[1:]
    assert [row["kind"] for row in rows] == ["999", "line_trip", "raw", "trip", *["weight"] * 2]
    assert rows[1]["text"] == "trip 1 2 None 200 0 0 0"
    assert json.loads(rows[1]["data"])["portion"] is None
    assert rows[2]["text"] == "bytes \\x00 and more"
    assert json.loads(rows[2]["data"]) == {"text": "bytes \\x00 and\nmore"}
    assert (rows[3]["text"], rows[3]["portion"]) == ("colour red, portion 7", 7)
    assert [row["mass_kg"] for row in rows_of(path, "weights")] == [None, None]
    assert rows_of(path, "portions") == []


def test_a_journal_without_a_card_says_so(tmp_path: Path) -> None:
    meta = complete_meta({"bench": "x"}, ledger.views(), 1)
    path = write(tmp_path / "a.journal", meta, [Entry(1, ledger.RECORDS["note"], (), "{}")])
    with pytest.raises(JournalError, match="holds no bench card"):
        rows_of(path, "events")
    assert rows_of(path, "weights") == []


def test_a_journal_that_opens_in_another_tongue_says_so(tmp_path: Path) -> None:
    meta = complete_meta({"bench": "x"}, ledger.views(), 1)
    entry = Entry(1, ledger.INPUT, (), '{"input":"opened","facts":7}')
    path = write(tmp_path / "a.journal", meta, [entry])
    with pytest.raises(JournalError, match="cannot be read by this version"):
        rows_of(path, "weights")


def test_without_entries_there_are_columns(tmp_path: Path) -> None:
    meta = complete_meta({"bench": "x"}, ledger.views(), 1)
    path = write(tmp_path / "a.journal", meta, [])
    for form in ("csv", "jsonl", "parquet"):
        made = export_to(path, tmp_path / f"weights.{form}", "weights")
        assert made.exists()
    names = [one.name for one in EXPORTS["weights"]]
    assert next(csv.reader((tmp_path / "weights.csv").open(newline=""))) == names
    assert (tmp_path / "weights.jsonl").read_bytes() == b""
    assert pyarrow.parquet.read_table(tmp_path / "weights.parquet").schema.names == names


# The formats.

SCHEMA = pa.schema(
    [("n", pa.int64()), ("x_m", pa.float64()), ("text", pa.string()), ("data", pa.string()),
     ("at", pa.timestamp("us", tz="UTC")), ("ok", pa.bool_())]
)  # fmt: skip
ROWS = [
    {"n": 2**63 - 1, "x_m": 0.1, "text": 'a "b", c\r\nd\ne', "data": '{"a":"\\"\\n"}',
     "at": 1_800_000_000_000_001, "ok": True},
    {"n": None, "x_m": None, "text": None, "data": None, "at": None, "ok": None},
    {"n": -1, "x_m": -1e-9, "text": "", "data": "{}", "at": 0, "ok": False},
    {"n": 0, "x_m": 1e300, "text": "½ \x1b \\ 小麦", "data": '{"ü":1}', "at": -1, "ok": True},
]  # fmt: skip


def formatted(make: Callable[[io.BytesIO], Csv | JsonLines]) -> bytes:
    file = io.BytesIO()
    writer = make(file)
    arrays = [pa.array([row[name] for row in ROWS], SCHEMA.field(name).type) for name in ROWS[0]]
    writer.write(pa.RecordBatch.from_arrays(arrays, schema=SCHEMA))
    writer.close()
    return file.getvalue()


def test_csv_is_as_rfc_4180_says() -> None:
    """RFC 4180, section 2: CRLF (1, 2), a header (3), as many fields in each record (4), quoted
    fields (5), also around line ends, commas and quotation marks (6), which are doubled (7)."""
    data = formatted(lambda file: Csv(file, SCHEMA, frozenset({"data"})))
    header, first, second, third, fourth, end = re.split(rb'\r\n(?=["\d,-]|$)', data)
    assert header == b'"n","x_m","text","data","at","ok"'
    assert first == (
        b'9223372036854775807,0.1,"a ""b"", c\r\nd\ne","{""a"":""\\""\\n""}",'
        b'"2027-01-15T08:00:00.000001Z",true'
    )
    assert second == b",,,,,"
    assert third.startswith(b'-1,-1e-9,"","{}","1970-01-01T00:00:00.000000Z",false')
    assert "½ \x1b \\ 小麦".encode() in fourth
    assert b'"1969-12-31T23:59:59.999999Z"' in fourth
    assert end == b""
    rows = list(csv.reader(io.StringIO(data.decode(), newline=""), strict=True))
    assert [len(row) for row in rows] == [6] * 5
    assert [row[2] for row in rows[1:]] == [row["text"] or "" for row in ROWS]


def test_json_lines_are_one_object_a_line() -> None:
    """The JSON Lines convention: UTF-8, each line one JSON value, each ended by a newline."""
    data = formatted(lambda file: JsonLines(file, SCHEMA, frozenset({"data"})))
    assert data.endswith(b"}\n")
    lines = [json.loads(line) for line in data.decode("utf-8").splitlines()]
    assert len(lines) == data.count(b"\n") == len(ROWS)
    for line, row in zip(lines, ROWS, strict=True):
        assert list(line) == SCHEMA.names
        kept = row["data"]
        assert line["data"] == (json.loads(str(kept)) if kept is not None else None)
        assert {name: line[name] for name in ("n", "x_m", "text", "ok")} == {
            name: row[name] for name in ("n", "x_m", "text", "ok")
        }
    assert lines[0]["at"] == "2027-01-15T08:00:00.000001Z"


@pytest.mark.parametrize("what", EXPORTS)
def test_all_formats_hold_the_same(bench_journal: Path, tmp_path: Path, what: str) -> None:
    for form in ("csv", "jsonl", "parquet"):
        export_to(bench_journal, tmp_path / f"x.{form}", what)
    table = pyarrow.parquet.read_table(tmp_path / "x.parquet")
    assert table.schema.equals(schema_of(what))
    assert table.schema.field("n").metadata[b"meaning"]
    lines = [json.loads(line) for line in (tmp_path / "x.jsonl").read_text("utf-8").splitlines()]
    records = list(csv.DictReader((tmp_path / "x.csv").open(newline="", encoding="utf-8")))
    rows = table.to_pylist()
    assert len(rows) == len(lines) == len(records) > 0
    for row, line, record in zip(rows, lines, records, strict=True):
        for column in EXPORTS[what]:
            value, named = row[column.name], record[column.name]
            if column.type == "moment" and value is not None:
                value = value.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
            if column.type == "json" and value is not None:
                assert line[column.name] == json.loads(value)
            else:
                assert line[column.name] == value
            if value is None:
                assert named == ""
            elif column.type in ("whole", "number"):
                assert float(named) == value
            else:
                assert named == (str(value).lower() if column.type == "yes-no" else value)


# Files.


def fail_half_way(target: Path, *, overwrite: bool = False) -> None:
    there = target.exists()
    with whole_file(target, overwrite=overwrite) as file:
        file.write(b"half")
        assert target.exists() is there
        raise RuntimeError("half-way")


def test_a_file_has_its_name_only_when_whole(tmp_path: Path) -> None:
    target = tmp_path / "x.csv"
    with pytest.raises(RuntimeError, match="half-way"):
        fail_half_way(target)
    assert list(tmp_path.iterdir()) == []
    with whole_file(target) as file:
        file.write(b"one")
    with pytest.raises(JournalError, match="is there already: add --overwrite"):
        whole_file(target).__enter__()
    with pytest.raises(RuntimeError):
        fail_half_way(target, overwrite=True)
    assert target.read_bytes() == b"one"
    with whole_file(target, overwrite=True) as file:
        file.write(b"two")
    assert target.read_bytes() == b"two"
    assert list(tmp_path.iterdir()) == [target]


def test_where_nothing_can_be_written_a_sentence_says_so(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match="is a folder: name a file in it"):
        whole_file(tmp_path).__enter__()
    with pytest.raises(JournalError, match=r"could not be written \(No such file"):
        whole_file(tmp_path / "none" / "x.csv").__enter__()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
@pytest.mark.parametrize("form", ["csv", "jsonl", "parquet"])
def test_a_full_disk_is_a_sentence(bench_journal: Path, tmp_path: Path, form: str) -> None:
    target = tmp_path / f"x.{form}"
    target.symlink_to("/dev/full")
    with pytest.raises(JournalError, match="No space left on device"):
        export_to(bench_journal, target, "samples")


def test_an_opening_time_stands_in_for_times_never_told(tmp_path: Path) -> None:
    meta = complete_meta({"bench": "x"}, ledger.views(), START_WALL_US)
    record = Entry(START_NS + S, ledger.RECORDS["weight"], (), '{"portion":1,"mass_kg":0.03}')
    first = Entry(START_NS, ledger.RECORDS["note"], (), "{}")
    path = write(tmp_path / "a.journal", meta, [first, record])
    (row,) = rows_of(path, "weights")
    assert row["time_utc"].timestamp() == int(meta[META_OPENED_US]) / 1e6 + 1
