"""Screens on a daemon that answers from a table, in a terminal that is not there."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.fake_daemon import FakeDaemon

EXAMPLES = Path(__file__).parents[2] / "benchd" / "examples"


@pytest.fixture
def socket_at(tmp_path: Path) -> str:
    """Where the daemon's socket lies."""
    return str(tmp_path / "maize.socket")


@pytest.fixture
def peer(socket_at: str) -> Iterator[FakeDaemon]:
    """A daemon with a quiet bench, which tells its status to whoever follows."""
    daemon = FakeDaemon(socket_at)
    daemon.news = [("status", daemon.answers["status"])]
    daemon.answers["stop"] = {"stopped": True, "level": 0}
    yield daemon
    daemon.close()


@pytest.fixture
def folder(tmp_path: Path) -> str:
    """A folder with the example cards, and one dough card changed."""
    masa = (EXAMPLES / "masa.yaml").read_text()
    (tmp_path / "masa.yaml").write_text(masa)
    (tmp_path / "other.yaml").write_text(masa.replace("aim: 30 g", "aim: 31 g"))
    (tmp_path / "bench.yaml").write_text((EXAMPLES / "bench.yaml").read_text())
    (tmp_path / "notes.yaml").write_text("nothing: of ours\n")
    return str(tmp_path)
