"""The line input under libFuzzer, for a minute; `make soak` does it for long."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from tests.firmware import native_build

SECONDS = 30
"""For each kind."""

RUNS = {"raw": 60_000, "repaired": 4_000}
"""Executions in that time, at least, on a busy computer."""


@pytest.fixture(scope="module", autouse=True)
def _fuzzer() -> None:
    if native_build.has_fuzzer():
        return
    if os.environ.get("CI") == "true":
        pytest.fail(native_build.MISSING)
    pytest.skip(native_build.MISSING)


@pytest.mark.slow
@pytest.mark.parametrize("kind", native_build.KINDS)
def test_no_line_breaks_a_law_or_the_memory(kind: str, seed: int, tmp_path: Path) -> None:
    ended = native_build.fuzz(kind, -1, tmp_path, seed % 2**31 + 1, seconds=SECONDS)
    assert ended.returncode == 0, ended.stderr[-5000:]
    assert native_build.executions(ended.stderr) >= RUNS[kind]
    # A fuzzer that gets nowhere finds nothing.
    covered = [int(count) for count in re.findall(r"cov: (\d+)", ended.stderr)]
    assert covered[-1] > (400 if kind == "raw" else 900)
