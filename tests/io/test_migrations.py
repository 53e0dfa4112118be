"""The schema steps: applied whole, in order, together with their version."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing

import pytest

from benchd.io import migrations
from benchd.io.journal_format import View


@pytest.fixture
def connection() -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        yield connection


def tables(connection: sqlite3.Connection) -> set[str]:
    return {name for (name,) in connection.execute("SELECT name FROM sqlite_schema")}


def test_a_new_file_gets_everything_once(connection: sqlite3.Connection) -> None:
    assert migrations.pending(connection) == migrations.MIGRATIONS
    migrations.migrate(connection)
    assert tables(connection) == {"entry", "seal", "meta"}
    assert migrations.version_of(connection) == migrations.SCHEMA_VERSION == 1
    assert migrations.pending(connection) == ()
    migrations.migrate(connection)


def test_a_step_that_fails_leaves_the_version_before_it(
    connection: sqlite3.Connection, monkeypatch: pytest.MonkeyPatch
) -> None:
    def half_way(connection: sqlite3.Connection) -> None:
        connection.execute("CREATE TABLE extra (a)")
        connection.execute("no such statement")

    monkeypatch.setattr(migrations, "MIGRATIONS", (*migrations.MIGRATIONS, half_way))
    with pytest.raises(sqlite3.OperationalError):
        migrations.migrate(connection)
    assert migrations.version_of(connection) == 1
    assert "extra" not in tables(connection)


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO entry (n, t_ns, kind, v1) VALUES (1, 1, 1, 'a')",
        "INSERT INTO entry (n, t_ns, kind, v1) VALUES (1, 1, 1, 1.5)",
        "INSERT INTO entry (n, t_ns, kind) VALUES (1, NULL, 1)",
        "INSERT INTO seal VALUES (1, 1, 1, 'text')",
    ],
)
def test_columns_hold_to_their_types(connection: sqlite3.Connection, statement: str) -> None:
    migrations.migrate(connection)
    with pytest.raises(sqlite3.IntegrityError):
        connection.execute(statement)


def test_a_view_may_bear_a_word_of_sql(connection: sqlite3.Connection) -> None:
    migrations.migrate(connection)
    view = View("select", 4, ("from", "where"))
    connection.execute(migrations.view_sql(view))
    connection.execute("INSERT INTO entry (n, t_ns, kind, v1, v2) VALUES (1, 2, 4, 8, 9)")
    connection.execute("INSERT INTO entry (n, t_ns, kind, v1) VALUES (2, 2, 5, 8)")
    assert connection.execute('SELECT "from", "where", n FROM "select"').fetchall() == [(8, 9, 1)]
