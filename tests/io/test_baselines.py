"""Frozen limits: versions only ever grow, and none is written twice."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchd.io import baselines


def test_versions_are_kept_and_never_written_again(tmp_path: Path) -> None:
    folder = str(tmp_path / "maize")
    assert baselines.versions(folder) == {}
    first = baselines.write(folder, 1, b"one")
    baselines.write(folder, 10, b"ten")
    assert (first.stat().st_mode & 0o777) == 0o600
    assert list(baselines.versions(folder)) == [1, 10]
    with pytest.raises(FileExistsError):
        baselines.write(folder, 1, b"other")
    assert first.read_bytes() == b"one"


def test_other_files_are_no_versions(tmp_path: Path) -> None:
    baselines.write(str(tmp_path), 1, b"one")
    (tmp_path / "baselines" / "vold.json").write_bytes(b"x")
    (tmp_path / "baselines" / "notes.txt").write_bytes(b"x")
    assert list(baselines.versions(str(tmp_path))) == [1]
