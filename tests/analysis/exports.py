"""Exports for tests: into a file, as the command makes them."""

from __future__ import annotations

from pathlib import Path

from benchd.analysis.export import Choice, batches, schema_of
from benchd.analysis.export_columns import EXPORTS
from benchd.analysis.export_files import whole_file, writer_of
from benchd.analysis.reader import JournalReader
from benchd.cli.journal_words import told


def export_to(
    journal: Path,
    target: Path,
    what: str,
    *,
    portion: int | None = None,
    everything: bool = False,
) -> Path:
    """Export into a file whose name says the format."""
    kept_json = frozenset(one.name for one in EXPORTS[what] if one.type == "json")
    with whole_file(target) as file:
        writer = writer_of(target.suffix[1:], file, schema_of(what), kept_json)
        for batch in batches(JournalReader(journal), Choice(what, portion, everything), told):
            writer.write(batch.table)
        writer.close()
    return target
