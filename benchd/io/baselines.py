"""Frozen limits of control charts: one file a version in the bench's state folder, never changed.

A version is never written again; a new baseline gets the next number, so that a chart can always
say which limits it was held against.
"""

from __future__ import annotations

import os
from pathlib import Path

FOLDER = "baselines"
SUFFIX = ".json"


def versions(state_dir: str) -> dict[int, Path]:
    """Return the files of all versions of a bench by their number."""
    folder = Path(state_dir) / FOLDER
    found = {}
    for path in folder.glob(f"v*{SUFFIX}"):
        number = path.name.removeprefix("v").removesuffix(SUFFIX)
        if number.isdecimal():
            found[int(number)] = path
    return dict(sorted(found.items()))


def write(state_dir: str, version: int, content: bytes) -> Path:
    """Keep a new version and return its file.

    Raises: FileExistsError when there is this version already; OSError when it cannot be kept.
    """
    folder = Path(state_dir) / FOLDER
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    path = folder / f"v{version}{SUFFIX}"
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    return path
