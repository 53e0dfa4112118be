"""The tables of a journal file, as an ordered list of named steps.

Each step is applied in one transaction together with the version number that says so. Journals
are never opened again for writing, so the steps run on a file that was just made; a later schema
adds a step here, and readers of old files go by the version they find.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable

from benchd.io.journal_format import VALUE_COUNT_MAX, View

# "DouJ" in ASCII: says that an SQLite file is a journal of ours.
APPLICATION_ID = 0x446F754A

Migration = Callable[[sqlite3.Connection], None]

_VALUE_COLUMNS = ", ".join(f"v{i} INTEGER" for i in range(1, VALUE_COUNT_MAX + 1))

# The text is kept by SQLite as written here; a check compares it, so it never changes in place.
TABLES = (
    "CREATE TABLE entry (n INTEGER PRIMARY KEY, t_ns INTEGER NOT NULL, kind INTEGER NOT NULL, "
    f"{_VALUE_COLUMNS}, text TEXT) STRICT",
    "CREATE TABLE seal (n INTEGER PRIMARY KEY, last INTEGER NOT NULL, wall_us INTEGER NOT NULL, "
    "hash BLOB NOT NULL) STRICT",
    "CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID",
)


def create_tables(connection: sqlite3.Connection) -> None:
    """Version 1: entries, the seals of their commits, and facts about the file."""
    for sql in TABLES:
        connection.execute(sql)


MIGRATIONS: tuple[Migration, ...] = (create_tables,)
SCHEMA_VERSION = len(MIGRATIONS)


def version_of(connection: sqlite3.Connection) -> int:
    """Which schema version the file has; 0 for a new one."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    return int(version)


def pending(connection: sqlite3.Connection) -> tuple[Migration, ...]:
    """Steps that the file still lacks; reads only."""
    return MIGRATIONS[version_of(connection) :]


def migrate(connection: sqlite3.Connection) -> None:
    """Bring the file to this program's schema version. The connection must be in autocommit."""
    for version, migration in enumerate(pending(connection), version_of(connection) + 1):
        connection.execute("BEGIN IMMEDIATE")
        try:
            migration(connection)
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {version}")
            connection.execute("COMMIT")
        except BaseException:
            connection.execute("ROLLBACK")
            raise


def view_sql(view: View) -> str:
    """The statement that makes one view; names come quoted, since a word may be SQL's own."""
    columns = "".join(f'v{i} AS "{name}", ' for i, name in enumerate(view.columns, 1))
    return (
        f'CREATE VIEW "{view.name}" AS SELECT n, t_ns, {columns}text FROM entry '
        f"WHERE kind = {view.kind}"
    )


def schema_sql(views: Iterable[View]) -> frozenset[str]:
    """Every statement that SQLite keeps for a journal with these views."""
    return frozenset((*TABLES, *map(view_sql, views)))
