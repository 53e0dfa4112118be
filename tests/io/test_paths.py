"""Where files go, by the variables of the XDG base directory specification (version 0.8)."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from benchd.io import paths


def test_socket_and_journals_follow_the_users_folders(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    assert paths.socket_path("maize") == str(tmp_path / "run/benchd/maize.socket")
    assert paths.state_dir("maize") == str(tmp_path / "state/benchd/maize")


def test_without_a_runtime_folder_the_socket_stays_with_the_user(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    monkeypatch.delenv("XDG_STATE_HOME", raising=False)
    # No folder of the test's own: its path may be too long for a socket's.
    monkeypatch.setenv("HOME", "/home/baker")
    assert paths.socket_path("maize") == "/home/baker/.local/state/benchd/run/maize.socket"


@pytest.mark.parametrize(
    ("bench", "name"), [("maize", "maize"), ("../x y", "---x-y"), ("Bänk", "B-nk"), ("", "bench")]
)
def test_no_name_leads_out_of_the_folder(bench: str, name: str) -> None:
    assert paths.file_name(bench) == name


def test_benches_are_found_by_their_sockets(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    assert paths.benches() == []
    folder = Path(paths.make_private(paths.runtime_dir()))
    assert folder.stat().st_mode & 0o777 == 0o700
    for name in ("b.socket", "a.socket", "other"):
        (folder / name).touch()
    assert paths.benches() == ["a", "b"]


def test_state_folders_are_listed_without_the_sockets(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert paths.all_state_dirs() == []
    for name in ("run", "maize", "barley"):
        os.makedirs(tmp_path / "benchd" / name)
    (tmp_path / "benchd" / "file").touch()
    assert paths.all_state_dirs() == [
        str(tmp_path / "benchd/barley"),
        str(tmp_path / "benchd/maize"),
    ]


def test_a_path_too_long_for_a_socket_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", "/run/user")
    assert len(paths.socket_path("x" * 50)) < 103
    with pytest.raises(paths.PathError, match="too long for a socket"):
        paths.socket_path("x" * 100)
