"""Weights from a file: all of them or none, and each mistake by its line and what was read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchd.cli.command import Wrong
from benchd.cli.weights_file import Line, read
from tests.cli.conftest import Outcome
from tests.cli.fake_daemon import FakeDaemon, Refusal

Benchd = Callable[..., Outcome]


def file(folder: Path, text: str | bytes) -> str:
    path = folder / "w.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return str(path)


@pytest.mark.parametrize(
    "text",
    [
        "portion,mass_g\n12,30.1\n13,29.8\n",
        "portion;mass_g\r\n12;30,1\r\n\r\n13;29,8\r\n",
        "\ufeffPortion\tMass_g\n12\t30.1\n13\t29.8",
        '"portion","mass_kg"\n12,"0.0301"\n13,"0,0298"\n',
        "time,mass_g,portion\n08:00,30.1,12\n08:01,29.8 g,13\n",
        "portion,mass_oz\n12,1.0617463\n13,1.0511644\n",
    ],
)
def test_the_usual_kinds_of_csv_are_read(tmp_path: Path, text: str) -> None:
    found = read(file(tmp_path, text))
    assert [one.portion for one in found] == [12, 13]
    assert [one.mass_kg for one in found] == pytest.approx([0.0301, 0.0298], abs=1e-8)


def test_a_weight_is_kept_as_it_was_written_with_its_unit(tmp_path: Path) -> None:
    (one,) = read(file(tmp_path, "portion;mass_g\n\n12;30,10\n"))
    assert one == Line(3, 12, one.mass_kg, "30,10 g")
    assert one.mass_kg == pytest.approx(0.0301)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("x,30.1", "line 3: 'x' is no number of a portion"),
        ("0,30.1", "line 3: '0' is no number"),
        ("-3,30.1", "line 3: '-3' is no number"),
        ("\u0663,30.1", "is no number of a portion"),
        ("9" * 5000 + ",30.1", "is no number of a portion"),
        ("13,", "line 3: '' is no mass"),
        ("13,nan", "line 3: 'nan' is no mass"),
        ("13,-30", "line 3: '-30' is no weight"),
        ("13,0", "line 3: '0' is no weight"),
        ("13,30 oz", "line 3: '30 oz' has the unit 'oz' in the column mass_g"),
        ("13,29,8", "line 3: '13,29,8' has 3 values where line 1 names 2; with decimal commas"),
        ('13,"1,234"', "line 3: '1,234' can be read in two ways"),
        ("13", "line 3: '13' has 1 value where line 1 names 2"),
        ("12,30.2", "line 3: portion 12 stands on line 2 already"),
        ('13,"30', "it is no CSV"),
    ],
)
def test_a_mistake_is_named_by_file_line_and_what_was_read(
    benchd: Benchd, daemon: FakeDaemon, tmp_path: Path, line: str, says: str
) -> None:
    path = file(tmp_path, f"portion,mass_g\n12,30.1\n{line}\n")
    shown = benchd("weigh", "--from", path)
    assert shown.code == 1
    assert path in shown.err
    assert says in shown.err
    assert "Nothing was recorded." in shown.err
    assert daemon.asked == []


def test_every_line_that_is_wrong_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(Wrong) as caught:
        read(file(tmp_path, "portion,mass_g\n" + "a,1\n" * 23))
    lines = str(caught.value).splitlines()
    assert len(lines) == 22
    assert lines[-2] == "And 3 more lines like these."


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "names nothing"),
        ("portion,mass_g\n", "holds no weight"),
        ("portion,mass\n1,30\n", "it names 'portion', 'mass'"),
        ("portion,mass_g,mass_kg\n1,30,0.03\n", "one of mass_g, mass_kg"),
        ("portion,portion,mass_g\n1,2,30\n", "one column 'portion'"),
        (b"portion,mass_g\n1,30\n2,\xff\n", "line 3: it is not UTF-8"),
        (b"x" * 1_000_001, "larger than 1 MB"),
    ],
)
def test_a_file_that_is_none_of_weights(tmp_path: Path, text: str | bytes, says: str) -> None:
    with pytest.raises(Wrong, match=says):
        read(file(tmp_path, text))
    with pytest.raises(Wrong, match="cannot be read"):
        read(str(tmp_path / "none.csv"))


def test_all_weights_go_at_once(benchd: Benchd, daemon: FakeDaemon, tmp_path: Path) -> None:
    daemon.answers["weigh_many"] = {"taken": [13], "known": 1, "left": 2}
    shown = benchd("weigh", "--from", file(tmp_path, "portion,mass_g\n12,30.1\n13,29.8\n"))
    assert shown.out == "1 weight recorded; 1 known already; 2 not weighed yet.\n"
    (weights,) = (params["weights"] for method, params in daemon.asked if method == "weigh_many")
    assert [one["text"] for one in weights] == ["30.1 g", "29.8 g"]


def doubted(params: dict[str, Any]) -> Any:
    if params.get("confirmed"):
        return {"taken": [12], "known": 0, "left": 0}
    return Refusal(-32002, "Portion 12: 301 g where about 30.0 g is expected.")


@pytest.mark.parametrize(("answer", "code"), [("yes\n", 0), ("no\n", 1)])
def test_implausible_ones_are_asked_about(
    benchd: Benchd,
    daemon: FakeDaemon,
    tmp_path: Path,
    typing: Callable[[str], None],
    answer: str,
    code: int,
) -> None:
    daemon.answers["weigh_many"] = doubted
    path = file(tmp_path, "portion,mass_g\n12,301\n")
    assert benchd("weigh", "--from", path).code == 2
    assert benchd("weigh", "--from", path, "--yes").code == 0
    typing(answer)
    shown = benchd("weigh", "--from", path)
    assert shown.code == code
    assert "Portion 12: 301 g" in shown.err


def test_what_the_daemon_refuses_is_told_by_its_line(
    benchd: Benchd, daemon: FakeDaemon, tmp_path: Path
) -> None:
    data = {"condition": "weigh", "value": 40, "bound": None}
    daemon.answers["weigh_many"] = Refusal(-32001, "There is no portion 40.", data)
    path = file(tmp_path, "portion,mass_g\n12,30.1\n40,30.2\n")
    shown = benchd("weigh", "--from", path)
    assert shown.code == 1
    assert f"{path}, line 3: There is no portion 40. Nothing was recorded." in shown.err


def test_a_file_and_a_weight_do_not_go_together(
    benchd: Benchd, daemon: FakeDaemon, tmp_path: Path
) -> None:
    path = file(tmp_path, "portion,mass_g\n12,30.1\n")
    for words in (("30.1",), ("--portion", "2"), ("--look", "clean"), ("--threw", "1cm")):
        assert benchd("weigh", "--from", path, *words).code == 2
    assert benchd("weigh").code == 2
    assert daemon.asked == []
