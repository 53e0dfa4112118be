"""Completion: what may stand where, and the scripts in real bash, zsh and fish."""

from __future__ import annotations

import os
import pty
import re
import select
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from benchd.cli import completing
from benchd.cli.completing import replies
from benchd.cli.table import COMMANDS
from tests.cli.conftest import Outcome
from tests.cli.fake_daemon import FakeDaemon

Benchd = Callable[..., Outcome]

PROGRAMS = Path(sys.executable).parent
WAIT_S = 30.0


def words(*typed: str) -> list[str]:
    return [reply.word for reply in replies(typed)]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Cards, a folder of cards and other files, as a person may have them."""
    for name in ("masa.yaml", "my masa.yaml", "notes.txt", ".hidden.yaml", "a.journal"):
        (tmp_path / name).touch()
    (tmp_path / "cards").mkdir()
    (tmp_path / "cards" / "bench.yml").touch()
    monkeypatch.chdir(tmp_path)
    return tmp_path


# What may stand where.


def test_the_first_word_is_a_command() -> None:
    assert words("") == [row.name for row in COMMANDS] + ["--help", "--version"]
    assert words("re")[:2] == ["relieve", "resume"]
    assert words() == words("")
    assert words("no-such", "") == []


@pytest.mark.parametrize("row", COMMANDS, ids=[row.name for row in COMMANDS])
def test_every_command_completes_its_options(row: object) -> None:
    name = row.name  # type: ignore[attr-defined]
    assert "--help" in words(name, "--h")


def test_choices_ways_and_codes() -> None:
    assert words("drive", "") == ["on", "off"]
    assert words("tube", "") == ["in", "prime", "out"]
    assert words("tube", "o", "--") == ["--help"]
    assert "--heel" in words("tube", "out", "--")
    assert "--heel" not in words("tube", "in", "--")
    assert words("weigh", "31", "--look", "t") == ["tail", "torn", "thrown"]
    assert words("clear", "IL-0")[0] == "IL-01"
    assert len(words("clear", "IL-")) == 30
    assert words("set", "n") == ["needle=", "nozzle="]
    assert words("set", "air=1bar", "s") == ["sleeve="]
    assert words("demo", "--fault", "vo") == ["void@"]
    assert "journal" in words("guide", "j")
    assert words("journal", "show", "--kind", "wei") == ["weight"]
    assert words("completion", "") == ["bash", "zsh", "fish"]


def test_an_option_is_offered_once_unless_it_may_be_repeated() -> None:
    assert "--speed" not in words("jog", "+1mm", "--speed", "2mm/s", "--")
    assert "--speed" not in words("jog", "+1mm", "--speed=2mm/s", "--")
    assert "--kind" in words("journal", "show", "--kind", "weight", "--")


def test_options_come_by_themselves_where_nothing_else_may_stand() -> None:
    assert "--drop-power" in words("stop", "")
    assert words("jog", "") == []
    assert "--speed" in words("jog", "+1mm", "")
    assert "--speed" in words("jog", "-5mm", "")


def test_values_with_an_equals_sign_stay_one_word() -> None:
    assert words("weigh", "--look=t") == ["--look=tail", "--look=torn", "--look=thrown"]
    assert words("weigh", "--no-such=t") == []


def test_cards_are_files_in_folders_that_begin_as_typed(folder: Path) -> None:
    assert words("portion", "") == ["cards/", "masa.yaml", "my masa.yaml"]
    assert words("portion", ".h") == [".hidden.yaml"]
    assert words("portion", "cards/") == ["cards/bench.yml"]
    assert words("portion", "no-such/") == []
    assert words("portion", f"{folder}/ma") == [f"{folder}/masa.yaml"]
    assert words("simulate", "masa.yaml", "--link", "n") == ["notes.txt"]


def test_a_home_folder_is_written_out(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(folder))
    assert words("portion", "~/ma") == [f"{folder}/masa.yaml"]


def test_journals_benches_and_ports_come_from_where_they_lie(
    folder: Path, folders: Path, daemon: FakeDaemon, monkeypatch: pytest.MonkeyPatch
) -> None:
    state = folders / "state" / "benchd" / "maize"
    state.mkdir(parents=True)
    (state / "20260101T080000.000000Z-1234.journal").touch()
    (state / "error-1.txt").touch()
    assert words("replay", "2026") == ["20260101T080000.000000Z-1234.journal"]
    assert words("replay", "./") == ["./a.journal", "./cards/"]
    assert words("status", "--bench", "") == ["maize"]
    monkeypatch.setattr("serial.tools.list_ports.comports", list)
    assert words("serve", "masa.yaml", "--port", "/dev/no-such") == []


def test_a_value_that_nobody_knows_completes_to_nothing() -> None:
    assert words("weigh", "") == []
    assert words("tube", "in", "T1", "--lot", "") == []


def test_a_script_is_asked_for_by_shell(benchd: Benchd) -> None:
    for shell in completing.SCRIPTS:
        assert f"--complete {shell}" in benchd("completion", shell).out
    assert benchd("completion", "csh").code == 2
    assert benchd("--complete").out.startswith("demo\t")
    assert benchd("--complete", "bash").code == 0


LINES = [
    ("benchd dri", ["drive"]),
    ("benchd drive ", ["on", "off"]),
    ("/usr/bin/benchd   drive  of", ["off"]),
    ("benchd portion my\\ m", ["my\\ masa.yaml"]),
    ("benchd portion my\\ ", ["my\\ masa.yaml"]),
    ("benchd portion 'my ", ["my masa.yaml"]),
    ('benchd portion "my m', ["my masa.yaml"]),
    ("benchd weigh --look=to", ["torn"]),
    ("benchd set air=1bar sl", ["sleeve="]),
    ("benchd weigh '", []),
]


@pytest.mark.parametrize(("line", "shown"), LINES, ids=[line for line, _ in LINES])
def test_a_line_of_bash_is_read_and_answered_as_bash_quotes(
    line: str, shown: list[str], folder: Path, benchd: Benchd
) -> None:
    assert benchd("--complete", "bash", line).out.splitlines() == shown


# Real shells.


def environment(home: Path) -> dict[str, str]:
    path = f"{PROGRAMS}{os.pathsep}{os.environ['PATH']}"
    return {**os.environ, "PATH": path, "HOME": str(home), "PS1": "> ", "TERM": "dumb"}


def need(shell: str) -> str:
    found = shutil.which(shell)
    if found is None:
        pytest.skip(f"{shell} is not installed.")
    return found


def pressing_tab(shell: list[str], setup: str, typed: str, home: Path) -> str:
    """Start a shell on a terminal, type, press TAB, and return the line that it holds then."""
    pid, fd = pty.fork()
    if pid == 0:
        os.execve(shell[0], shell, environment(home))
    # At the end the line is printed instead of run: Ctrl-A goes to its start.
    os.write(fd, f"{setup}; echo is-set-up-$((40+2))\n".encode())
    text = b""
    try:
        while b"is-set-up-42" not in text:
            text += _read(fd)
        os.write(fd, f"{typed}\t\x01echo begins-$((40+3)) \x05 the-end\nexit\n".encode())
        while (printed := re.search(rb"begins-43 (.*) the-end\r\n", text)) is None:
            text += _read(fd)
    finally:
        os.close(fd)
        os.waitpid(pid, 0)
    return printed[1].decode().strip()


def _read(fd: int) -> bytes:
    assert select.select([fd], [], [], WAIT_S)[0], "the shell says nothing more"
    return os.read(fd, 4096)


def bash_function(line: str, home: Path) -> list[str]:
    """Run the completion function as bash would for this line, and return what it replies."""
    script = (
        f"source <(benchd completion bash); COMP_LINE={line!r}; COMP_POINT=${{#COMP_LINE}}; "
        '_benchd benchd; printf "%s\\n" "${COMPREPLY[@]}"'
    )
    done = subprocess.run(
        [need("bash"), "--norc", "-c", script],
        cwd=home, env=environment(home), capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout.splitlines()


@pytest.mark.slow
def test_bash_runs_the_function(folder: Path) -> None:
    assert bash_function("benchd re", folder)[:2] == ["relieve", "resume"]
    assert bash_function("benchd clear IL-09", folder) == ["IL-09"]
    assert bash_function("benchd portion my", folder) == ["my\\ masa.yaml"]


TABS = [
    ("benchd dri", "benchd drive"),
    ("benchd series ma", "benchd series masa.yaml"),
    ("benchd portion car", "benchd portion cards/"),
    ("benchd clear IL-09 --js", "benchd clear IL-09 --json"),
]


@pytest.mark.slow
@pytest.mark.parametrize(("typed", "line"), TABS, ids=[typed for typed, _ in TABS])
def test_tab_in_bash(typed: str, line: str, folder: Path) -> None:
    setup = f'cd {folder}; eval "$(benchd completion bash)"'
    assert pressing_tab([need("bash"), "--norc", "-i"], setup, typed, folder) == line


@pytest.mark.slow
@pytest.mark.parametrize(("typed", "line"), TABS, ids=[typed for typed, _ in TABS])
def test_tab_in_zsh(typed: str, line: str, folder: Path) -> None:
    setup = (
        f'cd {folder}; unsetopt zle_bracketed_paste; bindkey -e; '
        'autoload -U compinit; compinit -u -D; eval "$(benchd completion zsh)"'
    )  # fmt: skip
    assert pressing_tab([need("zsh"), "-f", "-i"], setup, typed, folder) == line


@pytest.mark.slow
def test_zsh_takes_the_script_from_its_own_folder_too(folder: Path, tmp_path: Path) -> None:
    functions = tmp_path / "functions"
    functions.mkdir()
    (functions / "_benchd").write_text(completing.ZSH)
    setup = (
        f"bindkey -e; fpath=({functions} $fpath); autoload -U compinit; compinit -u -D"
    )  # fmt: skip
    shell = [need("zsh"), "-f", "-i"]
    assert pressing_tab(shell, setup, "benchd fini", folder) == "benchd finish"


@pytest.mark.slow
def test_fish_offers_the_same_with_meanings(folder: Path) -> None:
    for typed, shown in (
        ("benchd dri", "drive\tgive power to the drive, or take it away"),
        ("benchd portion my", "my masa.yaml"),
        ("benchd portion car", "cards/"),
        ("benchd tube out --h", "--heel\tweight of what stayed in: 23g"),
    ):
        script = f"benchd completion fish | source; complete -C {typed!r}"
        done = subprocess.run(
            [need("fish"), "--no-config", "-c", script],
            cwd=folder, env=environment(folder), capture_output=True, text=True, check=True,
        )  # fmt: skip
        assert shown in done.stdout.splitlines(), done.stdout
