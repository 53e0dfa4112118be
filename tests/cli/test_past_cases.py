"""Past cases: what people found, searched over all journals and archives."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from benchd.analysis.archive import archive
from benchd.io import paths
from tests.analysis import weights as make
from tests.cli.conftest import Outcome

Benchd = Callable[..., Outcome]
DAY_US = 86_400_000_000


def journals() -> None:
    """Three benches' journals, one archived, one damaged."""
    for at, (bench, text) in enumerate(
        (("maize", "verdict: MC-12 husk"), ("maize", "Verdict: mc-02 pocket"), ("rye", "drier"))
    ):
        folder = Path(paths.make_private(paths.state_dir(bench)))
        entries = [
            make.told_of(0.05),
            make.record("note", text=text, portion=7 + at),
            make.record("note", text="verdict: MC-28 two on the pan", portion=None),
        ]
        path = folder / f"2027011{at}T080000.000000Z-0000000{at}.journal"
        make.write_journal(path, entries, meta={"bench": bench}, opened_us=(at + 1) * DAY_US)
        if at == 1:
            archive(path)
            path.unlink()
    (folder / "20270119T080000.000000Z-00000009.journal").write_text("no journal")


@pytest.mark.slow
def test_verdicts_are_found_by_cause_word_and_bench(benchd: Benchd) -> None:
    journals()
    everything = benchd("why", "--found")
    assert everything.out.count("MC-28") == 3
    assert "was left out" in everything.err
    lines = everything.out.splitlines()
    assert lines[0].startswith("1970-01-02 00:00 UTC  maize, portion 7: MC-12 husk  (20270110T")
    assert "drier" not in everything.out
    (pocket,) = benchd("why", "--found", "MC-02").out.splitlines()
    assert "portion 8: mc-02 pocket" in pocket
    assert ".parquet)" in pocket
    assert benchd("why", "--found", "pan", "rye").out.count("\n") == 1
    answer = json.loads(benchd("why", "--found", "husk", "--bench", "maize", "--json").out)
    (told,) = answer["found"]
    assert (told["portion"], told["bench"], told["text"]) == (7, "maize", "MC-12 husk")
    nothing = benchd("why", "--found", "elves").out
    assert "No verdict that fits" in nothing
    assert "what stands in a case file alone is not searched" in nothing
    assert json.loads(benchd("why", "--found", "elves", "--json").out) == {"found": []}
    assert "leave the others out" in benchd("why", "--found", "x", "--portion", "3").err
