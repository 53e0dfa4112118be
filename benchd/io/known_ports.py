"""Which ports a person has agreed to for a bench, after reading the cautions: one small file."""

from __future__ import annotations

import json
import os

from benchd.io import paths

FILE = "ports-agreed.json"


def _file(bench: str) -> str:
    return os.path.join(paths.state_dir(bench), FILE)


def agreed(bench: str, port: str) -> bool:
    """Return whether somebody has agreed to this port for this bench; a damaged file says no."""
    return _key(port) in _read(bench)


def agree(bench: str, port: str, wall_us: int) -> None:
    """Remember that somebody has agreed, and when [UTC, us since 1970].

    Raises: OSError when it cannot be written.
    """
    known = _read(bench) | {_key(port): wall_us}
    paths.make_private(paths.state_dir(bench))
    path = _file(bench)
    # Written beside and moved into place, so that a full disk leaves the old file.
    with open(f"{path}.new", "w", encoding="utf-8") as file:
        json.dump(known, file, indent=1, sort_keys=True)
    os.replace(f"{path}.new", path)


def _key(port: str) -> str:
    # The name and not what it leads to: a by-id name stays, the device behind it changes.
    return port if "://" in port else os.path.abspath(port)


def _read(bench: str) -> dict[str, int]:
    try:
        with open(_file(bench), encoding="utf-8") as file:
            known = json.load(file)
    except (OSError, ValueError):
        return {}
    return known if isinstance(known, dict) else {}
