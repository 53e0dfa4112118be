"""The study process: what it tells of a past journal, in a process of its own."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from benchd.analysis import archive_format, lanes, timeline
from benchd.analysis.archive import archive
from benchd.analysis.reader import JournalReader
from benchd.analysis.study import Study
from benchd.cli.run import run
from benchd.cli.studying import ALONE, MORE

pytestmark = pytest.mark.slow

EXAMPLES = Path(__file__).parents[2] / "benchd" / "examples"


@pytest.fixture
def study(bench_journal: Path) -> Study:
    return Study(bench_journal.parent, MORE, ALONE)


def ask(study: Study, what: str, **given: Any) -> Any:
    line = json.dumps({"id": 7, "ask": what} | given).encode()
    said = json.loads(study.answer(line))
    assert said.pop("id") == 7
    return said


def test_it_lists_journals_and_their_portions(study: Study, bench_journal: Path) -> None:
    (one,) = ask(study, "journals")["result"]
    assert (one["name"], one["state"]) == (bench_journal.name, "closed")
    portions = ask(study, "portions", journal=bench_journal.name)["result"]
    assert [row["number"] for row in portions] == [1, 2, 3, 4]
    # The first was weighed again, and the last reading counts.
    assert [row["mass_kg"] for row in portions] == [0.0298, 0.0299, 0.0301, None]


def test_what_changed_between_two_cards_is_what_the_command_says(
    study: Study, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    masa = (EXAMPLES / "masa.yaml").read_text("utf-8")
    texts = [masa, masa.replace("aim: 30 g", "aim: 31 g"), masa.replace("aim: 30 g", "aim: much")]
    names = [str(tmp_path / f"{n}.yaml") for n in range(3)]
    for name, text in zip(names, texts, strict=True):
        Path(name).write_text(text, "utf-8")
    for old, new in ((0, 1), (1, 0), (0, 0), (0, 2)):
        pair = [names[old], names[new]]
        said = ask(study, "cards", names=pair, texts=[texts[old], texts[new]])["result"]
        run(["check", "--diff", *pair])
        assert capsys.readouterr().out.splitlines() == said
    assert (
        "  aim: 30 g -> 31 g (+3.3 %)"
        in ask(study, "cards", names=names[:2], texts=texts[:2])["result"]
    )
    bench = (EXAMPLES / "bench.yaml").read_text("utf-8")
    no = ask(study, "cards", names=["a.yaml", "b.yaml"], texts=[masa, bench])["error"]
    assert no.startswith("One is a bench card and the other a dough card.")


def test_a_portion_over_time_is_that_of_the_journal(study: Study, bench_journal: Path) -> None:
    told = ask(study, "timeline", journal=bench_journal.name, portion=2)["result"]
    assert told["t_s"] == sorted(told["t_s"])
    assert {len(lane) for lane in told["lanes"].values()} == {len(told["t_s"])}
    assert len(told["t_s"]) > 60
    assert [name for _, name in told["phases"]] == [
        "take-up", "push", "draw-back", "settle", "cut", "return",
    ]  # fmt: skip
    assert told["at_s"]["push"] == dict(map(reversed, told["phases"]))["push"]
    record = next(
        span.portion.record
        for span in timeline.spans(JournalReader(bench_journal))
        if span.portion.number == 2
    )
    # What the samples and events show is what the daemon counted from the board's own tally.
    assert max(told["lanes"]["feed_m"]) == pytest.approx(
        record["asked_m"]["push"] + record["asked_m"]["take_up"], abs=1e-4
    )
    peak_n = max(told["lanes"]["thrust_n"])
    assert 0.95 * record["thrust_n"]["peak"] <= peak_n <= record["thrust_n"]["peak"]
    assert all(thrust_n == round(thrust_n, 1) for thrust_n in told["lanes"]["thrust_n"])
    assert (told["edges"][0][1:], told["link"]) == (["dough", 1], [])


def test_the_band_is_that_of_good_ones_at_the_same_moment(
    study: Study, bench_journal: Path
) -> None:
    told = ask(study, "timeline", journal=bench_journal.name, portion=2)["result"]
    (good,) = told["good"]
    other = ask(study, "timeline", journal=bench_journal.name, portion=good)["result"]
    for align in ("push", "cut"):
        band = told["band"][align]
        # At the moment itself the band holds the good one's own reading there.
        index = other["t_s"].index(other["at_s"][align])
        place = round((told["at_s"][align] - band["from_s"]) / band["step_s"])
        low, high = band["thrust_n"][place]
        assert low <= other["lanes"]["thrust_n"][index] <= high
        near = [
            other["lanes"]["thrust_n"][i]
            for i, t_s in enumerate(other["t_s"])
            if abs(t_s - other["at_s"][align]) <= 1.6 * band["step_s"]
        ]
        assert min(near) <= low <= high <= max(near)


def test_a_band_leaves_out_who_never_came_there() -> None:
    def one(*phases: tuple[float, str]) -> lanes.Trace:
        t_s = [0.0, 0.05, 0.10]
        readings = {lane: [1.0, 2.0, 3.0] for lane in lanes.LANES}
        return lanes.Trace(t_s, readings, list(phases), [], [], [])

    assert lanes.band(one(), [one((0.0, "push"))], "push") is None
    band = lanes.band(one((0.05, "push")), [one(), one((0.0, "push"))], "push")
    assert band is not None
    # The other's push began with its first reading: it stands at 0.05 s here, one step either way.
    assert band["from_s"] == pytest.approx(-0.05)
    assert band["feed_m"][:5] == [None, [1.0, 1.0], [1.0, 2.0], [1.0, 3.0], [2.0, 3.0]]


def test_news_of_the_link_stand_at_their_time(bench_journal: Path) -> None:
    reader = JournalReader(bench_journal)
    span = timeline.spans(reader)[1]
    one = lanes.trace(reader, timeline.facts_of(reader), span)
    assert one.link == []
    first_ns = next(entry.t_ns for n, entry in reader.entries() if n == span.first)
    lost = span._replace(link=((first_ns + 1_500_000_000, False, "the cable was pulled out"),))
    one = lanes.trace(reader, timeline.facts_of(reader), lost)
    ((t_s, up),) = one.link
    assert t_s == pytest.approx(1.5, abs=0.05)
    assert not up
    assert (t_s, "the cable was pulled out") in one.events


def test_why_is_told_in_sentences(study: Study, bench_journal: Path) -> None:
    lines = ask(study, "why", journal=bench_journal.name, portion=2)["result"]
    assert lines[0].startswith("Found: ")
    assert lines[1].startswith(("Cause: ", "Likely: ", "One of"))
    assert "as live all the same" in lines[-1]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (b"x", "no JSON object"),
        (b"[]", "no JSON object"),
        (
            b'{"ask": "jog"}',
            "answers journals, portions, timeline, why, cards, judge, case, entries, and nothing",
        ),
        (b'{"ask": "portions", "journal": "../x.journal"}', "There is no journal ../x.journal"),
        (b'{"ask": "timeline", "journal": "J", "portion": 99}', "There is no portion 99"),
        (b'{"ask": "why", "journal": "J", "portion": 99}', "There is no portion 99"),
        (b'{"ask": "why", "journal": "J"}', "The number of the portion is missing"),
        (b'{"ask": "entries", "journal": "J", "kind": "x"}', "There is no kind 'x'"),
    ],
)
def test_an_error_is_one_sentence(
    study: Study, bench_journal: Path, line: bytes, said: str
) -> None:
    answer = json.loads(study.answer(line.replace(b'"J"', f'"{bench_journal.name}"'.encode())))
    assert said in answer["error"]
    assert "\n" not in answer["error"]
    assert "result" not in answer


def test_an_archive_answers_as_its_journal_and_is_not_restored(
    study: Study, bench_journal: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = f"{bench_journal.name}.parquet"
    archive(bench_journal, tmp_path / name)
    monkeypatch.delattr(archive_format, "restore")
    archived = Study(tmp_path, MORE)
    for what, given in [
        ("portions", {}),
        ("timeline", {"portion": 3}),
        ("why", {"portion": 3}),
        ("case", {"portion": 3}),
        ("judge", {}),
        ("entries", {"count": 7}),
        ("entries", {"count": 2, "before": 10**6, "kind": "weight"}),
    ]:
        told = ask(study, what, journal=bench_journal.name, **given)
        assert ask(archived, what, journal=name, **given) == told, what
        assert told["result"], what


def test_a_journal_that_is_damaged_says_so(tmp_path: Path) -> None:
    (tmp_path / "a.journal").write_bytes(b"no journal at all")
    study = Study(tmp_path)
    (one,) = ask(study, "journals")["result"]
    assert one["problem"]
    assert "a.journal" in ask(study, "portions", journal="a.journal")["error"]


def test_the_process_answers_leaves_the_file_alone_and_ends_with_its_input(
    bench_journal: Path,
) -> None:
    before = bench_journal.read_bytes()
    asked = [
        {"id": 1, "ask": "timeline", "journal": bench_journal.name, "portion": 3},
        {"id": 2, "ask": "why", "journal": bench_journal.name, "portion": 3},
    ]
    done = subprocess.run(
        [sys.executable, "-P", "-m", "benchd.cli.studying", str(bench_journal.parent)],
        input="".join(json.dumps(one) + "\n" for one in asked),
        cwd=Path(__file__).parents[2],
        env={"PYTHONPATH": str(Path(__file__).parents[2])},
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    said = [json.loads(line) for line in done.stdout.splitlines()]
    assert [one["id"] for one in said] == [1, 2]
    assert said[0]["result"]["number"] == 3
    assert done.stderr == ""
    assert bench_journal.read_bytes() == before
    assert [path.name for path in bench_journal.parent.iterdir()] == [bench_journal.name]


def test_it_tells_entries_backwards_by_kind_and_word(study: Study, bench_journal: Path) -> None:
    name = bench_journal.name
    told: list[tuple[int, str]] = []
    before = None
    pages = 0
    while pages == 0 or before is not None:
        page = ask(study, "entries", journal=name, count=3, before=before)["result"]
        told = [*page["lines"], *told]
        before, pages = page["from"], pages + 1
    assert pages > 3
    numbers = [n for n, _ in told]
    assert numbers == sorted(set(numbers))
    everything = ask(study, "entries", journal=name)["result"]
    assert (everything["lines"], everything["from"]) == (told, None)
    weights = ask(study, "entries", journal=name, kind="weight")["result"]["lines"]
    assert [text.split("weight", 1)[1].strip() for _, text in weights] == [
        text.split("weight", 1)[1].strip() for _, text in told if " weight " in text
    ]
    assert len(weights) > 2
    found = ask(study, "entries", journal=name, kind="weight", word="30.1 G")["result"]["lines"]
    assert ["30.1 g" in text for _, text in found] == [True]


def test_it_judges_in_the_words_of_the_command(study: Study, bench_journal: Path) -> None:
    text = ask(study, "judge", journal=bench_journal.name)["result"]
    assert "Verdict: CAN'T TELL" in text
    assert max(map(len, text)) <= 80
