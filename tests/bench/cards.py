"""How long a card check takes as a process, beside a bare interpreter and the parse alone."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

EXAMPLES = Path(__file__).resolve().parents[2] / "benchd" / "examples"
PARSE = "import sys, yaml; [yaml.load(open(path), yaml.CSafeLoader) for path in sys.argv[1:]]"


def card_check(runs: int = 15) -> dict[str, float]:
    """Return start to exit of `benchd check` of the two example cards [ms], and its floors."""
    # An installed package has its byte code written; a shell that forbids that is not what counts.
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    cards = [str(EXAMPLES / name) for name in ("bench.yaml", "masa.yaml")]
    ways = {
        "check_ms": [str(Path(sys.executable).parent / "benchd"), "check", *cards],
        "bare_python_ms": [sys.executable, "-c", "pass"],
        "parse_ms": [sys.executable, "-c", PARSE, *cards],
    }
    times: dict[str, list[float]] = {name: [] for name in ways}
    for turn in range(runs + 1):
        for name, words in ways.items():
            begun = time.perf_counter()
            subprocess.run(words, capture_output=True, check=True, env=environment)
            if turn:  # The first writes the byte code.
                times[name].append((time.perf_counter() - begun) * 1000)
    return {name: statistics.median(taken) for name, taken in times.items()}
