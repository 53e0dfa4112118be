"""What is made from the tables is current, and says so when it is not."""

from __future__ import annotations

import re
import runpy
import sys
from pathlib import Path

import pytest

from protocols import gen
from protocols.codec import Number
from protocols.codes import REFUSALS
from protocols.limits import LIMITS
from protocols.messages import MESSAGES, HostMessage


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
    assert header.count(" NO_") == len(REFUSALS)


def _rows(header: str, name: str) -> list[list[int]]:
    """The numbers of each row of a table in the header."""
    table = header.split(f"#define {name} ")[1].split("\n\n")[0].split("\n#define")[0]
    return [[int(number) for number in re.findall(r"-?\d+", row)] for row in table.split("},")]


def test_the_halves_of_the_limits_make_the_limits() -> None:
    header = gen.header_text()
    [places] = _rows(header, "BENCHD_LIMIT_PLACES")
    lower, upper = _rows(header, "BENCHD_LIMIT_LOWER"), _rows(header, "BENCHD_LIMIT_UPPER")
    assert len(places) == len(lower) == len(LIMITS)
    for limit, place, halves in zip(LIMITS, places, lower, strict=True):
        above = [0, 0, 0] if place == 255 else upper[place]
        whole = [(high << 16 | low) for high, low in zip(above, halves, strict=True)]
        signed = [value - (1 << 32) if value >= 1 << 31 else value for value in whole]
        assert signed == [limit.low, limit.high, limit.start], limit.name


def test_limits_whose_keys_have_a_gap_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("protocols.limits.LIMITS", LIMITS[1:])
    with pytest.raises(ValueError, match="not 1, 2, 3 and so on"):
        gen.header_text()


def test_each_field_of_a_host_line_has_its_range() -> None:
    header = gen.header_text()
    [kinds] = _rows(header, "BENCHD_FIELDS")
    ranges = _rows(header, "BENCHD_FIELD_RANGES")
    fields = [
        [field.low, field.high]
        for spec in MESSAGES.values()
        if issubclass(spec.cls, HostMessage)
        for _, field in spec.fields
        if isinstance(field, Number)
    ]
    assert [ranges[kind] for kind in kinds] == fields
