"""The journal on a slow, failing or full disk, which a preloaded library plays."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from benchd.analysis.integrity import check
from benchd.analysis.reader import JournalReader, JournalState

ROOT = Path(__file__).parents[2]

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform != "linux", reason="preloading works otherwise elsewhere"),
]


@pytest.fixture(scope="module")
def shim(tmp_path_factory: pytest.TempPathFactory) -> Path:
    library = tmp_path_factory.mktemp("shim") / "disk_shim.so"
    source = Path(__file__).with_name("disk_shim.c")
    command = ["cc", "-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o", library, source, "-ldl"]
    try:
        subprocess.run(command, check=True)
    except FileNotFoundError:
        pytest.skip("no system compiler (cc) to build the slow disk with")
    return library


class Disk:
    """A writer on a disk whose troubles can be set."""

    def __init__(self, writer: subprocess.Popen[str], control: Path) -> None:
        self._writer = writer
        self._syncs = control.with_name(control.name + ".syncs")

    def write_2000(
        self, *, sync_ms: int = 0, sync_errno: int = 0, write_errno: int = 0
    ) -> dict[str, Any]:
        """Append 2000 entries under these troubles; what the writer says of it."""
        assert self._writer.stdin is not None
        assert self._writer.stdout is not None
        self._writer.stdin.write(f"{sync_ms} {sync_errno} {write_errno}\n")
        self._writer.stdin.flush()
        answer: dict[str, Any] = json.loads(self._writer.stdout.readline())
        return answer

    def syncs(self) -> int:
        """How often a journal was synced so far."""
        return self._syncs.stat().st_size


@contextmanager
def disk(shim: Path, folder: Path) -> Iterator[Disk]:
    control = folder / "control"
    control.write_text("0 0 0")
    writer = subprocess.Popen(
        [sys.executable, "-m", "tests.io.journal_writer", "on_disk", str(folder), str(control)],
        cwd=ROOT,
        env={**os.environ, "LD_PRELOAD": str(shim), "DISK_SHIM_CONTROL": str(control)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with writer:
        yield Disk(writer, control)
        assert writer.stdin is not None
        writer.stdin.close()
    assert writer.returncode == 0


def test_a_slow_disk_never_holds_up_the_caller(shim: Path, tmp_path: Path) -> None:
    with disk(shim, tmp_path) as slow:
        answer = slow.write_2000(sync_ms=200)
        assert answer["fault"] is None
        assert answer["committed"] == answer["last"]
        # The commits did wait for the disk, the caller never did.
        assert answer["commit_s_max"] >= 0.2
        assert answer["append_s_max"] < 0.1
        slow.write_2000()
    assert check(tmp_path / "0.journal").clean


@pytest.mark.parametrize(
    ("trouble", "cause"),
    [
        ({"sync_errno": errno.EIO}, "the disk reported an error (SQLITE_IOERR_FSYNC"),
        ({"write_errno": errno.ENOSPC}, "the disk is full (SQLITE_FULL"),
        ({"write_errno": errno.EIO}, "the disk reported an error (SQLITE_IOERR_WRITE"),
    ],
    ids=["failing_sync", "full", "failing_write"],
)
def test_a_failing_disk_ends_the_file_and_what_was_safe_stays(
    shim: Path, tmp_path: Path, trouble: dict[str, int], cause: str
) -> None:
    with disk(shim, tmp_path) as broken:
        before = broken.write_2000()
        assert before["fault"] is None
        assert before["committed"] == before["last"] == before["last"]
        after = broken.write_2000(**trouble)
        assert cause in after["fault"]
        assert after["committed"] == before["committed"]
        assert after["committed"] + after["uncommitted"] == after["last"]
        # The disk recovers, and is still not trusted.
        later = broken.write_2000()
        assert later["committed"] == before["committed"]
        assert later["committed"] + later["uncommitted"] == later["last"]
    report = check(tmp_path / "0.journal")
    assert report.findings == []
    assert report.state is JournalState.CUT_SHORT
    assert JournalReader(tmp_path / "0.journal").last() == report.entries
    assert report.entries >= before["committed"]


def test_a_failed_sync_is_never_repeated(shim: Path, tmp_path: Path) -> None:
    with disk(shim, tmp_path) as broken:
        broken.write_2000()
        syncs = broken.syncs()
        assert syncs > 0
        assert broken.write_2000(sync_errno=errno.EIO)["fault"] is not None
        broken.write_2000()
    assert broken.syncs() == syncs + 1
