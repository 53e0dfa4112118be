"""The process that the screens ask about past journals: `benchd.analysis.study`, and in words what
`benchd judge`, `benchd why`, `benchd journal show` and `benchd check --diff` say. It only reads."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from benchd.analysis import study
from benchd.analysis.day_times import DayTimes
from benchd.analysis.reader import Reader
from benchd.cli.command import Usage, Wrong
from benchd.cli.journal_words import told
from benchd.cli.journals import columns_of, kinds_of, time_of_day
from benchd.io.journal_format import Entry, JournalError
from tui import view

PAGE_MOST = 500
"""Entries that are told at once."""

LOOKED_AT_MOST = 20_000
"""Entries that one question looks through for a word."""


def judge(reader: Reader, asked: Mapping[str, Any]) -> list[str]:
    """Return what `benchd judge` says of a journal."""
    from benchd.analysis.charts import all_charts
    from benchd.analysis.judge import judge as judged
    from benchd.analysis.weighed import read_weighed
    from benchd.cli import chart_text, judge_text, rows
    from benchd.cli.judging import NO_WEIGHTS, baselines_of

    weighed = read_weighed([reader.path])
    if not any(portion.mass_kg is not None for portion in weighed.portions):
        return rows.wrap(NO_WEIGHTS)
    drawn = all_charts(weighed.portions, baselines_of(weighed))
    return list(judge_text.lines(judged(weighed), chart_text.chart_lines(drawn)))


def case(reader: Reader, asked: Mapping[str, Any]) -> list[str]:
    """Return what `benchd why` says of a portion.

    Raises: JournalError when it is not there.
    """
    from benchd.cli.explaining import told_of

    try:
        return told_of([reader.path], int(asked["portion"]))
    except (Wrong, Usage) as no:
        raise JournalError(str(no)) from None


def entries(reader: Reader, asked: Mapping[str, Any]) -> dict[str, Any]:
    """Return the last entries before number `before`, or of all: `lines`, each with its number and
    what it says, of the kind `kind` where one is asked for and with the word `word` in it; and
    `from`, the number that the next question goes on before, None at the beginning.

    Raises: JournalError for a kind that does not exist.
    """
    kind, word = str(asked.get("kind") or ""), str(asked.get("word") or "").lower()
    try:
        kinds = kinds_of([kind] if kind else [], everything=False)
    except Usage as error:
        raise JournalError(str(error)) from None
    count = min(int(asked.get("count") or PAGE_MOST), PAGE_MOST)
    before: int | None = asked.get("before")
    times = DayTimes(reader)
    found: list[tuple[int, str]] = []
    looked_at = 0
    while True:
        block = reader.before(before, PAGE_MOST, kinds=kinds)
        said = [(n, _line(reader, times, entry)) for n, entry in block]
        found = [(n, text) for n, text in said if word in text.lower()] + found
        looked_at += len(block)
        before = block[0][0] if len(block) == PAGE_MOST else None
        if before is None or len(found) >= count or looked_at >= LOOKED_AT_MOST:
            break
    if len(found) > count:
        found = found[-count:]
        before = found[0][0]
    return {"lines": found, "from": before}


def _line(reader: Reader, times: DayTimes, entry: Entry) -> str:
    name, data = columns_of(reader, entry)
    return view.plain(f"{time_of_day(times.wall_us(entry.t_ns))} {name:<8} {told(name, data)}")


def cards(asked: Mapping[str, Any]) -> list[str]:
    """Return what `benchd check --diff` says of the cards `texts` with the names `names`.

    Raises: JournalError when they are not of one kind.
    """
    from benchd.cli.checking import compared

    try:
        return compared(asked["names"], asked["texts"]).lines()
    except Usage as no:
        raise JournalError(str(no)) from None


MORE = {"judge": judge, "case": case, "entries": entries}
ALONE = {"cards": cards}

if __name__ == "__main__":
    study.serve(Path(sys.argv[1]), sys.stdin.buffer, sys.stdout.buffer, MORE, ALONE)
