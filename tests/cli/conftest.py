"""What the tests of commands share: folders of their own, a fake daemon, a way to run commands."""

from __future__ import annotations

import io
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from benchd.cli.run import run
from benchd.io import paths
from tests.cli.fake_daemon import FakeDaemon


class Outcome(NamedTuple):
    """What a command left: exit code, standard output, standard error."""

    code: int
    out: str
    err: str


@pytest.fixture(autouse=True)
def folders(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Runtime and state folders of this test alone; short, for a socket's path is."""
    with tempfile.TemporaryDirectory(prefix="b-") as folder:
        monkeypatch.setenv("XDG_RUNTIME_DIR", f"{folder}/run")
        monkeypatch.setenv("XDG_STATE_HOME", f"{folder}/state")
        yield Path(folder)


@pytest.fixture
def daemon(folders: Path) -> Iterator[FakeDaemon]:
    """A daemon of the bench 'maize'."""
    paths.make_private(paths.runtime_dir())
    fake = FakeDaemon(paths.socket_path("maize"))
    yield fake
    fake.close()


@pytest.fixture
def benchd(capsys: pytest.CaptureFixture[str]) -> Callable[..., Outcome]:
    """Run a command as if it was typed."""

    def typed(*words: str) -> Outcome:
        code = run(words)
        said = capsys.readouterr()
        return Outcome(code, said.out, said.err)

    return typed


class Terminal(io.StringIO):
    """A person at a terminal who types these lines."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def typing(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Put a person at the terminal."""

    def types(text: str) -> None:
        monkeypatch.setattr(sys, "stdin", Terminal(text))
        monkeypatch.setattr("benchd.cli.command._drop_type_ahead", lambda: None)

    return types


@pytest.fixture
def card(tmp_path: Path) -> str:
    """A dough card; the fake daemon does not read it."""
    path = tmp_path / "masa.yaml"
    path.write_text("dough: masa\n")
    return str(path)
