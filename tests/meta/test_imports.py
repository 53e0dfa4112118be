"""Who may import whom: the contracts in pyproject.toml hold, cover every room, and can break."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
PACKAGES = ("benchd", "tui", "protocols", "sim")
PURE_ROOMS = ("protocols", "benchd/core", "benchd/calc", "benchd/diagnose", "sim/plant")
JUDGES = ("sim/plant", "sim/board")

# One breach of each contract: its id, the file it is planted in, and the line.
BREACHES = [
    ("layers", "protocols/planted.py", "import benchd.core"),
    ("layers", "benchd/io/planted.py", "import sim"),
    ("layers", "sim/planted.py", "import tui"),
    ("screens", "tui/planted.py", "import benchd.config"),
    ("judges", "sim/plant/planted.py", "import benchd.calc"),
    ("pure", "benchd/core/planted.py", "import time"),
    ("pure", "benchd/calc/planted.py", "from threading import Lock"),
    ("wire", "protocols/planted_too.py", "import scipy.stats"),
    ("units", "benchd/io/planted_too.py", "import pint"),
    ("interlocks", "benchd/core/interlocks/planted.py", "import benchd.core.interlocks.other"),
    ("causes", "benchd/diagnose/causes/planted.py", "import benchd.diagnose.causes.other"),
    ("sizing", "benchd/calc/sizing/planted.py", "import benchd.calc.sizing.other"),
]


def contracts() -> dict[str, dict[str, Any]]:
    """The contracts by their id."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    return {contract["id"]: contract for contract in settings["tool"]["importlinter"]["contracts"]}


def lint(root: Path) -> subprocess.CompletedProcess[str]:
    """Runs the contracts of pyproject.toml on the packages in `root`."""
    command = [
        sys.executable,
        "-c",
        "from importlinter.cli import lint_imports_command as run; run()",
    ]
    return subprocess.run(
        [*command, "--no-cache", "--no-logo"], cwd=root, capture_output=True, text=True, check=False
    )


@pytest.mark.slow
def test_the_contracts_hold() -> None:
    done = lint(ROOT)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.slow
def test_each_contract_finds_a_planted_breach(tmp_path: Path) -> None:
    """A tree of empty files in the shape of ours, with one forbidden import per breach."""
    (tmp_path / "pyproject.toml").write_text((ROOT / "pyproject.toml").read_text("utf-8"))
    shape = [
        path.relative_to(ROOT) for package in PACKAGES for path in (ROOT / package).rglob("*.py")
    ]
    planted = {Path(where): line for _, where, line in BREACHES}
    others = [path.parent / "other.py" for path in planted]
    for path in {*shape, *others, *planted}:
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_text(planted.get(path, ""))
        for folder in [*path.parents][:-1]:
            (tmp_path / folder / "__init__.py").touch()

    done = lint(tmp_path)

    assert done.returncode == 1, done.stdout + done.stderr
    said = " ".join(done.stdout.split())
    for name in (contract["name"] for contract in contracts().values()):
        assert f"{name} BROKEN" in said
    for _, where, _ in BREACHES:
        assert f"{where.removesuffix('.py').replace('/', '.')} -> " in said


def test_each_contract_has_a_breach_to_find() -> None:
    assert {contract_id for contract_id, _, _ in BREACHES} == set(contracts())


def rooms() -> set[str]:
    """Every module and package directly inside benchd."""
    inside = (ROOT / "benchd").iterdir()
    return {
        f"benchd.{path.stem}"
        for path in inside
        if (path.suffix == ".py" and path.stem != "__init__") or (path / "__init__.py").is_file()
    }


def test_every_room_of_the_daemon_is_in_a_layer() -> None:
    layers = contracts()["layers"]["layers"]
    named = {name.strip(" ()") for layer in layers for name in layer.replace("|", ":").split(":")}
    assert rooms() <= named
    assert {"protocols", "sim", "tui"} <= named


@pytest.mark.parametrize(("contract_id", "rooms"), [("pure", PURE_ROOMS), ("judges", JUDGES)])
def test_every_pure_room_and_judge_is_bound(contract_id: str, rooms: tuple[str, ...]) -> None:
    bound = contracts()[contract_id]["source_modules"]
    for room in rooms:
        if (ROOT / room / "__init__.py").is_file() or (ROOT / f"{room}.py").is_file():
            name = room.replace("/", ".")
            assert name in bound, f"{name} exists now: add it to the contract '{contract_id}'"
