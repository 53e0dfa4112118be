"""What .ci/system says on machines that lack something, tried with stand-ins for their commands."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

SCRIPT = Path(__file__).resolve().parent.parent.parent / ".ci" / "system"
ORDINARY = ("bash", "awk", "cat", "sh", "env")
NEEDED = ("c++", "tmux", "sqlite3", "avr-g++", "simavr", "avrdude", "clang++", "zsh", "fish",
          "mosquitto_passwd")  # fmt: skip


class Machine:
    """A folder of commands that stands for a machine."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in ORDINARY:
            for place in os.environ["PATH"].split(os.pathsep):
                if (Path(place) / name).exists():
                    (folder / name).symlink_to(Path(place) / name)
                    break

    def has(self, name: str, does: str = "exit 0") -> None:
        (self.folder / name).unlink(missing_ok=True)
        (self.folder / name).write_text(f"#!/bin/sh\n{does}\n")
        (self.folder / name).chmod(0o755)

    def run(self, *args: str, **environ: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [str(self.folder / "bash"), str(SCRIPT), *args],
            env={"PATH": str(self.folder), **environ},
            capture_output=True,
            text=True,
            check=False,
        )


@pytest.fixture
def user(tmp_path: Path) -> Machine:
    """A machine where we are an ordinary user."""
    machine = Machine(tmp_path)
    machine.has("id", "echo 1000")
    return machine


@pytest.fixture
def root(tmp_path: Path) -> Machine:
    """A machine where we are root; installing brings a command of the package's name."""
    machine = Machine(tmp_path)
    machine.has("id", "echo 0")
    copy = 'echo "#!/bin/sh" >"$0.new"; chmod +x "$0.new"; mv "$0.new" "${0%apt-get}$word"'
    machine.has(
        "apt-get",
        f'for word; do case $word in tmux|sqlite3|avrdude|zsh|fish) {copy};; esac; done; echo "$@"',
    )
    for name in ("chmod", "mv"):
        (machine.folder / name).symlink_to(f"/bin/{name}")
    return machine


def test_nothing_is_said_when_nothing_is_missing(user: Machine) -> None:
    for name in NEEDED:
        user.has(name)
    done = user.run("tests")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_what_cannot_be_installed_is_said_loudly(user: Machine) -> None:
    for name in set(NEEDED) - {"tmux"}:
        user.has(name)
    done = user.run("tests")
    assert done.returncode == 0
    assert done.stderr.count("MISSING") == 1
    assert "'tmux': the suite that drives the screens" in done.stderr


def test_what_is_missing_fails_in_ci(user: Machine) -> None:
    done = user.run("tests", CI="true")
    assert done.returncode == 1
    assert done.stderr.count("MISSING") == len(NEEDED)
    assert "nothing may be skipped" in done.stderr


def test_root_installs_what_is_missing_and_says_so_first(root: Machine) -> None:
    root.has("c++")
    # These come with packages of other names.
    for name in ("mosquitto_passwd", "avr-g++", "simavr", "clang++"):
        root.has(name)
    done = root.run("tests", CI="true")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("About to install system packages: tmux sqlite3")
    assert done.stderr == ""


def test_a_sudo_that_asks_for_a_password_is_not_used(user: Machine) -> None:
    user.has("apt-get", "echo apt-get ran; exit 1")
    user.has("sudo", "exit 1")
    done = user.run("tests")
    assert "apt-get ran" not in done.stdout
    assert "About to install" not in done.stdout
    assert done.stderr.count("MISSING") == len(NEEDED)


VERSION = (
    "case $2 in *version_info\\[*) echo 3.11;; *'<'*) exit {old};; *venv*) exit {no_venv};; esac"
)


@pytest.mark.parametrize(
    ("old", "no_venv", "says"),
    [(1, 0, "benchd needs 3.11 or later"), (0, 1, "Install the package 'python3.11-venv'")],
)
def test_a_python_that_will_not_do_is_named(
    user: Machine, old: int, no_venv: int, says: str
) -> None:
    user.has("python3", VERSION.format(old=old, no_venv=no_venv))
    done = user.run("venv", "python3")
    assert done.returncode == 1
    assert says in done.stderr


def test_a_python_that_will_do_passes(user: Machine) -> None:
    user.has("python3", VERSION.format(old=0, no_venv=0))
    done = user.run("venv", "python3")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_a_missing_python_is_named(user: Machine) -> None:
    done = user.run("venv", "python3")
    assert done.returncode == 1
    assert "'python3' does not run" in done.stderr
