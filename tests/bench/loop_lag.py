"""Event-loop lag while the journal's disk takes 200 ms for every fsync.

Run as a program with a folder it is the measured process; `loop_lag` builds the slow disk and runs
it.
"""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import sys
from pathlib import Path

from tests.bench.journal import Commits, _open, _quantile, typical_sample

ROOT = Path(__file__).parents[2]
SYNC_MS = 200
TICK_S = 0.005


async def _measure(folder: Path, seconds: float, journal_too: bool) -> dict[str, float]:
    journal = _open(folder, Commits(), window_s=0.05) if journal_too else None
    lags_ms: list[float] = []
    loop = asyncio.get_running_loop()
    due_s = loop.time() + TICK_S
    for tick in range(round(seconds / TICK_S)):
        await asyncio.sleep(max(0.0, due_s - loop.time()))
        lags_ms.append((loop.time() - due_s) * 1000)
        due_s = loop.time() + TICK_S
        if journal is not None:
            journal.append([typical_sample(tick)])
    if journal is not None:
        journal.close()
    return {"p50_ms": _quantile(lags_ms, 0.5), "p99_ms": _quantile(lags_ms, 0.99)}


def loop_lag(folder: Path, seconds: float = 4.0) -> dict[str, float]:
    """Return the loop's lag [ms] with a journal at 200 entries a second, and of the bare loop
    beside it."""
    library, control = folder / "disk_shim.so", folder / "control"
    source = ROOT / "tests" / "io" / "disk_shim.c"
    subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-o", library, source, "-ldl"], check=True)
    control.write_text(f"{SYNC_MS} 0 0")
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.loop_lag", str(folder), str(seconds)],
        cwd=ROOT,
        env={**os.environ, "LD_PRELOAD": str(library), "DISK_SHIM_CONTROL": str(control)},
        capture_output=True,
        text=True,
        check=True,
    )
    measured: dict[str, float] = json.loads(done.stdout)
    measured["syncs"] = control.with_name("control.syncs").stat().st_size
    return measured


if __name__ == "__main__":
    where, how_long = Path(sys.argv[1]), float(sys.argv[2])
    with_journal = asyncio.run(_measure(where, how_long, True))
    bare = asyncio.run(_measure(where, how_long, False))
    print(json.dumps({**with_journal, "floor_p99_ms": bare["p99_ms"]}))
