"""A folder in memory to write journals in: on a disk their commits take most of a test's time, and
what they owe to the disk is held by the tests of `benchd.io`."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

MEMORY = "/dev/shm"


@contextmanager
def in_memory(path: Path) -> Iterator[Path]:
    """Give the path to write a file at that stands at `path` afterwards."""
    memory = MEMORY if os.access(MEMORY, os.W_OK) else None
    with tempfile.TemporaryDirectory(dir=memory) as folder:
        there = Path(folder) / path.name
        yield there
        path.parent.mkdir(parents=True, exist_ok=True)
        shutil.move(there, path)
