"""Weights that nobody types: a scale on a pty, and a file, with the real daemon."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.e2e.conftest import RealBench

pytestmark = pytest.mark.slow

PATTERN = "(?:(?P<settled>ST)|US),GS,(?P<mass>[-+] *[0-9.]+) *(?P<unit>g|kg)"


class Scale:
    """A scale at the other end of a pty."""

    def __init__(self) -> None:
        self._master, self._slave = os.openpty()
        self.path = os.ttyname(self._slave)

    def shows(self, *lines: str) -> None:
        """Send lines as a scale does that sends all the time."""
        os.write(self._master, "".join(f"{line}\r\n" for line in lines).encode())

    def close(self) -> None:
        """Switch it off."""
        os.close(self._master)
        os.close(self._slave)


@pytest.fixture
def scale() -> Iterator[Scale]:
    """A scale that is on."""
    one = Scale()
    yield one
    one.close()


def test_settled_readings_of_a_scale_and_a_file_find_their_portions(
    real_bench: RealBench, scale: Scale, tmp_path: Path
) -> None:
    real_bench.simulate()
    text = real_bench.card_text.replace(
        "scale:\n", f"scale:\n  port: {scale.path}\n  pattern: '{PATTERN}'\n"
    )
    (real_bench.folder / "bench.yaml").write_text(text)
    daemon = real_bench.serve()
    daemon.wait_for(f"The scale's port {scale.path} is open.")
    terminal = real_bench.terminal()
    real_bench.make_ready(terminal)
    made = terminal.ask("series", dough=real_bench.masa, every_s=5.0, count=3)
    assert made["made"] == 3, made

    # On the way up, and again while it lies there, it is not taken.
    scale.shows("ST,GS,+   0.0 g", "US,GS,+  12.3 g", "US,GS,+  31.8 g")
    scale.shows("ST,GS,+  30.8 g", "ST,GS,+  30.8 g", "ST,GS,+  30.9 g")
    first = terminal.wait_for("weight", lambda weight: weight["portion"] == 1)
    assert first["mass_kg"] == pytest.approx(0.0308)
    assert first["text"] == "ST,GS,+ 30.8 g"

    # What looks like a slip is asked about, not taken; a person may take it by hand.
    scale.shows("ST,GS,+   0.0 g", "ST,GS,+  61.0 g")
    told = terminal.wait_for("message", lambda message: "scale" in message["text"])
    assert "61.0 g was not taken" in told["text"]
    assert "Two on the pan?" in told["text"]
    scale.shows("ST,GS,+   0.0 g", "ST,GS,+  29.6 g")
    second = terminal.wait_for("weight", lambda weight: weight["portion"] == 2)
    assert second["mass_kg"] == pytest.approx(0.0296)

    # Every one can be overruled by hand.
    by_hand = real_bench.run("weigh", "30.1", "--portion", "2")
    assert by_hand.stdout.startswith("Portion 2: 30.1 g"), by_hand
    # A file takes the rest, and what is known already is not taken twice.
    (tmp_path / "w.csv").write_text("portion;mass_g\n1;30,8\n3;29,9\n")
    from_file = real_bench.run("weigh", "--from", str(tmp_path / "w.csv"))
    assert from_file.stdout == "1 weight recorded; 1 known already.\n", from_file
    # Nothing is left, so a piece more is no portion's.
    scale.shows("ST,GS,+   0.0 g", "ST,GS,+  30.0 g")
    terminal.wait_for("message", lambda message: "30.0 g was not taken" in message["text"])

    judged = real_bench.run("judge", "--json")
    assert judged.returncode == 0, judged.stderr
    shown = real_bench.run("journal", "show", "--kind", "weight")
    weights = re.findall(r"portion (\d): ([\d.]+) g", shown.stdout)
    assert weights == [("1", "30.8"), ("2", "29.6"), ("2", "30.1"), ("3", "29.9")]


def test_a_scale_that_is_away_is_told_once_and_changes_nothing(real_bench: RealBench) -> None:
    real_bench.simulate()
    text = real_bench.card_text.replace(
        "scale:\n", f"scale:\n  port: {real_bench.folder}/no-scale\n  pattern: '{PATTERN}'\n"
    )
    (real_bench.folder / "bench.yaml").write_text(text)
    daemon = real_bench.serve()
    daemon.wait_for("Weights can be typed meanwhile.")
    terminal = real_bench.terminal()
    terminal.wait_for("status", lambda status: status["pins"]["adopted"])
    daemon.end()
    assert daemon.output.count("Weights can be typed meanwhile.") == 1
    assert daemon.output.count("Traceback") == 0
