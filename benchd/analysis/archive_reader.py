"""Reading an archive as a journal is read, without restoring it: only the columns of what is asked
for are decoded, so that some kinds of a large journal come in a second.

What is read so is not held against the head that the archive names; restoring it is.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from functools import cached_property, partial
from pathlib import Path
from typing import Any

import duckdb

from benchd.analysis import archive_format as form
from benchd.analysis.numbered import Record, Seen, last_below
from benchd.analysis.reader import JournalState, holds
from benchd.core.ledger import INPUT
from benchd.io.journal_format import (
    VALUE_COUNT_MAX,
    Entry,
    JournalError,
    Row,
    entry_of,
    views_of_meta,
    widths_of,
)

THREADS = 2
MEMORY = "200MB"
"""Of the engine; it holds a few row groups and no more."""

BLOCK = 10_000
SORTED_LEAST, SORTED_MOST = 2**17, 2**21
"""Entries of which those that are chosen are sorted at once."""

NUMBER = """try_cast(regexp_extract(text, '"{}":([0-9]+)', 1) AS BIGINT)"""
"""The number that a record holds by some name, as SQL."""

HEAD = 5
"""Columns that come before those of the views."""


@contextmanager
def _said(path: Path) -> Iterator[None]:
    try:
        yield
    except (duckdb.Error, KeyError, UnicodeError) as error:
        first = str(error).partition("\n")[0]
        raise JournalError(
            f"{path.name} is no archive of a journal, or is damaged ({first})."
        ) from error


class ArchiveReader:
    """One archive; as JournalReader, as far as studies ask. Raises JournalError, from any method,
    when it cannot be read."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._engine = duckdb.connect(config={"threads": THREADS, "memory_limit": MEMORY})
        with _said(path), self._engine.cursor() as engine:
            # What stands at the end of a large file takes longer to read than what is asked for.
            engine.execute("SET GLOBAL parquet_metadata_cache = true")
            found = engine.execute("SELECT key, value FROM parquet_kv_metadata(?)", [str(path)])
            pairs = {bytes(key): bytes(value) for key, value in found.fetchall()}
        self._facts = form.facts_in(path, pairs)
        self.meta = self._facts.meta
        self.views = views_of_meta(self.meta)
        self.view_of = {view.kind: view for view in self.views}
        self._widths = widths_of(self.views)
        self._input = next((view.name for view in self.views if view.kind == INPUT), "told")

    def last(self) -> int:
        """Number of the last entry; 0 when there is none."""
        return self._facts.entries

    def state(self) -> JournalState:
        """How the journal ended that it was made of."""
        return self._facts.state

    def head(self) -> str:
        """Hash at the last commit, 64 hexadecimal digits."""
        return self._facts.head

    @cached_property
    def _spare(self) -> bool:
        """Whether there are values that no view names; they stand in columns of their own."""
        names = ", ".join(f"'{name}'" for name in form.VALUES)
        sql = (
            "SELECT coalesce(sum(num_values - stats_null_count), 1) > 0 FROM parquet_metadata(?) "
            f"WHERE path_in_schema IN ({names})"
        )
        with _said(self.path), self._engine.cursor() as engine:
            (found,) = engine.execute(sql, [str(self.path)]).fetchall()
        return bool(found[0])

    def _rows(
        self,
        kinds: Collection[int] | None,
        after: int,
        upto: int | None,
        told: Sequence[str] | None,
    ) -> Iterator[Row]:
        """Stored rows in order, chosen as by JournalReader; values that the view of their kind does
        not name are None."""
        spread = {
            kind: names
            for kind, names in form.column_names(self.views).items()
            if kinds is None or kind in kinds
        }
        named = [name for names in spread.values() for name in names]
        at = dict(zip(named, range(HEAD, HEAD + len(named)), strict=True))
        places = {
            kind: slice(at[names[0]], at[names[0]] + len(names))
            for kind, names in spread.items()
            if names
        }
        codes = {view.name: view.kind for view in self.views}
        chosen = ", ".join(f'"{name}"' for name in ("n", "t_ns", "kind", "code", "text", *named))
        # Looking whether there are any takes as long as reading half of a large archive's records.
        spare = not (kinds is not None and self.view_of.keys() >= set(kinds)) and self._spare
        none = (None,) * VALUE_COUNT_MAX
        more = "".join(f", {name}" for name in form.VALUES) if spare else ""
        sql = f"SELECT {chosen}{more} FROM read_parquet(?) WHERE "
        with _said(self.path):
            for row in self._in_order(sql, kinds, after, upto, told):
                kind = row[3] if row[2] is None else codes[row[2]]
                values = row[places[kind]] if kind in places else ()
                values += (row[-VALUE_COUNT_MAX:] if spare else none)[len(values) :]
                yield (row[0], row[1], kind, *values, row[4])

    def _in_order(
        self,
        sql: str,
        kinds: Collection[int] | None,
        after: int,
        upto: int | None,
        told: Sequence[str] | None,
    ) -> Iterator[tuple[Any, ...]]:
        """Give what is chosen in order, which the engine keeps only where it is asked to sort; it
        sorts some entries at a time, fewer where many of them are wanted, and so in little memory.
        """
        end = self._facts.entries if upto is None else min(upto, self._facts.entries)
        width = SORTED_LEAST
        with self._engine.cursor() as engine:
            while after < end:
                until = min(after + width, end)
                where = " AND ".join(self._conditions(kinds, after, until, told))
                found = engine.execute(f"{sql}{where} ORDER BY n", [str(self.path)])
                count = 0
                while block := found.fetchmany(BLOCK):
                    count += len(block)
                    yield from block
                after = until
                if count < SORTED_LEAST // 4:
                    width = min(4 * width, SORTED_MOST)

    def entries(
        self,
        *,
        kinds: Collection[int] | None = None,
        after: int = 0,
        upto: int | None = None,
        told: Sequence[str] | None = None,
    ) -> Iterator[tuple[int, Entry]]:
        """Entries in order, each with its number; chosen as by JournalReader."""
        for row in self._rows(kinds, after, upto, told):
            yield row[0], entry_of(row, self._widths)

    def before(
        self, n: int | None, count: int, *, kinds: Collection[int] | None = None
    ) -> list[tuple[int, Entry]]:
        """Return the last `count` entries below number `n`, or of all, in order; chosen by kind."""
        upto = self.last() if n is None else n - 1
        width = max(count, BLOCK)
        found: list[tuple[int, Entry]] = []
        while upto > 0 and len(found) < count:
            begin = max(0, upto - width)
            found = [*self.entries(kinds=kinds, after=begin, upto=upto), *found]
            upto, width = begin, 4 * width
        return found[-count:]

    def span_of(self, kind: int, first: int, last: int) -> tuple[int, int] | None:
        """Return between which entries those of this kind come about whose record has a number in
        this range: the last one of a number below it, 0 for none, and the last one of it. None when
        there is none in it.

        Records of a kind are numbered upwards, so that few of them need be looked at.
        """
        entries = self._facts.entries
        before, high = (
            last_below(number, entries, partial(self._look, kind, number))
            for number in (first, last + 1)
        )
        return None if high == before else (before, high)

    def naming(
        self, kind: int, name: str, numbers: tuple[int, int], after: int
    ) -> Iterator[tuple[int, Entry]]:
        """Entries of this kind with numbers above `after` whose record holds by this name a number
        in this range, ends included; as few as one query may sort."""
        sql = (
            f"SELECT n, t_ns, text FROM read_parquet(?) WHERE kind = ? AND n > {int(after)} "
            f"AND {NUMBER.format(name)} BETWEEN ? AND ? ORDER BY n"
        )
        for n, t_ns, text in self._asked(sql, kind, *numbers):
            yield n, Entry(t_ns, kind, (), text)

    def _look(self, kind: int, number: int, after: int, upto: int) -> Seen | None:
        # Bounds stand in the text: as parameters they would keep no block from being read.
        sql = (
            "SELECT min(n), min(number), max(n), max(number), "
            f"max(n) FILTER (number < {int(number)}) "
            f"FROM (SELECT n, {NUMBER.format('number')} AS number FROM read_parquet(?) "
            f"WHERE kind = ? AND n > {int(after)} AND n <= {int(upto)}) WHERE number IS NOT NULL"
        )
        ((*ends, below),) = self._asked(sql, kind)
        return None if ends[0] is None else Seen(Record(*ends[:2]), Record(*ends[2:]), below)

    def _asked(self, sql: str, kind: int, *values: int) -> list[tuple[Any, ...]]:
        """Return what a query finds that is about one kind of records."""
        view = self.view_of.get(kind)
        with _said(self.path), self._engine.cursor() as engine:
            given = [str(self.path), view and view.name, *values]
            return engine.execute(sql, given).fetchall()

    def _conditions(
        self,
        kinds: Collection[int] | None,
        after: int,
        upto: int,
        told: Sequence[str] | None,
    ) -> Sequence[str]:
        asked = [f"n > {int(after)}", f"n <= {int(upto)}"]
        if kinds is not None:
            names = ", ".join(f"'{view.name}'" for view in self.views if view.kind in kinds)
            codes = ", ".join(str(int(kind)) for kind in kinds if kind not in self.view_of)
            # By `kind` alone the engine leaves out most of a block before it unpacks the rest.
            chosen = (("kind", names), ("code", codes))
            ways = [f"{column} IN ({those})" for column, those in chosen if those]
            asked.append(f"({' OR '.join(ways) or 'false'})")
        if told is not None:
            asked.append(f"(kind IS DISTINCT FROM '{self._input}' OR {holds(told, 'contains')})")
        return asked
