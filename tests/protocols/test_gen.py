"""What is made from the tables is current, and says so when it is not."""

from __future__ import annotations

import re
import runpy
import sys
from pathlib import Path

import pytest

from protocols import gen
from protocols.codes import REFUSALS
from protocols.limits import LIMITS
from protocols.messages import MESSAGES


def test_the_specification_and_the_header_are_current() -> None:
    assert gen.main(["--check"]) == 0


def test_the_command_answers_with_its_exit_code(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["gen", "--check"])
    monkeypatch.delitem(sys.modules, "protocols.gen")
    with pytest.raises(SystemExit) as caught:
        runpy.run_module("protocols.gen", run_name="__main__")
    assert caught.value.code == 0


@pytest.fixture
def copies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Path]:
    spec = tmp_path / "SPEC.md"
    spec.write_text(gen.SPEC.read_text("utf-8"), "utf-8")
    header = tmp_path / "firmware" / "core" / "wire.h"
    monkeypatch.setattr(gen, "SPEC", spec)
    monkeypatch.setattr(gen, "HEADER", header)
    return spec, header


def test_a_missing_or_stale_file_is_told_and_then_made(
    copies: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    spec, header = copies
    good = spec.read_text("utf-8")
    spec.write_text(good.replace("| `lease` | 3 |", "| `lease` | 4 |"), "utf-8")
    assert gen.main(["--check"]) == 1
    told = capsys.readouterr().err
    assert "SPEC.md is not current" in told
    assert "wire.h is not current" in told
    assert not header.exists()
    assert gen.main([]) == 0
    assert spec.read_text("utf-8") == good
    assert header.read_text("utf-8") == gen.header_text()
    assert gen.main(["--check"]) == 0


def test_a_table_without_its_place_is_an_error() -> None:
    text = gen.SPEC.read_text("utf-8")
    with pytest.raises(ValueError, match="0 places for the table 'modes'"):
        gen.spec_text(text.replace("<!-- table: modes -->", ""))


def test_the_header_has_every_number() -> None:
    header = gen.header_text()
    for tag, spec in MESSAGES.items():
        assert f" CODE_{tag.upper()} = {spec.cls.code};" in header
    for index, limit in enumerate(LIMITS):
        assert f" LIMIT_{limit.name.upper()} = {index};" in header
        is_wide = limit.low < 0 or limit.high > 65535
        row = rf"{{{limit.key}, (\d+), {limit.low}, {limit.high}, {limit.start}}}"
        found = re.search(row, header)
        assert found
        assert (found[1] != "255") == is_wide
    assert header.count(" NO_") == len(REFUSALS)
