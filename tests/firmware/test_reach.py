"""All states of leases, latches and resets that the core can get into, and the laws in each."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from sim.build_core import FIRMWARE
from tests.firmware import native_build

BREAKS = {
    "the drive has power while guard or stop is open": [
        ("safety.cpp", "if (board.sense.low & (MASK_GUARD | MASK_STOP)) {", "if (false) {"),
    ],
    "the cutter fires before the feed was still for long enough": [
        ("cycle.cpp", "!past(sense.age[AGE_STILL], limit16(board, wire::LIMIT_STILL_MS))", "false"),
    ],
    "the feed steps long after its lease lapsed": [
        ("safety.cpp", "return trip.value >= trip.bound;\n}\n\nstatic bool rule_locals",
         "return false;\n}\n\nstatic bool rule_locals"),
    ],
    "the feed steps under a latch that stops it at once": [
        ("permit.cpp", "return board.safety.latches != 0 && !is_way_out(board, ask);",
         "return false;"),
    ],
    "the cutter fires for a portion before a dry stroke": [
        ("permit.cpp", "== ASK_CUTTER && board.cycle.dry_needed", "== ASK_CUTTER && false"),
        ("cycle.cpp", "} else if (board.cycle.dry_needed) {", "} else if (false) {"),
    ],
    "the drive has power after stop 1": [
        ("commands.cpp", "level == 0 ? CAUSE_STOP_0 : CAUSE_STOP_1", "CAUSE_STOP_0"),
    ],
}  # fmt: skip
"""What is broken in a copy of the core, and the law that the walk must then find broken."""


@pytest.mark.slow
def test_no_state_that_can_be_reached_breaks_a_law() -> None:
    walk = subprocess.run(
        [native_build.explorer()], capture_output=True, text=True, check=False, timeout=600
    )
    assert walk.returncode == 0, walk.stderr
    said = dict(re.findall(r"(\w+) (\d+)", walk.stdout))
    assert said["left"] == "0", "The walk did not come to its end."
    # It was worth it: the feed moved and the cutter fired in many of them.
    assert int(said["states"]) > 10_000
    assert int(said["moving"]) > 50
    assert int(said["cutting"]) > 50
    assert int(said["strokes"]) > 500


@pytest.mark.slow
@pytest.mark.parametrize("law", BREAKS)
def test_a_broken_core_is_found(law: str, tmp_path: Path) -> None:
    core = tmp_path / "core"
    shutil.copytree(FIRMWARE / "core", core)
    for name, was, becomes in BREAKS[law]:
        text = (core / name).read_text("utf-8")
        assert text.count(was) == 1, f"{name} has changed: {was}"
        (core / name).write_text(text.replace(was, becomes), "utf-8")
    walk = subprocess.run(
        [native_build.explorer(core)], capture_output=True, text=True, check=False, timeout=600
    )
    assert walk.returncode == 1
    assert law in walk.stderr
