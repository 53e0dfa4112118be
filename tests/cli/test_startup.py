"""How `benchd status` starts: nothing heavy is loaded on the way to its answer."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from tests.cli.fake_daemon import FakeDaemon

HEAVY = {
    *("aiomqtt", "asyncio", "duckdb", "logging", "matplotlib", "msgspec", "numpy", "pandas"),
    *("pathlib", "pint", "pyarrow", "scipy", "serial", "sqlite3", "subprocess", "textual", "yaml"),
}

PROGRAM = """
import json, sys
sys.argv[1:] = ["status"]
from benchd.__main__ import main
code = main()
sys.stderr.write(json.dumps([code, sorted(sys.modules)]))
"""


@pytest.mark.slow
def test_status_loads_nothing_heavy(daemon: FakeDaemon) -> None:
    done = subprocess.run(
        [sys.executable, "-S", "-c", PROGRAM], capture_output=True, text=True, check=True
    )
    code, modules = json.loads(done.stderr)
    assert code == 0
    assert done.stdout.startswith("READY")
    assert HEAVY & set(modules) == set()
